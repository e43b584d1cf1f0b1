"""What is the usual loss in a field, and how much do its places differ? One source, on the grid.

Check j stands at a place with ln λ_j = m + u_j, u_j ~ N(0, τ²), ln τ ~ N(ln τ0, s): a hierarchical normal model (Gelman
et al., Bayesian Data Analysis, ch. 5; from memory) whose observations are the evidence of whole checks in place of
normal ones. The likelihood of (m, τ) is the product over the checks of their evidence, each convolved with
N(0, τ²): exact on a grid, so nothing is lost where pans were empty.

From three checks on, one in fifty is taken to be wild, as on a curve (:mod:`chaffinch.engine.response.table`): a spill,
a pan that missed, a number slipped. It says nothing of the field, and its place is one like those nobody checked. With
one check or two nobody can tell which is wrong, and an empty frame far below what was expected would count as wild.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from chaffinch.engine.domain import positive
from chaffinch.engine.estimate import Prior
from chaffinch.engine.evidence import LN_LOSS, Evidence
from chaffinch.engine.ledger.shared import DRAWS
from chaffinch.engine.response.table import WILD_SHARE

FloatArray = NDArray[np.float64]

PLACE_SD: Final = 0.4
"""Median of τ, the sd of ln(loss) between stops of one field [1]; own figure, no source."""
PLACE_SD_SPREAD: Final = 0.5
"""Sd of ln τ [1]; own figure: τ is held to lie between 0.18 and 0.91 with 90 % probability."""

LEAST_FOR_WILD: Final = 3
"""Checks of a source from which one of them may be wild [1]; own figure."""

_STEP: Final = float(LN_LOSS[1] - LN_LOSS[0])
_BEYOND: Final = 150
"""Grid cells added at either end [1]: a field's level may lie a factor of 20 beyond what one check can say."""
LEVEL: Final[FloatArray] = LN_LOSS[0] + _STEP * np.arange(-_BEYOND, LN_LOSS.size + _BEYOND)
"""Grid of the field's level m [ln kg/ha]."""
LEVEL.flags.writeable = False
_SPREAD_Z: Final[FloatArray] = np.linspace(-3.0, 3.0, 19)
_FLOOR: Final = 1e-18
"""Smallest part of its largest value that a convolved likelihood can have: below it the Fourier sum is rounding."""
_NEGLIGIBLE: Final = 40.0
"""Log-likelihood below the best from which a place cannot have that loss (e^-40)."""


@dataclass(frozen=True, slots=True)
class Spread:
    """Belief about τ, the sd of ln(loss) between stops of a field: its median [1] and the sd of its log [1]."""

    median: float = PLACE_SD
    sd_log: float = PLACE_SD_SPREAD

    def checked(self) -> Spread:
        """Return itself; raise InputError unless both are above 0."""
        positive("spread between places", self.median)
        positive("sd of ln spread", self.sd_log)
        return self


@dataclass(frozen=True, slots=True)
class Levels:
    """Draws of a field, one source: all of equal weight.

    Attributes
    ----------
    level : ndarray, shape (n,)
        m, the log of the usual (median) loss over places [ln kg/ha].
    spread : ndarray, shape (n,)
        τ [1].
    places : ndarray, shape (n, checks)
        ln λ_j at the places checked [ln kg/ha].
    wild : tuple of float
        Probability that each check is wild [1]; 0 where none may be.
    """

    level: FloatArray
    spread: FloatArray
    places: FloatArray
    wild: tuple[float, ...]


def levels(seen: Sequence[Evidence], prior: Prior, spread: Spread, *, rng: np.random.Generator) -> Levels:
    """Draw the level of a field, the spread between its places and the losses at the places checked.

    Parameters
    ----------
    seen : sequence of Evidence
        One per check, at least one.
    prior : Prior
        Belief about the field's usual loss before any check [kg/ha].
    spread : Spread
        Belief about τ.
    rng : numpy Generator
        Source of chance.
    """
    wild_share = WILD_SHARE if len(seen) >= LEAST_FOR_WILD else 0.0
    table, ln_spread = log_posterior(seen, prior, spread, wild_share=wild_share)
    mass = np.exp(table - table.max()).ravel()
    # One draw from each of DRAWS equal slices of the posterior, then spread evenly over its cell.
    cumulative = np.cumsum(mass)
    at = np.searchsorted(cumulative, (np.arange(DRAWS) + rng.random(DRAWS)) / DRAWS * cumulative[-1])
    at = rng.permutation(np.minimum(at, mass.size - 1))
    column, row = np.divmod(at, LEVEL.size)
    level = LEVEL[row] + _STEP * (rng.random(DRAWS) - 0.5)
    width = ln_spread[1] - ln_spread[0]
    tau = np.exp(ln_spread[column] + width * (rng.random(DRAWS) - 0.5))
    drawn = [_place(one, level, tau, wild_share, rng) for one in seen]
    return Levels(level, tau, np.stack([place for place, _ in drawn], axis=1), tuple(wild for _, wild in drawn))


def log_posterior(
    seen: Sequence[Evidence], prior: Prior, spread: Spread, *, wild_share: float = 0.0
) -> tuple[FloatArray, FloatArray]:
    """Log posterior of (ln τ, m) up to a constant, shape (19, len(LEVEL)), and the nodes of ln τ, shape (19,).

    ``wild_share`` is the part of the checks that say nothing of the field [1].
    """
    spread.checked()
    ln_spread = math.log(spread.median) + spread.sd_log * _SPREAD_Z
    z = (LEVEL - math.log(positive("prior median", prior.median_kg_ha))) / positive("prior sd", prior.sd_log)
    table = -0.5 * np.square(z)[None, :] - 0.5 * np.square(_SPREAD_Z)[:, None]
    for one in seen:
        table = table + np.log((1.0 - wild_share) * _convolved(one, np.exp(ln_spread)) + wild_share * _anywhere(one))
    return table, ln_spread


def _convolved(one: Evidence, tau: FloatArray) -> FloatArray:
    """∫ evidence(x) N(x; m, τ²) dx on LEVEL for each τ, shape (len(τ), len(LEVEL)), largest value about 1."""
    reach = math.ceil(5.0 * float(tau.max()) / _STEP)
    size = 1 << (LEVEL.size + 2 * reach).bit_length()
    before = (size - LN_LOSS.size) // 2
    # Beyond the grid the evidence keeps its end value: an empty pan says no more against 0.01 than against 0.05 kg/ha.
    wide = np.pad(np.exp(one.log_likelihood), (before, size - LN_LOSS.size - before), mode="edge")
    omega = 2.0 * np.pi * np.fft.rfftfreq(size, _STEP)
    smooth = np.fft.irfft(np.fft.rfft(wide)[None, :] * np.exp(-0.5 * np.square(omega[None, :] * tau[:, None])), size)
    first = before - _BEYOND
    result: FloatArray = np.maximum(smooth[:, first : first + LEVEL.size], _FLOOR)
    return result


def _anywhere(one: Evidence) -> float:
    """Likelihood of a check whose loss could be anything on the grid."""
    return float(np.exp(one.log_likelihood).mean())


def _place(
    one: Evidence, level: FloatArray, tau: FloatArray, wild_share: float, rng: np.random.Generator
) -> tuple[FloatArray, float]:
    """Draw ln λ at a place checked, given the field: evidence(x) · N(x; m, τ²), shape (n,); and P(it is wild)."""
    wide = np.pad(one.log_likelihood, _BEYOND, mode="edge")
    possible = np.flatnonzero(wide > -_NEGLIGIBLE)
    stride = 1 + (possible[-1] - possible[0]) // 125
    x, log_seen = LEVEL[possible[0] : possible[-1] + 1 : stride], wide[possible[0] : possible[-1] + 1 : stride]
    log_p = log_seen[None, :] - 0.5 * np.square((x[None, :] - level[:, None]) / tau[:, None])
    highest = log_p.max(axis=1)
    cumulative = np.cumsum(np.exp(log_p - highest[:, None]), axis=1)
    picked = (cumulative < (rng.random(level.size) * cumulative[:, -1])[:, None]).sum(axis=1)
    result: FloatArray = x[np.minimum(picked, x.size - 1)] + stride * _STEP * (rng.random(level.size) - 0.5)
    if wild_share == 0.0:
        return result, 0.0
    fits = np.exp(highest) * cumulative[:, -1] * stride * _STEP / (tau * math.sqrt(2.0 * math.pi))
    p_wild = wild_share * _anywhere(one) / (wild_share * _anywhere(one) + (1.0 - wild_share) * fits)
    like_others = level + tau * rng.standard_normal(level.size)
    return np.where(rng.random(level.size) < p_wild, like_others, result), float(p_wild.mean())
