"""How do the book's things stand now? Their records with the edits that hold, by kind, by id, or by name.

A look-up by name or id reads the names alone and then only the records that fit, so that it stays quick in a book of
ten thousand fields.
"""

from __future__ import annotations

import json
import re
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Any, Final

import sqlalchemy as sa

from chaffinch.book.desk import Desk
from chaffinch.book.names import folded
from chaffinch.errors import BookError
from chaffinch.records.bodies import suits
from chaffinch.records.kinds import KINDS
from chaffinch.store import records
from chaffinch.store.opening import guarded
from chaffinch.store.records import Stored
from chaffinch.sync.envelope import Envelope

THINGS: Final = tuple(kind.name for kind in KINDS.values() if kind.thing)
_BEGINNING: Final = re.compile(r"[0-9a-f-]+")

Labels = dict[str, dict[str, Any]]
"""By id of a thing and name of a field: the value that the edit which holds gives it."""


@dataclass(frozen=True, slots=True)
class Thing:
    """A combine, field, operator … as it stands now.

    Attributes
    ----------
    id, kind, name : str
    parts : mapping
        Its fields with all edits applied.
    seq : int
        Order of arrival in this book.
    """

    id: str
    kind: str
    name: str
    parts: Mapping[str, Any]
    seq: int

    @property
    def retired(self) -> bool:
        """Whether it is no longer in use."""
        return bool(self.parts.get("retired", False))

    @property
    def title(self) -> str:
        """Its name as a page shows it: a note's text, the beginning of its id without a name, marked when retired."""
        name = self.name or str(self.parts.get("text", "")) or self.id[:8]
        return f"{name} (retired)" if self.retired else name


def as_it_stands(kind: str, body: Mapping[str, Any], labels: Mapping[str, Any]) -> dict[str, Any]:
    """Parts of a thing: its record with the labels that hold.

    A label is taken before its thing is known; one that the kind cannot hold says nothing (verify names it).
    """
    parts = dict(body)
    for name, value in labels.items():
        if not suits(kind, name, value):
            continue
        parts[name] = value
        if value is None:
            del parts[name]
    return parts


def things(desk: Desk, kind: str | None = None) -> list[Thing]:
    """Things of one kind (or all), as they stand now, in the order they arrived."""
    kinds = (kind,) if kind else THINGS
    doubtful = _in_doubt(desk, kinds)
    sound = [s for one in kinds for s in records.every(desk.store, kind=one) if s.envelope.id not in doubtful]
    here = [*sound, *(s for s in _shown(desk, doubtful) if s.envelope.kind in kinds)]
    labels = _labels_of_kinds(desk, kinds) | _labels_of(desk, doubtful)
    return sorted((_thing(stored, labels) for stored in here), key=lambda t: t.seq)


def by_ids(desk: Desk, ids: Iterable[object]) -> dict[str, Thing]:
    """Things by id; ids that are no thing of the book are left out."""
    wanted = {one for one in ids if isinstance(one, str)}
    doubtful = records.among(desk.store, wanted, aside=True)
    sound = records.read_many(desk.store, wanted - doubtful).values()
    labels = _labels_of(desk, wanted)
    here = [s for s in (*sound, *_shown(desk, doubtful)) if KINDS[s.envelope.kind].thing]
    return {stored.envelope.id: _thing(stored, labels) for stored in here}


def named(desk: Desk, name: str, kind: str | None = None) -> list[Thing]:
    """Things of that name (see :func:`chaffinch.book.names.folded`), retired ones too, in the order they arrived."""
    kinds = (kind,) if kind else THINGS
    wanted = folded(name)
    if not wanted:
        return []
    sqlite = desk.store.is_file
    own = "json_extract(body, '$.name')" if sqlite else "body::json ->> 'name'"
    first = _for_kinds(f"SELECT id, {own} AS name FROM record WHERE kind IN :kinds")
    later = sa.text("SELECT target, value FROM label WHERE field = 'name'")
    try:
        with guarded(desk.store.address), desk.store.reading() as connection:
            fits = {
                r.id for r in connection.execute(first, {"kinds": kinds}) if r.name and folded(str(r.name)) == wanted
            }
            for row in connection.execute(later):
                value = json.loads(row.value)
                if isinstance(value, str) and folded(value) == wanted:
                    fits.add(row.target)
    except (BookError, ValueError):
        # A damaged record or label stands in the way: the long road fails too, and names it.
        return [t for t in things(desk, kind) if folded(t.name) == wanted]
    found = by_ids(desk, fits | _in_doubt(desk, kinds)).values()
    return sorted((t for t in found if t.kind in kinds and folded(t.name) == wanted), key=lambda t: t.seq)


def beginning(desk: Desk, start: str, kind: str | None = None) -> list[Thing]:
    """Things whose id begins so, at most a handful, in the order they arrived."""
    low = start.lower()
    if not _BEGINNING.fullmatch(low):
        return []
    kinds = (kind,) if kind else THINGS
    # "g" comes after every hexadecimal digit in each way of sorting, a sign like "~" does not.
    query = _for_kinds("SELECT id FROM record WHERE id >= :low AND id < :high AND kind IN :kinds ORDER BY id LIMIT 5")
    with guarded(desk.store.address), desk.store.reading() as connection:
        rows = connection.execute(query, {"low": low, "high": low + "g", "kinds": kinds})
        ids = {row.id for row in rows}
    doubtful = {one for one in _in_doubt(desk, kinds) if one.startswith(low)}
    found = by_ids(desk, ids | doubtful).values()
    return sorted((t for t in found if t.kind in kinds), key=lambda t: t.seq)


def _thing(stored: Stored, labels: Labels) -> Thing:
    one = stored.envelope
    parts = as_it_stands(one.kind, one.body, labels.get(one.id, {}))
    return Thing(one.id, one.kind, str(parts.get("name", "")), parts, stored.seq)


def _in_doubt(desk: Desk, kinds: Collection[str]) -> set[str]:
    """Ids that two different records claim, at least one of them of these kinds."""
    query = _for_kinds(
        "SELECT id FROM conflict WHERE kind IN :kinds UNION SELECT conflict.id FROM conflict "
        "JOIN record ON record.id = conflict.id WHERE record.kind IN :kinds"
    )
    with guarded(desk.store.address), desk.store.reading() as connection:
        return {row.id for row in connection.execute(query, {"kinds": tuple(kinds)})}


def _shown(desk: Desk, doubtful: Collection[str]) -> list[Stored]:
    """Of the records that claim one id the one with the smallest hash: the same on every book."""
    if not doubtful:
        return []
    aside: dict[str, list[Envelope]] = {}
    for other in records.conflicts(desk.store):
        aside.setdefault(other.envelope.id, []).append(other.envelope)
    found = []
    for stored in records.read_many(desk.store, doubtful).values():
        shown = min([stored.envelope, *aside.get(stored.envelope.id, [])], key=lambda e: e.hash)
        found.append(replace(stored, envelope=shown))
    return found


def _labels_of(desk: Desk, ids: Collection[str]) -> Labels:
    wanted = sorted(ids)
    query = sa.text("SELECT target, field, value FROM label WHERE target IN :ids").bindparams(
        sa.bindparam("ids", expanding=True)
    )
    found: Labels = {}
    with guarded(desk.store.address), desk.store.reading() as connection:
        for start in range(0, len(wanted), records.AT_ONCE):
            for row in connection.execute(query, {"ids": wanted[start : start + records.AT_ONCE]}):
                found.setdefault(row.target, {})[row.field] = json.loads(row.value)
    return found


def _labels_of_kinds(desk: Desk, kinds: Collection[str]) -> Labels:
    query = _for_kinds(
        "SELECT label.target, label.field, label.value FROM record JOIN label ON label.target = record.id "
        "WHERE record.kind IN :kinds"
    )
    found: Labels = {}
    with guarded(desk.store.address), desk.store.reading() as connection:
        for row in connection.execute(query, {"kinds": tuple(kinds)}):
            found.setdefault(row.target, {})[row.field] = json.loads(row.value)
    return found


def _for_kinds(query: str) -> sa.TextClause:
    return sa.text(query).bindparams(sa.bindparam("kinds", expanding=True))
