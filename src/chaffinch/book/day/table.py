"""The hours of a day as rows of a table and as a curve: shared by every face that shows them."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from chaffinch.book.day.hours import DayAnswer
from chaffinch.book.day.said import GRADE, clock, hour_grade
from chaffinch.book.figures import decimals_for, range_words, rounded
from chaffinch.book.shown_unit import PaceUnit
from chaffinch.engine.day.hours import Hour
from chaffinch.engine.estimate import Range

MOST_ROWS: Final = 40
"""Rows shown [1]; own figure: a day and a half of hours."""


def shown_rows(found: DayAnswer) -> list[int]:
    """Hours that a table shows: those somebody may work."""
    return [k for k, hour in enumerate(found.plan.hours) if hour.why_not is None][:MOST_ROWS]


def table_rows(found: DayAnswer, unit: PaceUnit) -> list[list[str]]:
    """A head, and a row for each hour that may be worked."""
    shown, land = shown_rows(found), unit.loss.land
    digits = _digits([found.plan.hours[k] for k in shown], unit)
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
    return rows


def table_about(found: DayAnswer, unit: PaceUnit) -> str:
    """What the columns are, and how many hours are left out."""
    left = len(found.hours) - len(shown_rows(found))
    told = f" {left} hours without work are left out." if left else ""
    return (
        f"Losses in {unit.loss.name}, low to high, at the best pace; tough: 0 dry straw, 1 soaked; cost of grain and "
        f"time per {unit.loss.land}; ■ to work.{told}"
    )


def hours_of_day(found: DayAnswer) -> list[float]:
    """Hours after the first row's midnight, one for each row [h]."""
    midnight = found.hours[0].minute // 1440 * 1440
    return [(one.minute - midnight) / 60.0 for one in found.hours]


def cheapest(found: DayAnswer) -> int | None:
    """The working hour that costs least; None where there is none."""
    able = [k for k, hour in enumerate(found.plan.hours) if hour.why_not is None]
    return min(able, key=lambda k: found.plan.hours[k].whole_per_ha, default=None)


def _digits(hours: Sequence[Hour], unit: PaceUnit) -> int:
    """Digits that suit the least certain loss: all rows are written alike."""
    parts = [r.times(unit.loss.factor) for h in hours for r in (h.machine_kg_ha, h.header_kg_ha) if r is not None]
    return min((decimals_for(r.low, r.high, r.median) for r in parts), default=0)


def _loss(r: Range, unit: PaceUnit, digits: int) -> str:
    low, _, high = range_words(r.times(unit.loss.factor), decimals=digits)
    return f"{low}–{high}"


def _grain(hour: Hour) -> str:
    if hour.grain_pct is None:
        return "–"
    return f"{rounded(hour.grain_pct.low, 1)}–{rounded(hour.grain_pct.high, 1)}"


def _mark(found: DayAnswer, hour: Hour) -> str:
    sold = hour_grade(found, hour)
    marks = ["■" if hour.worked >= 1.0 else f"■ {rounded(100 * hour.worked, 0)} %"] if hour.worked > 0.0 else []
    if sold == "over":
        marks.append(GRADE[sold])  # by itself: a longer word would cost the table a column
    elif sold not in (None, "dry"):
        marks.append(f"grain {GRADE[sold]}")
    return ", ".join(marks)
