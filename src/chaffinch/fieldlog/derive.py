"""Which columns follow from the others, where nobody recorded them?

Only whole columns are worked out, never single gaps, and each says how: what was recorded stays as it is.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import partial
from typing import Final

import numpy as np

from chaffinch.fieldlog.jumps import jumps
from chaffinch.fieldlog.plane import apart_m, step_m
from chaffinch.fieldlog.rows import BoolArray, FloatArray, Rows
from chaffinch.fieldlog.settings import usual

LONGEST_S: Final = 10.0
"""A record stands for at most this long by the clock alone [s], or ten usual steps: after a longer silence nobody knows
what the machine did. Own figure."""

BY_CLOCK: Final = "time to the next record"
BY_SPEED: Final = "speed × interval"
BY_POSITION: Final = "way from the record before"
BY_WAY: Final = "distance ÷ interval"
BY_PACE: Final = "distance ÷ speed"
BY_FLOW: Final = "flow × interval ÷ (distance × width)"
BY_YIELD: Final = "yield × distance × width ÷ interval"


def completed(
    rows: Rows, longest_s: Mapping[int, float] | None = None, usual_m: Mapping[int, float] | None = None
) -> Rows:
    """The rows with interval, distance, speed, yield and flow where the others allow them.

    Parameters
    ----------
    rows : Rows
    longest_s : mapping of int to float, or None
        Longest time a record of a part stands for [s], where ``rows`` are a piece of the part; None: from the rows.
    usual_m : mapping of int to float, or None
        Usual step of a part [m], likewise.
    """
    new: dict[str, FloatArray] = {}
    how: dict[str, str] = {}

    def have(name: str) -> bool:
        return name in rows.columns or name in new

    def get(name: str) -> FloatArray:
        return new[name] if name in new else rows.column(name)

    def put(name: str, values: FloatArray, reason: str) -> None:
        new[name] = np.where(np.isfinite(values), values, np.nan)
        how[name] = reason

    with np.errstate(divide="ignore", invalid="ignore"):
        if not have("interval_s") and have("time_s"):
            put("interval_s", _to_next(rows, longest_s), BY_CLOCK)
        if not have("distance_m") and have("speed_kmh") and have("interval_s"):
            put("distance_m", get("speed_kmh") * get("interval_s") / 3.6, BY_SPEED)
        if not have("distance_m") and have("lon_deg") and have("lat_deg"):
            put("distance_m", _ways(rows, usual_m), BY_POSITION)
        if not have("interval_s") and have("distance_m") and have("speed_kmh"):
            put("interval_s", 3.6 * get("distance_m") / get("speed_kmh"), BY_PACE)
        if not have("speed_kmh") and have("distance_m") and have("interval_s"):
            put("speed_kmh", 3.6 * get("distance_m") / get("interval_s"), BY_WAY)
        if have("distance_m") and have("interval_s") and have("width_m"):
            area = get("distance_m") * get("width_m")
            if not have("yield_t_ha") and have("flow_kg_s"):
                put("yield_t_ha", 10.0 * get("flow_kg_s") * get("interval_s") / area, BY_FLOW)
            elif not have("flow_kg_s") and have("yield_t_ha"):
                put("flow_kg_s", 0.1 * get("yield_t_ha") * area / get("interval_s"), BY_YIELD)
    return rows.with_columns(new, how) if new else rows


def recomputed_over_recorded(rows: Rows) -> FloatArray:
    """Flow × interval ÷ (distance × width), over the yield recorded [1]; NaN at rest and where one is missing."""
    with np.errstate(divide="ignore", invalid="ignore"):
        again = 10.0 * rows.column("flow_kg_s") * rows.column("interval_s") / rows.area_m2()
        ratio = again / rows.column("yield_t_ha")
    return np.where(np.isfinite(ratio) & (ratio > 0), ratio, np.nan)


def longest_of(usual_s: float) -> float:
    """Longest time a record stands for where that is the usual step between them [s]."""
    return max(LONGEST_S, 10.0 * usual_s)


def _to_next(rows: Rows, longest_s: Mapping[int, float] | None) -> FloatArray:
    time = rows.column("time_s")
    interval = np.full(len(rows), np.nan)
    for part, where in rows.part_slices():
        steps = np.diff(time[where])
        going = steps[steps > 0]
        if going.size:
            longest = longest_of(float(np.median(going))) if longest_s is None else longest_s[part]
            interval[where][:-1] = np.where((steps > 0) & (steps <= longest), steps, np.nan)
    return interval


def _ways(rows: Rows, usual_m: Mapping[int, float] | None) -> FloatArray:
    """Way from the record before, along the way without positions that jumped; NaN over a break."""
    lon, lat = rows.column("lon_deg"), rows.column("lat_deg")
    ways = np.full(len(rows), np.nan)
    limits = usual()
    for part, where in rows.part_slices():
        x, y = lon[where], lat[where]
        steps = step_m(x, y)
        one_m = usual_step(steps) if usual_m is None else usual_m.get(part, 0.0)
        allowed_m = max(limits.jump_factor * one_m, limits.jump_least_m)
        began = np.zeros(x.size, np.bool_)
        began[:1] = True
        jumped = jumps(steps, partial(_apart, x, y), np.full(x.size, allowed_m), began)
        if jumped.any():
            steps = step_m(*_without(x, y, jumped))
        # Beyond it somebody took records out, or drove elsewhere: nobody knows what was cut between.
        steps[steps > max(allowed_m, limits.gap_m)] = np.nan
        ways[where] = steps
    return ways


def usual_step(steps_m: FloatArray) -> float:
    """The usual one of steps that move [m]; 0 where none does."""
    going = steps_m[steps_m > 0]
    return float(np.median(going)) if going.size else 0.0


def _apart(lon: FloatArray, lat: FloatArray, i: int, j: int) -> float:
    return float(apart_m(lon[i], lat[i], lon[j], lat[j]))


def _without(lon: FloatArray, lat: FloatArray, jumped: BoolArray) -> tuple[FloatArray, FloatArray]:
    """Positions with those that jumped on a straight line between their neighbours."""
    at, good = np.flatnonzero(jumped), np.flatnonzero(~jumped)
    right = np.searchsorted(good, at)  # a jump has a way before and behind it
    before, behind = good[right - 1], good[right]
    share = (at - before) / (behind - before)
    lon, lat = lon.copy(), lat.copy()
    lon[at] = lon[before] + share * (np.remainder(lon[behind] - lon[before] + 180.0, 360.0) - 180.0)
    lat[at] = lat[before] + share * (lat[behind] - lat[before])
    return lon, lat
