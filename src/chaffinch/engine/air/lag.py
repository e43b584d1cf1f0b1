"""How do grain and straw run after the air? First order, each with one time, and a reading pulls the course with it.

    dx/dt = (u − x)/τ

u runs straight between the hours, so x is exact. The toughness of straw is its lagged humidity as a share, 0 to 1 (own
index: no isotherm of straw with printed constants was available). The course of grain moisture is linear in three
unknowns with normal priors, so readings give its mean and sd in closed form. Equations: ``docs/method/air.md``.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from chaffinch.engine.domain import FloatArray, between, finite, positive, single
from chaffinch.errors import InputError

STRAW_LAG_H: Final = 2.0
"""Time in which straw comes 63 % of the way to the air [h]; own figure."""
GRAIN_LAG_H: Final = 6.0
"""The same for grain on the plant [h]; own figure."""
LAG_SPAN_H: Final = (0.1, 240.0)
START_SD_PCT: Final = 3.0
"""How far grain may stand from its lagged equilibrium at the first hour [points]; own figure."""
SWING_SD: Final = 0.4
"""Sd of how much more or less than the isotherm says it swings [1]: a lag of 4 or 12 h alone makes that; own figure."""
READING_SD_PCT: Final = 0.3
"""Error of a moisture meter in the field [points]; own figure."""
PLACE_SD_PCT: Final = 0.6
"""What sun, wind, variety and place in the field leave of it, at a reading and at an hour alike [points]; own figure.
Moisture of wheat and barley was foretold with a mean error of 1.1 to 1.2 points (Atzema 1998, printed)."""
OUT_OF_LINE: Final = 4.0
"""Sds from what the air and all other readings say of it, from which a reading is out of line [1]; own figure."""
WITHIN_90: Final = 1.645
"""A ± in sds, taken as a 90 % range [1]."""


@dataclass(frozen=True, slots=True)
class GrainCourse:
    """Grain moisture over the hours: ``mean_pct`` and ``sd_pct``, one for each hour [% wet basis]."""

    mean_pct: FloatArray
    sd_pct: FloatArray


def lagged(time_h: FloatArray, value: FloatArray, lag_h: float, *, start: float | None = None) -> FloatArray:
    """Return what runs after a value with a first-order lag, at the same times, shape (n,).

    Parameters
    ----------
    time_h : ndarray, shape (n,)
        Rising [h].
    value : ndarray, shape (n,)
        What it runs after; straight between the times.
    lag_h : float
        τ [h], 0.1 to 240.
    start : float or None
        Where it stands at the first time; None: it has stood still in the first value.

    Raises
    ------
    InputError
        For times that do not rise, shapes that differ, or a lag out of its range.
    """
    times, aim = _course(time_h, value)
    tau = between("lag_h", single("lag_h", lag_h), *LAG_SPAN_H)
    found = np.empty_like(aim)
    x = float(aim[0]) if start is None else finite("start", start)
    found[0] = x
    for k in range(1, aim.size):
        step = times[k] - times[k - 1]
        slope = (aim[k] - aim[k - 1]) / step
        x = aim[k] - slope * tau + (x - aim[k - 1] + slope * tau) * np.exp(-step / tau)
        found[k] = x
    return found


def toughness(time_h: FloatArray, humidity_pct: FloatArray, *, lag_h: float = STRAW_LAG_H) -> FloatArray:
    """Return the toughness index of straw at the same times [share, 0 to 1], shape (n,).

    0 is straw after long hours in air without vapour, 1 after long hours in saturated air. Before the first time the
    air is taken to have been as it was then, so the first two lags of a history count little.

    ``time_h`` [h], rising; ``humidity_pct`` [%], 0 to 100; ``lag_h`` [h].
    """
    humidity = between("humidity_pct", humidity_pct, 0.0, 100.0, "write 45 % as 45")
    return lagged(time_h, humidity / 100.0, lag_h)


def grain_course(
    time_h: FloatArray,
    equilibrium_pct: FloatArray,
    plus_minus_pct: float,
    readings: Sequence[tuple[float, float]] = (),
    *,
    lag_h: float = GRAIN_LAG_H,
) -> GrainCourse:
    """Return the moisture of grain over the hours, with what readings say of it.

    Parameters
    ----------
    time_h : ndarray, shape (n,)
        Rising [h].
    equilibrium_pct : ndarray, shape (n,)
        Moisture at which grain would stand still in that hour's air [% wet basis].
    plus_minus_pct : float
        ± of the isotherm [points], above 0.
    readings : sequence of (float, float)
        Time [h], at most the last of ``time_h``, and moisture [% wet basis]. One before the first hour counts as if the
        air had been since then as at the first hour.
    lag_h : float
        τ of the grain [h].

    Raises
    ------
    InputError
        For a reading after the last hour, and whatever :func:`lagged` refuses.
    """
    times, aim = _course(time_h, equilibrium_pct)
    late = [at for at, _ in readings if at > times[-1]]
    if late:
        raise InputError("readings", late[0], "stands after the last hour", "give readings up to the last hour")
    begin = min([float(times[0]), *(float(at) for at, _ in readings)])
    tau = between("lag_h", single("lag_h", lag_h), *LAG_SPAN_H)
    course = lagged(times, aim, tau)
    middle = float(course.mean())
    prior = np.square([START_SD_PCT, positive("plus_minus_pct", plus_minus_pct) / WITHIN_90, SWING_SD])
    asked = _terms(times, course, times, begin, tau, middle)
    if not readings:
        return GrainCourse(course, np.sqrt(np.square(asked) @ prior + PLACE_SD_PCT**2))
    at = finite("readings", np.array([float(one) for one, _ in readings]))
    seen = between("readings", np.array([float(m) for _, m in readings]), 0.1, 60.0, "write 12.5 % as 12.5")
    told = _terms(at, course, times, begin, tau, middle)
    # Normal prior and error, linear terms: the posterior of the three unknowns.
    error = READING_SD_PCT**2 + PLACE_SD_PCT**2
    spread = np.linalg.inv(np.diag(1.0 / prior) + told.T @ told / error)
    mean = spread @ told.T @ (seen - np.interp(at, times, course)) / error
    of_terms = np.einsum("ij,jk,ik->i", asked, spread, asked)
    return GrainCourse(course + asked @ mean, np.sqrt(of_terms + PLACE_SD_PCT**2))


def out_of_line(
    time_h: FloatArray,
    equilibrium_pct: FloatArray,
    plus_minus_pct: float,
    readings: Sequence[tuple[float, float]],
    *,
    lag_h: float = GRAIN_LAG_H,
) -> list[int]:
    """Return which readings fit neither the air nor the others, the worst first; none of them should be reckoned with.

    One such reading would bend the whole course: the swing of the day is what can reach it. Each is held against what
    air and all the others say of it (by leaving it out), and the worst beyond :data:`OUT_OF_LINE` is put aside until
    none is left. Grain that is unripe, or was rained on, does not follow the air and is found here; many readings that
    agree are believed.

    Parameters as for :func:`grain_course`.
    """
    times, aim = _course(time_h, equilibrium_pct)
    tau = between("lag_h", single("lag_h", lag_h), *LAG_SPAN_H)
    course = lagged(times, aim, tau)
    begin = min([float(times[0]), *(float(at) for at, _ in readings)])
    prior = np.square([START_SD_PCT, positive("plus_minus_pct", plus_minus_pct) / WITHIN_90, SWING_SD])
    at = finite("readings", np.array([float(one) for one, _ in readings]))
    told = _terms(at, course, times, begin, tau, float(course.mean()))
    apart = np.array([float(m) for _, m in readings]) - np.interp(at, times, course)
    whole = told @ np.diag(prior) @ told.T + (READING_SD_PCT**2 + PLACE_SD_PCT**2) * np.eye(at.size)
    kept, found = list(range(at.size)), []
    while kept:
        inverse = np.linalg.inv(whole[np.ix_(kept, kept)])
        # Left out, a reading is off by (K⁻¹y)ᵢ/(K⁻¹)ᵢᵢ with variance 1/(K⁻¹)ᵢᵢ.
        sds = np.abs(inverse @ apart[kept]) / np.sqrt(np.diag(inverse))
        worst = int(np.argmax(sds))
        if sds[worst] <= OUT_OF_LINE:
            break
        found.append(kept.pop(worst))
    return found


def _terms(
    at: FloatArray, course: FloatArray, times: FloatArray, begin: float, tau: float, middle: float
) -> FloatArray:
    """Columns: what a start apart, an isotherm off and a larger swing add at each time."""
    fading = np.exp(-(at - begin) / tau)
    return np.column_stack([fading, 1.0 - fading, np.interp(at, times, course) - middle])


def _course(time_h: FloatArray, value: FloatArray) -> tuple[FloatArray, FloatArray]:
    times, values = finite("time_h", time_h), finite("value", value)
    if not isinstance(times, np.ndarray) or times.ndim != 1 or times.size < 1 or np.shape(values) != times.shape:
        raise InputError("time_h", np.shape(time_h), "must be one time for each value", "give two rows of one length")
    if (np.diff(times) <= 0).any():
        raise InputError("time_h", float(times[1:][np.diff(times) <= 0][0]), "must rise", "sort the hours")
    return times, values
