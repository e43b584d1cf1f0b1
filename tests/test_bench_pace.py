"""Does the regret bench run, say the same for the same seed, and keep the order its page claims?"""

from __future__ import annotations

import importlib
import re
import subprocess
import sys
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from chaffinch.engine.estimate import Range

BENCH = Path(__file__).resolve().parent.parent / "bench"
sys.path.insert(0, str(BENCH))
pace_regret = importlib.import_module("pace_regret")

SPREAD = "2 slower, 2 as today, 2 faster"


def bench(name: str, *arguments: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-W", "error", "-X", "utf8", str(BENCH / name), *arguments],
        capture_output=True,
        text=True,
        encoding="utf-8",
        check=False,
    )


def test_pace_regret_prints_a_table() -> None:
    done = bench("pace_regret.py", "--worlds", "2", "--only", "3 at today")
    assert done.returncode == 0, done.stderr
    rows = re.findall(r"^\| 3 at today's speed \| (.*?) \| +(\d+\.\d\d) ± ", done.stdout, re.MULTILINE)
    assert tuple(name for name, _ in rows) == pace_regret.WAYS
    assert "2 worlds, seed 1" in done.stdout


def test_pace_regret_refuses_a_plan_it_does_not_know() -> None:
    done = bench("pace_regret.py", "--only", "no such thing")
    assert done.returncode == 2
    assert "no such thing" in done.stderr


def test_in_random_worlds_the_best_pace_saves_most_of_what_there_is() -> None:
    """20 worlds drawn from the prior; the seed is fixed, so this changes only when the engine does."""
    outcomes = pace_regret.played(SPREAD, 20, seed=3, jobs=1)
    regret = {way: np.mean([o.regret[i] for o in outcomes]) for i, way in enumerate(pace_regret.WAYS)}

    assert regret["knowing"] == 0.0
    assert all(r >= -1e-9 for o in outcomes for r in o.regret)
    # On the page, over 300 worlds: less than a quarter of what staying costs.
    assert regret["best pace"] < 0.5 * regret["never change"]
    assert regret["advice"] < regret["never change"]
    moved = [o.moved[pace_regret.ADVICE_COLUMN] for o in outcomes if o.advice in ("slower", "faster")]
    assert len(moved) > 5
    # Advised with 0.80 or more: a fifth may be wrong, and a dozen scatter by 12 points.
    assert np.mean(np.array(moved) < 0) < 0.2 + 0.24
    # A 90 % range: four sds of 20 worlds.
    assert np.mean([o.best_held for o in outcomes]) > 0.9 - 0.27
    assert np.mean([o.extra_within_range for o in outcomes]) > 0.9 - 0.27


def test_the_same_seed_plays_the_same_world_for_every_plan() -> None:
    assert pace_regret.outcome(SPREAD, 5) == pace_regret.outcome(SPREAD, 5)
    assert pace_regret.outcome(SPREAD, 5) != pace_regret.outcome(SPREAD, 6)
    rng = np.random.default_rng((5, 1))
    assert pace_regret.World.drawn(rng).today_kmh != pace_regret.World.drawn(rng).today_kmh


def test_a_truth_within_a_lump_of_belief_counts_by_its_places() -> None:
    """The share held is 90 % on average where the truth is drawn from the belief, whatever lumps that has."""
    rng = np.random.default_rng(1)
    shares = []
    for _ in range(40):
        draws = np.clip(rng.normal(rng.uniform(4.0, 10.0), 1.0, 4000), 5.0, 9.0)
        low, high = np.quantile(draws, [0.05, 0.95])
        found = SimpleNamespace(
            own_best_kmh=Range(low, 7.0, high),
            p_at_edges=(float(np.mean(draws == 5.0)), float(np.mean(draws == 9.0))),
        )
        shares += [pace_regret.held(found, truth, (5.0, 9.0)) for truth in draws[::40]]
    # 4,000 truths; each share scatters by at most 0.3.
    assert np.mean(shares) == pytest.approx(0.90, abs=0.015)
    closed = SimpleNamespace(own_best_kmh=Range(9.0, 9.0, 9.0), p_at_edges=(0.0, 1.0))
    assert pace_regret.held(closed, 9.0, (5.0, 9.0)) == pytest.approx(0.90)
    assert pace_regret.held(closed, 5.0, (5.0, 9.0)) == 0.0
