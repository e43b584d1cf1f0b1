"""What the pans hold and how it is read: whole seeds falling at an uneven rate, then a scale, a cup or an eye.

1. geometry sends a mass of seed to each pan (true widths, true pan area);
2. the local rate is that times a Gamma number of mean 1 and coefficient of variation c;
3. whole seeds fall: Poisson given the local rate, each of the true seed weight;
4. a scale or cup shows the nearest of its steps; a count is exact.

c is drawn for each check and way of taking, LogNormal(ln c0, 0.35). All of it is written out anew: nothing comes from
the program.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import ROUND_HALF_UP, Decimal
from typing import Any, Final, Literal

import numpy as np

from simulated_world.farm import OZ_G, PAN_SD, TrueCrop, TrueMachine, Written

Way = Literal["weighed", "measured", "counted"]

C0: Final = {"spanning": 0.20, "narrow": 0.40, "spread": 0.60, "ground": 0.50, "across": 0.30}
C_SD_LOG: Final = 0.35
G_PER_M2: Final = 0.1
"""1 kg/ha is 0.1 g/m² (exact)."""
GRAMS: Final = {"g": 1.0, "oz": OZ_G}


@dataclass(frozen=True, slots=True)
class Taking:
    """One or more like catches: where, with what pan, how it is read.

    ``pan`` is an area, or (width, length); ``length`` the metres of windrow shaken out; ``at`` the offset from the
    middle of the discharge as a part of the recorded width.
    """

    place: str
    way: Way
    step: str = ""
    pan: Written | tuple[Written, Written] | None = None
    length: Written | None = None
    at: float | None = None
    subsample: str = ""
    times: int = 1


@dataclass(frozen=True, slots=True)
class Kit:
    """What is taken at one stop."""

    name: str
    spreading: bool
    takings: tuple[Taking, ...]
    pot: str = ""
    """Tare of the container when gross and tare are written down."""


@dataclass(frozen=True, slots=True)
class Ground:
    """What the catches come from: true losses [kg/ha], machine, seed, widths as written, moistures [%]."""

    loss: Mapping[str, float]
    machine: TrueMachine
    crop: TrueCrop
    cut_m: float
    discharge: Written
    grain_moisture_pct: float
    market_moisture_pct: float


@dataclass(frozen=True, slots=True)
class Taken:
    """Catches as they are written into a check file, and the unevenness behind them."""

    rows: list[dict[str, Any]]
    c: dict[str, float] = field(default_factory=dict)
    expected_g: list[float] = field(default_factory=list)


def take(kit: Kit, ground: Ground, chance: np.random.Generator) -> Taken:
    """Take all catches of a kit."""
    discharge_m = ground.machine.spread_m if kit.spreading else ground.machine.drop_m
    pan_factor = float(np.exp(PAN_SD * chance.standard_normal()))
    c = {name: float(c0 * np.exp(C_SD_LOG * chance.standard_normal())) for name, c0 in C0.items()}
    across = _profile([t.at for t in kit.takings if t.at is not None], ground.discharge.si, discharge_m, chance)
    taken = Taken([])
    for taking in kit.takings:
        for _ in range(taking.times):
            lying = _lying(taking, discharge_m, kit.spreading)
            due_g = _due_g(taking, ground, discharge_m, across) * pan_factor
            uneven = float(chance.gamma(1.0 / c[lying] ** 2) * c[lying] ** 2)
            seed_g = ground.crop.tkw_g / 1000.0
            part = _fraction(taking.subsample)
            seeds = int(chance.poisson(due_g * uneven / seed_g * part))
            taken.rows.append(_written(taking, kit, seeds, seed_g, ground))
            taken.c[lying] = c[lying]
            taken.expected_g.append(due_g)
    return taken


def mean_shown(rows: list[dict[str, Any]]) -> float:
    """Mean of the numbers written: what a crew compares at the tailgate."""
    return float(np.mean([float(row["amount"].split()[0]) for row in rows]))


def _lying(taking: Taking, discharge_m: float, spreading: bool) -> str:
    if taking.place == "windrow":
        return "spanning"
    if taking.place == "whole cut":
        return "across"
    if taking.place in ("standing", "header strip"):
        return "ground"
    if isinstance(taking.pan, tuple) and taking.pan[0].si >= discharge_m:
        return "spanning"
    if taking.place == "behind":
        return "spread" if spreading else "ground"
    return "spread" if spreading and taking.at is None else "narrow"


def _area_m2(pan: Written | tuple[Written, Written]) -> float:
    return pan[0].si * pan[1].si if isinstance(pan, tuple) else pan.si


def _due_g(taking: Taking, ground: Ground, discharge_m: float, across: Mapping[float, float]) -> float:
    """Seed mass at market moisture that geometry sends into the pan [g]."""
    loss = {source: G_PER_M2 * value for source, value in ground.loss.items()}
    per_metre = loss["machine"] * ground.cut_m
    if taking.place == "windrow":
        assert taking.length is not None
        return taking.length.si * per_metre
    assert taking.pan is not None
    area = _area_m2(taking.pan)
    lain = area * (loss["standing"] + loss["header"])
    if taking.place == "standing":
        return area * loss["standing"]
    if taking.place == "header strip":
        return lain
    if taking.place == "whole cut":
        return lain + area * loss["machine"]
    if taking.at is not None:
        return area * across[taking.at] * per_metre
    if isinstance(taking.pan, tuple) and taking.pan[0].si >= discharge_m:
        # It catches all that falls over its length.
        return taking.pan[1].si * per_metre
    return area / discharge_m * per_metre + (lain if taking.place == "behind" else 0.0)


def _profile(at: list[float], recorded_m: float, discharge_m: float, chance: np.random.Generator) -> dict[float, float]:
    """Part of the whole per metre of width at each offset [1/m]: straight between the pans, zero at the true edges."""
    if not at:
        return {}
    parts = sorted(set(at))
    height = chance.gamma(4.0, 0.25, len(parts))
    x = np.array([-discharge_m / 2, *(part * recorded_m for part in parts), discharge_m / 2])
    assert (np.diff(x) > 0).all(), "a pan lies outside the true discharge"
    whole = float(np.trapezoid([0.0, *height, 0.0], x))
    return {part: float(h) / whole for part, h in zip(parts, height, strict=True)}


def _written(taking: Taking, kit: Kit, seeds: int, seed_g: float, ground: Ground) -> dict[str, Any]:
    row: dict[str, Any] = {"place": taking.place}
    if isinstance(taking.pan, tuple):
        row |= {"width": str(taking.pan[0]), "length": str(taking.pan[1])}
    elif taking.pan is not None:
        row["pan"] = str(taking.pan)
    if taking.length is not None:
        row["length"] = str(taking.length)
    if taking.at is not None:
        offset = Decimal(repr(float(taking.at * ground.discharge.value))).quantize(Decimal("0.001"))
        row["offset"] = f"{offset.normalize():f} {ground.discharge.unit}"
    if taking.subsample:
        row["subsample"] = taking.subsample
    if taking.way == "counted":
        return row | {"amount": f"{seeds} seeds"}
    # Seed as it lies is wetter or drier than at market moisture; whole seeds keep their dry matter.
    wet = (100.0 - ground.market_moisture_pct) / (100.0 - ground.grain_moisture_pct)
    grams = seeds * seed_g * wet
    step, unit = Decimal(taking.step.split()[0]), taking.step.split()[1]
    exact = grams / GRAMS[unit] if taking.way == "weighed" else grams / (ground.crop.test_weight_kg_hl / 100.0)
    shown = _nearest(exact, step)
    if kit.pot and taking.way == "weighed":
        tare = Decimal(kit.pot.split()[0])
        row |= {"gross": f"{tare + shown} {unit}", "tare": f"{tare} {unit}"}
    else:
        row["amount"] = f"{shown} {unit}"
    return row | {"step": taking.step}


def _nearest(exact: float, step: Decimal) -> Decimal:
    """The nearest whole number of steps, as many digits as the step has."""
    return (Decimal(repr(float(exact))) / step).quantize(Decimal(1), ROUND_HALF_UP) * step


def _fraction(text: str) -> float:
    if not text:
        return 1.0
    above, _, below = text.partition("/")
    return float(above) / float(below)
