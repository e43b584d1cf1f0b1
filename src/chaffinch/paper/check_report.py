"""The report of one check: what was lost where, is it over the limit, what it costs, and what it rests on."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from chaffinch.book.checks.answer import CheckAnswer, answer
from chaffinch.book.checks.filed import Filed, filed_under, settings_told, with_field
from chaffinch.book.checks.in_trade_unit import land_unit
from chaffinch.book.checks.plain_data import as_json
from chaffinch.book.shown_unit import farm_of
from chaffinch.book.things import by_ids
from chaffinch.book.times import local
from chaffinch.paper import blocks
from chaffinch.paper.behind import corrections, method, prices
from chaffinch.paper.blocks import NAME, NUMBER, TEXT, Block, Report
from chaffinch.paper.check_record_told import FILED, catches_told
from chaffinch.paper.check_told import Told, told_of
from chaffinch.paper.told import Reads, in_person_unit, reads_in
from chaffinch.paper.wanted import Wanted, price_said
from chaffinch.paper.words import words

if TYPE_CHECKING:
    from chaffinch.book.checks.held import LoggedCheck
    from chaffinch.book.desk import Desk
    from chaffinch.records.check import Check


@dataclass(frozen=True, slots=True)
class _Stop:
    """What a check's record says beside its catches."""

    filed: Filed
    taken: str
    lines: tuple[str, ...]
    prices_of: str
    corrected: list[Block]
    figures: Mapping[str, Any]


def check_report(desk: Desk, logged: LoggedCheck, wanted: Wanted) -> Report:
    """The report of a check of the book.

    Raises
    ------
    InputError, SamplerError
        When the check cannot be answered.
    """
    body = logged.body
    here = by_ids(desk, [body.get(key) for key in FILED])
    farm = farm_of(desk)
    currency = "" if farm is None else str(farm.parts.get("currency", ""))
    field = here.get(str(body.get("field", "")))
    check, taken_from_field = with_field(logged.check, field, currency)
    shown = in_person_unit(check, reads_in(desk, wanted.report_in))
    found = answer(shown)
    feet = land_unit(shown) == "ac"
    day = str(field.parts.get("price_date", "")) if field is not None and "price" in taken_from_field else ""
    stop = _Stop(
        filed_under(body, here),
        local(str(body["taken_at"])),
        tuple(settings_told(body)),
        day,
        corrections(desk, [logged], feet=feet, short=wanted.short),
        {"id": logged.id, **as_json(found)},
    )
    return _laid_out(found, wanted, stop, of=(logged.id,))


def check_file_report(check: Check, wanted: Wanted) -> Report:
    """The report of a check file that is in no book."""
    shown = in_person_unit(check, Reads(wanted.report_in, check.country))
    found = answer(shown)
    machine = "" if check.combine is None else check.combine.name
    filed = Filed("", check.field_name, machine, check.operator)
    return _laid_out(found, wanted, _Stop(filed, check.when, (), "", [], as_json(found)), of=())


def _laid_out(found: CheckAnswer, wanted: Wanted, stop: _Stop, *, of: tuple[str, ...]) -> Report:
    told = told_of(replace(found))
    crop = found.prepared.figures.crop.name.capitalize()
    filed = stop.filed
    subtitle = [filed.field, filed.season, filed.combine, stop.taken]
    subtitle += [words("report.by", name=filed.operator)] if filed.operator else []
    subtitle += [words("report.check.id", id=of[0][:8])] if of else []
    check = found.check
    price = None if check.price_per_t is None else price_said(check.price_per_t, check.currency, check.bushel_kg)
    return Report(
        "check",
        f"{words('report.check')}: {crop}",
        tuple(part for part in subtitle if part),
        wanted.date,
        wanted.size,
        wanted.short,
        _blocks(found, told, stop, wanted, price),
        wanted.footer(),
        dict(stop.figures),
        of,
        "" if check.price_per_t is None else f"{check.price_per_t!r} /t",
    )


def _blocks(found: CheckAnswer, told: Told, stop: _Stop, wanted: Wanted, price: str | None) -> list[Block]:
    likely = f", {words('likely', low=told.amount.low, high=told.amount.high)}" if told.middle_told else ""
    made: list[Block] = [
        blocks.big(told.amount, f"{told.what}{likely}", middle_told=told.middle_told),
        blocks.picture(told.ruler, wanted.size),
    ]
    if told.verdict:
        made.append(blocks.verdict(told.shape, told.verdict_word, told.verdict))
    made += [blocks.text(line) for line in told.money]
    made.append(blocks.heading(words("check.where")))
    if told.sources_drawing is not None and not wanted.short:
        made.append(blocks.picture(told.sources_drawing, wanted.size))
    made.append(blocks.figures_table(told.sources))
    made += [blocks.text(line, soft=True) for line in told.notes]
    made.append(blocks.caution(told.caution))
    made += [blocks.text(told.next_step)] if told.next_step else []
    made += blocks.notes(words("mind"), told.warnings)
    if wanted.short:
        made += [blocks.text(f"{words('report.prices')}: {price}", soft=True)] if price else []
        return made + stop.corrected
    made += blocks.notes(words("taken"), told.assumed)
    made.append(blocks.heading(words("check.catches")))
    head = ["", words("log.place"), words("log.pan"), words("log.amount"), ""]
    feet = land_unit(found.check) == "ac"
    rows = [[*row[:4], row[4]] for row in catches_told(found.check, feet=feet)]
    made.append(blocks.table([head, *rows], [NUMBER, NAME, TEXT, TEXT, NAME]))
    made += [blocks.text(line) for line in stop.lines]
    made += [blocks.text(found.check.note)] if found.check.note else []
    made += stop.corrected
    day = words("report.price.day", day=stop.prices_of) if stop.prices_of else words("report.price.no_day")
    made += prices([(found.prepared.figures.crop.name, f"{price}, {day}")] if price else [])
    return made + method([], list(found.sources), yield_kg_ha=found.check.yield_kg_ha)
