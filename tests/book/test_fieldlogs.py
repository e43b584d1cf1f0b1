"""The door to field logs: what it says of a log, what it waits for, what it writes."""

from __future__ import annotations

import math
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from chaffinch.book.fieldlogs import one_log as fieldlogs
from chaffinch.book.fieldlogs.large import cleaned_log
from chaffinch.book.fieldlogs.one_log import answers_of, clean_log, import_log, inspect_log
from chaffinch.book.fieldlogs.said import FLAGS, PROBLEMS, QUESTIONS, problem_said, question_said
from chaffinch.errors import InputError
from chaffinch.fieldlog.cleaning.clean import Flag
from chaffinch.fieldlog.rows import Problem, Question

EXAMPLE = Path(__file__).resolve().parents[2] / "examples" / "larkhollow-log.csv"


def test_looking_says_what_is_in_a_log_and_what_is_open() -> None:
    found = inspect_log(EXAMPLE)
    assert (found.kind, found.records) == ("text", 1201)
    assert found.matched["Flow"] == "flow_kg_s:lb/s"
    assert [q.what for q in found.questions] == ["zone"]
    assert found.parts[0].first == ""  # no zone, no moment
    assert found.recomputed == pytest.approx(1.0, abs=0.001)
    assert set(found.derived) == {"interval_s", "distance_m"}
    told = inspect_log(EXAMPLE, answers_of(zone="-06:00"))
    assert (told.questions, told.parts[0].first) == ((), "2026-08-14 16:00:00")
    # Flow × interval, and width × distance, once more by hand.
    rows = told.rows
    assert rows is not None
    assert told.parts[0].grain_t == pytest.approx(
        float(np.nansum(rows.columns["flow_kg_s"] * rows.columns["interval_s"])) / 1000
    )


def test_an_import_waits_for_answers_and_what_it_writes_is_read(tmp_path: Path) -> None:
    to = tmp_path / "log.parquet"
    with pytest.raises(InputError, match=r"zone.*--zone -06:00"):
        import_log(EXAMPLE, to)
    assert not to.exists()
    import_log(EXAMPLE, to, answers_of(zone="-06:00"))
    again = inspect_log(to)
    assert again.questions == again.problems == ()
    assert again.parts[0].grain_t == pytest.approx(inspect_log(EXAMPLE).parts[0].grain_t)


def test_cleaning_writes_every_record_with_its_reasons(tmp_path: Path) -> None:
    import polars as pl

    to = tmp_path / "log.parquet"
    done = clean_log(EXAMPLE, to, answers_of(zone="-06:00"))
    table = pl.read_parquet(to)
    assert table.height == 1201
    assert (table["flags"].to_numpy() == done.cleaned.flags).all()
    words = dict(zip(table["flags"], table["reasons"], strict=True))
    assert words[0] == ""
    assert words[128] == "overlap"
    # The delay planted in the example is 6.3 s; records are 2 s apart.
    lag = next(iter(done.cleaned.lags.values()))
    assert lag.seconds == pytest.approx(6.3, abs=1.0)
    good = done.cleaned.counts
    assert done.grain_t < inspect_log(EXAMPLE).parts[0].grain_t
    assert done.yield_t_ha == pytest.approx(float(np.nanmedian(table["cut_yield_t_ha"].to_numpy()[good])))


def test_limits_can_be_set_and_nonsense_is_refused() -> None:
    answers = answers_of(zone="utc")
    strict = clean_log(EXAMPLE, None, answers, settings={"speed_least_kmh": 6.0})
    assert strict.cleaned.share_flagged > clean_log(EXAMPLE, None, answers).cleaned.share_flagged
    with pytest.raises(InputError, match="did you mean speed_least_kmh"):
        clean_log(EXAMPLE, None, answers, settings={"speed_lest_kmh": 6.0})


@pytest.mark.parametrize(
    ("given", "said"),
    [
        ({"columns": ["Flow"]}, "is not understood"),
        ({"elements": ["speed=DET-1"]}, "is no column"),
        ({"bushel": "60"}, "needs a unit|unit"),
        ({"bushel": "-1 lb"}, "above 0|below 0"),
    ],
)
def test_answers_that_are_none_are_refused(given: dict, said: str) -> None:
    with pytest.raises(InputError, match=said):
        answers_of(**given)


def test_every_question_problem_and_flag_has_its_sentence() -> None:
    for why in QUESTIONS:
        problem, mend = question_said(Question("Flow", why, ("a", "b")))
        assert "{" not in problem + mend
    for kind in PROBLEMS:
        assert "{" not in problem_said(Problem(kind, "TLG00001", 3, "x"))
    assert {flag.name for flag in Flag} == set(FLAGS)


def test_no_problem_or_question_of_the_rooms_lacks_a_sentence() -> None:
    import re

    source = "".join(
        p.read_text(encoding="utf-8") for p in (Path(fieldlogs.__file__).parents[1] / "fieldlog").glob("*.py")
    )
    kinds = set(re.findall(r'Problem\(\s*"([^"]+)"', source)) | {"cut record", "no record"}
    assert kinds - {"f"} <= set(PROBLEMS)
    assert set(re.findall(r'Question\([^()]*?, "([a-z ]+)"', source)) <= set(QUESTIONS)


@pytest.mark.parametrize("write", [import_log, clean_log, cleaned_log])
def test_the_log_that_is_read_is_never_written_over(tmp_path: Path, write: Callable[..., object]) -> None:
    log = tmp_path / "log.csv"
    log.write_bytes(EXAMPLE.read_bytes())
    other_name = tmp_path / "link.csv"
    other_name.symlink_to(log)
    for goal in (log, other_name):
        with pytest.raises(InputError, match="is the log itself"):
            write(log, goal, answers_of(zone="utc"), replace=True)
    assert log.read_bytes() == EXAMPLE.read_bytes()


def test_without_the_extra_one_sentence_says_what_to_install(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(fieldlogs, "NEEDED", ("polars", "no_such_library"))
    with pytest.raises(InputError, match=r"no_such_library, not installed here; .*chaffinch\[fieldlog\]"):
        inspect_log(EXAMPLE)


def test_a_log_without_grain_has_no_yield_and_no_figures(tmp_path: Path) -> None:
    path = tmp_path / "log.csv"
    path.write_text("Speed (km/h),Width (m)\n" + "5,9\n" * 40, encoding="utf-8")
    part = inspect_log(path).parts[0]
    assert math.isnan(part.grain_t)
    assert part.speed_kmh == 5.0
