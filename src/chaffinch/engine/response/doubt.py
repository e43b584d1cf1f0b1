"""Can the curve be trusted? Which check carries it, which does not fit, and does the loss rise again at light load?

Leaving a check out divides the posterior by what that check says, so the draws need only new weights; a check that
carries so much that few draws are left is really left out, and the rest fitted again.

A cleaning shoe can lose more at light load. The curve with an upturn has one term more,

    ω · (max(0, ln(Q₀/Q)))²,    ω ~ N(0, 2²)

and holds the curve without it at ω = 0. How much the checks ask for it is the Savage-Dickey ratio, prior density over
posterior density at ω = 0 (J. M. Dickey 1971, Ann. Math. Statist. 42, 204-223; from memory).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from chaffinch.engine.estimate import CLEAR
from chaffinch.engine.response.curve import (
    SHAPE,
    CurveDraws,
    CurveTask,
    LevelSlope,
    LnPrior,
    bend_of,
    bent,
    fit_curve,
    sampled,
    start,
)

FloatArray = NDArray[np.float64]

UPTURN_SD: Final = 2.0
"""Prior sd of ω [1]: at half the median load ±1 in ln(loss); own figure."""
ASKED_FOR: Final = 3.0
"""Ratio from which the checks are said to ask for an upturn [1] (own figure; Jeffreys' "substantial", from memory)."""
_ENOUGH: Final = 100.0
"""Effective draws below which a check left out by weights is left out in earnest."""


@dataclass(frozen=True, slots=True)
class Influence:
    """What one check does to the curve.

    Attributes
    ----------
    position : int
        Of the check among the points given.
    combine : str
    load : float
        Its load [t/h or km/h].
    here : float
        Change of ln(loss) at its own load when it is left out [1].
    curve : float
        Largest change, in size, of ln(loss) at the lightest, median and heaviest tested load [1], with its sign.
    p_wild : float
        Probability that the check is a wild one.
    refitted : bool
        Whether the rest had to be fitted again.
    """

    position: int
    combine: str
    load: float
    here: float
    curve: float
    p_wild: float
    refitted: bool


@dataclass(frozen=True, slots=True)
class Upturn:
    """Does the loss rise again at light load?

    Attributes
    ----------
    probability : float
        Posterior probability, in the curve with an upturn, that the loss at the lightest tested load falls when
        the load grows.
    ratio : float
        How much better the checks agree with that curve than with the one without [1]; 1: they cannot tell.
    asked_for : bool
        Whether the ratio is 3 or more and the probability 0.80 or more.
    """

    probability: float
    ratio: float
    asked_for: bool


def influences(
    task: CurveTask,
    draws: CurveDraws,
    base: LevelSlope,
    ln_prior: LnPrior | None,
    positions: tuple[int, ...],
    seed: int,
) -> list[Influence]:
    """Influence of every check of one combine, in the order of ``task.points``."""
    ends = np.array([task.ln_ratio.min(), np.median(task.ln_ratio), task.ln_ratio.max()])
    result = []
    for j, (point, position) in enumerate(zip(task.points, positions, strict=True)):
        one = slice(j, j + 1)
        said = task.checks.at(one, task.height(draws.points, one), draws.points[:, 3])[:, 0]
        p_wild = float(draws.weights @ np.exp(np.minimum(task.checks.ln_wild[j] - said, 0.0)))
        left = draws.reweighted(-said)
        refitted = left.ess < _ENOUGH
        if refitted:
            left = fit_curve(task.without(j), base, seed=seed, ln_prior=ln_prior)
        here = _mean(task.height(left.points, one), left) - _mean(task.height(draws.points, one), draws)
        moved = _plain(left, ends) - _plain(draws, ends)
        most = float(moved[np.abs(moved).argmax()])
        result.append(Influence(position, point.combine, point.load, float(here[0]), most, p_wild, refitted))
    return result


def upturn(task: CurveTask, base: LevelSlope, ln_prior: LnPrior | None, seed: int) -> Upturn:
    """Fit the curve with an upturn to one combine's checks (at least one)."""
    of_level_slope = ln_prior or base

    def log_density(draws: FloatArray) -> FloatArray:
        light = draws[:, -1:]
        said = task.log_likelihood(draws, lambda ln_ratio: light * np.square(np.minimum(ln_ratio, 0.0)))
        before = of_level_slope(draws[:, :2]) + task.ln_prior_of_rest(draws)
        result: FloatArray = before + said - 0.5 * np.square(draws[:, -1] / UPTURN_SD)
        return result

    mean = np.append(start(task, base), 0.0)
    sd = np.append(task.prior_sd(base), UPTURN_SD)
    found = sampled(log_density, mean, sd, seed=seed)
    lightest = min(float(task.ln_ratio.min()), 0.0)
    slope = found.points[:, 1] * np.exp(bend_of(found.points[:, 2]) * lightest) + 2.0 * found.points[:, -1] * lightest
    probability = float(min(1.0, found.weights[slope < 0.0].sum()))
    ratio = 1.0 / (UPTURN_SD * math.sqrt(2.0 * math.pi)) / _density_at_zero(found.points[:, -1], found)
    return Upturn(probability, ratio, ratio >= ASKED_FOR and probability >= CLEAR)


def _density_at_zero(values: FloatArray, draws: CurveDraws) -> float:
    """Kernel estimate of the weighted draws' density at 0, its bandwidth after Silverman (from memory)."""
    sd = float(np.sqrt(draws.weights @ np.square(values - draws.weights @ values)))
    width = 1.06 * sd * draws.ess**-0.2
    density = float(draws.weights @ np.exp(-0.5 * np.square(values / width))) / (width * math.sqrt(2.0 * math.pi))
    # Beyond the outermost draws the kernels reach nothing; the normal of the same mean and sd takes over.
    mean = float(draws.weights @ values)
    far = math.exp(max(-0.5 * (mean / sd) ** 2, -600.0)) / (sd * math.sqrt(2.0 * math.pi))
    return density if abs(mean) < 3.0 * sd else far


def _mean(height: FloatArray, draws: CurveDraws) -> FloatArray:
    result: FloatArray = draws.weights @ height
    return result


def _plain(draws: CurveDraws, ln_ratio: FloatArray) -> FloatArray:
    """Posterior mean of α + β·g at each load, shape (m,)."""
    points = draws.points[:, : len(SHAPE)]
    return _mean(points[:, :1] + points[:, 1:2] * bent(ln_ratio[None, :], bend_of(points[:, 2:3])), draws)
