"""``chaffinch pace``: how fast this combine should go in this crop, from the checks in the book."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from chaffinch import units
from chaffinch.cli.options.costs import hour_cost, hour_cost_options
from chaffinch.cli.options.which_book import book_option, open_the_book, print_json, progress
from chaffinch.cli.terminal.page import Page
from chaffinch.errors import InputError

if TYPE_CHECKING:
    from chaffinch.book.desk import Desk
    from chaffinch.book.things import Thing


@click.command("pace")
@book_option
@click.option("--combine", metavar="NAME", help="The combine; may be left out where the book has one.")
@click.option("--crop", metavar="NAME", help="The crop, like canola; or --field tells it.")
@click.option("--field", "field", metavar="NAME", help="The field to be cut: its crop, yield and price.")
@click.option("--season", metavar="NAME", help="Only checks of this season; else of all.")
@click.option("--now", "now", metavar="TEXT", help='Today\'s speed, like "6 km/h" or "4 mph".')
@click.option("--fastest", metavar="TEXT", help="Speed that ground or engine do not allow to pass.")
@click.option("--yield", "yield_", metavar="TEXT", help='Today\'s yield, like "45 bu/ac".')
@click.option("--price", metavar="TEXT", help='Price of the grain, like "14.50 /bu".')
@click.option("--width", metavar="TEXT", help="Width really cut; else the combine's less its overlap.")
@click.option("--efficiency", metavar="TEXT", help='Time spent cutting over time in the field, like "70 %".')
@click.option("--efficiency-at", metavar="TEXT", help="The speed that was observed at.")
@click.option(
    "--condition", "given_conditions", metavar="KEY=NUMBER", multiple=True, help="Today, like humidity_pct=45."
)
@hour_cost_options
@click.option("--json", "as_data", is_flag=True, help="Print as JSON.")
def command(address: str | None, as_data: bool, **given: Any) -> None:
    """Find the speed at which grain lost and time spent cost least together.

    The curve of loss against throughput is learned from this machine's checks, with the others' beside it, header and
    machine apart. The loss at the best pace is the limit that pays. Never more than 10 % beyond the speeds tried.
    """
    from chaffinch.book.checks.points import yield_of_field
    from chaffinch.book.currency import read_told
    from chaffinch.book.pace.best import PaceTerms, pace
    from chaffinch.book.pace.hour_costs import money_of, stored_hour
    from chaffinch.book.pace.worth import price_of_field
    from chaffinch.cli.pace_page import show, unit_of

    desk = open_the_book(address)
    field, season = field_and_season(desk, given)
    combine = only_combine(desk, given["combine"])
    crop = given["crop"] or (None if field is None else field.parts.get("crop"))
    if crop is None:
        raise InputError("--crop", None, "is not told", "add --crop canola, or --field NAME of a field that has one")
    unit = unit_of(desk, crop)
    price = (
        None
        if given["price"] is None
        else units.read_not_negative(given["price"], "price", field="--price", bushel_kg=unit.bushel_kg).value
    )
    yield_kg_ha = _positive(given["yield_"], "area_mass", "--yield", unit.bushel_kg)
    weather_yield = yield_of_field(field) if yield_kg_ha is None else yield_kg_ha
    weather_price = price_of_field(field) if price is None else price
    money = money_of(given, called=lambda name: f"--{name}")
    if given["price"] is not None:
        money.append(read_told(given["price"], "price", field="--price", bushel_kg=unit.bushel_kg))
    terms = PaceTerms(
        hour_cost=hour_cost(
            given, yield_kg_ha=weather_yield, price_per_t=weather_price, stored=stored_hour(desk, combine)
        ),
        width_m=_positive(given["width"], "length", "--width"),
        price_per_t=price,
        yield_kg_ha=yield_kg_ha,
        efficiency=_positive(given["efficiency"], "fraction", "--efficiency"),
        efficiency_at_kmh=_positive(given["efficiency_at"], "speed", "--efficiency-at"),
        today_kmh=_positive(given["now"], "speed", "--now"),
        step_kmh=unit.step_kmh,
        fastest_kmh=_positive(given["fastest"], "speed", "--fastest"),
        conditions=_conditions(given["given_conditions"]),
        money=money,
    )
    with progress("Reading the checks") as step:
        found = pace(desk, combine, crop, terms, field=field, season=season, progress=step)
    if as_data:
        from chaffinch.book.pace.plain_data import as_json

        print_json(as_json(found))
        return
    show(found, Page.here(), unit.in_currency(found.currency))


def field_and_season(desk: Desk, given: dict[str, Any]) -> tuple[Thing | None, str | None]:
    """The field of ``--field`` and the id of ``--season``; None where not told."""
    from chaffinch.cli.options.filing import one_thing

    season = None if given["season"] is None else one_thing(desk, "season", given["season"], flag="--season").id
    field = None
    if given["field"] is not None:
        field = one_thing(desk, "field", given["field"], season=season, flag="--field")
    return field, season


def only_combine(desk: Desk, name: str | None) -> Thing:
    """The combine of that name; without one, the only combine of the book."""
    from chaffinch.book.things import things
    from chaffinch.cli.options.filing import one_thing

    if name is not None:
        return one_thing(desk, "combine", name, flag="--combine")
    known = [t for t in things(desk, "combine") if not t.retired]
    if len(known) != 1:
        names = ", ".join(t.name for t in known)
        problem = f"must be told: the book has {names}" if known else "cannot be told: the book has none"
        raise InputError("--combine", None, problem, "add --combine NAME" if known else "chaffinch book add combine")
    return known[0]


def _positive(text: str | None, kind: str, flag: str, bushel_kg: float | None = None) -> float | None:
    return None if text is None else units.read_positive(text, kind, field=flag, bushel_kg=bushel_kg).value


def _conditions(told: tuple[str, ...]) -> dict[str, float]:
    from chaffinch.cli.options.filing import read_conditions

    return read_conditions(told)
