"""The page ``chaffinch day`` prints: the hours to work, a row for each working hour, and the cost as a chart."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Final

from chaffinch.book.day_said import (
    ASSUMED,
    GRADE,
    check_again,
    clock,
    grain_said,
    headline,
    hour_grade,
    moving,
    remarks,
    sends_out,
    what_it_does,
)
from chaffinch.book.figures import decimals_for, plain_number, range_words, rounded
from chaffinch.book.pace_said import ASSUMED as ASSUMED_OF_PACE
from chaffinch.book.wording import CAUTION
from chaffinch.cli.chart import Curve, chart
from chaffinch.cli.page import Page

if TYPE_CHECKING:
    from chaffinch.book.day import DayAnswer
    from chaffinch.book.shown_unit import PaceUnit
    from chaffinch.engine.day import Hour
    from chaffinch.engine.estimate import Range

MOST_ROWS: Final = 40
"""Rows printed [1]; the rest is in --json. Own figure."""


def show(found: DayAnswer, page: Page, unit: PaceUnit) -> None:
    """Print the page."""
    own = len(found.curves.own)
    seen = f"{own} {'check' if own == 1 else 'checks'} of its own, {found.told_checks} with humidity"
    page.say()
    page.two_ends(f"{found.curves.combine.name} · {found.curves.crop} · {found.hours[0].at[:10]}", seen)
    page.say()
    page.figure(headline(found), "to work" if found.job.area_left_ha is not None else "cheapest")
    page.say()
    page.paragraph(what_it_does(found, unit))
    if sends_out(found):
        page.paragraph(CAUTION, bullet="! ")
    for text in (check_again(found), grain_said(found), moving(found)):
        if text:
            page.paragraph(text)
    page.say()
    _table(found, page, unit)
    page.say()
    _chart(found, page, unit)
    page.say()
    for text in remarks(found):
        page.paragraph(text, bullet="· ")
    _taken(found, page, unit)
    page.say()


def _table(found: DayAnswer, page: Page, unit: PaceUnit) -> None:
    shown = [k for k, hour in enumerate(found.plan.hours) if hour.why_not is None][:MOST_ROWS]
    digits = _digits([found.plan.hours[k] for k in shown], unit)
    land = unit.loss.land
    rows = [["hour", "tough", "grain %", unit.speed, "machine", "header", f"{land}/h", f"cost/{land}", ""]]
    for k in shown:
        hour = found.plan.hours[k]
        rows.append(
            [
                clock(found, k),
                rounded(hour.toughness, 2),
                _grain(hour),
                rounded(unit.speeds(hour.best_kmh), 1),
                _loss(hour.machine_kg_ha, unit, digits),
                "not seen" if hour.header_kg_ha is None else _loss(hour.header_kg_ha, unit, digits),
                rounded(hour.ha_h / unit.ha, 1),
                unit.money(hour.loss_per_ha + hour.time_per_ha),
                _mark(found, hour),
            ]
        )
    if shown:
        page.print_table(rows, gap=2, may_go=(6,))
    left = len(found.hours) - len(shown)
    told = f" {left} hours without work are left out." if left else ""
    page.paragraph(
        f"Losses in {unit.loss.name}, low to high, at the best pace; tough: 0 dry straw, 1 soaked; cost of grain and "
        f"time per {land}; ■ to work.{told}"
    )


def _grain(hour: Hour) -> str:
    if hour.grain_pct is None:
        return "–"
    return f"{rounded(hour.grain_pct.low, 1)}–{rounded(hour.grain_pct.high, 1)}"


def _digits(hours: Sequence[Hour], unit: PaceUnit) -> int:
    """Digits that suit the least certain loss: all rows are written alike."""
    parts = [r.times(unit.loss.factor) for h in hours for r in (h.machine_kg_ha, h.header_kg_ha) if r is not None]
    return min((decimals_for(r.low, r.high, r.median) for r in parts), default=0)


def _loss(r: Range, unit: PaceUnit, digits: int) -> str:
    low, _, high = range_words(r.times(unit.loss.factor), decimals=digits)
    return f"{low}–{high}"


def _mark(found: DayAnswer, hour: Hour) -> str:
    sold = hour_grade(found, hour)
    marks = ["■" if hour.worked >= 1.0 else f"■ {rounded(100 * hour.worked, 0)} %"] if hour.worked > 0.0 else []
    marks += [f"grain {GRADE[sold]}"] if sold not in (None, "dry") else []
    return ", ".join(marks)


def _chart(found: DayAnswer, page: Page, unit: PaceUnit) -> None:
    """Machine loss by hour at each hour's best pace; ▲ the cheapest working hour."""
    hours = found.plan.hours
    able = [k for k, hour in enumerate(hours) if hour.why_not is None]
    if len(hours) < 2 or not able:
        return
    midnight = found.hours[0].minute // 1440 * 1440
    x = [(one.minute - midnight) / 60.0 for one in found.hours]
    cheapest = min(able, key=lambda k: hours[k].whole_per_ha)
    page.paragraph("Machine loss at the best pace by hour after midnight; ▲ the cheapest working hour.")
    lines = chart(
        Curve(x, [hour.machine_kg_ha.times(unit.loss.factor) for hour in hours]),
        [],
        x_unit="h",
        y_unit=unit.loss.name,
        mark_x=x[cheapest],
        width=min(60, page.width - 18),
        height=8,
    )
    for line in lines:
        page.say("  " + line)


def _taken(found: DayAnswer, page: Page, unit: PaceUnit) -> None:
    hour = found.job.hour_cost_per_h
    texts = [f"One more hour costs {f'{unit.sign}{plain_number(hour)}' if hour else 'nothing'}."]
    texts += [ASSUMED.get(key) or ASSUMED_OF_PACE[key] for key in found.assumed]
    page.say()
    page.say("  " + page.soft("Taken as given"))
    for text in texts:
        page.paragraph(text, bullet="· ")
