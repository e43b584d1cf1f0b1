"""What the catches say about a loss: the log-likelihood on one fixed grid of ln(loss).

Between catches taken alike the local rate varies with coefficient of variation c, and seed comes in whole seeds
of mass w. With the expected mass μ = 0.1 · Σ λ_s e_s [g]:

* weighed, measured or flat: Y ~ Gamma(mean μ, variance (cμ)² + wμ); the reading y says that Y lies within half a step
  of it, P(y − step/2 ≤ Y ≤ y + step/2), cut at 0, so an empty pan is informative;
* counted: N ~ negative binomial with mean μ · (counted seeds per gram) and shape 1/c²;
* on a scale that tells one seed from none (step/2 < w): the same negative binomial at the count y/w. The Gamma gives
  an empty pan too little chance there, since it knows no whole seeds. Where a few seeds may hide below half a step, an
  empty pan is the sum over their numbers, for the same reason.

c ~ LogNormal(ln c0, 0.35) is shared by the catches taken alike and integrated out numerically (design §4.3).
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.special import gammainc, gammaincc, gammaln

from chaffinch.engine.catch import Reading, together
from chaffinch.engine.domain import positive
from chaffinch.engine.exposure import VARIATION, Exposure, across_profile
from chaffinch.errors import InputError

FloatArray = NDArray[np.float64]

SOURCES: Final = ("standing", "header", "machine", "leak")

LN_LOSS: Final[FloatArray] = np.linspace(math.log(0.05), math.log(5000.0), 577)
"""The one grid of ln(loss in kg/ha); 0.02 apart (design §4.3)."""
LN_LOSS.flags.writeable = False

VARIATION_SD: Final = 0.35
"""Standard deviation of ln c around its default (design §4.3; own figure)."""
_C_REACH: Final = 4.0
"""c is held within four standard deviations of ln c0 (a factor of 4 either way). An empty pan can only mean a
large loss if c is huge, so this bound shapes its upper end: 45.6 kg/ha in the design's example, 46.7 unbounded."""
_C_NODES: Final = 23
_C_Z: Final[FloatArray] = np.linspace(-_C_REACH, _C_REACH, _C_NODES)
_LN_C_WEIGHTS: Final[FloatArray] = -0.5 * _C_Z**2 - math.log(float(np.exp(-0.5 * _C_Z**2).sum()))

_MOST_NODES: Final = 96
_FEW_SEEDS: Final = 8.0
"""An empty pan that may hide fewer seeds than this is summed seed by seed [1]; beyond, the Gamma comes as close."""
_ROUNDING: Final = 1e-9
"""Masses that differ by less are equal [1]: whole seeds stay whole in any unit."""
GRAMS_PER_KG_HA_M2: Final = 0.1
"""1 kg/ha over 1 m² is 0.1 g (exact)."""


@dataclass(frozen=True, slots=True)
class Catch:
    """One catch as the mathematics sees it: a reading through an exposure.

    Attributes
    ----------
    reading : Reading
        Seed mass with step and noise.
    exposure : Exposure
        Field areas by source.
    variation : float or None
        The person's own median of c; None means the default of ``exposure.taken``.
    """

    reading: Reading
    exposure: Exposure
    variation: float | None = None

    @property
    def c0(self) -> float:
        """Median coefficient of variation between catches taken like this one [1]."""
        own = self.variation
        return VARIATION[self.exposure.taken] if own is None else own

    @property
    def alike(self) -> tuple[str, float]:
        """Catches with the same value share one coefficient of variation."""
        return self.exposure.taken, self.c0


@dataclass(frozen=True, slots=True)
class Evidence:
    """Log-likelihood of one source's loss on :data:`LN_LOSS`, up to a constant.

    Attributes
    ----------
    log_likelihood : ndarray, shape (577,)
        Largest value 0.
    catches : int
        How many catches it rests on.
    """

    log_likelihood: FloatArray
    catches: int


def evidence(catches: Sequence[Catch], source: str) -> Evidence:
    """Evidence about one source from catches that see nothing else.

    Parameters
    ----------
    catches : sequence of Catch
        At least one; each must expose ``source`` and no other source.
    source : {"standing", "header", "machine", "leak"}
        Which loss.

    Raises
    ------
    InputError
        Without catches, or when a catch sees another source too (use :mod:`chaffinch.engine.sources`).
    """
    if not catches:
        raise InputError("catches", 0, "there is no catch to learn from", "take at least one")
    areas = [_only(catch, source) for catch in catches]
    total = np.zeros(LN_LOSS.size)
    for group in by_likeness(catches).values():
        c = c_nodes(group[0][1].c0)
        table = np.zeros((LN_LOSS.size, c.size))
        for index, catch in group:
            ln_mean = LN_LOSS + math.log(GRAMS_PER_KG_HA_M2 * areas[index])
            table += log_likelihood(catch, ln_mean, c)
        total += average_over_c(table)
    return Evidence(total - total.max(), len(catches))


def by_likeness(catches: Sequence[Catch]) -> Mapping[tuple[str, float], list[tuple[int, Catch]]]:
    """Group catches (with their positions) that share one coefficient of variation."""
    groups: dict[tuple[str, float], list[tuple[int, Catch]]] = {}
    for index, catch in enumerate(catches):
        groups.setdefault(catch.alike, []).append((index, catch))
    return groups


def c_nodes(c0: float) -> FloatArray:
    """Nodes of the coefficient of variation around its median, shape (23,)."""
    result: FloatArray = positive("variation", c0) * np.exp(VARIATION_SD * _C_Z)
    return result


def average_over_c(table: FloatArray) -> FloatArray:
    """Integrate c out of a table of log-likelihoods, shape (n, 23) → (n,)."""
    weighted = table + _LN_C_WEIGHTS
    top = weighted.max(axis=1)
    finite = np.where(np.isfinite(top), top, 0.0)
    with np.errstate(divide="ignore"):
        result: FloatArray = finite + np.log(np.exp(weighted - finite[:, None]).sum(axis=1))
    return result


def weights_over_c(table: FloatArray) -> FloatArray:
    """Posterior weight of each node of c given each row, shape (n, 23), rows summing to 1."""
    weighted = table + _LN_C_WEIGHTS
    weighted = np.exp(weighted - weighted.max(axis=1, keepdims=True))
    result: FloatArray = weighted / weighted.sum(axis=1, keepdims=True)
    return result


def log_likelihood(catch: Catch, ln_mean_g: FloatArray, c: FloatArray) -> FloatArray:
    """Log-likelihood of one reading for each expected mass and each coefficient of variation.

    Parameters
    ----------
    catch : Catch
        The reading and how it was taken.
    ln_mean_g : ndarray, shape (n,)
        Logarithm of the expected mass [ln g].
    c : ndarray, shape (m,)
        Coefficients of variation [1].

    Returns
    -------
    ndarray, shape (n, m)
        Finite, or −inf where the reading is impossible to machine precision.
    """
    reading = catch.reading
    spread = c * catch.exposure.variation_factor
    if reading.count is not None:
        return _counted(reading.count, ln_mean_g + math.log(reading.seeds_per_g), spread)
    if reading.step_g / 2 < reading.seed_g * (1.0 - _ROUNDING):
        return _counted(reading.mass_g / reading.seed_g, ln_mean_g - math.log(reading.seed_g), spread)
    shape, ln_scale = gamma_shape_and_ln_scale(ln_mean_g, spread, reading.seed_g)
    low, high = max(0.0, reading.mass_g - reading.step_g / 2), reading.mass_g + reading.step_g / 2
    if low == 0.0:
        if reading.mass_g == 0.0 and high < _FEW_SEEDS * reading.seed_g:
            return _few(high / reading.seed_g, ln_mean_g - math.log(reading.seed_g), spread)
        return _below(high, shape, ln_scale)
    return _within(low, high, shape, ln_scale, float(spread.min()))


def gamma_shape_and_ln_scale(ln_mean_g: FloatArray, c: FloatArray, seed_g: float) -> tuple[FloatArray, FloatArray]:
    """Shape k and ln of the scale θ of the Gamma with mean μ and variance (cμ)² + wμ.

    k = 1/(c² + w/μ) and θ = μ/k = c²μ + w, each of shape (n, m).
    """
    mean = np.exp(ln_mean_g)[:, None]
    scale = np.square(c) * mean + seed_g
    return mean / scale, np.log(scale)


def _below(high: float, shape: FloatArray, ln_scale: FloatArray) -> FloatArray:
    """Log P(Y ≤ high)."""
    x = high * np.exp(-ln_scale)
    probability = gammainc(shape, x)
    with np.errstate(divide="ignore"):
        result: FloatArray = np.log(probability)
    tiny = probability < 1e-280
    if tiny.any():
        # First terms of the series for the lower tail, DLMF 8.11.4: x^k e^{-x}/Γ(k+1) · 1/(1 − x/(k+1)); the
        # regularised function itself has underflowed here, where x is far below k.
        k, t = shape[tiny], x[tiny]
        result[tiny] = k * np.log(t) - t - gammaln(k + 1) - np.log1p(-t / (k + 1))
    return result


def _within(low: float, high: float, shape: FloatArray, ln_scale: FloatArray, c_least: float) -> FloatArray:
    """Log P(low ≤ Y ≤ high) with low > 0, by Gauss-Legendre quadrature of the density in ln y.

    A difference of two distribution functions loses all digits in the tails; the density never does. The number of
    nodes follows the narrowest density (width about c) that may stand in the interval.
    """
    length = math.log(high / low)
    count = 4 + math.ceil(3.0 * length / c_least)
    if count > _MOST_NODES:
        return _between_tails(low, high, shape, ln_scale)
    nodes, weights = _legendre(count)
    ln_y = math.log(low) + length * (nodes + 1) / 2
    ln_weight = np.log(weights * length / 2)
    constant = -gammaln(shape) - shape * ln_scale
    rate = np.exp(-ln_scale)
    best = np.full(shape.shape, -np.inf)
    terms = []
    for t, w in zip(ln_y, ln_weight, strict=True):
        term = shape * t - math.exp(t) * rate + w
        terms.append(term)
        np.maximum(best, term, out=best)
    total = np.zeros(shape.shape)
    for term in terms:
        total += np.exp(term - best)
    result: FloatArray = constant + best + np.log(total)
    return result


@lru_cache(maxsize=_MOST_NODES)
def _legendre(count: int) -> tuple[FloatArray, FloatArray]:
    """Gauss-Legendre nodes and weights; an eigenvalue problem each, so every size is solved once."""
    nodes, weights = np.polynomial.legendre.leggauss(count)
    return nodes, weights


def _between_tails(low: float, high: float, shape: FloatArray, ln_scale: FloatArray) -> FloatArray:
    """Log P(low ≤ Y ≤ high) for an interval much wider than the density, as a difference of tails.

    The difference is taken in the tail that holds less, so it keeps its digits wherever it is not negligible; where
    it underflows, the density at the nearer end times the interval stands in.
    """
    rate = np.exp(-ln_scale)
    lower = gammainc(shape, high * rate) - gammainc(shape, low * rate)
    upper = gammaincc(shape, low * rate) - gammaincc(shape, high * rate)
    probability = np.where(low * rate > shape, upper, lower)
    with np.errstate(divide="ignore"):
        result: FloatArray = np.log(np.maximum(probability, 0.0))
    tiny = probability < 1e-280
    nearer = np.where(low * rate > shape, low, high)
    ends = shape * (np.log(nearer) - ln_scale) - nearer * rate - gammaln(shape) + math.log(math.log(high / low))
    result[tiny] = ends[tiny]
    return result


def _counted(count: float, ln_mean: FloatArray, c: FloatArray) -> FloatArray:
    """Log probability of a count under the negative binomial with mean ν and shape r = 1/c².

    A mass in seeds need not be whole: in between, the gamma functions interpolate.
    """
    nu = np.exp(ln_mean)[:, None]
    r = 1.0 / np.square(c)
    choose = gammaln(count + r) - gammaln(r) - gammaln(count + 1)
    # ln(r/(r+ν)) and ln(ν/(r+ν)) written so that neither loses digits when ν is far from r.
    result: FloatArray = choose - r * np.log1p(nu / r) - count * np.log1p(r / nu)
    return result


def _few(seeds: float, ln_mean: FloatArray, c: FloatArray) -> FloatArray:
    """Log probability of at most so many seeds under the same negative binomial, summed seed by seed."""
    # 0.3 g of 0.1 g seed is 2.9999999999999996 in floats: three seeds all the same.
    most = math.floor(seeds * (1.0 + _ROUNDING))
    result: FloatArray = np.logaddexp.reduce([_counted(n, ln_mean, c) for n in range(most + 1)], axis=0)
    return result


def profile(
    pans: Sequence[Reading],
    pan_areas_m2: Sequence[float],
    lengths_m: Sequence[float],
    cut_width_m: float,
    *,
    variation: float | None = None,
) -> Catch:
    """One catch made of pans at known offsets: grams per metre of travel over the whole discharge.

    Y = Σ a_i y_i with a_i = ℓ_i / A_i [1/m]; the seed noise of the sum is that of a particle of mass
    w · Σ a_i² y_i / Σ a_i y_i. Steps add in quadrature, a count having none; those of empty pans add up first, since
    what lay below half a step errs in every one of them the same way.

    Parameters
    ----------
    pans : sequence of Reading
        One per pan.
    pan_areas_m2, lengths_m : sequence of float
        Pan areas A_i [m²] and the length of discharge each stands for ℓ_i [m]
        (:func:`chaffinch.engine.exposure.profile_lengths_m`).
    cut_width_m : float
        Cut width [m].
    variation : float or None
        Own median coefficient of variation of a single pan [1].
    """
    factors = [
        positive("lengths_m", length) / positive("pan_areas_m2", area)
        for length, area in zip(lengths_m, pan_areas_m2, strict=True)
    ]
    scaled = [
        Reading(
            a * r.mass_g,
            a * r.step_g,
            a * r.seed_g,
            None,
            0.0,
            r.kind,
            r.scale_sd,
            a * r.unthreshed_g,
        )
        for a, r in zip(factors, pans, strict=True)
    ]
    total = sum(r.mass_g for r in scaled)
    shares = [r.mass_g / total if total else 1.0 / len(scaled) for r in scaled]
    whole = together(scaled, unthreshed=[False] * len(scaled))
    below = sum(r.step_g for r in scaled if r.mass_g == 0)
    step = math.hypot(below, *(r.step_g for r in scaled if r.mass_g > 0))
    whole = Reading(
        whole.mass_g,
        step,
        whole.seed_g,
        None,
        0.0,
        whole.kind,
        whole.scale_sd,
        sum(r.unthreshed_g for r in scaled),
    )
    return Catch(whole, across_profile(cut_width_m, shares), variation)


def _only(catch: Catch, source: str) -> float:
    """Area through which the catch sees ``source``, refusing catches that see another one."""
    for other in SOURCES:
        if other != source and catch.exposure.area_m2(other) > 0:
            raise InputError("place", other, f"the catch sees more than {source} loss", "locate all sources together")
    return positive("area", catch.exposure.area_m2(source), f"the catch does not see {source} loss")
