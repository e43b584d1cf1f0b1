"""What does a joint posterior say of one source alone, or of some together?

A check whose catches see several sources is sampled jointly (:mod:`chaffinch.engine.sources`). A curve, a trial or a
sum asks it about one of them, as evidence on the grid of ln(loss): the log of the marginal posterior less the log of
the prior that went into it.

The density is a kernel estimate over the weighted draws, the draws drawn in so that its variance is theirs. Beyond the
outermost twenty effective draws on either side the log-likelihood goes on as the parabola that fits it just inside,
never rising outwards: of losses that the prior kept the draws away from, it knows no more than that. Where draws lie
off the grid (frames without a seed), the grid is carried on to them first and cut back after. Sources: B. W.
Silverman (1986), "Density estimation for statistics and data analysis", ch. 3.4 and 6.4 (from memory); the tails are
our own.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from chaffinch.engine.domain import positive
from chaffinch.engine.estimate import DrawBelief, Prior
from chaffinch.engine.evidence import LN_LOSS, Evidence
from chaffinch.engine.sources import Joint
from chaffinch.errors import InputError

FloatArray = NDArray[np.float64]

_BANDWIDTH: Final = 0.9
"""Kernel width in sd · n^(−1/5) [1]: Silverman's rule for shapes that may be skewed (memory)."""
_FINE: Final = 4
"""Bins of the draws per step of the grid."""
_BEYOND_JOIN: Final = 20.0
"""Effective draws left beyond the point from which the parabola takes over, on either side; own figure."""
_FITTED: Final = 0.10
"""Share of the draws, from the end, that the parabola is fitted to; own figure, by trial."""
_LEVEL: Final = 0.25
"""Towards small losses, a likelihood that changes by less than this over the fitted stretch is level, as far as draws
can tell [1]: other sources, or an empty pan, allow any loss below. Own figure, by trial with empty pans."""
_ROOM: Final = 5
"""Nodes beyond the outermost draws that a tail is fitted to: enough for the narrowest stretch."""
_SPLIT: Final[FloatArray] = np.linspace(-14.0, 14.0, 281)
"""Nodes of the log ratio of two sources in the prior of their sum: beyond ±14 one of them is all of it."""


def evidence_of_source(joint: Joint, source: str, priors: Mapping[str, Prior]) -> Evidence:
    """Evidence about one source out of a joint posterior, without the errors common to all its catches.

    Parameters
    ----------
    joint : Joint
        From :func:`chaffinch.engine.sources.locate`.
    source : {"standing", "header", "machine", "leak"}
    priors : mapping of str to Prior
        The priors given to ``locate``.

    Returns
    -------
    Evidence
        ``catches`` is 0: the draws do not remember how many they rest on.

    Raises
    ------
    InputError
        When the joint posterior does not know the source, or its prior is missing.
    """
    return evidence_of(joint, (source,), priors)


def evidence_of(joint: Joint, sources: Sequence[str], priors: Mapping[str, Prior]) -> Evidence:
    """Evidence about the sum of several sources; else as :func:`evidence_of_source`."""
    if not sources:
        raise InputError("sources", None, "names none", "name at least one")
    for source in sources:
        if source not in joint.sources:
            raise InputError("source", source, "was not seen by any catch", f"ask for {', '.join(joint.sources)}")
        if source not in priors:
            raise InputError("priors", source, "has no prior here", "give the priors that locate() was given")
    columns = [joint.sources.index(s) for s in sources]
    caught = joint.caught_kg_ha[:, columns].sum(axis=1)
    join = _BEYOND_JOIN / joint.ess
    ends = (join, join + _FITTED, 1.0 - join - _FITTED, 1.0 - join)
    held = np.log([DrawBelief(caught, joint.weights).quantile(p) for p in ends])
    ln_loss, kept = _carried_on(held)
    with np.errstate(divide="ignore"):
        density = np.log(_density(np.log(caught), joint.weights, joint.ess, ln_loss))
    raw = density - _ln_prior_of_sum([priors[s] for s in sources], ln_loss)
    whole = _with_tails(raw, held, ln_loss)[kept]
    return Evidence(whole - whole.max(), 0)


def _carried_on(held: FloatArray) -> tuple[FloatArray, slice]:
    """The grid of ln(loss) carried on to the draws that lie off it, and where the grid stands in it.

    Frames without a seed leave most draws below 0.05 kg/ha: a tail can only be fitted where the draws are.
    """
    step = float(LN_LOSS[1] - LN_LOSS[0])
    below = max(0, math.ceil((float(LN_LOSS[0]) - float(held[0])) / step) + _ROOM)
    above = max(0, math.ceil((float(held[-1]) - float(LN_LOSS[-1])) / step) + _ROOM)
    wide = LN_LOSS[0] + step * np.arange(-below, LN_LOSS.size + above)
    return wide, slice(below, below + LN_LOSS.size)


def _density(ln_loss: FloatArray, weights: FloatArray, ess: float, at: FloatArray) -> FloatArray:
    """Kernel density of the draws at evenly spaced ``at`` [ln kg/ha]; draws far off it count for nothing there."""
    mean = float(weights @ ln_loss)
    sd = math.sqrt(float(weights @ np.square(ln_loss - mean)))
    # Bins a quarter of a step wide, with room at both ends for what draws off the grid still give to it.
    fine = float(at[1] - at[0]) / _FINE
    width = max(_BANDWIDTH * sd * ess**-0.2, 2.0 * fine)
    drawn_in = mean + (ln_loss - mean) * math.sqrt(max(1.0 - (width / sd) ** 2, 0.0))
    margin = math.ceil(4.5 * width / fine)
    cells = (at.size - 1) * _FINE + 1 + 2 * margin
    place = (drawn_in - at[0]) / fine + margin
    near = (place >= 0.0) & (place < cells - 1.0)
    place, weights = place[near], weights[near]
    index = place.astype(np.intp)
    along = place - index
    binned = np.bincount(index, weights * (1.0 - along), cells) + np.bincount(index + 1, weights * along, cells)
    kernel = np.exp(-0.5 * np.square(np.arange(-margin, margin + 1) * fine / width))
    smooth = np.convolve(binned, kernel / kernel.sum(), mode="valid")
    result: FloatArray = np.maximum(smooth[::_FINE] / fine, 0.0)
    return result


def _with_tails(raw: FloatArray, held: FloatArray, ln_loss: FloatArray) -> FloatArray:
    """Replace what lies beyond the outer two of four points in ln(loss) by the parabola of the stretch inside."""
    result = raw.copy()
    for join, inner, outwards in ((held[0], held[1], -1.0), (held[3], held[2], 1.0)):
        at = int(np.searchsorted(ln_loss, join))
        stretch = np.abs(ln_loss - (join + inner) / 2.0) <= max(abs(join - inner) / 2.0, 0.05)
        stretch &= np.isfinite(raw)
        away = outwards * (ln_loss[stretch] - ln_loss[at])
        curve, slope, _ = np.polyfit(away, raw[stretch], 2)
        if outwards < 0 and np.ptp(raw[stretch]) < _LEVEL:
            curve = slope = 0.0
        beyond = outwards * (ln_loss - ln_loss[at])
        out = beyond > 0
        # Beyond the draws the likelihood goes on falling, or stays level; it never rises again.
        parabola = min(float(slope), 0.0) * beyond + min(float(curve), 0.0) * np.square(beyond)
        result[out] = raw[at] + parabola[out]
    return result


def _ln_prior_of_sum(priors: Sequence[Prior], ln_loss: FloatArray = LN_LOSS) -> FloatArray:
    """Log density of ln(sum) at evenly spaced ``ln_loss`` for independent lognormals.

    Two of them: f(y) = ∫ f₁(y − ln(1 + eᵛ)) f₂(y − ln(1 + e⁻ᵛ)) dv with v the log ratio of the second to the first
    (derived: s²/(u(1 − u)) cancels against du = u(1 − u) dv, u the share of the second).
    """

    def ln_density(prior: Prior, y: FloatArray) -> FloatArray:
        sd = positive("prior sd", prior.sd_log)
        z = (y - math.log(positive("prior median", prior.median_kg_ha))) / sd
        result: FloatArray = -0.5 * np.square(z) - math.log(sd * math.sqrt(2.0 * math.pi))
        return result

    total = ln_density(priors[0], ln_loss)
    step = float(_SPLIT[1] - _SPLIT[0])
    for prior in priors[1:]:
        # Past the ends of the grid the log density of the sum so far goes on along its last slope.
        first = _read_on(total, ln_loss, ln_loss[:, None] - np.logaddexp(0.0, _SPLIT))
        second = ln_density(prior, ln_loss[:, None] - np.logaddexp(0.0, -_SPLIT))
        total = np.log(step * np.exp(first + second).sum(axis=1))
    return total


def _read_on(values: FloatArray, known: FloatArray, at: FloatArray) -> FloatArray:
    step = float(known[1] - known[0])
    place = (at - known[0]) / step
    index = np.clip(np.floor(place).astype(np.intp), 0, known.size - 2)
    result: FloatArray = values[index] + (values[index + 1] - values[index]) * (place - index)
    return result
