"""Combines, fields, crew and the rest: adding them, finding them, changing what is said about them."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from difflib import get_close_matches
from typing import Any, Final

import sqlalchemy as sa

from chaffinch import units
from chaffinch.book.desk import Desk
from chaffinch.book.hour_plausible import refuse_stored
from chaffinch.book.names import all_nfc, folded
from chaffinch.book.thingsnow import THINGS, Thing, as_it_stands, beginning, by_ids, named, things
from chaffinch.errors import InputError
from chaffinch.records.bodies import check_part
from chaffinch.records.kinds import EDIT, KINDS
from chaffinch.reference import crop
from chaffinch.store import records
from chaffinch.store.opening import guarded
from chaffinch.sync.accept import Receipt
from chaffinch.sync.labels import Edit, edit_of, next_revision

__all__ = [
    "Meant",
    "Thing",
    "add_thing",
    "as_it_stands",
    "by_ids",
    "edit_label",
    "edits_of",
    "find_thing",
    "first_of_doubles",
    "named",
    "refuse_retired",
    "refuse_twin",
    "several",
    "things",
    "which_thing",
    "without_bushels",
]

SHORTEST_BEGINNING: Final = 4
"""Fewest characters by which an id may be named."""

_TOLD_APART_BY: Final = ("crop", "area", "cut_width", "drop_width", "spread_width", "width", "length", "step")
"""Parts in which two things of one name may not differ to be taken for doubles; the season counts by its name."""
_NOT_IN_A_NAME: Final = frozenset({"Cc", "Cf", "Co", "Cs", "Zl", "Zp"})
"""Categories of signs that nobody sees: control, format, private, halves, line ends."""
_BETWEEN_SIDES: Final = re.compile(r"\s+(?:x|×|by)\s+", re.IGNORECASE)
_MAKES_A_TWIN: Final = ("name", "season", "retired")
"""Parts whose change may put one thing beside another of the same name."""
_OF_MONEY: Final = ("hour_cost", "currency")
"""Parts of farm and combine of which one must go with the other."""


@dataclass(frozen=True, slots=True)
class Meant:
    """The thing that a name means.

    Attributes
    ----------
    thing : Thing
    doubles : tuple of Thing
        Others of that name that do not differ from it in anything that matters, as after two books were merged.
    """

    thing: Thing
    doubles: tuple[Thing, ...] = ()


def add_thing(desk: Desk, kind: str, parts: Mapping[str, Any]) -> Receipt:
    """Add a thing to the book.

    Quantities are given as people write them; bushels become kilograms by the crop's own bushel (``crop`` and, where
    countries differ, the farm's country). Texts are stored in Unicode's form NFC.

    Raises
    ------
    InputError
        For an unknown kind, a part out of form, or a name that a thing of that kind and season already has.
    """
    known = KINDS.get(kind)
    if known is None or not known.thing:
        raise InputError("kind", kind, "is nothing that can be added", f"use one of {', '.join(THINGS)}")
    body = without_bushels(desk, all_nfc(parts))
    _refuse_misleading(kind, body)
    refuse_twin(desk, kind, body)
    refuse_stored(desk, kind, body)
    return desk.write(kind, body)


def find_thing(desk: Desk, kind: str, wanted: str, *, retired: bool = False) -> Thing:
    """The thing of that kind with that name, id or beginning of an id (4 characters or more).

    Raises
    ------
    InputError
        When there is none, or several of that name (two seasons, say, or doubles after a merge); then their ids are
        listed. Also for one that is retired, unless ``retired``.
    """
    meant = which_thing(desk, kind, wanted, retired=retired)
    if meant.doubles:
        raise several(kind, wanted, [meant.thing, *meant.doubles])
    return meant.thing


def which_thing(
    desk: Desk, kind: str | None, wanted: str, *, season: str | None = None, retired: bool = False
) -> Meant:
    """The thing that a person means by a name, an id, or the beginning of an id.

    A name means a thing in use before a retired one. After two books were merged a thing may be there twice; where
    nothing that matters differs between them, the one that was in this book first is meant.

    Parameters
    ----------
    desk : Desk
        The open book.
    kind : str or None
        Kind of thing; None for any.
    wanted : str
        Name (capitals and Unicode's form do not matter), id, or 4 characters or more of its beginning.
    season : str or None
        Id of the season that tells two fields of one name apart.
    retired : bool
        Whether a thing no longer in use will do: to look at it, yes; to file something under it, no.

    Raises
    ------
    InputError
        When there is none, there are several that differ, or it is retired and that will not do.
    """
    plain = wanted.strip()
    here = named(desk, plain, kind)
    if season is not None and kind == "field":
        here = _of_season(desk, wanted, here, season)
    found = [t for t in here if not t.retired] or here
    if not found and len(plain) >= SHORTEST_BEGINNING:
        found = beginning(desk, plain, kind)
    if not found:
        raise _missing(desk, kind, wanted)
    first = first_of_doubles(desk, found)
    if first is None:
        raise several(kind, wanted, found)
    if not retired:
        refuse_retired(first)
    return Meant(first, tuple(t for t in found if t.id != first.id))


def refuse_retired(thing: Thing, field: str = "") -> None:
    """Refuse a thing that is no longer in use.

    Raises
    ------
    InputError
        When it is retired; the mend says how to bring it back.
    """
    if thing.retired:
        mend = f'name another, or bring it back: chaffinch book edit-label {thing.kind} "{thing.name}" --un-retire'
        raise InputError(field or thing.kind, thing.name or thing.id[:8], "is retired", mend)


def _missing(desk: Desk, kind: str | None, wanted: str) -> InputError:
    names = [t.name for t in things(desk, kind) if t.name and not t.retired]
    near = get_close_matches(wanted, names, n=1)
    add = f"add it: chaffinch book add {kind} NAME" if kind else "chaffinch book show things lists what is there"
    return InputError(kind or "name", wanted, "is not in the book", f"did you mean {near[0]}?" if near else add)


def several(kind: str | None, wanted: str, found: Sequence[Thing]) -> InputError:
    """The error for a name that several things have which differ."""
    listed = ", ".join((t.id[:8] if kind else f"{t.kind} {t.id[:8]}") for t in found)
    return InputError(
        kind or "name", wanted, "is the name of several", f"say which by the beginning of its id: {listed}"
    )


def first_of_doubles(desk: Desk, here: Sequence[Thing]) -> Thing | None:
    """The only one, or of doubles the one that was in this book first; None when they differ."""
    if len(here) == 1:
        return here[0]
    if len({t.kind for t in here}) > 1 or len({folded(t.name) for t in here}) > 1:
        return None
    for key in _TOLD_APART_BY:
        if len({str(t.parts[key]) for t in here if key in t.parts}) > 1:
            return None
    own = [str(t.parts.get("season", "")) for t in here]
    if len(set(own)) > 1 and not set(own) <= _alike_seasons(desk, own[0]):
        return None
    return min(here, key=lambda t: t.seq)


def _of_season(desk: Desk, wanted: str, here: Sequence[Thing], season: str) -> list[Thing]:
    """Those of a season, else those of no season; a field of other seasons alone is refused, not taken instead."""
    alike = _alike_seasons(desk, season)
    found = [t for t in here if t.parts.get("season") in alike] or [t for t in here if "season" not in t.parts]
    if here and not found:
        seasons = by_ids(desk, [season, *(t.parts["season"] for t in here)])
        names = sorted({seasons[t.parts["season"]].name for t in here if t.parts["season"] in seasons})
        name = seasons[season].name if season in seasons else season[:8]
        raise InputError(
            "field", wanted, f"is there, but not in season {name}", f"name one of its seasons: {', '.join(names)}"
        )
    return found


def _alike_seasons(desk: Desk, season: str) -> set[str]:
    """Ids of all seasons with the name of this one, itself included."""
    one = by_ids(desk, [season]).get(season)
    return {season} | ({t.id for t in named(desk, one.name, "season")} if one is not None else set())


def refuse_twin(desk: Desk, kind: str, parts: Mapping[str, Any], *, own_id: str = "") -> None:
    """Refuse a name that another thing in use, of that kind and season, has; ``own_id``: the thing itself.

    Raises
    ------
    InputError
        When the name is taken.
    """
    name = parts.get("name")
    if not isinstance(name, str) or parts.get("retired"):
        return
    for other in named(desk, name, kind):
        if other.id != own_id and not other.retired and other.parts.get("season") == parts.get("season"):
            mend = f"choose another name, or edit the one that is there ({other.id[:8]})"
            raise InputError(f"{kind}, name", name, "is taken", mend)


def _refuse_misleading(kind: str, parts: Mapping[str, Any]) -> None:
    """Refuse a name that cannot be typed again on one line, or a pan's that would be read as another size."""
    for key, value in parts.items():
        part = KINDS[kind].part(key)
        if part is None or part.holds != "name" or not isinstance(value, str):
            continue
        if any(unicodedata.category(sign) in _NOT_IN_A_NAME for sign in value):
            raise InputError(f"{kind}, {key}", value, "holds a sign that cannot be seen", "write it on one line")
    name = parts.get("name")
    if kind == "pan" and isinstance(name, str):
        for text, holds in ((name, "area"), (_BETWEEN_SIDES.split(name)[0], "length")):
            try:
                units.read(text, holds, field="pan, name")
            except InputError:
                continue
            raise InputError("pan, name", name, "reads like a size", "give it a name, and its size as area, or width")


def edit_label(desk: Desk, thing: Thing, field: str, value: Any) -> Receipt:
    """Change one field of a thing; the old value stays in the history.

    Raises
    ------
    InputError
        For a field the thing does not have, a value it cannot hold, or a name, season or return to use that would put
        it beside another thing of the same name.
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
        value = without_bushels(desk, {**thing.parts, field: all_nfc(value)})[field]
        check_part(kind, part, value)
        _refuse_misleading(thing.kind, {field: value})
    if field in _MAKES_A_TWIN and value != thing.parts.get(field):
        refuse_twin(desk, thing.kind, {**thing.parts, field: value}, own_id=thing.id)
    if field in _OF_MONEY and value is not None:
        refuse_stored(desk, thing.kind, {**thing.parts, field: value}, own_id=thing.id)
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
    # Bodies stand in canonical JSON, so the target is found by its very letters; it is looked at again below.
    query = sa.text("SELECT id FROM record WHERE kind = :kind AND body LIKE :target ORDER BY seq")
    values = {"kind": EDIT, "target": f'%"target":"{thing_id}"%'}
    with guarded(desk.store.address), desk.store.reading() as connection:
        ids = [row.id for row in connection.execute(query, values)]
    found = records.read_many(desk.store, ids)
    in_order = sorted(found.values(), key=lambda s: s.seq)
    return [edit_of(s.envelope.id, s.envelope.body) for s in in_order if s.envelope.body["target"] == thing_id]


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
