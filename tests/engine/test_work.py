"""Capacity, time, weather and hour cost against published examples, identities and hostile input."""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import integrate, optimize

from chaffinch.engine import machine_cost, work
from chaffinch.errors import InputError

# Exact by definition: international foot, statute mile of 5280 ft, international acre of 43 560 ft².
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


# --- hour cost ------------------------------------------------------------------------------------------


def test_hour_cost_of_the_worked_example():
    """The numbers of docs/method/work.md, to the cent they are printed with there."""
    wear = machine_cost.marginal_repair_per_h(
        1200.0, 500000.0, machine_cost.COMBINE_REPAIR
    ) + machine_cost.marginal_depreciation_per_h(10.0, 300.0, 500000.0, machine_cost.COMBINE_REMAINING_VALUE)
    weather = work.weather_cost_per_h(400.0, z=2, **(JOB | {"k3_per_day": 0.005}))
    cost = work.hour_cost(
        wage_per_h=30.0,
        labour_multiplier=machine_cost.LABOUR_MULTIPLIER_OTHER_POWER_UNIT,
        fuel_l_h=60.0,
        fuel_price_per_l=1.20,
        lubricant_share=machine_cost.LUBRICANT_SHARE_OF_FUEL,
        wear_per_h=wear,
        helpers_per_h=60.0,
        weather_per_h=weather,
    )
    lost = work.lost_time_h_ha(0.70, 5.0, 12.0)

    assert cost.labour_per_h == pytest.approx(36.00, abs=0.005)
    assert cost.fuel_per_h == pytest.approx(82.80, abs=0.005)
    assert cost.wear_per_h == pytest.approx(62.12, abs=0.005)
    assert cost.weather_per_h == pytest.approx(250.00, abs=0.005)
    assert cost.total_per_h == pytest.approx(490.92, abs=0.005)
    assert lost == pytest.approx(0.0714, abs=5e-5)
    assert work.time_per_ha_h(5.0, 12.0, lost) == pytest.approx(0.2381, abs=5e-5)
    assert work.time_per_ha_h(6.0, 12.0, lost) == pytest.approx(0.2103, abs=5e-5)
    assert work.time_per_ha_constant_efficiency_h(6.0, 12.0, 0.70) == pytest.approx(0.1984, abs=5e-5)
    assert work.calendar_days_to_finish(400.0, 4.2, 10.0, 0.6) == pytest.approx(15.87, abs=0.005)
    saved = cost.total_per_h * (work.time_per_ha_h(5.0, 12.0, lost) - work.time_per_ha_h(6.0, 12.0, lost))
    assert saved == pytest.approx(13.64, abs=0.005)
    assert saved / 0.600 == pytest.approx(22.7, abs=0.05)  # kg/ha at 0.600 money/kg


PARTS = {"labour_per_h": 1.0, "fuel_per_h": 2.0, "wear_per_h": 4.0, "helpers_per_h": 8.0, "weather_per_h": 16}


def test_hour_cost_total_takes_every_part_once():
    cost = work.HourCost(**PARTS)

    assert cost.total_per_h == 31.0
    assert type(cost.weather_per_h) is float
    with pytest.raises(dataclasses.FrozenInstanceError):
        cost.labour_per_h = 0.0


@pytest.mark.parametrize("part", PARTS)
@pytest.mark.parametrize("bad", [-0.01, math.nan, math.inf, True, "12", None, np.array([1.0])], ids=repr)
def test_hour_cost_refuses_a_bad_part_by_name(part, bad):
    with pytest.raises(InputError, match=part):
        work.HourCost(**(PARTS | {part: bad}))


def test_typical_ranges_are_ordered_and_not_applied():
    for typical in (work.COMBINE_FIELD_EFFICIENCY, work.COMBINE_SPEED_KMH):
        assert typical.low < typical.typical < typical.high

    # Far outside the typical range is still the caller's own number, taken as it is.
    assert work.field_capacity_ha_h(15.0, 12.0, 0.3) == pytest.approx(5.4, rel=1e-12)


# --- hostile input --------------------------------------------------------------------------------------

WEATHER = JOB | {"area_left_ha": 400.0}
GOOD_CALLS = [
    (work.spot_capacity_ha_h, {"speed_kmh": 5.0, "width_m": 12.0}),
    (work.field_capacity_ha_h, {"speed_kmh": 5.0, "width_m": 12.0, "efficiency": 0.7}),
    (work.material_capacity_t_h, {"speed_kmh": 5.0, "width_m": 12.0, "efficiency": 0.7, "yield_t_ha": 2.5}),
    (work.lost_time_h_ha, {"efficiency": 0.7, "speed_ref_kmh": 5.0, "width_m": 12.0}),
    (work.time_per_ha_h, {"speed_kmh": 5.0, "width_m": 12.0, "lost_time_h_ha": 0.07}),
    (work.time_per_ha_constant_efficiency_h, {"speed_kmh": 5.0, "width_m": 12.0, "efficiency": 0.7}),
    (work.daily_capacity_ha, {"capacity_ha_h": 6.0, "hours_per_day": 10.0}),
    (work.capacity_needed_ha_h, {"area_ha": 400.0, "working_days": 8.3, "hours_per_day": 10.0}),
    (work.hours_to_finish_h, {"area_ha": 400.0, "capacity_ha_h": 6.0}),
    (
        work.calendar_days_to_finish,
        {"area_ha": 400.0, "capacity_ha_h": 6.0, "hours_per_day": 10.0, "workable_share": 0.6},
    ),
    (work.delay_loss_share, {"delay_days": 10.0, "k3_per_day": 0.003}),
    (work.timeliness_cost, JOB | {"area_ha": 400.0, "z": 2, "capacity_ha_h": 6.0}),
    (work.weather_cost_per_h, WEATHER | {"z": 4}),
    (work.weather_cost_of_stop_per_h, WEATHER),
    (
        work.hour_cost,
        {
            "wage_per_h": 30.0,
            "labour_multiplier": 1.2,
            "fuel_l_h": 60.0,
            "fuel_price_per_l": 1.2,
            "lubricant_share": 0.15,
            "wear_per_h": 60.0,
            "helpers_per_h": 60.0,
            "weather_per_h": 250.0,
        },
    ),
]
EACH_ARGUMENT = [
    pytest.param(call, good, name, id=f"{call.__name__}-{name}") for call, good in GOOD_CALLS for name in good
]


@pytest.mark.parametrize(("call", "good", "name"), EACH_ARGUMENT)
@pytest.mark.parametrize("bad", [-1.0, math.nan, math.inf, True, "5", None, 1e300], ids=repr)
def test_every_argument_of_every_function_is_checked_by_name(call, good, name, bad):
    with pytest.raises(InputError) as caught:
        call(**(good | {name: bad}))

    assert caught.value.field == name
    assert caught.value.value is bad or math.isclose(caught.value.value, bad) or math.isnan(bad)
    assert caught.value.mend


ZERO_ALLOWED = {"lost_time_h_ha", "delay_days", "k3_per_day", "area_left_ha", "lubricant_share"} | {
    name for name in GOOD_CALLS[-1][1] if name.endswith(("_per_h", "_l_h", "_per_l"))
}


@pytest.mark.parametrize(("call", "good", "name"), EACH_ARGUMENT)
def test_zero_is_refused_exactly_where_it_has_no_meaning(call, good, name):
    nothing_to_cut = name == "area_ha" and call is not work.capacity_needed_ha_h
    if name in ZERO_ALLOWED or nothing_to_cut:
        result = call(**(good | {name: 0.0}))
        assert isinstance(result, work.HourCost) or math.isfinite(result)
    else:
        with pytest.raises(InputError, match=name):
            call(**(good | {name: 0.0}))


@pytest.mark.parametrize("z", [0, 1, 3, 2.0, 5, "2", None, True, np.array([2])], ids=repr)
def test_z_is_two_or_four(z):
    with pytest.raises(InputError, match="z: must be 2 or 4"):
        work.weather_cost_per_h(**WEATHER, z=z)


@pytest.mark.parametrize(
    ("name", "bad", "mend"),
    [("k3_per_day", 1.5, "0.005"), ("hours_per_day", 24.5, "at most 24"), ("workable_share", 60.0, "0.70")],
)
def test_slips_of_unit_are_mended_in_words(name, bad, mend):
    with pytest.raises(InputError) as caught:
        work.weather_cost_of_stop_per_h(**(WEATHER | {name: bad}))

    assert mend in caught.value.mend


def test_a_delay_that_would_cost_more_than_the_crop_is_refused():
    with pytest.raises(InputError, match="more than the whole crop"):
        work.delay_loss_share(np.array([10.0, 400.0]), 0.003)
    with pytest.raises(InputError, match="more than the whole crop"):
        work.timeliness_cost(400.0, z=2, capacity_ha_h=0.05, **JOB)


# --- shape and monotony ---------------------------------------------------------------------------------


@pytest.mark.parametrize(("call", "good"), GOOD_CALLS[:-1], ids=[call.__name__ for call, _ in GOOD_CALLS[:-1]])
def test_a_sweep_gives_what_the_single_calls_give(call, good):
    first = "area_left_ha" if "area_left_ha" in good else "area_ha" if "area_ha" in good else next(iter(good))
    # Efficiency must stay in (0, 1]; everything else may go either side of its value.
    sweep = good[first] * np.array([0.5, 0.9, 1.0, 1.3])

    together = call(**(good | {first: sweep}))
    singly = [call(**(good | {first: float(value)})) for value in sweep]

    assert together.shape == sweep.shape
    np.testing.assert_allclose(together, singly, rtol=1e-14)
    assert all(type(value) is float for value in singly)


@given(speed=SPEED, faster=st.floats(1.0, 3.0), width=WIDTH, efficiency=EFFICIENCY)
def test_faster_means_more_hectares_and_less_time(speed, faster, width, efficiency):
    lost = work.lost_time_h_ha(efficiency, speed, width)
    slow, fast = speed, speed * faster

    assert work.spot_capacity_ha_h(slow, width) <= work.spot_capacity_ha_h(fast, width) * ROUNDING
    assert work.time_per_ha_h(fast, width, lost) <= work.time_per_ha_h(slow, width, lost) * ROUNDING
    # The lost time is a floor no speed goes under.
    assert work.time_per_ha_h(fast, width, lost) > lost


@given(better=EFFICIENCY, worse=EFFICIENCY, speed=SPEED, width=WIDTH)
def test_better_efficiency_means_less_lost_time(better, worse, speed, width):
    worse, better = sorted((worse, better))

    assert work.lost_time_h_ha(better, speed, width) <= work.lost_time_h_ha(worse, speed, width) * ROUNDING
    assert work.lost_time_h_ha(1.0, speed, width) == 0.0


@given(less=AREA, more=AREA, k3=st.floats(0.0, 0.05), z=st.sampled_from([2, 4]), days=st.floats(0.05, 1.0))
def test_weather_costs_more_with_more_left_and_never_nan(less, more, k3, z, days):
    less, more = sorted((less, more))
    common = JOB | {"k3_per_day": k3, "workable_share": days, "z": z}

    cheap, dear = work.weather_cost_per_h(less, **common), work.weather_cost_per_h(more, **common)

    assert math.isfinite(cheap)
    assert 0.0 <= cheap <= dear * ROUNDING


ANY_ACCEPTED = st.floats(1e-50, 1e50)


@given(ANY_ACCEPTED, ANY_ACCEPTED, st.floats(1e-50, 1.0), ANY_ACCEPTED)
def test_no_accepted_number_ends_in_nan_or_a_division_by_zero(speed, width, efficiency, crop):
    results = [
        work.material_capacity_t_h(speed, width, efficiency, crop),
        work.lost_time_h_ha(efficiency, speed, width),
        work.time_per_ha_h(speed, width, 0.0),
        work.time_per_ha_constant_efficiency_h(speed, width, efficiency),
        work.hours_to_finish_h(crop, width),
    ]

    assert all(math.isfinite(value) and value >= 0.0 for value in results)


# --- standing still -------------------------------------------------------------------------------------


def test_standing_cost_of_the_worked_example():
    """The numbers of docs/method/work.md: weather in its stop form is Z = 2 times the 250 of the working hour."""
    working = work.HourCost(
        labour_per_h=36.0, fuel_per_h=82.8, wear_per_h=62.12, helpers_per_h=60.0, weather_per_h=250.0
    )
    stop = work.weather_cost_of_stop_per_h(400.0, **(JOB | {"k3_per_day": 0.005}))

    assert stop == pytest.approx(500.00, abs=0.005)
    off = work.standing_cost(working, running_share=0.0, weather_of_stop_per_h=stop)
    idling = work.standing_cost(working, running_share=0.2, weather_of_stop_per_h=stop)
    assert off == work.HourCost(
        labour_per_h=36.0, fuel_per_h=0.0, wear_per_h=0.0, helpers_per_h=60.0, weather_per_h=stop
    )
    assert off.total_per_h == pytest.approx(596.00, abs=0.005)
    assert idling.total_per_h - off.total_per_h == pytest.approx(0.2 * (82.8 + 62.12))


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"running_share": -0.1}, "running_share"),
        ({"running_share": 20.0}, "running_share"),
        ({"running_share": math.nan}, "running_share"),
        ({"weather_of_stop_per_h": -1.0}, "weather_per_h"),
    ],
)
def test_standing_cost_refuses(change, field):
    with pytest.raises(InputError) as refused:
        work.standing_cost(work.HourCost(**PARTS), **({"running_share": 0.0, "weather_of_stop_per_h": 0.0} | change))

    assert refused.value.field == field
