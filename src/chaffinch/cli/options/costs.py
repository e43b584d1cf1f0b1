"""What one more hour of combining costs, told on the command line: one figure, or its parts."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Any, TypeVar

import click

from chaffinch.book.pace.hour_costs import PARTS

if TYPE_CHECKING:
    from chaffinch.book.pace.hour_costs import StoredHour
    from chaffinch.engine.work import HourCost

F = TypeVar("F", bound=Callable[..., Any])


def hour_cost_options(function: F) -> F:
    """Add ``--hour-cost`` and the options of its parts."""
    for name, text in reversed(PARTS):
        function = click.option(f"--{name}", name.replace("-", "_"), metavar="TEXT", help=text)(function)
    text = 'What one more hour of combining costs, like "450 /h"; or its parts below; else what the book stores.'
    return click.option("--hour-cost", "hour_cost", metavar="TEXT", help=text)(function)


def hour_cost(
    given: Mapping[str, str | None],
    *,
    yield_kg_ha: float | None,
    price_per_t: float | None,
    stored: StoredHour | None = None,
) -> HourCost | StoredHour | float:
    """Read the hour cost from the options, as :func:`chaffinch.book.pace.hour_costs.hour_cost` says."""
    from chaffinch.book.pace.hour_costs import hour_cost as read

    return read(given, yield_kg_ha=yield_kg_ha, price_per_t=price_per_t, called=lambda name: f"--{name}", stored=stored)
