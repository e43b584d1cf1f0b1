"""Invented harvest days, seed by seed: the truth that the estimate is held against in ``calibration.py``.

Nothing here comes from the engine, not even a constant: where both sides must agree (how much catches differ, how
far a guessed width is off) the figure of design §4.1 to §4.4 is written out once more, so that a slip on either side
shows as lost coverage. A day runs like this:

1. losses are drawn (or fixed), and with them everything an estimate cannot see: how uneven this ground is, the
   true thousand-kernel weight, bulk density, packing, width and pan area;
2. geometry gives the seed mass each pan should receive;
3. the local rate at a pan is that times a Gamma number of mean 1 and coefficient of variation c;
4. whole seeds fall: Poisson given the local rate; each weighs the true thousand-kernel weight / 1000;
5. a scale, a cup, an eye or a ruler reads the pan, rounded to its smallest division.

A :class:`Nature` says in which way a world departs from what the estimate assumes.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
Way = Literal["weighed", "measured", "counted", "flat"]

SOURCES: Final = ("standing", "header", "machine", "leak")
PRIOR_MEDIAN_KG_HA: Final = {"standing": 5.0, "header": 20.0, "machine": 40.0, "leak": 2.0}
PRIOR_SD_LOG: Final = 1.3
C0: Final = {"spanning": 0.20, "narrow": 0.40, "spread": 0.60, "ground": 0.50, "across": 0.30}
C_SD_LOG: Final = 0.35
DENSITY_SD, LAYER_SD, PAN_SD = 0.04, 0.12, 0.01
TKW_SD: Final = {True: 0.02, False: 0.08}
"""By whether it was measured on this crop."""
WIDTH_SD: Final = {True: 0.02, False: 0.08}
"""By whether it was taped."""
PACKING: Final = 0.80
G_PER_M2: Final = 0.1
"""1 kg/ha is 0.1 g/m² (exact)."""


@dataclass(frozen=True, slots=True)
class Crop:
    """What the reference table says of a crop; the crop in the field differs from it by the errors above."""

    tkw_g: float
    test_weight_kg_hl: float = 75.0
    seed_diameter_mm: float = 5.0
    kernel_density_g_cm3: float = 1.25


# Round figures of the usual size; coverage does not hang on them.
CANOLA: Final = Crop(3.5, 65.0, 1.8, 1.10)
SOYBEAN: Final = Crop(160.0)
FABA_BEAN: Final = Crop(450.0)


@dataclass(frozen=True, slots=True)
class Farm:
    """Machine and crop as the person wrote them down; the default is a 40 ft cut over a 66 in drop."""

    crop: Crop = CANOLA
    cut_m: float = 12.192
    discharge_m: float = 1.6764
    spreading: bool = False
    speed_kmh: float = 6.0
    tkw_measured: bool = False
    widths_taped: bool = False


@dataclass(frozen=True, slots=True)
class Taking:
    """One catch to be taken: where, with what, and how it is read.

    ``step`` is in the reading's own unit (g, mL, seeds, cm²); ``offset_m`` counts from the middle of the discharge.
    """

    place: str
    way: Way = "weighed"
    step: float = 0.1
    area_m2: float = 0.371612
    width_m: float | None = None
    length_m: float = 1.0
    seconds: float = 30.0
    subsample: float = 1.0
    offset_m: float | None = None
    run: int = 1

    def lying(self, farm: Farm) -> str:
        """Which takings share one unevenness: a key of :data:`C0`."""
        if self.place == "windrow" or (self.width_m is not None and self.width_m >= farm.discharge_m):
            return "spanning"
        if self.place in ("whole cut", "leak"):
            return "across"
        if self.place == "discharge":
            return "spread" if farm.spreading and self.offset_m is None else "narrow"
        return "spread" if self.place == "behind" and farm.spreading else "ground"


@dataclass(frozen=True, slots=True)
class Nature:
    """How a world departs from what the estimate assumes; the default is a world as assumed.

    Attributes
    ----------
    fixed_kg_ha : mapping or None
        Losses by source that are the same in every check [kg/ha]; the others are drawn.
    c_factor : float
        Catches differ by this much more than the default says [1].
    between : {"gamma", "lognormal"}
        Distribution of the local rate.
    first_catch : float
        Part of its seed that the first catch of a check really held [1]: 0 is a pan that missed.
    tkw_factor, discharge_factor : float
        True thousand-kernel weight and discharge width as a multiple of the figure written down, on top of the
        error the estimate allows for [1].
    hump : bool
        Machine loss lies as a triangle across the discharge, highest in the middle, where the pan lies.
    onto_strip : float
        Part of the machine loss that falls, evenly over the cut, onto the header strip [1].
    """

    fixed_kg_ha: Mapping[str, float] | None = None
    c_factor: float = 1.0
    between: Literal["gamma", "lognormal"] = "gamma"
    first_catch: float = 1.0
    tkw_factor: float = 1.0
    discharge_factor: float = 1.0
    hump: bool = False
    onto_strip: float = 0.0


@dataclass(frozen=True, slots=True)
class Days:
    """Many days with the same plan: true losses by source, shape (n,), and readings, shape (n, takings)."""

    loss_kg_ha: Mapping[str, FloatArray]
    readings: FloatArray
    c: Mapping[str, FloatArray] = field(default_factory=dict)


def days(farm: Farm, takings: Sequence[Taking], nature: Nature, count: int, rng: np.random.Generator) -> Days:
    """Let ``count`` checks happen."""

    def off_by(sd_log: float) -> FloatArray:
        return np.exp(sd_log * rng.standard_normal(count))

    loss = {s: PRIOR_MEDIAN_KG_HA[s] * off_by(PRIOR_SD_LOG) for s in SOURCES}
    for source, value in (nature.fixed_kg_ha or {}).items():
        loss[source] = np.full(count, value)
    if all(taking.place != "leak" for taking in takings):
        # Who never looks for a leak has it in the machine loss.
        loss["leak"] = np.zeros(count)
    c = {lying: C0[lying] * nature.c_factor * off_by(C_SD_LOG) for lying in C0}
    seed_g = farm.crop.tkw_g / 1000.0 * nature.tkw_factor * off_by(TKW_SD[farm.tkw_measured])
    discharge_m = farm.discharge_m * nature.discharge_factor * off_by(WIDTH_SD[farm.widths_taped])
    pan = off_by(PAN_SD)
    gram_per = {
        "weighed": np.ones(count),
        "measured": farm.crop.test_weight_kg_hl / 100.0 * off_by(DENSITY_SD),
        "flat": _gram_per_cm2(farm.crop) * off_by(LAYER_SD),
        "counted": seed_g,
    }
    across = _profiles(takings, discharge_m, rng)

    readings = np.empty((count, len(takings)))
    for i, taking in enumerate(takings):
        due_g = pan * _due_g(taking, i, farm, nature, loss, discharge_m, across)
        rate = due_g * _uneven(c[taking.lying(farm)], nature.between, rng)
        if i == 0:
            rate = rate * nature.first_catch
        seeds = rng.poisson(rate / seed_g * taking.subsample)
        exact = seeds * seed_g / gram_per[taking.way]
        readings[:, i] = seeds if taking.way == "counted" else np.floor(exact / taking.step + 0.5) * taking.step
    return Days(loss, readings, c)


def _due_g(
    taking: Taking,
    index: int,
    farm: Farm,
    nature: Nature,
    loss: Mapping[str, FloatArray],
    discharge_m: FloatArray,
    across: Mapping[int, FloatArray],
) -> FloatArray:
    """Seed mass that geometry sends into the pan [g]."""
    area = taking.area_m2
    standing, header = G_PER_M2 * loss["standing"], G_PER_M2 * loss["header"]
    strewn = G_PER_M2 * loss["machine"] * nature.onto_strip
    per_metre = G_PER_M2 * loss["machine"] * (1.0 - nature.onto_strip) * farm.cut_m
    dripping = G_PER_M2 * loss["leak"] * farm.cut_m
    lain = area * (standing + header + strewn)
    if taking.place == "standing":
        return area * standing
    if taking.place == "header strip":
        return lain
    if taking.place == "whole cut":
        return lain + area / farm.cut_m * (per_metre + dripping)
    if taking.place == "leak":
        return farm.speed_kmh / 3.6 * taking.seconds * dripping
    if taking.place == "windrow":
        return taking.length_m * per_metre
    if index in across:
        return area * across[index] * per_metre
    if taking.width_m is not None and taking.width_m >= farm.discharge_m:
        # Wider than the discharge: it catches everything that falls over its length.
        discharged = area / taking.width_m * per_metre
    else:
        discharged = area / discharge_m * per_metre
        if nature.hump:
            # A triangle of mean 1 over the width D is 2 − 4|x|/D; its mean over |x| < b/2 is 2 − b/D.
            discharged = discharged * (2.0 - area**0.5 / discharge_m)
    if taking.place == "behind":
        # A leak drips somewhere under the machine, taken as evenly over the width of its discharge.
        return discharged + lain + area / discharge_m * dripping
    return discharged


def _profiles(takings: Sequence[Taking], discharge_m: FloatArray, rng: np.random.Generator) -> dict[int, FloatArray]:
    """Density at each pan that has an offset, as a part of the whole per metre of width [1/m].

    Every check has a profile of its own: straight between the pans, zero at the true edges of the discharge.
    """
    offsets = sorted({t.offset_m for t in takings if t.offset_m is not None})
    if not offsets:
        return {}
    height = rng.gamma(4.0, 0.25, (discharge_m.size, len(offsets)))
    edge = discharge_m[:, None] / 2.0
    x = np.hstack([-edge, np.broadcast_to(offsets, height.shape), edge])
    y = np.pad(height, ((0, 0), (1, 1)))
    density = height / np.trapezoid(y, x, axis=1)[:, None]
    return {i: density[:, offsets.index(t.offset_m)] for i, t in enumerate(takings) if t.offset_m is not None}


def _uneven(c: FloatArray, between: str, rng: np.random.Generator) -> FloatArray:
    """Numbers of mean 1 and coefficient of variation c."""
    if between == "gamma":
        return rng.gamma(1.0 / np.square(c)) * np.square(c)
    variance_log = np.log1p(np.square(c))
    return np.exp(np.sqrt(variance_log) * rng.standard_normal(c.size) - variance_log / 2.0)


def _gram_per_cm2(crop: Crop) -> float:
    """Spheres one deep on 1 cm²: their number times the mass of one."""
    radius_cm = crop.seed_diameter_mm / 20.0
    number = PACKING / (np.pi * radius_cm**2)
    return float(number * crop.kernel_density_g_cm3 * 4.0 / 3.0 * np.pi * radius_cm**3)
