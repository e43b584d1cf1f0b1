"""What does the split of the loss say of each cause? Evidence from draws, never from the middles.

A check was answered under a wide prior p₀ for each loss. Under a cause k the losses would rather follow p_k: the usual
of the crop, lifted where the cause lifts it. The evidence for k against the prior is then the mean, over the posterior
draws, of p_k(λ)/p₀(λ), and the draws weighted by that ratio are the losses under k (derived: Bayes' rule twice). A
split that the catches hardly knew leaves all ratios near each other by itself.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy.special import ndtri

from chaffinch.engine.domain import FloatArray, positive
from chaffinch.engine.estimate import PRIOR_SD, PRIOR_SHARE, Prior, Range
from chaffinch.engine.sampling.sobol import sobol
from chaffinch.errors import InputError
from chaffinch.reference.advice import SOURCES, AdviceTable, Cause

TWO_SIDED: Final = 3.29
"""90 % range over sd of a normal [1]: 2 · 1.645 (derived)."""
RANGE_DRAWS: Final = 256
"""Draws made of a range."""
OPEN: Final = "unexplained"
"""The cause under which the losses are what was expected before any check."""


@dataclass(frozen=True, slots=True)
class Split:
    """Posterior draws of the losses a check saw.

    Attributes
    ----------
    loss_kg_ha : mapping of str to ndarray, each of shape (n,)
        Draws by source seen [kg/ha], above 0; the same place is the same draw.
    weights : ndarray, shape (n,)
        Weights of the draws, summing to 1.
    priors : mapping of str to Prior
        What was believed of each before the check.
    """

    loss_kg_ha: Mapping[str, FloatArray]
    weights: FloatArray
    priors: Mapping[str, Prior]

    def __post_init__(self) -> None:
        if not self.loss_kg_ha:
            raise InputError("split", None, "holds no source", "give the draws of one source at least")
        for source, draws in self.loss_kg_ha.items():
            if draws.shape != self.weights.shape or not np.all(draws > 0.0):
                raise InputError(f"split, {source}", None, "does not fit its weights, or is not above 0", "give draws")
            if source not in self.priors:
                raise InputError(f"split, {source}", None, "has no prior", "give what was believed before the check")
        positive("split, weights", float(self.weights.sum()))


@dataclass(frozen=True, slots=True)
class Level:
    """Lognormal belief about one loss under one cause: ln of the median [ln kg/ha] and sd of the log [1]."""

    ln_median: float
    sd_log: float


def normal_of(low: float, high: float) -> tuple[float, float]:
    """Mean and sd of the log whose 5 and 95 % points are ``low`` and ``high``, above 0."""
    a, b = math.log(positive("low", low)), math.log(positive("high", high))
    return 0.5 * (a + b), (b - a) / TWO_SIDED


def level_of(table: AdviceTable, cause: Cause, group: str, source: str, prior: Prior) -> Level:
    """What a source loses under a cause, in a crop group.

    Parameters
    ----------
    table : AdviceTable
    cause : Cause
    group : str
        Crop group, from ``table.group_of``.
    source : {"standing", "header", "machine", "leak"}
    prior : Prior
        Of the check: the usual is told as a share of the yield, and so is the median of the prior.
    """
    if cause.key == OPEN:
        return Level(math.log(prior.median_kg_ha), prior.sd_log)
    share = table.usual_pct[group][source] / 100.0
    usual = math.log(prior.median_kg_ha * share / PRIOR_SHARE[source])
    lift = cause.lifts.get(source)
    mean, sd = (0.0, 0.0) if lift is None else normal_of(*lift)
    return Level(usual + mean, math.hypot(table.figures["usual_sd_log"], sd))


def log_evidence(
    table: AdviceTable, causes: Sequence[Cause], group: str, split: Split | None
) -> tuple[FloatArray, FloatArray]:
    """Evidence of the split for each cause, and the draws' weights under each.

    Parameters
    ----------
    table : AdviceTable
    causes : sequence of Cause
    group : str
    split : Split or None
        None: no check, no evidence.

    Returns
    -------
    log_evidence : ndarray, shape (len(causes),)
        ln of the mean of p_k/p₀ [1]; 0 without a split.
    weights : ndarray, shape (len(causes), n)
        Weights of the draws under each cause, rows summing to 1; shape (len(causes), 0) without a split.
    """
    if split is None:
        return np.zeros(len(causes)), np.zeros((len(causes), 0))
    base = np.log(
        split.weights / split.weights.sum(), where=split.weights > 0, out=np.full(split.weights.size, -np.inf)
    )
    log_ratio = np.tile(base, (len(causes), 1))
    for source, draws in split.loss_kg_ha.items():
        ln_loss, prior = np.log(draws), split.priors[source]
        before = _log_density(ln_loss, math.log(prior.median_kg_ha), prior.sd_log)
        for row, cause in enumerate(causes):
            level = level_of(table, cause, group, source, prior)
            log_ratio[row] += _log_density(ln_loss, level.ln_median, level.sd_log) - before
    top = log_ratio.max(axis=1, keepdims=True)
    weights = np.exp(log_ratio - top)
    total = weights.sum(axis=1, keepdims=True)
    return (top + np.log(total))[:, 0], weights / total


def split_of_ranges(ranges: Mapping[str, Range], priors: Mapping[str, Prior]) -> Split:
    """Draws from ranges alone, where the joint draws are not at hand, as on a phone.

    Each loss is a lognormal of two halves through the three points of its range, and the losses do not move together:
    a split that frames know only as a sum is then taken for looser than it is.

    Parameters
    ----------
    ranges : mapping of str to Range
        By source seen [kg/ha], above 0.
    priors : mapping of str to Prior
    """
    draws = {}
    for source, r in ranges.items():
        z = ndtri(sobol(RANGE_DRAWS, 1, seed=1, first=8 + SOURCES.index(source))[:, 0])
        low, middle, high = (math.log(positive(f"{source}, range", v)) for v in (r.low, r.median, r.high))
        draws[source] = np.exp(middle + z * np.where(z < 0.0, middle - low, high - middle) / (TWO_SIDED / 2.0))
    return Split(draws, np.full(RANGE_DRAWS, 1.0 / RANGE_DRAWS), priors)


def prior_of(source: str, yield_kg_ha: float) -> Prior:
    """Prior of a source that no catch saw: its share of the yield [kg/ha]."""
    return Prior(PRIOR_SHARE[source] * positive("yield_kg_ha", yield_kg_ha), PRIOR_SD)


def _log_density(x: FloatArray, mean: float, sd: float) -> FloatArray:
    result: FloatArray = -0.5 * np.square((x - mean) / sd) - math.log(sd)
    return result
