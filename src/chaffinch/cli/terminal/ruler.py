"""The ruler in characters: a rule in the person's own unit, the limit cut as a notch, the range as a bar.

::

      0         0.5        1         1.5        2        2.5
      ┬──────────┬─────────▽──────────┬─────────┬──────────┬  bu/ac
                  ━━━━━━━━━━╋━━━━━━━━━━━━━━━━━━━━━━
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

from chaffinch.book.figures import rounded
from chaffinch.engine.estimate import Range

LEAST_WIDTH: Final = 24


@dataclass(frozen=True, slots=True)
class Strokes:
    """The characters a ruler is drawn with."""

    rule: str
    tick: str
    notch: str
    bar: str
    middle: str
    beyond: str


FINE: Final = Strokes("─", "┬", "▽", "━", "╋", "▸")
PLAIN: Final = Strokes("-", "+", "v", "=", "|", ">")


def ruler(r: Range, unit: str, limit: float | None = None, *, width: int = 60, fine: bool = True) -> list[str]:
    """Draw a ruler.

    Parameters
    ----------
    r : Range
        The range, in ``unit``.
    unit : str
        Written at the end of the rule.
    limit : float or None
        Where the notch goes, in ``unit``.
    width : int
        Characters from 0 to the end of the rule, at least 24.
    fine : bool
        Box-drawing characters; False for plain ASCII.

    Returns
    -------
    list of str
        Three lines: numbers, rule, bar.
    """
    strokes = FINE if fine else PLAIN
    width = max(LEAST_WIDTH, width)
    # A limit far beyond the range would squeeze the bar to a dot: then the range sets the scale.
    reach = max(r.high, limit if limit is not None and limit < 3 * r.high else 0.0)
    step = _step(reach, most=max(3, width // 10))
    end = step * math.ceil(reach / step - 1e-9)
    places = max(0, -math.floor(math.log10(step) + 1e-9))

    def column(value: float) -> int:
        return min(width - 1, max(0, round(value / end * (width - 1))))

    numbers, rule, bar = [" "] * (width + 8), [strokes.rule] * width, [" "] * width
    for i in range(round(end / step) + 1):
        at = column(i * step)
        rule[at] = strokes.tick
        label = rounded(i * step, places)
        start = max(0, at - (len(label) - 1) // 2)
        numbers[start : start + len(label)] = label
    low, middle, high = column(r.low), column(r.median), column(r.high)
    bar[low : high + 1] = strokes.bar * (high - low + 1)
    bar[middle] = strokes.middle
    if limit is not None:
        rule[column(limit)] = strokes.notch if limit <= end else strokes.beyond
    return ["".join(numbers).rstrip(), "".join(rule) + f"  {unit}", "".join(bar).rstrip()]


def _step(reach: float, *, most: int) -> float:
    """Round step (1, 2, 5 × 10ⁿ) that divides ``reach`` into at most ``most`` parts."""
    raw = reach / most
    power = 10.0 ** math.floor(math.log10(raw))
    for factor in (1.0, 2.0, 5.0, 10.0):
        if factor * power >= raw * (1 - 1e-9):
            return factor * power
    return 10.0 * power
