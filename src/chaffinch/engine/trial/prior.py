"""What does a change of settings usually do to the loss? Belief about ln(B/A) before the first stop.

    ln(B/A) ~ scale · t₂        Student's t of two degrees of freedom

A normal of sd 0.4 (design §4.7, the δ of a setup) holds the middle alike, but takes a true factor of 4 for next to
impossible: its ranges held one in none of 100 trials of three stops, and in 13 to 21 of 100 of six
(``bench/trial_looks.py``). The densities are textbook forms, from memory.
"""

from __future__ import annotations

import math
from typing import Final

import numpy as np

from chaffinch.engine.domain import FloatArray

RATIO_SCALE: Final = 0.3
"""Scale of ln(B/A) before the trial [1]: half of all settings within a factor of 1.28 either way, nine of ten within
2.4, one in 23 beyond 4. Own figure."""
FREEDOM: Final = 2.0
"""Degrees of freedom [1]. Own figure."""


def ln_prior(ln_ratio: FloatArray) -> FloatArray:
    """Log density of ln(B/A), any shape, up to a constant."""
    result: FloatArray = -0.5 * (FREEDOM + 1.0) * np.log1p(np.square(ln_ratio / RATIO_SCALE) / FREEDOM)
    return result


def prior_precision(ln_ratio: float) -> float:
    """Precision of the normal that pulls an ln(B/A) as this belief does there [1]: 3/(2·scale² + ln_ratio²).

    The further off, the weaker the pull: the derivative of :func:`ln_prior` over −ln_ratio (derived). For who takes a
    trial's own prior out of its answer again.
    """
    return (FREEDOM + 1.0) / (FREEDOM * RATIO_SCALE**2 + ln_ratio**2)


def widest_factor(share: float) -> float:
    """Factor either way within which a share of all settings lies [1]: closed form for two degrees of freedom."""
    return math.exp(RATIO_SCALE * share * math.sqrt(2.0 / (1.0 - share**2)))
