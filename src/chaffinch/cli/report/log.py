"""``chaffinch report log``: what the whole field of a combine's log lost, on paper."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar

import click

from chaffinch.cli.fieldlog.loss import found_loss, loss_options, zone_options, zones_told
from chaffinch.cli.fieldlog.options import answer_options
from chaffinch.cli.options.which_book import open_the_book
from chaffinch.cli.report.made import hand_over, paper_options, refuse_early, wanted_of

F = TypeVar("F", bound=Callable[..., Any])
_PAPER = ("as_data", "issue", "over", "short", "units", "size", "date", "file")


def _once(command: F) -> F:
    """Leave out the second of two options of one name: reading a log and printing a report both have ``--json``."""
    params: list[click.Parameter] = getattr(command, "__click_params__", [])
    params[:] = list({one.name: one for one in params}.values())
    return command


@click.command("log")
@_once
@click.argument("path", type=click.Path())
@click.option("--speed", metavar="TEXT", help='Another pace to compare with, like "5 km/h" or "3.5 mph".')
@click.option("--best", is_flag=True, help="Compare with the pace that would have cost least.")
@click.option(
    "--hour-cost", "hour_cost", metavar="TEXT", help='What one more hour costs, like "450 /h"; else the stored one.'
)
@click.option("--fastest", metavar="TEXT", help="Speed that the best pace must not pass.")
@zone_options
@loss_options
@paper_options
@answer_options
def log_report(path: str, *, best: bool, **given: Any) -> None:
    """Report on the field of the log at PATH: what it lost, where, at which speed, and at another pace.

    The curves are those of the combine in the book, as for chaffinch fieldlog map.
    """
    from chaffinch.paper.log_report import log_report as laid_out

    printing = {name: given.pop(name) for name in _PAPER}
    wanted = wanted_of(printing)
    desk = open_the_book(given.pop("address"))
    asked = {name: given.pop(name) for name in ("speed", "hour_cost", "fastest")} | {"best": "yes" if best else None}
    zones = zones_told(*(given.pop(key) for key in ("zones", "zone_name", "zone_crs")))
    name = Path(path).stem
    refuse_early(printing, ("log", name, wanted.date))
    found, unit, sign = found_loss(desk, path, given, asked, zones, wanted.report_in)
    report = laid_out(found, unit.in_currency(sign), sign, wanted, name=name, price=asked["price"] or "", zones=zones)
    hand_over(desk, report, wanted, printing, name)
