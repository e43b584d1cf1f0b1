"""What does a stop's evidence say of the loss it was drawn around, once places differ by an unknown sd?

A stop sees the loss at its own place, ln λ + u with u ~ N(0, τ²). Its evidence about ln λ is therefore its evidence
about its own place, blurred by N(0, τ²): computed once for a table of τ, then read for every draw. Trials and
monitor keys rest on it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from chaffinch.engine.evidence import LN_LOSS, Evidence
from chaffinch.errors import InputError

FloatArray = NDArray[np.float64]

_LN_TAU: Final[FloatArray] = np.linspace(math.log(0.03), math.log(2.0), 34)
"""Nodes of ln τ, 0.127 apart. Beyond them the last table stands; a τ ~ LogNormal(ln 0.25, 0.5) lies there once in
50,000 times. Between them reading on straight errs by less than 0.04 in log-likelihood three sds off."""
_STEP: Final = float(LN_LOSS[1] - LN_LOSS[0])
_REACH: Final = 4.5
"""Sds at which the blurring normal is cut off: 7e-6 lies beyond."""
_MARGIN: Final = 150
"""Points by which a table extends beyond the grid at either end (a factor of 20); read on straight beyond that."""
_TINY: Final = 1e-290
"""Where the blurred likelihood has underflowed it is read on straight: far off, but finite and falling."""


class Scattered:
    """Blurred log-likelihoods of several stops, read for many draws at once.

    Parameters
    ----------
    tables : sequence of ndarray
        One per stop, from :func:`blurred`.
    """

    def __init__(self, tables: Sequence[FloatArray]) -> None:
        self.tables: FloatArray = np.stack(tables)
        self._flat = self.tables.reshape(-1)
        self._start = np.arange(len(tables)) * self.tables[0].size

    def at(self, ln_loss: FloatArray, ln_tau: FloatArray) -> FloatArray:
        """Log-likelihood of each stop under each draw.

        Parameters
        ----------
        ln_loss : ndarray, shape (n, stops)
            ln of the loss the stop was drawn around [ln kg/ha], finite.
        ln_tau : ndarray, shape (n,)
            ln of the sd between places [1].

        Returns
        -------
        ndarray, shape (n, stops)
            Finite, up to a constant per stop.
        """
        width = self.tables.shape[2]
        place = (ln_loss - LN_LOSS[0]) / _STEP + _MARGIN
        # Kept off the ends by index, not by value: beyond them the line through the last points goes on.
        index = np.clip(np.floor(np.clip(place, 0.0, width)).astype(np.intp), 1, width - 3)
        along = place - index
        level = np.clip((ln_tau - _LN_TAU[0]) / (_LN_TAU[1] - _LN_TAU[0]), 0.0, _LN_TAU.size - 1.0)
        row = np.minimum(level.astype(np.intp), _LN_TAU.size - 2)
        share = (level - row)[:, None]
        first = self._start + row[:, None] * width + index
        inside = (along >= 0.0) & (along <= 1.0)
        low = self._read(first, along, inside)
        result: FloatArray = low + share * (self._read(first + width, along, inside) - low)
        return result

    def _read(self, first: NDArray[np.intp], t: FloatArray, inside: NDArray[np.bool_]) -> FloatArray:
        """Catmull-Rom cubic through four points: smooth enough for the sampler's climb; straight beyond the table."""
        before, here, there, after = (self._flat[first + k] for k in (-1, 0, 1, 2))
        straight = here + t * (there - here)
        slope, curve = there - here, 0.5 * t * (t - 1.0)
        bend = curve * ((1.0 - t) * (before - here + slope) + t * (after - there - slope))
        return np.where(inside, straight + bend, straight)


def blurred(evidence: Evidence) -> FloatArray:
    """Log-likelihood of one stop for a table of τ: shape (34, 577 + 2 · 150).

    log ∫ L(x + u) N(u; 0, τ²) du on the grid of :data:`LN_LOSS` and its margins. The evidence itself goes on
    straight beyond its grid, level or falling.

    Raises
    ------
    InputError
        When the evidence is not a log-likelihood on the one grid.
    """
    values = evidence.log_likelihood
    if values.shape != LN_LOSS.shape or np.isnan(values).any() or not np.isfinite(values.max()):
        raise InputError("evidence", evidence.catches, "is no log-likelihood on the grid", "make it with evidence()")
    widest = math.ceil(_REACH * math.exp(_LN_TAU[-1]) / _STEP)
    reach = widest + _MARGIN
    long = _continued(_filled(values - values.max()), reach)
    likelihood = np.exp(long)
    out = np.empty((_LN_TAU.size, LN_LOSS.size + 2 * _MARGIN))
    for i, tau in enumerate(np.exp(_LN_TAU)):
        half = math.ceil(_REACH * tau / _STEP)
        kernel = np.exp(-0.5 * np.square(np.arange(-half, half + 1) * _STEP / tau))
        near = likelihood[widest - half : likelihood.size - (widest - half)]
        whole = np.convolve(near, kernel / kernel.sum(), mode="valid")
        ln = np.full(whole.shape, -np.inf)
        np.log(whole, out=ln, where=whole > _TINY)
        out[i] = _filled(ln)
    return out


def by_itself(table: FloatArray) -> Evidence:
    """Evidence on the grid again, from the least blurred row of a table: one stop taken alone."""
    row = table[0, _MARGIN:-_MARGIN]
    return Evidence(row - row.max(), 1)


def sd_of(evidence: Evidence) -> float:
    """Sd of ln(loss) that a stop's catches leave open, taken by themselves on the grid [1]."""
    mass = np.exp(evidence.log_likelihood - evidence.log_likelihood.max())
    mass /= mass.sum()
    centre = float(mass @ LN_LOSS)
    return math.sqrt(float(mass @ np.square(LN_LOSS - centre)))


def mean_of(evidence: Evidence) -> float:
    """Mean of ln(loss) by a stop's catches alone, on the grid [ln kg/ha]."""
    mass = np.exp(evidence.log_likelihood - evidence.log_likelihood.max())
    return float(mass @ LN_LOSS / mass.sum())


def _filled(ln: FloatArray) -> FloatArray:
    """Replace −inf at either side by the straight line through the last finite points."""
    finite = np.flatnonzero(np.isfinite(ln))
    first, last = int(finite[0]), int(finite[-1])
    # The line at least falls by 1 a point: what is certain to machine precision must not look level.
    rise = max(1.0, float(ln[min(first + 1, last)] - ln[first]))
    fall = min(-1.0, float(ln[last] - ln[max(last - 1, first)]))
    out = np.interp(np.arange(ln.size), finite, ln[finite])
    out[:first] = ln[first] + rise * (np.arange(first) - first)
    out[last + 1 :] = ln[last] + fall * (np.arange(last + 1, ln.size) - last)
    return out


def _continued(ln: FloatArray, reach: int) -> FloatArray:
    """Go on straight for ``reach`` points at both ends, never rising away from the grid."""
    low = ln[0] + max(0.0, float(ln[1] - ln[0])) * np.arange(-reach, 0)
    high = ln[-1] + min(0.0, float(ln[-1] - ln[-2])) * np.arange(1, reach + 1)
    return np.concatenate([low, ln, high])
