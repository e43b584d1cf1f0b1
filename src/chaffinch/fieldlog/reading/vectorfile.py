"""What do a shapefile, a GeoPackage, a GeoJSON or a Parquet file hold as a log?

GDAL reads the first three, zipped or not, and polars the last; both give a table and points, and the rest is as for any
table. A file that tells no coordinate system is taken to be in degrees only if its numbers can be.
"""

from __future__ import annotations

import json
import warnings
import zipfile
import zlib
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from chaffinch.errors import InputError, one_of
from chaffinch.fieldlog.answers import Answers, Found
from chaffinch.fieldlog.reading.opened import member_of
from chaffinch.fieldlog.reading.places import places, to_degrees
from chaffinch.fieldlog.reading.tabled import found_in_table
from chaffinch.fieldlog.rows import FloatArray, Problem

if TYPE_CHECKING:
    import polars as pl

KINDS: Final = {
    ".shp": "shapefile",
    ".gpkg": "GeoPackage",
    ".geojson": "GeoJSON",
    ".json": "GeoJSON",
    ".parquet": "Parquet",
    ".geoparquet": "Parquet",
}
BEGINS: Final = {".shp": b"\x00\x00\x27\x0a", ".gpkg": b"SQLite format 3\x00", ".geojson": b"{", ".json": b"{"}
"""How files of these kinds begin: ESRI's white paper of 1998, GeoPackage 1.4 requirement 1, RFC 7946 (memory)."""
_ELSEWHERE: Final = (b"<OGR", b"gdal_streamed_alg")  # files of GDAL's own that are made of other files or addresses
_HEAD_BYTES: Final = 1 << 16
_POINT: Final = 0  # shapely's number of a point
_MEND: Final = "export it anew, or as comma text"


@dataclass(frozen=True, slots=True)
class Read:
    """A table with its geometries in WKB (None: none), and what it says of their coordinate system."""

    table: pl.DataFrame
    wkb: Any
    crs: str
    problems: tuple[Problem, ...] = ()


def read_vector(path: Path, inner: str, answers: Answers) -> Found:
    """Read a file of points.

    Parameters
    ----------
    path : Path
        The file, or the zip it lies in.
    inner : str
        Its name inside the zip; empty where it is no zip.
    answers : Answers

    Raises
    ------
    InputError
        When it cannot be read, holds no points, holds several layers and none was named, or its positions are
        projected and no coordinate system is told.
    """
    name = Path(inner or path.name)
    kind = KINDS[name.suffix.lower()]
    read = parquet_table(path, name) if kind == "Parquet" else _by_gdal(path, inner, name, answers)
    told = list(read.problems)
    points = None
    if read.wkb is not None:
        points = places(*points_of(read.wkb, read.crs or answers.crs, name.name, told), "", name.name)
    return found_in_table(kind, name.stem, read.table, answers, points=points, problems=told)


def points_of(wkb: Any, crs: str, name: str, told: list[Problem]) -> tuple[FloatArray, FloatArray]:
    """Points of geometries, in degrees where their system is known; what is no point is told."""
    import shapely

    try:
        shapes = shapely.from_wkb(wkb)
    except shapely.errors.GEOSException as error:
        raise InputError(name, None, f"has geometries that cannot be read ({error})", _MEND) from None
    there = ~shapely.is_missing(shapes) & ~shapely.is_empty(shapes)
    other = there & (shapely.get_type_id(shapes) != _POINT)
    if other.any():
        told.append(Problem("areas as points", name, int(other.sum())))
    x, y = np.full(shapes.shape, np.nan), np.full(shapes.shape, np.nan)
    middles = shapely.centroid(shapes[there])
    x[there], y[there] = shapely.get_x(middles), shapely.get_y(middles)
    if crs and not _is_degrees(crs):
        x, y = to_degrees(x, y, crs)
    return x, y


def _is_degrees(crs: str) -> bool:
    return crs.upper() in ("EPSG:4326", "OGC:CRS84")


def refuse_other_kind(path: Path, inner: str, name: str) -> None:
    """Refuse a file that is not what its ending says, before GDAL looks into it.

    GDAL goes by what a file holds: one that is named like a map, and inside is a description of other files or of
    addresses, would have it read those, and show whatever lies on this computer to who sent it.

    Raises
    ------
    InputError
        Also when its beginning cannot be read.
    """
    begins = BEGINS[Path(name).suffix.lower()]
    try:
        if inner:
            with zipfile.ZipFile(path) as box, box.open(member_of(box, inner)) as member:
                head = member.read(_HEAD_BYTES)
        else:
            with path.open("rb") as plain:
                head = plain.read(_HEAD_BYTES)
    except (OSError, zipfile.BadZipFile, zlib.error, KeyError, EOFError, NotImplementedError) as error:
        raise InputError(name, None, f"cannot be read ({str(error)[:100]})", _MEND) from None
    if begins == b"{":
        head = head.removeprefix(b"\xef\xbb\xbf").lstrip(b" \t\r\n\x1e")
    if not head.startswith(begins) or (begins == b"{" and any(sign in head for sign in _ELSEWHERE)):
        raise InputError(name, None, f"is no {KINDS[Path(name).suffix.lower()]} inside", _MEND)


def _by_gdal(path: Path, inner: str, name: Path, answers: Answers) -> Read:
    import polars as pl
    import pyogrio
    from pyogrio.errors import DataLayerError, DataSourceError

    refuse_other_kind(path, inner, name.name)
    where = f"/vsizip/{path.resolve().as_posix()}/{inner}" if inner else str(path)
    with warnings.catch_warnings(record=True) as heard:
        warnings.simplefilter("always")
        try:
            layer = _layer(pyogrio.list_layers(where), name, answers.layer)
            meta, _, wkb, data = pyogrio.raw.read(where, layer=layer, datetime_as_string=True, force_2d=True)
        except (DataSourceError, DataLayerError, ValueError, OSError) as error:
            if isinstance(error, InputError):
                raise
            short = str(error).splitlines()[0].partition(";")[0].replace(where, name.name)[:100].rstrip(".")
            raise InputError(name.name, None, f"cannot be read ({short})", _MEND) from None
    columns = {}
    for header, values in zip(meta["fields"], data, strict=True):
        plain = [None if v is None else str(v) for v in values] if values.dtype == object else values
        columns[str(header)] = pl.Series(str(header), plain, strict=False)
    told = tuple(Problem("library warning", name.name, 1, str(w.message)[:100]) for w in heard)
    return Read(pl.DataFrame(columns), wkb, meta["crs"] or "", told)


def _layer(layers: Any, name: Path, asked: str) -> str:
    names = [str(row[0]) for row in layers]
    if asked:
        if asked in names:
            return asked
        raise InputError("layer", asked, "is not in the file", one_of(names))
    with_points = [str(row[0]) for row in layers if row[1] is None or "Point" in str(row[1])]
    found = with_points or names
    if len(found) != 1:
        say = f"name one of {', '.join(found)}" if found else _MEND
        raise InputError(name.name, len(found), "holds several layers" if found else "holds no layer", say)
    return found[0]


def parquet_table(path: Path, name: Path, rows: tuple[int, int] | None = None) -> Read:
    """The columns of a Parquet file that hold one value each, its geometries, and what it says of their system.

    Parameters
    ----------
    path, name : Path
        The file, and what it is called.
    rows : tuple of int, or None
        The first row that is read and how many; None: all.

    Raises
    ------
    InputError
        When it cannot be read, or its geometries are damaged or neither WKB nor points.
    """
    import polars as pl

    try:
        table = pl.read_parquet(path) if rows is None else pl.scan_parquet(path).slice(*rows).collect()
        meta = pl.read_parquet_metadata(path)
    except (pl.exceptions.PolarsError, OSError, ValueError) as error:
        short = str(error).splitlines()[0][:100]
        raise InputError(name.name, None, f"cannot be read ({short})", _MEND) from None
    table = _stored(table)
    said = meta.get("geo")
    if said is None:
        plain = _plain(table, "")
        gone = ", ".join(c for c in table.columns if c not in plain.columns)
        return Read(plain, None, "", (Problem("columns of no single value", name.name, 0, gone),) if gone else ())
    try:
        geo = json.loads(said)
        primary = geo["primary_column"]
        column = geo["columns"][primary]
        encoding, crs = column["encoding"], column.get("crs", "OGC:CRS84")
    except (ValueError, KeyError, TypeError):
        raise InputError(name.name, None, "has damaged metadata of its geometries", _MEND) from None
    if primary not in table.columns:
        raise InputError(name.name, primary, "is named as geometry and not there", _MEND)
    told = json.dumps(crs) if isinstance(crs, dict) else crs or ""
    if isinstance(crs, dict) and crs.get("id", {}).get("code") in (4326, "CRS84"):
        told = "OGC:CRS84"
    try:
        if encoding == "WKB":
            wkb = np.array(table[primary].cast(pl.Binary).to_list(), dtype=object)
            return Read(_plain(table, primary), wkb, told)
        if encoding == "point":
            import shapely

            pairs = table[primary].struct
            wkb = shapely.to_wkb(shapely.points(_float(pairs.field("x")), _float(pairs.field("y"))))
            return Read(_plain(table, primary), wkb, told)
    except pl.exceptions.PolarsError:
        raise InputError(name.name, primary, f"holds no geometries in {encoding}, as the file says", _MEND) from None
    raise InputError(name.name, encoding, "is no encoding of geometries we read", "write them as WKB")


def _stored(table: pl.DataFrame) -> pl.DataFrame:
    """The table with what stands in its columns, where others have put a type of their own around it (GeoArrow)."""
    import polars as pl

    kinds = {name: kind for name, kind in table.schema.items() if isinstance(kind, pl.BaseExtension)}
    return table.with_columns(table[name].ext.storage().alias(name) for name in kinds) if kinds else table


def _float(series: pl.Series) -> FloatArray:
    return series.to_numpy(allow_copy=True).astype(np.float64)


def _plain(table: pl.DataFrame, leave: str) -> pl.DataFrame:
    """The columns that hold one value each."""
    import polars as pl

    return table.drop(
        c for c in table.columns if c == leave or table[c].dtype.is_nested() or table[c].dtype in (pl.Binary, pl.Object)
    )
