"""What does one more hour cost, and an hour of standing still? The parts, the worked example, and what is refused."""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import pytest
from test_work import JOB

from chaffinch.engine import machine_cost, work
from chaffinch.errors import InputError

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
