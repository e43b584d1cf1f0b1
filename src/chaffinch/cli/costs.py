"""What one more hour of combining costs, told on the command line: one figure, or its parts."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Any, Final, TypeVar

import click

from chaffinch import units
from chaffinch.errors import InputError

if TYPE_CHECKING:
    from chaffinch.engine.work import HourCost

F = TypeVar("F", bound=Callable[..., Any])

PARTS: Final = (
    ("wage", 'Pay of the driver, like "32 /h".'),
    ("fuel", 'Fuel burnt, like "62 L/h"; goes with --fuel-price.'),
    ("fuel-price", 'Price of fuel, like "1.35 /L".'),
    ("wear", 'Repairs and loss of value an hour of use adds, like "60 /h".'),
    ("helpers", 'Grain cart, trucks and people who wait on the combine, like "90 /h".'),
    ("weather", 'What waiting costs in crop, like "40 /h"; or let it be worked out from the next four.'),
    ("area-left", 'Area still to cut, like "300 ha".'),
    ("loss-per-day", 'Share of the crop\'s value that a day of waiting costs, like "0.5 %".'),
    ("hours-per-day", "Hours of combining on a fit day, like 9."),
    ("fit-days", 'Share of days fit for combining, like "60 %".'),
)
_WEATHER: Final = ("area_left", "loss_per_day", "hours_per_day", "fit_days")


def hour_cost_options(function: F) -> F:
    """Add ``--hour-cost`` and the options of its parts."""
    for name, text in reversed(PARTS):
        function = click.option(f"--{name}", name.replace("-", "_"), metavar="TEXT", help=text)(function)
    text = 'What one more hour of combining costs, like "450 /h"; or give its parts below.'
    return click.option("--hour-cost", "hour_cost", metavar="TEXT", help=text)(function)


def hour_cost(
    given: Mapping[str, str | None], *, yield_kg_ha: float | None, price_per_t: float | None
) -> HourCost | float:
    """Read the hour cost.

    Parameters
    ----------
    given : mapping
        Options by name, as click gives them.
    yield_kg_ha, price_per_t : float or None
        Of the crop still standing, for the weather's part.

    Raises
    ------
    InputError
        When nothing is told, when one figure and parts are told together, or a part lacks what goes with it.
    """
    parts = [name.replace("-", "_") for name, _ in PARTS]
    told = [name for name in parts if given.get(name) is not None]
    whole = given.get("hour_cost")
    if whole is not None:
        if told:
            flag = f"--{told[0].replace('_', '-')}"
            raise InputError(
                flag, given[told[0]], "is given together with --hour-cost", "give one figure, or the parts"
            )
        return units.read_not_negative(whole, "money_rate", field="--hour-cost").value
    if not told:
        mend = 'one figure, like --hour-cost "450 /h", or parts: --wage, --fuel with --fuel-price, --wear, --helpers'
        raise InputError("--hour-cost", None, "is not told", mend)
    from chaffinch.engine.machine_cost import LABOUR_MULTIPLIER_OTHER_POWER_UNIT, LUBRICANT_SHARE_OF_FUEL
    from chaffinch.engine.work import hour_cost as built

    _together(given, ("fuel", "fuel_price"))
    return built(
        wage_per_h=_money(given, "wage"),
        labour_multiplier=LABOUR_MULTIPLIER_OTHER_POWER_UNIT,
        fuel_l_h=_quantity(given, "fuel", "fuel_rate"),
        fuel_price_per_l=_quantity(given, "fuel_price", "fuel_price"),
        lubricant_share=LUBRICANT_SHARE_OF_FUEL,
        wear_per_h=_money(given, "wear"),
        helpers_per_h=_money(given, "helpers"),
        weather_per_h=_weather(given, yield_kg_ha, price_per_t),
    )


def _weather(given: Mapping[str, str | None], yield_kg_ha: float | None, price_per_t: float | None) -> float:
    """The weather's part [money/h]: told, or from area left, loss per day, hours per day and share of fit days."""
    own = [name for name in _WEATHER if given.get(name) is not None]
    if given.get("weather") is not None:
        if own:
            flag = f"--{own[0].replace('_', '-')}"
            raise InputError(flag, given[own[0]], "is given together with --weather", "give one or the other")
        return _money(given, "weather")
    if not own:
        return 0.0
    _together(given, _WEATHER)
    if yield_kg_ha is None or price_per_t is None:
        missing = "--yield" if yield_kg_ha is None else "--price"
        raise InputError(missing, None, "is needed for what the weather takes", f"add {missing}")
    from chaffinch.engine.work import Z_STARTS_OR_ENDS_AT_OPTIMUM, weather_cost_per_h

    return weather_cost_per_h(
        _quantity(given, "area_left", "land"),
        k3_per_day=_quantity(given, "loss_per_day", "fraction"),
        yield_t_ha=yield_kg_ha / 1000.0,
        price_per_t=price_per_t,
        # The crop is ripe and waits: work starts at the best date.
        z=Z_STARTS_OR_ENDS_AT_OPTIMUM,
        hours_per_day=_hours(given),
        workable_share=_quantity(given, "fit_days", "fraction"),
    )


def _together(given: Mapping[str, str | None], names: tuple[str, ...]) -> None:
    missing = [name for name in names if given.get(name) is None]
    if missing and len(missing) < len(names):
        there = next(name for name in names if given.get(name) is not None)
        flag = f"--{missing[0].replace('_', '-')}"
        raise InputError(flag, None, f"is missing beside --{there.replace('_', '-')}", f"add {flag}")


def _money(given: Mapping[str, str | None], name: str) -> float:
    return _quantity(given, name, "money_rate")


def _quantity(given: Mapping[str, str | None], name: str, kind: str) -> float:
    text = given.get(name)
    return 0.0 if text is None else units.read_not_negative(text, kind, field=f"--{name.replace('_', '-')}").value


def _hours(given: Mapping[str, str | None]) -> float:
    text = given.get("hours_per_day") or ""
    try:
        return float(text.replace(",", ".").removesuffix("h").strip())
    except ValueError:
        raise InputError("--hours-per-day", text, "is not a number of hours", "write it like 9 or 9.5") from None
