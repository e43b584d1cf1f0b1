"""The model of design §4.3 written a second time, on scipy.stats, with nothing taken from the engine but the records.

Everything broadcasts: ``mean_g`` and ``c`` may have any matching shapes.
"""

from __future__ import annotations

import itertools
import math

import numpy as np
from scipy import integrate, stats

from chaffinch.engine.evidence import Catch

SPREAD_OF_LN_C = 0.35
C_BOUND_SD = 4.0
FEW_SEEDS = 8


def ln_reading(catch: Catch, mean_g, c):
    """Log-probability of one reading given its expected mass and the coefficient of variation."""
    mean_g, c = np.asarray(mean_g, dtype=float), np.asarray(c, dtype=float)
    reading = catch.reading
    if reading.count is not None:
        return ln_count(reading.count, mean_g * reading.seeds_per_g, c)
    if reading.step_g / 2 < reading.seed_g:
        seeds = round(reading.mass_g / reading.seed_g)
        assert math.isclose(seeds * reading.seed_g, reading.mass_g, abs_tol=1e-9), "scipy knows whole seeds only"
        return ln_count(seeds, mean_g / reading.seed_g, c)
    if reading.mass_g == 0.0 and reading.step_g / 2 < FEW_SEEDS * reading.seed_g:
        return ln_at_most(reading.step_g / 2 / reading.seed_g, mean_g / reading.seed_g, c)
    low, high = max(0.0, reading.mass_g - reading.step_g / 2), reading.mass_g + reading.step_g / 2
    return ln_between(low, high, mean_g, c, reading.seed_g)


def ln_count(seeds: int, mean_seeds, c):
    shape = 1.0 / np.square(c)
    return stats.nbinom.logpmf(seeds, shape, shape / (shape + mean_seeds))


def ln_at_most(seeds: float, mean_seeds, c):
    shape = 1.0 / np.square(c)
    return stats.nbinom.logcdf(math.floor(seeds + 1e-9), shape, shape / (shape + mean_seeds))


def ln_between(low, high, mean_g, c, seed_g):
    """Log P(low ≤ Y ≤ high) from the tail that holds less; −inf where it cancels to nothing."""
    variance = np.square(c * mean_g) + seed_g * mean_g
    shape, scale = mean_g**2 / variance, variance / mean_g
    ends = np.stack(np.broadcast_arrays(low, high, shape * scale)[:2])
    below, above = stats.gamma.cdf(ends, shape, scale=scale), stats.gamma.sf(ends, shape, scale=scale)
    chance = np.where(low > mean_g, above[0] - above[1], below[1] - below[0])
    with np.errstate(divide="ignore"):
        return np.log(np.maximum(chance, 0.0))


def ln_between_by_quadrature(low: float, high: float, mean_g: float, c: float, seed_g: float) -> float:
    """Log P(low ≤ Y ≤ high), low > 0, by adaptive quadrature of the density in ln y relative to its peak."""
    scale = c * c * mean_g + seed_g
    shape = mean_g / scale

    def ln_density(t: float) -> float:
        return shape * (t - math.log(scale)) - math.exp(t) / scale - math.lgamma(shape)

    a, b = math.log(low), math.log(high)
    peak = min(max(math.log(shape * scale), a), b)
    top = ln_density(peak)
    apart = [10.0**k for k in range(-7, 1)]
    cuts = sorted({a, b, *(x for d in apart for x in (peak - d, peak + d) if a < x < b), peak})
    whole = sum(
        integrate.quad(lambda t: math.exp(ln_density(t) - top), x, y, epsabs=0.0, epsrel=1e-9)[0]
        for x, y in itertools.pairwise(cuts)
    )
    return top + math.log(whole)


def seed_by_seed(rng: np.random.Generator, mean_g, c, seed_g: float, size) -> np.ndarray:
    """Seed masses from the mechanism itself: an uneven local rate, then whole seeds by chance [g]."""
    shape = 1.0 / np.square(c)
    rate = rng.gamma(shape, 1.0 / shape, size) * mean_g / seed_g
    return rng.poisson(rate) * seed_g
