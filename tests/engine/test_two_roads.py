"""Two roads to one answer, for the formulas everything rests on.

The second road is written from the design's equations with scipy.stats, numpy.random, emcee and ``uncertainties``; it
shares no line with the engine.
"""

from __future__ import annotations

import math

import emcee
import numpy as np
import pytest
from scipy import special, stats
from uncertainties import ufloat
from uncertainties.umath import log as ulog

from chaffinch.engine import exposure
from chaffinch.engine.catch import PAN_SD, SCALE_SD, read
from chaffinch.engine.estimate import Prior, estimate, range_of
from chaffinch.engine.evidence import LN_LOSS, Catch, evidence, log_likelihood
from chaffinch.engine.exposure import WIDTH_SD
from chaffinch.engine.sources import common_scale_sd, locate

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


def ln_catch(mass, step, mean, c):
    """Log-likelihood of one weighed catch, straight from the design (scipy.stats is too slow for a chain)."""
    variance = (c * mean) ** 2 + SEED_G * mean
    k, theta = mean**2 / variance, variance / mean
    if mass <= step / 2:
        with np.errstate(divide="ignore"):
            return np.log(special.gammainc(k, (mass + step / 2) / theta))
    # steps here are fine, so the density times the step is the interval to three digits
    return (k - 1) * math.log(mass) - mass / theta - special.gammaln(k) - k * np.log(theta) + math.log(step)


def ln_count(n, mean, c):
    """Log-likelihood of one count: scipy's nbinom.logpmf written out."""
    r, nu = 1 / c**2, mean / SEED_G
    ways = special.gammaln(n + r) - special.gammaln(r) - special.gammaln(n + 1)
    return ways + r * np.log(r / (r + nu)) + n * np.log(nu / (r + nu))


S, H, D, B = "standing", "header strip", "discharge", "behind"
AREAS = {S: (0.5, 0.0, 0.0), H: (0.5, 0.5, 0.0), D: (0.0, 0.0, 0.5 * 12 / 1.8), B: (0.5, 0.5, 0.5 * 12 / 1.8)}
C0 = {S: 0.5, H: 0.5, D: 0.4, B: 0.5}
PLACES = {
    S: lambda: exposure.in_standing_crop(0.5),
    H: lambda: exposure.in_header_strip(0.5),
    D: lambda: exposure.in_discharge(0.5, 12.0, 1.8),
    B: lambda: exposure.behind(0.5, 12.0, 1.8),
}
POSTERIORS = {
    "machine only": [(D, 12.5), (D, 9.8), (D, 15.1)],
    "three sources": [(S, 0.4), (S, 0.9), (H, 2.2), (H, 3.1), (H, 1.6), (D, 12.0), (D, 17.5)],
    "frames behind": [(S, 0.3), (H, 1.5), (H, 2.4), (B, 9.0), (B, 14.0), (B, 7.5)],
    "empty frames": [(S, 0.0), (S, 0.0), (H, 0.0), (H, 0.6), (D, 3.0)],
    "counted header": [(S, 90), (H, 700), (H, 420), (D, 12.0)],
}
MEDIANS = (7.5, 37.5, 50.0)
WIDTH, SEEN = 0.08, ("standing", "header", "machine")


@pytest.mark.slow
@pytest.mark.parametrize("name", list(POSTERIORS))
def test_sampler_against_a_long_ensemble_mcmc(name):
    """Medians and ends of ranges within 3 % of the posterior sd (design §4.6), plus four Monte Carlo errors.

    The chain samples ln losses, ln c of each way of taking catches, and the shared errors outright; the engine
    integrates c on nodes, tabulates, samples and convolves. Prior, c0 and errors are the design's.
    """
    catches = POSTERIORS[name]
    sources = [i for i in range(3) if any(AREAS[p][i] > 0 for p, _ in catches)]
    ways = sorted({C0[p] for p, _ in catches})
    counted = {i for i, (_, m) in enumerate(catches) if isinstance(m, int)}
    mixed = bool(counted) and len(counted) < len(catches)
    dim = len(sources) + len(ways)

    def log_density(x):
        """All walkers at once: x has shape (walkers, dimensions)."""
        loss = np.zeros((len(x), 3))
        loss[:, sources] = np.exp(x[:, : len(sources)])
        z_c = x[:, len(sources) : dim]
        c = {w: w * np.exp(0.35 * z_c[:, k]) for k, w in enumerate(ways)}
        tkw_error = x[:, dim] if mixed else np.zeros(len(x))
        prior_z = (x[:, : len(sources)] - np.log(MEDIANS)[sources]) / 1.3
        total = -0.5 * (prior_z**2).sum(axis=1) - 0.5 * (z_c**2).sum(axis=1)
        total -= 0.5 * (tkw_error / SCALE_SD["counted"]) ** 2
        for i, (place, m) in enumerate(catches):
            mean = 0.1 * loss @ np.array(AREAS[place])
            if i in counted:
                total += ln_count(m, mean * np.exp(-tkw_error), c[C0[place]])
            else:
                total += ln_catch(m, 0.1, mean, c[C0[place]])
        total[np.any(np.abs(z_c) > 4, axis=1) | ~np.isfinite(total)] = -np.inf
        return total

    chance = np.random.default_rng(3)
    walkers, steps, burn = 64, 16_000, 2000
    size = dim + mixed
    start = np.concatenate([np.log(MEDIANS)[sources], np.zeros(size - len(sources))])
    np.random.seed(3)  # noqa: NPY002 (emcee 3 draws from numpy's global state)
    chain = emcee.EnsembleSampler(walkers, size, log_density, vectorize=True)
    chain.run_mcmc(start + 0.1 * chance.standard_normal((walkers, size)), steps)
    taus = chain.get_autocorr_time(tol=0)
    draws = chain.get_chain(discard=burn, flat=True)[:, : len(sources)]
    effective = (steps - burn) * walkers / taus.max()
    # Errors common to all catches come on top, in both roads: the pan's, and the drop width's of the machine.
    extra = PAN_SD * chance.standard_normal(len(draws))[:, None] + np.zeros_like(draws)
    if 2 in sources:
        extra[:, sources.index(2)] += WIDTH * chance.standard_normal(len(draws))
    draws = draws + extra

    readings = [
        read("counted", m, 1, tkw_g=3.5) if i in counted else read("weighed", m, 0.1, tkw_g=3.5)
        for i, (_, m) in enumerate(catches)
    ]
    joint = locate(
        [Catch(r, PLACES[p]()) for r, (p, _) in zip(readings, catches, strict=True)],
        {SEEN[i]: Prior(MEDIANS[i]) for i in sources},
        width_sd=WIDTH,
    )
    for column, i in enumerate(sources):
        sd = draws[:, column].std()
        found = range_of(joint.of(SEEN[i]))
        for p, ours in ((0.05, found.low), (0.5, found.median), (0.95, found.high)):
            theirs = np.quantile(draws[:, column], p)
            density = stats.norm.pdf(stats.norm.ppf(p)) / sd
            error = math.sqrt(p * (1 - p) / effective) / density
            assert abs(math.log(ours) - theirs) <= 0.03 * sd + 4 * error, (SEEN[i], p, math.log(ours), theirs, sd)
