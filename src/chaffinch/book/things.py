"""Combines, fields, crew and the rest: adding them, finding them, changing what is said about them."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, replace
from difflib import get_close_matches
from typing import Any

import sqlalchemy as sa

from chaffinch import units
from chaffinch.book.desk import Desk
from chaffinch.errors import InputError
from chaffinch.records.bodies import check_part, suits
from chaffinch.records.kinds import EDIT, KINDS
from chaffinch.reference import crop
from chaffinch.store import records
from chaffinch.store.opening import guarded
from chaffinch.sync.accept import Receipt
from chaffinch.sync.envelope import Envelope
from chaffinch.sync.labels import Edit, edit_of, next_revision


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


def add_thing(desk: Desk, kind: str, parts: Mapping[str, Any]) -> Receipt:
    """Add a thing to the book.

    Quantities are given as people write them; bushels become kilograms by the crop's own bushel (``crop`` and, where
    countries differ, the farm's country).

    Raises
    ------
    InputError
        For an unknown kind, a part out of form, or a name that a thing of that kind and season already has.
    """
    known = KINDS.get(kind)
    if known is None or not known.thing:
        kinds = [k.name for k in KINDS.values() if k.thing]
        raise InputError("kind", kind, "is nothing that can be added", f"use one of {', '.join(kinds)}")
    body = without_bushels(desk, parts)
    name = body.get("name")
    twin = next(
        (
            t
            for t in things(desk, kind)
            if t.name == name and t.parts.get("season") == body.get("season") and not t.retired
        ),
        None,
    )
    if name is not None and twin is not None:
        raise InputError(f"{kind}, name", name, "is taken", "choose another name, or edit the one that is there")
    return desk.write(kind, body)


def things(desk: Desk, kind: str | None = None) -> list[Thing]:
    """Things of one kind (or all), as they stand now, in the order they arrived."""
    kinds = [kind] if kind else [k.name for k in KINDS.values() if k.thing]
    held = _held(desk)
    found = []
    aside: dict[str, list[Envelope]] = {}
    for other in records.conflicts(desk.store):
        aside.setdefault(other.envelope.id, []).append(other.envelope)
    sound = [s for one in kinds for s in records.every(desk.store, kind=one) if s.envelope.id not in aside]
    # Two records claim to be one thing: the one with the smallest hash is shown, the same on every book.
    for stored in records.read_many(desk.store, aside).values():
        shown = min([stored.envelope, *aside[stored.envelope.id]], key=lambda e: e.hash)
        if shown.kind in kinds:
            sound.append(replace(stored, envelope=shown))
    for stored in sound:
        envelope = stored.envelope
        parts = dict(envelope.body)
        for name, value in held.get(envelope.id, {}).items():
            # An edit is taken before its target is known; one that does not suit it holds nothing (verify names it).
            if not suits(envelope.kind, name, value):
                continue
            parts[name] = value
            if value is None:
                del parts[name]
        found.append(Thing(envelope.id, envelope.kind, str(parts.get("name", "")), parts, stored.seq))
    return sorted(found, key=lambda t: t.seq)


def find_thing(desk: Desk, kind: str, wanted: str) -> Thing:
    """The thing of that kind with that name, id or beginning of an id (8 characters or more).

    Raises
    ------
    InputError
        When there is none, or several of that name (two seasons, say); then their ids are listed.
    """
    here = things(desk, kind)
    found = [t for t in here if t.id == wanted or (len(wanted) >= 8 and t.id.startswith(wanted))]
    found = found or [t for t in here if t.name.casefold() == wanted.casefold() and not t.retired]
    if len(found) == 1:
        return found[0]
    if not found:
        names = [t.name for t in here if not t.retired]
        near = get_close_matches(wanted, names, n=1)
        mend = f"did you mean {near[0]}?" if near else f"add it: chaffinch book add {kind} NAME"
        raise InputError(kind, wanted, "is not in the book", mend)
    listed = ", ".join(t.id[:8] for t in found)
    raise InputError(kind, wanted, "is the name of several", f"say which by the beginning of its id: {listed}")


def edit_label(desk: Desk, thing: Thing, field: str, value: Any) -> Receipt:
    """Change one field of a thing; the old value stays in the history.

    Raises
    ------
    InputError
        For a field the thing does not have, or a value it cannot hold.
    """
    kind = KINDS[thing.kind]
    part = kind.part(field)
    if part is None:
        names = [p.name for p in kind.parts]
        near = get_close_matches(field, names, n=1)
        mend = f"did you mean {near[0]}?" if near else f"use {', '.join(names)}"
        raise InputError(f"{thing.kind}, field", field, "is not one of its fields", mend)
    if value is None and part.must:
        raise InputError(f"{thing.kind}, {field}", None, "cannot be cleared", f"give {part.about}")
    if value is not None:
        value = without_bushels(desk, {**thing.parts, field: value})[field]
        check_part(kind, part, value)
    revision = next_revision(edits_of(desk, thing.id), thing.id, field)
    body = {
        "target": thing.id,
        "field": field,
        "value": value,
        "revision": revision,
    }
    return desk.write(EDIT, body)


def edits_of(desk: Desk, thing_id: str) -> list[Edit]:
    """Every edit of a thing, those that lost included, in the order they arrived."""
    return [
        edit_of(s.envelope.id, s.envelope.body)
        for s in records.every(desk.store, kind=EDIT)
        if s.envelope.body["target"] == thing_id
    ]


def without_bushels(desk: Desk, parts: Mapping[str, Any]) -> dict[str, Any]:
    """Parts with every quantity per bushel turned into kilograms, so that a record needs no bushel to be read.

    Quantities without a bushel stay as they were written.
    """
    result = dict(parts)
    holds = {"yield_expected": "area_mass", "yield_actual": "area_mass", "limit": "area_mass", "price": "price"}
    for name, kind in holds.items():
        text = result.get(name)
        if not isinstance(text, str) or "bu" not in text:
            continue
        if "crop" not in result:
            raise InputError(name, text, "counts in bushels of a crop that is not named", "give the crop")
        countries = sorted(
            {str(t.parts["country"]) for t in things(desk, "farm") if "country" in t.parts and not t.retired}
        )
        if len(countries) > 1:
            raise InputError(
                name,
                text,
                f"counts in bushels, and the book's farms lie in {' and '.join(countries)}",
                "give it in kg or t",
            )
        country = countries[0] if countries else None
        bushel = crop(str(result["crop"])).bushel_kg(country)
        found = units.read_positive(text, kind, field=name, bushel_kg=bushel)
        if kind == "area_mass":
            result[name] = f"{found.value!r} kg/ha"
        else:
            result[name] = f"{found.currency} {found.value!r} /t".strip()
    return result


def _held(desk: Desk) -> dict[str, dict[str, Any]]:
    """The edits that hold, by thing and field."""
    found: dict[str, dict[str, Any]] = {}
    with guarded(desk.store.address), desk.store.reading() as connection:
        for row in connection.execute(sa.text("SELECT target, field, value FROM label")):
            found.setdefault(row.target, {})[row.field] = json.loads(row.value)
    return found
