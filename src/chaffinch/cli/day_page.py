"""The page ``chaffinch day`` prints: the hours to work, a row for each working hour, and the cost as a chart."""

from __future__ import annotations

from typing import TYPE_CHECKING

from chaffinch.book.day.said import (
    check_again,
    grain_said,
    headline,
    moving,
    remarks,
    seen,
    sends_out,
    taken,
    what_it_does,
)
from chaffinch.book.day.table import cheapest, hours_of_day, table_about, table_rows
from chaffinch.book.wording import CAUTION
from chaffinch.cli.terminal.chart import Curve, chart
from chaffinch.cli.terminal.page import Page

if TYPE_CHECKING:
    from chaffinch.book.day.hours import DayAnswer
    from chaffinch.book.shown_unit import PaceUnit


def show(found: DayAnswer, page: Page, unit: PaceUnit) -> None:
    """Print the page."""
    page.say()
    page.two_ends(f"{found.curves.combine.name} · {found.curves.crop} · {found.hours[0].at[:10]}", seen(found))
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
    rows = table_rows(found, unit)
    if len(rows) > 1:
        page.print_table(rows, gap=2, may_go=(6, 1))
    page.paragraph(table_about(found, unit))


def _chart(found: DayAnswer, page: Page, unit: PaceUnit) -> None:
    """Machine loss by hour at each hour's best pace; ▲ the cheapest working hour."""
    best = cheapest(found)
    if len(found.hours) < 2 or best is None:
        return
    x = hours_of_day(found)
    page.paragraph("Machine loss at the best pace by hour after midnight; ▲ the cheapest working hour.")
    lines = chart(
        Curve(x, [hour.machine_kg_ha.times(unit.loss.factor) for hour in found.plan.hours]),
        [],
        x_unit="h",
        y_unit=unit.loss.name,
        mark_x=x[best],
        width=min(60, page.width - 18),
        height=8,
    )
    for line in lines:
        page.say("  " + line)


def _taken(found: DayAnswer, page: Page, unit: PaceUnit) -> None:
    page.say()
    page.say("  " + page.soft("Taken as given"))
    for text in taken(found, unit):
        page.paragraph(text, bullet="· ")
