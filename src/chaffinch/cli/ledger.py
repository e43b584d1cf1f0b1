"""``chaffinch ledger``: what a season left on the ground, field by field, and fair comparisons."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from chaffinch.cli.options.which_book import book_option, open_the_book, print_json, progress
from chaffinch.cli.terminal.page import Page
from chaffinch.errors import InputError

if TYPE_CHECKING:
    from chaffinch.book.desk import Desk
    from chaffinch.book.things import Thing


@click.command("ledger")
@book_option
@click.option("--season", metavar="NAME", help="The season; may be left out where the book has one.")
@click.option("--compare", type=click.Choice(["operator", "combine"]), help="Compare drivers or combines instead.")
@click.option("--crop", metavar="NAME", help="With --compare: the crop; else the one with most checks.")
@click.option("--source", type=click.Choice(["machine", "header"]),
              help="With --compare: which loss; else machine.")  # fmt: skip
@click.option("--json", "as_data", is_flag=True, help="Print as JSON.")
def command(
    address: str | None, season: str | None, compare: str | None, crop: str | None, source: str | None, *, as_data: bool
) -> None:
    """Account for a season: loss by field and crop, with ranges, money and coverage.

    The area that was measured and the area that is only assumed are kept apart. --compare holds drivers or combines
    against each other where they worked side by side, and claims a difference only where it can hardly be chance.
    """
    for flag, told in (("--crop", crop), ("--source", source)):
        if told is not None and compare is None:
            raise InputError(flag, told, "goes with --compare", "add --compare operator or --compare combine")
    desk = open_the_book(address)
    thing = only_season(desk, season)
    page = Page.here()
    if compare is not None:
        by = "operator" if compare == "operator" else "combine"
        _compare(desk, thing, by, crop, source or "machine", page, as_data=as_data)
        return
    from chaffinch.book.season.ledger import ledger

    with progress("Reading the checks") as step:
        found = ledger(desk, thing, progress=step)
    if as_data:
        from chaffinch.book.season.plain_data import as_json

        print_json(as_json(found))
        return
    from chaffinch.cli.ledger_page import show

    show(desk, found, page)


def only_season(desk: Desk, name: str | None) -> Thing:
    """The season of that name; without one, the only season of the book."""
    from chaffinch.book.things import things
    from chaffinch.cli.options.filing import one_thing

    if name is not None:
        return one_thing(desk, "season", name, flag="--season", retired=True)
    known = [t for t in things(desk, "season") if not t.retired]
    if len(known) != 1:
        names = ", ".join(t.name for t in known)
        problem = f"must be told: the book has {names}" if known else "cannot be told: the book has none"
        raise InputError("--season", None, problem, "add --season NAME" if known else "chaffinch book add season")
    return known[0]


def _compare(desk: Desk, season: Thing, by: Any, crop: str | None, source: Any, page: Page, *, as_data: bool) -> None:
    from chaffinch.book.season.ledger import compare

    with progress("Reading the checks") as step:
        key, found, left_out = compare(desk, season, by=by, crop=crop, source=source, progress=step)
    if as_data:
        from chaffinch.book.season.plain_data import comparison_as_json

        print_json(comparison_as_json(key, found, left_out))
        return
    from chaffinch.cli.ledger_page import show_comparison

    show_comparison(season, key, by, source, found, left_out, page)
