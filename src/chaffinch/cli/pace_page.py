"""The page ``chaffinch pace`` prints: the best pace with its band, what today costs, the table and the chart."""

from __future__ import annotations

from typing import TYPE_CHECKING

from chaffinch.book.figures import rounded
from chaffinch.book.pace.said import (
    ASSUMED,
    NO_TODAY,
    SENDS_OUT,
    SHAPE,
    advice_said,
    best_said,
    headers_behind,
    hour_said,
    limit_said,
    load_said,
    own_checks,
    points_left_out,
    remarks_said,
    table_about,
    table_rows,
    today_said,
)
from chaffinch.book.shown_unit import PaceUnit, unit_of
from chaffinch.book.wording import CAUTION
from chaffinch.cli.terminal.chart import Curve, Spot, chart
from chaffinch.cli.terminal.page import Page, table
from chaffinch.cli.terminal.ruler import ruler
from chaffinch.engine.estimate import Range

if TYPE_CHECKING:
    from chaffinch.book.pace.best import PaceAnswer

__all__ = ["PaceUnit", "show", "unit_of"]


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
    limit = limit_said(found, unit)
    if limit:
        page.paragraph(limit)
    page.say()
    _table(found, page, unit)
    page.say()
    _chart(found, page, unit)
    page.say()
    if SENDS_OUT & set(pace.remarks):
        page.paragraph(CAUTION, bullet="! ")
    for text in (*remarks_said(found), headers_behind(found), load_said(found.curves), points_left_out(found.curves)):
        if text:
            page.paragraph(text, bullet="· ")
    _taken(found, page, unit)
    page.say()


def _headline(found: PaceAnswer, page: Page, unit: PaceUnit) -> None:
    pace = found.pace
    best, (low, high) = unit.speeds(pace.best_kmh), (unit.speeds(v) for v in pace.band_kmh)
    figure = f"{rounded(best, 1)} {unit.speed}"
    page.say(f"  {page.plum(page.strong(figure))}  {best_said(found, unit)}")
    page.say()
    notch = None if pace.today is None else unit.speeds(pace.today.speed_kmh)
    width = min(62, page.width - 6 - len(unit.speed))
    for line in ruler(Range(low, best, high), unit.speed, notch, width=width, fine=page.fine):
        page.say("  " + line)
    page.say()


def _advice(found: PaceAnswer, page: Page, unit: PaceUnit) -> None:
    if found.pace.today is None:
        page.paragraph(NO_TODAY)
        return
    text = advice_said(found, unit)
    if text:
        page.paragraph(f"{SHAPE[found.pace.advice]} {text}", emphasis=text.split(":")[0])
    page.paragraph(today_said(found, unit))


def _table(found: PaceAnswer, page: Page, unit: PaceUnit) -> None:
    head, *lines = table(table_rows(found, unit), gap=2)
    page.say("  " + page.soft(head))
    for line in lines:
        page.say("  " + line)
    page.paragraph(table_about(unit))


def _chart(found: PaceAnswer, page: Page, unit: PaceUnit) -> None:
    """Machine loss by speed, with this combine's own checks at the speed that gives their load today."""
    rows = found.pace.table
    curve = Curve(
        [unit.speeds(row.speed_kmh) for row in rows],
        [row.machine_kg_ha.times(unit.loss.factor) for row in rows],
    )
    spots = [Spot(speed, seen) for speed, seen, _ in own_checks(found, unit)]
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
    page.say()
    page.say("  " + page.soft("Taken as given"))
    for text in (hour_said(found, unit), *(ASSUMED[key] for key in found.assumed)):
        page.paragraph(text, bullet="· ")
