"""Who farms at Larkhollow, with which machines, in which fields: as it is written down, and as it truly is.

Every name, person and figure is invented. Figures per crop that the program looks up in its own tables (TKW, test
weight, bushel, market moisture) are written out once more here; ``tests/test_demo_book.py`` compares the two.
"""

from __future__ import annotations

import zlib
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np

UNIT: Final = {"m": 1.0, "ft": 0.3048, "in": 0.0254, "m2": 1.0, "ft2": 0.3048**2, "ha": 1.0, "ac": 0.40468564224}
"""Metres, square metres or hectares in one unit (exact)."""
LB_KG: Final = 0.45359237
OZ_G: Final = 28.349523125
MILE_KM: Final = 1.609344

TKW_SD, DENSITY_SD, PAN_SD, YIELD_SD = 0.08, 0.04, 0.01, 0.12
"""Sd of the log by which true TKW, test weight and pan area differ from the table or label, and yields vary [1]."""
WIDTH_SD: Final = {"guessed": 0.08, "taped": 0.02}
SETTINGS: Final = {
    # name: (unit, scale over which the loss notices it, step a crew tries)
    "rotor speed": ("rpm", 100, 80),
    "concave clearance": ("mm", 6, 5),
    "fan speed": ("rpm", 90, 70),
    "upper sieve": ("mm", 3, 2),
    "lower sieve": ("mm", 3, 2),
}


def stream(seed: int, *names: object) -> np.random.Generator:
    """A source of chance of its own for each thing named, so that one more draw here moves nothing there."""
    return np.random.default_rng([seed, *(zlib.crc32(str(name).encode()) for name in names)])


@dataclass(frozen=True, slots=True)
class Written:
    """A length or area as somebody wrote it."""

    value: float
    unit: str

    @property
    def si(self) -> float:
        """In metres, square metres or hectares."""
        return self.value * UNIT[self.unit]

    def __str__(self) -> str:
        return f"{self.value:g} {self.unit}"


@dataclass(frozen=True, slots=True)
class Crop:
    """A crop: table figures, and where its losses usually lie."""

    tkw_g: float
    test_weight_kg_hl: float
    market_moisture_pct: float
    bushel_lb: float
    yield_kg_ha: float
    speed_kmh: float
    machine_share: float
    header_share: float
    header_beta: float
    standing_kg_ha: float
    standing_per_day: float
    price_per_t: float
    limit_bu_ac: float
    usual: tuple[int, int, int, int, int]
    """Settings the crew starts with, in the order of ``SETTINGS``."""

    @property
    def kg_ha_per_bu_ac(self) -> float:
        """kg/ha in one bu/ac."""
        return self.bushel_lb * LB_KG / UNIT["ac"]


CROPS: Final[Mapping[str, Crop]] = {
    "canola": Crop(3.4, 65, 10.0, 50, 2500, 6.5, 0.018, 0.009, -0.5, 6, 0.05, 640, 1.0, (600, 25, 700, 12, 6)),
    "wheat": Crop(34.4, 77, 14.5, 60, 4000, 6.0, 0.009, 0.0035, 0.2, 4, 0.02, 290, 1.0, (900, 14, 1000, 16, 9)),
    "barley": Crop(38.5, 64, 14.8, 48, 4200, 6.5, 0.011, 0.006, 0.1, 6, 0.04, 240, 1.0, (800, 16, 900, 17, 10)),
    "pea": Crop(204, 80, 16.0, 60, 2700, 5.5, 0.006, 0.030, 0.7, 6, 0.04, 360, 1.5, (450, 28, 950, 18, 12)),
    "lentil": Crop(33.0, 78, 14.0, 60, 1900, 5.5, 0.012, 0.025, 0.5, 10, 0.05, 620, 0.8, (480, 22, 800, 15, 8)),
}


@dataclass(frozen=True, slots=True)
class Machine:
    """A combine as the farm describes it. ``taped`` holds what a tape showed before the second harvest, if one did."""

    name: str
    driver: str
    cut: Written
    drop: Written
    spread: Written
    taped: tuple[Written, Written] | None
    header: str
    separation: str
    monitor: Literal["time", "area"] | None
    beta: float
    kappa: float
    note: str


MACHINES: Final = (
    Machine(
        "Old Bess",
        "Ines",
        Written(40, "ft"),
        Written(72, "in"),
        Written(30, "ft"),
        (Written(66, "in"), Written(28, "ft")),
        "draper",
        "walker",
        "time",
        1.6,
        0.9,
        "Walkers fill up when the straw is tough.",
    ),
    Machine(
        "Young Bess",
        "Tomas",
        Written(35, "ft"),
        Written(57, "in"),
        Written(32, "ft"),
        (Written(60, "in"), Written(34, "ft")),
        "draper",
        "rotor",
        "area",
        1.1,
        0.2,
        "Bar reads high in pods.",
    ),
    Machine(
        "Hired Hetty",
        "Jonna",
        Written(10.7, "m"),
        Written(1.6, "m"),
        Written(9, "m"),
        None,
        "auger",
        "hybrid",
        None,
        1.3,
        0.5,
        "Comes with its own driver; no monitor.",
    ),
)
CREW: Final = {"Ines": "Ines's phone", "Tomas": "Tomas's phone", "Jonna": "Jonna's tablet"}
SEASONS: Final = {"2025": ("2025-08-04", "2025-09-24"), "2026": ("2026-08-01", "2026-09-22")}


@dataclass(frozen=True, slots=True)
class FieldYear:
    """One field in one season: when it ripened and was cut (days after the first of August), and by whom."""

    name: str
    season: str
    area: Written
    crop: str
    ripe_day: int
    cut_day: int
    machines: tuple[int, int]
    windrowed: bool = False
    tried: str | None = None
    """The setting a trial was about."""

    @property
    def metric(self) -> bool:
        """Whether its papers are metric."""
        return self.area.unit == "ha"


_AREAS: Final = {
    "Long Hollow": Written(155, "ac"),
    "Stone Corner": Written(92, "ac"),
    "Kettle Field": Written(48, "ha"),
    "Heron Piece": Written(120, "ac"),
    "Upper Marl": Written(61, "ha"),
    "Windmill Side": Written(140, "ac"),
    "Saltgrass": Written(37, "ha"),
    "Far Common": Written(160, "ac"),
    "Owl Bottom": Written(55, "ha"),
}

_YEARS: Final = {
    "2025": (
        ("Heron Piece", "pea", 5, 8, (0, 1), False, None),
        ("Far Common", "barley", 9, 11, (1, 2), False, "fan speed"),
        ("Kettle Field", "barley", 10, 14, (2, 0), False, None),
        ("Upper Marl", "lentil", 13, 18, (0, 1), False, "concave clearance"),
        ("Saltgrass", "wheat", 17, 21, (1, 2), False, "rotor speed"),
        ("Long Hollow", "wheat", 18, 25, (0, 2), False, "upper sieve"),
        ("Stone Corner", "canola", 26, 32, (0, 1), False, "fan speed"),
        ("Windmill Side", "canola", 27, 35, (1, 0), False, "lower sieve"),
        ("Owl Bottom", "canola", 27, 39, (2, 1), False, None),
    ),
    "2026": (
        ("Stone Corner", "pea", 3, 6, (0, 1), False, "rotor speed"),
        ("Far Common", "pea", 4, 9, (1, 2), False, None),
        ("Upper Marl", "barley", 8, 12, (2, 0), False, "upper sieve"),
        ("Owl Bottom", "barley", 9, 15, (0, 1), False, "rotor speed"),
        ("Saltgrass", "lentil", 14, 19, (1, 2), False, "fan speed"),
        ("Kettle Field", "wheat", 17, 22, (2, 0), False, None),
        ("Windmill Side", "wheat", 18, 26, (0, 1), False, "concave clearance"),
        ("Long Hollow", "canola", 25, 30, (0, 1), False, "upper sieve"),
        ("Heron Piece", "canola", 24, 34, (1, 2), True, None),
    ),
}

FIELD_YEARS: Final = tuple(
    FieldYear(name, season, _AREAS[name], crop, ripe, cut, machines, windrowed, tried)
    for season, rows in _YEARS.items()
    for name, crop, ripe, cut, machines, windrowed, tried in rows
)
WINDROWER_WIDTH: Final = Written(30, "ft")


@dataclass(frozen=True, slots=True)
class TrueMachine:
    """A combine as it truly is [m]; its monitor follows ln λ = a + b ln r + noise."""

    cut_m: float
    drop_m: float
    spread_m: float
    monitor_a: float
    monitor_b: float
    monitor_noise: float


@dataclass(frozen=True, slots=True)
class TrueCrop:
    """A season's crop as it truly is: seed weight [g] and test weight [kg/hL]."""

    tkw_g: float
    test_weight_kg_hl: float


@dataclass(frozen=True, slots=True)
class TrueField:
    """What a field-year truly yielded and what its papers say [kg/ha]."""

    yield_kg_ha: float
    expected: str
    delivered: str


def true_machine(seed: int, machine: Machine) -> TrueMachine:
    """Draw the widths a tape would never quite find, and the monitor's own key."""
    chance = stream(seed, "machine", machine.name)
    near = machine.taped or (machine.drop, machine.spread)
    sd = WIDTH_SD["guessed" if machine.taped is None else "taped"]
    drop, spread = (width.si * float(np.exp(sd * chance.standard_normal())) for width in near)
    a = {"time": 6.4, "area": 2.0, None: 0.0}[machine.monitor] + 0.2 * chance.standard_normal()
    return TrueMachine(machine.cut.si, drop, spread, float(a), float(1 + 0.12 * chance.standard_normal()), 0.20)


def true_crop(seed: int, season: str, crop: str) -> TrueCrop:
    """Draw what this season's seed truly weighs."""
    chance, known = stream(seed, "crop", season, crop), CROPS[crop]
    off = chance.standard_normal(2)
    return TrueCrop(
        float(known.tkw_g * np.exp(TKW_SD * off[0])), float(known.test_weight_kg_hl * np.exp(DENSITY_SD * off[1]))
    )


def true_field(seed: int, year: FieldYear) -> TrueField:
    """Draw the harvested yield; expected and delivered as the papers have them, in bushels or tonnes."""
    chance, crop = stream(seed, "field", year.season, year.name), CROPS[year.crop]
    off = chance.standard_normal(3)
    harvested = float(crop.yield_kg_ha * np.exp(YIELD_SD * off[0]))
    expected, delivered = (harvested * float(np.exp(sd * z)) for sd, z in ((0.05, off[1]), (0.01, off[2])))
    if year.metric:
        return TrueField(harvested, f"{expected / 1000:.1f} t/ha", f"{delivered / 1000:.2f} t/ha")
    per = crop.kg_ha_per_bu_ac
    return TrueField(harvested, f"{expected / per:.0f} bu/ac", f"{delivered / per:.1f} bu/ac")


def price_text(year: FieldYear) -> str:
    """The price as the field's papers have it."""
    crop = CROPS[year.crop]
    return f"{crop.price_per_t} /t" if year.metric else f"{crop.price_per_t * crop.bushel_lb * LB_KG / 1000:.2f} /bu"


def limit_text(year: FieldYear) -> str:
    """The loss above which the farm would act."""
    crop = CROPS[year.crop]
    return (
        f"{round(crop.limit_bu_ac * crop.kg_ha_per_bu_ac, -1):.0f} kg/ha"
        if year.metric
        else f"{crop.limit_bu_ac} bu/ac"
    )


def recorded_widths(machine: Machine, season: str) -> tuple[Written, Written, bool]:
    """Drop and spread width as the farm had them in that season, and whether a tape had been there."""
    if machine.taped is not None and season == "2026":
        return (*machine.taped, True)
    return machine.drop, machine.spread, False
