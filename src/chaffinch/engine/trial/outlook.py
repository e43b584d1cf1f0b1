"""How many more stops on each side would settle a trial: the trial played forward from its own posterior.

Draws of (α, δ, drift, ln τ) so far are the futures and the particles: each future's further stops are drawn, every
particle is re-weighted by them, and P(B loses less) is looked at again (a pre-posterior calculation, design §4.9).
A further stop is read as ln(loss) with a normal error as wide as the stops so far were typically read.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from chaffinch.engine.sampling.sampler import Draws

FloatArray = NDArray[np.float64]

_PARTICLES: Final = 2048
_FUTURES: Final = 256
USUAL_GAP_H: Final = 0.25
"""Hours between stops when the trial has only one time so far [h]; own figure."""


@dataclass(frozen=True, slots=True)
class Ahead:
    """The stops that would come next.

    Attributes
    ----------
    is_b : ndarray of bool, shape (2 · n,)
        Sides, two stops for each further pair.
    hours : ndarray, shape (2 · n,)
        Their times from the mean time of the trial so far [h].
    read_sd : float
        Sd with which a stop reads ln(loss) [1].
    least_more : int
        Pairs before which no verdict is given.
    """

    is_b: NDArray[np.bool_]
    hours: FloatArray
    read_sd: float
    least_more: int

    @staticmethod
    def after(sides: Sequence[str], hours: FloatArray, read_sd: float, least_each: int, most: int = 12) -> Ahead:
        """Go on with the side not used last, then B, A, A, B … so that time and side stay apart."""
        first_is_b = sides[-1] == "A"
        pairs = [first_is_b if (k % 4) in (0, 3) else not first_is_b for k in range(2 * most)]
        gaps = np.diff(hours)
        gap = float(np.median(gaps[gaps > 0])) if (gaps > 0).any() else USUAL_GAP_H
        fewest = min(sides.count("A"), sides.count("B"))
        return Ahead(
            np.array(pairs), hours[-1] + gap * np.arange(1, 2 * most + 1), read_sd, max(1, least_each - fewest)
        )


def chances(
    draws: Draws, ahead: Ahead, *, keep: float, back: float, enough: float, most: int, seed: int
) -> tuple[float, ...]:
    """Chance of a clear verdict after 1, 2, … further stops on each side, until it is ``enough`` or ``most``.

    Parameters
    ----------
    draws : Draws
        Columns α, δ, drift, ln τ.
    ahead : Ahead
        The stops to come.
    keep, back : float
        P(B loses less) from and down to which the verdict is clear.
    enough : float
        Chance at which to stop looking.
    most : int
        Stops on each side to look ahead.
    seed : int
        Same seed, same answer.
    """
    chance = np.random.default_rng(seed)
    cumulative = np.cumsum(draws.weights)
    ticks = (np.arange(_PARTICLES) + 0.5) / _PARTICLES
    picked = draws.points[np.minimum(np.searchsorted(cumulative, ticks * cumulative[-1]), cumulative.size - 1)]
    # Draws lie in rounds of the sampler; shuffled, the first of them are futures like any others.
    picked = picked[chance.permutation(_PARTICLES)]
    b_less = picked[:, 1] < 0.0
    ln_loss = picked[:, :1] + (ahead.is_b - 0.5) * picked[:, 1:2] + picked[:, 2:3] * ahead.hours
    variance = np.exp(2.0 * picked[:, 3]) + ahead.read_sd**2
    noise = chance.standard_normal((_FUTURES, ahead.is_b.size))
    read = ln_loss[:_FUTURES] + np.sqrt(variance[:_FUTURES, None]) * noise
    half_precision, half_ln = 0.5 / variance, 0.5 * np.log(variance)
    ll = np.zeros((_FUTURES, _PARTICLES))
    found = []
    for pair in range(most):
        for stop in (2 * pair, 2 * pair + 1):
            ll -= np.square(read[:, stop, None] - ln_loss[None, :, stop]) * half_precision + half_ln
        weights = np.exp(ll - ll.max(axis=1, keepdims=True))
        p = weights @ b_less / weights.sum(axis=1)
        clear = (p >= keep) | (p <= back)
        found.append(float(clear.mean()) if pair + 1 >= ahead.least_more else 0.0)
        if found[-1] >= enough:
            break
    return tuple(found)
