"""``chaffinch fieldlog map`` and ``what-if``: what the whole field lost, where, and at another pace."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any

import click

from chaffinch import units
from chaffinch.cli.book_which import book_option, open_the_book, print_json, progress
from chaffinch.cli.fieldlog import answer_options, answers, numbers
from chaffinch.cli.page import Page

if TYPE_CHECKING:
    from chaffinch.book.desk import Desk
    from chaffinch.book.log_losses import LogLoss
    from chaffinch.book.shown_unit import PaceUnit


def loss_options(command: Callable[..., Any]) -> Callable[..., Any]:
    """Options that say whose curves count, and for how much."""
    for option in reversed(
        (
            book_option,
            click.option("--combine", metavar="NAME", help="The combine; may be left out where the book has one."),
            click.option("--crop", metavar="NAME", required=True, help="The crop, like canola."),
            click.option("--season", metavar="NAME", help="Only checks of this season; else of all."),
            click.option("--price", metavar="TEXT", help='Price of the grain, like "14.50 /bu".'),
            click.option("--set", "changed", metavar="NAME=NUMBER", multiple=True,
                         help="Another limit of the cleaning, like speed_least_kmh=2.5."),
        )
    ):  # fmt: skip
        command = option(command)
    return command


@click.command("map")
@click.argument("path", type=click.Path())
@click.option("--to", metavar="FILE", help="Write the map: .gpkg, .geojson or .parquet.")
@click.option("--replace", is_flag=True, help="Write over a file that is there.")
@loss_options
@answer_options
def map_(path: str, *, to: str | None, replace: bool, as_data: bool, **given: Any) -> None:
    """Sum what the field of the log at PATH lost, and draw where.

    The curves are those of the combine in the book; checks taken while the log ran get their load from it.
    """
    from chaffinch.book.log_losses import write_map
    from chaffinch.cli.fieldlog_loss_page import as_json, show

    found, unit, sign = _found(path, None, given)
    if to is not None:
        write_map(found, to, replace=replace)
    if as_data:
        print_json({**as_json(found), "written": to})
        return
    page = Page.here()
    show(found, unit, sign, page)
    if to is not None:
        page.say(f"  Written: {len(found.squares):,} squares to {to}")
        page.say()


@click.command("what-if")
@click.argument("path", type=click.Path())
@click.option("--speed", metavar="TEXT", required=True, help='Another pace, like "5 km/h" or "3.5 mph".')
@loss_options
@answer_options
def what_if(path: str, *, speed: str, as_data: bool, **given: Any) -> None:
    """Say what another pace would have brought on the field of the log at PATH."""
    from chaffinch.cli.fieldlog_loss_page import as_json, show_other

    kmh = units.read_positive(speed, "speed", field="--speed").value
    found, unit, sign = _found(path, kmh, given)
    if as_data:
        print_json(as_json(found))
        return
    show_other(found, unit, sign, Page.here())


def _found(path: str, other_kmh: float | None, given: dict[str, Any]) -> tuple[LogLoss, PaceUnit, str]:
    from chaffinch.book.currency import one_currency, read_told
    from chaffinch.book.log_losses import log_loss
    from chaffinch.book.shown_unit import unit_of
    from chaffinch.cli.book_filing import one_thing
    from chaffinch.cli.fieldlog_loss_page import class_kmh
    from chaffinch.cli.pace import only_combine

    desk: Desk = open_the_book(given.pop("address"))
    combine = only_combine(desk, given.pop("combine"))
    crop, season_name, price_text = given.pop("crop"), given.pop("season"), given.pop("price")
    season = None if season_name is None else one_thing(desk, "season", season_name, flag="--season").id
    settings = numbers(given.pop("changed"))
    unit = unit_of(desk, crop)
    price, told = None, []
    if price_text is not None:
        told.append(read_told(price_text, "price", field="--price", bushel_kg=unit.bushel_kg))
        read = units.read_not_negative(price_text, "price", field="--price", bushel_kg=unit.bushel_kg)
        price = read.value
    sign = one_currency(desk, told)
    with progress("Reading the log") as step:
        found = log_loss(
            desk, combine, crop, path, answers(given), season=season, price_per_t=price, other_kmh=other_kmh,
            class_kmh=class_kmh(unit), settings=settings, progress=step,
        )  # fmt: skip
    return found, unit, sign
