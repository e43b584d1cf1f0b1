"""What is one combine's curve? Draws of its level, slope, bend and scatter from the checks it has.

    ln λ = α + β ((Q/Q₀)^κ − 1)/κ + terms + u,    u ~ N(0, τ²)

κ → 0 is the power law λ ~ Q^β, κ = 1 the exponential. Sampled by the kernel in (α, β, k, ln τ, terms…) with
κ = 1.5 Φ(k), so that κ is uniform on 0 to 1.5 when k is standard normal (design §4.7).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from chaffinch.engine.estimate import Prior, estimate
from chaffinch.engine.evidence import LN_LOSS
from chaffinch.engine.response.loss_point import LossPoint
from chaffinch.engine.response.table import SmoothedChecks
from chaffinch.engine.response.terms import Terms
from chaffinch.engine.sampling.sampler import POINTS_PER_ROUND, sample
from chaffinch.errors import SamplerError

FloatArray = NDArray[np.float64]
LnPrior = Callable[[FloatArray], FloatArray]

SLOPE: Final = {"machine": (1.3, 0.8), "header": (0.0, 0.8)}
"""Prior mean and sd of β [1]: machine loss rises with load, header loss may fall (design §4.7; own figures within the
published exponents 0.3 to 1.5)."""
BEND_MOST: Final = 1.5
"""κ is uniform from 0 to this [1] (design §4.7)."""
LN_SCATTER: Final = (math.log(0.25), 0.5)
"""Prior mean and sd of ln τ, τ the sd of ln(loss) between places at one load [1] (design §4.7; own figure)."""
SHAPE: Final = ("level", "slope", "bend", "scatter")
"""The first four columns of the draws: α, β, k, ln τ."""
_MANY: Final = 8
"""Parameters beyond which a round takes twice the points: the tails of a proposal weigh more in more directions."""
_SMALL_BEND: Final = 1e-9


def bent(ln_ratio: FloatArray, bend: FloatArray) -> FloatArray:
    """Return ((Q/Q₀)^κ − 1)/κ for ln(Q/Q₀) and κ ≥ 0 of shapes that broadcast; ln(Q/Q₀) where κ is 0."""
    safe = np.maximum(bend, _SMALL_BEND)
    result: FloatArray = np.expm1(safe * ln_ratio) / safe
    return result


def bend_of(k: FloatArray) -> FloatArray:
    """Return κ = 1.5 Φ(k)."""
    return np.asarray(BEND_MOST * ndtr(k))


@dataclass(frozen=True, slots=True)
class CurveDraws:
    """Weighted draws of one combine's parameters, columns as in :data:`SHAPE` and then the terms.

    Attributes
    ----------
    points : ndarray, shape (n, d)
    weights : ndarray, shape (n,)
        Summing to 1.
    ess : float
        Effective number of draws.
    """

    points: FloatArray
    weights: FloatArray
    ess: float

    def reweighted(self, ln_factor: FloatArray) -> CurveDraws:
        """The same draws for a posterior that differs by exp(ln_factor)."""
        with np.errstate(divide="ignore"):
            ln_weights = np.log(self.weights) + ln_factor
        weights = np.exp(ln_weights - ln_weights.max())
        weights /= weights.sum()
        return CurveDraws(self.points, weights, float(1.0 / np.square(weights).sum()))

    def sd(self) -> FloatArray:
        """Posterior sd of each parameter."""
        mean = self.weights @ self.points
        result: FloatArray = np.sqrt(self.weights @ np.square(self.points - mean))
        return result


@dataclass(frozen=True, slots=True)
class LevelSlope:
    """Independent normal priors of α and β: means and sds, shape (2,) each."""

    mean: FloatArray
    sd: FloatArray

    def __call__(self, level_slope: FloatArray) -> FloatArray:
        """Log density of each row (α, β), up to a constant."""
        result: FloatArray = -0.5 * np.square((level_slope - self.mean) / self.sd).sum(axis=1)
        return result

    @staticmethod
    def of(source: str, prior: Prior, *, wider: float = 1.0) -> LevelSlope:
        """The prior of one combine alone, its sds multiplied by ``wider``."""
        mean, sd = SLOPE[source]
        return LevelSlope(np.array([math.log(prior.median_kg_ha), mean]), wider * np.array([prior.sd_log, sd]))


@dataclass(frozen=True, slots=True)
class CurveTask:
    """The checks of one combine, made ready: log-likelihood of any set of draws.

    Attributes
    ----------
    points : tuple of LossPoint
    ln_ratio : ndarray, shape (J,)
        ln(Q/Q₀) of each check.
    terms : Terms
    checks : SmoothedChecks
    """

    points: tuple[LossPoint, ...]
    ln_ratio: FloatArray
    terms: Terms
    checks: SmoothedChecks

    @staticmethod
    def of(points: Sequence[LossPoint], reference_load: float, what: Terms) -> CurveTask:
        """Make the tables of all checks of one combine."""
        ln_ratio = np.log(np.array([p.load for p in points], dtype=np.float64) / reference_load)
        checks = SmoothedChecks.of([p.evidence for p in points], [float(sd) for sd in what.blur_sd])
        return CurveTask(tuple(points), ln_ratio, what, checks)

    def without(self, check: int) -> CurveTask:
        """The task without one check; terms and reference load stay."""
        kept = [i for i in range(len(self.points)) if i != check]
        points = tuple(self.points[i] for i in kept)
        return CurveTask(points, self.ln_ratio[kept], self.terms.only(kept), self.checks.only(kept))

    def height(self, draws: FloatArray, checks: slice) -> FloatArray:
        """η of each draw at each check of a slice, shape (n, j) [ln kg/ha]."""
        along = bent(self.ln_ratio[None, checks], bend_of(draws[:, 2:3]))
        result: FloatArray = draws[:, :1] + draws[:, 1:2] * along
        if self.terms.prior_sd.size:
            result += draws[:, len(SHAPE) : len(SHAPE) + self.terms.prior_sd.size] @ self.terms.design[checks].T
        return result

    def log_likelihood(self, draws: FloatArray, extra: LnPrior | None = None) -> FloatArray:
        """Sum over all checks, shape (n,); ``extra(ln_ratio)`` as in :meth:`by_check`."""
        total = np.zeros(draws.shape[0])
        for part in self.checks.chunks(draws.shape[0]):
            height = self.height(draws, part)
            if extra is not None:
                height += extra(self.ln_ratio[part])
            total += self.checks.at(part, height, draws[:, 3]).sum(axis=1)
        return total

    def ln_prior_of_rest(self, draws: FloatArray) -> FloatArray:
        """Log prior of everything but level and slope, up to a constant."""
        result: FloatArray = -0.5 * np.square(draws[:, 2])
        result -= 0.5 * np.square((draws[:, 3] - LN_SCATTER[0]) / LN_SCATTER[1])
        if self.terms.prior_sd.size:
            linear = draws[:, len(SHAPE) : len(SHAPE) + self.terms.prior_sd.size]
            result -= 0.5 * np.square(linear / self.terms.prior_sd).sum(axis=1)
        return result

    def prior_sd(self, base: LevelSlope) -> FloatArray:
        """Prior sd of every parameter."""
        return np.concatenate([base.sd, [1.0, LN_SCATTER[1]], self.terms.prior_sd])


def fit_curve(task: CurveTask, base: LevelSlope, *, seed: int, ln_prior: LnPrior | None = None) -> CurveDraws:
    """Sample one combine's parameters.

    Parameters
    ----------
    task : CurveTask
    base : LevelSlope
        Prior of level and slope, and the width of the search.
    seed : int
    ln_prior : callable or None
        Another log prior of (α, β), shape (n, 2) → (n,), in place of ``base``.

    Raises
    ------
    SamplerError
        When fewer than 400 effective draws are left after four times the points.
    """
    of_level_slope = ln_prior or base

    def log_density(draws: FloatArray) -> FloatArray:
        result: FloatArray = of_level_slope(draws[:, :2]) + task.ln_prior_of_rest(draws) + task.log_likelihood(draws)
        return result

    return sampled(log_density, start(task, base), task.prior_sd(base), seed=seed)


def sampled(log_density: LnPrior, mean: FloatArray, sd: FloatArray, *, seed: int) -> CurveDraws:
    """Draws from the kernel, with more points where there are many parameters, and four times as many in need."""
    count = POINTS_PER_ROUND * (2 if mean.size > _MANY else 1)
    try:
        found = sample(log_density, mean, sd, seed=seed, points_per_round=count)
    except SamplerError:
        try:
            found = sample(log_density, mean, sd, seed=seed + 1000, points_per_round=4 * count)
        except SamplerError as error:
            problem = f"the curve's {mean.size} parameters could not be sampled: fewer setups, operators or conditions"
            raise SamplerError(f"{problem} may help ({error})") from error
    return CurveDraws(found.points, found.weights, found.ess)


def start(task: CurveTask, base: LevelSlope) -> FloatArray:
    """A point near the mode: a line through the checks, far ones counting less, shape (d,).

    From the prior's middle the climb may see no slope: checks that all lie far from it are taken for wild ones there.
    """
    bend, scatter = 0.0, LN_SCATTER[0]
    rest = task.terms.prior_sd.size
    mean = np.concatenate([base.mean, np.zeros(rest)])
    sd = np.concatenate([base.sd, task.terms.prior_sd])
    if task.points:
        weak = Prior(math.exp(base.mean[0]), float(base.sd[0]))
        said = [_said(p, weak) for p in task.points]
        middle, variance = np.array([s[0] for s in said]), np.array([s[1] for s in said])
        variance = variance + math.exp(2 * scatter) + np.square(task.terms.blur_sd)
        along = bent(task.ln_ratio, bend_of(np.array(bend)))
        design = np.column_stack([np.ones_like(along), along, task.terms.design])
        trust = np.ones_like(middle)
        prior_precision = np.diag(1.0 / np.square(sd))
        found = mean
        for _ in range(20):
            pull = design.T * (trust / variance)
            found = np.linalg.solve(pull @ design + prior_precision, pull @ middle + prior_precision @ mean)
            # Weights of a t distribution with 4 degrees of freedom.
            trust = 5.0 / (4.0 + np.square(middle - design @ found) / variance)
        mean = found
    return np.concatenate([mean[:2], [bend, scatter], mean[2:]])


def _said(point: LossPoint, weak: Prior) -> tuple[float, float]:
    """Mean and variance of the normal that comes closest to what the evidence says of ln(loss)."""
    belief = estimate(point.evidence, weak, 0.0)
    mean, variance = float(belief.mass @ LN_LOSS), belief.sd_log() ** 2
    before, centre = 1.0 / weak.sd_log**2, math.log(weak.median_kg_ha)
    precision = max(1.0 / variance - before, 1e-4)
    return (mean / variance - centre * before) / precision, 1.0 / precision
