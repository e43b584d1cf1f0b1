"""One wild check, one check left out, one upturn: what a curve admits about itself."""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import pytest
from response_second_road import bell

from chaffinch.engine.estimate import Prior
from chaffinch.engine.response import doubt as response_doubt
from chaffinch.engine.response.curve import CurveTask, LevelSlope
from chaffinch.engine.response.fit import fit_response
from chaffinch.engine.response.loss_point import LossPoint
from chaffinch.engine.response.terms import terms

PRIOR = Prior(40.0)
ASKED = np.array([10.0, 15.0, 22.0])
LOADS = np.linspace(9.0, 24.0, 12)


def fit(points, **more):
    return fit_response(points, source="machine", prior=PRIOR, load_kind="throughput", **more)


def day(curve=lambda q: 1.3 * np.log(q / 15.0), loads=LOADS, seed=4, scatter=0.2, sd=0.2):
    rng = np.random.default_rng(seed)
    said = math.log(40.0) + curve(loads) + math.hypot(scatter, sd) * rng.standard_normal(len(loads))
    return [LossPoint(bell(float(m), sd), float(q)) for m, q in zip(said, loads, strict=True)]


def ln_curve(response):
    return np.log(response.loss_kg_ha(ASKED)).mean(axis=0)


# --- one wild check -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("load", [9.0, 15.0, 24.0])
def test_a_wild_check_moves_the_curve_by_a_bounded_amount(load):
    points = day()
    without = ln_curve(fit(points, reference_load=15.0))
    here = math.log(40.0) + 1.3 * math.log(load / 15.0)
    moved = []
    for off in (0.0, 0.5, 1.0, 1.5, 2.0, 3.0, 4.0, 5.0):
        wild = LossPoint(bell(here + off, 0.1), load)
        moved.append(np.abs(ln_curve(fit([*points, wild], reference_load=15.0)) - without).max())

    # Twelve checks of sd 0.3 know the curve to about 0.1 in the middle and 0.2 at the ends; nothing moves it further.
    assert max(moved) < 0.25
    # And the wilder the check, the less it does: beyond a factor of 20 it does nothing, but for its own being there.
    assert moved[-1] < 0.04
    assert abs(moved[-1] - moved[-2]) < 0.01
    assert moved[-1] < max(moved) / 2.0


def test_a_wild_check_is_named():
    points = [*day(), LossPoint(bell(math.log(40.0) + 4.0, 0.1), 15.0)]
    found = fit(points).influence()

    assert found[-1].p_wild > 0.95
    assert max(i.p_wild for i in found[:-1]) < 0.2
    assert [i.position for i in found] == list(range(13))


# --- one check left out ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize("refitted", [False, True])
def test_influence_is_what_leaving_the_check_out_does(refitted, monkeypatch):
    # Both roads: new weights for the draws, and a new fit, forced here by asking for more draws than there are.
    monkeypatch.setattr(response_doubt, "_ENOUGH", 1e9 if refitted else 0.0)
    # One check far out by itself, one that is a little off, the rest ordinary.
    points = [*day(loads=np.linspace(11.0, 16.0, 6)), LossPoint(bell(4.9, 0.2), 26.0)]
    whole = fit(points, reference_load=15.0)
    found = whole.influence()

    for j, influence in enumerate(found):
        left = fit(points[:j] + points[j + 1 :], reference_load=15.0)
        load = points[j].load
        change = np.log(left.loss_kg_ha(load)).mean() - np.log(whole.loss_kg_ha(load)).mean()
        # The average over places holds τ²/2 as well, which the height of the curve does not.
        for response, sign in ((left, -1.0), (whole, 1.0)):
            drawn = response.draws()
            change += sign * float(drawn.weights @ np.exp(2.0 * drawn.points[:, 3])) / 2.0
        assert influence.refitted is refitted
        assert influence.here == pytest.approx(change, abs=0.03)
        assert abs(influence.curve) >= 0.0
    # The check that carries the heavy end carries the curve.
    assert np.argmax([abs(i.curve) for i in found]) == 6


def test_a_check_the_rest_foretells_has_no_influence():
    points = day(scatter=0.0, sd=0.1, seed=9)
    found = fit([*points, points[5]]).influence()
    assert abs(found[-1].here) < 0.05


# --- the upturn -----------------------------------------------------------------------------------------------------


def valley(q):
    return 1.3 * np.log(q / 15.0) + 5.0 * np.square(np.minimum(np.log(q / 15.0), 0.0))


def test_an_upturn_is_asked_for_where_there_is_one():
    loads = np.geomspace(6.0, 26.0, 16)
    with_one = fit(day(valley, loads)).upturn()
    without = fit(day(loads=loads)).upturn()

    assert with_one.asked_for
    assert with_one.ratio > 10.0
    assert with_one.probability > 0.95
    assert not without.asked_for
    assert without.ratio < 1.5
    assert without.probability < 0.2


def test_checks_that_cannot_tell_leave_the_ratio_at_one():
    few = fit(day(loads=np.array([14.0, 15.0, 16.0]))).upturn()
    assert few.ratio == pytest.approx(1.0, abs=0.15)
    assert not few.asked_for


def test_the_ratio_is_that_of_the_two_marginal_likelihoods():
    # The second road: both models' likelihoods averaged over draws from their priors, with wide evidence so that
    # half a million draws are enough (3 % each).
    points = day(valley, np.array([6.0, 9.0, 15.0, 20.0]), scatter=0.1, sd=0.5, seed=2)
    task = CurveTask.of(points, 12.0, terms(points, {}))
    rng = np.random.default_rng(7)
    means = [0.0, 0.0]
    for _ in range(25):
        draws = rng.standard_normal((20_000, 5)) * [1.3, 0.8, 1.0, 0.5, 2.0]
        draws += [math.log(40.0), 1.3, 0.0, math.log(0.25), 0.0]
        means[0] += np.exp(task.log_likelihood(draws)).mean()
        means[1] += np.exp(
            task.log_likelihood(draws, lambda x, d=draws: d[:, 4:] * np.square(np.minimum(x, 0.0)))
        ).mean()

    found = response_doubt.upturn(task, LevelSlope.of("machine", PRIOR), None, 1)
    assert found.ratio == pytest.approx(means[1] / means[0], rel=0.1)
    assert found.ratio > 1.5


def test_a_setup_s_own_level_is_no_upturn():
    light = [dataclasses.replace(p, setup="other") for p in day(loads=np.linspace(7.0, 9.0, 5), seed=5)]
    lifted = [dataclasses.replace(p, evidence=bell(4.2, 0.2)) for p in light]
    heavy = day(loads=np.linspace(13.0, 24.0, 9), seed=6)
    told = fit([*lifted, *heavy]).upturn()
    untold = fit([dataclasses.replace(p, setup="") for p in (*lifted, *heavy)]).upturn()
    assert told.ratio < untold.ratio
