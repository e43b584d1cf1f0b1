"""What have several combines in common? A population of levels and slopes, learned from each combine's own draws.

    α_k ~ N(μ_α, σ_α²),   β_k ~ N(μ_β, σ_β²)

Each combine is first fitted alone under wide independent priors π₀. What its checks say of (α, β) is then its posterior
divided by π₀; the population's four parameters h = (μ_α, ln σ_α, μ_β, ln σ_β) have the likelihood

    ∏_k E_k[ N(α, β | h) / π₀(α, β) ]

E_k over the draws of combine k, so nothing is fitted twice and the work grows with the number of combines, not with
its square. The expectation is taken over 16 small normals that stand for the draws of k, in closed form. A combine's
final draws are its own, reweighted by what the *other* combines say of the population.

Sources: hierarchical reuse of separate posteriors as in M. Lunn, J. Barrett, M. Sweeting, S. Thompson (2013), "Fully
Bayesian hierarchical modelling in two stages", Appl. Statist. 62, 551-572 (from memory); the closed form is derived.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from chaffinch.engine.estimate import Prior
from chaffinch.engine.response.curve import SLOPE, CurveDraws, LevelSlope
from chaffinch.engine.response.table import cubic
from chaffinch.engine.sampling.proposals import logsumexp
from chaffinch.engine.sampling.sampler import sample

FloatArray = NDArray[np.float64]

LN_APART: Final = (math.log(0.3), 0.5)
"""Prior mean and sd of ln σ, σ the sd between combines of level and of slope [1]; own figure: two combines of a farm
differ by a third in the same crop."""
WIDER: Final = 1.5
"""By how much the first fits' priors are wider than those of a combine alone [1]: no combine's answer may hang on
them."""
_STRIPES: Final = 4
_WIDEST: Final = 0.5
"""Largest variance of a part, as a share of π₀'s [1]; a quarter of π₀ itself has 0.24 at its ends."""
_LINES: Final[FloatArray] = np.linspace(-4.0, 4.0, 81)
"""asinh of distances from the middle: out to 27 scales, a tenth of a scale apart in the middle."""


@dataclass(frozen=True, slots=True)
class Population:
    """Weighted draws of (μ_α, ln σ_α, μ_β, ln σ_β).

    Attributes
    ----------
    points : ndarray, shape (n, 4)
    weights : ndarray, shape (n,)
        Given all combines.
    ln_said : ndarray, shape (n, K)
        What each combine's checks say of each draw: log-likelihood up to a constant.
    """

    points: FloatArray
    weights: FloatArray
    ln_said: FloatArray

    def without(self, combine: int) -> Population:
        """The population as the other combines see it: the same draws, weighted anew."""
        with np.errstate(divide="ignore"):
            ln_weights = np.log(self.weights) - self.ln_said[:, combine]
        weights = np.exp(ln_weights - ln_weights.max())
        return Population(self.points, weights / weights.sum(), np.delete(self.ln_said, combine, axis=1))

    @property
    def ess(self) -> float:
        """Effective number of draws."""
        return float(1.0 / np.square(self.weights).sum())


def population(combines: Sequence[CurveDraws], base: LevelSlope, source: str, prior: Prior, *, seed: int) -> Population:
    """Learn the population from the separate fits.

    Parameters
    ----------
    combines : sequence of CurveDraws
        One per combine, each fitted under ``base``; none: the prior population.
    base : LevelSlope
        π₀.
    source : {"machine", "header"}
    prior : Prior
        Of one combine's level.
    seed : int
    """
    # What one combine alone is believed to have is the sum of both spreads; E[σ²] of a lognormal σ.
    between = math.exp(2 * LN_APART[0] + 2 * LN_APART[1] ** 2)
    slope_mean, slope_sd = SLOPE[source]
    level_sd = math.sqrt(max(prior.sd_log**2 - between, prior.sd_log**2 / 4))
    mean = np.array([math.log(prior.median_kg_ha), LN_APART[0], slope_mean, LN_APART[0]])
    sd = np.array([level_sd, LN_APART[1], math.sqrt(slope_sd**2 - between), LN_APART[1]])
    pieces = [_pieces(draws, base) for draws in combines]

    def log_density(points: FloatArray) -> FloatArray:
        result: FloatArray = -0.5 * np.square((points - mean) / sd).sum(axis=1)
        for piece in pieces:
            result += _ln_said(points, piece, base)
        return result

    found = sample(log_density, mean, sd, seed=seed)
    said = [_ln_said(found.points, piece, base) for piece in pieces]
    return Population(found.points, found.weights, np.array(said).T.reshape(found.weights.size, len(pieces)))


@dataclass(frozen=True, slots=True)
class GivenOthers:
    """Log density of (α, β) of one more combine of a population, as a table.

    The mixture over the population's draws, Σ_h w_h N(α; μ_α, σ_α²) N(β; μ_β, σ_β²), is a product of two matrices on a
    lattice of α and β; between its lines the log is read by a cubic. The lines stand evenly in asinh of the distance:
    close together where combines are expected, and far out still there.

    Attributes
    ----------
    centre, scale : ndarray, shape (2,)
        Of level and slope.
    table : ndarray, shape (81, 81)
    """

    centre: FloatArray
    scale: FloatArray
    table: FloatArray

    @staticmethod
    def of(people: Population) -> GivenOthers:
        """Tabulate what a population says of one more combine."""
        means, sds = people.points[:, [0, 2]], np.exp(people.points[:, [1, 3]])
        centre = people.weights @ means
        scale = np.sqrt(people.weights @ (np.square(means - centre) + np.square(sds)))
        lines = centre[:, None] + scale[:, None] * np.sinh(_LINES)
        level, slope = (
            np.exp(-0.5 * np.square((lines[i] - means[:, i : i + 1]) / sds[:, i : i + 1])) / sds[:, i : i + 1]
            for i in (0, 1)
        )
        mixed = (level * people.weights[:, None]).T @ slope
        return GivenOthers(centre, scale, np.log(np.maximum(mixed, 1e-300)))

    def __call__(self, level_slope: FloatArray) -> FloatArray:
        """Log density of each row (α, β), up to a constant."""
        place = (np.arcsinh((level_slope - self.centre) / self.scale) - _LINES[0]) / (_LINES[1] - _LINES[0])
        level, level_weights = cubic(place[:, 0], _LINES.size)
        slope, slope_weights = cubic(place[:, 1], _LINES.size)
        total = np.zeros(level_slope.shape[0])
        for i, u in enumerate(level_weights):
            for k, v in enumerate(slope_weights):
                total += u * v * self.table[level + i, slope + k]
        return total


def systematic(weights: FloatArray, count: int) -> NDArray[np.intp]:
    """Positions of ``count`` draws, each taken as often as its weight says, in order."""
    ticks = (np.arange(count) + 0.5) / count * weights.sum()
    result: NDArray[np.intp] = np.minimum(np.searchsorted(np.cumsum(weights), ticks), weights.size - 1)
    return result


@dataclass(frozen=True, slots=True)
class _Pieces:
    """A mixture of normals in (α, β): log weights (s,), means (s, 2), covariances as (v_α, cov, v_β), each (s,)."""

    ln_weight: FloatArray
    mean: FloatArray
    cov: tuple[FloatArray, FloatArray, FloatArray]


def _pieces(draws: CurveDraws, base: LevelSlope) -> _Pieces:
    """Cut the draws into 4 × 4 parts of equal weight, by level and then by slope; each part becomes a normal.

    A part that bridges two separate heaps of draws could come out wider than π₀; it is held at half its variance, which
    keeps Λ positive whatever the correlation.
    """
    rows = []
    for stripe in _cut(np.argsort(draws.points[:, 0]), draws.weights):
        for part in _cut(stripe[np.argsort(draws.points[stripe, 1])], draws.weights):
            w, at = draws.weights[part], draws.points[part, :2]
            total = w.sum()
            mean = w @ at / total
            cov = ((at - mean) * (w / total)[:, None]).T @ (at - mean)
            cov[[0, 1], [0, 1]] += 1e-8
            held = np.minimum(1.0, base.sd * np.sqrt(_WIDEST / np.diag(cov)))
            cov *= np.outer(held, held)
            rows.append([math.log(total), *mean, cov[0, 0], cov[0, 1], cov[1, 1]])
    table = np.array(rows)
    return _Pieces(table[:, 0], table[:, 1:3], (table[:, 3], table[:, 4], table[:, 5]))


def _cut(order: NDArray[np.intp], weights: FloatArray) -> list[NDArray[np.intp]]:
    """Consecutive parts of about equal weight; parts without draws are left out."""
    cumulative = np.cumsum(weights[order])
    edges = np.searchsorted(cumulative, cumulative[-1] * np.arange(1, _STRIPES) / _STRIPES)
    return [part for part in np.split(order, edges) if part.size and weights[part].sum() > 0]


def _ln_said(h: FloatArray, pieces: _Pieces, base: LevelSlope) -> FloatArray:
    """Log of E[N(α, β | h)/π₀(α, β)] for each h, shape (n,), up to a constant.

    ∫ N(θ; m, C) N(θ; μ, S)/N(θ; m₀, C₀) dθ with Λ = C⁻¹ + S⁻¹ − C₀⁻¹ and b = C⁻¹m + S⁻¹μ − C₀⁻¹m₀ is
    exp(½ b'Λ⁻¹b − ½ m'C⁻¹m − ½ μ'S⁻¹μ) (|C| |S| |Λ|)^−½ times what does not depend on h. Λ is positive since a part
    of the draws is narrower than π₀.
    """
    va, cab, vb = (v[:, None] for v in pieces.cov)
    det = va * vb - cab**2
    pa, pab, pb = vb / det, -cab / det, va / det
    ma, mb = pieces.mean[:, :1], pieces.mean[:, 1:]
    sa, sb = np.exp(-2.0 * h[:, 1]), np.exp(-2.0 * h[:, 3])
    ba, bb = 1.0 / base.sd**2
    la, lb = pa + sa - ba, pb + sb - bb
    det_l = la * lb - pab**2
    xa = pa * ma + pab * mb + sa * h[:, 0] - ba * base.mean[0]
    xb = pab * ma + pb * mb + sb * h[:, 2] - bb * base.mean[1]
    square = (lb * xa**2 - 2.0 * pab * xa * xb + la * xb**2) / det_l
    own = pa * ma**2 + 2.0 * pab * ma * mb + pb * mb**2 + np.log(det)
    theirs = sa * h[:, 0] ** 2 + sb * h[:, 2] ** 2 + 2.0 * (h[:, 1] + h[:, 3])
    return logsumexp(pieces.ln_weight[:, None] + 0.5 * (square - own - theirs - np.log(det_l)))
