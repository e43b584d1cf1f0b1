"""What does acting on a loss save, what does it cost, and how much can knowing more save on top?

The choice that ``worth`` puts a price on: act, or leave it. Method page: ``docs/method/worth.md``.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy.special import ndtr, ndtri

from chaffinch.engine.domain import FloatArray, Num, between, not_negative, positive, single
from chaffinch.engine.estimate import RANGE
from chaffinch.errors import InputError

NORMAL_SCORES: Final = np.linspace(-8.0, 8.0, 1601)
"""Evenly spaced normal scores [1]: a sum over them is exact to rounding for the mean of a lognormal."""
NORMAL_WEIGHTS: Final = np.exp(-0.5 * np.square(NORMAL_SCORES)) / np.exp(-0.5 * np.square(NORMAL_SCORES)).sum()
"""Weights of :data:`NORMAL_SCORES`, summing to 1."""


@dataclass(frozen=True, slots=True)
class Effect:
    """What acting does to the loss: loss after over loss before, as weighted draws.

    Attributes
    ----------
    ratio : ndarray, shape (k,)
        0 or more [1]; 0.8 means a fifth less.
    weights : ndarray, shape (k,)
        0 or more, summing to 1.
    """

    ratio: FloatArray
    weights: FloatArray

    def __post_init__(self) -> None:
        if np.ndim(self.ratio) != 1 or np.shape(self.ratio) != np.shape(self.weights):
            raise InputError("effect", np.shape(self.weights), "must have one weight per draw", "give two equal rows")
        not_negative("effect", self.ratio)
        total = float(np.sum(not_negative("effect weights", self.weights)))
        if abs(total - 1.0) > 1e-6:
            raise InputError("effect weights", total, "must sum to 1", "divide them by their sum")

    @property
    def mean(self) -> float:
        """Expected ratio [1]."""
        return float(self.weights @ self.ratio)


def effect_between(low: float, high: float) -> Effect:
    """Lognormal effect whose 90 % range is ``low`` to ``high``, as a trial or the reference gives it.

    Parameters
    ----------
    low, high : float
        5th and 95th percentile of loss after over loss before [1], above 0, at most 100; equal when known exactly.
    """
    low, high = (between("effect", positive("effect", single("effect", end)), 0.0, 100.0) for end in (low, high))
    if low > high:
        raise InputError("effect", (low, high), "must rise", "give the better end first: 0.6 to 0.95")
    sd_log = math.log(high / low) / (2.0 * -float(ndtri(RANGE[0])))
    if sd_log == 0.0:
        return Effect(np.array([low]), np.ones(1))
    return Effect(math.sqrt(low * high) * np.exp(sd_log * NORMAL_SCORES), NORMAL_WEIGHTS)


@dataclass(frozen=True, slots=True, kw_only=True)
class Choice:
    """The decision a measurement may change: act on the loss now, or leave it, for all the area left.

    Attributes
    ----------
    area_left_ha : float
        Area the decision holds for [ha], above 0.
    price_per_t : float
        Price of the grain [money/t], 0 or more.
    capacity_ha_h : float
        Field capacity [ha/h], above 0.
    stop_cost_per_h : float
        What an hour of standing still costs [money/h], 0 or more: ``work.standing_cost``, with the weather in its
        stop form.
    action_minutes : float
        Minutes that acting takes [min], 0 or more.
    action_other_cost : float
        What else it costs [money], 0 or more: parts, or the grain spoilt by it.
    effect : Effect
        Of a change that goes as meant.
    goes_wrong : float
        Probability that it does not, and does harm instead [1], 0 to below 1.
    harm_kg_ha : float
        What it then adds to the loss, whatever that was [kg/ha], 0 or more.
    """

    area_left_ha: float
    price_per_t: float
    capacity_ha_h: float
    stop_cost_per_h: float
    action_minutes: float
    effect: Effect
    action_other_cost: float = 0.0
    goes_wrong: float = 0.0
    harm_kg_ha: float = 0.0

    def __post_init__(self) -> None:
        for name in ("area_left_ha", "capacity_ha_h"):
            positive(name, single(name, getattr(self, name)))
        for name in ("price_per_t", "stop_cost_per_h", "action_minutes", "action_other_cost", "harm_kg_ha"):
            not_negative(name, single(name, getattr(self, name)))
        if not 0.0 <= single("goes_wrong", self.goes_wrong) < 1.0:
            raise InputError("goes_wrong", self.goes_wrong, "must be 0 or more and below 1", "give it as a share: 0.1")

    @property
    def sure_cost(self) -> float:
        """What acting costs however it goes: minutes and the rest [money]."""
        return self.standing(self.action_minutes) + self.action_other_cost

    @property
    def action_cost(self) -> float:
        """What acting is expected to cost [money]: the sure cost, and the harm with its probability."""
        harm_kg_ha = self.goes_wrong * self.harm_kg_ha
        return self.sure_cost + self.area_left_ha * self.price_per_t / 1000.0 * harm_kg_ha

    @property
    def saved_per_kg_ha(self) -> float:
        """Expected money that acting saves for each kg/ha of loss [money]; negative when it makes things worse."""
        right = 1.0 - self.goes_wrong
        return self.area_left_ha * self.price_per_t / 1000.0 * right * (1.0 - self.effect.mean)

    @property
    def break_even_loss_kg_ha(self) -> float | None:
        """Loss above which acting pays [kg/ha]; None when it never does."""
        return self.action_cost / self.saved_per_kg_ha if self.saved_per_kg_ha > 0.0 else None

    def gain(self, loss_kg_ha: Num) -> Num:
        """What acting is expected to gain at an expected loss [kg/ha], its cost taken off [money]; any shape."""
        return self.saved_per_kg_ha * loss_kg_ha - self.action_cost

    def standing(self, minutes: float) -> float:
        """What ``minutes`` of standing still cost [money]."""
        return minutes / 60.0 * self.stop_cost_per_h


def p_acting_pays(choice: Choice, loss_kg_ha: FloatArray, weights: FloatArray) -> float:
    """Probability over loss and effect together that acting saves more than it costs; going wrong, it never does.

    ``loss_kg_ha`` and ``weights`` are draws of the loss [kg/ha] and their weights, of equal shape (n,), summing to 1.
    """
    effect, order = choice.effect, np.argsort(choice.effect.ratio)
    below = np.append(0.0, np.cumsum(effect.weights[order]))
    stake = choice.area_left_ha * choice.price_per_t / 1000.0 * loss_kg_ha
    # Acting pays where ratio < 1 − cost/stake.
    with np.errstate(divide="ignore", invalid="ignore"):
        most = np.where(stake > 0.0, 1.0 - choice.sure_cost / stake, -math.inf)
    pays = weights @ below[np.searchsorted(effect.ratio[order], most, side="left")]
    return float((1.0 - choice.goes_wrong) * min(1.0, pays))


def saving_lognormal(choice: Choice, mean_kg_ha: float, sd_log: float) -> float:
    """Expected saving when the expected loss will turn out lognormal [money].

    E max(0, s·X − a) − max(0, s·E[X] − a) with X lognormal of mean ``mean_kg_ha`` [kg/ha] and log sd ``sd_log`` [1]:
    s·E[X]·Φ(d) − a·Φ(d − sd) less the second term, d = ln(s·E[X]/a)/sd + sd/2 (derived; the form of an option's
    price, Black and Scholes 1973, from memory).
    """
    stake, cost = choice.saved_per_kg_ha * positive("mean_kg_ha", mean_kg_ha), choice.action_cost
    if not_negative("sd_log", sd_log) == 0.0 or stake <= 0.0 or cost == 0.0:
        # The decision cannot change: never act, or always.
        return 0.0
    d = math.log(stake / cost) / sd_log + sd_log / 2.0
    # From whichever side is the smaller, so that a small saving is not the difference of two large numbers.
    if stake <= cost:
        return float(stake * ndtr(d) - cost * ndtr(d - sd_log))
    return float(cost * ndtr(sd_log - d) - stake * ndtr(-d))


def saving_normal(choice: Choice, mean_kg_ha: float, sd_kg_ha: float) -> float:
    """Expected saving when the expected loss will turn out normal [money]: s·sd·(φ(z) − z·Φ(−z)).

    z = |break-even − ``mean_kg_ha``| ÷ ``sd_kg_ha``; the bracket is the unit normal loss integral (textbook form, from
    memory). For small relative spread it agrees with :func:`saving_lognormal`.
    """
    limit, sd = choice.break_even_loss_kg_ha, not_negative("sd_kg_ha", sd_kg_ha)
    if limit is None or sd == 0.0:
        return 0.0
    z = abs(limit - mean_kg_ha) / sd
    density = math.exp(-0.5 * z * z) / math.sqrt(2.0 * math.pi)
    return choice.saved_per_kg_ha * sd * (density - z * float(ndtr(-z)))
