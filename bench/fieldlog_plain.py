"""How much longer does a field take in pandas and geopandas, one plain step after another, for the same totals?

The second road to what a field lost: no rooms of ours in it, every record by itself and no bins, areas as polygons. It
cleans nothing; it is given which records count (``flags`` as they are written beside the records) and says what they
come to. The tests hold both roads together on invented and on open logs; here their times are set side by side.

    python bench/fieldlog_plain.py --records 50000
"""

import argparse
import itertools
import json
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import geopandas
import numpy as np
import pandas as pd
import shapely

import fieldlog_speed
from chaffinch.fieldlog.answers import Answers
from chaffinch.fieldlog.cleaning.clean import clean
from chaffinch.fieldlog.cleaning.overlap import overlap_share
from chaffinch.fieldlog.cleaning.passes import course
from chaffinch.fieldlog.derive import completed
from chaffinch.fieldlog.loss.parts import of_groups
from chaffinch.fieldlog.loss.whole_field import usage, whole_field
from chaffinch.fieldlog.reading.door import read_log
from chaffinch.fieldlog.settings import usual
from chaffinch.fieldlog.zones import Zones, zone_of

Curve = Callable[[pd.Series], pd.Series]


def totals(log: pd.DataFrame) -> dict[str, float]:
    """Grain [t] and area [ha] of all records, and of those that count, from a table as the program writes it."""
    table = log.assign(
        kg=log["flow_kg_s"] * log["interval_s"],
        ha=log["width_m"] * log["distance_m"] / 10_000.0,
    )
    good = table[table["flags"] == 0]
    return {
        "grain_t": table["kg"].sum() / 1000.0,
        "area_ha": table["ha"].sum(),
        "counting": float(len(good)),
        "counting_t": (good["cut_flow_kg_s"] * good["interval_s"]).sum() / 1000.0,
        "counting_ha": (good["ha"] * (1.0 - good["overlap_share"].fillna(0.0))).sum(),
        "middle_t_ha": good["cut_yield_t_ha"].median(),
    }


def losses(log: pd.DataFrame, machine: Curve, header: Curve) -> pd.DataFrame:
    """Every record that counts with its load [t/h], area [ha] and loss [kg/ha and kg], no bins."""
    good = log[log["flags"] == 0].copy()
    good["load_t_h"] = 3.6 * good["cut_flow_kg_s"]
    good["ha"] = good["width_m"] * good["distance_m"] / 10_000.0 * (1.0 - good["overlap_share"].fillna(0.0))
    good = good[good["ha"] > 0]
    good["kg_ha"] = machine(good["load_t_h"]) + header(good["speed_kmh"])
    good["kg"] = good["kg_ha"] * good["ha"]
    return good


def located(log: pd.DataFrame) -> geopandas.GeoDataFrame:
    """The records as points in metres, in the zone of UTM they lie in."""
    points = geopandas.GeoDataFrame(
        log, geometry=geopandas.points_from_xy(log["lon_deg"], log["lat_deg"]), crs="EPSG:4326"
    )
    return points.to_crs(points.estimate_utm_crs())


def swept_ha(log: pd.DataFrame) -> float:
    """Area swept by the swaths, each record a rectangle around its place, what was cut twice counted once [ha]."""
    points = located(log)
    x, y = points.geometry.x.to_numpy(), points.geometry.y.to_numpy()
    pass_no = log["pass_no"].to_numpy()
    shapes = []
    for number in np.unique(pass_no[pass_no >= 0]):
        mine = np.flatnonzero(pass_no == number)
        if mine.size < 2:
            continue
        way = np.column_stack([x[mine], y[mine]])
        # A record's rectangle reaches half a step to either side of its place.
        way = np.vstack([1.5 * way[0] - 0.5 * way[1], way, 1.5 * way[-1] - 0.5 * way[-2]])
        line = shapely.LineString(way)
        shapes.append(line.buffer(float(log["width_m"].to_numpy()[mine].mean()) / 2.0, cap_style="flat"))
    return float(geopandas.GeoSeries(shapes).union_all().area) / 10_000.0


ROWS = 1000
"""Records whose draws are held at once."""


def total_draws(good: pd.DataFrame, draws: Callable) -> np.ndarray:
    """Draws of what the records that count lost [kg], record by record."""
    total = 0.0
    for start in range(0, len(good), ROWS):
        some = good.iloc[start : start + ROWS]
        loss, _ = draws(some["load_t_h"].to_numpy(), some["speed_kmh"].to_numpy())
        total = total + loss @ some["ha"].to_numpy()
    return total


def timed(work: Callable) -> tuple[float, object]:
    """Processor seconds, and what came out."""
    began = time.process_time()
    found = work()
    return time.process_time() - began, found


def main() -> None:
    """Print both roads' figures and the ratio of their times."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--records", type=int, default=50_000)
    parser.add_argument("--json", action="store_true")
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as place:
        fieldlog_speed.make(Path(place) / "field", given.records, 1)
        rows = completed(read_log(Path(place) / "field", Answers(zone="utc")).rows)
    cleaned = clean(rows)
    fieldlog_speed.ready()
    draws = fieldlog_speed._CURVE[0]
    log = pd.DataFrame({name: rows.columns[name] for name in rows.columns}).assign(
        flags=cleaned.flags,
        cut_flow_kg_s=cleaned.flow_kg_s,
        overlap_share=cleaned.overlap_share,
        pass_no=cleaned.pass_no,
    )
    edges = np.quantile(log["lon_deg"], np.linspace(0, 1, 6))
    shapes = [shapely.box(a, -89, b, 89) for a, b in itertools.pairwise(edges)]
    zones = geopandas.GeoDataFrame({"zone": list("abcde")}, geometry=shapes, crs="EPSG:4326")
    own_zones = Zones(tuple("abcde"), zones.geometry.to_numpy(), np.arange(5))
    use = usage(cleaned)
    found = whole_field(use, draws)

    def plain_zones() -> pd.Series:
        points = geopandas.GeoDataFrame(good, geometry=geopandas.points_from_xy(good["lon_deg"], good["lat_deg"]))
        return geopandas.sjoin(points.set_crs("EPSG:4326"), zones).groupby("zone")["kg"].sum()

    def own_by_zone() -> list:
        zone, _ = zone_of(own_zones, rows.column("lon_deg"), rows.column("lat_deg"))
        return of_groups(use, found, zone, 5)

    def own_overlap() -> float:
        share = overlap_share(course(rows, usual()), rows.column("width_m"), cleaned.pass_no >= 0)
        mine = cleaned.pass_no >= 0
        return float(np.nansum((rows.area_m2() * (1.0 - np.nan_to_num(share)))[mine])) / 10_000.0

    # Both roads have the mean loss of each record when they come to the zones.
    good = losses(log, lambda load: draws(load.to_numpy(), None)[0].mean(axis=0), lambda speed: 0.0 * speed)
    known = use.known_ha / use.cut_ha
    told = {}
    for name, own, plain in (
        ("loss with range, kg", lambda: whole_field(usage(cleaned), draws).total_kg, lambda: total_draws(good, draws)),
        ("loss by zone, kg", own_by_zone, plain_zones),
        ("area cut, ha", own_overlap, lambda: swept_ha(log)),
    ):
        (own_s, mine), (plain_s, theirs) = timed(own), timed(plain)
        if name.startswith("loss with"):
            pair = (float(np.median(mine)) * known, float(np.median(theirs)))
        elif name.startswith("loss by"):
            pair = (sum(float(d.mean()) * k / c for c, k, d in mine), float(theirs.sum()))
        else:
            pair = (mine, theirs)
        told[name] = {"ours": pair[0], "plain": pair[1], "ours_s": own_s, "plain_s": plain_s, "ratio": plain_s / own_s}
    if given.json:
        json.dump(told, sys.stdout)
        return
    print(f"{given.records:,} records")
    for name, one in told.items():
        print(f"{name:20} ours {one['ours']:12,.3f} in {one['ours_s']:.3f} s   plain {one['plain']:12,.3f} in "
              f"{one['plain_s']:.3f} s   {one['ratio']:.1f} times")  # fmt: skip


if __name__ == "__main__":
    main()
