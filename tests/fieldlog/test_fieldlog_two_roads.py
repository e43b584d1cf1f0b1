"""Overlap against polygons, the lag against a known shift, medians and positions against plain numpy and PROJ."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from pyproj import Geod

from chaffinch.fieldlog.cleaning.clean import clean
from chaffinch.fieldlog.cleaning.lag import flow_lag, shifted_flow
from chaffinch.fieldlog.cleaning.overlap import overlap_share
from chaffinch.fieldlog.cleaning.passes import course
from chaffinch.fieldlog.derive import completed
from chaffinch.fieldlog.groups import from_start, medians, run_starts, sliding_mean
from chaffinch.fieldlog.on_disk.pieces import middle_over
from chaffinch.fieldlog.plane import middle, step_m, to_plane
from chaffinch.fieldlog.rows import Part, Rows
from chaffinch.fieldlog.settings import usual

M_DEG = 111_195.08


def passes(offsets: list[float], length: int = 80, delay: int = 0, seed: int = 3) -> Rows:
    rng = np.random.default_rng(seed)
    k = np.arange(len(offsets) * length)
    number, place = k // length, k % length
    y = np.where(number % 2 == 0, place, length - 1 - place) * 1.8
    x = np.array(offsets)[number]
    crop = 5.0 + np.sin(y / 14 + 1) + 0.8 * np.sin(x / 31) + rng.normal(0, 0.25, k.size)
    flow = np.roll(crop * 1.8 * 9.0 / 10, delay)
    columns = {"time_s": k * 1.0, "lon_deg": -104.6 + x / M_DEG / np.cos(np.radians(50.4)), "lat_deg": 50.4 + y / M_DEG,
               "speed_kmh": np.full(k.size, 6.48), "width_m": np.full(k.size, 9.0), "flow_kg_s": flow}  # fmt: skip
    return completed(Rows(columns, np.zeros(k.size, np.int64), (Part("log"),)))


def test_overlap_agrees_with_polygons() -> None:
    offsets = [0.0, 9.0, 13.0, 22.0, 28.5, 37.5, 37.5]
    rows = passes(offsets)
    way = course(rows, usual())
    found = overlap_share(way, rows.column("width_m"), np.ones(len(rows), np.bool_))
    earlier = shapely.Polygon()
    for number in range(len(offsets)):
        mine = np.arange(number * 80 + 5, number * 80 + 75)
        swath = shapely.LineString(np.stack([way.x_m[mine], way.y_m[mine]], axis=1)).buffer(4.5, cap_style="flat")
        true = swath.intersection(earlier).area / swath.area
        # Told in fifths of the width: half of one is the most that rounding can do.
        assert np.nanmean(found[mine]) == pytest.approx(true, abs=0.11), number
        earlier = earlier.union(swath)


@pytest.mark.parametrize("delay", [0, 3, 9, 14, -5])
def test_a_shift_of_whole_records_is_found_and_undone(delay: int) -> None:
    rows = passes([9.0 * k for k in range(14)], delay=delay)
    way = course(rows, usual())
    lag = flow_lag(rows, way, way.pass_no >= 0, usual())
    assert lag.found
    assert lag.seconds == pytest.approx(delay, abs=0.3)
    back = shifted_flow(rows.column("flow_kg_s"), way, float(delay))
    there = ~np.isnan(back)
    assert there.mean() > 0.9
    np.testing.assert_allclose(back[there], np.roll(rows.column("flow_kg_s"), -delay)[there], rtol=1e-12)


def test_passes_in_one_direction_or_an_even_field_tell_no_lag() -> None:
    rows = passes([9.0 * k for k in range(14)])
    one_way = rows.with_columns({"lat_deg": 50.4 + np.tile(np.arange(80) * 1.8, 14) / M_DEG})
    assert not clean(one_way).lags[""].found
    rng = np.random.default_rng(1)
    even = rows.with_columns({"flow_kg_s": 8.0 * np.exp(rng.normal(0, 0.05, len(rows)))})
    assert clean(even).lags[""].seconds == 0.0


def test_medians_of_runs_are_numpys() -> None:
    rng = np.random.default_rng(1)
    values = rng.normal(size=500)
    values[rng.random(500) < 0.1] = np.nan
    runs = np.sort(rng.integers(0, 40, 500))
    starts = run_starts(runs)
    found = medians(values, starts, least=3)
    for k, number in enumerate(np.unique(runs)):
        one = values[(runs == number) & ~np.isnan(values)]
        assert found[k] == (np.median(one) if one.size >= 3 else pytest.approx(np.nan, nan_ok=True))


def test_what_stands_before_the_first_false_of_a_run() -> None:
    mask = np.array([True, True, False, True, False, True, True])
    assert from_start(mask, np.array([0, 3, 5])).tolist() == [True, True, False, True, False, True, True]


def test_sliding_means_skip_what_is_missing() -> None:
    values = np.array([1.0, np.nan, 3.0, 5.0])
    low, high = np.array([0, 0, 1, 2]), np.array([0, 2, 3, 3])
    np.testing.assert_allclose(sliding_mean(values, low, high), [1.0, 2.0, 4.0, 4.0])


@pytest.mark.parametrize("lat0", [-35.0, 0.0, 50.0, 60.0])
def test_metres_agree_with_the_spheroid(lat0: float) -> None:
    rng = np.random.default_rng(4)
    lon, lat = 179.99 + rng.uniform(0, 0.03, 40), lat0 + rng.uniform(0, 0.02, 40)
    lon = np.where(lon > 180, lon - 360, lon)  # across the date line too
    _, _, true = Geod(ellps="WGS84").inv(lon[:-1], lat[:-1], lon[1:], lat[1:])
    np.testing.assert_allclose(step_m(lon, lat)[1:], true, rtol=0.007)
    x, y = to_plane(lon, lat)
    np.testing.assert_allclose(np.hypot(np.diff(x), np.diff(y)), true, rtol=0.007)


@pytest.mark.parametrize("lon0", [180.0, 0.0, 12.0])
def test_a_field_that_lies_half_on_either_side_of_the_date_line_is_one(lon0: float) -> None:
    # As many records east of it as west of it: the median of their numbers lies halfway around the earth.
    lon = (lon0 + np.linspace(-0.01, 0.01, 40) + 180.0) % 360.0 - 180.0
    lat = np.full(40, -17.0)
    middle_lon, middle_lat = middle(lon, lat)
    assert abs((middle_lon - lon0 + 180.0) % 360.0 - 180.0) < 1e-9
    assert middle_over(lambda: iter([lon[:7], lon[7:]]), lambda: iter([lat])) == (middle_lon, middle_lat)
    x, _ = to_plane(lon, lat)
    np.testing.assert_allclose(np.diff(x), 0.02 / 39 * M_DEG * np.cos(np.radians(17.0)), rtol=1e-4)
