"""Evidence about a sum of losses by integration over how it may be split: a second road beside the draws.

    L(S) = ∫ L₁(S·q) L₂(S·(1 − q)) p₁ p₂ dv ÷ ∫ p₁ p₂ dv,    v = logit q

(ln a, ln b) → (ln(a + b), ln(b/a)) has the determinant 1, so that densities in logs need no correction (derived).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import reduce
from typing import Final

import numpy as np
from numpy.typing import NDArray

from chaffinch.engine.estimate import Prior
from chaffinch.engine.evidence import LN_LOSS, Evidence

FloatArray = NDArray[np.float64]

_LOGIT: Final[FloatArray] = np.linspace(-14.0, 14.0, 561)
_LN_Q: Final[FloatArray] = -np.logaddexp(0.0, -_LOGIT)
_LN_REST: Final[FloatArray] = -np.logaddexp(0.0, _LOGIT)
_FLOOR: Final = -1e5
"""Log-likelihood that stands for impossible, so that sums of tables stay finite."""


def sum_of_evidence(parts: Sequence[tuple[Evidence, Prior]]) -> Evidence:
    """Evidence about the sum of losses that were seen by separate catches.

    Parameters
    ----------
    parts : sequence of (Evidence, Prior)
        At least one: the evidence of each loss and the belief about it before the catches.
    """
    before = [_ln_prior(prior) for _, prior in parts]
    after = [
        ln + np.maximum(e.log_likelihood - e.log_likelihood.max(), _FLOOR)
        for (e, _), ln in zip(parts, before, strict=True)
    ]
    ln = reduce(_added, after) - reduce(_added, before)
    return Evidence(ln - ln.max(), sum(e.catches for e, _ in parts))


def _ln_prior(prior: Prior) -> FloatArray:
    sd = prior.sd_log
    z = (LN_LOSS - math.log(prior.median_kg_ha)) / sd
    result: FloatArray = -0.5 * np.square(z) - math.log(sd)
    return result


def _added(first: FloatArray, second: FloatArray) -> FloatArray:
    """Log density of ln(a + b) from those of ln a and ln b, all on the one grid, up to a constant."""
    a = _read(first, LN_LOSS[:, None] + _LN_Q)
    b = _read(second, LN_LOSS[:, None] + _LN_REST)
    both = a + b
    top = both.max(axis=1)
    result: FloatArray = top + np.log(np.exp(both - top[:, None]).sum(axis=1))
    return result


def _read(ln: FloatArray, x: FloatArray) -> FloatArray:
    """Read a table on the grid; below it a share too small to matter goes on straight."""
    slope = (ln[1] - ln[0]) / (LN_LOSS[1] - LN_LOSS[0])
    result: FloatArray = np.interp(x, LN_LOSS, ln) + slope * np.minimum(0.0, x - LN_LOSS[0])
    return result
