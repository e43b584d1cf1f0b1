"""Which hours of the day are worth combining, how fast, and when should somebody check again?

For each hour the curves stand at its toughness (:mod:`.day_losses`), and the pace is the one that costs least there
(:mod:`.pace_cost`), within 10 % of the speeds this machine was checked at. The hours that finish the area are the
cheapest ones, the waiting of the crop included. Equations, limits and a worked example: ``docs/method/day.md``.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final, Literal

import numpy as np

from chaffinch.engine.air.lag import GrainCourse
from chaffinch.engine.day.losses import DayLosses
from chaffinch.engine.domain import FloatArray, finite, not_negative, positive, single
from chaffinch.engine.estimate import DrawBelief, Range, range_of
from chaffinch.engine.pace.best import BAND_SHARE
from chaffinch.engine.pace.cost import Cost
from chaffinch.errors import InputError

NEAR_LEAST: Final = 0.25
"""Without an area, hours that cost at most this share more than the cheapest are named [1]; own figure."""
HOURS_IN_DAY: Final = 24.0

Edge = Literal["slowest", "fastest"]
Why = Literal["not a working hour", "grain too moist"]
"""Why an hour is not to be worked at all."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Job:
    """What an hour costs and what is left to do.

    Attributes
    ----------
    width_m : float
        Width really cut [m].
    price_per_t, hour_cost_per_h : float
        [money/t], [money/h]
    lost_time_h_ha : float
        Time per hectare not spent cutting [h/ha].
    area_left_ha : float or None
        What these hours are to finish [ha]; None: not told.
    wait_per_ha_day : float
        What a hectare loses by standing a day longer [money/(ha·day)], 0 or more.
    most_moisture_pct : float or None
        Moisture above which grain is not taken in [% wet basis].
    fastest_kmh : float or None
        Speed that must not be passed [km/h].
    one_currency_unit : float
        Extra cost per hectare that counts as none [money/ha].
    """

    width_m: float
    price_per_t: float
    hour_cost_per_h: float
    lost_time_h_ha: float
    area_left_ha: float | None = None
    wait_per_ha_day: float = 0.0
    most_moisture_pct: float | None = None
    fastest_kmh: float | None = None
    one_currency_unit: float = 1.0


@dataclass(frozen=True, slots=True)
class Hour:
    """One hour of the plan; every figure is of its beginning.

    Attributes
    ----------
    toughness : float
        Of the straw [share].
    grain_pct : Range or None
        Moisture of the grain [% wet basis]; None where the crop has no isotherm.
    best_kmh, band_kmh, at_edge
        Pace with the least expected cost, the speeds that cost about the same [km/h], and the end it stands on.
    machine_kg_ha, header_kg_ha, loss_kg_ha : Range
        Loss at that pace [kg/ha]; header None where it was not measured, and then not in the sum.
    ha_h : float
        Area done in the hour [ha].
    loss_per_ha, time_per_ha, wait_per_ha : float
        What the hectare costs in grain, time and waiting [money/ha], expected.
    cost_per_ha : Range
        Grain and time together.
    why_not : Why or None
    worked : float
        Share of the hour that the plan works [0 to 1].
    """

    toughness: float
    grain_pct: Range | None
    best_kmh: float
    band_kmh: tuple[float, float]
    at_edge: Edge | None
    machine_kg_ha: Range
    header_kg_ha: Range | None
    loss_kg_ha: Range
    ha_h: float
    loss_per_ha: float
    time_per_ha: float
    wait_per_ha: float
    cost_per_ha: Range
    why_not: Why | None = None
    worked: float = 0.0

    @property
    def whole_per_ha(self) -> float:
        """Expected cost of a hectare cut in this hour, its waiting included [money/ha]."""
        return self.loss_per_ha + self.time_per_ha + self.wait_per_ha


@dataclass(frozen=True, slots=True)
class LastCheck:
    """The last check of this machine in this crop.

    Attributes
    ----------
    loss_kg_ha : Range
        What it said of the machine's loss [kg/ha].
    toughness : float
        Of the straw then [share].
    speed_kmh : float
        [km/h]
    """

    loss_kg_ha: Range
    toughness: float
    speed_kmh: float


@dataclass(frozen=True, slots=True)
class Day:
    """The plan.

    Attributes
    ----------
    hours : tuple of Hour
    check_again : int or None
        First hour at which the machine loss expected at the last check's speed lies beyond that check's range; None:
        in none.
    shift : tuple of float
        Machine loss expected at each hour over that of the last check, at its speed [1]; empty without a check.
    done_ha : float
        Area that the worked hours do [ha].
    is_a_guide : bool
        The checks have hardly taught what toughness does.
    """

    hours: tuple[Hour, ...]
    check_again: int | None
    shift: tuple[float, ...]
    done_ha: float
    is_a_guide: bool


def plan_day(
    losses: DayLosses,
    toughness: FloatArray,
    job: Job,
    *,
    grain: GrainCourse | None = None,
    may_work: Sequence[bool] | None = None,
    last_check: LastCheck | None = None,
) -> Day:
    """Plan the hours of a forecast.

    Parameters
    ----------
    losses : DayLosses
    toughness : ndarray, shape (n,)
        Of each hour, in order [share, 0 to 1].
    job : Job
    grain : GrainCourse or None
        Moisture at each hour, n of them.
    may_work : sequence of bool or None
        Whether people work at each hour; None: at all.
    last_check : LastCheck or None
        Within the speeds of ``losses``.

    Raises
    ------
    InputError
        For a figure of the job out of its range, rows that do not fit, or a price and an hour cost that are both 0.
    """
    index = finite("toughness", toughness)
    if not isinstance(index, np.ndarray) or index.ndim != 1 or not index.size:
        raise InputError("toughness", np.shape(toughness), "must be a row of hours", "give one figure per hour")
    for name, size in (
        ("grain", None if grain is None else grain.mean_pct.size),
        ("may_work", may_work and len(may_work)),
    ):
        if size is not None and size != index.size:
            raise InputError(name, size, f"must be {index.size} hours", "give one for each hour")
    _checked(job)
    works = [True] * index.size if may_work is None else list(may_work)
    hours = []
    for k, at in enumerate(index.tolist()):
        moist = None if grain is None else _moisture(float(grain.mean_pct[k]), float(grain.sd_pct[k]))
        hour = _hour(losses, at, moist, k, job)
        if not works[k]:
            hour = replace(hour, why_not="not a working hour")
        elif job.most_moisture_pct is not None and moist is not None and moist.median > job.most_moisture_pct:
            hour = replace(hour, why_not="grain too moist")
        hours.append(hour)
    hours = _worked(hours, job)
    shift = () if last_check is None else tuple(_shift(losses, at, last_check) for at in index.tolist())
    return Day(
        tuple(hours),
        None if last_check is None else _check_again(shift, last_check),
        shift,
        sum(h.worked * h.ha_h for h in hours),
        losses.is_a_guide,
    )


def _hour(losses: DayLosses, toughness: float, moist: Range | None, number: int, job: Job) -> Hour:
    here = losses.at(toughness)
    cost = Cost(
        here,
        width_m=job.width_m,
        price_per_t=job.price_per_t,
        hour_cost_per_h=job.hour_cost_per_h,
        lost_time_h_ha=job.lost_time_h_ha,
        constant_efficiency=None,
    )
    low, high = here.recommendable_kmh()
    if job.fastest_kmh is not None:
        if job.fastest_kmh <= low:
            problem = f"must be above {low:.3g} km/h, the slowest speed that may be recommended"
            raise InputError("fastest_kmh", job.fastest_kmh, problem, "check the machine at a slower speed first")
        high = min(high, job.fastest_kmh)
    best, end = cost.least(low, high)
    draws = cost.draws(best)
    expected, time_cost = cost.expected(draws), cost.time_cost_per_ha(best)
    band = cost.band(low, high, best, expected + max(BAND_SHARE * expected, job.one_currency_unit))
    machine, header = _parts(losses, toughness, best)
    return Hour(
        toughness=toughness,
        grain_pct=moist,
        best_kmh=best,
        band_kmh=band,
        at_edge=("slowest", None, "fastest")[end + 1],
        machine_kg_ha=cost.range(machine),
        header_kg_ha=None if header is None else cost.range(header),
        loss_kg_ha=cost.range(cost.loss_kg_ha(best)),
        ha_h=1.0 / float(cost.time_h_ha(np.array([best]))[0]),
        loss_per_ha=expected - time_cost,
        time_per_ha=time_cost,
        wait_per_ha=job.wait_per_ha_day * number / HOURS_IN_DAY,
        cost_per_ha=cost.range(draws),
    )


def _parts(losses: DayLosses, toughness: float, speed_kmh: float) -> tuple[FloatArray, FloatArray | None]:
    """Machine and header loss of each draw at one speed, straight in (ln v, ln loss) between those listed [kg/ha]."""
    here = losses.at(toughness)
    ln_v = np.log(here.speed_kmh)
    right = int(np.clip(np.searchsorted(ln_v, math.log(speed_kmh)), 1, ln_v.size - 1))
    share = (math.log(speed_kmh) - ln_v[right - 1]) / (ln_v[right] - ln_v[right - 1])

    def between(curves: FloatArray) -> FloatArray:
        result: FloatArray = np.exp((1.0 - share) * np.log(curves[:, right - 1]) + share * np.log(curves[:, right]))
        return result

    return between(here.machine_kg_ha), None if here.header_kg_ha is None else between(here.header_kg_ha)


def _worked(hours: Sequence[Hour], job: Job) -> list[Hour]:
    """Fill the cheapest hours first until the area is done; without an area name those near the least cost."""
    found = list(hours)
    open_hours = [k for k, h in enumerate(hours) if h.why_not is None]
    if not open_hours:
        return found
    if job.area_left_ha is None:
        least = min(hours[k].whole_per_ha for k in open_hours)
        for k in open_hours:
            if hours[k].whole_per_ha <= (1.0 + NEAR_LEAST) * least:
                found[k] = replace(hours[k], worked=1.0)
        return found
    left = job.area_left_ha
    # The cheapest hectares first is the least cost there is: a fractional knapsack.
    for k in sorted(open_hours, key=lambda k: (hours[k].whole_per_ha, k)):
        share = min(1.0, left / hours[k].ha_h)
        if share <= 0.0:
            break
        found[k] = replace(hours[k], worked=share)
        left -= share * hours[k].ha_h
    return found


def _shift(losses: DayLosses, toughness: float, check: LastCheck) -> float:
    """Machine loss at the check's speed over that at the check's toughness, middle of the draws [1]."""
    now, then = (_parts(losses, at, check.speed_kmh)[0] for at in (toughness, check.toughness))
    return float(np.median(now / then))


def _sum(parts: tuple[FloatArray, FloatArray | None]) -> FloatArray:
    return parts[0] if parts[1] is None else parts[0] + parts[1]


def _check_again(shift: Sequence[float], check: LastCheck) -> int | None:
    low, middle, high = check.loss_kg_ha.low, check.loss_kg_ha.median, check.loss_kg_ha.high
    return next((k for k, factor in enumerate(shift) if not low <= factor * middle <= high), None)


def _moisture(mean: float, sd: float) -> Range:
    """Range of a normal number, as the draws of a loss have theirs [% wet basis]."""
    return Range(max(0.0, mean - 1.645 * sd), mean, mean + 1.645 * sd)


def _checked(job: Job) -> None:
    for name in ("width_m",):
        positive(name, single(name, getattr(job, name)))
    for name in ("price_per_t", "hour_cost_per_h", "lost_time_h_ha", "wait_per_ha_day", "one_currency_unit"):
        not_negative(name, single(name, getattr(job, name)))
    for name in ("area_left_ha", "most_moisture_pct", "fastest_kmh"):
        if getattr(job, name) is not None:
            positive(name, single(name, getattr(job, name)))
    if job.price_per_t == 0.0 and job.hour_cost_per_h == 0.0:
        mend = "enter the hour cost and the price of the grain"
        raise InputError("hour_cost_per_h", 0.0, "is 0 like the price, so that no hour costs anything", mend)


def cost_at(losses: DayLosses, toughness: float, job: Job, speed_kmh: float) -> Range:
    """Return what a hectare costs at one speed in one hour, grain and time [money/ha], to hold a habit against a plan.

    ``speed_kmh`` within the speeds of ``losses`` [km/h].
    """
    _checked(job)
    machine, header = _parts(losses, toughness, single("speed_kmh", speed_kmh))
    grain = losses.at(toughness).held(_sum((machine, header))) * job.price_per_t / 1000.0
    time = job.hour_cost_per_h * (10.0 / (speed_kmh * job.width_m) + job.lost_time_h_ha)
    return range_of(DrawBelief(grain + time, np.full(grain.size, 1.0 / grain.size)))
