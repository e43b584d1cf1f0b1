"""A small chart in characters: a curve with its range, the measured points with theirs, axes with units.

::

  kg/ha
    80 ┤                    │            ░░░
       │         │          ●      ░░░░░░░━━
    40 ┤  │      ●    ░░░░░░│░░░━━━━━━░░░░░░
       │  ●░░░░░░━━━━━━━━━━━━░░░░░░░░░
     0 ┼──────┬──────┬──────┬──────┬──────┬
       3      4      5      6      7      8   km/h
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from chaffinch.book.figures import rounded
from chaffinch.engine.estimate import Range

LEAST_WIDTH = 24
LEAST_HEIGHT = 5
BAND, MIDDLE, BAR, POINT, MARK = "░", "━", "│", "●", "▲"


@dataclass(frozen=True, slots=True)
class Curve:
    """A curve with its range: one Range per place along the x axis, x rising."""

    x: Sequence[float]
    y: Sequence[Range]


@dataclass(frozen=True, slots=True)
class Spot:
    """A measured point with its range."""

    x: float
    y: Range


def chart(
    curve: Curve | None,
    spots: Sequence[Spot],
    *,
    x_unit: str,
    y_unit: str,
    mark_x: float | None = None,
    width: int = 60,
    height: int = 10,
) -> list[str]:
    """Draw a chart.

    Parameters
    ----------
    curve : Curve or None
        Drawn below the points.
    spots : sequence of Spot
        Measured points; a range that reaches above the chart is cut at its upper edge with ``^``.
    x_unit, y_unit : str
        Written beside the axes.
    mark_x : float or None
        A place on the x axis to be pointed at from below.
    width, height : int
        Characters of the drawing itself, without labels; at least 24 by 5.

    Returns
    -------
    list of str
        The unit of the y axis, with the highest end of a range that is cut at the top; ``height`` rows, the rule, its
        numbers, and the mark when there is one.
    """
    width, height = max(LEAST_WIDTH, width), max(LEAST_HEIGHT, height)
    xs = [*(curve.x if curve else ()), *(s.x for s in spots), *([] if mark_x is None else [mark_x])]
    if not xs:
        raise ValueError("a chart needs a curve or a point")
    middles = [*(r.median for r in (curve.y if curve else ())), *(s.y.median for s in spots)]
    highs = [*(r.high for r in (curve.y if curve else ())), *(s.y.high for s in spots)]
    # One wide range must not press everything else flat: the axis ends at 1.6 times the highest middle.
    x_axis = _Axis.around(min(xs), max(xs), most=max(3, width // 9), zero=False)
    y_axis = _Axis.around(0.0, min(max(highs), 1.6 * max(middles)), most=max(2, height // 2), zero=True)
    cells = [[" "] * width for _ in range(height)]

    def column(x: float) -> int:
        return round((x - x_axis.low) / (x_axis.high - x_axis.low) * (width - 1))

    def row(y: float) -> int:
        return height - 1 - min(height - 1, max(0, round(y / y_axis.high * (height - 1))))

    if curve:
        for at in range(column(curve.x[0]), column(curve.x[-1]) + 1):
            r = _between(curve, x_axis.low + at / (width - 1) * (x_axis.high - x_axis.low))
            for line in range(row(r.high), row(r.low) + 1):
                cells[line][at] = BAND
            if r.median <= y_axis.reach:
                cells[row(r.median)][at] = MIDDLE
    for spot in spots:
        at = column(spot.x)
        for line in range(row(spot.y.high), row(spot.y.low) + 1):
            cells[line][at] = BAR
        if spot.y.high > y_axis.reach:
            cells[0][at] = "^"
    for spot in spots:
        if spot.y.median <= y_axis.reach:
            cells[row(spot.y.median)][column(spot.x)] = POINT
    lines = _framed(cells, x_axis, y_axis, (column, row), (x_unit, y_unit), mark_x)
    reach = y_axis.label(max(highs))
    if max(highs) > y_axis.reach and reach != y_axis.label(y_axis.high):
        lines[0] += f"   ranges reach {reach}"
    return lines


@dataclass(frozen=True, slots=True)
class _Axis:
    low: float
    high: float
    step: float

    @property
    def reach(self) -> float:
        """Its upper end, and a hair for the last digit of a float."""
        return self.high * (1.0 + 1e-9)

    @staticmethod
    def around(low: float, high: float, *, most: int, zero: bool) -> _Axis:
        """Round ends around what must be seen; one single value gets a step either side."""
        if high <= low:
            low, high = (0.0, max(high, 1.0)) if zero else (low * 0.8, high * 1.2)
        raw = (high - low) / most
        power = 10.0 ** math.floor(math.log10(raw))
        step = next(f * power for f in (1.0, 2.0, 5.0, 10.0) if f * power >= raw * (1 - 1e-9))
        return _Axis(step * math.floor(low / step + 1e-9), step * math.ceil(high / step - 1e-9), step)

    def ticks(self) -> list[float]:
        return [self.low + i * self.step for i in range(round((self.high - self.low) / self.step) + 1)]

    def label(self, value: float) -> str:
        return rounded(value, max(0, -math.floor(math.log10(self.step) + 1e-9)))


def _between(curve: Curve, x: float) -> Range:
    """The curve's range at x, straight between its places."""
    at = max(0, min(len(curve.x) - 2, sum(one <= x for one in curve.x) - 1))
    if len(curve.x) == 1:
        return curve.y[0]
    a, b = curve.y[at], curve.y[at + 1]
    t = min(1.0, max(0.0, (x - curve.x[at]) / (curve.x[at + 1] - curve.x[at])))
    return Range(*((1 - t) * p + t * q for p, q in ((a.low, b.low), (a.median, b.median), (a.high, b.high))))


def _framed(
    cells: list[list[str]],
    x_axis: _Axis,
    y_axis: _Axis,
    place: tuple[Callable[[float], int], Callable[[float], int]],
    units: tuple[str, str],
    mark_x: float | None,
) -> list[str]:
    """Put the axes around the drawing."""
    column, row = place
    labels = {row(value): y_axis.label(value) for value in y_axis.ticks() if value > 0}
    margin = max(len(text) for text in [*labels.values(), "0"])
    lines = [units[1].rjust(margin) if len(units[1]) <= margin else units[1]]
    for number, drawn in enumerate(cells):
        label = labels.get(number, "")
        lines.append(f"{label:>{margin}} {'┤' if label else '│'}{''.join(drawn)}".rstrip())
    rule, numbers = ["─"] * len(cells[0]), [" "] * (len(cells[0]) + 8)
    for value in x_axis.ticks():
        at, text = column(value), x_axis.label(value)
        rule[at] = "┬"
        start = max(0, at - (len(text) - 1) // 2)
        numbers[start : start + len(text)] = text
    lines.append(f"{'0':>{margin}} ┼{''.join(rule)}")
    lines.append(" " * (margin + 2) + "".join(numbers).rstrip() + f"  {units[0]}")
    if mark_x is not None:
        lines.append(" " * (margin + 2 + column(mark_x)) + MARK)
    return lines
