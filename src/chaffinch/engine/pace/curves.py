"""What do the loss curves say at any speed? Draws of the loss at listed speeds, and what lies between them.

``pace`` needs only this: it does not ask where the curves came from. Method page: ``docs/method/pace.md``.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from chaffinch.engine.domain import FloatArray, between, finite, not_negative, positive, single
from chaffinch.engine.ledger.sharing import NOTHING_SHARED, SharedByBoth
from chaffinch.engine.sampling.sobol import sobol
from chaffinch.errors import InputError

FEWEST_SPEEDS: Final = 4
"""Speeds that a cubic between them needs."""
BEYOND_TESTED: Final = 0.10
"""How far beyond the tested speeds a pace may be recommended [share] (design §4.7)."""
PAIRED_DRAWS: Final = 2048
"""Draws that two posteriors are put together into: a percentile then errs by about 1 % of its rank. Own figure."""


@dataclass(frozen=True, slots=True)
class LossAtSpeeds:
    """Draws of the mean loss over places at listed speeds; row i of every array is one draw of the whole world.

    Attributes
    ----------
    speed_kmh : ndarray, shape (m,)
        Ground speeds, ascending, at least four [km/h]. A curve is read between them as a cubic in ln v, so twelve or
        more are wanted where it bends.
    machine_kg_ha : ndarray, shape (n, m)
        Machine loss [kg/ha], above 0. Means over places, not the loss at one place: money is lost on the mean.
    header_kg_ha : ndarray, shape (n, m), or None
        Header loss [kg/ha], above 0; None when it was not measured.
    weights : ndarray, shape (n,)
        Weights of the draws, 0 or more, summing to 1.
    tested_kmh : tuple of float, or None
        Slowest and fastest speed this machine was checked at [km/h] (the loads it was checked at, as speeds of today);
        None when it never was.
    yield_kg_ha : float or None
        Yield of the crop [kg/ha], above 0: no draw of machine and header loss together counts for more, since a curve
        carried on far beyond the speeds tried would lose more than grew. None where it is not known.

    Raises
    ------
    InputError
        For shapes that do not fit, speeds that do not rise, a loss of 0 or below, weights that do not sum to 1.
    """

    speed_kmh: FloatArray
    machine_kg_ha: FloatArray
    header_kg_ha: FloatArray | None
    weights: FloatArray
    tested_kmh: tuple[float, float] | None
    yield_kg_ha: float | None = None

    def __post_init__(self) -> None:
        speed = positive("speed_kmh", self.speed_kmh)
        if not isinstance(speed, np.ndarray) or speed.ndim != 1 or speed.size < FEWEST_SPEEDS:
            problem = f"must be a row of at least {FEWEST_SPEEDS} speeds"
            raise InputError("speed_kmh", np.size(self.speed_kmh), problem, "list the speeds the loss is given at")
        if (np.diff(speed) <= 0).any():
            raise InputError("speed_kmh", speed.tolist(), "must rise from one to the next", "sort the speeds")
        weights = not_negative("weights", self.weights)
        if not isinstance(weights, np.ndarray) or weights.ndim != 1 or abs(weights.sum() - 1.0) > 1e-6:
            raise InputError("weights", float(np.sum(weights)), "must sum to 1", "divide them by their sum")
        _curves("machine_kg_ha", self.machine_kg_ha, (weights.size, speed.size))
        if self.header_kg_ha is not None:
            _curves("header_kg_ha", self.header_kg_ha, (weights.size, speed.size))
        if self.tested_kmh is not None:
            low, high = (positive("tested_kmh", single("tested_kmh", end)) for end in self.tested_kmh)
            if low > high:
                raise InputError("tested_kmh", self.tested_kmh, "must rise", "give the slowest speed first")
        if self.yield_kg_ha is not None:
            positive("yield_kg_ha", single("yield_kg_ha", self.yield_kg_ha))

    def together_kg_ha(self) -> FloatArray:
        """Machine and header loss together at the listed speeds, as the curves say, not held [kg/ha], shape (n, m)."""
        return self.machine_kg_ha if self.header_kg_ha is None else self.machine_kg_ha + self.header_kg_ha

    def held(self, kg_ha: FloatArray) -> FloatArray:
        """A sum of machine and header loss [kg/ha], at most the yield where that is known."""
        return kg_ha if self.yield_kg_ha is None else np.minimum(kg_ha, self.yield_kg_ha)

    def recommendable_kmh(self) -> tuple[float, float]:
        """Slowest and fastest speed that may be recommended [km/h]: those given, at most 10 % beyond those tested."""
        low, high = float(self.speed_kmh[0]), float(self.speed_kmh[-1])
        if self.tested_kmh is not None:
            low = max(low, (1.0 - BEYOND_TESTED) * self.tested_kmh[0])
            high = min(high, (1.0 + BEYOND_TESTED) * self.tested_kmh[1])
        if low >= high:
            problem = "leaves no speed to choose from within 10 % of those tested"
            raise InputError("speed_kmh", self.speed_kmh.tolist(), problem, "give speeds around those tested")
        return low, high


def pair_posteriors(
    speed_kmh: FloatArray,
    machine: tuple[FloatArray, FloatArray],
    header: tuple[FloatArray, FloatArray] | None,
    *,
    tested_kmh: tuple[float, float] | None,
    yield_kg_ha: float | None = None,
    shared: SharedByBoth = NOTHING_SHARED,
    draws: int = PAIRED_DRAWS,
    seed: int = 1,
) -> LossAtSpeeds:
    """Put two separately fitted posteriors together with equal weights: independent but for the errors they share.

    Parameters
    ----------
    speed_kmh : ndarray, shape (m,)
        As in :class:`LossAtSpeeds` [km/h].
    machine, header : (ndarray of shape (n, m), ndarray of shape (n,))
        Draws of the loss [kg/ha] and their weights; n may differ between the two. ``header`` None: not measured.
    tested_kmh : tuple of float, or None
        As in :class:`LossAtSpeeds`.
    yield_kg_ha : float or None
        As in :class:`LossAtSpeeds` [kg/ha].
    shared : SharedByBoth
        Errors that were left out of the curves, put in here: one that moves both moves them in the same draw.
    draws : int
        Rows of the result, 64 to 65536; a power of two scatters evenly.
    seed : int
        Same seed, same draws.
    """
    machine_kg_ha, header_kg_ha = paired(machine, header, shared=shared, draws=draws, seed=seed)
    equal = np.full(len(machine_kg_ha), 1.0 / len(machine_kg_ha))
    return LossAtSpeeds(speed_kmh, machine_kg_ha, header_kg_ha, equal, tested_kmh, yield_kg_ha)


def paired(
    machine: tuple[FloatArray, FloatArray],
    header: tuple[FloatArray, FloatArray] | None,
    *,
    shared: SharedByBoth = NOTHING_SHARED,
    draws: int = PAIRED_DRAWS,
    seed: int = 1,
    place: int = 0,
    factors: FloatArray | None = None,
) -> tuple[FloatArray, FloatArray | None]:
    """Rows of machine and header loss of the same worlds, as :func:`pair_posteriors` puts them together.

    Draws of a fit stand in the order of their level, so rows of two fits must never be added as they come.

    Parameters
    ----------
    machine, header, shared, draws, seed
        As there.
    place : int
        Which of several combines whose rows are added, from 0: rows of two places are drawn independently.
    factors : ndarray, shape (draws, 2), or None
        Factors of the shared errors on machine and header loss [1], in place of ``shared``: where combines share
        errors they are drawn for all together (:func:`chaffinch.engine.ledger.sharing.factors_together`).

    Returns
    -------
    machine_kg_ha, header_kg_ha : ndarray, shape (draws, m), the latter or None
        [kg/ha], all rows of equal weight.
    """
    u = sobol(int(between("draws", draws, 64, 65536)), 2, seed=seed, first=2 * place)
    if factors is None:
        factors = shared.factors(len(u), seed=seed, first=2 * place + u.shape[1])
    machine_kg_ha = factors[:, :1] * _resampled("machine", machine, u[:, 0])
    return machine_kg_ha, None if header is None else factors[:, 1:] * _resampled("header", header, u[:, 1])


class Between:
    """The curves of a :class:`LossAtSpeeds` at any speed within those listed: cubic in (ln v, ln loss)."""

    def __init__(self, loss: LossAtSpeeds) -> None:
        # A late import: it takes longer than a whole `chaffinch check` may.
        from scipy.interpolate import CubicSpline

        self._lines = CubicSpline(np.log(loss.speed_kmh), np.eye(loss.speed_kmh.size))
        parts = (loss.machine_kg_ha, loss.header_kg_ha)
        self._ln_parts = [np.log(part) for part in parts if part is not None]
        self._held = loss.held
        self._low, self._high = float(loss.speed_kmh[0]), float(loss.speed_kmh[-1])

    def loss_kg_ha(self, speed_kmh: FloatArray, rows: slice = slice(None)) -> FloatArray:
        """Machine and header loss together, held [kg/ha], shape (draws in ``rows``, k), at speeds of shape (k,)."""
        # 1e-9 allows for the rounding of exp(ln v) at the ends.
        between("speed_kmh", speed_kmh, self._low * (1 - 1e-9), self._high * (1 + 1e-9))
        across = self._lines(np.log(speed_kmh)).T
        total: FloatArray = np.exp(self._ln_parts[0][rows] @ across)
        for part in self._ln_parts[1:]:
            total += np.exp(part[rows] @ across)
        return self._held(total)


def _resampled(name: str, part: tuple[FloatArray, FloatArray], u: FloatArray) -> FloatArray:
    curves, weights = part
    if curves.ndim != 2 or weights.shape != curves.shape[:1]:
        raise InputError(f"{name} weights", weights.shape, "must be one for each curve", "give one per row")
    cumulative = np.cumsum(not_negative(f"{name} weights", weights))
    # Only the running sum can tell: weights of 0 at the end would otherwise be drawn by rounding.
    picked = np.searchsorted(cumulative, u * positive(f"{name} weights", float(cumulative[-1])), side="right")
    result: FloatArray = curves[np.minimum(picked, weights.size - 1)]
    return result


def _curves(field: str, curves: FloatArray, shape: tuple[int, int]) -> None:
    if np.shape(curves) != shape:
        problem = f"must be {shape[0]} draws at {shape[1]} speeds"
        raise InputError(field, np.shape(curves), problem, "give one row per draw and one column per speed")
    if (finite(field, curves) <= 0).any():
        mend = "a mean loss is never quite nothing; leave the header out (None) if it was not measured"
        raise InputError(field, float(np.min(curves)), "must be above 0", mend)
