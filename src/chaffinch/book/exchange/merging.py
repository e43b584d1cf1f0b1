"""Two books become equal: every record that one has and the other lacks goes over, both ways, by the same rules."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from itertools import islice

from chaffinch.book.desk import Desk
from chaffinch.errors import InputError
from chaffinch.how_far import Progress
from chaffinch.store import records
from chaffinch.store.address import shown
from chaffinch.store.opening import Store
from chaffinch.sync.accept import Receipt, open_batch
from chaffinch.sync.envelope import Envelope

BATCH = 500
"""Records sent over in one transaction."""


@dataclass(frozen=True, slots=True)
class Merged:
    """What a merge did, one way.

    Attributes
    ----------
    accepted, known, conflicts : int
        Records by outcome.
    refused : tuple of Receipt
        Records the receiving book would not take, with the reason; they stay where they were.
    """

    accepted: int
    known: int
    conflicts: int
    refused: tuple[Receipt, ...]


def merge(here: Desk, there: Desk, *, progress: Progress | None = None) -> tuple[Merged, Merged]:
    """Make two books equal, and return what came here and what went there.

    Nothing is changed or deleted in either. It may be stopped at any moment and run again: what went over stays.

    Raises
    ------
    InputError
        When both addresses are the same book.
    BookError
        When either cannot be read or written.
    """
    if here.store.address == there.store.address:
        raise InputError("book", shown(here.store.address), "cannot be merged with itself", "name two books")
    mine, theirs = set(records.identities(here.store)), set(records.identities(there.store))
    wanted, offered = theirs - mine, mine - theirs
    total, done = len(wanted) + len(offered), 0

    def step(count: int) -> None:
        nonlocal done
        done += count
        if progress is not None:
            progress(done, total)

    return _send(there.store, here.store, wanted, step), _send(here.store, there.store, offered, step)


def _send(source: Store, target: Store, wanted: set[tuple[str, str]], step: Callable[[int], None]) -> Merged:
    counts = {"accepted": 0, "known": 0, "conflict": 0, "refused": 0}
    refused: list[Receipt] = []
    coming = _wanted(source, wanted)
    while part := list(islice(coming, BATCH)):
        # Opened anew, hash and all: what was damaged in one book does not spread to the other.
        for receipt in records.append(target, open_batch(one.as_dict() for one in part)):
            counts[receipt.outcome] += 1
            if receipt.outcome == "refused":
                refused.append(receipt)
        step(len(part))
    return Merged(counts["accepted"], counts["known"], counts["conflict"], tuple(refused))


def _wanted(source: Store, wanted: set[tuple[str, str]]) -> Iterator[Envelope]:
    """The wanted records in the order they arrived at their source, so that things come before what is said of them."""
    if not wanted:
        return
    for stored in records.every(source):
        if (stored.envelope.id, stored.envelope.hash) in wanted:
            yield stored.envelope
    for stored in records.conflicts(source):
        if (stored.envelope.id, stored.envelope.hash) in wanted:
            yield stored.envelope
