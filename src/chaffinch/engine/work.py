"""How much does a combine get done in an hour, and what does one more hour cost?

Capacity, time per hectare, time to finish, what the weather takes while the crop waits, and the hour cost.
Equations, sources, limits and a worked example: ``docs/method/work.md``; machine costs: ``machine_cost``.

The first argument of a function may be a float64 array (a sweep of speeds, the area left hour by hour): the
answer then has its shape. Every input is checked; InputError names the parameter, the value and the mend.
Money is in whatever currency the prices are given in. Nothing here is assumed for the caller: the typical
values below are for showing, never applied silently.

Sources: [1] Srivastava et al. 2006, *Engineering Principles of Agricultural Machines*, 2nd ed., ASABE,
ch. 15, eqs 15.1-15.2 (printed). [2] ASAE EP496.2 FEB03, *Agricultural Machinery Management* (from memory;
form and Z values printed in a thesis citing Srivastava 2006 and Hunt 2001). [3] ASABE D497.7 MAR2011
(R2020), *Agricultural Machinery Management Data* (from memory).
"""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np

from chaffinch.engine.domain import Num, between, not_negative, positive, share, single
from chaffinch.engine.machine_cost import fuel_cost_per_h, labour_cost_per_h, lubricant_cost_per_h
from chaffinch.errors import InputError

KM_M_PER_HA = 10.0
"""Kilometres travelled × metres of width in one hectare: 10 000 m²/ha ÷ 1000 m/km. Exact; printed in [1]."""

Z_STARTS_OR_ENDS_AT_OPTIMUM = 2
Z_CENTRED_ON_OPTIMUM = 4
"""Divisor Z [-] of the timeliness equation [2]: the mean distance in days of an area from the optimum date
is (days the job lasts)/Z. 2: the work starts (or ends) at the optimum date; 4: it is centred on it."""


@dataclass(frozen=True, slots=True)
class TypicalRange:
    """A published range with its typical value: something to show, never a silent default."""

    low: float
    typical: float
    high: float


COMBINE_FIELD_EFFICIENCY = TypicalRange(0.65, 0.70, 0.80)
"""Field efficiency of a self-propelled combine [share, 0-1], source [3]. Origin: memory."""

COMBINE_SPEED_KMH = TypicalRange(3.0, 5.0, 6.5)
"""Ground speed of a self-propelled combine [km/h], source [3]. Origin: memory."""


def spot_capacity_ha_h(speed_kmh: Num, width_m: float) -> Num:
    """Return the area cut in an hour without a stop [ha/h]: v·W/10, source [1] eq. 15.1 with e = 1.

    ``speed_kmh`` ground speed [km/h], above 0; ``width_m`` width really cut [m], above 0.
    """
    return positive("speed_kmh", speed_kmh) * positive("width_m", width_m) / KM_M_PER_HA


def field_capacity_ha_h(speed_kmh: Num, width_m: float, efficiency: float) -> Num:
    """Return the effective field capacity [ha/h]: v·W·e/10, source [1] eq. 15.1.

    ``efficiency`` is the field efficiency e [share], in (0, 1]: productive time over time in the field.
    """
    return spot_capacity_ha_h(speed_kmh, width_m) * share("efficiency", efficiency)


def material_capacity_t_h(speed_kmh: Num, width_m: float, efficiency: float, yield_t_ha: float) -> Num:
    """Return the grain taken in per hour in the field [t/h]: v·W·Y·e/10, source [1] eq. 15.2.

    ``yield_t_ha`` yield Y [t/ha], above 0. With ``efficiency`` 1 it is the throughput while cutting.
    """
    return field_capacity_ha_h(speed_kmh, width_m, efficiency) * positive("yield_t_ha", yield_t_ha)


def lost_time_h_ha(efficiency: Num, speed_ref_kmh: float, width_m: float) -> Num:
    """Return the time per hectare spent not cutting [h/ha]: t₀ = (1/e − 1)·10/(v_ref·W).

    Turning, unloading, clearing and waiting, read out of a field efficiency ``efficiency`` [share, (0, 1]]
    that was observed, or is published, at ``speed_ref_kmh`` [km/h]. Derived from [1] eq. 15.1.
    """
    stops_per_cutting_hour = 1.0 / share("efficiency", efficiency) - 1.0
    speed = positive("speed_ref_kmh", speed_ref_kmh)
    return stops_per_cutting_hour / spot_capacity_ha_h(speed, width_m)


def time_per_ha_h(speed_kmh: Num, width_m: float, lost_time_h_ha: float) -> Num:
    """Return the time one hectare takes [h/ha]: 10/(v·W) + t₀.

    The lost time ``lost_time_h_ha`` [h/ha, 0 or more] stays as it is when the speed changes: turns and
    unloading take as long as before. Field efficiency therefore falls as speed rises.
    """
    return 1.0 / spot_capacity_ha_h(speed_kmh, width_m) + not_negative("lost_time_h_ha", lost_time_h_ha)


def time_per_ha_constant_efficiency_h(speed_kmh: Num, width_m: float, efficiency: float) -> Num:
    """Return the time one hectare takes [h/ha] as handbooks have it: 10/(v·W·e), e the same at every speed.

    For comparison with handbooks. It overstates what driving faster saves.
    """
    return 1.0 / field_capacity_ha_h(speed_kmh, width_m, efficiency)


def daily_capacity_ha(capacity_ha_h: Num, hours_per_day: float) -> Num:
    """Return the area done on a workable day [ha/day]; ``hours_per_day`` G [h/day] in (0, 24]."""
    return positive("capacity_ha_h", capacity_ha_h) * _hours_per_day(hours_per_day)


def capacity_needed_ha_h(area_ha: Num, working_days: float, hours_per_day: float) -> Num:
    """Return the field capacity [ha/h] that finishes ``area_ha`` [ha] in ``working_days`` workable days.

    Workable days are calendar days × ``workable_share``. Example printed in Iowa State A3-25 (2014).
    """
    days = positive("working_days", working_days)
    return positive("area_ha", area_ha) / (days * _hours_per_day(hours_per_day))


def hours_to_finish_h(area_ha: Num, capacity_ha_h: float) -> Num:
    """Return the working hours left [h]: area ÷ capacity (of all combines on the job together)."""
    return not_negative("area_ha", area_ha) / positive("capacity_ha_h", capacity_ha_h)


def calendar_days_to_finish(area_ha: Num, capacity_ha_h: float, hours_per_day: float, workable_share: float) -> Num:
    """Return the calendar days left [day]: A/(C·G·pwd).

    ``workable_share`` pwd [share, (0, 1]]: days fit for combining over calendar days.
    """
    hours_per_calendar_day = _hours_per_day(hours_per_day) * share("workable_share", workable_share)
    return hours_to_finish_h(area_ha, capacity_ha_h) / hours_per_calendar_day


def delay_loss_share(delay_days: Num, k3_per_day: float) -> Num:
    """Return the share of the crop's value that a delay costs [share]: K3 × days, source [2].

    ``delay_days`` days from the optimum date [day, 0 or more]; ``k3_per_day`` timeliness coefficient K3
    [share of value per calendar day, 0-1]. Raises InputError when the share would pass 1: the straight
    line has then been drawn far past the delays it was fitted to.
    """
    lost = not_negative("delay_days", delay_days) * _k3(k3_per_day)
    if np.any(np.greater(lost, 1.0)):
        problem = f"at {k3_per_day:g} per day would cost more than the whole crop"
        raise InputError("delay_days", delay_days, problem, "check the days, the capacity and k3_per_day")
    return lost


def timeliness_cost(
    area_ha: Num,
    *,
    k3_per_day: float,
    yield_t_ha: float,
    price_per_t: float,
    z: int,
    hours_per_day: float,
    capacity_ha_h: float,
    workable_share: float,
) -> Num:
    """Return what the weather takes over a whole job [money]: K3·A²·Y·P/(Z·G·C·pwd), source [2].

    Computed as mean delay × K3 × value, which is the same thing: the job lasts A/(C·G·pwd) calendar days
    and an area waits 1/Z of that on average.

    Parameters
    ----------
    area_ha : float or array
        The whole job A [ha], 0 or more.
    k3_per_day : float
        Timeliness coefficient K3 [share of value per calendar day], 0 to 1. None is published for canola.
    yield_t_ha, price_per_t : float
        Yield Y [t/ha] and price P [money/t], above 0.
    z : int
        2 when the work starts or ends at the optimum date, 4 when it is centred on it.
    hours_per_day : float
        Hours of combining on a workable day G [h/day], in (0, 24].
    capacity_ha_h : float
        Field capacity C [ha/h] of all combines on the job together, above 0.
    workable_share : float
        Days fit for combining over calendar days, pwd [share], in (0, 1].

    Raises
    ------
    InputError
        For any of them out of its range, or when K3 × mean delay passes 1.
    """
    days = calendar_days_to_finish(area_ha, capacity_ha_h, hours_per_day, workable_share)
    lost = delay_loss_share(days / _z(z), k3_per_day)
    return lost * _standing_value(area_ha, yield_t_ha, price_per_t)


def weather_cost_per_h(
    area_left_ha: Num,
    *,
    k3_per_day: float,
    yield_t_ha: float,
    price_per_t: float,
    z: int,
    hours_per_day: float,
    workable_share: float,
) -> Num:
    """Return what weather takes per working hour of the job [money/h]: K3·A_left·Y·P/(Z·G·pwd), source [2].

    Precisely: with A_left fixed, ``timeliness_cost`` is proportional to the working hours T = A_left/C the
    job takes, and this is the ratio. So it is both the mean cost per working hour of the whole job, TC/T,
    and the derivative dTC/dT: what one hour more adds when it is *spread over the job*, as it is when the
    pace changes for all of A_left. It does not depend on the capacity.

    It is not what one stop costs now, with everything left waiting the full time: that is
    ``weather_cost_of_stop_per_h``. Nor may it be recomputed with a shrinking A_left and added up over the
    job with the same Z: that sum is half the timeliness cost.

    Parameters
    ----------
    area_left_ha : float or array
        The area A_left that will be cut at the pace being chosen [ha], 0 or more.
    k3_per_day, yield_t_ha, price_per_t, z, hours_per_day, workable_share
        As in ``timeliness_cost``.

    Raises
    ------
    InputError
        For any of them out of its range.
    """
    at_once = weather_cost_of_stop_per_h(
        area_left_ha,
        k3_per_day=k3_per_day,
        yield_t_ha=yield_t_ha,
        price_per_t=price_per_t,
        hours_per_day=hours_per_day,
        workable_share=workable_share,
    )
    return at_once / _z(z)


def weather_cost_of_stop_per_h(
    area_left_ha: Num,
    *,
    k3_per_day: float,
    yield_t_ha: float,
    price_per_t: float,
    hours_per_day: float,
    workable_share: float,
) -> Num:
    """Return what one hour's stop now costs in weather [money/h]: K3·A_left·Y·P/(G·pwd).

    The optimum date being past, each hectare still standing waits 1/(G·pwd) calendar days longer. Summed
    over a job while A_left falls from A to 0 it gives ``timeliness_cost`` with Z = 2. Derived from [2].
    Before the optimum date a stop costs nothing of this kind.
    """
    hours_per_calendar_day = _hours_per_day(hours_per_day) * share("workable_share", workable_share)
    value = _standing_value(area_left_ha, yield_t_ha, price_per_t, field="area_left_ha")
    return value * _k3(k3_per_day) / hours_per_calendar_day


@dataclass(frozen=True, slots=True, kw_only=True)
class HourCost:
    """What one more hour of combining costs, part by part [money/h]; each part 0 or more.

    Only what changes with the hours belongs here: ownership cost (capital, taxes, insurance, housing) is
    spent whether the combine works or not. Raises InputError for a part that is negative or not one number.
    """

    labour_per_h: float
    fuel_per_h: float
    """Fuel and lubricant."""
    wear_per_h: float
    """Marginal repair, and marginal depreciation if wanted: see ``machine_cost``."""
    helpers_per_h: float
    """People and machines that wait on the combine: grain cart, trucks."""
    weather_per_h: float

    def __post_init__(self) -> None:
        for part in fields(self):
            number = single(part.name, getattr(self, part.name))
            object.__setattr__(self, part.name, not_negative(part.name, number))

    @property
    def total_per_h(self) -> float:
        """The hour cost [money/h]."""
        return self.labour_per_h + self.fuel_per_h + self.wear_per_h + self.helpers_per_h + self.weather_per_h


def hour_cost(
    *,
    wage_per_h: float,
    labour_multiplier: float,
    fuel_l_h: float,
    fuel_price_per_l: float,
    lubricant_share: float,
    wear_per_h: float,
    helpers_per_h: float,
    weather_per_h: float,
) -> HourCost:
    """Return the HourCost built from a wage, a fuel rate and the remaining parts.

    Parameters
    ----------
    wage_per_h : float
        Operator's pay [money/h], 0 or more.
    labour_multiplier : float
        Hours paid per machine hour [-], 1 or more: see ``machine_cost.LABOUR_MULTIPLIER_*``.
    fuel_l_h, fuel_price_per_l : float
        Fuel rate [L/h] and price [money/L], 0 or more.
    lubricant_share : float
        Lubricant cost over fuel cost [share, 0-1]: see ``machine_cost.LUBRICANT_SHARE_OF_FUEL``.
    wear_per_h, helpers_per_h, weather_per_h : float
        The other parts [money/h], 0 or more.
    """
    fuel = fuel_cost_per_h(fuel_l_h, fuel_price_per_l)
    return HourCost(
        labour_per_h=labour_cost_per_h(wage_per_h, labour_multiplier),
        fuel_per_h=fuel + lubricant_cost_per_h(fuel, lubricant_share),
        wear_per_h=wear_per_h,
        helpers_per_h=helpers_per_h,
        weather_per_h=weather_per_h,
    )


def standing_cost(working: HourCost, *, running_share: float, weather_of_stop_per_h: float) -> HourCost:
    """Return what an hour of standing still costs: what a check or a change of settings is set against.

    Labour and helpers are paid as before; fuel and wear go on for the part the engine still runs.

    Parameters
    ----------
    working : HourCost
        Of an hour of combining. Its weather, priced for a change of pace, is left out.
    running_share : float
        Fuel and wear while standing over those while combining [share, 0-1]: 0 with the engine off, as the cautions
        ask whenever someone is on the ground.
    weather_of_stop_per_h : float
        From ``weather_cost_of_stop_per_h`` [money/h], 0 or more.
    """
    part = between("running_share", single("running_share", running_share), 0.0, 1.0, "write 20 % as 0.20")
    return HourCost(
        labour_per_h=working.labour_per_h,
        fuel_per_h=part * working.fuel_per_h,
        wear_per_h=part * working.wear_per_h,
        helpers_per_h=working.helpers_per_h,
        weather_per_h=weather_of_stop_per_h,
    )


def _standing_value(area_ha: Num, yield_t_ha: float, price_per_t: float, field: str = "area_ha") -> Num:
    per_ha = positive("yield_t_ha", yield_t_ha) * positive("price_per_t", price_per_t)
    return not_negative(field, area_ha) * per_ha


def _hours_per_day(hours_per_day: float) -> float:
    mend = "give the hours of combining on a workable day, at most 24"
    return between("hours_per_day", positive("hours_per_day", hours_per_day, mend), 0.0, 24.0, mend)


def _k3(k3_per_day: float) -> float:
    return between("k3_per_day", k3_per_day, 0.0, 1.0, "write 0.5 % of the value per day as 0.005")


def _z(z: int) -> int:
    if type(z) is int and z in (Z_STARTS_OR_ENDS_AT_OPTIMUM, Z_CENTRED_ON_OPTIMUM):
        return z
    mend = "give 2 if work starts or ends at the optimum date, 4 if it is centred on it"
    raise InputError("z", z, "must be 2 or 4", mend)
