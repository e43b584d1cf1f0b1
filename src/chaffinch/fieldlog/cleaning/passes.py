"""Where did the machine go straight, where did it turn, and which positions jumped?

A *stretch* is a run of records without a break: same part, no long silence, no long step. A *jump* is a few positions
away from the way before and behind them, which meet: an error of the receiver. A step from which the machine goes on is
a break: somebody took records out, or drove elsewhere. A *pass* is a run inside a stretch, in work and not turning.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial
from typing import Final

import numpy as np

from chaffinch.fieldlog.groups import run_starts
from chaffinch.fieldlog.jumps import LONGEST_JUMP, jumps
from chaffinch.fieldlog.plane import middle, to_plane
from chaffinch.fieldlog.rows import BoolArray, FloatArray, IntArray, Rows
from chaffinch.fieldlog.settings import Settings

STILL_M: Final = 1.0
"""Way below which a heading means nothing [m]; own figure."""


@dataclass(frozen=True, slots=True)
class Course:
    """The way a machine took.

    Parameters
    ----------
    x_m, y_m : array
        Metres east and north of the middle; jumped and single missing positions lie between their neighbours.
    clock_s : array
        Time that never runs back [s].
    usual_s : float
        Usual time between records [s].
    stretch : int array
        Number of the unbroken stretch.
    first, last : int array
        First and last record of the stretch of each record.
    east, north : array
        Direction of travel, as parts of a step of one; NaN at rest.
    jumped, turning : bool array
    pass_no : int array
        Number of the pass; -1 outside one.
    pass_m : array
        Length of each pass [m].
    """

    x_m: FloatArray
    y_m: FloatArray
    clock_s: FloatArray
    usual_s: float
    stretch: IntArray
    first: IntArray
    last: IntArray
    east: FloatArray
    north: FloatArray
    jumped: BoolArray
    turning: BoolArray
    pass_no: IntArray
    pass_m: FloatArray

    def around(self, seconds: float) -> tuple[IntArray, IntArray]:
        """First and last record within ``seconds`` in all around each record, inside its stretch."""
        half = max(1, round(seconds / 2.0 / self.usual_s)) if self.usual_s > 0 else 1
        at = np.arange(self.first.size)
        return np.maximum(at - half, self.first), np.minimum(at + half, self.last)


@dataclass(frozen=True, slots=True)
class Frame:
    """What the way of a piece of a field needs to know of the whole field.

    Parameters
    ----------
    middle_deg : tuple of float
        Longitude and latitude the plane is laid around.
    timed : bool
        Whether the field's records tell a time at all; else intervals count, or a second each.
    usual_s : float
        Usual time between records [s].
    step_m : float or None
        Usual step of a moving machine, where no record of the field tells a speed [m].
    clock_s : float
        Time at the first record of the piece, since the field began [s].
    """

    middle_deg: tuple[float, float]
    timed: bool
    usual_s: float
    step_m: float | None
    clock_s: float = 0.0


def course(rows: Rows, settings: Settings, frame: Frame | None = None) -> Course:
    """Follow the way of the records of one field, or of a piece of it with what is known of the whole."""
    n = len(rows)
    frame = _frame_of(rows) if frame is None else frame
    x, y = to_plane(rows.column("lon_deg"), rows.column("lat_deg"), frame.middle_deg)
    usual_s, took = frame.usual_s, took_s(rows, timed=frame.timed)
    clock = np.cumsum(np.r_[frame.clock_s, took])[1:]
    new_part = np.r_[True, rows.part[1:] != rows.part[:-1]] if n else np.zeros(0, np.bool_)
    jumped = np.isnan(x) | np.isnan(y)
    x, y = _bridged(x, y, jumped, new_part)
    allowed = _allowed(rows, took, settings, frame.step_m)
    step = np.r_[np.nan, np.hypot(np.diff(x), np.diff(y))] if n else np.zeros(0)
    excursions = jumps(step, partial(_apart, x, y), allowed, new_part)
    if excursions.any():
        jumped |= excursions
        x, y = _bridged(np.where(jumped, np.nan, x), np.where(jumped, np.nan, y), jumped, new_part)
    step = np.r_[0.0, np.hypot(np.diff(x), np.diff(y))] if n else np.zeros(0)
    with np.errstate(invalid="ignore"):
        broken = new_part | (took > max(settings.gap_s, 5.0 * usual_s)) | np.isnan(step)
        broken |= step > np.maximum(settings.gap_m, allowed)
    stretch = np.cumsum(broken) - 1
    starts = run_starts(stretch)
    lengths = np.diff(np.r_[starts, n])
    first, last = np.repeat(starts, lengths), np.repeat(starts + lengths - 1, lengths)
    empty = np.zeros(n)
    bare = Course(x, y, clock, usual_s, stretch, first, last, empty, empty, jumped, jumped, first, empty)
    east, north, turning = _headings(bare, settings)
    pass_no, pass_m = _passes(rows, bare, turning, step)
    return Course(x, y, clock, usual_s, stretch, first, last, east, north, jumped, turning, pass_no, pass_m)


def _frame_of(rows: Rows) -> Frame:
    """The frame of a field held as a whole."""
    timed = "time_s" in rows and not np.isnan(rows.column("time_s")).all()
    took = took_s(rows, timed=timed)
    going = took[took > 0]
    around = middle(rows.column("lon_deg"), rows.column("lat_deg"))
    step_m = None
    if np.isnan(rows.column("speed_kmh")).all():
        steps = steps_m(rows, around)
        step_m = float(np.median(steps)) if steps.size else 0.0
    return Frame(around, timed, float(np.median(going)) if going.size else 1.0, step_m)


def took_s(rows: Rows, *, timed: bool) -> FloatArray:
    """Time since the record before, 0 where a part begins or the clock ran back [s]."""
    n = len(rows)
    if timed:
        took = np.r_[0.0, np.diff(rows.column("time_s"))] if n else np.zeros(0)
    else:
        interval = rows.column("interval_s")
        took = np.where(np.isnan(interval), 1.0, interval) if "interval_s" in rows else np.ones(n)
    took = np.where((took > 0) & np.isfinite(took), took, 0.0)
    if n:
        took[np.r_[True, rows.part[1:] != rows.part[:-1]]] = 0.0
    return took


def steps_m(rows: Rows, middle_deg: tuple[float, float]) -> FloatArray:
    """Steps from record to record that move, those over a missing position left out [m]."""
    x, y = to_plane(rows.column("lon_deg"), rows.column("lat_deg"), middle_deg)
    x, y = _bridged(x, y, np.isnan(x) | np.isnan(y), np.r_[True, rows.part[1:] != rows.part[:-1]])
    step = np.hypot(np.diff(x), np.diff(y))
    return step[step > 0]


def _allowed(rows: Rows, took: FloatArray, settings: Settings, step_m: float | None) -> FloatArray:
    """Step to each record beyond which its position did not come about by driving [m]."""
    if step_m is None:
        way = rows.column("speed_kmh") / 3.6 * np.where(took > 0, took, 1.0)
    else:
        way = np.full(len(rows), step_m)
    return np.maximum(settings.jump_factor * np.nan_to_num(way), settings.jump_least_m)


def _apart(x: FloatArray, y: FloatArray, i: int, j: int) -> float:
    return float(np.hypot(x[j] - x[i], y[j] - y[i]))


def _bridged(x: FloatArray, y: FloatArray, gone: BoolArray, new_part: BoolArray) -> tuple[FloatArray, FloatArray]:
    """Positions with short gaps filled by a straight line; a gap at an end of a part, or a long one, stays."""
    if not gone.any():
        return x, y
    good = np.flatnonzero(~gone)
    if not good.size:
        return x, y
    at = np.flatnonzero(gone)
    right = np.searchsorted(good, at)
    inside = (right > 0) & (right < good.size)
    before, behind = good[np.maximum(right - 1, 0)], good[np.minimum(right, good.size - 1)]
    part_no = np.cumsum(new_part)
    inside &= (part_no[before] == part_no[behind]) & (behind - before <= LONGEST_JUMP + 1)
    x, y = x.copy(), y.copy()
    x[at], y[at] = np.nan, np.nan
    at, before, behind = at[inside], before[inside], behind[inside]
    share = (at - before) / np.maximum(behind - before, 1)
    x[at] = x[before] + share * (x[behind] - x[before])
    y[at] = y[before] + share * (y[behind] - y[before])
    return x, y


def _headings(way: Course, settings: Settings) -> tuple[FloatArray, FloatArray, BoolArray]:
    at = np.arange(way.first.size)
    low, high = way.around(settings.smooth_s)
    dx, dy = way.x_m[high] - way.x_m[low], way.y_m[high] - way.y_m[low]
    length = np.sqrt(dx * dx + dy * dy)
    length[~(length >= STILL_M)] = np.nan
    east, north = dx / length, dy / length
    low, high = way.around(2.0 * settings.smooth_s)
    ax, ay = way.x_m - way.x_m[low], way.y_m - way.y_m[low]
    bx, by = way.x_m[high] - way.x_m, way.y_m[high] - way.y_m
    a, b = np.sqrt(ax * ax + ay * ay), np.sqrt(bx * bx + by * by)
    with np.errstate(invalid="ignore"):
        bent = ax * bx + ay * by < np.cos(np.radians(settings.turn_deg)) * a * b
        turning = bent & (a >= STILL_M) & (b >= STILL_M) & (low < at) & (at < high)
    return east, north, turning


def _passes(rows: Rows, way: Course, turning: BoolArray, step: FloatArray) -> tuple[IntArray, FloatArray]:
    n = len(rows)
    inside = ~turning & ~np.isnan(way.x_m)
    if "in_work" in rows:
        inside &= rows.columns["in_work"] != 0.0
    starts = inside & np.r_[True, ~inside[:-1] | (way.stretch[1:] != way.stretch[:-1])] if n else inside
    number = np.cumsum(starts) - 1
    count = int(starts.sum())
    # The step to a pass's first record leads into it, not along it.
    along = np.where(inside & ~starts, step, 0.0)
    length = np.bincount(number[inside], along[inside], minlength=count) if count else np.zeros(0)
    return np.where(inside, number, -1).astype(np.int64), length.astype(np.float64)
