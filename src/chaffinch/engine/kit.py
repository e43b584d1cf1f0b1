"""What pan, scale and eye can see: resolution, the best way to read a catch, and the values of a cab card."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from chaffinch.engine.catch import SCALE_SD, seeds_per_m2
from chaffinch.engine.domain import positive
from chaffinch.engine.evidence import GRAMS_PER_KG_HA_M2
from chaffinch.errors import InputError

RESOLVED_SHARE: Final = 0.25
"""Half a step may be this share of the limit before the kit is called too coarse (design §4.4)."""
TEDIOUS_SEEDS: Final = 150
"""Seeds above which counting is called slow [1]. Common practice, no source."""
AS_GOOD: Final = 1.15
"""A way of reading within 15 % of the best error counts as good as the best [1]; own figure."""


@dataclass(frozen=True, slots=True)
class InPan:
    """What a loss looks like in one catch: grams, millilitres and seeds, each for the whole catch."""

    loss_kg_ha: float
    mass_g: float
    volume_ml: float
    seeds: float


@dataclass(frozen=True, slots=True)
class Way:
    """One way of reading a catch and how well it reads the loss in question.

    Attributes
    ----------
    kind : str
        ``weighed``, ``measured``, ``counted`` or ``flat``.
    amount, step : float
        What the pan holds at that loss and the smallest division, in the kind's own unit (g, mL, seeds, cm²).
    smallest_kg_ha : float
        Loss that half a step stands for [kg/ha].
    error : float
        Relative sd of reading one catch this way, rounding and shared error together [1]; unevenness between
        catches is not in it, being the same for all.
    resolves : bool
        Half a step is at most a quarter of the loss.
    """

    kind: str
    amount: float
    step: float
    smallest_kg_ha: float
    error: float
    resolves: bool


def in_pan(loss_kg_ha: float, area_m2: float, tkw_g: float, test_weight_kg_hl: float) -> InPan:
    """What a loss leaves in one catch of field area ``area_m2``.

    Parameters
    ----------
    loss_kg_ha : float
        Loss of the source the catch sees [kg/ha], above 0.
    area_m2 : float
        Field area of the catch e_s [m²].
    tkw_g, test_weight_kg_hl : float
        Thousand-kernel weight [g] and test weight [kg/hL].
    """
    area = positive("area_m2", area_m2)
    mass = GRAMS_PER_KG_HA_M2 * positive("loss_kg_ha", loss_kg_ha) * area
    volume = mass * 100.0 / positive("test_weight_kg_hl", test_weight_kg_hl)
    return InPan(loss_kg_ha, mass, volume, seeds_per_m2(loss_kg_ha, tkw_g) * area)


def smallest_loss_kg_ha(step_g: float, area_m2: float) -> float:
    """Loss that half a step over the field area stands for [kg/ha]."""
    return positive("step_g", step_g) / 2.0 / (GRAMS_PER_KG_HA_M2 * positive("area_m2", area_m2))


def resolves(step_g: float, area_m2: float, limit_kg_ha: float) -> bool:
    """Whether half a step over the field area is at most a quarter of the limit."""
    return smallest_loss_kg_ha(step_g, area_m2) <= RESOLVED_SHARE * positive("limit", limit_kg_ha)


def shared_sd(kind: str, *, tkw_measured: bool) -> float:
    """Sd of the log of the error that all catches read this way share [1]."""
    label = "counted, own TKW" if kind == "counted" and tkw_measured else kind
    if label not in SCALE_SD:
        raise InputError("steps", kind, "is not a way of reading", "use weighed, measured, counted or flat")
    return SCALE_SD[label]


def ways_of_reading(
    loss_kg_ha: float,
    area_m2: float,
    *,
    tkw_g: float,
    tkw_measured: bool,
    steps: Mapping[str, float],
    gram_per_unit: Mapping[str, float],
) -> tuple[Way, ...]:
    """Compare the ways of reading one catch at a given loss, best first.

    Parameters
    ----------
    loss_kg_ha : float
        The loss that matters, usually the limit [kg/ha].
    area_m2 : float
        Field area of the catch [m²].
    tkw_g, tkw_measured
        Thousand-kernel weight [g] and whether it was measured on this crop.
    steps : mapping
        Smallest division of each way to compare, in its unit; a way that is absent is not compared.
    gram_per_unit : mapping
        Grams of seed per unit read, for ``weighed`` (1), ``measured`` and ``flat``.

    Notes
    -----
    A rounding to a step s has the sd s/√12 (uniform distribution). A count is exact and its only error is the TKW's.
    """
    if not steps:
        raise InputError("steps", 0, "there is no way of reading to compare", "give a scale or cup step, or count")
    mass = GRAMS_PER_KG_HA_M2 * positive("loss_kg_ha", loss_kg_ha) * positive("area_m2", area_m2)
    ways = []
    for kind, step in steps.items():
        shared = shared_sd(kind, tkw_measured=tkw_measured)
        per_unit = positive("tkw_g", tkw_g) / 1000.0 if kind == "counted" else gram_per_unit[kind]
        step_g = positive("step", step) * positive("gram_per_unit", per_unit)
        rounding = 0.0 if kind == "counted" else step_g / math.sqrt(12.0) / mass
        smallest = smallest_loss_kg_ha(step_g, area_m2)
        error = math.hypot(rounding, shared)
        ways.append(Way(kind, mass / per_unit, step, smallest, error, smallest <= RESOLVED_SHARE * loss_kg_ha))
    return tuple(sorted(ways, key=lambda way: way.error))


def best_way(ways: Sequence[Way]) -> Way:
    """The way with the least error; a short count is preferred when it is as good.

    A count of ``TEDIOUS_SEEDS`` or more loses to any way that resolves the loss and is not more than twice as
    far off, because it will not be done twice.
    """
    usable = [way for way in ways if way.resolves] or list(ways)
    best = min(usable, key=lambda way: way.error)
    count = next((way for way in usable if way.kind == "counted"), None)
    if count is None:
        return best
    if count.amount < TEDIOUS_SEEDS and count.error <= AS_GOOD * best.error:
        return count
    if best is count and count.amount >= TEDIOUS_SEEDS:
        others = [way for way in usable if way.kind != "counted" and way.error <= 2 * count.error]
        return min(others, key=lambda way: way.error) if others else count
    return best
