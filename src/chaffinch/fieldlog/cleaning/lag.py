"""How long does grain take from the knife to the sensor? Found from neighbouring passes in opposite directions.

A delay moves the map forward along the way of travel: on passes up and down, rich and poor places move apart. The lag
is the shift at which neighbouring opposite passes agree best::

    score(L) = mean of min(|ln z_i(L) − ln z_j(L)|, 1),    z_i(L) = flow at t_i + L ÷ (speed_i · width_i)

over pairs (i, j) of nearest records on opposite passes. The same passes drawn anew with replacement give its spread.
What is filled up in the machine spreads grain over seconds besides; that is left as it is.

Source: idea common to the reviews (Sudduth and Drummond 2007; Lyle et al. 2014, abstracts printed); this form is own.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from chaffinch.fieldlog.cleaning.passes import Course
from chaffinch.fieldlog.rows import BoolArray, FloatArray, IntArray, Rows
from chaffinch.fieldlog.settings import Settings

BLOCK: Final = 12_000
"""Records that neighbours are sought among [1]; a stretch from the middle of the log."""
PAIRS: Final = 4_000
"""Most pairs a lag is found from [1]."""
LEAST_PAIRS: Final = 150
LEAST_PASSES: Final = 4
NEAR_WIDTHS: Final = 1.6
"""Farthest neighbour [widths]: the next pass, not the one after."""
OPPOSITE: Final = -0.94
"""Cosine of headings that are opposite [1]: within 20 degrees."""
NEIGHBOURS: Final = 24
DRAWS: Final = 40
CLEAR: Final = 4.0
"""How many sds the best score must lie below the middle of all [1]. Own figure."""
LEAST_FLOW: Final = 1e-3


@dataclass(frozen=True, slots=True)
class Lag:
    """Delay of the flow.

    Parameters
    ----------
    seconds : float
        Grain measured at t was cut at t − seconds; 0 where none was found, or it lies within two sds of none.
    sd_s : float
        Its standard deviation [s]; NaN where none was found.
    pairs : int
        Pairs of records it rests on.
    found : bool
        Whether the passes tell a lag at all.
    timed : bool
        Whether the log tells a time; else each record stands for a second, and ``seconds`` are records.
    """

    seconds: float
    sd_s: float
    pairs: int
    found: bool
    timed: bool = True


NOT_FOUND: Final = Lag(0.0, float("nan"), 0, False)


def flow_lag(rows: Rows, way: Course, usable: BoolArray, settings: Settings) -> Lag:
    """Find the lag of one machine.

    Parameters
    ----------
    rows : Rows
    way : Course
    usable : bool array
        Records of this machine on passes, with sound position and speed.
    settings : Settings
        ``lag_most_s`` both ways.
    """
    flow, load = rows.column("flow_kg_s"), rows.column("speed_kmh") * rows.column("width_m")
    with np.errstate(invalid="ignore"):
        usable = usable & (flow > 0) & (load > 0) & ~np.isnan(way.east)
    mine = np.flatnonzero(usable)
    if mine.size < LEAST_PAIRS or settings.lag_most_s == 0.0:
        return NOT_FOUND
    middle = mine.size // 2
    mine = mine[max(0, middle - BLOCK // 2) : middle + BLOCK // 2]
    i, j = _pairs(way, mine, float(np.nanmedian(rows.column("width_m")[mine])))
    if i.size < LEAST_PAIRS or np.unique(way.pass_no[i]).size < LEAST_PASSES:
        return Lag(0.0, float("nan"), int(i.size), False)
    steps = int(settings.lag_most_s / way.usual_s)
    lags = np.arange(-steps, steps + 1)
    off = np.empty((lags.size, i.size))
    ln_load = np.log(np.where(usable, load, 1.0))
    with np.errstate(invalid="ignore", divide="ignore"):
        ln_flow = np.log(np.maximum(flow, LEAST_FLOW))
    for row, lag in enumerate(lags.tolist()):
        z_i, z_j = (_at(ln_flow, way, k, lag) - ln_load[k] for k in (i, j))
        off[row] = np.minimum(np.abs(z_i - z_j), 1.0)
    kept = ~np.isnan(off).any(axis=0)
    if kept.sum() < LEAST_PAIRS:
        return Lag(0.0, float("nan"), int(kept.sum()), False)
    off, groups = off[:, kept], way.pass_no[i][kept]
    score = off.mean(axis=1)
    best = _lowest(lags, score)
    draws = _redrawn(off, groups)
    at = int(np.argmin(score))
    # How far the best lies below the middle of all, in each draw: the same pairs in both, so they vary together.
    depth = np.median(draws, axis=0) - draws[at]
    clear = float(depth.mean()) > CLEAR * float(depth.std()) and 0 < at < lags.size - 1
    # Records are a step apart: where between two of them grain was cut nobody knows.
    sd = float(np.hypot(np.std([_lowest(lags, draws[:, k]) for k in range(draws.shape[1])]), 1.0 / np.sqrt(12.0)))
    if not clear:
        return Lag(0.0, float("nan"), int(kept.sum()), False)
    # A lag that may as well be none is none: shifting by noise gains nothing.
    seconds = best * way.usual_s if abs(best) > 2.0 * sd else 0.0
    timed = "interval_s" in rows or not np.isnan(rows.column("time_s")).all()
    return Lag(seconds, sd * way.usual_s, int(kept.sum()), True, timed)


def shifted_flow(flow: FloatArray, way: Course, seconds: float) -> FloatArray:
    """Flow of the grain that was cut at each record: what the sensor saw ``seconds`` later, in the same stretch."""
    if seconds == 0.0:
        return flow
    n = flow.size
    wanted = way.clock_s + seconds
    right = np.searchsorted(way.clock_s, wanted, side="left")
    # Where a stretch begins at the very time another ended, its own first record is meant.
    right = np.clip(np.maximum(right, way.first), 0, n - 1)
    left = np.maximum(right - (way.clock_s[right] > wanted), 0)
    span = way.clock_s[right] - way.clock_s[left]
    with np.errstate(invalid="ignore", divide="ignore"):
        share = np.where(span > 0, (wanted - way.clock_s[left]) / span, 0.0)
    value = flow[left] + np.where(span > 0, share * (flow[right] - flow[left]), 0.0)
    same = (way.stretch[left] == way.stretch) & (way.stretch[right] == way.stretch)
    reached = (wanted <= way.clock_s[way.last]) & (wanted >= way.clock_s[way.first])
    return np.where(same & reached, value, np.nan)


def _at(values: FloatArray, way: Course, k: IntArray, lag: int) -> FloatArray:
    """Values ``lag`` records later, NaN beyond the stretch."""
    there = k + lag
    inside = (there >= way.first[k]) & (there <= way.last[k])
    return np.where(inside, values[np.clip(there, 0, values.size - 1)], np.nan)


def _pairs(way: Course, mine: IntArray, width_m: float) -> tuple[IntArray, IntArray]:
    """Records and their nearest on an opposite pass, each at most ``NEAR_WIDTHS`` widths away."""
    from scipy.spatial import cKDTree

    points = np.stack([way.x_m[mine], way.y_m[mine]], axis=1)
    asked = mine[:: max(1, mine.size // PAIRS)]
    tree = cKDTree(points)
    reach = NEAR_WIDTHS * width_m
    _, near = tree.query(np.stack([way.x_m[asked], way.y_m[asked]], axis=1), k=NEIGHBOURS, distance_upper_bound=reach)
    there = near < mine.size
    other = mine[np.minimum(near, mine.size - 1)]
    along = way.east[asked][:, None] * way.east[other] + way.north[asked][:, None] * way.north[other]
    opposite = along < OPPOSITE
    good = there & opposite & (way.pass_no[other] != way.pass_no[asked][:, None])
    first = np.argmax(good, axis=1)  # neighbours come nearest first
    any_of_them = good.any(axis=1)
    return asked[any_of_them], other[np.arange(asked.size), first][any_of_them]


def _lowest(lags: IntArray, score: FloatArray) -> float:
    """Place of the lowest score, by a parabola through it and its neighbours."""
    at = int(np.argmin(score))
    if not 0 < at < score.size - 1:
        return float(lags[at])
    left, middle, right = score[at - 1], score[at], score[at + 1]
    bend = left - 2.0 * middle + right
    return float(lags[at] + (0.5 * (left - right) / bend if bend > 0 else 0.0))


def _redrawn(off: FloatArray, groups: IntArray) -> FloatArray:
    """Scores with passes drawn anew, shape (lags, draws): records of a pass err together."""
    names, member = np.unique(groups, return_inverse=True)
    sums = np.stack([np.bincount(member, row, minlength=names.size) for row in off])
    counts = np.bincount(member, minlength=names.size)
    rng = np.random.default_rng(names.size)  # the same log gives the same answer
    weight = rng.multinomial(names.size, np.full(names.size, 1.0 / names.size), size=DRAWS).T
    found: FloatArray = (sums @ weight) / np.maximum(counts @ weight, 1)
    return found
