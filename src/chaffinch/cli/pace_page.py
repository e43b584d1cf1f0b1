"""The page ``chaffinch pace`` prints: the best pace with its band, what today costs, the table and the chart."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from chaffinch.book.figures import percent, plain_number, range_words, rounded
from chaffinch.book.pace_said import (
    ADVICE,
    ASSUMED,
    NO_TODAY,
    advice_has_a_ground,
    headers_behind,
    limit_may_be_told,
    load_said,
    points_left_out,
    remarks_said,
)
from chaffinch.book.shown_unit import PaceUnit, unit_of
from chaffinch.book.wording import CAUTION
from chaffinch.cli.chart import Curve, Spot, chart
from chaffinch.cli.page import Page, table
from chaffinch.cli.ruler import ruler
from chaffinch.engine.estimate import Range

if TYPE_CHECKING:
    from chaffinch.book.pace import PaceAnswer
    from chaffinch.engine.pace_cost import SpeedRow

__all__ = ["PaceUnit", "show", "unit_of"]

SHAPE: Final = {"slower": "◂", "faster": "▸", "stay": "■", "not settled": "◆"}
SENDS_OUT: Final = frozenset({"may lie beyond", "beyond tested", "slope not learned"})
"""Remarks that send somebody to the machine with a pan."""
ROWS: Final = 9


def show(found: PaceAnswer, page: Page, unit: PaceUnit) -> None:
    """Print the page."""
    pace, curves = found.pace, found.curves
    own = len(curves.own)
    seen = f"{own} {'check' if own == 1 else 'checks'} of its own, {len(curves.points)} in all"
    page.say()
    page.two_ends(f"{curves.combine.name} · {curves.crop}", seen)
    page.say()
    _headline(found, page, unit)
    _advice(found, page, unit)
    limit = pace.limit_that_pays_kg_ha
    what = "machine loss" if pace.machine_only else "header and machine loss"
    if limit is not None and limit_may_be_told(found):
        low, middle, high = range_words(limit.times(unit.loss.factor))
        page.paragraph(
            f"The limit that pays: {middle} {unit.loss.name} of {what} (likely {low} to {high}). "
            "Losing clearly more than that, a slower pace pays; clearly less, a faster one."
        )
    page.say()
    _table(found, page, unit)
    page.say()
    _chart(found, page, unit)
    page.say()
    if SENDS_OUT & set(pace.remarks):
        page.paragraph(CAUTION, bullet="! ")
    for text in (*remarks_said(found), headers_behind(found), load_said(found), points_left_out(found)):
        if text:
            page.paragraph(text, bullet="· ")
    _taken(found, page, unit)
    page.say()


def _headline(found: PaceAnswer, page: Page, unit: PaceUnit) -> None:
    pace = found.pace
    best, (low, high) = unit.speeds(pace.best_kmh), (unit.speeds(v) for v in pace.band_kmh)
    figure = f"{rounded(best, 1)} {unit.speed}"
    rest = f"best pace; anything from {rounded(low, 1)} to {rounded(high, 1)} costs about the same"
    page.say(f"  {page.plum(page.strong(figure))}  {rest}")
    page.say()
    notch = None if pace.today is None else unit.speeds(pace.today.speed_kmh)
    width = min(62, page.width - 6 - len(unit.speed))
    for line in ruler(Range(low, best, high), unit.speed, notch, width=width, fine=page.fine):
        page.say("  " + line)
    page.say()


def _advice(found: PaceAnswer, page: Page, unit: PaceUnit) -> None:
    pace = found.pace
    today = pace.today
    if today is None:
        page.paragraph(NO_TODAY)
        return
    here = f"{rounded(unit.speeds(today.speed_kmh), 1)} {unit.speed}"
    text = ADVICE[pace.advice].format(
        best=f"{rounded(unit.speeds(pace.best_kmh), 1)} {unit.speed}",
        today=here,
        tolerance=unit.money(pace.tolerance_per_ha),
        land=unit.loss.land,
    )
    if advice_has_a_ground(found):
        page.paragraph(f"{SHAPE[pace.advice]} {text}", emphasis=text.split(":")[0])
    page.paragraph(
        f"Against the best pace, {here} costs {unit.money(today.mean_extra_per_ha)} per {unit.loss.land} "
        f"(likely {unit.money(today.extra_per_ha.low)} to {unit.money(today.extra_per_ha.high)}); "
        f"{percent(today.p_saves)} % sure that changing saves anything."
    )


def _table(found: PaceAnswer, page: Page, unit: PaceUnit) -> None:
    pace = found.pace
    rows = [[unit.speed, "machine", "header", "grain", "time", f"cost/{unit.loss.land}", "likely", ""]]
    for row in _chosen(pace.table, pace.best_kmh, None if pace.today is None else pace.today.speed_kmh):
        header = "not seen" if row.header_kg_ha is None else _loss(row.header_kg_ha, unit)
        marks = ["best"] if row.speed_kmh == _nearest(pace.table, pace.best_kmh).speed_kmh else []
        marks += [] if row.tested else ["not tried"]
        rows.append(
            [
                plain_number(unit.speeds(row.speed_kmh)),
                _loss(row.machine_kg_ha, unit),
                header,
                unit.money(row.loss_cost_per_ha),
                unit.money(row.time_cost_per_ha),
                unit.money(row.mean_cost_per_ha),
                f"{unit.money(row.cost_per_ha.low)}–{unit.money(row.cost_per_ha.high)}",
                ", ".join(marks),
            ]
        )
    head, *lines = table(rows, gap=2)
    page.say("  " + page.soft(head))
    for line in lines:
        page.say("  " + line)
    page.paragraph(f"Losses in {unit.loss.name}, low to high; money per {unit.loss.land}.")


def _loss(r: Range, unit: PaceUnit) -> str:
    low, _, high = range_words(r.times(unit.loss.factor))
    return f"{low}–{high}"


def _nearest(rows: tuple[SpeedRow, ...], kmh: float) -> SpeedRow:
    return min(rows, key=lambda row: abs(row.speed_kmh - kmh))


def _chosen(rows: tuple[SpeedRow, ...], best_kmh: float, today_kmh: float | None) -> list[SpeedRow]:
    """A handful of rows over the whole span, the best one and today's always among them."""
    spread = {rows[round(i)].speed_kmh: rows[round(i)] for i in np.linspace(0, len(rows) - 1, ROWS - 2)}
    wanted = [_nearest(rows, best_kmh), *([] if today_kmh is None else [_nearest(rows, today_kmh)])]
    spread |= {row.speed_kmh: row for row in wanted}
    return [spread[kmh] for kmh in sorted(spread)]


def _chart(found: PaceAnswer, page: Page, unit: PaceUnit) -> None:
    """Machine loss by speed, with this combine's own checks at the speed that gives their load today."""
    from chaffinch.book.curves import seen_range

    table_rows = found.pace.table
    curve = Curve(
        [unit.speeds(row.speed_kmh) for row in table_rows],
        [row.machine_kg_ha.times(unit.loss.factor) for row in table_rows],
    )
    spots = []
    for point in found.curves.own:
        load = point.throughput_t_h if found.curves.load_kind == "throughput" else point.speed_kmh
        assert load is not None
        spots.append(Spot(unit.speeds(found.speed_of(load)), seen_range(point, "machine").times(unit.loss.factor)))
    page.paragraph("Machine loss by speed; ● this machine's checks, │ their ranges, ▲ the best pace.")
    lines = chart(
        curve,
        spots,
        x_unit=unit.speed,
        y_unit=unit.loss.name,
        mark_x=unit.speeds(found.pace.best_kmh),
        width=min(60, page.width - 18),
    )
    for line in lines:
        page.say("  " + line)


def _taken(found: PaceAnswer, page: Page, unit: PaceUnit) -> None:
    hour = f"{unit.sign}{plain_number(found.hour_cost_per_h)} per hour" if found.hour_cost_per_h else "nothing"
    texts = [f"One more hour costs {hour}{_parts(found, unit)}."]
    texts += [ASSUMED[key] for key in found.assumed]
    page.say()
    page.say("  " + page.soft("Taken as given"))
    for text in texts:
        page.paragraph(text, bullet="· ")


def _parts(found: PaceAnswer, unit: PaceUnit) -> str:
    parts = found.parts
    if parts is None:
        return ""
    named = {
        "driver": parts.labour_per_h,
        "fuel and oil": parts.fuel_per_h,
        "wear": parts.wear_per_h,
        "helpers": parts.helpers_per_h,
        "weather": parts.weather_per_h,
    }
    told = [f"{name} {unit.sign}{plain_number(value)}" for name, value in named.items() if value > 0]
    return f": {', '.join(told)} (driver paid 1.2 hours an hour, oil 15 % of fuel: printed rules of thumb)"
