"""Which records count? Each filter sets a bit and says how many it took; nothing is taken away.

The order is the one reviews agree on: status, position, delay, ends of passes, turns, speed, width, overlap, range, and
last what stands out among its neighbours, judged only on what the filters before it left.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from enum import IntFlag
from typing import Final

import numpy as np
from numpy.typing import NDArray

from chaffinch.fieldlog.cleaning.lag import Lag, flow_lag, shifted_flow
from chaffinch.fieldlog.cleaning.overlap import overlap_share
from chaffinch.fieldlog.cleaning.passes import Course, course
from chaffinch.fieldlog.groups import from_start, medians, run_starts, sliding_mean, spread_out
from chaffinch.fieldlog.rows import BoolArray, FloatArray, IntArray, Part, Rows
from chaffinch.fieldlog.settings import Settings, usual

MAD_TO_SD: Final = 1.4826
"""Median absolute deviation to the sd of a normal [1] (memory)."""
RANGES: Final = 2
"""How often the range of the yield is found [1] (vega-2019, printed)."""


class Flag(IntFlag):
    """Why a record does not count."""

    STATUS = 1
    POSITION = 2
    DELAY = 4
    PASS_END = 8
    TURN = 16
    SPEED = 32
    WIDTH = 64
    OVERLAP = 128
    RANGE = 256
    LOCAL = 512


@dataclass(frozen=True, slots=True)
class Taken:
    """What one filter flagged: how many records, and how many that no filter before it had."""

    flag: Flag
    count: int
    alone: int


@dataclass(frozen=True, slots=True)
class Cleaned:
    """Records with their flags.

    Parameters
    ----------
    rows : Rows
        As they came.
    flags : uint16 array, shape (n,)
        Sum of ``Flag``; 0 counts.
    flow_kg_s, yield_t_ha : array
        Of the grain cut at each record: the recorded ones shifted by the lag. Recorded ones stay in ``rows``.
    overlap_share : array
        Share of the swath that had been cut before [0-1]; NaN where nothing was cut.
    pass_no : int array
        Number of the pass in its field; -1 outside one.
    lags : mapping of str to Lag
        By machine.
    taken : tuple of Taken
        By filter, in their order.
    settings : Settings
    """

    rows: Rows
    flags: NDArray[np.uint16]
    flow_kg_s: FloatArray
    yield_t_ha: FloatArray
    overlap_share: FloatArray
    pass_no: IntArray
    lags: Mapping[str, Lag] = field(default_factory=dict)
    taken: tuple[Taken, ...] = ()
    settings: Settings = field(default_factory=usual)

    @property
    def counts(self) -> BoolArray:
        """Records no filter flagged."""
        counts: BoolArray = self.flags == 0
        return counts

    @property
    def records(self) -> int:
        """How many there are."""
        return self.flags.size

    @property
    def counting(self) -> int:
        """How many no filter flagged."""
        return int(self.counts.sum())

    @property
    def parts(self) -> tuple[Part, ...]:
        """Parts that hold records."""
        return tuple(self.rows.parts[int(number)] for number in np.flatnonzero(np.bincount(self.rows.part)))

    def pieces(self) -> Iterator[Cleaned]:
        """All records at once: a log held as a whole is one piece."""
        yield self

    @property
    def share_flagged(self) -> float:
        """Share of all records with a flag [0-1]; 0 without records."""
        return float((self.flags != 0).mean()) if self.flags.size else 0.0

    def too_much(self) -> tuple[Flag, ...]:
        """Filters that flagged more than ``warn_share`` of all records: their limit or the log is wrong."""
        most = self.settings.warn_share * max(self.flags.size, 1)
        return tuple(one.flag for one in self.taken if one.count > most)


def clean(rows: Rows, settings: Settings | None = None) -> Cleaned:
    """Flag records of one or several fields.

    Parameters
    ----------
    rows : Rows
        Completed, so that flow, yield, speed and distance are there where they follow from others.
    settings : Settings or None
        Limits; None for those of the reference.

    Returns
    -------
    Cleaned
        With as many records as came in, in the same order.
    """
    settings = settings or usual()
    n = len(rows)
    flags = np.zeros(n, np.uint16)
    flow, crop, overlap = np.full(n, np.nan), np.full(n, np.nan), np.full(n, np.nan)
    pass_no = np.full(n, -1, np.int64)
    lags: dict[str, Lag] = {}
    names = [part.field for part in rows.parts]
    of_part = np.array([sorted(set(names)).index(name) for name in names], np.int64)
    for number in range(len(set(names))):
        at = slice(None) if len(set(names)) == 1 else np.flatnonzero(of_part[rows.part] == number)
        one = _field(rows if isinstance(at, slice) else rows.where(at), settings)
        flags[at], flow[at], crop[at] = one.flags, one.flow_kg_s, one.yield_t_ha
        overlap[at], pass_no[at] = one.overlap_share, one.pass_no
        lags.update({name: lag for name, lag in one.lags.items() if lag.found or name not in lags})
    return Cleaned(rows, flags, flow, crop, overlap, pass_no, lags, taken(flags), settings)


def taken(flags: NDArray[np.uint16]) -> tuple[Taken, ...]:
    """What each filter took, in their order."""
    found, before = [], np.zeros(flags.size, np.bool_)
    for flag in Flag:
        mine = (flags & flag) != 0
        found.append(Taken(flag, int(mine.sum()), int((mine & ~before).sum())))
        before |= mine
    return tuple(found)


def _field(rows: Rows, settings: Settings) -> Cleaned:
    """All filters over one field."""
    way = course(rows, settings)
    n = len(rows)
    flags = np.zeros(n, np.uint16)

    def flag(kind: Flag, bad: BoolArray) -> None:
        flags[bad] |= np.uint16(kind)

    flag(Flag.STATUS, out_of_work(rows))
    flag(Flag.POSITION, way.jumped | np.isnan(way.x_m))
    slow, unsteady = speeds_off(rows, way, settings)
    cutting = (flags & (Flag.STATUS | Flag.POSITION)) == 0
    overlap = overlap_share(way, rows.column("width_m"), cutting, one_clock(rows))
    with np.errstate(invalid="ignore"):
        again = overlap > settings.overlap_share
    # A strip cut before yields little, whatever the delay: it would blur what opposite passes tell.
    lags, flow = _delays(rows, way, (flags == 0) & (way.pass_no >= 0) & ~slow & ~again, settings)
    crop = crop_of(rows, flow)
    if np.isnan(crop).all():
        crop = rows.column("yield_t_ha")
    flag(Flag.DELAY, np.isnan(flow) & ~np.isnan(rows.column("flow_kg_s")))
    flag(Flag.PASS_END, pass_ends(way, np.where(flags == 0, flow, np.nan), settings))
    flag(Flag.TURN, turns(way, settings))
    flag(Flag.SPEED, slow | unsteady)
    flag(Flag.WIDTH, narrow(rows, settings, usual_widths(rows)))
    flag(Flag.OVERLAP, again)
    flag(Flag.RANGE, _beyond(rows, crop, flags == 0, settings))
    flag(Flag.LOCAL, _stand_out(way, crop, flags == 0, float(_usual_width(rows)), settings))
    return Cleaned(rows, flags, flow, crop, overlap, way.pass_no, lags, (), settings)


def one_clock(rows: Rows) -> FloatArray | None:
    """Times of several parts by a clock they share; None where the order they stand in is all that is known."""
    clocks = {rows.parts[int(i)].clock for i in np.flatnonzero(np.bincount(rows.part))}
    time = rows.column("time_s")
    shared = clocks in ({"utc"}, {"machine"}) and not np.isnan(time).any()
    return time if shared and len(rows.part_slices()) > 1 else None


def out_of_work(rows: Rows) -> BoolArray:
    """Header up, or no position fix; a record that tells neither is not judged."""
    bad = np.zeros(len(rows), np.bool_)
    if "in_work" in rows:
        bad |= rows.columns["in_work"] == 0.0
    if "gnss_status" in rows:
        bad |= rows.columns["gnss_status"] == 0.0
    return bad


def speeds_off(rows: Rows, way: Course, settings: Settings) -> tuple[BoolArray, BoolArray]:
    """Too slow or fast, and changing too much within the smoothing time."""
    speed = rows.column("speed_kmh")
    with np.errstate(invalid="ignore", divide="ignore"):
        slow = (speed < settings.speed_least_kmh) | (speed > settings.speed_most_kmh)
        low, high = way.around(settings.smooth_s)
        smooth = sliding_mean(speed, low, high)
        unsteady = np.abs(smooth[high] - smooth[low]) > settings.speed_change * smooth
    return slow, unsteady


def _delays(rows: Rows, way: Course, usable: BoolArray, settings: Settings) -> tuple[dict[str, Lag], FloatArray]:
    """The lag of each machine, and the flow of what was cut at each record."""
    flow = rows.column("flow_kg_s")
    machines = sorted({part.machine for part in rows.parts})
    of_part = np.array([machines.index(part.machine) for part in rows.parts], np.int64)
    whose = of_part[rows.part] if len(rows) else rows.part
    lags = {}
    shifted = flow
    for number, machine in enumerate(machines):
        mine = whose == number
        if not mine.any():
            continue
        lags[machine] = flow_lag(rows, way, usable & mine, settings)
        if lags[machine].seconds != 0.0:
            shifted = np.where(mine, shifted_flow(flow, way, lags[machine].seconds), shifted)
    return lags, shifted


def pass_ends(way: Course, flow: FloatArray, settings: Settings) -> BoolArray:
    """First and last records of a pass while the machine fills and runs empty."""
    found = np.zeros(flow.size, np.bool_)
    at = np.flatnonzero(way.pass_no >= 0)
    if not at.size or np.isnan(flow).all():
        return found
    starts = run_starts(way.pass_no[at])
    middle = spread_out(medians(flow[at], starts), starts, at.size)
    with np.errstate(invalid="ignore"):
        low = ~(flow[at] >= settings.end_share * middle) & ~np.isnan(middle)
    ends = np.r_[starts[1:], at.size]
    place = np.arange(at.size) - np.repeat(starts, ends - starts)
    from_end = np.repeat(ends, ends - starts) - 1 - np.arange(at.size)
    first = from_start(low, starts) & (place < settings.end_most)
    backwards = from_start(low[::-1], at.size - ends[::-1])[::-1] & (from_end < settings.end_most)
    found[at] = first | backwards
    return found


def _usual_width(rows: Rows) -> float:
    width = rows.column("width_m")
    width = width[width > 0]
    return float(np.median(width)) if width.size else float("nan")


def usual_widths(rows: Rows) -> dict[int, float]:
    """Usual width of each part that tells one [m]: a setting may differ from part to part."""
    width = rows.column("width_m")
    found = {}
    for part, where in rows.part_slices():
        full = width[where][width[where] > 0]
        if full.size:
            found[part] = float(np.median(full))
    return found


def narrow(rows: Rows, settings: Settings, usual_m: Mapping[int, float]) -> BoolArray:
    """Narrower than the usual width of the part."""
    width = rows.column("width_m")
    found = np.zeros(len(rows), np.bool_)
    for part, where in rows.part_slices():
        if part in usual_m:
            with np.errstate(invalid="ignore"):
                found[where] = width[where] < settings.width_share * usual_m[part]
    return found


def crop_of(rows: Rows, flow: FloatArray) -> FloatArray:
    """Yield of the grain cut at each record [t/ha]; NaN where flow, speed or width is missing."""
    with np.errstate(invalid="ignore", divide="ignore"):
        crop = 36.0 * flow / (rows.column("speed_kmh") * rows.column("width_m"))
    return np.where(np.isfinite(crop), crop, np.nan)


def turns(way: Course, settings: Settings) -> BoolArray:
    """Turning, or on a pass too short to be one."""
    if not way.pass_m.size:
        return way.turning
    short = (way.pass_m < settings.shortest_pass_m)[np.maximum(way.pass_no, 0)]
    found: BoolArray = way.turning | (short & (way.pass_no >= 0))
    return found


def poor(rows: Rows, crop: FloatArray, settings: Settings) -> BoolArray:
    """Yield missing or not above 0, moisture no grain has."""
    bad: BoolArray = ~(crop > 0)
    if "moisture_pct" in rows:
        moisture = rows.columns["moisture_pct"]
        bad |= (moisture < settings.moisture_least_pct) | (moisture > settings.moisture_most_pct)
    return bad


def _beyond(rows: Rows, crop: FloatArray, good: BoolArray, settings: Settings) -> BoolArray:
    """Yield not above 0 or far from the field's mean, moisture no grain has; a missing yield too."""
    bad = poor(rows, crop, settings)
    judged = good & ~bad
    # Twice: what lies far out also widens the spread it is held against.
    for _ in range(RANGES):
        if not judged.any():
            break
        mean, sd = float(crop[judged].mean()), float(crop[judged].std())
        with np.errstate(invalid="ignore"):
            bad |= np.abs(crop - mean) > settings.yield_sd * sd
        judged = good & ~bad
    return bad


def _stand_out(way: Course, crop: FloatArray, good: BoolArray, width_m: float, settings: Settings) -> BoolArray:
    """Records far from the middle of their cell of some swaths, against the cell's own spread."""
    found = np.zeros(crop.size, np.bool_)
    at = np.flatnonzero(good & ~np.isnan(crop) & ~np.isnan(way.x_m))
    side = settings.local_swaths * width_m
    if not at.size or not np.isfinite(side):
        return found
    x, y = way.x_m[at], way.y_m[at]
    column = np.floor((x - x.min()) / side).astype(np.int64)
    cell = np.floor((y - y.min()) / side).astype(np.int64) * (int(column.max()) + 1) + column
    found[at] = far_from_cell(cell, crop[at], settings)
    return found


def far_from_cell(cell: IntArray, crop: FloatArray, settings: Settings) -> BoolArray:
    """Which records of any number of whole cells lie far from the middle of their own."""
    found = np.zeros(crop.size, np.bool_)
    order = np.argsort(cell, kind="stable")
    values, starts = crop[order], run_starts(cell[order])
    least = int(settings.local_least)
    off = np.abs(values - spread_out(medians(values, starts, least), starts, crop.size))
    mad = spread_out(medians(off, starts, least), starts, crop.size)
    with np.errstate(invalid="ignore"):
        out = (off > settings.local_mad * MAD_TO_SD * mad) & (mad > 0)
    found[order[out]] = True
    return found


def with_settings(cleaned: Cleaned, **changed: float) -> Cleaned:
    """The same records cleaned anew with some limits changed."""
    again = clean(cleaned.rows, cleaned.settings.but(changed))
    return replace(again, rows=cleaned.rows)
