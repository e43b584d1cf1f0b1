"""What a person writes for a day, read: the forecast's text, and the figures beside the checks."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Final

from chaffinch import units
from chaffinch.errors import InputError

if TYPE_CHECKING:
    from chaffinch.book.day.hours import DayTerms
    from chaffinch.book.pace.hour_costs import StoredHour
    from chaffinch.book.shown_unit import PaceUnit
    from chaffinch.book.things import Thing

Called = Callable[[str], str]
"""How a face calls a figure in an error: ``area`` → ``--area`` on the command line."""

TEXTS: Final = (
    ("area", 'Area these hours are to finish, like "120 ac".'),
    ("waiting", 'Share of the value that a day of standing costs, like "0.5 %".'),
    ("most-moisture", 'Moisture above which no grain is taken in, like "12.5 %".'),
    ("moisture", 'Moisture of the grain read just now, like "11.2 %".'),
    ("hours", 'Hours of the clock people work, like "9-22".'),
    ("grain-lag", "Hours in which grain follows the air."),
    ("straw-lag", "Hours in which straw follows the air."),
    ("fastest", "Speed that ground or engine do not allow to pass."),
    ("yield", 'Today\'s yield, like "45 bu/ac".'),
    ("price", 'Price of the grain, like "14.50 /bu".'),
    ("width", "Width really cut; else the combine's less its overlap."),
    ("efficiency", 'Time spent cutting over time in the field, like "70 %".'),
    ("efficiency-at", "The speed that was observed at."),
)
"""Figures of a day and what each is, in the command line's words."""
_MOISTURES: Final = ("most_moisture", "moisture")
_SPAN = re.compile(r"(\d{1,2})(?::00)?\s*(?:-|–|to)\s*(\d{1,2})(?::00)?")


def day_terms(
    given: Mapping[str, str | None],
    *,
    unit: PaceUnit,
    field: Thing | None,
    called: Called,
    stored: StoredHour | None = None,
) -> DayTerms:
    """Read the figures of a day.

    Parameters
    ----------
    given : mapping
        Texts by the names of :data:`TEXTS` (with underscores) and those of the hour cost; None where not told.
    unit : PaceUnit
        For bushels.
    field : Thing or None
        Whose yield and price the weather's part of the hour cost goes by where none is told.
    called : callable
    stored : StoredHour or None
        The hour cost that goes where none is told.

    Raises
    ------
    InputError
        For a text that cannot be read, or an hour cost that is neither told nor stored.
    """
    # Late: the command line lists the figures without loading what reckons with them.
    from chaffinch.book.checks.points import yield_of_field
    from chaffinch.book.currency import read_told
    from chaffinch.book.day.hours import WORKING_HOURS, DayTerms
    from chaffinch.book.pace.best import PaceTerms
    from chaffinch.book.pace.hour_costs import hour_cost, money_of
    from chaffinch.book.pace.worth import price_of_field
    from chaffinch.engine.air.lag import GRAIN_LAG_H, STRAW_LAG_H

    bushel = unit.bushel_kg

    def read(name: str, kind: str, bushel_kg: float | None = None) -> float | None:
        text = given.get(name)
        if text is None:
            return None
        field_name = called(name.replace("_", "-"))
        return units.read_positive(text, kind, field=field_name, bushel_kg=bushel_kg).value

    price_text = given.get("price")
    price = None
    money = money_of(given, called=called)
    if price_text is not None:
        price = units.read_not_negative(price_text, "price", field=called("price"), bushel_kg=bushel).value
        money.append(read_told(price_text, "price", field=called("price"), bushel_kg=bushel))
    yield_kg_ha = read("yield", "area_mass", bushel)
    most, now = (_moisture(read(name, "fraction"), called(name.replace("_", "-"))) for name in _MOISTURES)
    return DayTerms(
        pace=PaceTerms(
            hour_cost=hour_cost(
                given,
                yield_kg_ha=yield_of_field(field) if yield_kg_ha is None else yield_kg_ha,
                price_per_t=price_of_field(field) if price is None else price,
                called=called,
                stored=stored,
            ),
            price_per_t=price,
            yield_kg_ha=yield_kg_ha,
            width_m=read("width", "length"),
            efficiency=read("efficiency", "fraction"),
            efficiency_at_kmh=read("efficiency_at", "speed"),
            fastest_kmh=read("fastest", "speed"),
            step_kmh=unit.step_kmh,
            money=money,
        ),
        area_ha=read("area", "land"),
        wait_share_per_day=read("waiting", "fraction") or 0.0,
        most_moisture_pct=most,
        grain_pct=now,
        working_hours=_hours(given.get("hours"), called("hours"), WORKING_HOURS),
        grain_lag_h=_number(given.get("grain_lag"), called("grain-lag"), GRAIN_LAG_H),
        straw_lag_h=_number(given.get("straw_lag"), called("straw-lag"), STRAW_LAG_H),
    )


def _moisture(share: float | None, field: str) -> float | None:
    if share is not None and not 0.001 <= share <= 0.6:
        raise InputError(field, f"{100 * share:g} %", "is no moisture of grain", "write it like 12.5 %")
    return None if share is None else 100.0 * share


def _hours(text: str | None, field: str, otherwise: tuple[int, int]) -> tuple[int, int]:
    if text is None:
        return otherwise
    match = _SPAN.fullmatch(text.strip())
    if match is None or int(match[1]) > 23 or int(match[2]) > 24 or match[1] == match[2]:
        raise InputError(field, text, "is no span of full hours", "write it like 9-22, or 10-2 for past midnight")
    return int(match[1]), int(match[2])


def _number(text: str | None, field: str, otherwise: float) -> float:
    if text is None:
        return otherwise
    try:
        hours = float(text.lower().removesuffix("h").replace(",", ".").strip())
    except ValueError:
        raise InputError(field, text, "is no number of hours", "write it like 6 or 2.5") from None
    if not 0.1 <= hours <= 240.0:
        raise InputError(field, text, "is no such time", "give 0.1 to 240 hours")
    return hours
