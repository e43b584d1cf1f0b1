"""What does one check say of the curve that runs through it?

A check saw the loss at one place; the curve is what places have in common. Between them stands u, the place's own
deviation in ln(loss), u ~ N(0, τ²). The check's log-likelihood of the curve's height η at its load is its evidence L
averaged over u:

    ln [ (1 − ε) ∫ L(η + u) N(u; 0, τ²) du + ε ∫ L(x) dx / (width of the grid) ]

The second term is a wild check (a pan that missed, a spill taken for a loss, a number slipped): its loss says
nothing about the curve and could be anything on the grid. It bounds what any one check can do: however far off
it lies, its log-likelihood does not fall below that of a wild one.

The integral is taken once per check on the grid of evidence for a ladder of τ, and read by cubic interpolation for each
draw. So a draw costs a few look-ups per check, whatever the number of catches behind it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Final

import numpy as np
from numpy.typing import NDArray

from chaffinch.engine.evidence import LN_LOSS, Evidence

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.intp]

WILD_SHARE: Final = 0.02
"""ε: one check in fifty is wild [1]; own figure. At τ = 0.25 it takes over beyond about 3.5 standard deviations."""

_STEP: Final = float(LN_LOSS[1] - LN_LOSS[0])
_BEYOND: Final = 100
"""Steps of the grid (a factor of 7) by which evidence is carried on beyond either end, with its last slope."""
_WIDE: Final[FloatArray] = LN_LOSS[0] + _STEP * np.arange(-_BEYOND, LN_LOSS.size + _BEYOND)
_ETA: Final[FloatArray] = _WIDE[::2]
"""Heights of the curve in the table, 0.04 apart: half the width of the narrowest evidence, smoothed; the log of it is
nearly a parabola there, which a cubic follows exactly."""
_LN_TAU: Final[FloatArray] = math.log(0.25) + np.linspace(-2.0, 2.2, 22)
"""ln τ from 0.034 to 2.3, four sd of its prior either way, 0.2 apart; held at the ends beyond."""
_LN_TAU_STEP: Final = float(_LN_TAU[1] - _LN_TAU[0])
_DIRECT: Final = 6
_FROM: Final = 3
_REACH: Final = 40
"""Steps either side over which the six least τ reach: 0.8, which is 8.7 sd of the largest of them."""
_FLOOR: Final = -700.0
_LEAST: Final = np.float32(1e-35)
"""Likelihoods below this are held at it: a wild check's is more than 1e-6."""
_CHECKS_AT_ONCE: Final = 256
_CELLS_AT_ONCE: Final = 120_000
"""Draws × checks looked up together: the pieces stay in the processor's cache."""


@dataclass(frozen=True, slots=True)
class SmoothedChecks:
    """Tables of J checks.

    Attributes
    ----------
    table : ndarray of float32, shape (J, 22, 389)
        Logarithm of the integral over u, by ln τ and η; the largest evidence of each check is 0.
    ln_wild : ndarray, shape (J,)
        The second term alone: what a wild check contributes.
    """

    table: NDArray[np.float32]
    ln_wild: FloatArray

    @staticmethod
    def of(seen: Sequence[Evidence], blur_sd: Sequence[float]) -> SmoothedChecks:
        """Smooth each evidence.

        Parameters
        ----------
        seen : sequence of Evidence
            One per check.
        blur_sd : sequence of float
            Sd of a further deviation of each check, beside u, that no parameter stands for [1].
        """
        narrow, wider = _kernels()
        table = np.empty((len(seen), _LN_TAU.size, _ETA.size), dtype=np.float32)
        ln_wild = np.empty(len(seen))
        for start in range(0, len(seen), _CHECKS_AT_ONCE):
            part = slice(start, min(start + _CHECKS_AT_ONCE, len(seen)))
            likelihood = np.stack([_carried_on(e, sd) for e, sd in zip(seen[part], blur_sd[part], strict=True)])
            inside = likelihood[:, _BEYOND:-_BEYOND]
            padded = np.pad(likelihood.astype(np.float32), ((0, 0), (_REACH, _REACH)), mode="edge")
            around = np.lib.stride_tricks.sliding_window_view(padded, 2 * _REACH + 1, axis=1)[:, ::2]
            few = np.moveaxis(around @ narrow, 2, 1)
            many = (few[:, _FROM, ::2] @ wider).reshape(-1, _LN_TAU.size - _DIRECT, _ETA.size)
            smooth = np.maximum(np.concatenate([few, many], axis=1), _LEAST)
            table[part] = np.log(smooth, out=smooth)
            ln_wild[part] = np.log(WILD_SHARE * inside.mean(axis=1))
        return SmoothedChecks(table, ln_wild)

    def only(self, checks: Sequence[int]) -> SmoothedChecks:
        """The tables of some of the checks."""
        return SmoothedChecks(self.table[checks], self.ln_wild[checks])

    def chunks(self, draws: int) -> list[slice]:
        """Slices of the checks that are best looked up together for so many draws."""
        size = max(1, _CELLS_AT_ONCE // draws)
        return [slice(i, min(i + size, self.ln_wild.size)) for i in range(0, self.ln_wild.size, size)]

    def at(self, checks: slice, eta: FloatArray, ln_tau: FloatArray) -> FloatArray:
        """Log-likelihood of each draw for each check of a slice.

        Parameters
        ----------
        checks : slice
            Which checks, j of them.
        eta : ndarray, shape (n, j)
            Height of the curve at each check's load [ln kg/ha].
        ln_tau : ndarray, shape (n,)
            Logarithm of the sd between places.
        """
        down, tau_weights = cubic((ln_tau - _LN_TAU[0]) / _LN_TAU_STEP, _LN_TAU.size)
        across, eta_weights = cubic((eta - _ETA[0]) / (2 * _STEP), _ETA.size)
        rows = np.arange(checks.start, checks.stop)[None, :] * _LN_TAU.size + down[:, None]
        base = rows * _ETA.size + across
        flat = self.table.reshape(-1)
        # Single precision is a millionth of the log-likelihood, and twice as fast.
        light = [w.astype(np.float32) for w in eta_weights]
        total = np.zeros(eta.shape, dtype=np.float32)
        for i, tau_weight in enumerate(tau_weights):
            along = light[0] * flat.take(base + i * _ETA.size)
            for k in (1, 2, 3):
                along += light[k] * flat.take(base + (i * _ETA.size + k))
            along *= tau_weight.astype(np.float32)[:, None]
            total += along
        # The wild check is added here and not in the table: the log of the integral alone is nearly a parabola.
        likely = np.exp(total, out=total)
        likely *= np.float32(1.0 - WILD_SHARE)
        likely += np.exp(self.ln_wild[checks]).astype(np.float32)
        return np.log(likely, out=likely).astype(np.float64)


def cubic(place: FloatArray, size: int) -> tuple[IntArray, list[FloatArray]]:
    """Start and weights of the four points a cubic is drawn through; places off the table are held at its ends.

    Parameters
    ----------
    place : ndarray, shape (n, …)
        In steps of the table from its first point.
    size : int
        Points of the table, at least 4.
    """
    held = np.clip(place, 0.0, size - 1.0)
    start = np.clip(held.astype(np.intp) - 1, 0, size - 4)
    t = held - start
    # Lagrange's polynomials on 0, 1, 2, 3.
    a, b, c, d = t, t - 1.0, t - 2.0, t - 3.0
    return start, [-b * c * d / 6.0, a * c * d / 2.0, -a * b * d / 2.0, a * b * c / 6.0]


@lru_cache(maxsize=1)
def _kernels() -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Normal weights: from evidence to the six least τ, and from the fourth of them to all the others.

    Shapes (81, 6), over the steps either side, and (195, 16·389). Two normals in a row are one whose variances add up,
    so the others have the variance τ² − (fourth τ)². What has been smoothed by the fourth, 0.062, is told by every
    other line of η.
    """
    tau = np.exp(_LN_TAU)
    apart: FloatArray = _STEP * np.arange(-_REACH, _REACH + 1, dtype=np.float64)
    narrow = _normal(apart[:, None], tau[None, :_DIRECT])
    further = np.sqrt(np.square(tau[_DIRECT:]) - tau[_FROM] ** 2)
    wider = _normal(_ETA[::2, None, None] - _ETA, further[None, :, None])
    return narrow.astype(np.float32), wider.reshape(wider.shape[0], -1).astype(np.float32)


def _normal(apart: FloatArray, sd: FloatArray) -> FloatArray:
    """Normal weights that sum to 1 over the first axis, so that no likelihood is lost past the ends of the grid."""
    weights = np.exp(-0.5 * np.square(apart / sd))
    result: FloatArray = weights / weights.sum(axis=0)
    return result


def _carried_on(seen: Evidence, blur_sd: float) -> FloatArray:
    """Likelihood on the widened grid, shape (777,), blurred by a normal of sd ``blur_sd``."""
    # A loss that a reading rules out has −inf; a floor far below any wild check's keeps the slopes finite.
    inside = np.maximum(seen.log_likelihood - seen.log_likelihood.max(), _FLOOR)
    steps = np.arange(1, _BEYOND + 1)
    # Evidence that rises towards an end of the grid is not trusted to rise on beyond it.
    before, after = max(0.0, inside[1] - inside[0]), max(0.0, inside[-2] - inside[-1])
    likelihood: FloatArray = np.exp(
        np.concatenate([inside[0] - before * steps[::-1], inside, inside[-1] - after * steps])
    )
    if blur_sd > 0.0:
        reach = math.ceil(4.5 * blur_sd / _STEP)
        kernel = np.exp(-0.5 * np.square(np.arange(-reach, reach + 1) * _STEP / blur_sd))
        padded = np.concatenate([np.full(reach, likelihood[0]), likelihood, np.full(reach, likelihood[-1])])
        likelihood = np.convolve(padded, kernel / kernel.sum(), mode="valid")
    return likelihood
