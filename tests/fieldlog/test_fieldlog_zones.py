"""Zones of a field: every format, projected corners, names, what is refused; and records of one machine of several."""

from __future__ import annotations

import json
import zipfile
from pathlib import Path

import geopandas
import numpy as np
import polars as pl
import pyproj
import pytest
import shapely
from test_fieldlog_loss import cut

from chaffinch.errors import InputError
from chaffinch.fieldlog.cleaning.clean import clean
from chaffinch.fieldlog.cleaning.machines import machines_of, of_machine
from chaffinch.fieldlog.derive import completed
from chaffinch.fieldlog.rows import Part, Rows
from chaffinch.fieldlog.zones import Zones, read_zones, zone_of

LON, LAT = -104.6, 50.4


def frame(column: str = "zone", **more: list) -> geopandas.GeoDataFrame:
    """Two strips side by side, the first in two pieces, one of them crossing itself."""
    bow = shapely.Polygon([(LON, LAT), (LON + 0.001, LAT + 0.001), (LON + 0.001, LAT), (LON, LAT + 0.001)])
    shapes = [bow, shapely.box(LON + 0.002, LAT, LON + 0.003, LAT + 0.001), shapely.box(LON, LAT + 0.001, LON + 0.003,
              LAT + 0.002)]  # fmt: skip
    return geopandas.GeoDataFrame({column: ["clay", "sand", "clay"], **more}, geometry=shapes, crs="EPSG:4326")


def write_parquet(path: Path, shown: geopandas.GeoDataFrame, system: object = None) -> None:
    """GeoParquet 1.1 by hand, so that nothing of the program writes what it reads."""
    column = {"encoding": "WKB", "geometry_types": ["Polygon"], **({} if system is None else {"crs": system})}
    geo = {"version": "1.1.0", "primary_column": "geometry", "columns": {"geometry": column}}
    table = pl.DataFrame({name: shown[name].tolist() for name in shown.columns if name != "geometry"})
    shapes = pl.Series("geometry", list(shapely.to_wkb(shown.geometry.to_numpy())), dtype=pl.Binary)
    table.with_columns(shapes).write_parquet(path, metadata={"geo": json.dumps(geo)})


@pytest.mark.parametrize("ending", [".geojson", ".gpkg", ".shp", ".zip", ".parquet"])
def test_zones_of_every_format_are_the_same(tmp_path: Path, ending: str) -> None:
    path = tmp_path / f"zones{ending}"
    if ending == ".zip":
        frame().to_crs("EPSG:32613").to_file(tmp_path / "z.shp", driver="ESRI Shapefile")
        with zipfile.ZipFile(path, "w") as box:
            for part in tmp_path.glob("z.*"):
                box.write(part, f"soils/{part.name}")
            box.writestr("__MACOSX/soils/._z.shp", b"x")
    elif ending == ".parquet":
        write_parquet(path, frame().to_crs("EPSG:32613"), pyproj.CRS("EPSG:32613").to_json_dict())
    else:
        frame().to_file(path)
    zones = read_zones(path)
    assert zones.names == ("clay", "sand")
    lon = np.array([LON + 0.00075, LON + 0.0025, LON + 0.0015, LON + 0.001, np.nan, LON + 0.0025])
    lat = np.array([LAT + 0.0005, LAT + 0.0005, LAT + 0.0015, LAT - 0.1, LAT, LAT + 0.001])
    found, several = zone_of(zones, lon, lat)
    assert found[:5].tolist() == [0, 1, 0, -1, -1]
    if ending in (".gpkg", ".shp"):  # on the line between the two; rounded corners lie a hair beside it
        assert (int(found[5]), several) == (0, 1)


def test_names_and_coordinates_are_asked_and_never_guessed(tmp_path: Path) -> None:
    path = tmp_path / "a.geojson"
    frame("soil", drained=[1.0, 2.0, 2.0]).to_file(path)
    with pytest.raises(InputError, match="--zone-name COLUMN"):
        read_zones(path)
    with pytest.raises(InputError, match="use one of soil, drained"):
        read_zones(path, column="slope")
    assert read_zones(path, column="soil").names == ("clay", "sand")
    assert read_zones(path, column="drained").names == ("1", "2")
    frame().to_crs("EPSG:32613").to_file(tmp_path / "bare.shp", driver="ESRI Shapefile")
    (tmp_path / "bare.prj").unlink()
    with pytest.raises(InputError, match="tells no coordinate system"):
        read_zones(tmp_path / "bare.shp")
    told = read_zones(tmp_path / "bare.shp", crs="EPSG:32613")
    np.testing.assert_allclose(shapely.total_bounds(told.shapes), [LON, LAT, LON + 0.003, LAT + 0.002], atol=1e-9)


def test_many_records_in_a_zone_of_fine_edges() -> None:
    """60,000 corners, 60,000 records: asked corner by corner for each record this takes a minute."""
    turn = np.linspace(0.0, 2.0 * np.pi, 60_000, endpoint=False)
    fine = shapely.Polygon(np.column_stack([LON + 0.01 * np.cos(turn), LAT + 0.01 * np.sin(turn)]))
    zones = Zones(("round",), np.array([fine]), np.zeros(1, np.int64))
    lon, lat = np.random.default_rng(1).uniform(-0.01, 0.01, (2, 60_000))
    found, several = zone_of(zones, LON + lon, LAT + lat)
    assert several == 0
    assert np.array_equal(found == 0, np.hypot(lon, lat) < 0.01)


def test_a_name_stands_on_one_line_of_signs_that_can_be_shown(tmp_path: Path) -> None:
    shown = frame()
    shown["zone"] = ["clay\r\nwet", "\x1b[31msand\u202e\x07", "clay wet"]
    shown.to_file(tmp_path / "odd.gpkg")
    assert read_zones(tmp_path / "odd.gpkg").names == ("clay wet", "[31msand")


def test_what_is_no_file_of_zones_is_refused(tmp_path: Path) -> None:
    points = geopandas.GeoDataFrame({"name": ["a"]}, geometry=[shapely.Point(LON, LAT)], crs="EPSG:4326")
    points.to_file(tmp_path / "points.geojson")
    write_parquet(tmp_path / "points.parquet", points)
    pl.DataFrame({"zone": ["a"]}).write_parquet(tmp_path / "table.parquet")
    with zipfile.ZipFile(tmp_path / "two.zip", "w") as box:
        box.writestr("a.geojson", "{}")
        box.writestr("b.geojson", "{}")
    with zipfile.ZipFile(tmp_path / "bomb.zip", "w", zipfile.ZIP_DEFLATED) as box:
        box.writestr("a.geojson", bytes(80 << 20))
    (tmp_path / "bad.geojson").write_text("{", encoding="utf-8")
    (tmp_path / "none.geojson").write_text(json.dumps({"type": "FeatureCollection", "features": []}), encoding="utf-8")
    for name, said in (
        ("points.geojson", "holds no areas"),
        ("points.parquet", "holds no areas"),
        ("table.parquet", "is a table without areas"),
        ("two.zip", "several files of zones"),
        ("bomb.zip", "would unpack to 80 MB"),
        ("bad.geojson", "cannot be read"),
        ("none.geojson", "gives its areas no names|holds no areas|without areas"),
        ("zones.txt", "ending"),
        ("gone.gpkg", "is not there"),
    ):
        with pytest.raises(InputError, match=said):
            read_zones(tmp_path / name)


def test_two_machines_are_cleaned_together_and_then_apart() -> None:
    first = cut(passes=8).rows
    k = np.arange(len(first))
    # The second machine cuts every other pass, and one strip the first has cut before.
    number = np.where(k // 120 == 7, 6, k // 120)
    columns = {**first.columns, "lon_deg": LON + number * 9.0 / 111_195.08 / np.cos(np.radians(50.4))}
    parts = (Part("a", "f", "First", "utc"), Part("b", "f", "Second", "utc"))
    rows = Rows(columns, np.where(k // 120 == 7, 1, 0), parts)
    both = clean(completed(rows))
    assert machines_of(both.rows) == ("First", "Second")
    second = of_machine(both, "Second")
    assert len(second.rows) == 120
    assert [p.machine for p in second.rows.parts] == ["Second"]
    assert np.nanmean(second.overlap_share) > 0.8  # the other machine's strip, which it could not know of by itself
    np.testing.assert_array_equal(second.flags, both.flags[-120:])
    assert sum(one.alone for one in second.taken) == int((second.flags != 0).sum())
    assert set(second.lags) == {"Second"}
    with pytest.raises(InputError, match="use one of First, Second"):
        of_machine(both, "Third")
    assert of_machine(second, "Second") is second
