"""A log and the checks of a book put together: totals two ways, joined checks, another pace, the map on disk."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pyogrio
import pytest

from chaffinch.book.fieldlogs.losses import log_loss, write_map
from chaffinch.book.things import things
from chaffinch.engine.pace.curves import paired
from chaffinch.errors import InputError
from chaffinch.fieldlog.derive import completed
from chaffinch.fieldlog.loss.whole_field import usage
from chaffinch.fieldlog.rows import Part, Rows
from chaffinch.fieldlog.writing.records import write_log
from season_book import start, with_speeds

M_DEG = 111_195.08
CHECK_S = 1_786_348_800.0  # 2026-08-10 08:00 UTC, the first check of the season


def a_log(
    path: Path,
    machines: tuple[str, ...] = ("Old Bess",),
    crop_t_ha: float = 2.5,
    passes: int = 12,
    speed_kmh: float = 7.0,
) -> Path:
    """Passes that ended 100 s after the first check was taken."""
    n = passes * 120
    k = np.arange(n)
    number, place = k // 120, k % 120
    step = speed_kmh / 3.6
    y = np.where(number % 2 == 0, place, 119 - place) * step
    speed = np.full(n, speed_kmh) * (1 + 0.01 * np.sin(k))
    crop = crop_t_ha * (1 + 0.2 * np.sin(y / 30))
    columns = {
        "time_s": CHECK_S + 100 - n + k,
        "lon_deg": -104.6 + number * 11.5 / M_DEG / np.cos(np.radians(50.4)),
        "lat_deg": 50.4 + y / M_DEG,
        "speed_kmh": speed,
        "width_m": np.full(n, 11.5),
        "flow_kg_s": crop * speed * 11.5 / 36,
    }
    parts = tuple(Part(f"log {m}", "Long Hollow", m, "utc") for m in machines)
    rows = Rows(columns, k * len(machines) // n, parts)
    write_log(path, completed(rows))
    return path


def combine(book, name: str = "Old Bess"):
    return next(t for t in things(book.desk, "combine") if t.name == name)


def test_the_total_agrees_with_every_record_put_through_the_curves(tmp_path: Path) -> None:
    book = start(tmp_path / "a.chaffinch")
    with_speeds(book, header_slope=0.5)
    found = log_loss(book.desk, combine(book), "canola", a_log(tmp_path / "log.parquet", passes=3), price_per_t=600.0)
    use = usage(found.log.cleaned)
    good = ~np.isnan(use.area_ha)
    curves = found.curves
    machine = curves.machine.loss_kg_ha(use.load_t_h[good], combine=combine(book).id, shared_error=False)
    header = curves.header.loss_kg_ha(use.speed_kmh[good], combine=combine(book).id, shared_error=False)
    both = paired((machine, curves.machine.weights), (header, curves.header.weights), shared=curves.shared, seed=1)
    total = (both[0] + both[1]) @ use.area_ha[good] * use.cut_ha / use.known_ha
    assert found.total_kg.median == pytest.approx(float(np.median(total)), rel=0.005)
    assert found.total_kg.high == pytest.approx(float(np.quantile(total, 0.95)), rel=0.01)
    assert found.money.median == pytest.approx(found.total_kg.median * 0.6)
    # The true law at 7 km/h: machine 30 · (7/6)^1.5, header 25 · (7/6)^0.5 kg/ha.
    true = 30 * (7 / 6) ** 1.5 + 25 * (7 / 6) ** 0.5
    assert found.kg_ha.low < true < found.kg_ha.high


def test_checks_within_the_log_take_their_load_from_it(tmp_path: Path) -> None:
    book = start(tmp_path / "a.chaffinch")
    with_speeds(book)  # the first check tells 4 km/h and 2.5 t/ha; the log says 7 km/h and 5 t/ha
    found = log_loss(book.desk, combine(book), "canola", a_log(tmp_path / "log.parquet", crop_t_ha=5.0))
    assert [one.taken_at for one in found.joined] == ["2026-08-10T08:00:00Z"]
    joined = found.joined[0]
    assert (joined.told_kmh, joined.moment.stands) == (4.0, True)
    assert joined.moment.speed_kmh == pytest.approx(7.0, rel=0.02)
    point = next(p for p in found.curves.points if p.logged.id == joined.id)
    assert point.throughput_t_h == pytest.approx(joined.moment.throughput_t_h)
    assert point.throughput_t_h == pytest.approx(7.0 * 11.5 * 5.0 / 10, rel=0.2)


def test_slower_saves_grain_and_costs_hours(tmp_path: Path) -> None:
    book = start(tmp_path / "a.chaffinch")
    with_speeds(book, slope=2.0)
    path = a_log(tmp_path / "log.parquet")
    other = log_loss(book.desk, combine(book), "canola", path, other_kmh=5.0, price_per_t=600.0).other
    assert other.saved_kg.low > 0
    assert other.hours_more > 0
    assert other.money_saved.median == pytest.approx(0.6 * other.saved_kg.median)
    same = log_loss(book.desk, combine(book), "canola", path, other_kmh=7.0).other
    assert abs(same.saved_kg.median) < 0.02 * same.total_kg.median
    assert same.money_saved is None


def test_the_map_is_squares_that_add_up(tmp_path: Path) -> None:
    book = start(tmp_path / "a.chaffinch")
    with_speeds(book)
    found = log_loss(book.desk, combine(book), "canola", a_log(tmp_path / "log.parquet"))
    for ending in (".gpkg", ".geojson"):
        to = tmp_path / f"map{ending}"
        write_map(found, to)
        meta, _, shapes, fields = pyogrio.raw.read(to)
        assert meta["geometry_type"] == "Polygon"
        area, loss, kg = fields
        assert len(shapes) == len(found.squares)
        assert area.sum() == pytest.approx(found.known_ha)
        np.testing.assert_allclose(kg, area * loss)
        with pytest.raises(InputError, match="is there already"):
            write_map(found, to)
    write_map(found, tmp_path / "map.parquet")
    with pytest.raises(InputError, match="no map has"):
        write_map(found, tmp_path / "map.csv")


def test_what_cannot_be_summed_is_refused(tmp_path: Path) -> None:
    book = start(tmp_path / "a.chaffinch")
    with_speeds(book)
    two = a_log(tmp_path / "two.parquet", machines=("Old Bess", "Young Bess"))
    with pytest.raises(InputError, match="several machines"):
        log_loss(book.desk, combine(book), "canola", two)
    with pytest.raises(InputError, match="other pace"):
        log_loss(book.desk, combine(book), "canola", two, other_kmh=90.0)
    (tmp_path / "bare.csv").write_text("Speed (km/h),Width (m)\n" + "5,9\n" * 50, encoding="utf-8")
    with pytest.raises(InputError, match="no record that counts"):
        log_loss(book.desk, combine(book), "canola", tmp_path / "bare.csv")
