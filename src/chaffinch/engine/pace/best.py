"""How fast should this machine go, here and today? Grain lost against time spent.

Cost per hectare C(v) = P/1000·(λ_machine + λ_header)(v) + H·time(v) (design §4.8): its posterior mean is made least,
within 10 % of the speeds the machine was checked at. Equations, the rule behind the advice, limits and a worked
example: ``docs/method/pace.md``. What fell before harvest does not change with speed and is left out.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
from scipy.special import ndtr, ndtri

from chaffinch.engine.domain import Num, between, not_negative, positive, single
from chaffinch.engine.estimate import CLEAR, Range
from chaffinch.engine.pace.cost import Cost, SpeedRow
from chaffinch.engine.pace.curves import LossAtSpeeds
from chaffinch.engine.work import spot_capacity_ha_h
from chaffinch.errors import InputError

Advice = Literal["slower", "faster", "stay", "not settled"]
Edge = Literal["slowest tested", "fastest tested", "slowest given", "fastest given", "fastest allowed"]
Remark = Literal[
    "time costs nothing",
    "grain costs nothing",
    "not tested",
    "header not measured",
    "may lie beyond",
    "beyond tested",
    "today far from tested",
    "more than the crop",
    "slope not learned",
]

BAND_SHARE: Final = 0.01
"""Expected extra cost that counts as none, as a share of the least cost [1] (design §4.8)."""
SLOPE_LEAN: Final = 1.3 / 0.8
"""Mean over sd of the prior of the machine's slope β ~ N(1.3, 0.8) [1] (design §4.7): how far it leans, in its own
sds, to "loss rises with speed" before this machine has shown anything."""

HELD_SEEN: Final = 0.05
"""Share of the draws held at the yield from which that is told [1]: the upper end of the range then is the yield."""
_ROUNDING: Final = 1.0 + 1e-9
"""Room for the rounding of exp(ln v) when two speeds are compared."""


@dataclass(frozen=True, slots=True)
class Today:
    """Today's speed against the best one.

    Attributes
    ----------
    speed_kmh : float
        Today's speed [km/h].
    extra_per_ha, extra_per_h : Range
        What it costs more than the best pace [money/ha] and [money/h of combining]; negative where it costs less.
    mean_extra_per_ha : float
        Expected [money/ha].
    p_too_fast : float
        Probability that the best speed, if the curve were known, is slower than today's.
    p_saves : float
        Probability that going from today's speed to the best pace lowers the cost.
    p_needed : float
        What ``p_saves`` has to reach for advice to move: 0.8, and for "slower" more, the less of the slope was learned.
    """

    speed_kmh: float
    extra_per_ha: Range
    mean_extra_per_ha: float
    extra_per_h: Range
    p_too_fast: float
    p_saves: float
    p_needed: float


@dataclass(frozen=True, slots=True)
class Pace:
    """The best pace and what it rests on.

    Attributes
    ----------
    best_kmh : float
        Speed with the least expected cost, among those that may be recommended [km/h].
    band_kmh : tuple of float
        Speeds around it whose expected extra cost is at most ``tolerance_per_ha`` [km/h].
    tolerance_per_ha : float
        1 % of the least expected cost or one currency unit, whichever is larger [money/ha].
    own_best_kmh : Range
        Where the best speed lies, were the curve known: each draw's own [km/h].
    p_at_edges : tuple of float
        Probability that it lies at (or beyond) the slowest and the fastest speed that may be recommended.
    loss_at_best_kg_ha : Range
        Loss at the best pace [kg/ha].
    mean_cost_per_ha, loss_cost_per_ha, time_cost_per_ha : float
        Expected cost at the best pace and its two parts [money/ha].
    knowing_per_ha : float
        What knowing the curve exactly could still save, on average [money/ha].
    at_edge : Edge or None
        Which end of the speeds the best pace stands on.
    machine_only : bool
        True when header loss was not measured.
    today : Today or None
    advice : Advice
        Which way to go from today's speed; "not settled" without one.
    table : tuple of SpeedRow
        One row for each speed given.
    remarks : tuple of Remark
        What a reader must know; worded where pages are (``book.pace_said``).
    """

    best_kmh: float
    band_kmh: tuple[float, float]
    tolerance_per_ha: float
    own_best_kmh: Range
    p_at_edges: tuple[float, float]
    loss_at_best_kg_ha: Range
    mean_cost_per_ha: float
    loss_cost_per_ha: float
    time_cost_per_ha: float
    knowing_per_ha: float
    at_edge: Edge | None
    machine_only: bool
    today: Today | None
    advice: Advice
    table: tuple[SpeedRow, ...]
    remarks: tuple[Remark, ...]

    @property
    def limit_that_pays_kg_ha(self) -> Range | None:
        """Loss above which going slower pays [kg/ha]: the loss at the best pace; None when that is on an edge."""
        return None if self.at_edge else self.loss_at_best_kg_ha


def break_even_loss_kg_ha(
    speed_kmh: Num, *, width_m: float, hour_cost_per_h: float, price_per_t: float, exponent: float
) -> Num:
    """Return the loss at which going slower and going faster balance [kg/ha]: 1000·H·10/(v·W)/(n·P).

    Parameters
    ----------
    speed_kmh : float or array
        Ground speed v [km/h], above 0.
    width_m, hour_cost_per_h, price_per_t : float
        Width W [m], hour cost H [money/h] and price P [money/t], above 0.
    exponent : float
        n of loss ~ v^n at this speed [1], above 0: where loss does not rise with speed nothing balances.

    Notes
    -----
    From v·dC/dv = 0 (derived). Only the part of the loss that rises so counts. Lost time does not change with speed
    and drops out; for an efficiency e held constant as in handbooks, give W·e as the width.
    """
    cutting_cost_per_ha = positive("hour_cost_per_h", hour_cost_per_h) / spot_capacity_ha_h(speed_kmh, width_m)
    return 1000.0 * cutting_cost_per_ha / (positive("exponent", exponent) * positive("price_per_t", price_per_t))


def best_pace(
    loss: LossAtSpeeds,
    *,
    width_m: float,
    price_per_t: float,
    hour_cost_per_h: float,
    lost_time_h_ha: float | None = None,
    constant_efficiency: float | None = None,
    today_kmh: float | None = None,
    fastest_kmh: float | None = None,
    slope_learned: float | None = None,
    slope_lean: float = SLOPE_LEAN,
    one_currency_unit: float = 1.0,
) -> Pace:
    """Find the speed at which grain lost and time spent cost least together.

    Parameters
    ----------
    loss : LossAtSpeeds
        Draws of the loss curves.
    width_m : float
        Width really cut [m], above 0.
    price_per_t : float
        Price of the grain [money/t], 0 or more.
    hour_cost_per_h : float
        What one more hour of combining costs [money/h], 0 or more: ``work.HourCost.total_per_h`` or one figure.
    lost_time_h_ha, constant_efficiency : float or None
        Exactly one: time per hectare not spent cutting [h/ha, 0 or more], from ``work.lost_time_h_ha``; or a field
        efficiency [share, (0, 1]] held the same at every speed, for comparison with handbooks only.
    today_kmh : float or None
        Today's speed [km/h], within the speeds of ``loss``.
    fastest_kmh : float or None
        Speed that ground, header or engine do not allow to pass [km/h].
    slope_learned : float or None
        1 − (posterior sd ÷ prior sd) of the machine's slope [1], −1 to 1. None: the slope was not learned, and the
        advice is never "slower".
    slope_lean : float
        Mean over sd of that prior [1], 0 to 10; with several combines, of what the others lead one to expect of this
        one.
    one_currency_unit : float
        Extra cost per hectare that counts as none in this currency [money/ha], 0 or more.

    Returns
    -------
    Pace

    Raises
    ------
    InputError
        For any of them out of its range, for a price and an hour cost that are both 0, and where no speed is left to
        choose from.
    """
    price = not_negative("price_per_t", single("price_per_t", price_per_t))
    hour = not_negative("hour_cost_per_h", single("hour_cost_per_h", hour_cost_per_h))
    if price == 0.0 and hour == 0.0:
        mend = "enter the hour cost and the price of the grain"
        raise InputError("hour_cost_per_h", hour, "is 0 like the price, so that no speed costs anything", mend)
    unit = not_negative("one_currency_unit", single("one_currency_unit", one_currency_unit))
    low, high, high_edge = _ends(loss, fastest_kmh)
    cost = Cost(
        loss,
        width_m=single("width_m", width_m),
        price_per_t=price,
        hour_cost_per_h=hour,
        lost_time_h_ha=lost_time_h_ha,
        constant_efficiency=constant_efficiency,
    )
    best, end = cost.least(low, high)
    at_edge = (_low_edge(loss, low), None, high_edge)[end + 1]
    here = cost.draws(best)
    least, time_cost = cost.expected(here), cost.time_cost_per_ha(best)
    tolerance = max(BAND_SHARE * least, unit)
    band = cost.band(low, high, best, least + tolerance)
    own_speed, own_least = cost.own_least(low, high)
    remarks = _remarks(loss, best, at_edge, price, hour)

    today: Today | None = None
    advice: Advice = "not settled"
    if today_kmh is not None:
        speed = _today_speed(loss, today_kmh)
        needed = _p_needed(speed, best, slope_learned, slope_lean)
        today = _today(cost, speed, best, (low, high), needed)
        left_to_gain = cost.draws(speed) - np.minimum(own_least, cost.draws(speed))
        p_little = cost.probability(left_to_gain <= tolerance)
        advice, more = _advice(today, best, band, p_little)
        remarks += more
        if not low <= speed <= high and loss.tested_kmh is not None:
            remarks.append("today far from tested")
    if {"time costs nothing", "grain costs nothing", "not tested", "today far from tested"} & set(remarks):
        # A figure or a check that is missing must not send anybody anywhere, and nobody checked so far out.
        advice = "not settled"
    return Pace(
        best_kmh=best,
        band_kmh=band,
        tolerance_per_ha=tolerance,
        own_best_kmh=cost.range(own_speed),
        p_at_edges=(cost.probability(own_speed <= low * _ROUNDING), cost.probability(own_speed >= high / _ROUNDING)),
        loss_at_best_kg_ha=cost.range(cost.loss_kg_ha(best)),
        mean_cost_per_ha=least,
        loss_cost_per_ha=least - time_cost,
        time_cost_per_ha=time_cost,
        # Never below 0 but for the last digits of two parabolas.
        knowing_per_ha=max(0.0, least - cost.expected(own_least)),
        at_edge=at_edge,
        machine_only=loss.header_kg_ha is None,
        today=today,
        advice=advice,
        table=cost.table(),
        remarks=tuple(remarks),
    )


def _ends(loss: LossAtSpeeds, fastest_kmh: float | None) -> tuple[float, float, Edge]:
    """Slowest and fastest speed that may be recommended [km/h], and what the fast end is."""
    low, high = loss.recommendable_kmh()
    edge: Edge = "fastest given" if high == loss.speed_kmh[-1] else "fastest tested"
    if fastest_kmh is None:
        return low, high, edge
    fastest = positive("fastest_kmh", single("fastest_kmh", fastest_kmh))
    if fastest <= low:
        problem = f"must be above {low:.3g} km/h, the slowest speed that may be recommended"
        raise InputError("fastest_kmh", fastest, problem, "check the machine at a slower speed first")
    return (low, fastest, "fastest allowed") if fastest < high else (low, high, edge)


def _low_edge(loss: LossAtSpeeds, low_kmh: float) -> Edge:
    return "slowest given" if low_kmh == loss.speed_kmh[0] else "slowest tested"


def _remarks(loss: LossAtSpeeds, best: float, at_edge: Edge | None, price: float, hour: float) -> list[Remark]:
    found: list[Remark] = []
    if hour == 0.0:
        found.append("time costs nothing")
    if price == 0.0:
        found.append("grain costs nothing")
    if loss.tested_kmh is None:
        found.append("not tested")
    elif not loss.tested_kmh[0] <= best * _ROUNDING or not best <= loss.tested_kmh[1] * _ROUNDING:
        found.append("beyond tested")
    if loss.header_kg_ha is None:
        found.append("header not measured")
    if at_edge and at_edge != "fastest allowed" and hour > 0.0 and price > 0.0:
        found.append("may lie beyond")
    if loss.yield_kg_ha is not None and (loss.weights @ (loss.together_kg_ha() > loss.yield_kg_ha)).max() > HELD_SEEN:
        found.append("more than the crop")
    return found


def _today_speed(loss: LossAtSpeeds, today_kmh: float) -> float:
    low, high = float(loss.speed_kmh[0]), float(loss.speed_kmh[-1])
    return between("today_kmh", single("today_kmh", today_kmh), low, high, "give the loss at today's speed too")


def _today(cost: Cost, speed: float, best: float, ends: tuple[float, float], needed: float) -> Today:
    extra = cost.draws(speed) - cost.draws(best)
    per_ha = cost.range(extra)
    # Searched as far as today's speed: beyond the speeds tried, every best pace would count as slower.
    own_speed, _ = cost.own_least(min(ends[0], speed), max(ends[1], speed))
    ha_h = 1.0 / float(cost.time_h_ha(np.array([speed]))[0])
    return Today(
        speed_kmh=speed,
        extra_per_ha=per_ha,
        mean_extra_per_ha=cost.expected(extra),
        extra_per_h=per_ha.times(ha_h),
        p_too_fast=cost.probability(own_speed * _ROUNDING < speed),
        p_saves=cost.probability(extra > 0.0),
        p_needed=needed,
    )


def _p_needed(speed: float, best: float, slope_learned: float | None, slope_lean: float) -> float:
    """What P(saves) must reach: 0.8, and for going slower so much more as the slope's prior leans to that answer.

    Seen with an even-handed prior N(0, sd₀²) the posterior mean of a slope is (1 − ℓ)·m₀/sd₀ posterior sds less than
    with N(m₀, sd₀²), ℓ the share learned: normal theory, with sd = (1 − ℓ)·sd₀ (derived).
    """
    lean = between("slope_lean", single("slope_lean", slope_lean), 0.0, 10.0)
    if slope_learned is not None:
        mend = "give 1 − (sd after ÷ sd before) of the slope"
        slope_learned = between("slope_learned", single("slope_learned", slope_learned), -1.0, 1.0, mend)
    if best >= speed:
        return CLEAR
    # Without a word about the slope no probability is enough.
    return 1.0 if slope_learned is None else float(ndtr(ndtri(CLEAR) + (1.0 - slope_learned) * lean))


def _advice(today: Today, best: float, band: tuple[float, float], p_little: float) -> tuple[Advice, list[Remark]]:
    if band[0] <= today.speed_kmh <= band[1]:
        return ("stay" if p_little >= CLEAR else "not settled"), []
    if best > today.speed_kmh:
        return ("faster" if today.p_saves >= today.p_needed else "not settled"), []
    if today.p_needed < 1.0 and today.p_saves >= today.p_needed:
        return "slower", []
    return "not settled", ["slope not learned"] if today.p_saves >= CLEAR else []
