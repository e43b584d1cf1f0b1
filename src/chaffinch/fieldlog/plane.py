"""How far and in which direction is one record from another?

A field is small beside the earth: positions are turned into metres east and north of a middle on a sphere of the
earth's mean radius. Over 30 km the error is below 0.1 % (spheroid against sphere 0.3 % at worst in one direction at
high latitudes); areas are never taken from here, but from width and way as the machine measured them.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from chaffinch.fieldlog.rows import FloatArray

EARTH_M: Final = 6_371_008.8
"""Mean radius of the earth [m] (IUGG, memory)."""
M_PER_DEG: Final = EARTH_M * np.pi / 180.0


def middle(lon_deg: FloatArray, lat_deg: FloatArray) -> tuple[float, float]:
    """Median longitude and latitude of the records whose position is known; NaN without one."""
    known = ~(np.isnan(lon_deg) | np.isnan(lat_deg))
    if not known.any():
        return float("nan"), float("nan")
    # The median: one position at the other end of the world must not move the middle.
    return float(np.median(lon_deg[known])), float(np.median(lat_deg[known]))


def to_plane(
    lon_deg: FloatArray, lat_deg: FloatArray, around: tuple[float, float] | None = None
) -> tuple[FloatArray, FloatArray]:
    """Metres east and north of a middle, that of the records where none is given; NaN where a position is missing."""
    lon0, lat0 = middle(lon_deg, lat_deg) if around is None else around
    # One factor for the whole field keeps straight lines straight.
    east = (np.remainder(lon_deg - lon0 + 180.0, 360.0) - 180.0) * (M_PER_DEG * np.cos(np.radians(lat0)))
    north = (lat_deg - lat0) * M_PER_DEG
    known = ~(np.isnan(lon_deg) | np.isnan(lat_deg))
    return np.where(known, east, np.nan), np.where(known, north, np.nan)


def step_m(lon_deg: FloatArray, lat_deg: FloatArray) -> FloatArray:
    """Way from the record before [m], shape (n,); NaN for the first and beside a missing position."""
    step = np.full(lon_deg.shape, np.nan)
    if lon_deg.size > 1:
        middle = np.radians((lat_deg[1:] + lat_deg[:-1]) / 2.0)
        around = np.remainder(np.diff(lon_deg) + 180.0, 360.0) - 180.0
        step[1:] = M_PER_DEG * np.hypot(around * np.cos(middle), np.diff(lat_deg))
    return step
