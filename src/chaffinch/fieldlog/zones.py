"""Which records lie in which zone of a field? Zones are named areas of a file: soils, slopes, trial strips, last year.

Any file of polygons that GDAL reads is taken, and GeoParquet, with a column that names each. Several polygons of one
name are one zone.
"""

from __future__ import annotations

import warnings
from dataclasses import dataclass
from pathlib import Path, PurePosixPath
from typing import Any, Final

import numpy as np

from chaffinch.errors import InputError, one_of
from chaffinch.fieldlog.reading.opened import opened
from chaffinch.fieldlog.reading.places import to_degrees
from chaffinch.fieldlog.reading.vectorfile import KINDS, parquet_table, refuse_other_kind
from chaffinch.fieldlog.rows import FloatArray, IntArray

ENDINGS: Final = tuple(KINDS)
_BY_GDAL: Final = tuple(ending for ending, kind in KINDS.items() if kind != "Parquet")
CALLED: Final = ("zone", "name")
"""Columns taken for the names of zones where nobody says which, in this order."""
MOST: Final = 1000
"""Most zones of one file [1]; own figure: more are no zones of a field but a raster."""
_MEND: Final = "export it anew, as GeoJSON or GeoPackage"
_POLYGONS: Final = (3, 6)  # shapely's numbers of a polygon and of several in one


@dataclass(frozen=True, slots=True)
class Zones:
    """Named areas.

    Parameters
    ----------
    names : tuple of str
        In order of the file.
    shapes : array of shapely polygons, shape (m,)
        In degrees, WGS 84.
    zone : int array, shape (m,)
        Position in ``names`` of each shape.
    """

    names: tuple[str, ...]
    shapes: Any
    zone: IntArray


def read_zones(path: Path, *, column: str = "", crs: str = "") -> Zones:
    """Read the zones of a field.

    Parameters
    ----------
    path : Path
        Shapefile, GeoPackage, GeoJSON or GeoParquet; a zip that holds one of the first three.
    column : str
        Which column names the zones; empty: ``zone``, else ``name``, else the only column there is.
    crs : str
        Coordinate system where the file tells none, like ``EPSG:32612``; empty: it must be degrees then.

    Raises
    ------
    InputError
        When it cannot be read, holds no polygons, does not tell its names, or its corners can be no degrees.
    """
    import shapely

    wkb, fields, told = _read(path)
    names = [_text(value) for value in fields[_column(tuple(fields), column, path.name)]]
    try:
        shapes = shapely.from_wkb(wkb)
    except (shapely.errors.GEOSException, TypeError) as error:
        short = str(error).splitlines()[0][:100]
        raise InputError(path.name, None, f"has geometries that cannot be read ({short})", _MEND) from None
    there = ~shapely.is_missing(shapes) & ~shapely.is_empty(shapes)
    if not there.any() or not np.isin(shapely.get_type_id(shapes[there]), _POLYGONS).all():
        raise InputError(path.name, None, "holds no areas, or more than areas", "give a file of polygons")
    shapes, names = shapes[there], [n for n, ok in zip(names, there.tolist(), strict=True) if ok]
    system = told or crs
    if system and system.upper() not in ("EPSG:4326", "OGC:CRS84"):
        shapes = shapely.transform(shapes, lambda xy: np.column_stack(to_degrees(xy[:, 0], xy[:, 1], system)))
    west, south, east, north = (float(v) for v in shapely.total_bounds(shapes))
    if not (-180.0 <= west <= east <= 180.0 and -90.0 <= south <= north <= 90.0):
        problem = "has corners that are no degrees, and tells no coordinate system"
        raise InputError(path.name, west, problem, "say it, like --zone-crs EPSG:32612")
    different = tuple(dict.fromkeys(names))
    if len(different) > MOST:
        raise InputError(path.name, len(different), f"holds more than {MOST} zones", "put alike ones under one name")
    at = {name: number for number, name in enumerate(different)}
    # A ring that crosses itself has no inside; made valid, it has the one it was drawn for.
    return Zones(different, shapely.make_valid(shapes), np.array([at[name] for name in names], np.int64))


def zone_of(zones: Zones, lon_deg: FloatArray, lat_deg: FloatArray) -> tuple[IntArray, int]:
    """Zone of each position, -1 outside all; and how many positions lie in several: they count in the first.

    Parameters
    ----------
    zones : Zones
    lon_deg, lat_deg : array, shape (n,)
        NaN where missing.
    """
    import shapely

    found = np.full(lon_deg.size, -1, np.int64)
    known = np.flatnonzero(~np.isnan(lon_deg) & ~np.isnan(lat_deg))
    # The points stand in the tree and the zones ask: a zone of 200,000 corners is laid out once, not for every point.
    tree = shapely.STRtree(shapely.points(lon_deg[known], lat_deg[known]))
    shapes, points = tree.query(zones.shapes, predicate="intersects")
    zone = zones.zone[shapes]
    order = np.lexsort((zone, points))
    points, zone = points[order], zone[order]
    fresh = np.r_[True, points[1:] != points[:-1]] if points.size else np.zeros(0, np.bool_)
    found[known[points[fresh]]] = zone[fresh]
    first_zone = np.repeat(zone[fresh], np.diff(np.r_[np.flatnonzero(fresh), points.size]))
    return found, int(np.unique(points[zone != first_zone]).size)


@dataclass(frozen=True, slots=True)
class Outline:
    """Where a zone lies within a box, for drawing.

    Parameters
    ----------
    name : str
    rings : tuple of arrays, each of shape (k, 2)
        Longitude and latitude along every edge, islands and holes alike [deg].
    label : (float, float)
        A place inside its largest piece [deg].
    """

    name: str
    rings: tuple[FloatArray, ...]
    label: tuple[float, float]


def outlines(zones: Zones, box: tuple[float, float, float, float], within_deg: float) -> list[Outline]:
    """The edges of each zone inside a box (west, south, east, north), in their order; a zone outside it has none.

    Parameters
    ----------
    zones : Zones
    box : tuple of float
        In degrees.
    within_deg : float
        How far a drawn edge may lie from the true one [deg].
    """
    import shapely

    found = []
    for number, name in enumerate(zones.names):
        whole = shapely.union_all(zones.shapes[zones.zone == number])
        here = shapely.simplify(shapely.intersection(whole, shapely.box(*box)), within_deg)
        pieces = [one for one in shapely.get_parts(here) if shapely.get_type_id(one) in _POLYGONS and one.area > 0.0]
        if pieces:
            rings = tuple(shapely.get_coordinates(ring) for piece in pieces for ring in shapely.get_rings(piece))
            middle = shapely.point_on_surface(max(pieces, key=lambda piece: float(piece.area)))
            found.append(Outline(name, rings, (float(middle.x), float(middle.y))))
    return found


def _read(path: Path) -> tuple[Any, dict[str, Any], str]:
    import pyogrio
    from pyogrio.errors import DataLayerError, DataSourceError

    ending = path.suffix.lower()
    if ending not in (*ENDINGS, ".zip"):
        raise InputError("zones", path.name, "has an ending no file of zones has", f"use {', '.join(ENDINGS)} or .zip")
    if not path.is_file():
        raise InputError("zones", path.name, "is not there", "check the name and the folder")
    if KINDS.get(ending) == "Parquet":
        read = parquet_table(path, path)
        if read.wkb is None:
            raise InputError(path.name, None, "is a table without areas", _MEND)
        return read.wkb, {name: read.table[name].to_list() for name in read.table.columns}, read.crs
    inner = _inside(path) if ending == ".zip" else ""
    refuse_other_kind(path, inner, PurePosixPath(inner or path.name).name)
    where = f"/vsizip/{path.resolve().as_posix()}/{inner}" if inner else str(path)
    with warnings.catch_warnings():
        # What GDAL finds odd and reads all the same shows in what was read.
        warnings.simplefilter("ignore")
        try:
            layers = pyogrio.list_layers(where)
            if len(layers) != 1:
                raise InputError(path.name, len(layers), "holds several layers", "give a file with one")
            meta, _, wkb, data = pyogrio.raw.read(where, force_2d=True)
        except (DataSourceError, DataLayerError, ValueError, OSError) as error:
            if isinstance(error, InputError):
                raise
            short = str(error).splitlines()[0].partition(";")[0].replace(where, path.name)[:100].rstrip(".")
            raise InputError(path.name, None, f"cannot be read ({short})", _MEND) from None
    if wkb is None:
        raise InputError(path.name, None, "is a table without areas", _MEND)
    return wkb, dict(zip((str(name) for name in meta["fields"]), data, strict=True)), meta["crs"] or ""


def _inside(path: Path) -> str:
    """The one file of zones in a zip, which is weighed before anything of it is unpacked."""
    names = [name for name in opened(path).names if PurePosixPath(name).suffix.lower() in _BY_GDAL]
    if len(names) != 1:
        problem = "holds no file of zones" if not names else "holds several files of zones"
        raise InputError(path.name, len(names), problem, f"put one in it: {', '.join(_BY_GDAL)}")
    return names[0]


def _column(columns: tuple[str, ...], asked: str, file: str) -> str:
    if asked:
        if asked in columns:
            return asked
        raise InputError("zone column", asked, "is not in the file", one_of(columns))
    by_small = {name.casefold(): name for name in reversed(columns)}
    for usual in CALLED:
        if usual in by_small:
            return by_small[usual]
    if len(columns) != 1:
        problem = "does not tell which column names its zones" if columns else "gives its areas no names"
        raise InputError(file, ", ".join(columns) or None, problem, "say it: --zone-name COLUMN")
    return columns[0]


def _text(value: object) -> str:
    """The name of a zone on one line of signs that can be shown; a whole number without its point."""
    if value is None or (isinstance(value, float | np.floating) and np.isnan(value)):
        return "without a name"
    if isinstance(value, float | np.floating) and float(value).is_integer():
        return str(int(value))
    plain = "".join(sign if sign.isprintable() else " " for sign in str(value))
    return " ".join(plain.split()) or "without a name"
