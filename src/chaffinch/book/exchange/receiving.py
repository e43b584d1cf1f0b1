"""What other devices send to this book, and what they may fetch from it: record by record, each with its receipt.

A server takes batches from many phones at once. They are put into the book together by one thread: while one
transaction is being written, the batches that come meanwhile wait, and the next transaction takes all of them. No
receipt is given before the transaction that holds its record is on disk.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Mapping, Sequence
from concurrent.futures import Future
from contextlib import ExitStack
from dataclasses import dataclass, field
from threading import Condition, Thread
from typing import Any, Final

from chaffinch.book.desk import Desk, Receipt
from chaffinch.errors import ChaffinchError
from chaffinch.records.kinds import KINDS
from chaffinch.store import records
from chaffinch.sync.accept import open_batch
from chaffinch.sync.envelope import HASH_FORM, ID_FORM, Envelope

__all__ = ["CREW_KINDS", "HASH_FORM", "ID_FORM", "Inbox", "Receipt", "Sent", "newest_schemas", "not_here", "sent_since"]

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


@dataclass(frozen=True, slots=True)
class _Waiting:
    items: Sequence[Envelope | Receipt]
    answer: Future[list[Receipt]]


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
    _writer: Thread | None = None
    _closing: bool = False

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
        return self.hand_in(envelopes, kinds=kinds).result()

    def hand_in(self, envelopes: Sequence[object], *, kinds: Sequence[str] | None = None) -> Future[list[Receipt]]:
        """As :meth:`receive`, without waiting: the receipts, or the error, come with the future."""
        mine = _Waiting([self._allowed(one, kinds) for one in open_batch(envelopes)], Future())
        mine.answer.set_running_or_notify_cancel()  # who stops waiting for it takes nothing back
        with self._turn:
            self._queue.append(mine)
            if self._writer is None:
                self._writer = Thread(target=self._write_all, name="chaffinch writes", daemon=True)
                self._writer.start()
            self._turn.notify_all()
        return mine.answer

    def close(self) -> None:
        """Let go of the file at once, after what waits is written; records that come later open it again."""
        with self._turn:
            self._closing = True
            self._turn.notify_all()
            while self._writer is not None:
                self._turn.wait()
            self._closing = False

    def _write_all(self) -> None:
        """Write what waits, lot by lot, with the file kept open until nothing has come for a while."""
        with ExitStack() as held:
            try:
                held.enter_context(self.desk.store.kept_open())
            except ChaffinchError:
                held.close()  # the write that follows says what is wrong
            while lot := self._next_lot():
                try:
                    self._write(lot)
                except BaseException as error:
                    _tell(lot, error)
                    raise
        with self._turn:
            self._writer = None
            if self._queue:  # it came while the file was being closed
                self._writer = Thread(target=self._write_all, name="chaffinch writes", daemon=True)
                self._writer.start()
            self._turn.notify_all()

    def _next_lot(self) -> list[_Waiting]:
        """All that waits, up to a lot; nothing once nothing has come for a while."""
        lot: list[_Waiting] = []
        with self._turn:
            self._turn.wait_for(lambda: self._queue or self._closing, timeout=HELD_S)
            while self._queue and (not lot or sum(len(one.items) for one in lot) < MOST_TOGETHER):
                lot.append(self._queue.popleft())
        return lot

    def _write(self, lot: Sequence[_Waiting]) -> None:
        together = [item for one in lot for item in one.items]
        try:
            receipts = records.append(self.desk.store, together)
        except ChaffinchError as error:
            _tell(lot, error)
            return
        except Exception as error:  # noqa: BLE001 - it is raised where the batch came from
            # A batch that breaks the program must not take the others of its lot with it.
            if len(lot) == 1:
                _tell(lot, error)
            else:
                for one in lot:
                    self._write([one])
            return
        start = 0
        for one in lot:
            one.answer.set_result([_cleaned(receipt) for receipt in receipts[start : start + len(one.items)]])
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


def not_here(desk: Desk, wanted: Sequence[tuple[str, str]]) -> list[tuple[str, str]]:
    """Which of these records the book does not hold, neither as they are nor set aside.

    Parameters
    ----------
    wanted : sequence of (str, str)
        Id and hash of each.
    """
    here = records.held(desk.store, [record_id for record_id, _ in wanted])
    return [(record_id, digest) for record_id, digest in wanted if digest not in here.get(record_id, ())]


def newest_schemas() -> Mapping[str, int]:
    """Newest schema this program knows, by kind of record."""
    return {kind.name: kind.schema for kind in KINDS.values()}


def _tell(lot: Sequence[_Waiting], error: BaseException) -> None:
    for one in lot:
        if not one.answer.done():
            one.answer.set_exception(error)


def _cleaned(receipt: Receipt) -> Receipt:
    """The receipt as it may be sent back: what came out of form is not echoed, a long reason is cut."""
    reason = receipt.reason.encode("utf-8", "backslashreplace").decode("utf-8")
    return Receipt(
        receipt.id if ID_FORM.fullmatch(receipt.id) else "",
        receipt.hash if HASH_FORM.fullmatch(receipt.hash) else "",
        receipt.outcome,
        reason if len(reason) <= _LONGEST_REASON else reason[: _LONGEST_REASON - 1] + "…",
    )
