"""How did the loss move over the hours of the day? Checks by their hour, each with its range."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final

from chaffinch.book.times import local
from chaffinch.engine.estimate import Range
from chaffinch.paper import drawing
from chaffinch.paper.drawing import Chart, Drawing
from chaffinch.paper.words import words

FEWEST: Final = 2
"""Checks below which a course over the day shows nothing."""
SHORT_SPAN_H: Final = 7.0
"""Hours up to which each has its own number on the rule; own figure."""


def day_drawing(
    checks: Sequence[tuple[str, Range]], unit: str, *, name: str = "day", spots: Sequence[drawing.Spot] = ()
) -> Drawing | None:
    """Losses by the hour on this computer's clock; None for fewer than two checks.

    Parameters
    ----------
    checks : sequence of (str, Range)
        When each was taken, in UTC, and its loss in ``unit``.
    unit, name : str
        As for :func:`chaffinch.paper.drawing.chart`.
    spots : sequence of Spot
        Where each check's point leads; empty where they lead nowhere.
    """
    if len(checks) < FEWEST:
        return None
    points = [(hour_of(taken_at), r) for taken_at, r in checks]
    first, last = min(hour for hour, _ in points), max(hour for hour, _ in points)
    return drawing.chart(
        Chart(None, points, "h", unit, x_ends=_hours(first, last), spots=spots),
        title=words("day.drawing", unit=unit),
        about=words("day.about", n=len(points), first=clock(first), last=clock(last)),
        name=name,
    )


def _hours(first: float, last: float) -> tuple[float, float, float]:
    """Ends and step of a rule of hours: whole hours in a short span, every third in a long one."""
    step = 1.0 if last - first <= SHORT_SPAN_H else 3.0
    low, high = step * math.floor(first / step), step * math.ceil(last / step)
    return low, high if high > low else low + step, step


def hour_of(utc: str) -> float:
    """Hours since midnight on this computer's clock."""
    hours, minutes = local(utc)[11:16].split(":")
    return int(hours) + int(minutes) / 60.0


def clock(hour: float) -> str:
    """``7.5`` → ``07:30``."""
    minutes = round(60 * hour)
    return f"{minutes // 60:02d}:{minutes % 60:02d}"
