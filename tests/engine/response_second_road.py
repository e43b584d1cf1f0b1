"""The model of the page response written a second time: dense sums over u and emcee, nothing taken from the rooms.

Every figure (priors, share of wild checks) is typed anew here, so that a slip on either side shows.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import emcee
import numpy as np
from scipy import stats

from chaffinch.engine.evidence import LN_LOSS, Evidence
from chaffinch.engine.response.loss_point import LossPoint

GRID = np.linspace(math.log(0.05), math.log(5000.0), 577)
WILD = 0.02
LEVEL_SD = 1.3
SLOPE = {"machine": (1.3, 0.8), "header": (0.0, 0.8)}
LN_TAU = (math.log(0.25), 0.5)
LN_APART = (math.log(0.3), 0.5)
GAMMA_SD, DELTA_SD, OPERATOR_SD = 0.3, 0.4, 0.2


def bell(ln_loss: float, sd: float) -> Evidence:
    """Evidence that is a normal in ln(loss): everything about it is known in closed form."""
    return Evidence(-0.5 * np.square((LN_LOSS - ln_loss) / sd), 1)


def power(ratio, bend):
    """((Q/Q₀)^κ − 1)/κ for κ > 0, as it is written."""
    return (np.power(ratio, bend) - 1.0) / bend


class OneCurve:
    """Log posterior of (α, β, k, ln τ, linear terms…) of one combine, u summed on 121 nodes."""

    def __init__(self, points: Sequence[LossPoint], median: float, source: str, design=None, linear_sd=()) -> None:
        self.ratio = np.array([p.load for p in points]) / np.median([p.load for p in points])
        self.seen = [p.evidence.log_likelihood for p in points]
        self.wild = [WILD * np.trapezoid(np.exp(s), GRID) / (GRID[-1] - GRID[0]) for s in self.seen]
        self.design = np.zeros((len(points), 0)) if design is None else np.asarray(design, dtype=float)
        self.centre = np.array([math.log(median), SLOPE[source][0], 0.0, LN_TAU[0], *[0.0] * len(linear_sd)])
        self.sd = np.array([LEVEL_SD, SLOPE[source][1], 1.0, LN_TAU[1], *linear_sd])
        self.nodes = np.linspace(-6.0, 6.0, 121)
        self.node_weight = stats.norm.pdf(self.nodes) * (self.nodes[1] - self.nodes[0])

    def __call__(self, points: np.ndarray) -> np.ndarray:
        total = -0.5 * np.square((points - self.centre) / self.sd).sum(axis=1)
        bend, tau = 1.5 * stats.norm.cdf(points[:, 2]), np.exp(points[:, 3])
        for ratio, row, seen, wild in zip(self.ratio, self.design, self.seen, self.wild, strict=True):
            height = points[:, 0] + points[:, 1] * power(ratio, np.maximum(bend, 1e-8)) + points[:, 4:] @ row
            likely = np.exp(np.interp(height[:, None] + tau[:, None] * self.nodes, GRID, seen))
            total += np.log((1.0 - WILD) * likely @ self.node_weight + wild)
        return total


class Pooled:
    """Log posterior of (μ_α, ln σ_α, μ_β, ln σ_β, then α, β, k, ln τ of each combine), for bells: u in closed form."""

    def __init__(self, combines: Sequence[Sequence[tuple[float, float, float]]], median: float, source: str) -> None:
        self.combines = [np.array(c) for c in combines]
        load = np.median(np.concatenate([c[:, 0] for c in self.combines]))
        self.ratio = [c[:, 0] / load for c in self.combines]
        between = math.exp(2 * LN_APART[0] + 2 * LN_APART[1] ** 2)
        mean, sd = SLOPE[source]
        self.centre = np.array([math.log(median), LN_APART[0], mean, LN_APART[0]])
        self.sd = np.array([math.sqrt(LEVEL_SD**2 - between), LN_APART[1], math.sqrt(sd**2 - between), LN_APART[1]])

    def __call__(self, points: np.ndarray) -> np.ndarray:
        h = points[:, :4]
        total = -0.5 * np.square((h - self.centre) / self.sd).sum(axis=1)
        for k, (seen, ratio) in enumerate(zip(self.combines, self.ratio, strict=True)):
            level, slope, score, ln_tau = points[:, 4 + 4 * k : 8 + 4 * k].T
            total += stats.norm.logpdf(level, h[:, 0], np.exp(h[:, 1]))
            total += stats.norm.logpdf(slope, h[:, 2], np.exp(h[:, 3]))
            total += -0.5 * score**2 - 0.5 * ((ln_tau - LN_TAU[0]) / LN_TAU[1]) ** 2
            bend = np.maximum(1.5 * stats.norm.cdf(score), 1e-8)[:, None]
            height = level[:, None] + slope[:, None] * power(ratio[None, :], bend)
            spread = np.hypot(seen[None, :, 2], np.exp(ln_tau)[:, None])
            peak = math.sqrt(2.0 * math.pi) * seen[:, 2]
            likely = peak * stats.norm.pdf(height, seen[None, :, 1], spread)
            total += np.log((1.0 - WILD) * likely + WILD * peak / (GRID[-1] - GRID[0])).sum(axis=1)
        return total


def walk(density, start: np.ndarray, *, steps: int, burn: int, seed: int) -> tuple[np.ndarray, np.ndarray]:
    """An ensemble's chain, flattened, and the effective number of draws per parameter."""
    chain = emcee.EnsembleSampler(
        start.shape[0],
        start.shape[1],
        density,
        vectorize=True,
        moves=[(emcee.moves.DEMove(), 0.8), (emcee.moves.StretchMove(), 0.2)],
    )
    chain.random_state = np.random.RandomState(seed).get_state()
    chain.run_mcmc(start, steps)
    # tol: a chain shorter than 35 autocorrelation times does not know its own error, and raises.
    times = chain.get_autocorr_time(discard=burn, tol=35)
    flat = chain.get_chain(discard=burn, flat=True)
    return flat, flat.shape[0] / times
