"""How many more stops: played forward, against the normal case worked out by hand."""

from __future__ import annotations

import math

import numpy as np
import pytest
from made_trials import normal, trial
from scipy import stats

from chaffinch.engine.estimate import Prior
from chaffinch.engine.sampling.sampler import Draws
from chaffinch.engine.trial.outlook import USUAL_GAP_H, Ahead, chances
from chaffinch.engine.trial.ratio import compare

SEEDS = range(1, 5)


@pytest.mark.parametrize(("mean", "sd"), [(-0.2, 0.25), (0.0, 0.3), (-0.5, 0.3), (0.3, 0.2)])
def test_agrees_with_the_normal_case(mean, sd):
    # α, drift and τ known, so that a pair of stops reads δ with variance 2 · v; δ's posterior is normal.
    tau, read_sd, n = 0.25, 0.2, 4096
    delta = mean + sd * stats.norm.ppf((np.arange(n) + 0.5) / n)
    fixed = np.zeros(n)
    points = np.stack([fixed + 4.0, delta, fixed, fixed + math.log(tau)], axis=1)
    ahead = Ahead.after(["A", "B"], np.array([-0.5, 0.5]), read_sd, 0)
    keep, back = 0.95, 0.10
    played = np.mean(
        [
            chances(
                Draws(points, np.full(n, 1 / n), float(n)), ahead, keep=keep, back=back, enough=2.0, most=12, seed=s
            )
            for s in SEEDS
        ],
        axis=0,
    )
    for k, found in enumerate(played, start=1):
        # Known α: each stop reads ±δ/2 with variance v, so 2k of them leave δ with 4 v/(2k).
        after = 1.0 / (1.0 / sd**2 + 2 * k / (4.0 * (tau**2 + read_sd**2)))
        moves = stats.norm(mean, math.sqrt(sd**2 - after))
        exact = moves.cdf(-stats.norm.ppf(keep) * math.sqrt(after)) + moves.sf(-stats.norm.ppf(back) * math.sqrt(after))
        # 4 · 256 futures err by 0.016 at most, three of them allowed.
        assert found == pytest.approx(exact, abs=0.048), k


def test_further_stops_begin_with_the_other_side_and_stay_balanced():
    ahead = Ahead.after(["A", "A"], np.array([0.0, 0.0]), 0.2, 2)
    assert "".join("AB"[int(b)] for b in ahead.is_b[:8]) == "BAABBAAB"
    assert ahead.least_more == 2
    assert np.diff(ahead.hours) == pytest.approx(np.full(23, USUAL_GAP_H))
    other = Ahead.after(["A", "B", "B"], np.array([-1.0, 0.0, 1.0]), 0.2, 2)
    assert "".join("AB"[int(b)] for b in other.is_b[:4]) == "ABBA"
    assert other.hours[0] == 2.0
    assert other.least_more == 1


def test_more_stops_are_asked_for_the_smaller_the_difference():
    asked = []
    for ratio in (0.4, 0.6):
        seen = [normal(60.0 * (ratio if s == "B" else 1.0), 0.2) for s in "ABBA"]
        answer = compare(trial("ABBA", seen), prior=Prior(40.0))
        asked.append(13 if answer.more_each is None else answer.more_each)
    assert asked[0] < asked[1]


def test_chances_are_shares_and_grow():
    answer = compare(trial("ABBA", [normal(x, 0.2) for x in (60.0, 45.0, 42.0, 55.0)]), prior=Prior(40.0))
    assert answer.verdict == "not settled"
    assert all(0.0 <= c <= 1.0 for c in answer.chance)
    # 256 futures: 0.03 each.
    assert answer.chance[-1] > answer.chance[0] - 0.03
    assert (answer.more_each is None) == (answer.chance[-1] < 0.8)
