"""Several combines: what they share, what each keeps, and a combine never seen."""

from __future__ import annotations

import math

import numpy as np
import pytest
from response_second_road import LN_APART, bell
from scipy import stats

from chaffinch.engine.estimate import Prior
from chaffinch.engine.response.curve import CurveDraws, LevelSlope
from chaffinch.engine.response.fit import fit_response
from chaffinch.engine.response.loss_point import LossPoint
from chaffinch.engine.response.pool import GivenOthers, Population, _ln_said, _pieces, population, systematic

PRIOR = Prior(40.0)
LEVEL = math.log(40.0)


def fit(points, **more):
    return fit_response(points, source="machine", prior=PRIOR, load_kind="throughput", **more)


def combine(name, checks, level=LEVEL, slope=1.3, seed=1, sd=0.2, spread=0.25):
    rng = np.random.default_rng(seed)
    load = 15.0 * np.exp(spread * rng.standard_normal(checks))
    said = level + slope * np.log(load / 15.0) + math.hypot(0.2, sd) * rng.standard_normal(checks)
    return [LossPoint(bell(float(m), sd), float(q), name) for m, q in zip(said, load, strict=True)]


def ln_range(response, load, name):
    found = response.predict(load, combine=name).range
    return math.log(found.high / found.low)


def test_a_combine_with_one_check_leans_on_the_others():
    others = [p for k in range(5) for p in combine(f"old {k}", 15, slope=2.2, seed=k)]
    new = combine("new", 1, seed=20)
    together, alone = fit([*others, *new], reference_load=15.0), fit(new, reference_load=15.0)

    # Slopes of 2.2 all round: the new one's is expected there too, and known better than from the prior.
    slope = [r.draws("new").weights @ r.draws("new").points[:, 1] for r in (together, alone)]
    assert slope[1] == pytest.approx(1.3, abs=0.1)
    assert slope[0] > 1.7
    assert ln_range(together, 22.0, "new") < 0.8 * ln_range(alone, 22.0, "new")


def test_a_combine_with_many_checks_keeps_its_own_curve():
    own = combine("own", 60, level=math.log(15.0), slope=0.5, seed=3)
    others = [p for k in range(4) for p in combine(f"other {k}", 15, seed=k)]
    together, alone = fit([*own, *others], reference_load=15.0), fit(own, reference_load=15.0)
    for load in (12.0, 15.0, 20.0):
        a, b = (np.log(r.loss_kg_ha(load, combine="own")) for r in (together, alone))
        assert a.mean() == pytest.approx(b.mean(), abs=0.6 * b.std())


def test_a_combine_never_seen_is_less_certain_than_those_seen_and_more_than_the_prior():
    response = fit([p for k in range(5) for p in combine(f"old {k}", 15, seed=k)], reference_load=15.0)
    widths = [ln_range(response, 15.0, "old 0"), ln_range(response, 15.0, "new"), ln_range(fit([]), 15.0, None)]

    assert widths == sorted(widths)
    assert widths[1] < widths[2] / 2.0
    assert "new combine" in response.predict(15.0, combine="new").notes
    # With several combines, no name means a new one; with one, it means that one.
    assert np.array_equal(response.loss_kg_ha(15.0), response.loss_kg_ha(15.0, combine="anything"))
    assert response.tested() is None
    only = fit(combine("only", 5))
    assert np.array_equal(only.loss_kg_ha(15.0), only.loss_kg_ha(15.0, combine="only"))
    assert only.tested() == only.tested("only") != only.tested("another")


def test_combines_far_apart_do_not_pull_each_other_together():
    points = [*combine("a", 20, level=math.log(10.0), seed=1), *combine("b", 20, level=math.log(150.0), seed=2)]
    response = fit(points, reference_load=15.0)
    for name, kg_ha in (("a", 10.0), ("b", 150.0)):
        found = response.predict(15.0, combine=name).range
        assert found.low < kg_ha < found.high
    # And what a third one may be is left open accordingly.
    assert ln_range(response, 15.0, "new") > 1.5


def test_what_a_combine_says_of_the_population_is_the_integral_it_stands_for():
    # A posterior that is a normal under π₀, so that the integral can be summed over a lattice of level and slope.
    base = LevelSlope(np.array([3.7, 1.3]), np.array([1.95, 1.2]))
    mean, root = np.array([3.2, 1.6]), np.array([[0.15, 0.0], [-0.1, 0.3]])
    z = stats.norm.ppf((np.arange(4096)[:, None] + 0.5) / 4096)[:, 0]
    rng = np.random.default_rng(5)
    pairs = np.column_stack([z, rng.permutation(z)])
    draws = CurveDraws(mean + pairs @ root.T, np.full(4096, 1 / 4096), 4096.0)
    h = np.array([[3.2, math.log(0.3), 1.6, math.log(0.3)], [3.9, math.log(0.2), 1.0, math.log(0.6)]])
    found = _ln_said(h, _pieces(draws, base), base)

    level, slope = np.meshgrid(np.linspace(1.5, 5.0, 701), np.linspace(-0.8, 4.0, 961), indexing="ij")
    wide = stats.norm.pdf(level, base.mean[0], base.sd[0]) * stats.norm.pdf(slope, base.mean[1], base.sd[1])
    said = stats.multivariate_normal(mean, root @ root.T).pdf(np.stack([level, slope], axis=-1)) / wide
    exact = [
        (said * stats.norm.pdf(level, m, math.exp(s)) * stats.norm.pdf(slope, n, math.exp(t))).sum() for m, s, n, t in h
    ]
    # Sixteen normals for one: the difference between two populations is what counts.
    assert found[0] - found[1] == pytest.approx(math.log(exact[0] / exact[1]), abs=0.05)


def test_the_prior_given_by_others_is_the_mixture_over_the_population():
    rng = np.random.default_rng(2)
    people = np.column_stack(
        [
            rng.normal(3.5, 0.2, 500),
            rng.normal(LN_APART[0], 0.5, 500),
            rng.normal(1.3, 0.3, 500),
            rng.normal(-1.0, 0.4, 500),
        ]
    )
    weights = rng.dirichlet(np.ones(500))
    given = GivenOthers.of(Population(people, weights, np.zeros((500, 0))))
    at = np.array([[3.5, 1.3], [2.9, 1.3], [3.5, 2.5], [4.6, -0.4], [1.0, 1.0]])
    exact = [
        math.log(
            weights
            @ (
                stats.norm.pdf(a, people[:, 0], np.exp(people[:, 1]))
                * stats.norm.pdf(b, people[:, 2], np.exp(people[:, 3]))
            )
        )
        for a, b in at
    ]
    found = given(at)
    assert found - found[0] == pytest.approx(np.array(exact) - exact[0], abs=0.01)


def test_without_combines_the_population_is_its_prior():
    people = population([], LevelSlope.of("header", Prior(20.0)), "header", Prior(20.0), seed=1)
    mean = people.weights @ people.points
    assert mean == pytest.approx([math.log(20.0), LN_APART[0], 0.0, LN_APART[0]], abs=0.03)
    # One combine drawn from it is as uncertain as a combine alone: 1.3 and 0.8.
    apart = np.exp(people.points[:, [1, 3]])
    total = np.sqrt(people.weights @ (np.square(people.points[:, [0, 2]] - mean[[0, 2]]) + np.square(apart)))
    assert total == pytest.approx([1.3, 0.8], rel=0.02)


def test_leaving_a_combine_out_is_never_having_had_it():
    points = {k: combine(f"c{k}", 12, seed=k) for k in range(6)}
    base = LevelSlope.of("machine", PRIOR, wider=1.5)
    alone = [fit(points[k], reference_load=15.0).draws() for k in range(6)]
    whole = population(alone, base, "machine", PRIOR, seed=1)
    without, never = whole.without(2), population(alone[:2] + alone[3:], base, "machine", PRIOR, seed=1)

    for people in (without, never):
        assert people.ess > 400
    mean = never.weights @ never.points
    sd = np.sqrt(never.weights @ np.square(never.points - mean))
    assert (without.weights @ without.points - mean) / sd == pytest.approx(np.zeros(4), abs=0.06)


def test_systematic_draws_come_as_often_as_their_weight():
    weights = np.array([0.5, 0.0, 0.25, 0.125, 0.125])
    assert np.bincount(systematic(weights, 64), minlength=5) == pytest.approx([32, 0, 16, 8, 8])
