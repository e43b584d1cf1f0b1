"""The loss and the map of every log of a folder; the cluster's workers are in ``test_fieldlog_cluster``."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import polars as pl
import pytest
from test_log_losses import a_log

from chaffinch.book.fieldlogs.folder_maps import MapDone, map_folder
from chaffinch.book.fieldlogs.losses import log_loss, write_map
from chaffinch.errors import InputError
from season_book import SeasonBook, start, with_speeds


@dataclass
class Mapped:
    """A season's folder, and what one core made of it."""

    book: SeasonBook
    folder: Path
    to: Path
    done: list[MapDone]
    seen: list[tuple[int, int]]


@pytest.fixture(scope="module")
def mapped(tmp_path_factory: pytest.TempPathFactory) -> Mapped:
    where = tmp_path_factory.mktemp("maps")
    book = start(where / "larkhollow.chaffinch")
    with_speeds(book, speeds=(5.0, 8.0), repeats=1)
    book.check("Young Bess", 12, 9, speed_kmh=6.0, machine_kg_ha=60.0)
    folder = where / "logs"
    for name, machine in (("north/log", "Old Bess"), ("river/log", "Young Bess"), ("strange", "Nobody's")):
        path = folder / f"{name}.parquet"
        path.parent.mkdir(parents=True, exist_ok=True)
        a_log(path, machines=(machine,), passes=3)
    (folder / "bad.csv").write_text("just a sentence\n", encoding="utf-8")
    seen: list[tuple[int, int]] = []
    done = map_folder(
        book.desk, folder, "canola", where / "to", price_per_t=600.0, progress=lambda *step: seen.append(step)
    )
    return Mapped(book, folder, where / "to", done, seen)


def maps(folder: Path) -> dict[str, pl.DataFrame]:
    """Every map in a folder, by its file's name."""
    return {path.name: pl.read_parquet(path) for path in sorted(folder.glob("*.parquet"))}


def test_each_log_comes_to_what_it_does_alone(mapped: Mapped, tmp_path: Path) -> None:
    bad, north, river, strange = mapped.done
    assert mapped.seen == [(k, 4) for k in range(1, 5)]
    assert [(done.name, done.combines) for done in mapped.done] == [
        ("bad.csv", ""), ("north/log.parquet", "Old Bess"), ("river/log.parquet", "Young Bess"), ("strange.parquet", "")
    ]  # fmt: skip
    assert "no table of columns" in bad.refused
    assert "Nobody's" in strange.refused
    assert (strange.total_kg, strange.money) == (None, None)
    found = log_loss(
        mapped.book.desk, None, "canola", mapped.folder / "north" / "log.parquet", price_per_t=600.0
    )  # fmt: skip
    assert (north.total_kg, north.kg_ha, north.money) == (found.total_kg, found.kg_ha, found.money)
    assert (north.joined, north.checks, river.checks) == (len(found.joined), 2, 1)
    write_map(found, tmp_path / "alone.parquet")
    assert list(maps(mapped.to)) == ["north-log.parquet.parquet", "river-log.parquet.parquet"]
    assert maps(mapped.to)["north-log.parquet.parquet"].equals(pl.read_parquet(tmp_path / "alone.parquet"))
    assert north.squares == len(found.squares)


def test_maps_that_are_there_are_not_written_over(mapped: Mapped) -> None:
    before = {path: path.stat().st_mtime_ns for path in mapped.to.iterdir()}
    again = map_folder(mapped.book.desk, mapped.folder, "canola", mapped.to)
    assert all("is there already" in done.refused for done in again[1:3])
    assert {path: path.stat().st_mtime_ns for path in mapped.to.iterdir()} == before


def test_two_maps_of_one_name_are_refused_before_any_work(mapped: Mapped, tmp_path: Path) -> None:
    for name in ("a/b.csv", "a-b.csv"):
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).write_text("never read", encoding="utf-8")
    with pytest.raises(InputError, match="would be written under one name"):
        map_folder(mapped.book.desk, tmp_path, "canola", tmp_path / "maps", replace=True)
    assert not (tmp_path / "maps").exists()
