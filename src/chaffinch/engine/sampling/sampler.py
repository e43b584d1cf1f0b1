"""The one inference kernel: draws from a posterior known only up to a constant.

Adaptive importance sampling with Student-t proposals on shifted Sobol points. Four rounds; after each the
mean and covariance are re-estimated from all weighted points so far. Every point is weighted against the mixture
of all proposals used (deterministic-mixture weights), so an early poor proposal cannot leave a few points
with huge weights. A bent posterior that leaves few effective draws gets further rounds of many small proposals.

Sources: J.-M. Cornuet, J.-M. Marin, A. Mira, C. P. Robert (2012), "Adaptive multiple importance sampling",
Scand. J. Statist. 39, 798-812; A. Owen and Y. Zhou (2000), "Safe and effective importance sampling", JASA 95,
135-143 (both from memory). The tests compare with long runs of an ensemble MCMC sampler.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from chaffinch.engine.sampling.proposals import Proposal, logsumexp
from chaffinch.errors import SamplerError

FloatArray = NDArray[np.float64]
LogDensity = Callable[[FloatArray], FloatArray]

ROUNDS: Final = 4
POINTS_PER_ROUND: Final = 2048
LEAST_ESS: Final = 400.0
"""Effective draws below which an answer is refused (design §4.6)."""
COMFORTABLE_ESS: Final = 1000.0
"""Effective draws below which further rounds with local proposals are spent; own figure."""
BENT_ROUNDS: Final = 6


@dataclass(frozen=True, slots=True)
class Draws:
    """Weighted draws from a posterior.

    Attributes
    ----------
    points : ndarray, shape (n, d)
        One row per draw.
    weights : ndarray, shape (n,)
        Not negative, summing to 1.
    ess : float
        Effective sample size 1 / Σ w² (Kish).
    """

    points: FloatArray
    weights: FloatArray
    ess: float


def sample(
    log_density: LogDensity,
    start_mean: FloatArray,
    start_sd: FloatArray,
    *,
    seed: int,
    points_per_round: int = POINTS_PER_ROUND,
) -> Draws:
    """Draw from the density whose logarithm is ``log_density``, up to a constant.

    Parameters
    ----------
    log_density : callable
        Takes an array of shape (n, d), returns shape (n,); −inf is allowed, NaN is not.
    start_mean, start_sd : ndarray, shape (d,)
        A generous first guess, usually the prior's mean and standard deviation.
    seed : int
        Same seed, same draws.
    points_per_round : int
        Points in each of the four rounds; further rounds of local proposals use twice and four times as many.

    Returns
    -------
    Draws

    Raises
    ------
    SamplerError
        When the effective sample size stays below ``LEAST_ESS`` after the retries, or the density is NaN or
        nowhere finite.
    """
    mode, mode_cov = _climb(log_density, start_mean, start_sd)
    run = _Run(log_density)
    run.add(Proposal.single(mode, mode_cov, points_per_round - points_per_round // 4), seed)
    run.add(Proposal.single(start_mean, np.diag(np.square(start_sd)), points_per_round // 4), seed + 1)
    for turn in range(1, ROUNDS):
        run.add(Proposal.single(*_moments(run.draws), points_per_round), seed + 1 + turn)
    for turn in range(BENT_ROUNDS):
        if run.draws.ess >= COMFORTABLE_ESS:
            break
        count = points_per_round * (2 if turn < BENT_ROUNDS // 2 else 4)
        run.add(Proposal.local(run.draws.points, run.draws.weights, count), seed + 101 + turn)
    if run.draws.ess < LEAST_ESS:
        raise SamplerError(
            f"only {run.draws.ess:.0f} effective draws of {run.draws.weights.size} in {start_mean.size} dimensions "
            f"(at least {LEAST_ESS:.0f} are needed): the catches pin down a sum of losses too sharply, or contradict "
            "each other beyond what the model can hold; check the readings and any variation you gave"
        )
    return run.draws


class _Run:
    """Proposals tried so far and all their points, each weighted against the mixture of all of them."""

    def __init__(self, log_density: LogDensity) -> None:
        self.log_density = log_density
        self.proposals: list[Proposal] = []
        self.points: list[FloatArray] = []
        self.values: list[FloatArray] = []
        # log of (share-free) density of each proposal at each batch of points, kept so that none is computed twice
        self.known: list[list[FloatArray]] = []
        self.draws = Draws(np.empty((0, 1)), np.empty(0), 0.0)

    def add(self, proposal: Proposal, seed: int) -> None:
        """Draw from one more proposal and weigh everything anew (Cornuet et al. 2012, eq. 3)."""
        new = proposal.points(seed=seed)
        self.known.append([proposal.log_density(batch) for batch in self.points])
        self.proposals.append(proposal)
        self.points.append(new)
        self.values.append(_checked(self.log_density(new)))
        for earlier, densities in zip(self.proposals, self.known, strict=True):
            densities.append(earlier.log_density(new))
        total = sum(p.count for p in self.proposals)
        log_q = np.stack(
            [
                np.concatenate(densities) + np.log(p.count / total)
                for p, densities in zip(self.proposals, self.known, strict=True)
            ]
        )
        log_w = np.concatenate(self.values) - logsumexp(log_q)
        top = log_w.max()
        if not np.isfinite(top):
            raise SamplerError("the posterior is zero at every point tried: the readings contradict each other")
        weights = np.exp(log_w - top)
        weights /= weights.sum()
        self.draws = Draws(np.concatenate(self.points), weights, float(1.0 / np.square(weights).sum()))


def _moments(draws: Draws) -> tuple[FloatArray, FloatArray]:
    """Weighted mean and covariance, kept positive definite when few points carry the weight."""
    mean = draws.weights @ draws.points
    centred = draws.points - mean
    cov = (draws.weights[:, None] * centred).T @ centred
    ridge = 1e-10 + 1e-6 * float(np.trace(cov)) / mean.size
    return mean, cov + ridge * np.eye(mean.size)


def _climb(log_density: LogDensity, start: FloatArray, sd: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Find the mode and its curvature by damped Newton steps with central differences.

    Works in units of ``sd``. Falls back to ``sd`` itself along directions where the curvature is not negative,
    so the result is always a usable proposal, never a failure.
    """
    d = start.size
    x = start.astype(np.float64).copy()
    step, damping = 1e-2, 1e-2
    gradient, hessian, here = _derivatives(log_density, x, sd, step)
    for _ in range(40):
        if not np.isfinite(here):
            break
        values, vectors = np.linalg.eigh(-hessian)
        curvature = np.maximum(np.abs(values), 1e-3)
        move = vectors @ ((vectors.T @ gradient) / (curvature + damping))
        length = float(np.sqrt(move @ move))
        if length > 3.0:
            move *= 3.0 / length
        trial = x + move * sd
        value = float(_checked(log_density(trial[None, :]))[0])
        if value >= here:
            x, damping = trial, damping / 10
            gradient, hessian, new = _derivatives(log_density, x, sd, step)
            done, here = (new - here < 1e-6 and length < 1e-3), new
            if done:
                break
        else:
            damping = max(damping, 1e-3) * 10
            if damping > 1e8:
                break
    values, vectors = np.linalg.eigh(-hessian)
    # A flat or upward direction has no width of its own: the prior's is 1 in these units.
    variance = 1.0 / np.maximum(values, 1.0) if np.isfinite(here) else np.ones(d)
    cov = (vectors * variance) @ vectors.T * np.outer(sd, sd)
    return x, cov


def _derivatives(
    log_density: LogDensity, x: FloatArray, sd: FloatArray, step: float
) -> tuple[FloatArray, FloatArray, float]:
    """Gradient and Hessian by central differences, all points in one call of the density."""
    d = x.size
    offsets = [np.zeros(d)]
    eye = np.eye(d)
    for i in range(d):
        offsets += [eye[i], -eye[i]]
    pairs = [(i, j) for i in range(d) for j in range(i)]
    for i, j in pairs:
        offsets += [eye[i] + eye[j], eye[i] - eye[j], -eye[i] + eye[j], -eye[i] - eye[j]]
    f = _checked(log_density(x + step * np.array(offsets) * sd))
    here = float(f[0])
    if not np.isfinite(f).all():
        return np.zeros(d), -np.eye(d), here
    up, down = f[1 : 2 * d + 1 : 2], f[2 : 2 * d + 1 : 2]
    gradient = (up - down) / (2 * step)
    hessian = np.diag((up + down - 2 * here) / step**2)
    for n, (i, j) in enumerate(pairs):
        pp, pm, mp, mm = f[2 * d + 1 + 4 * n : 2 * d + 5 + 4 * n]
        hessian[i, j] = hessian[j, i] = (pp - pm - mp + mm) / (4 * step**2)
    return gradient, hessian, here


def _checked(values: FloatArray) -> FloatArray:
    if np.isnan(values).any():
        raise SamplerError("the log density returned NaN: a reading or width is outside what the model can hold")
    return values
