"""What does one more hour of combining cost: one figure or its parts, as a person wrote them, or what is stored?"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Literal

from chaffinch import units
from chaffinch.book.hour_plausible import meant
from chaffinch.errors import InputError

if TYPE_CHECKING:
    from chaffinch.book.currency import MoneyTold
    from chaffinch.book.desk import Desk
    from chaffinch.book.things import Thing
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

StoredWith = Literal["farm", "combine"]
STORED_SAID: Final[Mapping[StoredWith, str]] = {
    "farm": "Stored hour cost {money}/h, the farm's.",
    "combine": "Stored hour cost {money}/h, this combine's own.",
}
"""How every answer says that it went by a stored hour cost."""

Called = Callable[[str], str]
"""How a face calls a figure in an error: ``fuel-price`` → ``--fuel-price`` on the command line."""


@dataclass(frozen=True, slots=True)
class StoredHour:
    """An hour cost that stands in the book.

    Attributes
    ----------
    per_h : float
        [money/h]
    of : {"farm", "combine"}
        With which thing it is stored.
    money : MoneyTold
        As it was written, for the rule of one currency.
    """

    per_h: float
    of: StoredWith
    money: MoneyTold

    def said(self, money: str) -> str:
        """The sentence, with the amount as a face writes it."""
        return STORED_SAID[self.of].format(money=money)


def stored_hour(desk: Desk, combine: Thing | None) -> StoredHour | None:
    """The hour cost that the book stores: the combine's own, else the farm's.

    None where neither has one, and where farms in use have different ones: nothing is chosen in silence.

    Raises
    ------
    InputError
        For a text that cannot be read, as one of a newer program may be.
    """
    from chaffinch.book.things import things

    own = None if combine is None else combine.parts.get("hour_cost")
    if combine is not None and own is not None:
        return _stored(str(own), "combine", combine.name)
    farms = [t for t in things(desk, "farm") if not t.retired and t.parts.get("hour_cost") is not None]
    if len({str(t.parts["hour_cost"]) for t in farms}) != 1:
        return None
    return _stored(str(farms[0].parts["hour_cost"]), "farm", farms[0].name)


def _stored(text: str, of: StoredWith, name: str) -> StoredHour:
    from chaffinch.book.currency import read_told

    field = f"{of} {name}, hour_cost"
    per_h = units.read_positive(text, "money_rate", field=field).value
    return StoredHour(per_h, of, read_told(text, "money_rate", field=field))


def per_hour(cost: HourCost | StoredHour | float) -> float:
    """The whole of an hour cost [money/h], however it was told."""
    if isinstance(cost, StoredHour):
        return cost.per_h
    return float(cost) if isinstance(cost, int | float) else cost.total_per_h


def hour_cost(
    given: Mapping[str, str | None],
    *,
    yield_kg_ha: float | None,
    price_per_t: float | None,
    called: Called,
    stored: StoredHour | None = None,
) -> HourCost | StoredHour | float:
    """Read the hour cost.

    Parameters
    ----------
    given : mapping
        Texts by the names of :data:`PARTS` (with underscores) and ``hour_cost``; None or absent where not told.
    yield_kg_ha, price_per_t : float or None
        Of the crop still standing, for the weather's part.
    called : callable
        How this face calls a figure.
    stored : StoredHour or None
        What goes where nothing is told; what is told always wins.

    Returns
    -------
    HourCost, StoredHour or float
        The parts, what the book stores, or the one figure [money/h].

    Raises
    ------
    InputError
        When nothing is told or stored, when one figure and parts are told together, or a part lacks what goes with it.
    """
    return _Told(given, called).hour_cost(yield_kg_ha, price_per_t, stored)


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

    def hour_cost(
        self, yield_kg_ha: float | None, price_per_t: float | None, stored: StoredHour | None
    ) -> HourCost | StoredHour | float:
        told = [name for name in (part.replace("-", "_") for part, _ in PARTS) if self._is_told(name)]
        if self._is_told("hour_cost"):
            if told:
                problem = f"is given together with {self.called('hour-cost')}"
                raise InputError(self._name(told[0]), self.given[told[0]], problem, "give one figure, or the parts")
            return self._quantity("hour_cost", "money_rate")
        if not told and stored is not None:
            return stored
        if not told:
            wage, fuel, fuel_price, wear, helpers = (
                self.called(x) for x in ("wage", "fuel", "fuel-price", "wear", "helpers")
            )
            mend = f'one figure, like {self.called("hour-cost")} "450 /h", '
            mend += f"or parts: {wage}, {fuel} with {fuel_price}, {wear}, {helpers}; or store one with the farm"
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
        if text is None:
            return 0.0
        found = units.read_not_negative(text, kind, field=self._name(name)).value
        return meant(found, field=self._name(name), shown=text) if kind == "money_rate" else found

    def _hours(self) -> float:
        text = self.given.get("hours_per_day") or ""
        try:
            return float(text.replace(",", ".").removesuffix("h").strip())
        except ValueError:
            raise InputError(
                self._name("hours_per_day"), text, "is not a number of hours", "write it like 9 or 9.5"
            ) from None
