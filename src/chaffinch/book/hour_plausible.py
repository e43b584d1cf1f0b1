"""Can an hour of combining cost that, and may it stand in this book? Slips and foreign money are met where they enter.

A cost of one more hour is held against what no combine costs in any money, and where the crop is known against the
grain that an hour brings in. One that is stored must be in the farm's money: nothing is ever converted.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any, Final

from chaffinch import units
from chaffinch.errors import InputError

if TYPE_CHECKING:
    from chaffinch.book.desk import Desk

MOST_PER_H: Final = 1e9
"""More than an hour of any combine costs in any money [money/h]; own figure: some three times that of a large machine
in the weakest money we know of (memory)."""
FASTEST_KMH: Final = 15.0
"""Faster than crop is cut [km/h]; own figure."""
KINDS_WITH_HOUR: Final = ("farm", "combine")


def meant(per_h: float, *, field: str, shown: str) -> float:
    """Return a cost per hour [money/h] that can be one.

    Raises
    ------
    InputError
        Above :data:`MOST_PER_H`.
    """
    if per_h > MOST_PER_H:
        problem = "is more than an hour of any combine costs in any money"
        raise InputError(field, shown, problem, 'count its noughts, and write it like "450 /h"')
    return per_h


def refuse_above_grain(
    per_h: float, *, width_m: float, yield_kg_ha: float | None, price_per_t: float, field: str = "hour cost"
) -> None:
    """Refuse an hour that costs more than all the grain it could bring in: nobody would cut, so one figure is a slip.

    Parameters
    ----------
    per_h : float
        What one more hour costs [money/h].
    width_m : float
        Width really cut [m].
    yield_kg_ha : float or None
        [kg/ha]; None where it is not known, and nothing can be said.
    price_per_t : float
        [money/t]; 0 says nothing either.
    """
    meant(per_h, field=field, shown=f"{per_h:g} /h")
    if yield_kg_ha is None or price_per_t <= 0.0:
        return
    most = FASTEST_KMH * width_m / 10.0 * yield_kg_ha / 1000.0 * price_per_t
    if per_h > most:
        problem = f"is more than all the grain an hour brings in is worth ({most:,.0f} at {FASTEST_KMH:g} km/h)"
        mend = 'write what one more hour costs, like "450 /h"; or mend the price or the yield'
        raise InputError(field, f"{per_h:g} /h", problem, mend)


def refuse_stored(desk: Desk, kind: str, parts: Mapping[str, Any], *, own_id: str = "") -> None:
    """Refuse an hour cost that cannot be meant, or that would stand in the book in other money than the farm's.

    Parameters
    ----------
    desk : Desk
        The open book.
    kind : str
        Of the thing that is added or changed.
    parts : mapping
        The thing as it would stand.
    own_id : str
        Its id, where it stands in the book already.

    Raises
    ------
    InputError
        For such a cost; for a farm's new currency in which an hour cost that is stored does not stand.
    """
    # Late: the command line lists the parts of an hour cost without loading a database.
    from chaffinch.book.thingsnow import things
    from chaffinch.units.money import same_currency

    if kind not in KINDS_WITH_HOUR:
        return
    farms = {one.id: str(one.parts.get("currency", "")).strip() for one in things(desk, "farm") if not one.retired}
    if kind == "farm":
        farms[own_id] = str(parts.get("currency", "")).strip()
    told = [one for one in farms.values() if one]
    cost = parts.get("hour_cost")
    if cost is not None:
        field = f"{kind}, hour_cost"
        read = units.read_positive(str(cost), "money_rate", field=field)
        meant(read.value, field=field, shown=str(cost))
        other = next((one for one in told if read.currency and not same_currency(one, read.currency)), None)
        if other is not None:
            problem = f"is in {read.currency}, the farm's money in {other}: two currencies are never mixed"
            raise InputError(field, str(cost), problem, f"write it in {other}, or without a sign")
    if kind != "farm" or not farms[own_id]:
        return
    for one in things(desk, "combine"):
        stored = one.parts.get("hour_cost")
        if stored is None or one.retired:
            continue
        sign = units.read_positive(str(stored), "money_rate", field=f"combine {one.name}, hour_cost").currency
        if sign and not same_currency(sign, farms[own_id]):
            problem = f"is not the money of the hour cost stored with {one.name}, {stored}"
            raise InputError("farm, currency", farms[own_id], problem, f"clear or mend that of {one.name} first")
