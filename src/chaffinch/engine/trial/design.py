"""What was the trial? Its stops in time order, their sides and loads, and what that plan alone calls for.

Nothing here looks at what was caught: whether time and setup can be told apart, whether the sides worked under the
same load, and whether one setting was changed or several, is known before the first pan is weighed.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from chaffinch.engine.domain import finite, positive
from chaffinch.engine.estimate import Range
from chaffinch.engine.evidence import Evidence
from chaffinch.errors import InputError

FloatArray = NDArray[np.float64]
Side = Literal["A", "B"]
Caution = Literal[
    "one side only",
    "order is time",
    "few stops",
    "long trial",
    "loads unknown",
    "loads partly known",
    "loads differ",
    "adjusted for load",
    "gain without shared error",
]
"""What a trial's reader must be told beside its answer; the sentences stand with the pages that show them."""

LEAST_EACH: Final = 2
"""Stops on each side before any verdict: one cannot tell a setting from a place. Own figure."""

UNLIKE_LOADS: Final = 1.10
"""Ratio of the sides' mean loads from which they count as different [1]; own figure, below what a pan can see."""
LONG_H: Final = 4.0
"""Hours after which a trial is called long [h]; judgement, the same as for checking again."""


@dataclass(frozen=True, slots=True)
class Stop:
    """One stop of a trial.

    Attributes
    ----------
    evidence : Evidence
        About the loss compared, without the error that all stops share.
    side : {"A", "B"}
        A is the setup in use before, B the one tried.
    time_h : float
        When, in hours from any fixed moment [h].
    load : float or None
        Throughput [t/h], or speed [km/h]: the same kind at every stop, above 0. None: not known.
    """

    evidence: Evidence
    side: Side
    time_h: float
    load: float | None = None


@dataclass(frozen=True, slots=True)
class Changed:
    """Settings that differ between two setups; with more than one, nobody can say which of them did it."""

    names: tuple[str, ...]

    @property
    def separable(self) -> bool:
        """Whether a difference can be put down to one setting."""
        return len(self.names) == 1


def changed(a: Mapping[str, object], b: Mapping[str, object]) -> Changed:
    """Settings that are not the same in ``a`` and ``b``, by name; one given on one side only counts as changed."""
    return Changed(tuple(sorted(k for k in {*a, *b} if k not in a or k not in b or a[k] != b[k])))


@dataclass(frozen=True, slots=True)
class Design:
    """What the stops were, without what was caught: which side, when, under what load.

    Attributes
    ----------
    columns : ndarray, shape (stops, 3 or 4)
        Factors of α, δ (−½ under A, ½ under B), drift and (when adjusted) β in ln λ.
    hours : ndarray, shape (stops,)
        Times from their mean [h].
    exponent : tuple of float or None
        Mean and sd of β when the stops are adjusted for load.
    comparable : bool
        False when the sides ran under different loads and nothing adjusts for that.
    in_turn : bool
        Whether one side stands on both ends of the other (A, B, A): without that, time looks like the setup.
    cautions : tuple of str
        What the plan of the trial alone calls for.
    stops_each : tuple of int
        Stops on A and on B.
    """

    columns: FloatArray
    hours: FloatArray
    exponent: tuple[float, float] | None
    comparable: bool
    in_turn: bool
    cautions: tuple[Caution, ...]
    stops_each: tuple[int, int]

    @staticmethod
    def of(stops: Sequence[Stop], load_exponent: float | Range | None = None) -> Design:
        """Read the stops, refusing what no trial can be; see :func:`compare`."""
        if not stops:
            raise InputError("stops", 0, "there is none to compare", "take a check under A and one under B")
        times = np.array([finite(f"stop {i}, time_h", s.time_h) for i, s in enumerate(stops, start=1)])
        for i, stop in enumerate(stops, start=1):
            if stop.side not in ("A", "B"):
                raise InputError(f"stop {i}, side", stop.side, "is no side of a trial", "write A or B")
            if i > 1 and times[i - 1] < times[i - 2]:
                raise InputError(f"stop {i}, time_h", stop.time_h, "is before the stop above", "put them in time order")
        sides = [s.side for s in stops]
        is_b = np.array([side == "B" for side in sides])
        hours = times - times.mean()
        each = int((~is_b).sum()), int(is_b.sum())
        cautions: list[Caution] = []
        in_turn = sides not in (sorted(sides), sorted(sides, reverse=True))
        if min(each) == 0:
            cautions.append("one side only")
        else:
            if not in_turn:
                cautions.append("order is time")
            if min(each) < LEAST_EACH:
                cautions.append("few stops")
        if times[-1] - times[0] > LONG_H:
            cautions.append("long trial")
        exponent, ln_load, comparable = _loads(stops, is_b, load_exponent, cautions)
        columns = [np.ones(len(stops)), is_b - 0.5, hours]
        if ln_load is not None:
            columns.append(ln_load)
        return Design(np.stack(columns, axis=1), hours, exponent, comparable, in_turn, tuple(cautions), each)


def _loads(
    stops: Sequence[Stop], is_b: NDArray[np.bool_], load_exponent: float | Range | None, cautions: list[Caution]
) -> tuple[tuple[float, float] | None, FloatArray | None, bool]:
    """β's mean and sd and centred ln(load) when the stops are adjusted; and whether the sides may be compared."""
    known = [None if s.load is None else positive(f"stop {i}, load", s.load) for i, s in enumerate(stops, start=1)]
    exponent = None if load_exponent is None else _mean_and_sd(load_exponent)
    if all(load is None for load in known):
        cautions.append("loads unknown")
        return None, None, True
    ln_known = np.array([math.nan if load is None else math.log(load) for load in known])
    whole = not np.isnan(ln_known).any()
    if not whole:
        cautions.append("loads partly known")
    sides = [ln_known[side & ~np.isnan(ln_known)] for side in (is_b, ~is_b)]
    apart = bool(all(s.size for s in sides) and abs(sides[0].mean() - sides[1].mean()) > math.log(UNLIKE_LOADS))
    if apart:
        cautions.append("loads differ")
    if whole and exponent is not None and ln_known.max() > ln_known.min():
        cautions.append("adjusted for load")
        return exponent, ln_known - ln_known.mean(), True
    return None, None, not apart


def _mean_and_sd(exponent: float | Range) -> tuple[float, float]:
    if not isinstance(exponent, Range):
        # As good as exact, and still a width the sampler can work in.
        return finite("load_exponent", exponent), 1e-6
    low, high = finite("load_exponent, low", exponent.low), finite("load_exponent, high", exponent.high)
    if not low < high:
        raise InputError("load_exponent", f"{low:g} to {high:g}", "is no range", "give the lower end first")
    return finite("load_exponent, median", exponent.median), (high - low) / (2.0 * float(ndtri(0.95)))
