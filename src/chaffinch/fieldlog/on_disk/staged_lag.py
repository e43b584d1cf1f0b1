"""What is the delay of a machine in a field on disk? Found from the same records as in one held whole."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import numpy as np

from chaffinch.fieldlog.cleaning.lag import BLOCK, NOT_FOUND, Lag, flow_lag
from chaffinch.fieldlog.cleaning.passes import Course
from chaffinch.fieldlog.rows import BoolArray, IntArray, Rows
from chaffinch.fieldlog.settings import Settings

ARRAYS = ("x_m", "y_m", "clock_s", "stretch", "first", "last", "east", "north", "jumped", "turning", "pass_no")
"""Arrays of a way that have an entry for each record."""


def lag_in_pieces(pieces: Iterable[tuple[Course, Rows, IntArray]], count: int, settings: Settings) -> Lag:
    """The delay of one machine.

    Parameters
    ----------
    pieces : iterable of (Course, Rows, usable)
        Of a field, in order; passes numbered through the field; the records the delay may be found from.
    count : int
        How many of those there are in all pieces.
    settings : Settings
    """
    begin, end = max(0, count // 2 - BLOCK // 2), count // 2 + BLOCK // 2
    ways: list[Course] = []
    rows: list[Rows] = []
    usable: list[BoolArray] = []
    seen = held = 0
    for way, own, mine in pieces:
        chosen = mine[max(0, begin - seen) : max(0, end - seen)]
        seen += mine.size
        if chosen.size:
            reach = int(settings.lag_most_s / way.usual_s) + 1
            near, some, good = _around(way, own, chosen, reach, held)
            ways.append(near)
            rows.append(some)
            usable.append(good)
            held += len(rows[-1])
    if not ways:
        return NOT_FOUND
    columns = {name: np.concatenate([one.column(name) for one in rows]) for name in rows[0].columns}
    together = Rows(columns, np.concatenate([one.part for one in rows]), rows[0].parts)
    arrays: dict[str, Any] = {name: np.concatenate([getattr(way, name) for way in ways]) for name in ARRAYS}
    whole = Course(usual_s=ways[0].usual_s, pass_m=np.zeros(0), **arrays)
    return flow_lag(together, whole, np.concatenate(usable), settings)


def _around(way: Course, rows: Rows, chosen: IntArray, reach: int, held: int) -> tuple[Course, Rows, BoolArray]:
    """Some records with what lies within ``reach`` of them in their stretches, as if nothing else were there.

    ``held`` records stand before them where they are put together with others.
    """
    cover = np.zeros(len(rows) + 1, np.int64)
    np.add.at(cover, np.maximum(chosen - reach, way.first[chosen]), 1)
    np.add.at(cover, np.minimum(chosen + reach, way.last[chosen]) + 1, -1)
    keep = np.flatnonzero(np.cumsum(cover[:-1]) > 0)
    broken = np.r_[True, (np.diff(keep) > 1) | (np.diff(way.stretch[keep]) != 0)]
    run = np.cumsum(broken) - 1
    starts = np.flatnonzero(broken)
    ends = np.r_[starts[1:], keep.size] - 1
    arrays: dict[str, Any] = {name: getattr(way, name)[keep] for name in ARRAYS}
    arrays |= {"first": held + starts[run], "last": held + ends[run]}
    usable = np.zeros(len(rows), np.bool_)
    usable[chosen] = True
    return Course(usual_s=way.usual_s, pass_m=way.pass_m, **arrays), rows.where(keep), usable[keep]
