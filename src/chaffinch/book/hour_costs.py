"""What does one more hour of combining cost: one figure, or its parts, as a person wrote them?"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from chaffinch import units
from chaffinch.errors import InputError

if TYPE_CHECKING:
    from chaffinch.book.currency import MoneyTold
    from chaffinch.engine.work import HourCost

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
"""Parts of the hour cost and what each is, in the command line's words."""
_WEATHER: Final = ("area_left", "loss_per_day", "hours_per_day", "fit_days")
_MONEY: Final = {
    **dict.fromkeys(("hour_cost", "wage", "wear", "helpers", "weather"), "money_rate"),
    "fuel_price": "fuel_price",
}

Called = Callable[[str], str]
"""How a face calls a figure in an error: ``fuel-price`` → ``--fuel-price`` on the command line."""


def hour_cost(
    given: Mapping[str, str | None], *, yield_kg_ha: float | None, price_per_t: float | None, called: Called
) -> HourCost | float:
    """Read the hour cost.

    Parameters
    ----------
    given : mapping
        Texts by the names of :data:`PARTS` (with underscores) and ``hour_cost``; None or absent where not told.
    yield_kg_ha, price_per_t : float or None
        Of the crop still standing, for the weather's part.
    called : callable
        How this face calls a figure.

    Returns
    -------
    HourCost or float
        The parts, or the one figure [money/h].

    Raises
    ------
    InputError
        When nothing is told, when one figure and parts are told together, or a part lacks what goes with it.
    """
    return _Told(given, called).hour_cost(yield_kg_ha, price_per_t)


def money_of(given: Mapping[str, str | None], *, called: Called) -> list[MoneyTold]:
    """The money in what :func:`hour_cost` reads, for the rule of one currency.

    Parameters
    ----------
    given : mapping
        As for :func:`hour_cost`.
    called : callable
        How this face calls a figure.

    Raises
    ------
    InputError
        For a text that cannot be read.
    """
    from chaffinch.book.currency import read_told

    told = [(name, kind, given.get(name)) for name, kind in _MONEY.items()]
    return [
        read_told(str(text), kind, field=called(name.replace("_", "-")))
        for name, kind, text in told
        if text is not None
    ]


@dataclass(frozen=True, slots=True)
class _Told:
    given: Mapping[str, str | None]
    called: Called

    def hour_cost(self, yield_kg_ha: float | None, price_per_t: float | None) -> HourCost | float:
        told = [name for name in (part.replace("-", "_") for part, _ in PARTS) if self._is_told(name)]
        if self._is_told("hour_cost"):
            if told:
                problem = f"is given together with {self.called('hour-cost')}"
                raise InputError(self._name(told[0]), self.given[told[0]], problem, "give one figure, or the parts")
            return units.read_not_negative(
                str(self.given["hour_cost"]), "money_rate", field=self.called("hour-cost")
            ).value
        if not told:
            wage, fuel, fuel_price, wear, helpers = (
                self.called(x) for x in ("wage", "fuel", "fuel-price", "wear", "helpers")
            )
            mend = f'one figure, like {self.called("hour-cost")} "450 /h", '
            mend += f"or parts: {wage}, {fuel} with {fuel_price}, {wear}, {helpers}"
            raise InputError(self.called("hour-cost"), None, "is not told", mend)
        from chaffinch.engine.machine_cost import LABOUR_MULTIPLIER_OTHER_POWER_UNIT, LUBRICANT_SHARE_OF_FUEL
        from chaffinch.engine.work import hour_cost as built

        self._together(("fuel", "fuel_price"))
        return built(
            wage_per_h=self._quantity("wage", "money_rate"),
            labour_multiplier=LABOUR_MULTIPLIER_OTHER_POWER_UNIT,
            fuel_l_h=self._quantity("fuel", "fuel_rate"),
            fuel_price_per_l=self._quantity("fuel_price", "fuel_price"),
            lubricant_share=LUBRICANT_SHARE_OF_FUEL,
            wear_per_h=self._quantity("wear", "money_rate"),
            helpers_per_h=self._quantity("helpers", "money_rate"),
            weather_per_h=self._weather(yield_kg_ha, price_per_t),
        )

    def _weather(self, yield_kg_ha: float | None, price_per_t: float | None) -> float:
        """The weather's part [money/h]: told, or from area left, loss per day, hours per day and share of fit days."""
        own = [name for name in _WEATHER if self._is_told(name)]
        if self._is_told("weather"):
            if own:
                problem = f"is given together with {self.called('weather')}"
                raise InputError(self._name(own[0]), self.given[own[0]], problem, "give one or the other")
            return self._quantity("weather", "money_rate")
        if not own:
            return 0.0
        self._together(_WEATHER)
        if yield_kg_ha is None or price_per_t is None:
            missing = self.called("yield" if yield_kg_ha is None else "price")
            raise InputError(missing, None, "is needed for what the weather takes", f"add {missing}")
        from chaffinch.engine.work import Z_STARTS_OR_ENDS_AT_OPTIMUM, weather_cost_per_h

        return weather_cost_per_h(
            self._quantity("area_left", "land"),
            k3_per_day=self._quantity("loss_per_day", "fraction"),
            yield_t_ha=yield_kg_ha / 1000.0,
            price_per_t=price_per_t,
            # The crop is ripe and waits: work starts at the best date.
            z=Z_STARTS_OR_ENDS_AT_OPTIMUM,
            hours_per_day=self._hours(),
            workable_share=self._quantity("fit_days", "fraction"),
        )

    def _together(self, names: tuple[str, ...]) -> None:
        missing = [name for name in names if not self._is_told(name)]
        if missing and len(missing) < len(names):
            there = next(name for name in names if self._is_told(name))
            name = self._name(missing[0])
            raise InputError(name, None, f"is missing beside {self._name(there)}", f"add {name}")

    def _is_told(self, name: str) -> bool:
        return self.given.get(name) is not None

    def _name(self, name: str) -> str:
        return self.called(name.replace("_", "-"))

    def _quantity(self, name: str, kind: str) -> float:
        text = self.given.get(name)
        return 0.0 if text is None else units.read_not_negative(text, kind, field=self._name(name)).value

    def _hours(self) -> float:
        text = self.given.get("hours_per_day") or ""
        try:
            return float(text.replace(",", ".").removesuffix("h").strip())
        except ValueError:
            raise InputError(
                self._name("hours_per_day"), text, "is not a number of hours", "write it like 9 or 9.5"
            ) from None
