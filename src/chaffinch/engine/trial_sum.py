"""What does a stop say about a sum of its losses, such as header and machine together?

A setup that moves loss from the header into the machine is judged by their sum. Evidence about a sum is the
likelihood averaged over how the sum may be split, with the split as likely as the priors make it:

    L(S) = ∫ L₁(S·q) L₂(S·(1 − q)) p₁ p₂ dv ÷ ∫ p₁ p₂ dv,    v = logit q

(ln a, ln b) → (ln(a + b), ln(b/a)) has the determinant 1, so that densities in logs need no correction (derived).
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from functools import reduce
from typing import Final

import numpy as np
from numpy.typing import NDArray

from chaffinch.engine.domain import positive
from chaffinch.engine.estimate import Prior
from chaffinch.engine.evidence import LN_LOSS, Evidence
from chaffinch.engine.sources import Joint
from chaffinch.errors import InputError

FloatArray = NDArray[np.float64]

_LOGIT: Final[FloatArray] = np.linspace(-14.0, 14.0, 561)
_LN_Q: Final[FloatArray] = -np.logaddexp(0.0, -_LOGIT)
_LN_REST: Final[FloatArray] = -np.logaddexp(0.0, _LOGIT)
_SMOOTH: Final = 0.2
"""Width of the kernel laid over draws, in sds of ln S [1]; own figure."""
_TRUSTED: Final = 1e-3
"""Density, as a part of its peak, down to which draws are believed; the likelihood goes on straight from there."""
_FLOOR: Final = -1e5
"""Log-likelihood that stands for impossible, so that sums of tables stay finite."""


def sum_of_evidence(parts: Sequence[tuple[Evidence, Prior]]) -> Evidence:
    """Evidence about the sum of losses that were seen by separate catches.

    Parameters
    ----------
    parts : sequence of (Evidence, Prior)
        At least one: the evidence of each loss and the belief about it before the catches.
    """
    if not parts:
        raise InputError("parts", 0, "there is nothing to add up", "give the evidence of each loss with its prior")
    before = [_ln_prior(prior) for _, prior in parts]
    after = [
        ln + np.maximum(e.log_likelihood - e.log_likelihood.max(), _FLOOR)
        for (e, _), ln in zip(parts, before, strict=True)
    ]
    ln = reduce(_added, after) - reduce(_added, before)
    return Evidence(ln - ln.max(), sum(e.catches for e, _ in parts))


def evidence_of_sum(joint: Joint, sources: Sequence[str], priors: Mapping[str, Prior], catches: int) -> Evidence:
    """Evidence about the sum of some sources of a check, from the draws of its joint posterior.

    Log density of the draws of ln S less that of ln S before the catches. The draws without common errors are
    used: what all catches share stays out of a comparison.

    Parameters
    ----------
    joint : Joint
        From :func:`chaffinch.engine.sources.locate`.
    sources : sequence of str
        Sources whose sum is meant; all must have been seen.
    priors : mapping of str to Prior
        The priors ``joint`` was made with.
    catches : int
        How many catches it rests on.

    Raises
    ------
    InputError
        When a source was not seen.
    """
    for source in sources:
        if source not in joint.sources:
            raise InputError("sources", source, "no catch sees it", "compare a loss that every stop saw")
    if not sources:
        raise InputError("sources", 0, "there is nothing to add up", "name the losses to compare")
    columns = [joint.sources.index(s) for s in sources]
    ln_sum = np.log(joint.caught_kg_ha[:, columns].sum(axis=1))
    density = _density(ln_sum, joint.weights)
    ln_before = reduce(_added, [_ln_prior(priors[s]) for s in sources])
    trusted = np.flatnonzero(density > _TRUSTED * density.max())
    first, last = int(trusted[0]), int(trusted[-1])
    if last - first < 2:
        raise InputError("sources", "+".join(sources), "were seen beyond the grid of losses", "check the readings")
    ln = np.log(np.maximum(density[first : last + 1], 1e-300)) - ln_before[first : last + 1]
    rise, fall = max(0.0, float(ln[1] - ln[0])), min(0.0, float(ln[-1] - ln[-2]))
    low = ln[0] + rise * np.arange(-first, 0)
    high = ln[-1] + fall * np.arange(1, LN_LOSS.size - last)
    whole = np.concatenate([low, ln, high])
    return Evidence(whole - whole.max(), catches)


def _ln_prior(prior: Prior) -> FloatArray:
    sd = positive("prior sd", prior.sd_log)
    z = (LN_LOSS - math.log(positive("prior median", prior.median_kg_ha))) / sd
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


def _density(ln_sum: FloatArray, weights: FloatArray) -> FloatArray:
    """Density of weighted draws on the grid: shared out between neighbours and smoothed, their variance kept."""
    mean = float(weights @ ln_sum)
    sd = math.sqrt(float(weights @ np.square(ln_sum - mean)))
    # A kernel widens what it smooths; draws drawn together by as much first keep the variance.
    drawn = mean + (ln_sum - mean) * math.sqrt(1.0 - _SMOOTH**2)
    step = float(LN_LOSS[1] - LN_LOSS[0])
    place = (drawn - LN_LOSS[0]) / step
    inside = (place >= 0.0) & (place < LN_LOSS.size - 1)
    index = place[inside].astype(np.intp)
    share = place[inside] - index
    held = np.bincount(index, weights[inside] * (1.0 - share), LN_LOSS.size)
    held += np.bincount(index + 1, weights[inside] * share, LN_LOSS.size)
    width = max(_SMOOTH * sd, step)
    half = math.ceil(5.0 * width / step)
    kernel = np.exp(-0.5 * np.square(np.arange(-half, half + 1) * step / width))
    result: FloatArray = np.convolve(held, kernel / kernel.sum(), mode="same")
    return result
