"""How much seed was in the pan: from what a person read to seed mass at market moisture.

Seed can be weighed, measured in a cup, counted, or spread one seed deep and its area taken. Each way has its own
smallest division (``step``) and its own shared error, and both travel with the mass.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Literal

from chaffinch.engine.domain import not_negative, positive, share
from chaffinch.errors import InputError

ReadingKind = Literal["weighed", "measured", "counted", "flat"]

PACKING: Final = 0.80
"""Area fraction covered by seeds lying one deep [1], ± PACKING_SD. Own figure, from memory of practice; random
close packing of equal discs is about 0.84 and a hexagonal layer 0.907 (from memory)."""
PACKING_SD: Final = 0.06

SCALE_SD: Final = {
    "weighed": 0.0,
    "measured": 0.04,
    "counted": 0.08,
    "counted, own TKW": 0.02,
    "flat": 0.12,
}
"""Standard deviation of the log of the error shared by all catches read this way [1] (design §4.1; own
defaults, from memory of practice). A scale's own error is its step."""

PAN_SD: Final = 0.01
"""Standard deviation of the log of the pan's area [1] (design §4.1)."""


@dataclass(frozen=True, slots=True)
class Reading:
    """Seed mass of one whole catch at market moisture, with what is needed to judge it.

    Attributes
    ----------
    mass_g : float
        Seed mass [g], 0 or more.
    step_g : float
        Width of the interval the true mass lies in because of the instrument's division [g]; 0 when counted.
    seed_g : float
        Mass that one independent particle brings [g]: one seed, more when only a part of the catch was
        read or the seed fell as whole heads. Sets the noise of small numbers.
    count : int or None
        Seeds counted; None unless ``kind`` is counted.
    seeds_per_g : float
        Expected count per gram of the whole catch [1/g]; only used with ``count``.
    kind : str
        Which shared error applies: catches of the same kind err together.
    scale_sd : float
        Standard deviation of the log of that shared error [1].
    unthreshed_g : float
        Part of ``mass_g`` that was still in heads or pods [g].
    """

    mass_g: float
    step_g: float
    seed_g: float
    count: int | None
    seeds_per_g: float
    kind: str
    scale_sd: float
    unthreshed_g: float = 0.0


def mass_of_count_g(seeds: float, tkw_g: float) -> float:
    """Mass of counted seed [g] = seeds × TKW / 1000.

    Parameters
    ----------
    seeds : float
        Number of seeds [1], 0 or more.
    tkw_g : float
        Thousand-kernel weight at market moisture [g], above 0.
    """
    return not_negative("seeds", seeds) * positive("tkw_g", tkw_g) / 1000.0


def mass_of_volume_g(volume_ml: float, test_weight_kg_hl: float) -> float:
    """Mass of a measured volume [g] = mL × test weight [kg/hL] / 100.

    1 kg/hL is 1000 g in 100,000 mL, so kg/hL ÷ 100 is g/mL.
    """
    return not_negative("volume_ml", volume_ml) * positive("test_weight_kg_hl", test_weight_kg_hl) / 100.0


def mass_of_flat_layer_g(
    area_cm2: float, seed_diameter_mm: float, kernel_density_g_cm3: float, packing: float = PACKING
) -> float:
    """Mass of round seed lying one seed deep [g] = A · φ · (2/3) · d · ρ.

    A layer of spheres of diameter d [cm] that covers the fraction φ of the area A holds
    n = φ·A / (π·d²/4) spheres of mass ρ·π·d³/6 each; the product is φ·A·(2/3)·d·ρ.

    Parameters
    ----------
    area_cm2 : float
        Area covered by the layer [cm²], 0 or more.
    seed_diameter_mm : float
        Seed diameter [mm], above 0.
    kernel_density_g_cm3 : float
        Density of a single seed, not of the heap [g/cm³], above 0.
    packing : float
        Fraction of the area covered, 0 < φ ≤ 1.
    """
    d_cm = positive("seed_diameter_mm", seed_diameter_mm) / 10.0
    density = positive("kernel_density_g_cm3", kernel_density_g_cm3)
    return not_negative("area_cm2", area_cm2) * share("packing", packing) * (2.0 / 3.0) * d_cm * density


def to_market_moisture_g(mass_g: float, moisture_pct: float, market_moisture_pct: float) -> float:
    """Mass with the same dry matter at market moisture [g] = mass · (100 − M) / (100 − M_market).

    Source: dry-matter balance; the same as the shrink formula of Canadian Grain Commission Order 2017-01
    (printed). Moistures are wet basis [%], 0 ≤ M < 100.
    """
    return (
        not_negative("mass_g", mass_g)
        * _dry(moisture_pct, "moisture_pct")
        / _dry(market_moisture_pct, "market_moisture_pct")
    )


def shrink_pct(moisture_before_pct: float, moisture_after_pct: float) -> float:
    """Loss of weight on drying, percent of the weight before [%].

    (M_before − M_after) · 100 / (100 − M_after), wet basis. Source: Canadian Grain Commission Order 2017-01
    (printed formula). Negative when the grain is drier than the standard.
    """
    before, after = (
        _dry(moisture_before_pct, "moisture_before_pct"),
        _dry(moisture_after_pct, "moisture_after_pct"),
    )
    return 100.0 * (after - before) / after


def wet_from_dry_basis_pct(moisture_db_pct: float) -> float:
    """Wet-basis from dry-basis moisture [%]: 100·d / (100 + d)."""
    d = not_negative("moisture_db_pct", moisture_db_pct)
    return 100.0 * d / (100.0 + d)


def dry_from_wet_basis_pct(moisture_wb_pct: float) -> float:
    """Dry-basis from wet-basis moisture [%]: 100·w / (100 − w), 0 ≤ w < 100."""
    dry = _dry(moisture_wb_pct, "moisture_wb_pct")
    return 100.0 * (100.0 - dry) / dry


def seeds_per_m2(loss_kg_ha: float, tkw_g: float) -> float:
    """Seeds per square metre that make up a loss: 100 · loss [kg/ha] / TKW [g].

    1 kg/ha is 0.1 g/m²; one seed is TKW/1000 g.
    """
    return 100.0 * not_negative("loss_kg_ha", loss_kg_ha) / positive("tkw_g", tkw_g)


def loss_of_seeds_kg_ha(seeds_m2: float, tkw_g: float) -> float:
    """Loss of a seed density [kg/ha] = seeds/m² · TKW [g] / 100."""
    return not_negative("seeds_m2", seeds_m2) * positive("tkw_g", tkw_g) / 100.0


def read(
    kind: ReadingKind,
    value: float,
    step: float,
    *,
    tkw_g: float,
    tkw_measured: bool = False,
    gram_per_unit: float = 1.0,
    moisture_factor: float = 1.0,
    clean: float = 1.0,
    subsample: float = 1.0,
) -> Reading:
    """Turn one reading into the mass of the whole catch.

    Parameters
    ----------
    kind : {"weighed", "measured", "counted", "flat"}
        What was read.
    value, step : float
        The reading and its smallest division, in g, mL, seeds or cm².
    tkw_g : float
        Thousand-kernel weight [g]: the noise of small numbers, and the mass of counted seed.
    tkw_measured : bool
        True when the TKW was measured on this crop (2 % shared error instead of 8 % when counting).
    gram_per_unit : float
        Grams of seed per unit read: 1 for weighed, test weight/100 for measured, see
        :func:`mass_of_flat_layer_g` for flat; not used when counting.
    moisture_factor : float
        (100 − M)/(100 − M_market) [1]; not used when counting, since TKW is at market moisture.
    clean : float
        Share of the reading that is seed, 0 < p ≤ 1.
    subsample : float
        Share of the catch that was read, 0 < f ≤ 1.

    Returns
    -------
    Reading

    Raises
    ------
    InputError
        For a value below 0, a step of 0 or less, a share outside (0, 1], or a count that is not whole.
    """
    value = not_negative("amount", value)
    seed_g = positive("tkw_g", tkw_g) / 1000.0
    fraction = share("subsample", subsample)
    purity = share("clean", clean)
    if kind == "counted":
        if value != math.floor(value):
            raise InputError("amount", value, "a count must be a whole number", "count again or weigh the catch")
        # A count of "clean" material only is already a count of seed; a purity would count chaff as seed.
        if purity != 1.0:
            raise InputError("clean", clean, "does not go with a count", "count seeds only and leave clean out")
        label = "counted, own TKW" if tkw_measured else "counted"
        return Reading(
            value * seed_g / fraction,
            0.0,
            seed_g / fraction,
            int(value),
            fraction / seed_g,
            label,
            SCALE_SD[label],
        )
    if kind not in SCALE_SD:
        raise InputError("amount", kind, "is not a way of reading a catch", "use weighed, measured, counted or flat")
    factor = positive("gram_per_unit", gram_per_unit) * positive("moisture_factor", moisture_factor) * purity / fraction
    return Reading(value * factor, positive("step", step) * factor, seed_g / fraction, None, 0.0, kind, SCALE_SD[kind])


def together(readings: Sequence[Reading], *, unthreshed: Sequence[bool]) -> Reading:
    """Add the parts of one catch: loose seed, seed rubbed out of heads, heads counted.

    Two counts with the same counting fraction stay a count; anything else becomes a mass whose interval is the
    parts' intervals in quadrature and whose particle mass is their mass-weighted mean.
    """
    if len(readings) == 1 and not unthreshed[0]:
        return readings[0]
    mass = sum(r.mass_g for r in readings)
    heads = sum(r.mass_g for r, u in zip(readings, unthreshed, strict=True) if u)
    first = readings[0]
    if all(r.count is not None and r.kind == first.kind and r.seeds_per_g == first.seeds_per_g for r in readings):
        count = sum(r.count for r in readings if r.count is not None)
        return Reading(mass, 0.0, first.seed_g, count, first.seeds_per_g, first.kind, first.scale_sd, heads)
    parts = [r.mass_g / mass if mass else 1.0 / len(readings) for r in readings]
    seed = sum(p * r.seed_g for p, r in zip(parts, readings, strict=True))
    # Counts are exact and add no step; counts alone, once they are a mass, are known to one seed.
    step = math.sqrt(sum(r.step_g**2 for r in readings)) or min(r.seed_g for r in readings)
    kinds = {r.kind for r in readings}
    if len(kinds) == 1:
        return Reading(mass, step, seed, None, 0.0, first.kind, first.scale_sd, heads)
    spread = math.sqrt(sum((p * r.scale_sd) ** 2 for p, r in zip(parts, readings, strict=True)))
    return Reading(mass, step, seed, None, 0.0, "+".join(sorted(kinds)), spread, heads)


def heads_as_reading(heads: float, seeds_per_head: float, *, tkw_g: float, tkw_measured: bool = False) -> Reading:
    """Seed in unthreshed heads that were counted, not rubbed out.

    The heads fall whole, so one independent particle is a head: ``seeds_per_head`` seeds. Their number is exact, so
    the reading has no step; it only makes sense together with the loose seed (:func:`together`).
    """
    per_head_g = positive("seeds_per_head", seeds_per_head) * positive("tkw_g", tkw_g) / 1000.0
    number = not_negative("heads", heads)
    if number != math.floor(number):
        raise InputError("heads", heads, "a count must be a whole number", "count the heads again")
    label = "counted, own TKW" if tkw_measured else "counted"
    return Reading(number * per_head_g, 0.0, per_head_g, None, 0.0, label, SCALE_SD[label])


def _dry(moisture_pct: float, field: str) -> float:
    moisture = not_negative(field, moisture_pct)
    if moisture >= 100.0:
        raise InputError(field, moisture_pct, "must be below 100 %", "write wet-basis moisture, like 9.5 %")
    return 100.0 - moisture
