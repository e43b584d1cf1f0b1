"""Where does a value lie on a rule? Round ends and steps around what must be seen."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

from chaffinch.book.figures import rounded

LEAST_SPAN: Final = 1e-9
"""A span below which an axis shows one single value, in the axis's unit; no loss, speed or mass is told so finely."""


@dataclass(frozen=True, slots=True)
class Axis:
    """Round ends and steps around what must be seen, and where a value lies.

    Attributes
    ----------
    low, high, step : float
        In the unit of the axis.
    start, end : float
        Where ``low`` and ``high`` lie [px].
    """

    low: float
    high: float
    step: float
    start: float
    end: float

    @staticmethod
    def around(low: float, high: float, *, most: int, start: float, end: float) -> Axis:
        """An axis of at most ``most`` steps; a single value gets a step either side."""
        if not high - low > max(LEAST_SPAN, 1e-9 * max(abs(low), abs(high))):
            low, high = (0.0, 1.0) if abs(low) <= LEAST_SPAN else sorted((0.8 * low, 1.2 * low))
        step = step_of(high - low, most)
        return Axis(step * math.floor(low / step + 1e-9), step * math.ceil(high / step - 1e-9), step, start, end)

    def at(self, value: float) -> float:
        """Where a value lies [px], held within the axis."""
        share = (value - self.low) / (self.high - self.low)
        return self.start + min(1.0, max(0.0, share)) * (self.end - self.start)

    def ticks(self) -> list[float]:
        """Values at the steps."""
        return [self.low + i * self.step for i in range(round((self.high - self.low) / self.step) + 1)]

    def label(self, value: float) -> str:
        """A step's value with the digits the steps need."""
        return rounded(value, max(0, -math.floor(math.log10(self.step) + 1e-9)))


@dataclass(frozen=True, slots=True)
class ClockAxis(Axis):
    """Hours that go on beyond midnight: the sixth hour of the next day is 6 again, not 30."""

    def label(self, value: float) -> str:
        """The hour as a clock shows it."""
        return f"{value % 24:g}"


def step_of(reach: float, most: int) -> float:
    """Round step (1, 2, 5 × 10ⁿ) that divides ``reach`` into at most ``most`` parts."""
    raw = reach / most
    power = 10.0 ** math.floor(math.log10(raw))
    return next((f * power for f in (1.0, 2.0, 5.0) if f * power >= raw * (1 - 1e-9)), 10.0 * power)
