"""What did the whole field lose, record by record, and what would another pace have brought?

Machine loss follows the load, header loss the speed. The records are put into narrow bins of load and of speed, and a
bin counts with the area it stands for; a draw of the curves then costs as much as there are bins, however many records
there are. Rows of the draws are worlds, the same in every sum, so that differences keep what they share.

    lost [kg] = Σ over load bins area · λ_machine(load) + Σ over speed bins area · λ_header(speed)

Bins of several pieces of a log add up, so that a log need not be held as a whole (:class:`Tally`).

Records that do not count are taken to have lost like those that do, per area; the share they make is told.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import Final

import numpy as np

from chaffinch.engine.estimate import Range
from chaffinch.fieldlog.cleaning.clean import Cleaned, Flag
from chaffinch.fieldlog.rows import KG_S_TO_T_H, BoolArray, FloatArray, IntArray

BIN_LN: Final = 0.02
"""Width of a bin in ln(load) [1]: the curve bends by far less within 2 %; own figure."""
LOWEST: Final = 1e-3
PLACES: Final = 1600
"""Bins there can be [1]: from ``LOWEST`` up to 8e10."""
HOUR_S: Final = 3600.0
KM_M_PER_HA: Final = 10.0
"""Hectares times this are kilometres times metres [exact]."""
ENDS: Final = (0.05, 0.95)

LossDraws = Callable[[FloatArray, FloatArray], tuple[FloatArray, FloatArray | None]]
"""Loads, shape (m,), and speeds [km/h], shape (k,), to draws of mean machine loss [kg/ha], shape (n, m), and of header
loss, shape (n, k), or None where it was not measured. Row i of both is one world; all weigh the same."""


@dataclass(frozen=True, slots=True)
class Bins:
    """Records in narrow bins of one quantity.

    Parameters
    ----------
    middle : array, shape (m,)
        Area-weighted mean of each bin.
    area_ha : array, shape (m,)
    of_record : int array, shape (n,)
        Bin of each record; -1 for one that has none.
    """

    middle: FloatArray
    area_ha: FloatArray
    of_record: IntArray


def binned(values: FloatArray, area_ha: FloatArray) -> Bins:
    """Put records into bins of 2 %; those without a value above 0 or an area have none."""
    good, place = bin_places(values, area_ha)
    of_record = np.full(values.size, -1, np.int64)
    if not good.any():
        return Bins(np.zeros(0), np.zeros(0), of_record)
    first = int(place.min())
    area: FloatArray = np.bincount(place - first, area_ha[good]).astype(np.float64)
    total: FloatArray = np.bincount(place - first, area_ha[good] * values[good]).astype(np.float64)
    kept = area > 0
    number = np.cumsum(kept) - 1
    of_record[good] = number[place - first]
    return Bins(total[kept] / area[kept], area[kept], of_record)


def bin_places(values: FloatArray, area_ha: FloatArray) -> tuple[BoolArray, IntArray]:
    """Records with a value above 0 and an area, and the bin each of them lies in, from 0 at ``LOWEST``."""
    with np.errstate(invalid="ignore"):
        good: BoolArray = (values > LOWEST) & (area_ha > 0)
    place = np.floor(np.log(values[good] / LOWEST) / BIN_LN).astype(np.int64)
    return good, np.minimum(place, PLACES - 1)


@dataclass(frozen=True, slots=True)
class Usage:
    """What the records say of how the field was cut.

    Parameters
    ----------
    load_t_h, speed_kmh, area_ha : array, shape (n,)
        Of records that count; NaN elsewhere. Area without what was cut before.
    cut_area_ha : array, shape (n,)
        Of every record that cut, counting or not; 0 elsewhere.
    hours : float
        Time the machine cut [h].
    told_hours, told_km : float
        That of records that tell a speed [h], and the way it went in that time [km].
    waiting_hours : float
        Time logged and not spent cutting: turns, waiting, header up [h].
    """

    load_t_h: FloatArray
    speed_kmh: FloatArray
    area_ha: FloatArray
    cut_area_ha: FloatArray
    hours: float
    told_hours: float
    told_km: float
    waiting_hours: float = 0.0

    @property
    def way_km(self) -> float:
        """Way the machine went while it cut [km]: a record without a speed went as fast as the others."""
        return _way_km(self.told_km, self.hours, self.told_hours)

    @property
    def cut_ha(self) -> float:
        """All that was cut, with the records that do not count."""
        return float(self.cut_area_ha.sum())

    @property
    def width_m(self) -> float:
        """Width really cut, overlaps taken off: area over way [m]; NaN where nothing was cut."""
        return KM_M_PER_HA * self.cut_ha / self.way_km if self.way_km > 0 else float("nan")

    @property
    def known_ha(self) -> float:
        """Area of the records that count."""
        return float(np.nansum(self.area_ha))


def _way_km(told_km: float, hours: float, told_hours: float) -> float:
    return told_km * (hours / told_hours if told_hours > 0 else 0.0)


def usage(cleaned: Cleaned) -> Usage:
    """Load, speed and area of the records that count; turns and waiting are no cutting."""
    rows = cleaned.rows
    area = rows.area_m2() * (1.0 - np.nan_to_num(cleaned.overlap_share)) / 10_000.0
    idle = (cleaned.flags & (Flag.STATUS | Flag.TURN)) != 0
    with np.errstate(invalid="ignore"):
        cutting = ~idle & (area > 0) & ~(cleaned.flow_kg_s <= 0)
    good = cleaned.counts & cutting
    load = KG_S_TO_T_H * cleaned.flow_kg_s
    by_yield = rows.column("speed_kmh") * rows.column("width_m") * cleaned.yield_t_ha / 10.0
    load = np.where(np.isnan(load), by_yield, load)
    lasted, speed = rows.column("interval_s"), rows.column("speed_kmh")
    told = cutting & ~np.isnan(lasted) & ~np.isnan(speed)
    return Usage(
        np.where(good, load, np.nan),
        np.where(good, speed, np.nan),
        np.where(good, area, np.nan),
        np.where(cutting, area, 0.0),
        float(np.nansum(lasted[cutting])) / HOUR_S,
        float(lasted[told].sum()) / HOUR_S,
        float(lasted[told] @ speed[told]) / HOUR_S,
        float(np.nansum(lasted[~cutting])) / HOUR_S,
    )


@dataclass(slots=True)
class BinSums:
    """Area in each of all bins [ha], and area times value: sums over any number of pieces."""

    area_ha: FloatArray = field(default_factory=lambda: np.zeros(PLACES))
    weighed: FloatArray = field(default_factory=lambda: np.zeros(PLACES))

    def add(self, values: FloatArray, area_ha: FloatArray) -> None:
        """Count records in."""
        good, place = bin_places(values, area_ha)
        self.area_ha += np.bincount(place, area_ha[good], PLACES)
        self.weighed += np.bincount(place, area_ha[good] * values[good], PLACES)


@dataclass(slots=True)
class Tally:
    """What the pieces of a log add up to, of one machine: all that its loss is summed from.

    Parameters
    ----------
    loads, speeds : BinSums
        Of the records that count, by load [t/h] and by speed [km/h].
    cut_ha, known_ha, hours, told_hours, told_km, waiting_hours : float
        Sums of what :class:`Usage` says of each piece.
    """

    loads: BinSums = field(default_factory=BinSums)
    speeds: BinSums = field(default_factory=BinSums)
    cut_ha: float = 0.0
    known_ha: float = 0.0
    hours: float = 0.0
    told_hours: float = 0.0
    told_km: float = 0.0
    waiting_hours: float = 0.0

    def add(self, use: Usage) -> None:
        """Count a piece in."""
        self.loads.add(use.load_t_h, use.area_ha)
        self.speeds.add(use.speed_kmh, use.area_ha)
        self.cut_ha += use.cut_ha
        self.known_ha += use.known_ha
        self.hours += use.hours
        self.told_hours += use.told_hours
        self.told_km += use.told_km
        self.waiting_hours += use.waiting_hours

    @property
    def way_km(self) -> float:
        """As :attr:`Usage.way_km`."""
        return _way_km(self.told_km, self.hours, self.told_hours)

    @property
    def width_m(self) -> float:
        """As :attr:`Usage.width_m`."""
        return KM_M_PER_HA * self.cut_ha / self.way_km if self.way_km > 0 else float("nan")


@dataclass(frozen=True, slots=True)
class BinLoss:
    """Draws of a loss at the bins that hold records.

    Parameters
    ----------
    place : int array, shape (m,)
        Which of all bins.
    middle, area_ha : array, shape (m,)
        Area-weighted mean, and area.
    kg_ha : array, shape (n, m)
        Rows are worlds.
    """

    place: IntArray
    middle: FloatArray
    area_ha: FloatArray
    kg_ha: FloatArray

    def mean_by_place(self) -> FloatArray:
        """Mean over the draws of each of all bins [kg/ha]; NaN where no record lies."""
        found = np.full(PLACES, np.nan)
        found[self.place] = self.kg_ha.mean(axis=0)
        return found


@dataclass(frozen=True, slots=True)
class FieldLoss:
    """What a field lost, in draws.

    Parameters
    ----------
    machine_kg, header_kg : array, shape (n,)
        Draws of the whole field's loss [kg]; header all 0 where it was not measured.
    cut_ha, known_ha : float
        Area the sums stand for, and the part of it whose records count.
    beyond_share : float
        Share of that area at loads more than a tenth beyond those tested [0-1]; NaN without a test.
    by_load, by_speed : BinLoss or None
        Machine and header loss; None where nothing counts.
    over_speed : bool
        Whether machine loss stands over speed too.
    """

    machine_kg: FloatArray
    header_kg: FloatArray
    cut_ha: float
    known_ha: float
    beyond_share: float
    by_load: BinLoss | None = None
    by_speed: BinLoss | None = None
    over_speed: bool = False

    @property
    def total_kg(self) -> FloatArray:
        """Draws of both together [kg]."""
        total: FloatArray = self.machine_kg + self.header_kg
        return total

    def mean_of(self, use: Usage) -> FloatArray:
        """Mean over the draws at each record's load and speed [kg/ha], shape (records,); NaN where it does not count.

        The records must be among those the loss was summed from.
        """
        mean = np.zeros(use.area_ha.size)
        for bins, values in ((self.by_load, self.load_of(use)), (self.by_speed, use.speed_kmh)):
            one = np.full(mean.size, np.nan)
            if bins is not None:
                good, place = bin_places(values, use.area_ha)
                one[good] = bins.mean_by_place()[place]
            mean += one
        return mean

    def load_of(self, use: Usage) -> FloatArray:
        """What machine loss stands over."""
        return use.speed_kmh if self.over_speed else use.load_t_h


def field_loss(
    tally: Tally,
    draws: LossDraws,
    *,
    over_speed: bool = False,
    tested: tuple[float, float] | None = None,
    most_kg_ha: float | None = None,
) -> FieldLoss:
    """Sum the loss over all that was counted in.

    Parameters
    ----------
    tally : Tally
    draws : LossDraws
        Loads are in t/h, or speeds too where ``over_speed``.
    over_speed : bool
        Whether the machine curve stands over speed.
    tested : tuple of float, or None
        Least and most load the curve was tested at.
    most_kg_ha : float or None
        No draw counts for more: no more is lost than grew.
    """
    sums = (tally.speeds if over_speed else tally.loads, tally.speeds)
    (at_load, loads, load_ha), (at_speed, speeds, speed_ha) = (_filled(one) for one in sums)
    if not loads.size or not speeds.size:
        return FieldLoss(np.zeros(1), np.zeros(1), tally.cut_ha, 0.0, float("nan"))
    machine, header = draws(loads, speeds)
    of_machine = _held(machine, most_kg_ha)
    of_header = np.zeros((len(machine), speeds.size)) if header is None else _held(header, most_kg_ha)
    beyond = float("nan")
    if tested is not None:
        far = (loads < 0.9 * tested[0]) | (loads > 1.1 * tested[1])
        beyond = float(load_ha[far].sum() / load_ha.sum())
    return FieldLoss(
        tally.cut_ha / max(float(load_ha.sum()), 1e-12) * (of_machine @ load_ha),
        tally.cut_ha / max(float(speed_ha.sum()), 1e-12) * (of_header @ speed_ha),
        tally.cut_ha,
        float(load_ha.sum()),
        beyond,
        BinLoss(at_load, loads, load_ha, of_machine),
        BinLoss(at_speed, speeds, speed_ha, of_header),
        over_speed,
    )


def whole_field(
    use: Usage,
    draws: LossDraws,
    *,
    over_speed: bool = False,
    tested: tuple[float, float] | None = None,
    most_kg_ha: float | None = None,
) -> FieldLoss:
    """Sum the loss over a field held as a whole; parameters as in :func:`field_loss`."""
    tally = Tally()
    tally.add(use)
    return field_loss(tally, draws, over_speed=over_speed, tested=tested, most_kg_ha=most_kg_ha)


def at_pace(use: Usage, cleaned: Cleaned, speed_kmh: float) -> Usage:
    """The same field cut at one speed: loads follow speed × width × yield, area and way stay, time follows the way."""
    known = ~np.isnan(use.area_ha)
    load = np.where(known, speed_kmh * cleaned.rows.column("width_m") * cleaned.yield_t_ha / KM_M_PER_HA, np.nan)
    hours = use.way_km / float(speed_kmh)
    speed = np.where(known, speed_kmh, np.nan)
    return replace(use, load_t_h=load, speed_kmh=speed, hours=hours, told_hours=hours, told_km=use.way_km)


def interval_of(draws: FloatArray) -> Range:
    """5, 50 and 95 % points of draws of equal weight."""
    low, middle, high = np.quantile(draws, [ENDS[0], 0.5, ENDS[1]])
    return Range(float(low), float(middle), float(high))


def _held(draws: FloatArray, most_kg_ha: float | None) -> FloatArray:
    return draws if most_kg_ha is None else np.minimum(draws, most_kg_ha)


def _filled(sums: BinSums) -> tuple[IntArray, FloatArray, FloatArray]:
    """Bins that hold records: which, their means, their areas."""
    at = np.flatnonzero(sums.area_ha > 0)
    return at, sums.weighed[at] / sums.area_ha[at], sums.area_ha[at]
