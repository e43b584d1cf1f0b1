"""What does the book hold, and how did it come to be so? Overview, readings, conflicts, every version of a record."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from chaffinch.book.checks import LoggedCheck, all_versions
from chaffinch.book.desk import Desk
from chaffinch.book.fields import checks_where
from chaffinch.book.things import Thing, edits_of, things
from chaffinch.errors import InputError
from chaffinch.records.bodies import replaced_by, suits
from chaffinch.records.kinds import KINDS
from chaffinch.store import records
from chaffinch.store.records import Stored
from chaffinch.store.verify import Verified
from chaffinch.sync.corrections import versions
from chaffinch.sync.labels import Edit, holding

__all__ = [
    "Change",
    "Kept",
    "Overview",
    "ThingHistory",
    "Verified",
    "check_history",
    "conflicts",
    "overview",
    "readings",
    "thing_history",
]


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
    """

    title: str
    id: str
    started: str
    things: Mapping[str, int]
    check_records: int
    newest: tuple[str, ...]
    conflicts: int


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
