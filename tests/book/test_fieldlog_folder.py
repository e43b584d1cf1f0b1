"""A folder of many logs: the same answers whoever reads them, and one bad log stops none."""

from __future__ import annotations

import shutil
from pathlib import Path

import polars as pl
import pytest

from chaffinch.book.fieldlogs.folder import clean_folder
from chaffinch.book.fieldlogs.one_log import answers_of, clean_log
from chaffinch.errors import InputError

EXAMPLE = Path(__file__).resolve().parents[2] / "examples" / "larkhollow-log.csv"


@pytest.fixture
def season(tmp_path: Path) -> Path:
    folder = tmp_path / "season"
    for name in ("north/log.csv", "river/log.csv", "river/__MACOSX/log.csv"):
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        shutil.copy(EXAMPLE, folder / name)
    lines = EXAMPLE.read_text(encoding="utf-8").splitlines()
    (folder / "short.csv").write_text("\n".join(lines[:700]) + "\n", encoding="utf-8")
    (folder / "bad.csv").write_text("just a sentence\n", encoding="utf-8")
    (folder / "notes.md").write_text("nothing", encoding="utf-8")
    return folder


def test_one_worker_and_two_find_the_same(season: Path, tmp_path: Path) -> None:
    answers = answers_of(zone="-06:00")
    seen: list[tuple[int, int]] = []
    alone = clean_folder(season, tmp_path / "one", answers, progress=lambda done, of: seen.append((done, of)))
    both = clean_folder(season, tmp_path / "two", answers, jobs=2)
    assert alone == both or str(alone) == str(both)  # NaN is not itself
    assert [d.name for d in alone] == ["bad.csv", "north/log.csv", "river/log.csv", "short.csv"]
    assert seen == [(k, 4) for k in range(1, 5)]
    assert "no table of columns" in alone[0].refused
    single = clean_log(EXAMPLE, None, answers)
    assert (alone[1].records, alone[1].counting) == (1201, int(single.cleaned.counts.sum()))
    assert alone[1].grain_t == single.grain_t
    for name in ("north-log.csv.parquet", "river-log.csv.parquet", "short.csv.parquet"):
        first, second = (pl.read_parquet(tmp_path / n / name) for n in ("one", "two"))
        assert first.equals(second)


def test_open_questions_are_told_per_log_and_nothing_is_written_over(season: Path, tmp_path: Path) -> None:
    assert all("zone" in d.refused for d in clean_folder(season)[1:])
    answers = answers_of(zone="utc")
    clean_folder(season, tmp_path / "out", answers)
    again = clean_folder(season, tmp_path / "out", answers)
    assert all("is there already" in d.refused for d in again[1:])
    assert not any(d.refused for d in clean_folder(season, tmp_path / "out", answers, replace=True)[1:])


@pytest.mark.parametrize("other", ["north-log.csv", "North-LOG.csv"])
def test_two_logs_of_one_name_are_told_before_one_is_written_over_the_other(
    season: Path, tmp_path: Path, other: str
) -> None:
    shutil.copy(season / "short.csv", season / other)
    with pytest.raises(InputError, match="would be written under one name"):
        clean_folder(season, tmp_path / "out", answers_of(zone="utc"), replace=True)
    assert not (tmp_path / "out").exists()
    assert len(clean_folder(season, None, answers_of(zone="utc"))) == 5


def test_what_is_no_folder_of_logs_is_refused(tmp_path: Path, season: Path) -> None:
    with pytest.raises(InputError, match="is no folder"):
        clean_folder(EXAMPLE)
    (tmp_path / "empty").mkdir()
    with pytest.raises(InputError, match="holds no log"):
        clean_folder(tmp_path / "empty")
    with pytest.raises(InputError, match="must be 1 or more"):
        clean_folder(season, jobs=0)
    with pytest.raises(InputError, match="is no figure"):
        clean_folder(season, settings={"pace": 1.0})
    with pytest.raises(InputError, match="cannot be made"):
        clean_folder(season, season / "short.csv" / "out")
