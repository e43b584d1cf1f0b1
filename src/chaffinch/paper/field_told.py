"""How is a field's sum laid out for people: its mean below a ruler, its sources, money, and what is missing?"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from chaffinch import units
from chaffinch.book.checks.fields import CheckLine, FieldSummary
from chaffinch.book.checks.own_variation import variation_said
from chaffinch.book.desk import Desk
from chaffinch.book.figures import plain_number, range_words
from chaffinch.book.season.said import DOUBTED
from chaffinch.book.shown_unit import Unit, area_said, unit_for
from chaffinch.book.things import Thing
from chaffinch.book.times import local
from chaffinch.book.wording import SOURCE
from chaffinch.paper import drawing
from chaffinch.paper.day_told import day_drawing
from chaffinch.paper.drawing import Drawing
from chaffinch.paper.told import Amount, count_of, money_said
from chaffinch.paper.words import words
from chaffinch.reference import crop as find_crop

CARRIED: Final = ("not-told-apart", "standing-left-in")
"""Warnings of single checks that bear on a field's sources."""


@dataclass(frozen=True, slots=True)
class Told:
    """A field's summary as its page shows it."""

    what: str
    amount: Amount | None
    ruler: Drawing | None
    sources: list[list[str]]
    day: Drawing | None
    money: str
    coverage: str
    note: str
    pieces: list[str]


def unit_of_field(desk: Desk, found: FieldSummary, report_in: str | None) -> Unit:
    """The unit for this field's crop; kg/ha where checks of another crop are filed under it."""
    checks = [line.logged.check for line in found.checks]
    crop_name = found.field.parts.get("crop")
    crops = {check.crop for check in checks}
    if len(crops) > 1 or (crops and crop_name is not None and find_crop(str(crop_name)).key not in crops):
        return unit_for(desk, None, [], report_in="kg/ha")
    bushels = [c.bushel_kg for c in checks if c.bushel_kg is not None]
    return unit_for(desk, None if crop_name is None else str(crop_name), bushels, report_in=report_in)


def told_of(desk: Desk, found: FieldSummary, report_in: str | None) -> Told:
    """A field's sum laid out for a page, in the unit chosen; None for the farm's."""
    unit = unit_of_field(desk, found, report_in)
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
        day_drawing(
            [(str(line.logged.body["taken_at"]), line.answer.judged_kg_ha.times(unit.factor)) for line in found.checks],
            unit.name,
            spots=[_spot(line, unit) for line in found.checks],
        ),
        _money(found, unit),
        words("field.coverage", checks=count_of(len(found.checks)), area=area),
        unit.note,
        _pieces(found),
    )


def _spot(line: CheckLine, unit: Unit) -> drawing.Spot:
    """A check of the day's course: when it was taken and what it says, and its page."""
    low, middle, high = range_words(line.answer.judged_kg_ha.times(unit.factor))
    said = f"{local(str(line.logged.body['taken_at']))} · {middle} {unit.name}, {words('likely', low=low, high=high)}"
    return drawing.Spot(f"/check/{line.logged.id}", said)


def _limit(thing: Thing) -> float | None:
    told = thing.parts.get("limit")
    return None if told is None else units.read_positive(told, "area_mass", field="field, limit").value


def _money(found: FieldSummary, unit: Unit) -> str:
    if found.money is None:
        missing = [x for x in ("area", "price") if x not in found.field.parts]
        return words("field.no_money", what=" and no ".join(missing)) if missing and found.mean_kg_ha else ""
    said = money_said(found.money, currency_of(found, unit))
    return words("field.money", money=said.middle, low=said.low, high=said.high)


def currency_of(found: FieldSummary, unit: Unit) -> str:
    """What stands before the field's money."""
    price = found.field.parts.get("price")
    own = "" if price is None else units.read_positive(price, "price", field="field, price").currency
    shared = {line.logged.check.currency for line in found.checks} - {""}
    return own or unit.currency or (shared.pop() if len(shared) == 1 else "")


def _pieces(found: FieldSummary) -> list[str]:
    """What the field's figures lack, and what bears on them."""
    count = len(found.checks)
    told = [DOUBTED.format(check=one[:8], field=found.field.name) for one in found.doubted]
    told += variation_said(found.taught)
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
