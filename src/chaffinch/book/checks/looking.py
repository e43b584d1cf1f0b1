"""What does the book hold, and how did it come to be so? Overview, readings, conflicts, every version of a record."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import sqlalchemy as sa

from chaffinch.book.checks.held import LoggedCheck, all_versions, checks_where
from chaffinch.book.desk import Desk
from chaffinch.book.things import SHORTEST_BEGINNING, Thing, edits_of, things
from chaffinch.errors import InputError
from chaffinch.records.bodies import replaced_by, suits
from chaffinch.records.kinds import CHECK, KINDS
from chaffinch.store import records
from chaffinch.store.opening import guarded
from chaffinch.store.records import Stored
from chaffinch.store.verify import Verified
from chaffinch.sync.corrections import Versions, versions
from chaffinch.sync.labels import Edit, holding

__all__ = [
    "Change",
    "CopyBefore",
    "Kept",
    "Overview",
    "ReadingHistory",
    "ThingHistory",
    "Verified",
    "check_history",
    "conflicts",
    "overview",
    "reading_history",
    "readings",
    "thing_history",
]


@dataclass(frozen=True, slots=True)
class CopyBefore:
    """A copy of the book as it was before an update.

    Attributes
    ----------
    file : str
        Where it was put.
    step : int
        The step the book stood at.
    at : str
        When, in UTC.
    device : str
        Name of the computer it was put on.
    """

    file: str
    step: int
    at: str
    device: str


@dataclass(frozen=True, slots=True)
class Overview:
    """What a book holds in short.

    Attributes
    ----------
    title, id, started : str
        Facts about the book itself; the time in UTC.
    things : mapping
        How many of each kind.
    check_records : int
        Records of checks, corrections included.
    newest : tuple of str
        Ids of the checks that count, the latest first.
    conflicts : int
        Records set aside.
    copies : tuple of CopyBefore
        Copies made before a newer program brought the book up to date, the oldest first.
    """

    title: str
    id: str
    started: str
    things: Mapping[str, int]
    check_records: int
    newest: tuple[str, ...]
    conflicts: int
    copies: tuple[CopyBefore, ...]


@dataclass(frozen=True, slots=True)
class Kept:
    """One record as it lies in the book.

    Attributes
    ----------
    id, kind, device, hash : str
    body : mapping
    arrived : str
        When it came into this book, in UTC.
    envelope : mapping
        The whole envelope as JSON-able data.
    """

    id: str
    kind: str
    device: str
    hash: str
    body: Mapping[str, Any]
    arrived: str
    envelope: Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Change:
    """One edit of a thing: what it says, whether it holds, who made it, when it arrived."""

    edit: Edit
    holds: bool
    device: str
    arrived: str


@dataclass(frozen=True, slots=True)
class ThingHistory:
    """A thing as it was added, and every change since, those that lost included."""

    first: Kept
    changes: tuple[Change, ...]


def overview(desk: Desk, since: str | None = None) -> Overview:
    """What the book holds; checks since a time in UTC, or all."""
    ids = checks_where(desk, since=since)
    current = {v.counts for v in all_versions(desk, ids)}
    facts = records.facts(desk.store)
    return Overview(
        facts["title"],
        facts["id"],
        facts["started"],
        Counter(thing.kind for thing in things(desk)),
        len(ids),
        tuple(one for one in ids if one in current),
        len(records.conflicts(desk.store)),
        tuple(
            CopyBefore(file, told["step"], told["at"], told["device"])
            for file, told in records.copies_before(desk.store)
        ),
    )


def conflicts(desk: Desk) -> list[Kept]:
    """Records that were set aside because another one has their id."""
    return [_kept(stored) for stored in records.conflicts(desk.store)]


def readings(desk: Desk, kind: str, since: str | None = None) -> list[Kept]:
    """The readings (or reports) of a kind that count, by time; since a time in UTC, or all.

    Raises
    ------
    InputError
        For a kind that has no time.
    """
    when = "issued_at" if kind == "report" else "taken_at"
    if kind not in KINDS or KINDS[kind].part(when) is None:
        raise InputError("kind", kind, "is no kind of reading", "use monitor, trial, weather, photo or report")
    aside = {stored.envelope.id for stored in records.conflicts(desk.store)}
    by_id = {stored.envelope.id: stored for stored in records.every(desk.store, kind=kind)}
    # A record in conflict says nothing of others, and does not count itself.
    replaces = {x: replaced_by(s.envelope.body) for x, s in by_id.items() if x not in aside}
    counting = [v.counts for v in versions(by_id, replaces) if v.counts is not None and v.counts not in aside]
    found = [_kept(by_id[one]) for one in counting]
    chosen = [one for one in found if since is None or one.body[when] >= since]
    return sorted(chosen, key=lambda one: (one.body[when], one.id))


def check_history(desk: Desk, logged: LoggedCheck) -> list[Kept]:
    """Every version of a check, in the order they arrived."""
    found = records.read_many(desk.store, logged.versions.all)
    return [_kept(stored) for stored in sorted(found.values(), key=lambda s: s.seq)]


@dataclass(frozen=True, slots=True)
class ReadingHistory:
    """Every version of a reading that is no check.

    Attributes
    ----------
    kind : str
        monitor, trial, weather or photo.
    kept : tuple of Kept
        Every version, in the order they arrived.
    versions : Versions
        Which of them counts, and whether some disagree.
    in_conflict : tuple of str
        Ids that two different records claim: none of those counts.
    """

    kind: str
    kept: tuple[Kept, ...]
    versions: Versions
    in_conflict: tuple[str, ...]

    @property
    def counts(self) -> str | None:
        """Id of the version that counts, as :func:`readings` has it."""
        one = self.versions.counts
        return None if one in self.in_conflict else one


def reading_history(desk: Desk, wanted: str, kind: str | None = None) -> ReadingHistory | None:
    """Every version of the reading whose id, or that of a version of it, begins with ``wanted``; None where none does.

    Checks have a history of their own, see :func:`check_history`.

    Parameters
    ----------
    desk : Desk
        The open book.
    wanted : str
        Id or its beginning, 4 characters or more.
    kind : str or None
        monitor, trial, weather or photo; None for any of them.

    Raises
    ------
    InputError
        When the beginning fits several.
    """
    kinds = tuple(k.name for k in KINDS.values() if k.reading and k.name != CHECK and kind in (None, k.name))
    low = wanted.strip().lower()
    if len(low) < SHORTEST_BEGINNING or not kinds:
        return None
    query = sa.text(
        "SELECT id, kind FROM record WHERE id >= :low AND id < :high AND kind IN :kinds ORDER BY id LIMIT 5"
    ).bindparams(sa.bindparam("kinds", expanding=True))
    with guarded(desk.store.address), desk.store.reading() as connection:
        # "g" comes after every hexadecimal digit in each way of sorting, a sign like "~" does not.
        rows = connection.execute(query, {"low": low, "high": low + "g", "kinds": kinds}).all()
    fitting = [row for row in rows if row.id.startswith(low)]
    groups = [(row.kind, v) for row in fitting for v in all_versions(desk, [row.id], kind=row.kind) if row.id in v.all]
    found = {v.root: (of_kind, v) for of_kind, v in groups}
    if not found:
        return None
    if len(found) > 1:
        raise InputError("reading", wanted, "is the beginning of several ids", "give more of it")
    ((its_kind, versions_of),) = found.values()
    kept = records.read_many(desk.store, versions_of.all)
    in_order = tuple(_kept(stored) for stored in sorted(kept.values(), key=lambda s: s.seq))
    aside = records.among(desk.store, versions_of.all, aside=True)
    return ReadingHistory(its_kind, in_order, versions_of, tuple(sorted(aside)))


def thing_history(desk: Desk, thing: Thing) -> ThingHistory:
    """A thing as it was added, and every edit of it, in the order they arrived."""
    edits = edits_of(desk, thing.id)
    stored = records.read_many(desk.store, [thing.id, *(edit.id for edit in edits)])
    aside = records.among(desk.store, [edit.id for edit in edits], aside=True)
    held = holding(edit for edit in edits if edit.id not in aside).values()
    holds = {edit.id for edit in held if suits(thing.kind, edit.field, edit.value)}
    changes = tuple(
        Change(edit, edit.id in holds, stored[edit.id].envelope.device, stored[edit.id].arrived) for edit in edits
    )
    return ThingHistory(_kept(stored[thing.id]), changes)


def _kept(stored: Stored) -> Kept:
    one = stored.envelope
    return Kept(one.id, one.kind, one.device, one.hash, one.body, stored.arrived, one.as_dict())
