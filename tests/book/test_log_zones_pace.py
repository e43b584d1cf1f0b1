"""Zones, the best pace, one machine of several and the log's own loss sensor, through the book."""

from __future__ import annotations

from pathlib import Path

import geopandas
import numpy as np
import pytest
import shapely
from test_log_losses import CHECK_S, M_DEG, a_log, combine

from chaffinch.book.fieldlogs.losses import log_loss
from chaffinch.book.fieldlogs.zone_edges import zone_names
from chaffinch.book.fieldlogs.zones import ZonesTold
from chaffinch.engine.pace.best import break_even_loss_kg_ha
from chaffinch.errors import InputError
from chaffinch.fieldlog.derive import completed
from chaffinch.fieldlog.rows import Part, Rows
from chaffinch.fieldlog.writing.records import write_log
from season_book import SeasonBook, start, with_speeds

LON = -104.6


@pytest.fixture
def season(tmp_path: Path) -> SeasonBook:
    book = start(tmp_path / "a.chaffinch")
    with_speeds(book, header_slope=0.5)
    return book


def test_zones_add_up_to_the_field_and_have_their_own_range(season: SeasonBook, tmp_path: Path) -> None:
    half = LON + 5.5 * 11.5 / M_DEG / np.cos(np.radians(50.4))
    west, east = (shapely.box(*ends) for ends in ((LON - 0.01, 50, half, 51), (half, 50.4, LON + 0.01, 50.401)))
    geopandas.GeoDataFrame({"name": ["west", "south east"]}, geometry=[west, east], crs="EPSG:4326").to_file(
        tmp_path / "z.gpkg"
    )
    path = a_log(tmp_path / "log.parquet")
    found = log_loss(
        season.desk, combine(season), "canola", path, price_per_t=600.0, zones=ZonesTold(tmp_path / "z.gpkg")
    )
    assert [one.name for one in found.by_zone] == ["west", "south east", ""]
    assert sum(one.cut_ha for one in found.by_zone) == pytest.approx(found.cut_ha)
    assert sum(one.known_ha for one in found.by_zone) == pytest.approx(found.known_ha)
    # Records that do not count lie otherwise in each zone, so the sum is the field's but for that.
    assert sum(one.total_kg.median for one in found.by_zone) == pytest.approx(found.total_kg.median, rel=0.01)
    for one in found.by_zone:
        assert one.total_kg.low < one.total_kg.median < one.total_kg.high
        assert one.money.median == pytest.approx(0.6 * one.total_kg.median)
        assert one.kg_ha.median == pytest.approx(one.total_kg.median / one.cut_ha)
    far = geopandas.GeoDataFrame({"name": ["far"]}, geometry=[shapely.box(0, 0, 1, 1)], crs="EPSG:4326")
    far.to_file(tmp_path / "far.geojson")
    with pytest.raises(InputError, match="hold no record of the log"):
        log_loss(season.desk, combine(season), "canola", path, zones=ZonesTold(tmp_path / "far.geojson"))


def test_the_zones_of_the_example_lie_over_its_log() -> None:
    examples = Path(__file__).resolve().parents[2] / "examples"
    assert zone_names(ZonesTold(examples / "larkhollow-soils.geojson", "", "")) == ("loam", "sand")
    zones = geopandas.read_file(examples / "larkhollow-soils.geojson").union_all()
    log = np.genfromtxt(examples / "larkhollow-log.csv", delimiter=",", skip_header=1, usecols=(1, 2))
    assert shapely.contains_xy(zones, log[:, 0], log[:, 1]).mean() > 0.97, "all but the places that jumped"


def test_the_best_pace_is_where_the_rule_says_and_pays(tmp_path: Path) -> None:
    book = start(tmp_path / "a.chaffinch")
    with_speeds(book, slope=2.0, repeats=3)
    path = a_log(tmp_path / "log.parquet", passes=6, speed_kmh=8.5)

    def asked(hour_cost: float, **more: float | bool) -> object:
        return log_loss(book.desk, combine(book), "canola", path, price_per_t=600.0, hour_cost_per_h=hour_cost,
                        **({"best": True} | more))  # fmt: skip

    found = asked(250.0)
    best, other = found.best, found.other
    assert other.speed_kmh == best.best_kmh
    assert best.at_edge is None
    # Another road: where the loss there is that at which slower and faster balance. Loss rises by the power of about 2.
    width = 10 * found.cut_ha / (found.mean_kmh * found.hours)
    loss = other.total_kg.median / found.cut_ha
    balance = break_even_loss_kg_ha(
        best.best_kmh, width_m=width, hour_cost_per_h=250.0, price_per_t=600.0, exponent=2.0
    )
    assert loss == pytest.approx(balance, rel=0.2)
    assert other.hours == pytest.approx(found.mean_kmh * found.hours / best.best_kmh)
    assert other.time_cost == pytest.approx(250.0 * (other.hours - found.hours))
    assert other.gain.median == pytest.approx(other.money_saved.median - other.time_cost)
    assert other.gain.median > 0
    # No other pace gains as much, on average.
    for kmh in (0.8 * best.best_kmh, 1.2 * best.best_kmh):
        assert asked(250.0, best=False, other_kmh=kmh).other.gain.median < other.gain.median
    assert asked(100.0).best.best_kmh < best.best_kmh
    held = asked(250.0, fastest_kmh=best.best_kmh - 0.5).best
    assert (held.at_edge, held.best_kmh) == ("fastest allowed", best.best_kmh - 0.5)


def test_the_best_pace_asks_for_what_it_needs(season: SeasonBook, tmp_path: Path) -> None:
    path = tmp_path / "no.parquet"
    for more, said in (
        ({"hour_cost_per_h": 1.0}, "price"),
        ({"price_per_t": 600.0}, "hour cost"),
        ({"other_kmh": 5.0}, "ask for one of the two"),
        ({"fastest_kmh": 60.0}, "fastest speed"),
    ):
        with pytest.raises(InputError, match=said):
            log_loss(season.desk, combine(season), "canola", path, best=True, **more)


def test_of_several_machines_one_is_chosen(season: SeasonBook, tmp_path: Path) -> None:
    two = a_log(tmp_path / "two.parquet", machines=("Old Bess", "Young Bess"), passes=8)
    both = [log_loss(season.desk, combine(season), "canola", two, machine=m) for m in ("Old Bess", "Young Bess")]
    assert sum(one.log.cleaned.flags.size for one in both) == 8 * 120
    assert both[0].cut_ha == pytest.approx(both[1].cut_ha, rel=0.05)
    # The check was taken while the second ran: only its records tell of it.
    assert [len(one.joined) for one in both] == [0, 1]
    with pytest.raises(InputError, match="--machine NAME"):
        log_loss(season.desk, combine(season), "canola", two)
    with pytest.raises(InputError, match="is not in the log"):
        log_loss(season.desk, combine(season), "canola", two, machine="Old")


HEARD = 0.04
"""Grams a second the sensor of the test hears of each kg/ha and each (m/s · m); the rest goes past it."""


def heard_log(path: Path, column: str, hours: int = 6) -> Path:
    """A log of hours at 4 to 9 km/h as the season's checks were taken, whose sensor hears a part of the true loss."""
    n = hours * 3600
    k = np.arange(n)
    number, place = k // 300, k % 300
    speed = 4.0 + np.minimum(k // 3600, hours - 1)
    step = speed / 3.6
    y = np.where(number % 2 == 0, place, 299 - place) * step
    crop = 2.5 * np.exp(0.15 * np.sin(y / 37 + number))
    loss = 30.0 * (speed / 6.0) ** 1.5
    noise = np.exp(np.random.default_rng(1).normal(0, 0.1, n))
    heard = {
        "loss_g_s": HEARD * loss * noise * step * 11.5,
        "loss_kg_ha": 0.3 * loss * noise,
        "loss_share_pct": loss * noise / crop,
    }[column]
    columns = {
        "time_s": CHECK_S - 3500 + k,
        "lon_deg": LON + number * 11.5 / M_DEG / np.cos(np.radians(50.4)),
        "lat_deg": 50.4 + y / M_DEG,
        "speed_kmh": speed,
        "width_m": np.full(n, 11.5),
        "flow_kg_s": crop * step * 11.5 / 10,
        column: heard,
    }
    write_log(path, completed(Rows(columns, np.zeros(n, np.int64), (Part("log", "f", "Old Bess", "utc"),))))
    return path


@pytest.mark.parametrize("column", ["loss_g_s", "loss_share_pct"])
def test_a_loss_sensor_is_read_by_the_checks_beside_it(tmp_path: Path, column: str) -> None:
    book = start(tmp_path / "a.chaffinch")
    with_speeds(book, repeats=1)
    found = log_loss(book.desk, combine(book), "canola", heard_log(tmp_path / "log.parquet", column))
    assert len(found.joined) == 6
    sensor = found.sensor
    assert (sensor.column, sensor.pairs, sensor.missing) == (column, 6, ())
    true = float(
        np.mean(30.0 * (np.arange(4.0, 10.0) / 6) ** 1.5 * np.arange(4.0, 10.0)) / np.mean(np.arange(4.0, 10.0))
    )
    low, high = (end / found.cut_ha for end in (sensor.machine_kg.low, sensor.machine_kg.high))
    assert low < true < high
    assert sensor.machine_kg.median / found.cut_ha == pytest.approx(true, rel=0.2)
    assert sensor.beyond_share < 0.35


def test_a_loss_sensor_without_enough_checks_tells_nothing(season: SeasonBook, tmp_path: Path) -> None:
    path = heard_log(tmp_path / "log.parquet", "loss_kg_ha", hours=1)
    found = log_loss(season.desk, combine(season), "canola", path).sensor
    assert found.machine_kg is None
    assert found.missing
    assert log_loss(season.desk, combine(season), "canola", a_log(tmp_path / "no.parquet")).sensor is None
