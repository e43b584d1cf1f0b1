"""What does a hectare cost at each speed, and where is that least? Cost per draw of the curves, and the search.

C(v) = P/1000·loss(v) + H·time(v) [money/ha] (design §4.8). Used by ``pace``; method page ``docs/method/pace.md``.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from chaffinch.engine.domain import FloatArray, not_negative, share
from chaffinch.engine.estimate import DrawBelief, Range, range_of
from chaffinch.engine.pace.curves import Between, LossAtSpeeds
from chaffinch.engine.work import time_per_ha_constant_efficiency_h, time_per_ha_h
from chaffinch.errors import InputError

KG_PER_T: Final = 1000.0
_ROUNDING: Final = 1.0 + 1e-9  # a speed in mph that was tried, and its own figure in km/h

_SEARCHED: Final = 301
"""Speeds searched, evenly spaced in ln v; the least is then read off a parabola through three of them."""
_ROWS: Final = 1024
"""Draws handled at once: 1024 curves at 301 speeds are 2.5 MB."""


@dataclass(frozen=True, slots=True)
class SpeedRow:
    """One speed of the table: losses [kg/ha], time [h/ha] and costs [money/ha] there."""

    speed_kmh: float
    machine_kg_ha: Range
    header_kg_ha: Range | None
    loss_kg_ha: Range
    time_h_ha: float
    time_cost_per_ha: float
    loss_cost_per_ha: float
    """Expected."""
    cost_per_ha: Range
    mean_cost_per_ha: float
    tested: bool
    """Within the speeds the machine was checked at."""


class Cost:
    """Cost per hectare [money/ha] of each draw of the loss curves, at any speed within those listed.

    Parameters
    ----------
    loss : LossAtSpeeds
    width_m : float
        Width really cut [m], above 0.
    price_per_t, hour_cost_per_h : float
        Price [money/t] and hour cost [money/h], checked by the caller.
    lost_time_h_ha, constant_efficiency : float or None
        Exactly one of the two, as in ``pace.best_pace``.
    """

    def __init__(
        self,
        loss: LossAtSpeeds,
        *,
        width_m: float,
        price_per_t: float,
        hour_cost_per_h: float,
        lost_time_h_ha: float | None,
        constant_efficiency: float | None,
    ) -> None:
        if (lost_time_h_ha is None) == (constant_efficiency is None):
            mend = "give the lost time per hectare, or the efficiency to compare with a handbook"
            raise InputError("lost_time_h_ha", lost_time_h_ha, "or constant_efficiency: exactly one is needed", mend)
        self._lost = None if lost_time_h_ha is None else not_negative("lost_time_h_ha", lost_time_h_ha)
        self._efficiency = None if constant_efficiency is None else share("constant_efficiency", constant_efficiency)
        self._width_m = width_m
        self._per_kg, self._per_h = price_per_t / KG_PER_T, hour_cost_per_h
        self._curves = Between(loss)
        self._loss, self._weights = loss, loss.weights

    def time_h_ha(self, speed_kmh: FloatArray) -> FloatArray:
        """Time one hectare takes [h/ha], shape of ``speed_kmh``."""
        if self._efficiency is not None:
            return time_per_ha_constant_efficiency_h(speed_kmh, self._width_m, self._efficiency)
        return time_per_ha_h(speed_kmh, self._width_m, self._lost or 0.0)

    def time_cost_per_ha(self, speed_kmh: float) -> float:
        """Cost of that time [money/ha]."""
        return self._per_h * float(self.time_h_ha(np.array([speed_kmh]))[0])

    def loss_kg_ha(self, speed_kmh: float) -> FloatArray:
        """Loss of each draw at one speed [kg/ha], shape (n,)."""
        return self._curves.loss_kg_ha(np.array([speed_kmh]))[:, 0]

    def draws(self, speed_kmh: float) -> FloatArray:
        """Cost of each draw at one speed [money/ha], shape (n,)."""
        return self._per_kg * self.loss_kg_ha(speed_kmh) + self.time_cost_per_ha(speed_kmh)

    def mean(self, speed_kmh: FloatArray) -> FloatArray:
        """Expected cost at speeds of shape (k,) [money/ha], shape (k,)."""
        total = self._per_h * self.time_h_ha(speed_kmh)
        for rows in self._chunks():
            total = total + self._per_kg * (self._weights[rows] @ self._curves.loss_kg_ha(speed_kmh, rows))
        return total

    def least(self, low_kmh: float, high_kmh: float) -> tuple[float, int]:
        """Speed of the least expected cost within two speeds, and the end it stands on: −1 slow, 1 fast, 0 neither."""
        speeds = np.geomspace(low_kmh, high_kmh, _SEARCHED)
        at = int(np.argmin(self.mean(speeds)))
        first, last = max(at - 1, 0), min(at + 1, _SEARCHED - 1)
        # Once more between the neighbours: the vertex of the parabola is then right to about 1e-9.
        closer = np.geomspace(speeds[first], speeds[last], _SEARCHED)
        mean = self.mean(closer)
        again = int(np.argmin(mean))
        if again == 0 and first == 0:
            return low_kmh, -1
        if again == _SEARCHED - 1 and last == _SEARCHED - 1:
            return high_kmh, 1
        return float(_vertex(closer, mean[None, :])[0][0]), 0

    def own_least(self, low_kmh: float, high_kmh: float) -> tuple[FloatArray, FloatArray]:
        """Speed [km/h] of each draw's own least cost within two speeds, and that cost [money/ha]: shapes (n,)."""
        speeds = np.geomspace(low_kmh, high_kmh, _SEARCHED)
        time_cost = self._per_h * self.time_h_ha(speeds)
        found = [
            _vertex(speeds, self._per_kg * self._curves.loss_kg_ha(speeds, rows) + time_cost) for rows in self._chunks()
        ]
        return np.concatenate([speed for speed, _ in found]), np.concatenate([cost for _, cost in found])

    def band(self, low_kmh: float, high_kmh: float, best_kmh: float, most_per_ha: float) -> tuple[float, float]:
        """Speeds around the best one whose expected cost is at most ``most_per_ha``, within two speeds [km/h]."""
        ends = []
        for end in (low_kmh, high_kmh):
            speeds = np.geomspace(best_kmh, end, _SEARCHED)
            over = self.mean(speeds) - most_per_ha
            first = int(np.argmax(over > 0))
            if over[first] <= 0 or first == 0:
                ends.append(end if over[first] <= 0 else best_kmh)
                continue
            part = -over[first - 1] / (over[first] - over[first - 1])
            ends.append(float(speeds[first - 1] + part * (speeds[first] - speeds[first - 1])))
        return ends[0], ends[1]

    def table(self) -> tuple[SpeedRow, ...]:
        """One row for each speed listed."""
        rows = []
        slow, fast = self._loss.tested_kmh or (math.inf, -math.inf)
        told = self._loss.together_kg_ha()
        held = self._loss.held(told)
        # Where the sum is held at the yield, both parts give way alike.
        part_left = held / told
        for column, speed in enumerate(self._loss.speed_kmh.tolist()):
            left, both = part_left[:, column], held[:, column]
            machine = self._loss.machine_kg_ha[:, column] * left
            header = None if self._loss.header_kg_ha is None else self._loss.header_kg_ha[:, column] * left
            time_cost = self.time_cost_per_ha(speed)
            draws = self._per_kg * both + time_cost
            mean = self.expected(draws)
            rows.append(
                SpeedRow(
                    speed_kmh=speed,
                    machine_kg_ha=self.range(machine),
                    header_kg_ha=None if header is None else self.range(header),
                    loss_kg_ha=self.range(both),
                    time_h_ha=float(self.time_h_ha(np.array([speed]))[0]),
                    time_cost_per_ha=time_cost,
                    loss_cost_per_ha=mean - time_cost,
                    cost_per_ha=self.range(draws),
                    mean_cost_per_ha=mean,
                    tested=slow <= speed * _ROUNDING and speed <= fast * _ROUNDING,
                )
            )
        return tuple(rows)

    def range(self, draws: FloatArray) -> Range:
        """5 / 50 / 95 % points of one value per draw."""
        return range_of(DrawBelief(draws, self._weights))

    def probability(self, true: NDArray[np.bool_]) -> float:
        """Weight of the draws for which a condition of shape (n,) holds."""
        return float(min(1.0, self._weights[true].sum()))

    def expected(self, draws: FloatArray) -> float:
        """Mean of one value per draw."""
        return float(self._weights @ draws)

    def _chunks(self) -> list[slice]:
        return [slice(first, first + _ROWS) for first in range(0, self._weights.size, _ROWS)]


def _vertex(speeds: FloatArray, cost: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Speed and cost of the least of each row, by a parabola in ln v; a least at an end stays there."""
    rows = np.arange(len(cost))
    at = cost.argmin(axis=1)
    inner = np.clip(at, 1, speeds.size - 2)
    before, here, after = (cost[rows, inner + k] for k in (-1, 0, 1))
    bend = before - 2.0 * here + after
    # A row without a bend has its least at an end, where no parabola is used.
    shift = np.where((at == inner) & (bend > 0), 0.5 * (before - after) / np.where(bend > 0, bend, 1.0), 0.0)
    step = np.log(speeds[1] / speeds[0])
    return speeds[at] * np.exp(shift * step), cost[rows, at] - 0.25 * (before - after) * shift
