"""How is a check written down again?

The table that :func:`chaffinch.records.checkfile.check_from_table` reads back into the very same check: inside units,
every float with all its digits. It holds text, numbers, flags, lists and tables only, so JSON and TOML both take it.
"""

from __future__ import annotations

from typing import Any, Final

from chaffinch.errors import InputError
from chaffinch.records.check import Amount, Catch, Check, Combine, Pan, ReadingKind

_UNITS: Final[dict[ReadingKind, str]] = {
    "weighed": "g",
    "measured": "mL",
    "counted": "seeds",
    "flat": "cm2 flat",
}


def check_to_table(check: Check) -> dict[str, Any]:
    """Return a check as a table in schema 1.

    Parameters
    ----------
    check : Check
        As read, or made by hand within the same rules.

    Returns
    -------
    dict
        Keys that say nothing (no value, or the default) are left out; ``schema`` always stands there.

    Raises
    ------
    InputError
        For a pan whose area is not its width times its length, which the layout cannot hold.
    """
    return _without_none(
        {
            "schema": check.schema,
            "crop": check.crop,
            "country": check.country,
            "yield": _quantity(check.yield_kg_ha, "kg/ha"),
            "price": _quantity(check.price_per_t, "/t"),
            "limit": _quantity(check.limit_kg_ha, "kg/ha"),
            "currency": check.currency or None,
            "tkw": _quantity(check.tkw_g, "g"),
            "test_weight": _quantity(check.test_weight_kg_hl, "kg/hL"),
            "market_moisture": _quantity(check.market_moisture_pct, "%"),
            "bushel": _quantity(check.bushel_kg, "kg"),
            "report_in": check.trade_unit,
            "spreading": check.spreading,
            "windrowed": check.windrowed or None,
            "windrower_width": _quantity(check.windrower_width_m, "m"),
            "working_width": _quantity(check.working_width_m, "m"),
            "speed": _quantity(check.speed_kmh, "km/h"),
            "when": check.when or None,
            "operator": check.operator or None,
            "note": check.note or None,
            "combine": None if check.combine is None else _combine(check.combine),
            "field": _without_none(
                {"name": check.field_name or None, "area": _quantity(check.field_area_ha, "ha")},
            )
            or None,
            "catch": [_catch(catch) for catch in check.catches],
        }
    )


def _combine(combine: Combine) -> dict[str, Any]:
    return _without_none(
        {
            "name": combine.name or None,
            "cut_width": _quantity(combine.cut_width_m, "m"),
            "drop_width": _quantity(combine.drop_width_m, "m"),
            "spread_width": _quantity(combine.spread_width_m, "m"),
            "widths_taped": combine.widths_taped or None,
        }
    )


def _catch(catch: Catch) -> dict[str, Any]:
    return _without_none(
        {
            "place": catch.place,
            **_pan(catch),
            **({} if catch.length_m is None else {"length": _quantity(catch.length_m, "m")}),
            **_reading("amount", "step", catch.amount),
            "subsample": None if catch.subsample == 1 else float(catch.subsample),
            "clean": None if catch.clean == 1 else float(catch.clean),
            "moisture": _quantity(catch.moisture_pct, "%"),
            **({} if catch.unthreshed is None else _reading("unthreshed", "unthreshed_step", catch.unthreshed)),
            "heads": None if catch.heads is None else int(catch.heads),
            "seeds_per_head": catch.seeds_per_head,
            "offset": _quantity(catch.offset_m, "m"),
            "run": None if catch.run == 1 else catch.run,
            "time": _quantity(catch.seconds, "s"),
            "variation": catch.variation,
            "bag": catch.bag or None,
            "note": catch.note or None,
        }
    )


def _pan(catch: Catch) -> dict[str, Any]:
    pan: Pan | None = catch.pan
    if pan is None:
        return {}
    if pan.width_m is None or pan.length_m is None:
        return {"pan": _quantity(pan.area_m2, "m2")}
    if pan.area_m2 != pan.width_m * pan.length_m:
        problem = f"has an area of {pan.area_m2!r} m2 that is not its width times its length"
        mend = "make the pan with area_m2 = width_m * length_m"
        raise InputError(f"catch {catch.number}, pan", None, problem, mend)
    return {"width": _quantity(pan.width_m, "m"), "length": _quantity(pan.length_m, "m")}


def _reading(key: str, step_key: str, amount: Amount) -> dict[str, Any]:
    if amount.kind == "counted":
        return {key: f"{int(amount.value)} seeds"}
    unit = _UNITS[amount.kind]
    return {
        key: _quantity(amount.value, unit),
        step_key: _quantity(amount.step, unit),
        f"{step_key}_inferred": amount.step_inferred or None,
    }


def _quantity(value: float | None, unit: str) -> str | None:
    # repr holds every digit of a float; a shorter form would come back as a neighbour of it.
    return None if value is None else f"{float(value)!r} {unit}"


def _without_none(table: dict[str, Any]) -> dict[str, Any]:
    return {key: value for key, value in table.items() if value is not None}
