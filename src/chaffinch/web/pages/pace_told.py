"""How is a best pace told on a page: headline and ruler, advice, the table of costs, the curve with its points?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from markupsafe import Markup

from chaffinch.book.curves import seen_range
from chaffinch.book.figures import percent, plain_number, range_words, rounded
from chaffinch.book.pace import PaceAnswer
from chaffinch.book.pace_said import (
    ADVICE,
    ASSUMED,
    advice_has_a_ground,
    headers_behind,
    limit_may_be_told,
    load_said,
    points_left_out,
    remarks_said,
)
from chaffinch.book.shown_unit import PaceUnit
from chaffinch.book.wording import CAUTION
from chaffinch.engine.estimate import Range
from chaffinch.engine.pace_cost import SpeedRow
from chaffinch.web.pages import drawing
from chaffinch.web.pages.words import words

SHAPE: Final = {"slower": "◂", "faster": "▸", "stay": "■", "not settled": "◆"}
SENDS_OUT: Final = frozenset({"may lie beyond", "beyond tested", "slope not learned"})
"""Remarks that send somebody to the machine with a pan."""
ROWS: Final = 9
"""Rows of the table; own figure."""


@dataclass(frozen=True, slots=True)
class Told:
    """A best pace as the combine's page shows it."""

    best: str
    unit: str
    rest: str
    seen: str
    ruler: Markup
    shape: str
    advice: str
    against: str
    limit: str
    chart: Markup
    table: list[list[str]]
    table_about: str
    points: list[list[str]]
    caution: str
    remarks: list[str]
    taken: list[str]


def told_of(found: PaceAnswer, unit: PaceUnit) -> Told:
    """A pace laid out for a page, in the person's units."""
    pace, curves = found.pace, found.curves
    best, (low, high) = unit.speeds(pace.best_kmh), (unit.speeds(v) for v in pace.band_kmh)
    rest = words("combine.best", low=rounded(low, 1), high=rounded(high, 1))
    today = None if pace.today is None else unit.speeds(pace.today.speed_kmh)
    picture = drawing.ruler(
        Range(low, best, high), unit.speed, title=words("combine.best", low=rounded(low, 1), high=rounded(high, 1)),
        about=words("check.about", low=rounded(low, 1), middle=rounded(best, 1), high=rounded(high, 1),
                    unit=unit.speed), name="pace", limit=today, limit_name=words("combine.now_notch"),
    )  # fmt: skip
    advice, against = _advice(found, unit)
    remarks = remarks_said(found)
    remarks += [text for text in (headers_behind(found), load_said(found), points_left_out(found)) if text]
    return Told(
        best=rounded(best, 1),
        unit=unit.speed,
        rest=rest,
        seen=words("combine.own", own=_checks(len(curves.own)), all=len(curves.points)),
        ruler=picture,
        shape=SHAPE.get(pace.advice, "") if pace.today is not None else "",
        advice=advice,
        against=against,
        limit=_limit(found, unit),
        chart=_chart(found, unit),
        table=_table(found, unit),
        table_about=words("combine.cost.about", unit=unit.loss.name, land=unit.loss.land),
        points=_points(found, unit),
        caution=CAUTION if SENDS_OUT & set(pace.remarks) else "",
        remarks=remarks,
        taken=_taken(found, unit),
    )


def _checks(n: int) -> str:
    return words("today.one") if n == 1 else words("today.many", n=n)


def _advice(found: PaceAnswer, unit: PaceUnit) -> tuple[str, str]:
    pace = found.pace
    if pace.today is None:
        return "", words("combine.tell_now")
    here = f"{rounded(unit.speeds(pace.today.speed_kmh), 1)} {unit.speed}"
    advice = ADVICE[pace.advice].format(
        best=f"{rounded(unit.speeds(pace.best_kmh), 1)} {unit.speed}",
        today=here,
        tolerance=unit.money(pace.tolerance_per_ha),
        land=unit.loss.land,
    )
    against = words(
        "combine.against",
        here=here,
        money=unit.money(pace.today.mean_extra_per_ha),
        land=unit.loss.land,
        low=unit.money(pace.today.extra_per_ha.low),
        high=unit.money(pace.today.extra_per_ha.high),
        chance=percent(pace.today.p_saves),
    )
    return (advice if advice_has_a_ground(found) else ""), against


def _limit(found: PaceAnswer, unit: PaceUnit) -> str:
    limit = found.pace.limit_that_pays_kg_ha if limit_may_be_told(found) else None
    if limit is None:
        return ""
    low, middle, high = range_words(limit.times(unit.loss.factor))
    what = words("trial.what.machine" if found.pace.machine_only else "trial.what.judged")
    return words("combine.limit", low=low, middle=middle, high=high, unit=unit.loss.name, what=what)


def _chart(found: PaceAnswer, unit: PaceUnit) -> Markup:
    """Machine loss by speed, with this combine's own checks at the speed that gives their load today."""
    rows, pace = found.pace.table, found.pace
    tried = [unit.speeds(row.speed_kmh) for row in rows if row.tested]
    curve = drawing.Curve(
        [unit.speeds(row.speed_kmh) for row in rows],
        [row.machine_kg_ha.times(unit.loss.factor) for row in rows],
        (min(tried), max(tried)) if tried else None,
    )
    best, (low, high) = unit.speeds(pace.best_kmh), (unit.speeds(v) for v in pace.band_kmh)
    at_best = _nearest(rows, pace.best_kmh).machine_kg_ha.times(unit.loss.factor)
    loss_low, _, loss_high = range_words(at_best)
    points = [(at, r) for at, r, _ in _own(found, unit)]
    return drawing.chart(
        drawing.Chart(
            curve, points, unit.speed, unit.loss.name, Range(low, best, high),
            None if pace.today is None else unit.speeds(pace.today.speed_kmh), words("combine.now_notch"),
        ),
        title=words("combine.curve"),
        about=words("combine.curve.about", low=loss_low, high=loss_high, unit=unit.loss.name,
                    best=f"{rounded(best, 1)} {unit.speed}", points=len(points)), name="curve",
    )  # fmt: skip


def _own(found: PaceAnswer, unit: PaceUnit) -> list[tuple[float, Range, str]]:
    told = []
    for point in found.curves.own:
        load = point.throughput_t_h if found.curves.load_kind == "throughput" else point.speed_kmh
        if load is None:
            raise ValueError("a check on the curve has a load")
        r = seen_range(point, "machine").times(unit.loss.factor)
        told.append((unit.speeds(found.speed_of(load)), r, point.logged.id))
    return told


def _points(found: PaceAnswer, unit: PaceUnit) -> list[list[str]]:
    rows = [[words("column.check"), unit.speed, words("low"), words("middle"), words("high")]]
    for at, r, record_id in sorted(_own(found, unit), key=lambda one: one[0]):
        rows.append([record_id[:8], rounded(at, 1), *range_words(r)])
    return rows


def _table(found: PaceAnswer, unit: PaceUnit) -> list[list[str]]:
    pace = found.pace
    rows = [[unit.speed, words("column.machine"), words("column.header"), words("column.grain"), words("column.time"),
             words("column.cost", land=unit.loss.land), words("column.likely"), ""]]  # fmt: skip
    today = None if pace.today is None else pace.today.speed_kmh
    nearest = _nearest(pace.table, pace.best_kmh).speed_kmh
    for row in _chosen(pace.table, pace.best_kmh, today):
        mark = words("combine.nearest") if row.speed_kmh == nearest else ""
        rows.append(
            [
                plain_number(unit.speeds(row.speed_kmh)),
                _loss(row.machine_kg_ha, unit),
                words("combine.not_seen") if row.header_kg_ha is None else _loss(row.header_kg_ha, unit),
                unit.money(row.loss_cost_per_ha),
                unit.money(row.time_cost_per_ha),
                unit.money(row.mean_cost_per_ha),
                f"{unit.money(row.cost_per_ha.low)} to {unit.money(row.cost_per_ha.high)}",
                mark or ("" if row.tested else words("combine.untried")),
            ]
        )
    return rows


def _loss(r: Range, unit: PaceUnit) -> str:
    low, _, high = range_words(r.times(unit.loss.factor))
    return f"{low}–{high}"


def _nearest(rows: Sequence[SpeedRow], kmh: float) -> SpeedRow:
    return min(rows, key=lambda row: abs(row.speed_kmh - kmh))


def _chosen(rows: Sequence[SpeedRow], best_kmh: float, today_kmh: float | None) -> list[SpeedRow]:
    """A handful of rows over the whole span, the best one and today's always among them."""
    spread = {rows[round(i)].speed_kmh: rows[round(i)] for i in np.linspace(0, len(rows) - 1, ROWS - 2)}
    wanted = [_nearest(rows, best_kmh), *([] if today_kmh is None else [_nearest(rows, today_kmh)])]
    spread |= {row.speed_kmh: row for row in wanted}
    return [spread[kmh] for kmh in sorted(spread)]


def _taken(found: PaceAnswer, unit: PaceUnit) -> list[str]:
    hour = f"{unit.sign}{plain_number(found.hour_cost_per_h)}" if found.hour_cost_per_h else "0"
    told = [words("combine.costs", money=f"{hour}{_parts(found, unit)}")]
    return told + [words(f"combine.assumed.{key}") if key in ASSUMED_HERE else ASSUMED[key] for key in found.assumed]


ASSUMED_HERE: Final = ("yield from checks", "efficiency", "usual condition")
"""Assumptions that the shared table mends with a flag of the command line; here the form's field is named."""


def _parts(found: PaceAnswer, unit: PaceUnit) -> str:
    parts = found.parts
    if parts is None:
        return ""
    named = {
        "wage": parts.labour_per_h,
        "fuel": parts.fuel_per_h,
        "wear": parts.wear_per_h,
        "helpers": parts.helpers_per_h,
        "weather": parts.weather_per_h,
    }
    told = [f"{words(f'cost.{name}')} {unit.sign}{plain_number(value)}" for name, value in named.items() if value > 0]
    return f" ({', '.join(told)}; {words('combine.parts.rules')})"
