"""A check's figures in the person's own unit: bu/ac, lb/ac, kg/ha …, and money per the same land unit."""

from __future__ import annotations

from chaffinch import units
from chaffinch.engine.estimate import Range
from chaffinch.records.check import Check


def loss_factor(check: Check) -> float:
    """Multiply kg/ha by this to get the check's trade unit."""
    return units.write(1.0, check.trade_unit, "area_mass", bushel_kg=check.bushel_kg)


def in_trade_unit(kg_ha: Range, check: Check) -> Range:
    """A loss in the check's trade unit."""
    return kg_ha.times(loss_factor(check))


def land_unit(check: Check) -> str:
    """``ac`` or ``ha``: the land unit of the trade unit (ha for g/m²)."""
    return "ac" if check.trade_unit.endswith("/ac") else "ha"


def money_factor(check: Check) -> float:
    """Multiply money/ha by this to get money per :func:`land_unit`."""
    return units.to_inside(1.0, land_unit(check), "land")
