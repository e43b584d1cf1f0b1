"""Options of every command about field logs, and what was answered by them."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Any

import click

from chaffinch.cli.options.which_book import book_option, open_the_book
from chaffinch.errors import InputError

if TYPE_CHECKING:
    from chaffinch.cli.fieldlog.page import LogUnits
    from chaffinch.fieldlog.answers import Answers


def answer_options(command: Callable[..., Any]) -> Callable[..., Any]:
    """Options that answer what a log leaves open."""
    for option in reversed(
        (
            click.option("--zone", metavar="ZONE", help="Zone of the machine's clock, like -06:00 or America/Regina."),
            click.option("--crs", metavar="CODE", help="Coordinate system of projected positions, like EPSG:32612."),
            click.option("--column", "columns", metavar="NAME=MEANING:UNIT", multiple=True,
                         help='What a column means, like "Flow=flow_kg_s:lb/s"; - leaves it out.'),
            click.option("--element", "elements", metavar="COLUMN=ID", multiple=True,
                         help="Which part of the machine a figure is taken from."),
            click.option("--decimals", metavar="MARK", help='Decimal mark, "." or ",".'),
            click.option("--dates", metavar="STYLE", help="iso, dmy or mdy."),
            click.option("--bushel", metavar="TEXT", help='Weight of a bushel, like "60 lb".'),
            click.option("--layer", metavar="NAME", help="Layer of a file with several."),
            click.option("--json", "as_data", is_flag=True, help="Print as JSON."),
        )
    ):  # fmt: skip
        command = option(command)
    return command


def unit_options(command: Callable[..., Any]) -> Callable[..., Any]:
    """Options that show figures as the farm does."""
    text = "Show yields in the farm's own unit for this crop, from the book; else metric."
    return book_option(click.option("--crop", metavar="NAME", help=text)(command))


def units_of(address: str | None, crop: str | None) -> LogUnits:
    """The farm's units for a crop; metric where none is named."""
    from chaffinch.cli.fieldlog.page import METRIC, LogUnits

    if crop is None:
        return METRIC
    from chaffinch.book.shown_unit import unit_of

    return LogUnits.of(unit_of(open_the_book(address), crop))


def answers(given: Mapping[str, Any]) -> Answers:
    """Answers as given by the options."""
    from chaffinch.book.fieldlogs.one_log import answers_of

    return answers_of(**{key: value for key, value in given.items() if value})


def numbers(texts: tuple[str, ...]) -> dict[str, float]:
    """Limits as given by ``--set``."""
    found = {}
    for text in texts:
        name, equals, value = text.partition("=")
        try:
            found[name.strip()] = float(value)
        except ValueError:
            equals = ""
        if not equals:
            raise InputError("--set", text, "is not understood", 'write it like "speed_least_kmh=2.5"')
    return found


def flag_of(name: str) -> str:
    """How the command line calls what is asked of a log: ``hour_cost`` → ``--hour-cost``."""
    return f"--{name.replace('_', '-')}"


def refuse_empty(asked: Mapping[str, str | None]) -> None:
    """An option that was given with nothing in it is a slip, where a form leaves a field empty on purpose."""
    for name, text in asked.items():
        if text is not None and not text.strip():
            raise InputError(flag_of(name), text, "is empty", "write something, or leave it out")
