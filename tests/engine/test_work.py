"""Capacity, time and weather cost against published examples and identities."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import integrate, optimize

from chaffinch.engine import work

M_PER_FT = 0.3048
KM_PER_MILE = 5280 * M_PER_FT / 1000
HA_PER_ACRE = 43560 * M_PER_FT**2 / 10000

SPEED = st.floats(0.5, 20.0)
WIDTH = st.floats(1.0, 30.0)
EFFICIENCY = st.floats(0.05, 1.0)
AREA = st.floats(0.0, 1e4)
# Two neighbouring floats may give equal results, so monotone means "not the other way" up to rounding.
ROUNDING = 1.0 + 1e-12


# --- published examples ---------------------------------------------------------------------------------

PRINTED_CAPACITIES = [
    # record, width [ft], speed [mph], efficiency, printed capacity [ac/h]
    ("fc01", 40.0, 6.0, 0.70, 20.4),
    ("fc02", 50.0, 6.0, 0.70, 25.5),
    ("fc03", 15.0, 5.0, 0.63, 5.7),
    ("fc04", 15.0, 6.0, 0.63, 6.9),
]


@pytest.mark.parametrize(
    ("width_ft", "speed_mph", "efficiency", "printed_ac_h"),
    [row[1:] for row in PRINTED_CAPACITIES],
    ids=[row[0] for row in PRINTED_CAPACITIES],
)
def test_field_capacity_as_printed(width_ft, speed_mph, efficiency, printed_ac_h):
    """Iowa State PM 696 (2001), table cells printed to 0.1, hence 0.06."""
    capacity = work.field_capacity_ha_h(speed_mph * KM_PER_MILE, width_ft * M_PER_FT, efficiency)

    assert capacity / HA_PER_ACRE == pytest.approx(printed_ac_h, abs=0.06)


def test_divisor_of_acres_is_exactly_eight_and_a_quarter():
    """fc11, Univ. of Kentucky AEN-73 (1991): 43560/5280; only rounding separates us from it."""
    acres_per_hour = work.spot_capacity_ha_h(KM_PER_MILE, M_PER_FT) / HA_PER_ACRE

    assert 1.0 / acres_per_hour == pytest.approx(8.25, rel=1e-14)
    assert 43560 / 5280 == 8.25


def test_divisor_of_hectares_is_exactly_ten():
    """fc11, Srivastava et al. 2006 eq. 15.1: 10000/1000."""
    assert 1.0 / work.spot_capacity_ha_h(1.0, 1.0) == 10.0
    assert work.KM_M_PER_HA == 10000 / 1000


def test_material_capacity():
    """fc12, equations 15.1-15.2 of Srivastava et al. 2006, our numbers: exact arithmetic, 1e-9."""
    assert work.field_capacity_ha_h(6.0, 12.0, 0.7) == pytest.approx(5.04, abs=1e-9)
    assert work.material_capacity_t_h(6.0, 12.0, 0.7, 2.5) == pytest.approx(12.6, abs=1e-9)


def test_capacity_needed_as_printed():
    """fc10, Iowa State A3-25 (2014): 1,600 ac in 8.3 days of 14 h; printed to 0.1, hence 0.06."""
    needed = work.capacity_needed_ha_h(1600 * HA_PER_ACRE, 8.3, 14.0)

    assert needed / HA_PER_ACRE == pytest.approx(13.8, abs=0.06)
    assert work.daily_capacity_ha(needed, 14.0) / HA_PER_ACRE == pytest.approx(192.8, abs=0.06)


def test_delay_loss_as_printed():
    """tl01, Schuler, Univ. of Wisconsin (2005), shelled corn Iowa: 10 d at 0.003 = 3 %, 4.5 of 150 bu."""
    lost = work.delay_loss_share(10.0, 0.003)

    assert 100 * lost == pytest.approx(3.0, abs=1e-9)
    assert 150 * lost == pytest.approx(4.5, abs=1e-9)


JOB = {
    "k3_per_day": 0.003,
    "yield_t_ha": 2.5,
    "price_per_t": 600.0,
    "hours_per_day": 10.0,
    "workable_share": 0.6,
}


def test_timeliness_cost():
    """tl03, ASAE EP496.2 form, our numbers: 10,000; days are given to 0.001, hence 0.001 there."""
    days = work.calendar_days_to_finish(400.0, 6.0, 10.0, 0.6)
    cost = work.timeliness_cost(400.0, z=2, capacity_ha_h=6.0, **JOB)

    assert cost == pytest.approx(10000.0, abs=0.01)
    assert days == pytest.approx(11.111, abs=0.001)
    assert days / 2 == pytest.approx(5.556, abs=0.001)


# --- identities -----------------------------------------------------------------------------------------


@given(
    area=st.floats(1.0, 500.0),
    k3=st.floats(1e-5, 0.005),
    crop=st.floats(0.5, 12.0),
    price=st.floats(50.0, 2000.0),
    z=st.sampled_from([2, 4]),
    hours=st.floats(4.0, 24.0),
    capacity=st.floats(2.0, 30.0),
    workable=st.floats(0.3, 1.0),
)
def test_timeliness_cost_is_the_closed_form_and_k3_times_mean_delay_times_value(
    *, area, k3, crop, price, z, hours, capacity, workable
):
    cost = work.timeliness_cost(
        area,
        k3_per_day=k3,
        yield_t_ha=crop,
        price_per_t=price,
        z=z,
        hours_per_day=hours,
        capacity_ha_h=capacity,
        workable_share=workable,
    )
    closed_form = k3 * area**2 * crop * price / (z * hours * capacity * workable)
    mean_delay = work.calendar_days_to_finish(area, capacity, hours, workable) / z

    assert cost == pytest.approx(closed_form, rel=1e-12)
    assert cost == pytest.approx(work.delay_loss_share(mean_delay, k3) * area * crop * price, rel=1e-12)


@pytest.mark.parametrize(("z", "start"), [(2, 0.0), (4, -0.5)])
def test_mean_delay_behind_z_is_the_mean_distance_from_the_optimum(z, start):
    """Z: mean of |t| over the job, which starts at the optimum (2) or half its length before it (4)."""
    days = work.calendar_days_to_finish(400.0, 6.0, 10.0, 0.6)
    mean, _ = integrate.quad(lambda t: abs(t) / days, start * days, (start + 1) * days, points=[0.0])

    assert mean == pytest.approx(days / z, rel=1e-9)


@pytest.mark.parametrize("z", [2, 4])
@pytest.mark.parametrize("capacity", [1.5, 6.0, 40.0])
def test_weather_cost_per_hour_is_the_jobs_timeliness_cost_over_its_hours(z, capacity):
    cost = work.timeliness_cost(400.0, z=z, capacity_ha_h=capacity, **JOB)
    hours = work.hours_to_finish_h(400.0, capacity)

    assert work.weather_cost_per_h(400.0, z=z, **JOB) == pytest.approx(cost / hours, rel=1e-12)


@pytest.mark.parametrize("z", [2, 4])
def test_weather_cost_per_hour_is_the_derivative_of_timeliness_cost_by_the_hours_of_the_job(z):
    """Central difference over ±1 h of a 66.7 h job; the cost is linear in the hours, so rounding only."""
    hours = work.hours_to_finish_h(400.0, 6.0)

    def cost_at(job_hours):
        return work.timeliness_cost(400.0, z=z, capacity_ha_h=400.0 / job_hours, **JOB)

    slope = (cost_at(hours + 1.0) - cost_at(hours - 1.0)) / 2.0

    assert work.weather_cost_per_h(400.0, z=z, **JOB) == pytest.approx(slope, rel=1e-9)


def test_stop_costs_summed_over_a_shrinking_area_give_the_timeliness_cost():
    """The charge for waiting now, added up while A_left falls to 0, is TC with Z = 2; with Z in it, half."""
    hours = work.hours_to_finish_h(400.0, 6.0)
    left = 400.0 - 6.0 * np.linspace(0.0, hours, 101)
    left[-1] = 0.0  # the last point is 0 but for rounding
    cost = work.timeliness_cost(400.0, z=2, capacity_ha_h=6.0, **JOB)

    # The trapezium rule is exact on a straight line.
    stops = np.trapezoid(work.weather_cost_of_stop_per_h(left, **JOB), dx=hours / 100)
    with_z = np.trapezoid(work.weather_cost_per_h(left, z=2, **JOB), dx=hours / 100)

    assert stops == pytest.approx(cost, rel=1e-9)
    assert with_z == pytest.approx(cost / 2, rel=1e-9)


@given(speed=SPEED, width=WIDTH, efficiency=EFFICIENCY)
def test_both_times_agree_at_the_reference_speed(speed, width, efficiency):
    lost = work.lost_time_h_ha(efficiency, speed, width)

    assert work.time_per_ha_h(speed, width, lost) == pytest.approx(
        work.time_per_ha_constant_efficiency_h(speed, width, efficiency), rel=1e-12
    )


@given(width=WIDTH, efficiency=st.floats(0.05, 0.95), slow=st.floats(1.0, 8.0), factor=st.floats(1.05, 3.0))
def test_constant_efficiency_overstates_what_driving_faster_saves(width, efficiency, slow, factor):
    lost = work.lost_time_h_ha(efficiency, slow, width)
    fast = slow * factor

    kept = work.time_per_ha_h(slow, width, lost) - work.time_per_ha_h(fast, width, lost)
    claimed = work.time_per_ha_constant_efficiency_h(slow, width, efficiency) - work.time_per_ha_constant_efficiency_h(
        fast, width, efficiency
    )

    assert 0.0 < kept < claimed


def test_best_speed_of_a_power_law():
    """Loss 1 % at 5 km/h, n 2; H 500/h, W 12 m, e 0.75, 1993.20/ha: 7.0366 km/h, 1.9805 %, 78.95, 39.48.

    dC/dv = 0 gives loss cost = time cost/n, so v³ = H·10·v₀²/(W·e·n·value·share₀); our own arithmetic,
    compared to the last digit in which it was given (at least four significant ones).
    """

    def loss_share(speed):
        return 0.01 * (speed / 5.0) ** 2

    def time_cost(speed):
        return 500.0 * work.time_per_ha_constant_efficiency_h(speed, 12.0, 0.75)

    found = optimize.minimize_scalar(
        lambda speed: 1993.20 * loss_share(speed) + time_cost(speed),
        bounds=(1.0, 20.0),
        method="bounded",
        options={"xatol": 1e-9},
    )
    best = float(found.x)

    assert best == pytest.approx(7.0366, abs=5e-5)
    # A flat minimum is found to about the root of the machine precision: 1e-6 is safely above that.
    closed_form = (500.0 * 10.0 * 25.0 / (12.0 * 0.75 * 2.0 * 19.932)) ** (1 / 3)
    assert best == pytest.approx(closed_form, rel=1e-6)
    assert 100 * loss_share(best) == pytest.approx(1.9805, abs=5e-5)
    assert time_cost(best) == pytest.approx(78.95, abs=0.005)
    assert 1993.20 * loss_share(best) == pytest.approx(39.48, abs=0.005)
    assert 1993.20 * loss_share(best) == pytest.approx(time_cost(best) / 2, rel=1e-5)


@given(st.floats(1.2, 4.0), st.floats(50.0, 900.0), st.floats(0.002, 0.03))
def test_at_the_best_speed_loss_cost_is_time_cost_over_the_power(power, hour_cost, share_at_5):
    best = (hour_cost * 10.0 * 5.0**power / (12.0 * 0.75 * power * 1500.0 * share_at_5)) ** (1 / (power + 1))

    def loss_cost(speed):
        return 1500.0 * share_at_5 * (speed / 5.0) ** power

    def time_cost(speed):
        return hour_cost * work.time_per_ha_constant_efficiency_h(speed, 12.0, 0.75)

    here = loss_cost(best) + time_cost(best)

    assert loss_cost(best) == pytest.approx(time_cost(best) / power, rel=1e-9)
    assert here < loss_cost(best * 1.02) + time_cost(best * 1.02)
    assert here < loss_cost(best * 0.98) + time_cost(best * 0.98)
