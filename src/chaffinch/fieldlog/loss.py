"""What did the whole field lose, record by record, and what would another pace have brought?

Machine loss follows the load, header loss the speed. The records are put into narrow bins of load and of speed, and a
bin counts with the area it stands for; a draw of the curves then costs as much as there are bins, however many records
there are. Rows of the draws are worlds, the same in every sum, so that differences keep what they share.

    lost [kg] = Σ over load bins area · λ_machine(load) + Σ over speed bins area · λ_header(speed)

Records that do not count are taken to have lost like those that do, per area; the share they make is told.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from chaffinch.engine.estimate import Range
from chaffinch.fieldlog.clean import Cleaned, Flag
from chaffinch.fieldlog.plane import M_PER_DEG, to_plane
from chaffinch.fieldlog.rows import KG_S_TO_T_H, BoolArray, FloatArray, IntArray

BIN_LN: Final = 0.02
"""Width of a bin in ln(load) [1]: the curve bends by far less within 2 %; own figure."""
LOWEST: Final = 1e-3
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
    with np.errstate(invalid="ignore"):
        good = (values > LOWEST) & (area_ha > 0)
    of_record = np.full(values.size, -1, np.int64)
    if not good.any():
        return Bins(np.zeros(0), np.zeros(0), of_record)
    place = np.floor(np.log(values[good] / LOWEST) / BIN_LN).astype(np.int64)
    first = int(place.min())
    area: FloatArray = np.bincount(place - first, area_ha[good]).astype(np.float64)
    total: FloatArray = np.bincount(place - first, area_ha[good] * values[good]).astype(np.float64)
    kept = area > 0
    number = np.cumsum(kept) - 1
    of_record[good] = number[place - first]
    return Bins(total[kept] / area[kept], area[kept], of_record)


@dataclass(frozen=True, slots=True)
class Usage:
    """What the records say of how the field was cut.

    Parameters
    ----------
    load_t_h, speed_kmh, area_ha : array, shape (n,)
        Of records that count; NaN elsewhere. Area without what was cut before.
    cut_area_ha : array, shape (n,)
        Of every record that cut, counting or not; 0 elsewhere.
    hours, way_km : float
        Time the machine cut [h], and the way it went in that time [km].
    waiting_hours : float
        Time logged and not spent cutting: turns, waiting, header up [h].
    """

    load_t_h: FloatArray
    speed_kmh: FloatArray
    area_ha: FloatArray
    cut_area_ha: FloatArray
    hours: float
    way_km: float
    waiting_hours: float = 0.0

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
    hours = float(np.nansum(lasted[cutting])) / HOUR_S
    # A record without a speed went as fast as the others.
    told = cutting & ~np.isnan(lasted) & ~np.isnan(speed)
    told_hours = float(lasted[told].sum()) / HOUR_S
    way_km = float(lasted[told] @ speed[told]) / HOUR_S * (hours / told_hours if told_hours > 0 else 0.0)
    return Usage(
        np.where(good, load, np.nan),
        np.where(good, speed, np.nan),
        np.where(good, area, np.nan),
        np.where(cutting, area, 0.0),
        hours,
        way_km,
        float(np.nansum(lasted[~cutting])) / HOUR_S,
    )


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
    mean_kg_ha : array, shape (records,)
        Mean over the draws at each record's load and speed; NaN where it does not count.
    by_load, by_speed : tuple of (Bins, array of shape (n, m)), or None
        Draws of machine and of header loss at the bins [kg/ha]; None where nothing counts.
    """

    machine_kg: FloatArray
    header_kg: FloatArray
    cut_ha: float
    known_ha: float
    beyond_share: float
    mean_kg_ha: FloatArray
    by_load: tuple[Bins, FloatArray] | None = None
    by_speed: tuple[Bins, FloatArray] | None = None

    @property
    def total_kg(self) -> FloatArray:
        """Draws of both together [kg]."""
        total: FloatArray = self.machine_kg + self.header_kg
        return total


def whole_field(
    use: Usage,
    draws: LossDraws,
    *,
    over_speed: bool = False,
    tested: tuple[float, float] | None = None,
    most_kg_ha: float | None = None,
) -> FieldLoss:
    """Sum the loss over a field.

    Parameters
    ----------
    use : Usage
    draws : LossDraws
        Loads are in t/h, or speeds too where ``over_speed``.
    over_speed : bool
        Whether the machine curve stands over speed.
    tested : tuple of float, or None
        Least and most load the curve was tested at.
    most_kg_ha : float or None
        No draw counts for more: no more is lost than grew.
    """
    loads = binned(use.speed_kmh if over_speed else use.load_t_h, use.area_ha)
    speeds = binned(use.speed_kmh, use.area_ha)
    if not loads.middle.size or not speeds.middle.size:
        return FieldLoss(np.zeros(1), np.zeros(1), use.cut_ha, 0.0, float("nan"), np.full(use.area_ha.size, np.nan))
    machine, header = draws(loads.middle, speeds.middle)
    of_machine = _held(machine, most_kg_ha)
    of_header = np.zeros((len(machine), speeds.middle.size)) if header is None else _held(header, most_kg_ha)
    scale = use.cut_ha / max(float(loads.area_ha.sum()), 1e-12)
    per_speed = use.cut_ha / max(float(speeds.area_ha.sum()), 1e-12)
    mean = np.full(loads.of_record.size, np.nan)
    there = (loads.of_record >= 0) & (speeds.of_record >= 0)
    if there.any():
        mean[there] = of_machine.mean(axis=0)[loads.of_record[there]]
        mean[there] += of_header.mean(axis=0)[speeds.of_record[there]]
    beyond = float("nan")
    if tested is not None and loads.area_ha.size:
        far = (loads.middle < 0.9 * tested[0]) | (loads.middle > 1.1 * tested[1])
        beyond = float(loads.area_ha[far].sum() / loads.area_ha.sum())
    return FieldLoss(
        scale * (of_machine @ loads.area_ha),
        per_speed * (of_header @ speeds.area_ha),
        use.cut_ha,
        float(loads.area_ha.sum()),
        beyond,
        mean,
        (loads, of_machine),
        (speeds, of_header),
    )


def at_pace(use: Usage, cleaned: Cleaned, speed_kmh: float) -> Usage:
    """The same field cut at one speed: loads follow speed × width × yield, area and way stay, time follows the way."""
    known = ~np.isnan(use.area_ha)
    load = np.where(known, speed_kmh * cleaned.rows.column("width_m") * cleaned.yield_t_ha / KM_M_PER_HA, np.nan)
    return replace(
        use, load_t_h=load, speed_kmh=np.where(known, speed_kmh, np.nan), hours=use.way_km / float(speed_kmh)
    )


def of_groups(use: Usage, loss: FieldLoss, group: IntArray, groups: int) -> list[tuple[float, float, FloatArray]]:
    """What parts of a field lost, like its zones.

    Parameters
    ----------
    use, loss
        From :func:`usage` and :func:`whole_field`.
    group : int array, shape (records,)
        Part of each record, from 0; -1 for one in none.
    groups : int
        How many parts there are.

    Returns
    -------
    list of (cut_ha, known_ha, draws of shape (n,))
        Area cut, the part of it whose records count, and draws of the loss [kg]: as for the whole field, records that
        do not count are taken to have lost like those of the same part that do. Draws are NaN where none counts.
    """
    inside = group >= 0
    cut = np.bincount(group[inside], use.cut_area_ha[inside], groups)
    known = np.zeros(groups)
    draws = np.zeros((groups, loss.machine_kg.size))
    for one in (loss.by_load, loss.by_speed):
        if one is None:
            draws[:] = np.nan
            break
        bins, at = one
        there = inside & (bins.of_record >= 0)
        size = bins.area_ha.size
        area = np.bincount(group[there] * size + bins.of_record[there], use.area_ha[there], groups * size)
        area = area.reshape(groups, size)
        known = area.sum(axis=1)
        with np.errstate(invalid="ignore", divide="ignore"):
            draws += np.where(known > 0, cut / known, np.nan)[:, None] * (area @ at.T)
    return [(float(cut[k]), float(known[k]), draws[k]) for k in range(groups)]


@dataclass(frozen=True, slots=True)
class ClassLoss:
    """Loss of one class of records.

    Parameters
    ----------
    low : float
        Where the class begins: speed [km/h], or hour in UTC seconds.
    area_ha : float
    kg_ha : float
        Mean over the draws.
    """

    low: float
    area_ha: float
    kg_ha: float


def by_class(use: Usage, loss: FieldLoss, values: FloatArray, width: float) -> tuple[ClassLoss, ...]:
    """Area and mean loss of classes ``width`` wide of any quantity of the records, those with area only."""
    good = ~np.isnan(loss.mean_kg_ha) & ~np.isnan(values)
    if not good.any():
        return ()
    place = np.floor(values[good] / width).astype(np.int64)
    first = int(place.min())
    area = np.bincount(place - first, use.area_ha[good])
    lost = np.bincount(place - first, use.area_ha[good] * loss.mean_kg_ha[good])
    return tuple(
        ClassLoss((first + k) * width, float(area[k]), float(lost[k] / area[k])) for k in np.flatnonzero(area).tolist()
    )


@dataclass(frozen=True, slots=True)
class Cell:
    """A square of the map: its corners in degrees (west, south, east, north), area cut [ha] and mean loss [kg/ha]."""

    box: tuple[float, float, float, float]
    area_ha: float
    kg_ha: float


def cells(cleaned: Cleaned, use: Usage, loss: FieldLoss, side_m: float) -> list[Cell]:
    """The map: squares of ``side_m`` with what was lost in them."""
    lon, lat = cleaned.rows.column("lon_deg"), cleaned.rows.column("lat_deg")
    good: BoolArray = ~np.isnan(loss.mean_kg_ha) & ~np.isnan(lon) & ~np.isnan(lat)
    if not good.any():
        return []
    x, y = to_plane(lon[good], lat[good])
    column, row = np.floor(x / side_m).astype(np.int64), np.floor(y / side_m).astype(np.int64)
    wide = int(column.max() - column.min()) + 1
    names, member = np.unique((row - row.min()) * wide + column - column.min(), return_inverse=True)
    area = np.bincount(member, use.area_ha[good])
    lost = np.bincount(member, use.area_ha[good] * loss.mean_kg_ha[good])
    # Metres back to degrees, by the middle the plane was laid around.
    lon0, lat0 = float(np.median(lon[good])), float(np.median(lat[good]))
    one_x, one_y = 1.0 / (M_PER_DEG * float(np.cos(np.radians(lat0)))), 1.0 / M_PER_DEG
    found = []
    for k, name in enumerate(names.tolist()):
        west = (name % wide + int(column.min())) * side_m
        south = (name // wide + int(row.min())) * side_m
        box = (
            lon0 + west * one_x,
            lat0 + south * one_y,
            lon0 + (west + side_m) * one_x,
            lat0 + (south + side_m) * one_y,
        )
        found.append(Cell(box, float(area[k]), float(lost[k] / area[k])))
    return found


def interval_of(draws: FloatArray) -> Range:
    """5, 50 and 95 % points of draws of equal weight."""
    low, middle, high = np.quantile(draws, [ENDS[0], 0.5, ENDS[1]])
    return Range(float(low), float(middle), float(high))


def _held(draws: FloatArray, most_kg_ha: float | None) -> FloatArray:
    return draws if most_kg_ha is None else np.minimum(draws, most_kg_ha)
