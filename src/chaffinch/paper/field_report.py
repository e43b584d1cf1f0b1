"""The report of one field: what was lost where, check by check, what was changed, pace and limit, what is missing."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from chaffinch import units
from chaffinch.book.checks.fields import FieldSummary, field_summary
from chaffinch.book.checks.plain_data import as_range
from chaffinch.book.desk import Desk
from chaffinch.book.figures import range_words
from chaffinch.book.shown_unit import Unit, area_said
from chaffinch.book.things import Thing, by_ids
from chaffinch.book.times import local
from chaffinch.book.wording import VERDICT
from chaffinch.how_far import Progress
from chaffinch.paper import blocks
from chaffinch.paper.behind import corrections, coverage, method, prices
from chaffinch.paper.blocks import NAME, NUMBER, TEXT, Block, Report
from chaffinch.paper.changes import changes, trials_where
from chaffinch.paper.field_told import Told, currency_of, told_of, unit_of_field
from chaffinch.paper.paces import paces
from chaffinch.paper.told import count_of
from chaffinch.paper.wanted import Wanted, price_said
from chaffinch.paper.words import words
from chaffinch.reference import crop as find_crop


def field_report(desk: Desk, field: Thing, wanted: Wanted, *, progress: Progress | None = None) -> Report:
    """The report of a field of the book; one without a check says that it has none.

    Parameters
    ----------
    desk : Desk
        The open book.
    field : Thing
        The field.
    wanted : Wanted
        What the report is to be like.
    progress : callable or None
        Called with (done, of) while checks are answered.

    Raises
    ------
    InputError
        For a check that cannot be answered.
    """
    found = field_summary(desk, field, progress=progress)
    unit = unit_of_field(desk, found, wanted.report_in)
    seasons = by_ids(desk, [field.parts.get("season")])
    season = seasons.get(str(field.parts.get("season", "")))
    area = "" if found.area_ha is None else area_said(found.area_ha, unit)
    crop = str(field.parts.get("crop", ""))
    body, figures = _blocks(desk, found, unit, wanted)
    return Report(
        "field",
        words("report.field", name=field.name),
        tuple(part for part in (crop, area, "" if season is None else season.name) if part),
        wanted.date,
        wanted.size,
        wanted.short,
        body,
        wanted.footer(),
        {**field_figures(found), **figures},
        (field.id, *(line.logged.id for line in found.checks))[:1000],
        str(field.parts.get("price", "")),
    )


def field_figures(found: FieldSummary) -> dict[str, Any]:
    """The sums of a field as plain data, in kg/ha and money."""
    return {
        "field": {"id": found.field.id, "name": found.field.name},
        "area_ha": found.area_ha,
        "checks_on_it": len(found.checks),
        "mean_kg_ha": as_range(found.mean_kg_ha),
        "sources": {source: {"kg_ha": as_range(r), "checks": n} for source, (r, n) in found.sources.items()},
        "money_over_field": as_range(found.money),
        "checks": [
            {"id": line.logged.id, "kg_ha": as_range(line.answer.judged_kg_ha), "verdict": line.answer.verdict}
            for line in found.checks
        ],
    }


def _blocks(desk: Desk, found: FieldSummary, unit: Unit, wanted: Wanted) -> tuple[list[Block], dict[str, Any]]:
    trials, of_trials = changes(desk, trials_where(desk, lambda t: _in(t.field, found.field)), wanted.report_in)
    pace, of_pace = paces(desk, _machines(desk, found), wanted)
    figures = {"trials": of_trials, "paces": of_pace}
    if not found.checks:
        return [blocks.text(words("field.none")), *trials, *pace], figures
    told = told_of(desk, found, wanted.report_in)
    made = _sum(told, wanted)
    logged = [line.logged for line in found.checks]
    made += blocks.notes(words("field.pieces"), told.pieces)
    made.append(blocks.heading(words("field.checks")))
    if told.day is not None and not wanted.short:
        made += [blocks.picture(told.day, wanted.size, named=True)]
    made.append(_checks(desk, found, unit))
    made += trials + pace + corrections(desk, logged, feet=unit.land == "ac", short=wanted.short)
    made += prices(_price(found, unit))
    if wanted.short:
        return made, figures
    saw = {source: count for source, (_, count) in found.sources.items()}
    area = words("field.unknown_area") if found.area_ha is None else area_said(found.area_ha, unit)
    made.append(blocks.text(coverage(count_of(len(logged)), area, saw)))
    kinds = ["field", *(["trial"] if of_trials else []), *(["pace"] if of_pace else [])]
    return made + method(kinds, list(found.sources), yield_kg_ha=_yield(found)), figures


def _sum(told: Told, wanted: Wanted) -> list[Block]:
    made: list[Block] = []
    if told.amount is not None and told.ruler is not None:
        likely = words("likely", low=told.amount.low, high=told.amount.high)
        made += [blocks.big(told.amount, f"{told.what}, {likely}"), blocks.picture(told.ruler, wanted.size)]
    made += [blocks.text(told.money)] if told.money else []
    made += [blocks.text(told.coverage)]
    made += [blocks.text(told.note, soft=True)] if told.note else []
    return [*made, blocks.heading(words("field.sources")), blocks.figures_table(told.sources)]


def _checks(desk: Desk, found: FieldSummary, unit: Unit) -> Block:
    lines = found.checks
    # No driver beside a single check: its figure tells of a place and an hour as much as of a person.
    named = by_ids(desk, [line.logged.body.get("combine") for line in lines])
    table = [[words("column.taken"), words("column.combine"), unit.name, words("column.likely"),
              words("column.verdict")]]  # fmt: skip
    for line in lines:
        body = line.logged.body
        low, middle, high = range_words(line.answer.judged_kg_ha.times(unit.factor))
        combine = named[str(body["combine"])].name if body.get("combine") in named else ""
        verdict = "" if line.answer.verdict is None else VERDICT[line.answer.verdict].lower()
        table.append([local(str(body["taken_at"])), combine, middle, f"{low} to {high}", verdict])
    return blocks.table(table, [TEXT, NAME, NUMBER, NUMBER, TEXT], shrinks="last")


def _machines(desk: Desk, found: FieldSummary) -> list[tuple[Thing, str, Thing | None]]:
    """Each combine that was checked here with its crop."""
    seen = dict.fromkeys(
        (str(line.logged.body["combine"]), find_crop(line.logged.check.crop).key)
        for line in found.checks
        if line.logged.body.get("combine")
    )
    known = by_ids(desk, [combine for combine, _ in seen])
    return [(known[combine], crop, found.field) for combine, crop in seen if combine in known]


def _price(found: FieldSummary, unit: Unit) -> Sequence[tuple[str, str]]:
    parts = found.field.parts
    if "price" not in parts:
        return []
    price = units.read_positive(str(parts["price"]), "price", field="field, price").value
    bushel = 1.0 / unit.factor * units.to_inside(1.0, unit.land, "land") if unit.name.startswith("bu") else None
    day = words("report.price.day", day=parts["price_date"]) if "price_date" in parts else words("report.price.no_day")
    return [(str(parts.get("crop", "")), f"{price_said(price, currency_of(found, unit), bushel)}, {day}")]


def _yield(found: FieldSummary) -> float | None:
    yields = [line.logged.check.yield_kg_ha for line in found.checks if line.logged.check.yield_kg_ha is not None]
    return sum(yields) / len(yields) if yields else None


def _in(field: Thing | None, wanted: Thing) -> bool:
    return field is not None and field.id == wanted.id
