"""Shapefile, GeoPackage, GeoJSON and Parquet: one field written in each reads alike, and each fails in its own way."""

from __future__ import annotations

import json
import zipfile
from pathlib import Path

import numpy as np
import polars as pl
import pyogrio
import pyproj
import pytest
import shapely
from made_tables import driven
from pyproj import Transformer

from chaffinch.book.fieldlogs.said import problem_said
from chaffinch.errors import InputError
from chaffinch.fieldlog.answers import Answers, Found
from chaffinch.fieldlog.reading.door import read_log
from chaffinch.fieldlog.zones import read_zones

FIELDS = {"speed": "Speed_km_h", "width": "Swath_Widt", "distance": "Distance", "interval": "Duration_s",
          "flow": "Grain_Flow", "yield": "Yield", "moisture": "Moisture"}  # fmt: skip
DRIVERS = {".shp": "ESRI Shapefile", ".gpkg": "GPKG", ".geojson": "GeoJSON"}


def written(path: Path, crs: str | None = "EPSG:4326", layer: str | None = None, **more) -> Path:
    made = driven()
    x, y = made["lon"], made["lat"]
    if crs not in (None, "EPSG:4326"):
        x, y = Transformer.from_crs("OGC:CRS84", crs, always_xy=True).transform(x, y)
    fields = {FIELDS[k]: v for k, v in made.items() if k in FIELDS} | more
    pyogrio.raw.write(
        path, shapely.to_wkb(shapely.points(x, y)), [np.asarray(v) for v in fields.values()], list(fields),
        geometry_type="Point", crs=crs, driver=DRIVERS[path.suffix], layer=layer,
    )  # fmt: skip
    return path


def geoparquet(path: Path, geo: dict | None, wkb: bool = True) -> Path:
    made = driven()
    table = pl.DataFrame({FIELDS[k]: v for k, v in made.items() if k in FIELDS})
    if geo is not None:
        points = shapely.points(made["lon"], made["lat"])
        column = pl.Series("geometry", shapely.to_wkb(points).tolist() if wkb else
                           [{"x": a, "y": b} for a, b in zip(made["lon"], made["lat"], strict=True)])  # fmt: skip
        table = table.with_columns(column)
        table.write_parquet(path, metadata={"geo": json.dumps(geo)})
    else:
        table.with_columns(pl.Series("lon", made["lon"]), pl.Series("lat", made["lat"])).write_parquet(path)
    return path


def is_the_field(found: Found) -> None:
    made = driven()
    assert found.questions == ()
    for name, column in (("lat", "lat_deg"), ("lon", "lon_deg"), ("flow", "flow_kg_s"), ("width", "width_m"),
                         ("speed", "speed_kmh"), ("yield", "yield_t_ha")):  # fmt: skip
        np.testing.assert_allclose(found.rows.column(column), made[name], rtol=1e-7, atol=1e-8)


@pytest.mark.parametrize("ending", DRIVERS)
def test_each_format_reads_alike(tmp_path: Path, ending: str) -> None:
    found = read_log(written(tmp_path / f"field{ending}"))
    assert found.kind == {".shp": "shapefile", ".gpkg": "GeoPackage", ".geojson": "GeoJSON"}[ending]
    is_the_field(found)


@pytest.mark.parametrize("ending", [".shp", ".gpkg"])
def test_projected_points_come_back_to_degrees(tmp_path: Path, ending: str) -> None:
    is_the_field(read_log(written(tmp_path / f"field{ending}", crs="EPSG:32613")))


@pytest.mark.parametrize("folder", ["", "export/"])
def test_a_zipped_shapefile(tmp_path: Path, folder: str) -> None:
    written(tmp_path / "field.shp")
    path = tmp_path / "field.zip"
    with zipfile.ZipFile(path, "w") as box:
        for part in tmp_path.glob("field.[dps]*"):
            box.write(part, folder + part.name)
        box.writestr("__MACOSX/._field.shp", b"\0")
    is_the_field(read_log(path))


def test_projected_points_without_a_coordinate_system_are_refused_with_a_mend(tmp_path: Path) -> None:
    path = written(tmp_path / "field.shp", crs="EPSG:32613")
    path.with_suffix(".prj").unlink()
    with pytest.raises(InputError, match=r"no coordinate system is told.*like EPSG:32612"):
        read_log(path)
    is_the_field(read_log(path, Answers(crs="EPSG:32613")))


def test_degrees_need_no_prj_but_an_odd_one_is_told(tmp_path: Path) -> None:
    path = written(tmp_path / "field.shp")
    path.with_suffix(".prj").unlink()
    is_the_field(read_log(path))


@pytest.mark.parametrize(
    ("geo", "wkb"),
    [
        ({"version": "1.1.0", "primary_column": "geometry", "columns": {"geometry": {"encoding": "WKB"}}}, True),
        ({"version": "1.1.0", "primary_column": "geometry", "columns": {"geometry": {"encoding": "point"}}}, False),
        (None, True),
    ],
)
def test_parquet_with_and_without_geometry(tmp_path: Path, geo: dict | None, wkb: bool) -> None:
    found = read_log(geoparquet(tmp_path / "field.parquet", geo, wkb))
    assert found.kind == "Parquet"
    is_the_field(found)


@pytest.mark.parametrize("wkb", [True, False])
def test_geometries_in_the_types_of_geoarrow_are_read(tmp_path: Path, wkb: bool) -> None:
    # GeoPandas writes them so: the column has a type of its own around the bytes.
    encoding = "WKB" if wkb else "point"
    column = {"encoding": encoding, "geometry_types": ["Point"]}
    path = geoparquet(tmp_path / "log.parquet", {"primary_column": "geometry", "columns": {"geometry": column}}, wkb)
    table, meta = pl.read_parquet(path), pl.read_parquet_metadata(path)
    kind = pl.Extension(f"geoarrow.{encoding.lower()}", table["geometry"].dtype, "{}")
    table.with_columns(table["geometry"].ext.to(kind)).write_parquet(path, metadata={"geo": meta["geo"]})
    assert isinstance(pl.read_parquet_schema(path)["geometry"], pl.BaseExtension)
    is_the_field(read_log(path))


def test_parquet_whose_geometry_has_no_metadata_tells_what_it_left_out(tmp_path: Path) -> None:
    points = shapely.to_wkb(shapely.points(driven()["lon"], driven()["lat"])).tolist()
    path = tmp_path / "log.parquet"
    pl.DataFrame({FIELDS[k]: v for k, v in driven().items() if k in FIELDS} | {"geometry": points}).write_parquet(path)
    found = read_log(path)
    assert [(p.kind, p.detail) for p in found.problems] == [("columns of no single value", "geometry")]
    assert "metadata of GeoParquet" in problem_said(found.problems[0])


def test_several_layers_ask_for_one(tmp_path: Path) -> None:
    path = written(tmp_path / "field.gpkg", layer="north")
    made = driven()
    pyogrio.raw.write(path, shapely.to_wkb(shapely.points(made["lon"], made["lat"])), [made["speed"]], ["speed"],
                      geometry_type="Point", crs="EPSG:4326", driver="GPKG", layer="river", append=True)  # fmt: skip
    with pytest.raises(InputError, match=r"several layers.*north, river"):
        read_log(path)
    is_the_field(read_log(path, Answers(layer="north")))
    with pytest.raises(InputError, match="is not in the file"):
        read_log(path, Answers(layer="south"))


def test_times_in_a_layer_keep_their_zone(tmp_path: Path) -> None:
    stamps = np.datetime64("2026-08-14T10:00:00", "ms") + np.arange(400) * np.timedelta64(1000, "ms")
    found = read_log(written(tmp_path / "field.gpkg", Time=stamps))
    # GeoPackage holds times in UTC or without a zone; either way nothing is guessed.
    assert found.rows.column("time_s")[0] == 1_786_701_600.0
    assert found.rows.parts[0].clock in ("utc", "machine")
    assert [q.what for q in found.questions] == (["zone"] if found.rows.parts[0].clock == "machine" else [])


def test_a_folder_of_tables_is_one_log_of_several_parts(tmp_path: Path) -> None:
    written(tmp_path / "a.gpkg")
    written(tmp_path / "b.geojson")
    (tmp_path / "c.csv").write_text("nothing here\n", encoding="utf-8")
    found = read_log(tmp_path)
    assert len(found.rows) == 800
    assert [p.name for p in found.rows.parts] == ["a", "b"]
    assert [p.kind for p in found.problems] == ["not readable"]


@pytest.mark.parametrize("name", ["a.shp", "a.gpkg", "a.geojson", "a.parquet"])
@pytest.mark.parametrize("data", [b"", b"\0" * 200, b"{}", b'{"type": "FeatureCollection", "features": []}'])
def test_rubbish_is_refused(tmp_path: Path, name: str, data: bytes) -> None:
    (tmp_path / name).write_bytes(data)
    with pytest.raises(InputError):
        read_log(tmp_path / name)


def test_a_format_nobody_published_is_refused_with_what_to_export(tmp_path: Path) -> None:
    (tmp_path / "log.xyz").write_bytes(b"\1\2\3")
    with pytest.raises(InputError, match=r"no log in an open format \(found .xyz\); export it as task data"):
        read_log(tmp_path)


def test_areas_stand_for_their_middles_and_an_empty_one_for_nothing(tmp_path: Path) -> None:
    made = driven()
    half = 0.5e-5
    boxes = shapely.box(made["lon"] - half, made["lat"] - half, made["lon"] + half, made["lat"] + half)
    wkb = shapely.to_wkb(boxes)
    wkb[7] = None
    fields = {FIELDS[k]: v for k, v in made.items() if k in FIELDS}
    path = tmp_path / "field.gpkg"
    pyogrio.raw.write(path, wkb, list(fields.values()), list(fields), geometry_type="Polygon", crs="EPSG:4326",
                      driver="GPKG")  # fmt: skip
    found = read_log(path)
    assert [(p.kind, p.count) for p in found.problems] == [("areas as points", 399)]
    assert np.isnan(found.rows.column("lat_deg")).nonzero()[0].tolist() == [7]


@pytest.mark.parametrize(
    ("geo", "said"),
    [
        ({"columns": {}}, "damaged metadata"),
        ({"primary_column": "shape", "columns": {"shape": {"encoding": "WKB"}}}, "is named as geometry and not there"),
        ({"primary_column": "geometry", "columns": {"geometry": {"encoding": "polygon"}}}, "no encoding of geometries"),
        ({"primary_column": "geometry", "columns": {"geometry": {"encoding": "point"}}}, "no geometries in point"),
    ],
)
def test_parquet_with_odd_metadata_is_refused(tmp_path: Path, geo: dict, said: str) -> None:
    with pytest.raises(InputError, match=said):
        read_log(geoparquet(tmp_path / "field.parquet", geo))


def test_parquet_in_another_system_and_broken_shapes(tmp_path: Path) -> None:
    x, y = Transformer.from_crs("OGC:CRS84", "EPSG:32613", always_xy=True).transform(driven()["lon"], driven()["lat"])
    crs = json.loads(pyproj.CRS("EPSG:32613").to_json())
    geo = {"primary_column": "geometry", "columns": {"geometry": {"encoding": "WKB", "crs": crs}}}
    table = pl.DataFrame({FIELDS[k]: v for k, v in driven().items() if k in FIELDS})
    points = pl.Series("geometry", shapely.to_wkb(shapely.points(x, y)).tolist())
    table.with_columns(points).write_parquet(tmp_path / "a.parquet", metadata={"geo": json.dumps(geo)})
    is_the_field(read_log(tmp_path / "a.parquet"))
    broken = pl.Series("geometry", [b"rubbish"] * 400)
    table.with_columns(broken).write_parquet(tmp_path / "b.parquet", metadata={"geo": json.dumps(geo)})
    with pytest.raises(InputError, match="geometries that cannot be read"):
        read_log(tmp_path / "b.parquet")


VIRTUAL = (
    '<OGRVRTDataSource><OGRVRTLayer name="secret"><SrcDataSource>{}</SrcDataSource></OGRVRTLayer></OGRVRTDataSource>'
)


@pytest.mark.parametrize("wrapped", ["{}", "\ufeff  {}", '{{"a": "{}"', '{{"type": "gdal_streamed_alg", "a": "{}"}}'])
@pytest.mark.parametrize("ending", [".geojson", ".json", ".gpkg", ".shp", ".zip"])
def test_a_file_that_points_to_others_is_never_followed(tmp_path: Path, ending: str, wrapped: str) -> None:
    """Named like a map, and inside a list of other files of this computer: GDAL would read those."""
    secret = tmp_path / "secret.geojson"
    point = {"type": "Feature", "geometry": {"type": "Point", "coordinates": [1, 50]}, "properties": {"zone": "x"}}
    secret.write_text(json.dumps({"type": "FeatureCollection", "features": [point]}), encoding="utf-8")
    sent = tmp_path / f"sent{ending}"
    inside = wrapped.format(VIRTUAL.format(secret))
    if ending == ".zip":
        with zipfile.ZipFile(sent, "w") as box:
            box.writestr("sent.geojson", inside)
    else:
        sent.write_text(inside, encoding="utf-8")
    for read in (read_log, read_zones):
        with pytest.raises(InputError, match=r"sent\.\w+: is no .* inside"):
            read(sent)
