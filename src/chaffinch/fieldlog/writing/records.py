"""How are records handed on? GeoParquet for keeping, GeoPackage and GeoJSON for maps, comma text for everybody.

Columns keep their names with the unit. Time is a moment in UTC where the clock is known, else what the machine showed
or the seconds that passed. What we write, :func:`~chaffinch.fieldlog.reading.door.read_log` reads again.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from chaffinch.errors import InputError
from chaffinch.fieldlog.loss.parts import Cell
from chaffinch.fieldlog.rows import Rows, in_order
from chaffinch.fieldlog.work_folder import whole_file

if TYPE_CHECKING:
    import polars as pl

ENDINGS: Final = {".parquet": "GeoParquet", ".gpkg": "GeoPackage", ".geojson": "GeoJSON", ".csv": "comma text"}
GEO_VERSION: Final = "1.1.0"
"""Version of the GeoParquet specification that is written (printed)."""


def write_log(path: Path, rows: Rows, *, beside: Mapping[str, Any] | None = None, replace: bool = False) -> None:
    """Write records to a file; its ending tells the format.

    Parameters
    ----------
    path : Path
    rows : Rows
    beside : mapping of str to array, or None
        More columns, such as flags and reasons, shape (n,).
    replace : bool
        Whether a file that is there may be written over.

    Raises
    ------
    InputError
        For an ending we do not write, a file that is there already, one that cannot be written, and a map format for
        records without positions.
    """
    kind = ENDINGS.get(path.suffix.lower())
    if kind is None:
        raise InputError("output", path.name, "has an ending we do not write", f"use {', '.join(ENDINGS)}")
    if path.exists() and not replace:
        raise InputError("output", path.name, "is there already", "give another name, or --replace it")
    located = {"lon_deg", "lat_deg"} <= set(rows.columns)
    if not located and kind in ("GeoPackage", "GeoJSON"):
        raise InputError("output", path.name, "needs positions, and the records have none", "write .csv or .parquet")
    table = as_table(rows, beside or {})
    with whole_file(path) as fresh:
        if kind == "comma text":
            table.write_csv(fresh)
        elif kind == "GeoParquet":
            _parquet(fresh, rows, table, located=located)
        else:
            _by_gdal(fresh, rows, table, "GPKG" if kind == "GeoPackage" else "GeoJSON")


def map_format(path: Path, *, replace: bool) -> str:
    """In which format a map is written there.

    Raises
    ------
    InputError
        For an ending no map has (comma text is none), and a file that is there already.
    """
    kind = ENDINGS.get(path.suffix.lower())
    if kind is None or kind == "comma text":
        raise InputError(
            "output", path.name, "has an ending no map has", "use .gpkg, .geojson or .parquet; .png of one log"
        )
    if path.exists() and not replace:
        raise InputError("output", path.name, "is there already", "give another name, or --replace it")
    return kind


def write_cells(path: Path, squares: Sequence[Cell], *, replace: bool = False) -> None:
    """Write the map of a loss: squares with their area [ha] and loss [kg/ha and kg].

    Raises
    ------
    InputError
        As for :func:`write_log`; comma text is no map.
    """
    import polars as pl
    import shapely

    kind = map_format(path, replace=replace)
    if not squares:
        raise InputError("output", path.name, "would be empty: no record counts", "look at the cleaning first")
    wkb = shapely.to_wkb([shapely.box(*one.box) for one in squares])
    fields = {
        "area_ha": np.array([one.area_ha for one in squares]),
        "loss_kg_ha": np.array([one.kg_ha for one in squares]),
        "loss_kg": np.array([one.area_ha * one.kg_ha for one in squares]),
    }
    with whole_file(path) as fresh:
        if kind == "GeoParquet":
            column = {"encoding": "WKB", "geometry_types": ["Polygon"]}
            geo = {"version": GEO_VERSION, "primary_column": "geometry", "columns": {"geometry": column}}
            shapes = pl.Series("geometry", list(wkb), dtype=pl.Binary)
            pl.DataFrame(fields).with_columns(shapes).write_parquet(fresh, metadata={"geo": json.dumps(geo)})
        else:
            _written_by_gdal(fresh, wkb, fields, "GPKG" if kind == "GeoPackage" else "GeoJSON", "Polygon")


def as_table(rows: Rows, beside: Mapping[str, Any]) -> pl.DataFrame:
    """The records as a table of columns: parts by name, times as moments."""
    import polars as pl

    series = []
    for name in ("field", "machine", "name"):
        values = pl.Series([str(getattr(part, name)) for part in rows.parts], dtype=pl.String)
        series.append(values.gather(pl.Series(rows.part)).alias("part" if name == "name" else name))
    clocks = np.array([part.clock for part in rows.parts])[rows.part]
    time = rows.column("time_s")
    for clock, name in (("utc", "time_utc"), ("machine", "time_machine"), ("elapsed", "elapsed_s")):
        if not (clocks == clock).any() or "time_s" not in rows:
            continue
        mine = np.where(clocks == clock, time, np.nan)
        if clock == "elapsed":
            series.append(pl.Series(name, mine).fill_nan(None))
        else:
            zone = "UTC" if clock == "utc" else None
            micro = pl.Series(name, mine * 1e6).fill_nan(None).round(0).cast(pl.Int64)
            series.append(micro.cast(pl.Datetime("us", zone)))
    series += [
        pl.Series(name, rows.columns[name]).fill_nan(None) for name in in_order(rows.columns) if name != "time_s"
    ]
    series += [pl.Series(name, values) for name, values in beside.items()]
    return pl.DataFrame(series)


def _wkb(rows: Rows) -> Any:
    import shapely

    points = shapely.points(rows.columns["lon_deg"], rows.columns["lat_deg"])
    missing = np.isnan(rows.columns["lon_deg"]) | np.isnan(rows.columns["lat_deg"])
    points[missing] = None
    return shapely.to_wkb(points)


def _parquet(path: Path, rows: Rows, table: pl.DataFrame, *, located: bool) -> None:
    import polars as pl

    if not located:
        table.write_parquet(path)
        return
    points = pl.Series("geometry", list(_wkb(rows)), dtype=pl.Binary)
    table.with_columns(points).write_parquet(path, metadata=geo_metadata())


def geo_metadata() -> dict[str, str]:
    """What a GeoParquet of points says of its column ``geometry``."""
    column = {"encoding": "WKB", "geometry_types": ["Point"]}
    return {"geo": json.dumps({"version": GEO_VERSION, "primary_column": "geometry", "columns": {"geometry": column}})}


def _by_gdal(path: Path, rows: Rows, table: pl.DataFrame, driver: str) -> None:
    import polars as pl

    fields = {}
    for name in table.columns:
        values = table[name]
        if values.dtype.is_temporal():
            text = values.dt.strftime("%Y-%m-%dT%H:%M:%S%.3f" + ("Z" if name == "time_utc" else ""))
            fields[name] = np.array(text.to_list(), dtype=object)
        elif values.dtype == pl.String:
            fields[name] = np.array(values.to_list(), dtype=object)
        else:
            fields[name] = values.to_numpy(allow_copy=True)
    _written_by_gdal(path, _wkb(rows), fields, driver, "Point")


def _written_by_gdal(path: Path, wkb: Any, fields: Mapping[str, Any], driver: str, kind: str) -> None:
    from pyogrio.errors import DataLayerError, DataSourceError, FeatureError
    from pyogrio.raw import write

    try:
        write(path, wkb, list(fields.values()), list(fields), geometry_type=kind, crs="EPSG:4326", driver=driver)
    except (DataLayerError, DataSourceError, FeatureError) as error:
        raise InputError("output", path.name, f"cannot be written ({error})", "check the folder and the disk") from None
