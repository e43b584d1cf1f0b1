"""What is a record of a field log, once read, whatever file it came from?

One table: a float64 array per column, NaN where nothing was recorded, and a number of the part each record belongs to.
A part is one unbroken log of one machine in one field. Columns carry their unit in the name; what was worked out and
not read is named in ``derived`` with how. Nothing is filled in for the reader's comfort.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from types import MappingProxyType
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray

from chaffinch.errors import InputError

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]
Clock = Literal["utc", "machine", "elapsed", "none"]

KG_S_TO_T_H: Final = 3.6
"""One kg/s in t/h [exact]."""
M2_PER_HA: Final = 10_000.0
"""Square metres in a hectare [exact]."""


@dataclass(frozen=True, slots=True)
class Column:
    """What a column holds.

    Parameters
    ----------
    unit : str
        As it stands in the name; empty for a mark or a number without one.
    low, high : float
        No record of a combine lies outside: values beyond are an error of the file, not of the crop. Own figures,
        wide on purpose; the cleaning has the narrow ones.
    meaning : str
        In words.
    """

    unit: str
    low: float
    high: float
    meaning: str


COLUMNS: Final[Mapping[str, Column]] = MappingProxyType(
    {
        "time_s": Column("s", -1e10, 1e11, "time: see the clock of the part"),
        "lon_deg": Column("deg", -180.0, 180.0, "longitude, WGS 84"),
        "lat_deg": Column("deg", -90.0, 90.0, "latitude, WGS 84"),
        "elevation_m": Column("m", -500.0, 9000.0, "height"),
        "heading_deg": Column("deg", -360.0, 360.0, "heading, clockwise from north"),
        "gnss_status": Column("", 0.0, 15.0, "kind of position fix, ISO 11783-10 PTN D: 15 not told"),
        "speed_kmh": Column("km/h", 0.0, 100.0, "ground speed"),
        "width_m": Column("m", 0.0, 60.0, "width in work"),
        "distance_m": Column("m", 0.0, 10_000.0, "way the record stands for"),
        "interval_s": Column("s", 0.0, 86_400.0, "time the record stands for"),
        "flow_kg_s": Column("kg/s", 0.0, 500.0, "grain flow, as harvested"),
        "moisture_pct": Column("%", 0.0, 100.0, "grain moisture"),
        "yield_t_ha": Column("t/ha", 0.0, 1000.0, "yield, as harvested"),
        "volume_flow_l_s": Column("l/s", 0.0, 1000.0, "grain flow by volume, where no mass was recorded (DDI 86)"),
        "volume_yield_l_ha": Column("l/ha", 0.0, 1e6, "yield by volume, where no mass was recorded (DDI 83)"),
        "density_kg_l": Column("kg/l", 0.0, 3.0, "mass of a volume of grain (DDI 121)"),
        "in_work": Column("", 0.0, 1.0, "1 cutting, 0 not"),
        "section": Column("", 0.0, 1e6, "number of the section"),
        "total_kg": Column("kg", 0.0, 1e10, "counter of grain"),
        "total_area_m2": Column("m2", 0.0, 1e10, "counter of area"),
        "loss_ml_m2": Column("ml/m2", 0.0, 1e5, "crop loss by the machine's own sensor, volume per area (DDI 92)"),
        "loss_kg_ha": Column("kg/ha", 0.0, 1e6, "the same, mass per area (DDI 93)"),
        "loss_seeds_m2": Column("1/m2", 0.0, 1e6, "the same, count per area (DDI 94)"),
        "loss_ml_s": Column("ml/s", 0.0, 1e6, "the same, volume per time (DDI 95)"),
        "loss_g_s": Column("g/s", 0.0, 1e6, "the same, mass per time (DDI 96)"),
        "loss_seeds_s": Column("1/s", 0.0, 1e7, "the same, count per time (DDI 97)"),
        "loss_share_pct": Column("%", 0.0, 100.0, "the same, share of the crop (DDI 98)"),
    }
)
"""Every column a reader may fill."""

LOSS_READINGS: Final = tuple(name for name in COLUMNS if name.startswith("loss_"))
LONGEST_SENSOR: Final = 40
"""Longest name of a loss sensor in a column [characters]; own figure."""


def sensor_column(reading: str, sensor: str) -> str:
    """The column of one of several loss sensors: ``loss_g_s`` of a "Left sieve" is ``loss_left_sieve_g_s``.

    The unit stays at the end; a name without a letter or digit gives ``reading`` itself.
    """
    plain = re.sub(r"[\W_]+", "_", sensor.casefold()).strip("_")[:LONGEST_SENSOR].strip("_")
    return f"loss_{plain}_{reading.removeprefix('loss_')}" if plain else reading


def loss_reading(column: str) -> tuple[str, str] | None:
    """Which loss reading a column holds, and of which sensor: ("loss_g_s", "left_sieve"); "" for the only one.

    None for a column that holds none.
    """
    if column in LOSS_READINGS:
        return column, ""
    for reading in LOSS_READINGS:
        sensor = column.removeprefix("loss_").removesuffix(f"_{reading.removeprefix('loss_')}")
        if sensor and sensor_column(reading, sensor) == column:
            return reading, sensor
    return None


def known_column(name: str) -> Column | None:
    """What a column holds, that of one of several loss sensors too; None for one that is none."""
    reading = loss_reading(name)
    return COLUMNS.get(name if reading is None else reading[0])


def in_order(names: Iterable[str]) -> list[str]:
    """Names of columns in the order of ``COLUMNS``, those of several loss sensors last."""
    mine = set(names)
    return [name for name in COLUMNS if name in mine] + sorted(mine - set(COLUMNS))


@dataclass(frozen=True, slots=True)
class Part:
    """One unbroken log of one machine in one field.

    Parameters
    ----------
    name : str
        Of the log inside its file: ``"TLG00001"``, ``"part 2"``; the file's name where there is but one.
    field, machine : str
        As the file calls them; empty where it does not.
    clock : {"utc", "machine", "elapsed", "none"}
        What ``time_s`` counts: seconds since 1970-01-01 in UTC; the same by the machine's own clock, zone not told;
        seconds since some start; nothing.
    total_kg, total_area_m2 : float
        Totals the task itself states; NaN where it does not.
    """

    name: str
    field: str = ""
    machine: str = ""
    clock: Clock = "none"
    total_kg: float = float("nan")
    total_area_m2: float = float("nan")


@dataclass(frozen=True, slots=True)
class Problem:
    """Something a reader met that is told, not hidden.

    Parameters
    ----------
    kind : str
        Short name; the sentence stands in ``book/fieldlogs/said.py``.
    where : str
        File or part.
    count : int
        How many records, values or bytes.
    detail : str
        A name or figure that belongs to it; may be empty.
    """

    kind: str
    where: str
    count: int = 0
    detail: str = ""


@dataclass(frozen=True, slots=True)
class Question:
    """Something the file leaves open, to be answered by a person.

    Parameters
    ----------
    what : str
        Which answer is wanted: ``"zone"``, ``"crs"``, or a column's header.
    why : str
        Short name of the reason; the sentence stands in ``book/fieldlogs/said.py``.
    choices : tuple of str
        What fits, if a choice can be listed; empty where anything may be written.
    """

    what: str
    why: str
    choices: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Rows:
    """Records of one or several parts.

    Parameters
    ----------
    columns : mapping of str to array
        Of ``COLUMNS``, float64, shape (n,), NaN where missing. A column nobody recorded is absent. Where several loss
        sensors report one reading each has its own, see :func:`sensor_column`.
    part : int array, shape (n,)
        Position in ``parts``; records of a part stand together, in the order they were recorded.
    parts : tuple of Part
    derived : mapping of str to str
        Columns worked out and not read, with how.
    """

    columns: Mapping[str, FloatArray]
    part: IntArray
    parts: tuple[Part, ...]
    derived: Mapping[str, str] = field(default_factory=dict)

    def __post_init__(self) -> None:
        for name, values in self.columns.items():
            if known_column(name) is None:
                raise InputError("column", name, "is no column of a field log", f"use {', '.join(COLUMNS)}")
            if values.shape != self.part.shape or values.dtype != np.float64:
                raise InputError(f"column {name}", values.shape, "has another length than the parts", "give one array")
        if self.part.size and not 0 <= int(self.part.min()) <= int(self.part.max()) < len(self.parts):
            raise InputError("part", int(self.part.max()), "is not among the parts", "number them from 0")

    def __len__(self) -> int:
        return int(self.part.size)

    def __contains__(self, name: str) -> bool:
        return name in self.columns

    def column(self, name: str) -> FloatArray:
        """One column; all NaN where nobody recorded it. Not to be written to."""
        if known_column(name) is None:
            raise InputError("column", name, "is no column of a field log", f"use {', '.join(COLUMNS)}")
        found = self.columns.get(name)
        return np.full(len(self), np.nan) if found is None else found

    def with_columns(self, new: Mapping[str, FloatArray], derived: Mapping[str, str] | None = None) -> Rows:
        """The rows with columns added or replaced, and how they came about."""
        return replace(self, columns={**self.columns, **new}, derived={**self.derived, **(derived or {})})

    def where(self, keep: BoolArray | IntArray | slice) -> Rows:
        """Some of the records, in order; the parts stay numbered as they are."""
        return replace(self, columns={k: v[keep] for k, v in self.columns.items()}, part=self.part[keep])

    def part_slices(self) -> list[tuple[int, slice]]:
        """Where the records of each part stand: (part, slice), in order of the file."""
        if not len(self):
            return []
        starts = np.flatnonzero(np.r_[True, self.part[1:] != self.part[:-1]])
        ends = np.r_[starts[1:], len(self)]
        return [(int(self.part[a]), slice(int(a), int(b))) for a, b in zip(starts, ends, strict=True)]

    def by_field(self) -> dict[str, Rows]:
        """The records of each field apart."""
        names = sorted({part.field for part in self.parts})
        if len(names) == 1:
            return {names[0]: self}
        number = np.array([names.index(part.field) for part in self.parts])
        at = number[self.part] if len(self) else self.part
        return {name: self.where(at == i) for i, name in enumerate(names) if (at == i).any()}

    def throughput_t_h(self) -> FloatArray:
        """Grain through the machine [t/h]: the flow, or speed × width × yield where no flow is known."""
        flow = self.column("flow_kg_s") * KG_S_TO_T_H
        by_yield = self.column("speed_kmh") * self.column("width_m") * self.column("yield_t_ha") / 10.0
        return np.where(np.isnan(flow), by_yield, flow)

    def area_m2(self) -> FloatArray:
        """Area of each record [m²]: width × distance, overlaps counted twice."""
        return self.column("width_m") * self.column("distance_m")


def joined(tables: Sequence[Rows]) -> Rows:
    """Several tables as one, their parts one after another; a column some of them lack is NaN there.

    Raises
    ------
    InputError
        When there is none.
    """
    if not tables:
        raise InputError("rows", 0, "there is no table to join", "read at least one log")
    if len(tables) == 1:
        return tables[0]
    names = in_order({name for table in tables for name in table.columns})
    columns = {name: np.concatenate([table.column(name) for table in tables]) for name in names}
    steps = np.cumsum([0, *(len(table.parts) for table in tables)])
    part = np.concatenate([table.part + start for table, start in zip(tables, steps, strict=False)])
    derived = {name: how for table in tables for name, how in table.derived.items()}
    return Rows(columns, part, tuple(p for table in tables for p in table.parts), derived)


def out_of_range(columns: Mapping[str, FloatArray]) -> tuple[dict[str, FloatArray], dict[str, int]]:
    """Columns with what no record can hold taken as missing, and how many that was in each."""
    kept, counts = {}, {}
    for name, values in columns.items():
        known = known_column(name)
        if known is None:
            raise InputError("column", name, "is no column of a field log", f"use {', '.join(COLUMNS)}")
        with np.errstate(invalid="ignore"):
            bad = (values < known.low) | (values > known.high)
        count = int(bad.sum())
        kept[name] = np.where(bad, np.nan, values) if count else values
        if count:
            counts[name] = count
    return kept, counts
