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
ACROSS_DEG: Final = 1.0
"""Half the width of the widest field [deg]; own figure."""
M_PER_DEG: Final = EARTH_M * np.pi / 180.0


def middle(lon_deg: FloatArray, lat_deg: FloatArray) -> tuple[float, float]:
    """Median longitude and latitude of the records whose position is known; NaN without one."""
    known = ~(np.isnan(lon_deg) | np.isnan(lat_deg))
    if not known.any():
        return float("nan"), float("nan")
    # The median: one position at the other end of the world must not move the middle.
    lon0 = float(np.median(lon_deg[known]))
    if may_be_opposite(lon0):
        lon0 = not_opposite(lon0, float(np.median(np.abs(lon_deg[known]))))
    return lon0, float(np.median(lat_deg[known]))


def may_be_opposite(middle_lon_deg: float) -> bool:
    """Whether a median longitude may be that of a field across 180 degrees, halfway around from where it lies."""
    return abs(middle_lon_deg) < ACROSS_DEG


def not_opposite(middle_lon_deg: float, away_deg: float) -> float:
    """The middle of a field, by the median of its longitudes and that of how far they are from 0 [deg].

    Half of the records at 179.99 and half at -179.99 have their median at 0.
    """
    return middle_lon_deg + 180.0 if away_deg > 90.0 else middle_lon_deg


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
        step[1:] = apart_m(lon_deg[:-1], lat_deg[:-1], lon_deg[1:], lat_deg[1:])
    return step


def apart_m(lon_deg: FloatArray, lat_deg: FloatArray, to_lon_deg: FloatArray, to_lat_deg: FloatArray) -> FloatArray:
    """How far places are from others [m]; NaN where a position is missing."""
    middle = np.radians((to_lat_deg + lat_deg) / 2.0)
    around = np.remainder(to_lon_deg - lon_deg + 180.0, 360.0) - 180.0
    return M_PER_DEG * np.hypot(around * np.cos(middle), to_lat_deg - lat_deg)
