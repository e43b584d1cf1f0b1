"""A season's folder on a Dask cluster of two workers: the same answers and files as on this core alone."""

from __future__ import annotations

import os
from collections.abc import Iterator
from importlib.util import find_spec
from pathlib import Path

import polars as pl
import pytest
from test_fieldlog_folder import season  # noqa: F401 - a fixture
from test_fieldlog_maps import Mapped, mapped, maps  # noqa: F401 - the second a fixture

from chaffinch.book.fieldlogs.folder import clean_folder
from chaffinch.book.fieldlogs.folder_maps import map_folder
from chaffinch.book.fieldlogs.one_log import answers_of
from chaffinch.errors import InputError
from chaffinch.fieldlog.cluster import for_each_on

if find_spec("distributed") is None and os.environ.get("CI") != "true":
    pytest.skip("Dask is not installed here", allow_module_level=True)


@pytest.fixture(scope="module")
def scheduler() -> Iterator[str]:
    from distributed import LocalCluster

    with LocalCluster(n_workers=2, threads_per_worker=1, dashboard_address=None) as cluster:
        yield cluster.scheduler_address


def test_two_workers_find_and_write_what_one_core_does(
    season: Path,  # noqa: F811
    tmp_path: Path,
    scheduler: str,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    answers = answers_of(zone="-06:00")
    monkeypatch.chdir(tmp_path)
    seen: list[tuple[int, int]] = []
    alone = clean_folder(season, tmp_path / "one", answers)
    # Paths as a person writes them: workers stand elsewhere.
    both = clean_folder(
        season.relative_to(tmp_path), Path("two"), answers, on=scheduler, progress=lambda *done: seen.append(done)
    )
    assert str(alone) == str(both)
    assert seen == [(k, 4) for k in range(1, 5)]
    names = sorted(path.name for path in (tmp_path / "one").iterdir())
    assert names == sorted(path.name for path in (tmp_path / "two").iterdir())
    for name in names:
        first, second = (pl.read_parquet(tmp_path / folder / name) for folder in ("one", "two"))
        assert first.equals(second)


def test_two_workers_sum_and_draw_each_field_as_one_core_does(
    mapped: Mapped,  # noqa: F811
    tmp_path: Path,
    scheduler: str,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.chdir(tmp_path)
    desk, to = mapped.book.desk, Path("two")
    # Workers elsewhere read a copy of the book that lies beside the maps, and is gone afterwards: that of a run which
    # was killed, too.
    left = to / ".book-chaffinch-killed"
    left.mkdir(parents=True)
    for name in ("in-use", "book.chaffinch"):
        (left / name).write_bytes(b"")
    both = map_folder(desk, mapped.folder, "canola", to, price_per_t=600.0, on=scheduler)
    assert str(both) == str(mapped.done)  # NaN is not itself
    assert sorted(path.name for path in to.iterdir()) == list(maps(mapped.to))
    for name, table in maps(mapped.to).items():
        assert maps(to)[name].equals(table)
    # Workers live on: what the book has learned since reaches them.
    mapped.book.check("Old Bess", 20, 9, speed_kmh=6.0, machine_kg_ha=300.0)
    later = map_folder(desk, mapped.folder / "north", "canola", to, on=scheduler, replace=True)
    assert (later[0].checks, both[1].checks) == (3, 2)
    assert not (to / "log.parquet.parquet").samefile(to / "north-log.parquet.parquet")
    with pytest.raises(InputError, match="--to FOLDER"):
        map_folder(desk, mapped.folder, "canola", on=scheduler)


def test_the_work_is_done_by_both_workers_and_not_here(scheduler: str) -> None:
    def who(path: Path) -> tuple[str, int]:
        import os
        import time

        time.sleep(0.2)
        return path.name, os.getpid()

    done = for_each_on(scheduler, who, [Path(str(k)) for k in range(8)], 1)
    assert [name for name, _ in done] == [str(k) for k in range(8)]
    workers = {pid for _, pid in done}
    assert len(workers) == 2
    assert os.getpid() not in workers


def test_a_scheduler_that_is_not_there_is_told(season: Path, monkeypatch: pytest.MonkeyPatch) -> None:  # noqa: F811
    monkeypatch.setattr("chaffinch.fieldlog.cluster.WAIT_S", 0.5)
    for address in ("tcp://127.0.0.1:9", "nonsense://x"):
        with pytest.raises(InputError, match="does not answer"):
            clean_folder(season, on=address)
    monkeypatch.setattr("chaffinch.fieldlog.cluster.find_spec", lambda _: None)
    with pytest.raises(InputError, match="not installed here"):
        clean_folder(season, on="dask")
