"""The sampler on densities whose answers are known, and where it must refuse."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from chaffinch.engine.sampling import sampler
from chaffinch.engine.sampling.sampler import LEAST_ESS, sample
from chaffinch.errors import SamplerError

ZERO3, ONE3 = np.zeros(3), np.ones(3)


def normal(mean, cov):
    inverse = np.linalg.inv(cov)

    def log_density(points):
        apart = points - mean
        return -0.5 * np.einsum("ni,ij,nj->n", apart, inverse, apart)

    return log_density


def weighted_cdf(draws, column, x):
    return float(draws.weights[draws.points[:, column] < x].sum())


MEAN = np.array([1.5, -2.0, 0.3])
COV = np.array([[0.04, 0.05, 0.0], [0.05, 0.25, 0.1], [0.0, 0.1, 1.0]])


@pytest.mark.parametrize("seed", [1, 2, 3, 4])
def test_a_normal_comes_back_as_it_is(seed):
    draws = sample(normal(MEAN, COV), ZERO3, 2 * ONE3, seed=seed)
    mean = draws.weights @ draws.points
    cov = (draws.weights[:, None] * (draws.points - mean)).T @ (draws.points - mean)
    sd = np.sqrt(np.diag(COV))

    # Student proposals on a normal keep three quarters of their draws; Sobol points beat 1/√ESS, which is allowed.
    assert draws.ess > 2500
    assert (np.abs(mean - MEAN) < sd / math.sqrt(draws.ess)).all()
    assert cov == pytest.approx(COV, abs=4 * math.sqrt(2 / draws.ess) * 0.5)
    for column in range(3):
        for p in (0.05, 0.5, 0.95):
            x = MEAN[column] + sd[column] * stats.norm.ppf(p)
            assert weighted_cdf(draws, column, x) == pytest.approx(p, abs=3 * math.sqrt(p * (1 - p) / draws.ess))


def test_heavy_tails_are_reached():
    # Student with 4 degrees of freedom: heavier than the proposals' own 6.
    draws = sample(lambda x: stats.t.logpdf(x[:, 0], 4), np.zeros(1), np.ones(1), seed=5)

    for p in (0.005, 0.05, 0.5, 0.95, 0.995):
        assert weighted_cdf(draws, 0, stats.t.ppf(p, 4)) == pytest.approx(p, abs=3 * math.sqrt(p * (1 - p) / draws.ess))


def test_a_skewed_density():
    # ln of a Gamma with shape 0.5: sd 2.2, skewness −1.5.
    draws = sample(lambda x: 0.5 * x[:, 0] - np.exp(x[:, 0]), np.zeros(1), np.ones(1), seed=6)

    for p in (0.05, 0.5, 0.95):
        x = math.log(stats.gamma.ppf(p, 0.5))
        assert weighted_cdf(draws, 0, x) == pytest.approx(p, abs=3 * math.sqrt(p * (1 - p) / draws.ess))


def test_a_bent_density():
    # A banana: x ~ N(0, 1), y | x ~ N(x², 0.5). (At 0.1 the sampler misses its ends and its ESS does not tell.)
    def log_density(p):
        return -0.5 * np.square(p[:, 0]) - 0.5 * np.square((p[:, 1] - np.square(p[:, 0])) / 0.5)

    draws = sample(log_density, np.zeros(2), np.array([1.0, 2.0]), seed=7)

    for p in (0.05, 0.5, 0.95):
        near = 4 * math.sqrt(p * (1 - p) / draws.ess)
        assert weighted_cdf(draws, 0, stats.norm.ppf(p)) == pytest.approx(p, abs=near)
    # y is χ² with one degree of freedom, plus the noise.
    rng = np.random.default_rng(8)
    y = rng.standard_normal(400_000) ** 2 + 0.5 * rng.standard_normal(400_000)
    assert weighted_cdf(draws, 1, np.median(y)) == pytest.approx(0.5, abs=4 * math.sqrt(0.25 / draws.ess))


def test_a_guess_far_off_and_far_too_wide_or_narrow_is_mended():
    for start, sd in ((ZERO3 + 30.0, ONE3), (MEAN, 100 * ONE3), (MEAN + 0.1, 0.001 * ONE3)):
        draws = sample(normal(MEAN, COV), start, sd, seed=9)

        assert draws.ess > 1000
        assert draws.weights @ draws.points == pytest.approx(MEAN, abs=0.08)


def test_weights_are_shares_and_ess_is_kishs():
    draws = sample(normal(MEAN, COV), ZERO3, ONE3, seed=10)

    assert draws.weights.sum() == pytest.approx(1.0)
    assert (draws.weights >= 0).all()
    assert draws.ess == pytest.approx(1.0 / np.square(draws.weights).sum())
    assert draws.points.shape == (draws.weights.size, 3)


def test_the_same_seed_gives_the_same_draws():
    one, again, other = (sample(normal(MEAN, COV), ZERO3, ONE3, seed=s) for s in (3, 3, 4))

    assert np.array_equal(one.points, again.points)
    assert np.array_equal(one.weights, again.weights)
    assert not np.array_equal(one.points, other.points)


def test_a_constant_in_the_log_density_changes_nothing():
    plain, lifted = (sample(lambda x, h=h: normal(MEAN, COV)(x) + h, ZERO3, ONE3, seed=3) for h in (0.0, 512.0))

    # Only the last digits of the climb may differ.
    assert lifted.points == pytest.approx(plain.points, abs=1e-6)


def test_regions_without_density_are_allowed():
    # A half-normal: nothing below 0.
    draws = sample(lambda x: np.where(x[:, 0] > 0, -0.5 * np.square(x[:, 0]), -np.inf), np.ones(1), np.ones(1), seed=11)

    assert draws.points[draws.weights > 0].min() > 0.0
    for p in (0.05, 0.5, 0.95):
        assert weighted_cdf(draws, 0, stats.halfnorm.ppf(p)) == pytest.approx(p, abs=0.03)


def test_a_start_without_density_still_finds_it():
    draws = sample(
        lambda x: np.where(x[:, 0] > 0, -0.5 * np.square(x[:, 0] - 1), -np.inf), np.array([-1.0]), np.ones(1), seed=12
    )

    assert draws.weights @ draws.points[:, 0] == pytest.approx(stats.truncnorm.mean(-1, np.inf, loc=1), abs=0.05)


REFUSED = {
    "NaN everywhere": (lambda x: np.full(len(x), np.nan), "NaN"),
    "NaN in places": (lambda x: np.where(x[:, 0] > 0.5, np.nan, -np.square(x).sum(axis=1)), "NaN"),
    "no density anywhere": (lambda x: np.full(len(x), -np.inf), "zero at every point"),
    "endless density": (lambda x: np.full(len(x), np.inf), "."),
    # So rough that hardly two draws count: white noise of sd 7,000 in the log.
    "noise": (lambda x: 1e4 * np.sin(1e5 * x.sum(axis=1)), f"at least {LEAST_ESS:.0f}"),
}


@pytest.mark.parametrize(("log_density", "words"), REFUSED.values(), ids=REFUSED.keys())
def test_refuses_what_cannot_be_sampled(log_density, words):
    with pytest.raises(SamplerError, match=words):
        sample(log_density, ZERO3, ONE3, seed=13)


def test_the_climb_finds_mode_and_curvature():
    mode, cov = sampler._climb(normal(MEAN, COV), ZERO3, 3 * ONE3)

    assert mode == pytest.approx(MEAN, abs=1e-4)
    # Central differences of a quadratic are exact but for rounding.
    assert cov == pytest.approx(COV, rel=1e-4, abs=1e-5)
