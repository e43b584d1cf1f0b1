"""A log worked through on disk says what one held as a whole says: totals, ranges, classes, zones, map, other paces."""

from __future__ import annotations

import gzip
from dataclasses import fields
from pathlib import Path
from typing import Any

import geopandas
import numpy as np
import polars as pl
import pytest
import shapely
from test_log_losses import CHECK_S, M_DEG, combine

from chaffinch.book.fieldlogs import runs as log_runs
from chaffinch.book.fieldlogs.large import LogWalked, cleaned_log, look_into
from chaffinch.book.fieldlogs.losses import log_loss, measured
from chaffinch.book.fieldlogs.one_log import answers_of, clean_log
from chaffinch.book.fieldlogs.said import problem_said
from chaffinch.book.fieldlogs.zones import ZonesTold
from chaffinch.engine.estimate import Range
from chaffinch.errors import InputError
from chaffinch.fieldlog.reading import batches
from chaffinch.fieldlog.rows import Part, Rows
from chaffinch.fieldlog.writing.records import write_log
from season_book import SeasonBook, start, with_speeds

EXAMPLE = Path(__file__).parents[2] / "examples" / "larkhollow-log.csv"
BOTH = ("Old Bess", "Young Bess")


@pytest.fixture(scope="module")
def harvest(tmp_path_factory: pytest.TempPathFactory) -> tuple[SeasonBook, Path]:
    """Two machines on two fields, silent for a minute after every second pass."""
    folder = tmp_path_factory.mktemp("large")
    book = start(folder / "a.chaffinch")
    with_speeds(book, repeats=1, header_slope=0.5)
    book.check("Young Bess", 14, 9, speed_kmh=7.0, machine_kg_ha=60.0)
    n = 16 * 100
    k = np.arange(n)
    number, place = k // 100, k % 100
    y = np.where(number % 2 == 0, place, 99 - place) * 1.9
    speed = 7.0 * (1 + 0.01 * np.sin(k) + 0.15 * (number % 3))
    crop = 2.5 * (1 + 0.2 * np.sin(y / 30))
    columns = {
        "time_s": CHECK_S - 4000 + k + 60.0 * (number // 2),
        "lon_deg": -104.6 + number * 11.5 / M_DEG / np.cos(np.radians(50.4)) + 0.05 * (number >= 8),
        "lat_deg": 50.4 + y / M_DEG,
        "speed_kmh": speed,
        "width_m": np.full(n, 11.5),
        "flow_kg_s": crop * speed * 11.5 / 36,
    }
    columns["time_s"] += CHECK_S - columns["time_s"][390]  # Old Bess was checked towards the end of her fourth pass
    parts = tuple(Part(f"log {j}", f"field {j // 2}", BOTH[j % 2], "utc") for j in range(4))
    write_log(folder / "log.parquet", Rows(columns, k * 4 // n, parts))
    return book, folder / "log.parquet"


def assert_alike(one: object, other: object, where: str = "") -> None:
    """Two answers are the same down to rounding; a range, a tuple, a number, a text."""
    if isinstance(one, dict):
        assert one.keys() == other.keys(), where
        for key, value in one.items():
            assert_alike(value, other[key], f"{where}.{key}")
    elif isinstance(one, tuple | list):
        assert len(one) == len(other), where
        for k, pair in enumerate(zip(one, other, strict=True)):
            assert_alike(*pair, f"{where}[{k}]")
    elif isinstance(one, float):
        assert one == pytest.approx(other, rel=1e-9, abs=1e-9, nan_ok=True), where
    elif hasattr(one, "__dataclass_fields__"):
        for field in fields(one):
            assert_alike(getattr(one, field.name), getattr(other, field.name), f"{where}.{field.name}")
    else:
        assert one == other, where


def test_what_the_field_lost_is_the_same_by_either_road(
    harvest: tuple[SeasonBook, Path], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    book, path = harvest
    fitted: dict[str, Any] = {}
    fit = log_runs.curves

    def once(desk: Any, of: Any, crop: str, **how: Any) -> Any:
        """The curves of the first road for the second too: they see the same checks, which is held below."""
        if of.id not in fitted:
            fitted[of.id] = fit(desk, of, crop, **how)
        return fitted[of.id]

    monkeypatch.setattr(log_runs, "curves", once)
    shapes = [shapely.box(-104.61, 50.0, -104.5996, 51.0), shapely.box(-104.5996, 50.0, -104.5, 51.0)]
    geopandas.GeoDataFrame({"name": ["west", "east"]}, geometry=shapes, crs="EPSG:4326").to_file(tmp_path / "z.gpkg")
    asked = {"price_per_t": 600.0, "hour_cost_per_h": 250.0, "best": True, "zones": ZonesTold(tmp_path / "z.gpkg")}
    whole, walked = (log_loss(book.desk, None, "canola", path, **asked, **more) for more in ({}, {"piece": 150}))
    assert isinstance(walked.log, LogWalked)
    assert len(walked.log.cleaned.names) > 4
    assert [one.taken_at for one in walked.joined] == [one.taken_at for one in whole.joined]
    assert whole.joined, "a check was taken while the log ran"
    assert_alike(measured(whole), measured(walked), "measured")
    for name in (
        "other",
        "by_speed",
        "by_hour",
        "squares",
        "by_zone",
        "in_several",
        "joined",
        "mean_kmh",
        "beyond_share",
    ):
        assert_alike(getattr(whole, name), getattr(walked, name), name)
    for mine, theirs in zip(whole.machines, walked.machines, strict=True):
        assert_alike(mine.best.best_kmh, theirs.best.best_kmh)
        assert_alike(mine.other, theirs.other)
    assert isinstance(whole.total_kg, Range)
    alone = log_loss(book.desk, combine(book), "canola", path, machine="Old Bess", piece=150)
    assert alone.cut_ha == pytest.approx(whole.machines[0].cut_ha)
    assert alone.total_kg.median == pytest.approx(whole.machines[0].total_kg.median, rel=0.05)
    hers = np.isin(whole.log.cleaned.rows.part, [0, 2])
    assert (alone.log.cleaned.records, alone.log.cleaned.counting) == (800, int(whole.log.cleaned.counts[hers].sum()))
    with pytest.raises(InputError, match="is not in the log"):
        log_loss(book.desk, None, "canola", path, machine="No. 9", piece=150)
    with pytest.raises(InputError, match="is of several machines"):
        log_loss(book.desk, combine(book), "canola", path, piece=150)


@pytest.mark.parametrize("ending", [".csv", ".parquet"])
def test_every_record_is_written_with_its_flags(harvest: tuple[SeasonBook, Path], tmp_path: Path, ending: str) -> None:
    _, path = harvest
    whole, walked = (
        cleaned_log(path, tmp_path / f"{name}{ending}", piece=piece)
        for name, piece in (("whole", None), ("walked", 150))
    )
    read = pl.read_csv if ending == ".csv" else pl.read_parquet
    tables = [read(tmp_path / f"{name}{ending}").sort("time_utc") for name in ("whole", "walked")]
    assert tables[0].columns == tables[1].columns
    assert tables[0].height == tables[1].height == 1600
    for name in tables[0].columns:
        mine, theirs = (table[name] for table in tables)
        if mine.dtype.is_float():
            np.testing.assert_allclose(mine.to_numpy(), theirs.to_numpy(), rtol=1e-9, err_msg=name)
        else:
            assert (mine == theirs).all(), name
    if ending == ".parquet":
        metas = [pl.read_parquet_metadata(tmp_path / f"{name}.parquet")["geo"] for name in ("whole", "walked")]
        assert metas[0] == metas[1]
    for name in ("grain_t", "area_ha", "yield_t_ha"):
        assert getattr(walked, name) == pytest.approx(getattr(whole, name), rel=1e-9)
    assert walked.found.records == whole.found.records == 1600
    for mine, theirs in zip(whole.found.parts, walked.found.parts, strict=True):
        for name in ("name", "machine", "records", "first", "last", "area_ha", "grain_t"):
            assert_alike(getattr(mine, name), getattr(theirs, name), name)
    assert walked.found.derived == whole.found.derived
    assert set(walked.found.columns) == set(whole.found.columns)
    with pytest.raises(InputError, match="is there already"):
        cleaned_log(path, tmp_path / f"walked{ending}", piece=150)
    with pytest.raises(InputError, match="a log of this size cannot be written to"):
        cleaned_log(path, tmp_path / "walked.gpkg", piece=150)


def test_what_is_open_is_asked_by_either_road() -> None:
    for clean in (clean_log, lambda p, to, answers: cleaned_log(p, to, answers, piece=150)):
        with pytest.raises(InputError, match="tells no time zone"):
            clean(EXAMPLE, None, answers_of())
    assert look_into(EXAMPLE, answers_of()).records == 1201
    small = cleaned_log(EXAMPLE, None, answers_of(zone="-06:00"))
    assert small.found.rows is not None, "it is held as a whole"


def test_a_large_file_is_known_by_its_size_and_judged_by_its_beginning(
    harvest: tuple[SeasonBook, Path], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(batches, "LARGE_BYTES", 10_000)
    monkeypatch.setattr(batches, "LARGE_ROWS", 1_000)
    monkeypatch.setattr(batches, "BLOCK_BYTES", 30_000)
    monkeypatch.setattr(batches, "BATCH_ROWS", 300)
    _, path = harvest
    assert isinstance(cleaned_log(path), LogWalked)
    found = look_into(path)
    assert found.records == 300
    assert "is of its first 300 records, of about 0." in problem_said(found.problems[-1])
    asked = look_into(EXAMPLE)
    assert [one.what for one in asked.questions] == ["zone"]
    assert 100 < asked.records < 1201
    # What is packed is held as a whole, however large; so are letters of two bytes.
    (tmp_path / "log.csv.gz").write_bytes(gzip.compress(EXAMPLE.read_bytes()))
    assert look_into(tmp_path / "log.csv.gz").records == 1201
    (tmp_path / "wide.csv").write_bytes(EXAMPLE.read_text(encoding="utf-8").encode("utf-16"))
    assert look_into(tmp_path / "wide.csv").records == 1201
