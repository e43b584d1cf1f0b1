"""What did the bar show? A pair of reading and check, the reading per area, and how finely it was read.

A bar that counts hits per time is divided by v · W. A bar moves in steps: what it shows is any reading within half a
step, so a bar at 0 stands somewhere between nothing and half its smallest step.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray

from chaffinch.engine.domain import not_negative, positive
from chaffinch.engine.evidence import Evidence
from chaffinch.errors import InputError

FloatArray = NDArray[np.float64]
Per = Literal["time", "area"]

LEAST_PAIRS: Final = 4
"""Pairs with a bar above 0 before anything is claimed (design §4.10)."""
LEAST_SPAN: Final = 1.5
"""Highest over lowest reading before anything is claimed [1] (design §4.10)."""
_PARTS: Final = (np.arange(4) + 0.5) / 4
"""Where a true reading may stand within the step the bar shows [1]: four places, evenly."""


@dataclass(frozen=True, slots=True)
class Pair:
    """What the bar showed, and what was caught at the same place.

    Attributes
    ----------
    reading : float
        What the bar showed, in its own unit, 0 or more.
    evidence : Evidence
        About machine loss at that place.
    per : {"time", "area"}
        Whether the bar counts hits per time or per area.
    speed_kmh, width_m : float or None
        Ground speed [km/h] and cut width [m]; needed for a bar that counts per time.
    step : float or None
        Smallest step of the bar, in its own unit; None: read exactly, which a bar at 0 cannot be.
    """

    reading: float
    evidence: Evidence
    per: Per
    speed_kmh: float | None = None
    width_m: float | None = None
    step: float | None = None


def per_area(reading: float, speed_kmh: float, width_m: float) -> float:
    """A reading per time as a reading per area: 10,000 · r/(v · W), v in m/s.

    A bar in kg of seed per second becomes kg/ha; any other unit keeps its own scale.
    """
    metres_per_s = positive("speed_kmh", speed_kmh) / 3.6
    return 10_000.0 * not_negative("reading", reading) / (metres_per_s * positive("width_m", width_m))


def _unit_of(pair: Pair) -> float:
    if pair.per == "area":
        return 1.0
    if pair.speed_kmh is None or pair.width_m is None:
        field = "speed_kmh" if pair.speed_kmh is None else "width_m"
        raise InputError(field, None, "is needed: this bar counts per time", "give ground speed and cut width")
    return per_area(1.0, pair.speed_kmh, pair.width_m)


@dataclass(frozen=True, slots=True)
class Stand:
    """A reading per area, the places within its step where the true one may stand, and their upper end."""

    reading: float
    places: FloatArray
    high: float


def stands(number: int, pair: Pair, per: Per, width_m: float | None) -> Stand:
    """Read one pair, refusing what the bar of the others could not have shown."""
    try:
        if pair.per not in ("time", "area"):
            raise InputError("per", pair.per, "is no way a bar counts", "write time or area")
        if pair.per != per:
            raise InputError("per", pair.per, f"is not as in pair 1 ({per})", "keep a key for each bar and mode")
        reading, unit = not_negative("reading", pair.reading), _unit_of(pair)
        if per == "time" and pair.width_m != width_m:
            raise InputError("width_m", pair.width_m, f"is not as in pair 1 ({width_m:g})", "keep a key for each width")
        if pair.step is None:
            if reading == 0.0:
                raise InputError("reading", 0.0, "needs the bar's smallest step", "give it, so that 0 has a meaning")
            return Stand(reading * unit, np.full(_PARTS.size, reading * unit), reading * unit)
        step = positive("step", pair.step)
        low, high = max(0.0, reading - step / 2) * unit, (reading + step / 2) * unit
        return Stand(reading * unit, within_step(low, high), high)
    except InputError as error:
        raise error.within(f"pair {number}") from None


def within_step(low: float, high: float) -> FloatArray:
    """Places where a reading between two ends may stand, each as likely as the others, shape (4,)."""
    result: FloatArray = low + (high - low) * _PARTS
    return result


def missing(above: Sequence[float]) -> tuple[str, ...]:
    """What a key still needs before it claims anything, from its readings above 0, per area; empty when nothing."""
    need = []
    if len(above) < LEAST_PAIRS:
        need.append(f"{LEAST_PAIRS - len(above)} more with the bar above 0")
    if len(above) < 2 or max(above) < LEAST_SPAN * min(above):
        span = max(above) / min(above) if above else 1.0
        need.append(f"a highest reading {LEAST_SPAN:g} times the lowest, counted per area (now {span:.2f} times)")
    return tuple(need)
