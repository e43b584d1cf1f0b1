"""Which columns follow from the others, where nobody recorded them?

Only whole columns are worked out, never single gaps, and each says how: what was recorded stays as it is.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

import numpy as np

from chaffinch.fieldlog.plane import step_m
from chaffinch.fieldlog.rows import FloatArray, Rows

LONGEST_S: Final = 10.0
"""A record stands for at most this long by the clock alone [s], or ten usual steps: after a longer silence nobody knows
what the machine did. Own figure."""

BY_CLOCK: Final = "time to the next record"
BY_SPEED: Final = "speed × interval"
BY_POSITION: Final = "way from the record before"
BY_WAY: Final = "distance ÷ interval"
BY_FLOW: Final = "flow × interval ÷ (distance × width)"
BY_YIELD: Final = "yield × distance × width ÷ interval"


def completed(rows: Rows, longest_s: Mapping[int, float] | None = None) -> Rows:
    """The rows with interval, distance, speed, yield and flow where the others allow them.

    Parameters
    ----------
    rows : Rows
    longest_s : mapping of int to float, or None
        Longest time a record of a part stands for [s], where ``rows`` are a piece of the part; None: from the rows.
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
            put("distance_m", _ways(rows), BY_POSITION)
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


def _ways(rows: Rows) -> FloatArray:
    lon, lat = rows.column("lon_deg"), rows.column("lat_deg")
    ways = np.full(len(rows), np.nan)
    for _, where in rows.part_slices():
        ways[where] = step_m(lon[where], lat[where])
    return ways
