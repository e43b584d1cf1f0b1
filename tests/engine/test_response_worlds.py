"""Does the range of a curve hold the truth? The bench in a shortened form, and whether it can fail.

The coverage of n worlds of a true 90 % range has the standard deviation sqrt(0.9 · 0.1 / n); four of them are allowed.
The bar of 87 to 93 % itself needs 500 worlds a season and stands on docs/method/response.md. Seeds are fixed.
"""

from __future__ import annotations

import dataclasses
import importlib
import math
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner

sys.path.insert(0, str(Path(__file__).resolve().parents[2] / "bench"))
worlds = importlib.import_module("response_worlds")
speed = importlib.import_module("response_speed")

BY_NAME = {s.name: i for i, s in enumerate(worlds.SEASONS)}


def bound(count: int) -> float:
    return 4.0 * math.sqrt(0.9 * 0.1 / count)


@pytest.mark.parametrize(
    ("name", "count"),
    [("2 checks", 50), ("8 checks", 50), ("8 checks, header", 40), ("3 combines, 3 + 6 + 10 checks", 12)],
)
def test_ranges_of_curves_hold_the_truth_as_often_as_they_say(name, count):
    for score in worlds.play([BY_NAME[name]], count, seed=3, jobs=1):
        for share in score.covers:
            assert abs(share - 0.9) < bound(count), score


def test_the_bench_notices_a_scale_that_is_off(monkeypatch):
    # Every pan holds half as much again as the exposure says: five times the sd the fit allows for.
    honest = worlds.seen
    monkeypatch.setattr(worlds, "seen", lambda loss, source, rng: honest(1.5 * loss, source, rng))
    season = dataclasses.replace(worlds.SEASONS[BY_NAME["24 checks"]], wild=0.0)
    monkeypatch.setattr(worlds, "SEASONS", (season,))
    (score,) = worlds.play([0], 20, seed=3, jobs=1)
    assert min(score.covers[:3]) < 0.87
    assert not score.within_bar


def test_the_table_marks_what_lies_outside_the_bar():
    score = worlds.Score("a season", "", 500, (0.90, 0.86, 0.93, 0.94))
    row = worlds.table([score]).splitlines()[-1]
    assert row == "| a season | the combine | 90.0 % | 86.0 % ! | 93.0 % | 94.0 % ! |"


def test_the_speed_bench_runs_and_prints_the_growth():
    done = CliRunner().invoke(speed.main, ["--only", "growth", "--largest", "100"])
    assert done.exit_code == 0, done.output
    assert "growth exponent" in done.output
    assert done.output.splitlines()[-1] in ("within the bars", "NOT within the bars")
