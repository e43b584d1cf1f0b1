"""Two roads to a field's totals: the program's own, and pandas and geopandas on the table it writes."""

from __future__ import annotations

import importlib
import json
import subprocess
import sys
from pathlib import Path

import geopandas
import numpy as np
import pandas as pd
import pytest
import shapely
from open_logs import open_log
from test_fieldlog_loss import cut

from chaffinch.book.fieldlogs.one_log import answers_of, clean_log
from chaffinch.fieldlog.loss.parts import by_class, cells, of_groups
from chaffinch.fieldlog.loss.whole_field import usage, whole_field
from chaffinch.fieldlog.writing.records import write_log
from chaffinch.fieldlog.zones import read_zones, zone_of

BENCH = Path(__file__).resolve().parents[2] / "bench"
sys.path.append(str(BENCH))
PLAIN = importlib.import_module("fieldlog_plain")
EXAMPLE = Path(__file__).resolve().parents[2] / "examples" / "larkhollow-log.csv"


def machine(load):
    return 0.9 * load**1.3


def header(speed):
    return 60.0 / speed


def draws(loads, speeds):
    return machine(loads)[None, :], header(speeds)[None, :]


@pytest.mark.parametrize("name", ["example", "wheat_log.csv.gz", "corn_log.csv.gz"])
def test_sums_of_a_log_agree(name: str, tmp_path: Path) -> None:
    path = EXAMPLE if name == "example" else open_log(name)
    to = tmp_path / "cleaned.csv"
    done = clean_log(path, to, answers_of(zone="-06:00") if name == "example" else None)
    other = PLAIN.totals(pd.read_csv(to))
    parts = done.found.parts
    assert other["counting"] == done.cleaned.counts.sum()
    for mine, key in (
        (sum(p.grain_t for p in parts), "grain_t"),
        (done.grain_t, "counting_t"),
        (done.area_ha, "counting_ha"),
        (done.yield_t_ha, "middle_t_ha"),
    ):
        assert mine == pytest.approx(other[key], rel=1e-9), key


@pytest.mark.parametrize("name", ["made", "example", "wheat_log.csv.gz", "corn_log.csv.gz"])
def test_losses_of_a_field_agree(name: str, tmp_path: Path) -> None:
    """Whole, by speed, by square of the map and by zone; ours in bins of 2 %, theirs record by record."""
    to = tmp_path / "cleaned.csv"
    if name == "made":
        cleaned = cut(passes=12)
        beside = {"flags": cleaned.flags.astype(np.int32), "cut_flow_kg_s": cleaned.flow_kg_s,
                  "overlap_share": cleaned.overlap_share, "pass_no": cleaned.pass_no}  # fmt: skip
        write_log(to, cleaned.rows, beside=beside)
    else:
        answers = answers_of(zone="-06:00") if name == "example" else None
        cleaned = clean_log(EXAMPLE if name == "example" else open_log(name), to, answers).cleaned
    log = pd.read_csv(to)
    other = PLAIN.losses(log, machine, header)
    use = usage(cleaned)
    loss = whole_field(use, draws)
    total = float(loss.total_kg[0]) * use.known_ha / use.cut_ha
    assert use.known_ha == pytest.approx(other["ha"].sum(), rel=1e-9)
    assert total == pytest.approx(other["kg"].sum(), rel=2e-4)

    by_speed = other.groupby(np.floor(other["speed_kmh"]))[["ha", "kg"]].sum()
    mine = by_class(use, loss, use.speed_kmh, 1.0)
    assert [one.low for one in mine] == by_speed.index.tolist()
    assert [one.area_ha for one in mine] == pytest.approx(by_speed["ha"].tolist(), rel=1e-9)
    assert [one.area_ha * one.kg_ha for one in mine] == pytest.approx(by_speed["kg"].tolist(), rel=0.01)

    squares = cells(cleaned, use, loss, 31.0)
    frame = geopandas.GeoDataFrame({"own": [one.area_ha for one in squares]},
                                   geometry=[shapely.box(*one.box) for one in squares], crs="EPSG:4326")  # fmt: skip
    points = PLAIN.located(other).to_crs("EPSG:4326")
    # On the line between two squares a point lies in both for geopandas, in the eastern and northern one for us.
    beside = points.set_geometry(points.translate(1e-8, 1e-8))
    lying = geopandas.sjoin(frame, beside, predicate="intersects").groupby(level=0)["ha"].sum()
    assert lying.sum() == pytest.approx(use.known_ha, rel=1e-3)
    assert np.abs(lying - frame["own"]).median() < 0.01 * float(frame["own"].median())

    middle = float(np.nanmedian(cleaned.rows.column("lon_deg"))) + 2e-5  # between two passes, on no record
    shapes = [shapely.box(middle - 1, -89, middle, 89), shapely.box(middle + 1e-9, -89, middle + 1, 89)]
    zones = geopandas.GeoDataFrame({"zone": ["west", "east"]}, geometry=shapes, crs="EPSG:4326")
    zones.to_file(tmp_path / "zones.gpkg")
    read = read_zones(tmp_path / "zones.gpkg")
    zone, _ = zone_of(read, cleaned.rows.column("lon_deg"), cleaned.rows.column("lat_deg"))
    inside = geopandas.sjoin(points, zones, predicate="within").groupby("zone")[["ha", "kg"]].sum()
    for (_, known_ha, kg), where in zip(of_groups(use, loss, zone, 2), read.names, strict=True):
        assert known_ha == pytest.approx(inside.loc[where, "ha"], rel=1e-3)
        # As many kilograms for each hectare; theirs are of the records that count alone.
        assert float(kg[0]) / sum(use.cut_area_ha[zone == read.names.index(where)]) == pytest.approx(
            inside.loc[where, "kg"] / inside.loc[where, "ha"], rel=2e-3
        )


def test_area_without_what_was_cut_before_is_the_union_of_the_swaths(tmp_path: Path) -> None:
    rows = cut(passes=12).rows
    lon = rows.columns["lon_deg"].copy()
    lon[600:720] -= 4.0 / 111_195.08 / np.cos(np.radians(50.4))  # one pass 4 m into the one before it
    cleaned = cut(passes=12, lon_deg=lon)
    to = tmp_path / "cleaned.csv"
    write_log(to, cleaned.rows, beside={"flags": cleaned.flags.astype(np.int32), "pass_no": cleaned.pass_no})
    use = usage(cleaned)
    log = pd.read_csv(to)
    assert use.cut_ha == pytest.approx(PLAIN.swept_ha(log), rel=0.02)
    gross = float(np.nansum(cleaned.rows.area_m2()[cleaned.pass_no >= 0])) / 10_000
    assert gross > 1.02 * use.cut_ha  # what was cut twice would show


def test_the_bench_of_both_roads_runs_and_they_agree() -> None:
    done = subprocess.run(
        [sys.executable, "-W", "error", str(BENCH / "fieldlog_plain.py"), "--records", "6000", "--json"],
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    told = json.loads(done.stdout)
    for name, near in (("loss with range, kg", 1e-3), ("loss by zone, kg", 0.02), ("area cut, ha", 0.06)):
        # Speeds of the made field scatter about its steps, and ours takes the way from them.
        assert told[name]["ours"] == pytest.approx(told[name]["plain"], rel=near), name
