"""Where on earth are the numbers of a table? Degrees as they stand, or a coordinate system that somebody tells."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from chaffinch.errors import InputError
from chaffinch.fieldlog.plane import step_m
from chaffinch.fieldlog.rows import FloatArray, IntArray

WILD_SHARE: Final = 0.01
"""Up to this share of positions may be no degrees at all and is taken as missing [1]; more, and they are something
else. Own figure."""


@dataclass(frozen=True, slots=True)
class Places:
    """Positions in degrees (WGS 84), and the way from record to record [m]; all None where there are none."""

    lon_deg: FloatArray | None = None
    lat_deg: FloatArray | None = None
    step_m: FloatArray | None = None

    def of(self, order: IntArray) -> Places:
        """The same in another order."""
        if self.lon_deg is None or self.lat_deg is None:
            return self
        lon, lat = self.lon_deg[order], self.lat_deg[order]
        return Places(lon, lat, step_m(lon, lat))


def places(x: FloatArray | None, y: FloatArray | None, crs: str, name: str, *, strict: bool = True) -> Places:
    """Positions from two columns.

    Parameters
    ----------
    x, y : array or None
        Longitude or easting, latitude or northing.
    crs : str
        Coordinate system of the numbers; empty: they must be degrees.
    name : str
        Of the file, for errors.
    strict : bool
        Whether positions that cannot be degrees are refused; else they are none.

    Raises
    ------
    InputError
        For an unknown coordinate system; for projected coordinates without one, and for longitude and latitude swapped
        where it shows.
    """
    if x is None or y is None:
        return Places()
    if crs.strip():
        x, y = to_degrees(x, y, crs)
    known = ~(np.isnan(x) | np.isnan(y))
    wild = known & ((np.abs(x) > 180.0) | (np.abs(y) > 90.0))
    if known.any() and wild.sum() > WILD_SHARE * known.sum():
        if not strict:
            return Places()
        raise no_degrees(x[wild], y[wild], name)
    # A receiver without a fix writes the point where the equator meets Greenwich.
    bad = wild | ((x == 0.0) & (y == 0.0))
    lon, lat = np.where(bad, np.nan, x), np.where(bad, np.nan, y)
    return Places(lon, lat, step_m(lon, lat))


def to_degrees(x: FloatArray, y: FloatArray, crs: str) -> tuple[FloatArray, FloatArray]:
    """Longitude and latitude of points in a coordinate system; a point outside it is NaN.

    Raises
    ------
    InputError
        When PROJ does not know the system, or it is none of this earth's surface.
    """
    from pyproj import CRS, Transformer
    from pyproj.exceptions import CRSError, ProjError

    try:
        there = CRS.from_user_input(crs)
        lon, lat = Transformer.from_crs(there, "OGC:CRS84", always_xy=True).transform(x, y)
    except (CRSError, ProjError) as error:
        short = str(error).splitlines()[0][:80]
        raise InputError("crs", crs, f"is no coordinate system ({short})", "write it like EPSG:32612") from None
    lon, lat = np.asarray(lon, np.float64), np.asarray(lat, np.float64)
    good = np.isfinite(lon) & np.isfinite(lat)
    return np.where(good, lon, np.nan), np.where(good, lat, np.nan)


def no_degrees(x: FloatArray, y: FloatArray, name: str) -> InputError:
    """What to say of positions that cannot be degrees: swapped, where that shows, else projected."""
    if (np.abs(x) <= 90.0).all() and (np.abs(y) <= 180.0).all():
        problem = "lies beyond 90: longitude and latitude are swapped"
        return InputError(
            f"{name}, latitude", float(y[0]), problem, "say which column is which, as lon_deg and lat_deg"
        )
    problem = "is no longitude: the positions are projected, and no coordinate system is told"
    return InputError(f"{name}, position", float(x[0]), problem, "say it, like EPSG:32612 for UTM zone 12 north")
