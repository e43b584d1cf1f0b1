"""What is the middle of each of many groups? Medians of runs, without a loop over records."""

from __future__ import annotations

import numpy as np

from chaffinch.fieldlog.rows import BoolArray, FloatArray, IntArray


def run_starts(same: IntArray) -> IntArray:
    """Where runs of equal neighbours start."""
    if not same.size:
        return np.zeros(0, np.int64)
    return np.flatnonzero(np.r_[True, same[1:] != same[:-1]])


def medians(values: FloatArray, starts: IntArray, least: int = 1) -> FloatArray:
    """Median of each run; NaN where fewer than ``least`` values are there. NaN in ``values`` does not count.

    ``starts`` are the starts of runs that follow each other to the end of ``values``.
    """
    found = np.full(starts.size, np.nan)
    ends = np.r_[starts[1:], values.size]
    for k, (a, b) in enumerate(zip(starts.tolist(), ends.tolist(), strict=True)):
        one = values[a:b]
        one = one[~np.isnan(one)]
        n = one.size
        if n < least or n == 0:
            continue
        half = n // 2
        if n % 2:
            found[k] = np.partition(one, half)[half]
        else:
            two = np.partition(one, (half - 1, half))
            found[k] = 0.5 * (two[half - 1] + two[half])
    return found


def spread_out(per_run: FloatArray, starts: IntArray, size: int) -> FloatArray:
    """A figure of each run, for each member."""
    return np.repeat(per_run, np.diff(np.r_[starts, size]))


def from_start(mask: BoolArray, starts: IntArray) -> BoolArray:
    """Members that stand before the first False of their run."""
    bad = np.cumsum(~mask)
    before = np.r_[0, bad][starts]
    found: BoolArray = bad == np.repeat(before, np.diff(np.r_[starts, mask.size]))
    return found


def sliding_mean(values: FloatArray, low: IntArray, high: IntArray) -> FloatArray:
    """Mean of ``values[low[i] : high[i] + 1]`` for each i; NaN does not count, NaN where nothing is there."""
    known = ~np.isnan(values)
    total = np.r_[0.0, np.cumsum(np.where(known, values, 0.0))]
    count = np.r_[0, np.cumsum(known)]
    n = count[high + 1] - count[low]
    with np.errstate(invalid="ignore", divide="ignore"):
        mean: FloatArray = (total[high + 1] - total[low]) / n
    return np.where(n > 0, mean, np.nan)
