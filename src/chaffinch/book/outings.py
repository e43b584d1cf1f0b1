"""Which stops belong to one day's work? Those less than eight hours apart, whatever the clock or its zone says.

A calendar day needs a zone, and cuts an evening in two where the book's UTC turns midnight.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from datetime import datetime
from typing import Final

GAP_H: Final = 8.0
"""Hours without a stop from which the next stop belongs to another outing [h]; own figure: a night's rest. Work round
the clock is one outing."""


def outings(taken_at: Sequence[str]) -> list[int]:
    """Number the outings of one place or machine by their stops' times.

    Parameters
    ----------
    taken_at : sequence of str
        Times of the stops, ISO 8601 with a zone, in any order.

    Returns
    -------
    list of int
        The outing of each stop, in the order given; 0 is the earliest.
    """
    moments = [datetime.fromisoformat(text) for text in taken_at]
    order = sorted(range(len(moments)), key=lambda k: moments[k])
    found, number = [0] * len(moments), 0
    for before, after in itertools.pairwise(order):
        if (moments[after] - moments[before]).total_seconds() >= GAP_H * 3600.0:
            number += 1
        found[after] = number
    return found
