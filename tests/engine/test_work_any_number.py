"""Any number given to ``work``: refused by name where it means nothing, and otherwise answered alike in every shape."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from test_work import AREA, EFFICIENCY, JOB, ROUNDING, SPEED, WIDTH

from chaffinch.engine import work
from chaffinch.errors import InputError

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
