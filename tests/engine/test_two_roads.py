"""Two roads to one answer, for the formulas everything rests on.

The second road is written from the design's equations with scipy.stats, numpy.random and ``uncertainties``; it shares
no line with the engine. The sampler's second road is test_sampler_against_mcmc.py.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats
from uncertainties import ufloat
from uncertainties.umath import log as ulog

from chaffinch.engine import exposure
from chaffinch.engine.catch import PAN_SD, SCALE_SD, read
from chaffinch.engine.estimate import Prior, estimate, range_of
from chaffinch.engine.evidence import LN_LOSS, Catch, evidence, log_likelihood
from chaffinch.engine.exposure import WIDTH_SD
from chaffinch.engine.sources import common_scale_sd

FT2 = 0.09290304
SEED_G = 0.0035


def pan(mass_g: float, step_g: float = 0.1) -> Catch:
    return Catch(read("weighed", mass_g, step_g, tkw_g=3.5), exposure.in_discharge(4 * FT2, 6.0, 1.0))


@pytest.mark.parametrize(
    ("masses", "expected"),
    [
        ((12.5,), (30.6, 56.8, 120.0)),
        ((12.5, 9.8, 15.1), (39.4, 56.2, 83.6)),
        ((0.0,), (0.22, 2.4, 45.0)),
    ],
    ids=["one pan", "three pans", "an empty pan"],
)
def test_cross_check_numbers_of_the_design(masses, expected):
    """Design §4.4, from an independent program: TKW 3.5 g, c0 0.40, median 40, scale 0.08, step 0.1 g, 4 ft², ratio 6.

    2 % is the design's own bound; its figures are printed to two or three digits.
    """
    found = range_of(estimate(evidence([pan(m) for m in masses], "machine"), Prior(40.0), 0.08))

    assert (found.low, found.median, found.high) == pytest.approx(expected, rel=0.02)


@pytest.mark.parametrize("c", [0.1, 0.4, 0.9])
@pytest.mark.parametrize("mean_g", [0.02, 0.5, 12.0])
@pytest.mark.parametrize(("reading", "step"), [(0.0, 0.1), (0.5, 0.1), (12.0, 1.0), (0.02, 0.01)])
def test_gamma_interval_against_scipy_and_draws(c, mean_g, reading, step):
    """P(y − s/2 ≤ Y ≤ y + s/2) against scipy's distribution function and against direct draws."""
    variance = (c * mean_g) ** 2 + SEED_G * mean_g
    law = stats.gamma(mean_g**2 / variance, scale=variance / mean_g)
    low, high = max(0.0, reading - step / 2), reading + step / 2
    catch = Catch(read("weighed", reading, step, tkw_g=3.5), exposure.in_standing_crop(1.0))

    ours = math.exp(log_likelihood(catch, np.array([math.log(mean_g)]), np.array([c]))[0, 0])

    exact = law.cdf(high) - law.cdf(low)
    # scipy's difference of two values near 1 loses digits below 1e-12; that is its error, not ours.
    assert ours == pytest.approx(exact, rel=1e-6, abs=1e-12)
    draws = law.rvs(200_000, random_state=np.random.default_rng(7))
    seen = np.mean((draws >= low) & (draws <= high))
    assert abs(ours - seen) <= 4 * math.sqrt(max(exact * (1 - exact), 1e-6) / 200_000)


@pytest.mark.parametrize("c", [0.05, 0.4, 1.2])
@pytest.mark.parametrize("mean", [0.3, 8.0, 250.0])
def test_counts_against_scipy_and_against_seeds_falling(c, mean):
    """Negative binomial against scipy, and against Poisson seeds at a rate that varies from place to place."""
    counts = [0, 1, 5, 40, 300]
    shape = 1 / c**2
    ours = []
    for n in counts:
        catch = Catch(read("counted", n, 1, tkw_g=3.5), exposure.in_standing_crop(1.0))
        ours.append(log_likelihood(catch, np.array([math.log(mean * SEED_G)]), np.array([c]))[0, 0])

    assert ours == pytest.approx(stats.nbinom(shape, shape / (shape + mean)).logpmf(counts), rel=1e-9, abs=1e-9)
    chance = np.random.default_rng(11)
    fallen = chance.poisson(mean * chance.gamma(shape, 1 / shape, 200_000))
    for n, ln_p in zip(counts, ours, strict=True):
        p = math.exp(ln_p)
        assert abs(np.mean(fallen == n) - p) <= 4 * math.sqrt(max(p * (1 - p), 1e-6) / 200_000)


def test_evidence_against_catches_played_out():
    """Play 400,000 whole checks of two pans at each of five losses, and compare how often these very readings come up.

    The readings are coarse (2 g steps) so that exact coincidence is common enough to count; 4 binomial sds are allowed.
    """
    step, readings = 2.0, (12.0, 6.0)
    seen = evidence([pan(m, step) for m in readings], "machine")
    chance = np.random.default_rng(5)
    n = 400_000
    losses = np.array([20.0, 35.0, 50.0, 80.0, 120.0])
    played = []
    for loss in losses:
        # c is shared by the pans of a check; ± 4 sd as the engine holds it
        c = 0.4 * np.exp(0.35 * stats.truncnorm(-4, 4).rvs(n, random_state=chance))
        mean = 0.1 * loss * 4 * FT2 * 6.0
        scale = (c * mean) ** 2 / mean + SEED_G
        y = chance.gamma(mean / scale, scale, size=(2, n))
        hit = np.ones(n, dtype=bool)
        for row, reading in zip(y, readings, strict=True):
            hit &= (row >= reading - step / 2) & (row <= reading + step / 2)
        played.append(hit.mean())
    ours = np.exp(np.interp(np.log(losses), LN_LOSS, seen.log_likelihood))
    ours *= np.sum(played) / ours.sum()  # evidence is known up to a constant

    for p, q in zip(played, ours, strict=True):
        assert abs(p - q) <= 4 * math.sqrt(p * (1 - p) / n) + 0.002 * q


@pytest.mark.parametrize(("kind", "by_width"), [("weighed", True), ("counted", False), ("measured", True)])
def test_shared_errors_add_up_as_uncertainties_says(kind, by_width):
    """Reading, width and pan errors in quadrature, against propagation through the loss formula itself.

    loss = mass / (0.1 · A · cut / drop); first order, so 1 % of the sd is allowed for the lognormal.
    """
    reading_sd = SCALE_SD[kind]
    catch = read(kind, 100, 1, tkw_g=3.5, gram_per_unit=0.65 if kind == "measured" else 1.0)
    seen = exposure.in_discharge(0.5, 12.0, 1.8) if by_width else exposure.in_standing_crop(0.5)
    ours = common_scale_sd([Catch(catch, seen)], WIDTH_SD["guessed"])

    mass = ufloat(12.0, 12.0 * reading_sd) if reading_sd else 12.0
    area = ufloat(0.5, 0.5 * PAN_SD)
    drop = ufloat(1.8, 1.8 * WIDTH_SD["guessed"]) if by_width else 12.0
    loss = mass / (0.1 * area * 12.0 / drop)

    assert ours == pytest.approx(ulog(loss).s, rel=0.01)
