"""What other devices send to this book, and what they may fetch from it: record by record, each with its receipt.

A server takes batches from many phones at once. They are put into the book together: while one transaction is being
written, the batches that come meanwhile wait, and the next transaction takes all of them. No receipt is given before
the transaction that holds its record is on disk.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Mapping, Sequence
from contextlib import ExitStack
from dataclasses import dataclass, field
from threading import Condition, Thread
from time import monotonic
from typing import Any, Final

from chaffinch.book.desk import Desk, Receipt
from chaffinch.errors import ChaffinchError
from chaffinch.records.kinds import KINDS
from chaffinch.store import records
from chaffinch.sync.accept import open_batch
from chaffinch.sync.envelope import HASH_FORM, ID_FORM, Envelope

__all__ = ["CREW_KINDS", "Inbox", "Receipt", "Sent", "newest_schemas", "sent_since"]

MOST_TOGETHER: Final = 1000
"""Records put into the book in one transaction [1]; own figure: about a fifth of a second of work."""
HELD_S: Final = 0.5
"""How long a book's file is kept open after the last record came [s]; own figure. It spares busy hours the opening and
closing of the file for each record; while it is open SQLite's log lies beside it, as during any write."""
_LONGEST_REASON: Final = 400  # [characters]

CREW_KINDS: Final = (
    *(kind.name for kind in KINDS.values() if kind.reading),
    *("note", "field", "combine", "operator", "pan", "scale"),
)
"""Kinds a crew may send: readings, remarks, and the things a new stop may need. Farm, seasons, reports and changes of
labels are the owner's."""


@dataclass(frozen=True, slots=True)
class Sent:
    """Records in the order they arrived here.

    Attributes
    ----------
    records : tuple of dict
        Envelopes.
    next_seq : int
        Ask from here the next time; a place in this book's order, meaning nothing elsewhere.
    """

    records: tuple[dict[str, Any], ...]
    next_seq: int


@dataclass(slots=True)
class _Waiting:
    items: Sequence[Envelope | Receipt]
    receipts: list[Receipt] | None = None
    error: BaseException | None = None
    done: bool = False


@dataclass
class Inbox:
    """The one hand that puts what devices send into the book; many threads may call it at once.

    Attributes
    ----------
    desk : Desk
        The open book.
    """

    desk: Desk
    _queue: deque[_Waiting] = field(default_factory=deque)
    _turn: Condition = field(default_factory=Condition)
    _busy: bool = False
    _held: ExitStack | None = None
    _let_go_at: float = 0.0

    def receive(self, envelopes: Sequence[object], *, kinds: Sequence[str] | None = None) -> list[Receipt]:
        """Put a batch into the book; one receipt per record, in order, given after it is on disk.

        Parameters
        ----------
        envelopes : sequence
            As they came, parsed from JSON.
        kinds : sequence of str or None
            Kinds this sender may send; None for all.

        Raises
        ------
        BookError
            When the book cannot be written; then nothing of the batch was.
        """
        mine = _Waiting([self._allowed(one, kinds) for one in open_batch(envelopes)])
        with self._turn:
            self._queue.append(mine)
        while self._must_write(mine):
            self._write_lot()
        if mine.error is not None:
            raise mine.error
        assert mine.receipts is not None
        return [_cleaned(receipt) for receipt in mine.receipts]

    def _must_write(self, mine: _Waiting) -> bool:
        """Wait until mine is written, or it is this thread's turn to write."""
        with self._turn:
            while self._busy and not mine.done:
                self._turn.wait()
            if not mine.done:
                self._busy = True
            return not mine.done

    def _write_lot(self) -> None:
        """Write what waits; whoever comes meanwhile is in the next lot."""
        with self._turn:
            lot: list[_Waiting] = []
            while self._queue and (not lot or sum(len(one.items) for one in lot) < MOST_TOGETHER):
                lot.append(self._queue.popleft())
        try:
            self._hold()
            self._write(lot)
        finally:
            with self._turn:
                for one in lot:
                    one.done = True
                self._busy = False
                self._let_go_at = monotonic() + HELD_S
                self._turn.notify_all()

    def _hold(self) -> None:
        """Keep the file open while records keep coming; it is let go soon after the last one."""
        if self._held is not None:
            return
        held = ExitStack()
        try:
            held.enter_context(self.desk.store.kept_open())
        except ChaffinchError:
            return  # the write that follows says what is wrong
        self._held = held
        Thread(target=self._let_go, name="chaffinch lets go", daemon=True).start()

    def _let_go(self) -> None:
        """Close the file when nothing has come for a while."""
        with self._turn:
            while self._held is not None:
                rest = self._let_go_at - monotonic()
                if not self._busy and rest <= 0:
                    self._close()
                else:
                    self._turn.wait(HELD_S if self._busy else rest)

    def close(self) -> None:
        """Let go of the file at once, after what is being written; records that come later open it again."""
        with self._turn:
            while self._busy:
                self._turn.wait()
            self._close()
            self._turn.notify_all()

    def _close(self) -> None:
        if self._held is not None:
            self._held.close()
            self._held = None

    def _write(self, lot: Sequence[_Waiting]) -> None:
        together = [item for one in lot for item in one.items]
        try:
            receipts = records.append(self.desk.store, together)
        except ChaffinchError as error:
            for one in lot:
                one.error = error
            return
        except Exception as error:  # noqa: BLE001 - it is raised where the batch came from
            # A batch that breaks the program must not take the others of its lot with it.
            for one in lot:
                if len(lot) > 1:
                    self._write([one])
                else:
                    one.error = error
            return
        start = 0
        for one in lot:
            one.receipts = receipts[start : start + len(one.items)]
            start += len(one.items)

    @staticmethod
    def _allowed(item: Envelope | Receipt, kinds: Sequence[str] | None) -> Envelope | Receipt:
        if isinstance(item, Receipt) or kinds is None or item.kind in kinds or item.kind not in KINDS:
            return item
        return Receipt(
            item.id, item.hash, "refused", f"kind: {item.kind} is not for this role; the owner's device may send it"
        )


def sent_since(desk: Desk, seq: int, limit: int) -> Sent:
    """Records that arrived after a place, at most ``limit`` of them; records set aside in conflict are not among them.

    Parameters
    ----------
    seq : int
        0 for all, else what was answered the last time.
    limit : int
        1 or more.
    """
    found = []
    for stored in records.every(desk.store, after=seq, batch=limit):
        found.append(stored)
        if len(found) == limit:
            break
    return Sent(tuple(one.envelope.as_dict() for one in found), found[-1].seq if found else seq)


def newest_schemas() -> Mapping[str, int]:
    """Newest schema this program knows, by kind of record."""
    return {kind.name: kind.schema for kind in KINDS.values()}


def _cleaned(receipt: Receipt) -> Receipt:
    """The receipt as it may be sent back: what came out of form is not echoed, a long reason is cut."""
    reason = receipt.reason.encode("utf-8", "backslashreplace").decode("utf-8")
    return Receipt(
        receipt.id if ID_FORM.fullmatch(receipt.id) else "",
        receipt.hash if HASH_FORM.fullmatch(receipt.hash) else "",
        receipt.outcome,
        reason if len(reason) <= _LONGEST_REASON else reason[: _LONGEST_REASON - 1] + "…",
    )
