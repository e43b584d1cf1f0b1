"""What did a field lose, by source; what was checked in it, and what is missing?"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Final

from fastapi import APIRouter, Depends, Path, Request
from markupsafe import Markup
from starlette.responses import Response

from chaffinch import units
from chaffinch.book.desk import Desk
from chaffinch.book.fields import FieldSummary, field_summary
from chaffinch.book.figures import plain_number, range_words
from chaffinch.book.ledger_said import DOUBTED
from chaffinch.book.shown_unit import Unit, unit_for
from chaffinch.book.telling import Teller
from chaffinch.book.things import Thing, by_ids
from chaffinch.book.version import book_version
from chaffinch.book.wording import SOURCE
from chaffinch.records.kinds import KINDS
from chaffinch.reference import crop as find_crop
from chaffinch.web.access import reader
from chaffinch.web.pages import drawing
from chaffinch.web.pages.answers import Working, longer_of
from chaffinch.web.pages.frame import Person, desk_of, person_of, show
from chaffinch.web.pages.told import Amount, area_said, count_of, lines_of, money_said
from chaffinch.web.pages.words import words
from chaffinch.web.problems import Refusal

router = APIRouter()

ThingId = Annotated[str, Path(max_length=64)]
CARRIED: Final = ("not-told-apart", "standing-left-in")
"""Warnings of single checks that bear on a field's sources."""


@dataclass(frozen=True, slots=True)
class Told:
    """A field's summary as its page shows it."""

    what: str
    amount: Amount | None
    ruler: Markup | None
    sources: list[list[str]]
    money: str
    coverage: str
    note: str
    pieces: list[str]


@router.get("/field/{field_id}", dependencies=[Depends(reader)])
def field(request: Request, field_id: ThingId) -> Response:
    """The page of one field."""
    desk, person = desk_of(request), person_of(request)
    thing = thing_or_missing(desk, field_id, "field")
    found = longer_of(request).ask(
        ("field", thing.id, book_version(desk)), lambda step: field_summary(desk, thing, progress=step)
    )
    if isinstance(found, Working):
        return show(request, "working.html", "seasons", working=found, title=thing.title)
    teller = Teller(desk)
    facts = [
        (part.about, teller.said(KINDS["field"], part.name, thing.parts[part.name], thing.parts))
        for part in KINDS["field"].parts
        if part.name in thing.parts and part.name not in ("name", "retired", "note")
    ]
    lines = lines_of(desk, [line.logged.id for line in found.checks], person)
    return show(
        request,
        "field.html",
        "seasons",
        thing=thing,
        season_id=str(thing.parts.get("season", "")),
        season=teller.names.get(str(thing.parts.get("season", "")), ""),
        facts=facts,
        told=_told(desk, found, person) if found.checks else None,
        lines=list(reversed(lines)),
        note=str(thing.parts.get("note", "")),
    )


def thing_or_missing(desk: Desk, thing_id: str, kind: str) -> Thing:
    """The thing of that kind and id.

    Raises
    ------
    Refusal
        404 when there is none.
    """
    found = by_ids(desk, [thing_id]).get(thing_id)
    if found is None or found.kind != kind:
        raise Refusal(404, kind, "is not in the book", "follow a link of the page it should be on")
    return found


def unit_of_field(desk: Desk, found: FieldSummary, person: Person) -> Unit:
    """The unit for this field's crop; kg/ha where checks of another crop are filed under it."""
    checks = [line.logged.check for line in found.checks]
    crop_name = found.field.parts.get("crop")
    crops = {check.crop for check in checks}
    if len(crops) > 1 or (crops and crop_name is not None and find_crop(str(crop_name)).key not in crops):
        return unit_for(desk, None, [], report_in="kg/ha")
    bushels = [c.bushel_kg for c in checks if c.bushel_kg is not None]
    return unit_for(desk, None if crop_name is None else str(crop_name), bushels, report_in=person.report_in)


def _told(desk: Desk, found: FieldSummary, person: Person) -> Told:
    unit = unit_of_field(desk, found, person)
    what, amount, picture = "", None, None
    if found.mean_kg_ha is not None:
        r = found.mean_kg_ha.times(unit.factor)
        amount = Amount.of(r, unit.name)
        what = words("field.mean", sources=" and ".join(SOURCE[s] for s in found.sources if s != "standing"))
        limit = _limit(found.field)
        shown = None if limit is None else limit * unit.factor
        picture = drawing.ruler(
            r, unit.name, title=words("field.drawing", name=found.field.name, unit=unit.name),
            about=words("check.about", low=amount.low, middle=amount.middle, high=amount.high, unit=unit.name),
            name="field", limit=shown,
            limit_name="" if shown is None else words("limit", limit=plain_number(shown)),
        )  # fmt: skip
    rows = [[unit.name, words("low"), words("middle"), words("high"), words("column.checks")]]
    for source, (r, count) in found.sources.items():
        rows.append([SOURCE[source], *range_words(r.times(unit.factor)), str(count)])
    area = words("field.unknown_area") if found.area_ha is None else area_said(found.area_ha, unit)
    return Told(
        what,
        amount,
        picture,
        rows,
        _money(found, unit),
        words("field.coverage", checks=count_of(len(found.checks)), area=area),
        unit.note,
        _pieces(found),
    )


def _limit(thing: Thing) -> float | None:
    told = thing.parts.get("limit")
    return None if told is None else units.read_positive(told, "area_mass", field="field, limit").value


def _money(found: FieldSummary, unit: Unit) -> str:
    if found.money is None:
        missing = [x for x in ("area", "price") if x not in found.field.parts]
        return words("field.no_money", what=" and no ".join(missing)) if missing and found.mean_kg_ha else ""
    said = money_said(found.money, _currency(found, unit))
    return words("field.money", money=said.middle, low=said.low, high=said.high)


def _currency(found: FieldSummary, unit: Unit) -> str:
    price = found.field.parts.get("price")
    own = "" if price is None else units.read_positive(price, "price", field="field, price").currency
    shared = {line.logged.check.currency for line in found.checks} - {""}
    return own or unit.currency or (shared.pop() if len(shared) == 1 else "")


def _pieces(found: FieldSummary) -> list[str]:
    """What the field's figures lack, and what bears on them."""
    count = len(found.checks)
    told = [DOUBTED.format(check=one[:8], field=found.field.name) for one in found.doubted]
    told += [words("field.single")] if count == 1 else []
    for source in ("header", "machine"):
        name = SOURCE[source].capitalize()
        if source not in found.sources:
            told.append(words("field.unseen", source=name))
        elif found.sources[source][1] < count:
            told.append(words("field.partly", source=name, n=found.sources[source][1], of=count))
    for key in CARRIED:
        n = sum(any(notice.key == key for notice in line.answer.notices) for line in found.checks)
        if n:
            told.append(words(f"field.{key}", n=n, of=count))
    if "standing" in found.sources:
        told.append(words("field.standing"))
    return told
