"""``chaffinch day``: which hours of a forecast are worth combining, how fast, and when to check again."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeVar

import click

from chaffinch.book.day.terms import TEXTS, day_terms
from chaffinch.book.pace.hour_costs import PARTS
from chaffinch.cli.options.costs import hour_cost_options
from chaffinch.cli.options.which_book import book_option, open_the_book, print_json, progress
from chaffinch.cli.terminal.page import Page
from chaffinch.errors import InputError

F = TypeVar("F", bound=Callable[..., Any])


def _figures(function: F) -> F:
    for name, text in reversed(TEXTS):
        function = click.option(f"--{name}", name.replace("-", "_"), metavar="TEXT", help=text)(function)
    return function


@click.command("day")
@book_option
@click.option("--forecast", metavar="FILE", help="A table, a service's saved JSON, or typed lines; - reads them here.")
@click.option("--date", metavar="DATE", help="Day of the first typed line, like 2026-09-02.")
@click.option("--combine", metavar="NAME", help="The combine; may be left out where the book has one.")
@click.option("--crop", metavar="NAME", help="The crop, like canola; or --field tells it.")
@click.option("--field", "field", metavar="NAME", help="The field to be cut: its crop, yield and price.")
@click.option("--season", metavar="NAME", help="Only checks of this season; else of all.")
@_figures
@hour_cost_options
@click.option("--json", "as_data", is_flag=True, help="Print as JSON.")
def command(address: str | None, as_data: bool, **given: Any) -> None:
    """Plan the hours of a forecast: grain moisture, toughness of the straw, loss, best pace and cost of each.

    No network is used: save the forecast of a service of your choice, or type the hours. What tough straw does to this
    machine is learned from checks with a humidity beside them; until then the answer is a guide, and says so.
    """
    from chaffinch.book.day.hours import day
    from chaffinch.book.pace.hour_costs import stored_hour
    from chaffinch.book.shown_unit import unit_of
    from chaffinch.cli.day_page import show
    from chaffinch.cli.pace import field_and_season, only_combine
    from chaffinch.cli.terminal.files import read_forecast_file
    from chaffinch.records.forecast import read_forecast

    if given["forecast"] is None:
        mend = "name a file with the hours, like --forecast forecast.csv"
        raise InputError("--forecast", None, "is not told", mend)
    desk = open_the_book(address)
    field, season = field_and_season(desk, given)
    combine = only_combine(desk, given["combine"])
    crop = given["crop"] or (None if field is None else field.parts.get("crop"))
    if crop is None:
        raise InputError("--crop", None, "is not told", "add --crop canola, or --field NAME of a field that has one")
    forecast = read_forecast(read_forecast_file(given["forecast"]), day=given["date"])
    unit = unit_of(desk, crop)
    names = [name.replace("-", "_") for name, _ in (*TEXTS, *PARTS)]
    told = {name: given[name] for name in (*names, "hour_cost")}
    stored = stored_hour(desk, combine)
    terms = day_terms(told, unit=unit, field=field, called=lambda name: f"--{name}", stored=stored)
    with progress("Reading the checks") as step:
        found = day(desk, combine, crop, forecast, terms, field=field, season=season, progress=step)
    unit = unit.in_currency(found.currency)
    if as_data:
        from chaffinch.book.day.plain_data import as_json

        print_json(as_json(found, unit))
        return
    show(found, Page.here(), unit)
