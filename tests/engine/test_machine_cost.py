"""Machine cost parts against published examples, identities, derivatives and hostile input.

Tractor rows serve only as checks of the formulas; their coefficients live here, not in the package.
"""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import optimize

from chaffinch.engine import machine_cost as mc
from chaffinch.errors import InputError

# Exact by definition, typed anew so that a slip in the package shows.
L_PER_GALLON = 3.785411784
KW_PER_HP = 0.74569987158227022
HA_PER_ACRE = 0.40468564224

TRACTOR_OVER_112_KW = mc.RemainingValueFactors(0.976, 0.119, 0.0019)  # D497, origin memory

ROUNDING = 1.0 + 1e-12


# --- published examples ---------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("list_price", "price", "percent", "salvage", "depreciation"),
    [
        pytest.param(110000.0, 93500.0, 23.0, 25300.0, 68200.0, id="co01"),
        pytest.param(150000.0, 130000.0, 23.0, 34500.0, 95500.0, id="co02"),
    ],
)
def test_salvage_and_depreciation(list_price, price, percent, salvage, depreciation):
    """Iowa State A3-29 and a copy of it; co01 printed, co02 derived from printed inputs; whole money, 0.5."""
    left = mc.salvage_value(list_price, percent)

    assert left == pytest.approx(salvage, abs=0.5)
    assert mc.total_depreciation(price, left) == pytest.approx(depreciation, abs=0.5)


def test_real_interest_as_printed():
    """co01, A3-29 copy: 8 % less 3 % inflation is 5 %; a difference of two decimals, so rounding only."""
    assert mc.real_interest_rate(0.08, 0.03) == pytest.approx(0.05, rel=1e-12)


def test_capital_recovery():
    """co03, continuation of co01 (derived): factor to 1e-5, money to 0.1, as the record carries them."""
    assert mc.capital_recovery_factor(0.05, 15.0) == pytest.approx(0.09634, abs=1e-5)
    assert mc.capital_recovery_per_year(93500.0, 25300.0, 0.05, 15.0) == pytest.approx(7835.5, abs=0.1)


@pytest.mark.parametrize(
    ("factors", "age_years", "annual_use_h", "printed_percent"),
    [
        pytest.param(TRACTOR_OVER_112_KW, 15.0, 400.0, 23.0, id="rv01"),
        pytest.param(mc.COMBINE_REMAINING_VALUE, 10.0, 300.0, 22.0, id="rv02"),
    ],
)
def test_remaining_value_as_printed(factors, age_years, annual_use_h, printed_percent):
    """rv01 A3-29, rv02 a Kay-Edwards-Duffy exercise: whole per cents, hence 0.5; factors from memory."""
    found = mc.remaining_value_percent(age_years, annual_use_h, factors)

    assert found == pytest.approx(printed_percent, abs=0.5)


def test_remaining_value_of_the_spreadsheet():
    """rv03, A3-29 spreadsheet: 35,391 of 175,000 at 10 years; implies a sane 413 h/y (weak check)."""

    def excess(hours):
        return mc.remaining_value_percent(10.0, hours, mc.COMBINE_REMAINING_VALUE) - 20.22

    hours = optimize.brentq(excess, 100.0, 1000.0)

    # 0.05 points of 20.22 are what the record allows; they move the hours by about 2 and the value by 90.
    assert hours == pytest.approx(413.0, abs=2.0)
    percent = mc.remaining_value_percent(10.0, 413.0, mc.COMBINE_REMAINING_VALUE)
    assert percent == pytest.approx(20.22, abs=0.05)
    assert mc.salvage_value(175000.0, percent) == pytest.approx(35391.0, abs=90.0)


@pytest.mark.parametrize(("age_years", "printed_percent"), [(1, 73), (3, 54), (5, 42), (8, 31), (10, 25), (12, 20)])
def test_remaining_value_table_of_the_method_page(age_years, printed_percent):
    """Combine at 200 h a year, derived and rounded to whole per cents: 0.5."""
    found = mc.remaining_value_percent(age_years, 200.0, mc.COMBINE_REMAINING_VALUE)

    assert found == pytest.approx(printed_percent, abs=0.5)


@pytest.mark.parametrize(
    ("start", "end", "printed"),
    [
        pytest.param(160000.0, 35391.0, 977.0, id="tih01"),
        pytest.param(32000.0, 11852.0, 219.0, id="tih02"),
    ],
)
def test_taxes_insurance_housing_as_printed(start, end, printed):
    """A3-29 spreadsheet, 1 % of the mean value (that rate derived); printed to whole money, hence 1."""
    assert mc.tih_per_year(start, end, 0.01) == pytest.approx(printed, abs=1.0)


def test_repair_read_off_a_graph():
    """rm01, Growing Produce (A3-29 method): 25 % of 80,000 in 6,000 h is 20,000, 3.33/h; cents, 0.005.

    The 25 % is a graph reading, so the factors here are made to give exactly that.
    """
    quarter_in_6000_h = mc.RepairFactors(0.25 / 6.0, 1.0)

    assert mc.accumulated_repair(6000.0, 80000.0, quarter_in_6000_h) == pytest.approx(20000.0, abs=0.005)
    assert mc.mean_repair_per_h(6000.0, 80000.0, quarter_in_6000_h) == pytest.approx(3.33, abs=0.005)


@pytest.mark.parametrize(
    ("factors", "hours", "percent", "tolerance"),
    [
        # Graph reading: half a point.
        pytest.param(mc.RepairFactors(0.007, 2.0), 6000.0, 25.0, 0.5, id="rm02"),
        # The table's totals are rounded to about 5 points: 4.
        pytest.param(mc.RepairFactors(0.007, 2.0), 12000.0, 100.0, 4.0, id="rm03a"),
        pytest.param(mc.RepairFactors(0.003, 2.0), 16000.0, 80.0, 4.0, id="rm03b"),
        # Rows from memory, held to what the record allows.
        pytest.param(mc.COMBINE_REPAIR, 3000.0, 40.0, 1.0, id="rm04"),
        pytest.param(mc.PULL_TYPE_COMBINE_REPAIR, 2000.0, 60.0, 1.5, id="rm05"),
    ],
)
def test_accumulated_repair_percent_of_list(factors, hours, percent, tolerance):
    """rm02 Growing Produce; rm03 MACHCOST, Univ. of Wisconsin (2006), printed; rm04-05 D497, memory."""
    assert mc.accumulated_repair(hours, 100.0, factors) == pytest.approx(percent, abs=tolerance)


def test_fuel_and_lubricant_as_printed():
    """fu01, Growing Produce: 105 hp, 4.62 gal/h, 15.71 at 3.40/gal, lubricant 2.36; cents, 0.005."""
    rate_l_h = mc.fuel_rate_l_h(105 * KW_PER_HP, mc.DIESEL_YEAR_ROUND_L_KWH)
    fuel = mc.fuel_cost_per_h(rate_l_h, 3.40 / L_PER_GALLON)

    assert rate_l_h / L_PER_GALLON == pytest.approx(4.62, abs=0.005)
    assert fuel == pytest.approx(15.71, abs=0.005)
    assert mc.lubricant_cost_per_h(fuel, mc.LUBRICANT_SHARE_OF_FUEL) == pytest.approx(2.36, abs=0.005)


def test_diesel_rate_agrees_with_its_other_printed_forms():
    """fu02, *Machinery Cost Equations*: 0.06 × 0.73 gal/h/hp; EP496's 0.223 L/kWh (memory); 0.0015."""
    per_hp_gal_h = mc.fuel_rate_l_h(KW_PER_HP, mc.DIESEL_YEAR_ROUND_L_KWH) / L_PER_GALLON

    assert per_hp_gal_h == pytest.approx(0.06 * 0.73, abs=0.0015)
    assert per_hp_gal_h == pytest.approx(0.044, rel=1e-12)
    assert pytest.approx(0.223, abs=0.0015) == mc.DIESEL_YEAR_ROUND_L_KWH


def test_near_full_load_rate_as_printed_and_far_from_the_mean():
    """fu03, Molenhuis: 300 hp, 73 L/h, printed whole, hence 0.5; 1.46 times the year-round rate."""
    full = mc.fuel_rate_l_h(300 * KW_PER_HP, mc.DIESEL_NEAR_FULL_LOAD_L_KWH)

    assert full == pytest.approx(73.0, abs=0.5)
    ratio = mc.DIESEL_NEAR_FULL_LOAD_L_KWH / mc.DIESEL_YEAR_ROUND_L_KWH
    assert ratio == pytest.approx(1.46, abs=0.01)


def test_fuel_by_area_as_printed():
    """fu04, Farm Industry News (Purdue) 2006: soybean 2.02 gal/ac at 3.00 is 6.06/ac; cents, 0.005."""
    capacity_ha_h = 4.0
    rate_l_h = mc.fuel_rate_from_area_l_h(2.02 * L_PER_GALLON / HA_PER_ACRE, capacity_ha_h)
    per_ha = mc.fuel_cost_per_h(rate_l_h, 3.0 / L_PER_GALLON) / capacity_ha_h

    assert per_ha * HA_PER_ACRE == pytest.approx(6.06, abs=0.005)


CO07 = {
    "list_price": 180000.0,
    "purchase_price": 175000.0,
    "salvage_value": 39600.0,
    "life_years": 10.0,
    "annual_use_h": 300.0,
    "hours_at_purchase": 0.0,
    "interest_rate": 0.08,
    "tih_rate": 0.01,
    "repair": mc.COMBINE_REPAIR,
    "fuel_l_h": 0.044 * 240 * L_PER_GALLON,
    "fuel_price_per_l": 3.0 / L_PER_GALLON,
    "lubricant_share": 0.15,
    "wage_per_h": 20.0,
    "labour_multiplier": 1.2,
    "capacity_ha_h": 8 * HA_PER_ACRE,
}


def test_whole_cost_of_a_combine():
    """co07, a Kay-Edwards-Duffy exercise: inputs printed, prices ours, answers derived to 0.02."""
    cost = mc.machine_cost(**CO07)

    assert mc.salvage_value(180000.0, 22.0) == pytest.approx(39600.0, abs=0.02)
    assert mc.fuel_rate_l_h(240 * KW_PER_HP, mc.DIESEL_YEAR_ROUND_L_KWH) == pytest.approx(CO07["fuel_l_h"], rel=1e-12)
    assert cost.capital_recovery_per_year == pytest.approx(23346.59, abs=0.02)
    assert cost.tih_per_year == pytest.approx(1073.0, abs=0.02)
    assert cost.repair_per_year == pytest.approx(7232.48, abs=0.02)
    assert cost.fuel_per_year == pytest.approx(9504.0, abs=0.02)
    assert cost.lubricant_per_year == pytest.approx(1425.6, abs=0.02)
    assert cost.labour_per_year == pytest.approx(7200.0, abs=0.02)
    assert cost.total_per_year == pytest.approx(49781.67, abs=0.02)
    assert cost.total_per_h == pytest.approx(165.94, abs=0.02)
    assert cost.total_per_ha * HA_PER_ACRE == pytest.approx(20.74, abs=0.02)


# --- identities -----------------------------------------------------------------------------------------


def test_machine_cost_parts_add_up_and_cannot_be_changed():
    cost = mc.machine_cost(**CO07)

    assert cost.ownership_per_year + cost.operating_per_year == pytest.approx(cost.total_per_year, rel=1e-14)
    assert cost.total_per_ha * cost.capacity_ha_h * cost.annual_use_h == pytest.approx(cost.total_per_year, rel=1e-12)
    with pytest.raises(dataclasses.FrozenInstanceError):
        cost.tih_per_year = 0.0


def test_repairs_before_the_purchase_are_not_counted():
    """Ten years bought new cost as much as the first four and the next six together."""
    whole = mc.machine_cost(**CO07).repair_per_year * 10
    first = mc.machine_cost(**(CO07 | {"life_years": 4.0})).repair_per_year * 4
    then = mc.machine_cost(**(CO07 | {"life_years": 6.0, "hours_at_purchase": 1200.0})).repair_per_year * 6

    assert first + then == pytest.approx(whole, rel=1e-12)
    assert then / 6 > first / 4


@given(price=st.floats(1e3, 1e6), part=st.floats(0.0, 1.0), rate=st.floats(-0.4, 1.0), years=st.integers(1, 40))
def test_capital_recovery_pays_the_price_less_the_salvage_value_of_today(price, part, rate, years):
    """Definition: the yearly sums discounted to today equal price − salvage·(1+i)⁻ⁿ."""
    salvage = price * part
    yearly = mc.capital_recovery_per_year(price, salvage, rate, years)
    today = math.fsum((1.0 + rate) ** -year for year in range(1, years + 1)) * yearly

    # Negative rates blow single terms up and cancel them: relative to the largest of them.
    largest = max(price, salvage * (1.0 + rate) ** -years)
    assert today == pytest.approx(price - salvage * (1.0 + rate) ** -years, abs=1e-9 * largest)


@pytest.mark.parametrize("rate", [0.0, 1e-300, -1e-16, 1e-15, -1e-14, 1e-12, 1e-9])
def test_capital_recovery_factor_goes_smoothly_to_its_limit(rate):
    """i → 0 gives 1/n; the next term of the series is (n+1)/(2n)·i, what is left is below 1e-13."""
    expected = 1.0 / 15.0 + (16.0 / 30.0) * rate

    assert mc.capital_recovery_factor(rate, 15.0) == pytest.approx(expected, rel=1e-13, abs=0.0)


def test_without_interest_capital_recovery_is_straight_line_depreciation():
    yearly = mc.capital_recovery_per_year(93500.0, 25300.0, 0.0, 15.0)

    assert yearly == pytest.approx(mc.depreciation_per_h(93500.0, 25300.0, 15.0, 400.0) * 400, rel=1e-12)


def test_interest_per_hour_is_interest_on_the_mean_value():
    """(price + salvage)·i/(2h): mean of 93,500 and 25,300 is 59,400; 5 % over 400 h is 7.425."""
    assert mc.interest_per_h(93500.0, 25300.0, 0.05, 400.0) == pytest.approx(7.425, rel=1e-12)


@pytest.mark.parametrize("factors", [mc.COMBINE_REPAIR, mc.PULL_TYPE_COMBINE_REPAIR, mc.RepairFactors(0.007, 2.0)])
@pytest.mark.parametrize("hours", [50.0, 1200.0, 3000.0])
def test_marginal_repair_is_the_derivative_of_accumulated_repair(factors, hours):
    """Central difference over ±1 h: its error goes with (1/hours)², at most 1e-4 of the slope at 50 h."""
    step = 1.0
    slope = (mc.accumulated_repair(hours + step, 5e5, factors) - mc.accumulated_repair(hours - step, 5e5, factors)) / (
        2 * step
    )

    assert mc.marginal_repair_per_h(hours, 5e5, factors) == pytest.approx(slope, rel=(step / hours) ** 2 + 1e-9)


@pytest.mark.parametrize(("age", "use"), [(1.0, 50.0), (10.0, 300.0), (15.0, 200.0)])
def test_marginal_depreciation_is_the_loss_of_value_by_hours_at_fixed_age(age, use):
    """Central difference of list × RV by the total hours n·h; ±0.01 h a year, error of order (0.01/50)²."""
    step = 0.01

    def value(hours_per_year):
        percent = mc.remaining_value_percent(age, hours_per_year, mc.COMBINE_REMAINING_VALUE)
        return mc.salvage_value(5e5, percent)

    slope = (value(use - step) - value(use + step)) / (2 * step * age)

    found = mc.marginal_depreciation_per_h(age, use, 5e5, mc.COMBINE_REMAINING_VALUE)
    assert found == pytest.approx(slope, rel=1e-6)


@given(hours=st.floats(1.0, 2e4), rf2=st.floats(1.0, 5.0))
def test_marginal_repair_is_rf2_times_the_mean(hours, rf2):
    factors = mc.RepairFactors(0.04, rf2)
    mean = mc.mean_repair_per_h(hours, 5e5, factors)

    assert mc.marginal_repair_per_h(hours, 5e5, factors) == pytest.approx(rf2 * mean, rel=1e-12)


def test_exact_constants():
    assert pytest.approx(231 * 2.54**3 / 1000, rel=1e-15) == mc.L_PER_US_GALLON
    assert pytest.approx(KW_PER_HP, rel=1e-14) == mc.KW_PER_HP


# --- monotony, shape, no NaN ----------------------------------------------------------------------------


@given(st.floats(1.0, 20.0), st.floats(0.0, 10.0), st.floats(0.0, 600.0), st.floats(0.0, 200.0))
def test_older_and_busier_is_worth_less(age, older, use, busier):
    factors = mc.COMBINE_REMAINING_VALUE

    here = mc.remaining_value_percent(age, use, factors)

    assert 0.0 <= here <= 100.0
    assert mc.remaining_value_percent(age + older, use, factors) <= here * ROUNDING
    assert mc.remaining_value_percent(age, use + busier, factors) <= here * ROUNDING


@given(st.floats(0.0, 2e4), st.floats(0.0, 2e4))
def test_repairs_grow_with_the_hours(less, more):
    less, more = sorted((less, more))
    factors = mc.COMBINE_REPAIR

    assert mc.accumulated_repair(less, 5e5, factors) <= mc.accumulated_repair(more, 5e5, factors) * ROUNDING
    assert mc.marginal_repair_per_h(less, 5e5, factors) <= mc.marginal_repair_per_h(more, 5e5, factors) * ROUNDING


@given(rate=st.floats(-0.5, 1.0), more=st.floats(0.0, 0.5), years=st.floats(0.5, 100.0))
def test_dearer_money_costs_more_and_the_factor_is_never_nan(rate, more, years):
    dear = min(rate + more, 1.0)
    here = mc.capital_recovery_factor(rate, years)

    assert here > 0.0
    # 1e-12: expm1 and log1p are good to a few units of the last place, not exactly monotone in it.
    assert here <= mc.capital_recovery_factor(dear, years) * (1.0 + 1e-12)


@given(
    rate=st.floats(-0.5, 1.0),
    years=st.floats(1e-50, 100.0),
    use=st.floats(1e-50, 8784.0),
    power=st.floats(1e-50, 1e50),
)
def test_no_accepted_number_ends_in_nan_or_a_division_by_zero(rate, years, use, power):
    results = [
        mc.capital_recovery_per_year(power, power / 2, rate, years),
        mc.depreciation_per_h(power, 0.0, years, use),
        mc.interest_per_h(power, power, rate, use),
        mc.marginal_depreciation_per_h(1.0, min(use, 500.0), power, mc.COMBINE_REMAINING_VALUE),
        mc.mean_repair_per_h(use, power, mc.COMBINE_REPAIR),
        mc.fuel_rate_l_h(power, 0.3),
    ]

    assert all(math.isfinite(value) for value in results)


SWEEPS = [
    (mc.remaining_value_percent, np.array([1.0, 4.0, 12.0]), (300.0, mc.COMBINE_REMAINING_VALUE)),
    (mc.salvage_value, np.array([1e5, 2e5, 5e5]), (22.0,)),
    (mc.accumulated_repair, np.array([0.0, 500.0, 3000.0]), (5e5, mc.COMBINE_REPAIR)),
    (mc.marginal_repair_per_h, np.array([0.0, 500.0, 3000.0]), (5e5, mc.COMBINE_REPAIR)),
    (mc.mean_repair_per_h, np.array([5, 500, 3000]), (5e5, mc.COMBINE_REPAIR)),
    (mc.marginal_depreciation_per_h, np.array([1.0, 4.0, 12.0]), (300.0, 5e5, mc.COMBINE_REMAINING_VALUE)),
    (mc.fuel_rate_l_h, np.array([100.0, 300.0]), (0.3,)),
    (mc.fuel_rate_from_area_l_h, np.array([0.0, 15.0]), (4.0,)),
    (mc.fuel_cost_per_h, np.array([0.0, 60.0]), (1.2,)),
    (mc.lubricant_cost_per_h, np.array([0.0, 70.0]), (0.15,)),
    (mc.labour_cost_per_h, np.array([0.0, 30.0]), (1.2,)),
]


@pytest.mark.parametrize(("call", "sweep", "rest"), SWEEPS, ids=[row[0].__name__ for row in SWEEPS])
def test_a_sweep_gives_what_the_single_calls_give(call, sweep, rest):
    together = call(sweep, *rest)
    singly = [call(value, *rest) for value in sweep.tolist()]

    assert together.shape == sweep.shape
    np.testing.assert_allclose(together, singly, rtol=1e-14)
    assert all(type(value) is float for value in singly)


# --- hostile input --------------------------------------------------------------------------------------

RV, RM = mc.COMBINE_REMAINING_VALUE, mc.COMBINE_REPAIR
GOOD_CALLS = [
    (mc.remaining_value_percent, {"age_years": 10.0, "annual_use_h": 300.0, "factors": RV}),
    (mc.salvage_value, {"list_price": 1e5, "remaining_value_percent": 22.0}),
    (mc.total_depreciation, {"purchase_price": 1e5, "salvage_value": 2e4}),
    (
        mc.depreciation_per_h,
        {"purchase_price": 1e5, "salvage_value": 2e4, "life_years": 10.0, "annual_use_h": 300.0},
    ),
    (
        mc.interest_per_h,
        {"purchase_price": 1e5, "salvage_value": 2e4, "interest_rate": 0.05, "annual_use_h": 300.0},
    ),
    (mc.real_interest_rate, {"nominal_rate": 0.08, "inflation_rate": 0.03}),
    (mc.capital_recovery_factor, {"interest_rate": 0.05, "life_years": 10.0}),
    (
        mc.capital_recovery_per_year,
        {"purchase_price": 1e5, "salvage_value": 2e4, "interest_rate": 0.05, "life_years": 10.0},
    ),
    (mc.tih_per_year, {"start_value": 1e5, "end_value": 2e4, "tih_rate": 0.01}),
    (mc.accumulated_repair, {"total_h": 1000.0, "list_price": 1e5, "factors": RM}),
    (mc.marginal_repair_per_h, {"total_h": 1000.0, "list_price": 1e5, "factors": RM}),
    (mc.mean_repair_per_h, {"total_h": 1000.0, "list_price": 1e5, "factors": RM}),
    (
        mc.marginal_depreciation_per_h,
        {"age_years": 10.0, "annual_use_h": 300.0, "list_price": 1e5, "factors": RV},
    ),
    (mc.fuel_rate_l_h, {"power_kw": 300.0, "fuel_l_kwh": 0.3}),
    (mc.fuel_rate_from_area_l_h, {"fuel_l_ha": 15.0, "capacity_ha_h": 4.0}),
    (mc.fuel_cost_per_h, {"fuel_l_h": 60.0, "fuel_price_per_l": 1.2}),
    (mc.lubricant_cost_per_h, {"fuel_cost_per_h": 70.0, "lubricant_share": 0.15}),
    (mc.labour_cost_per_h, {"wage_per_h": 30.0, "labour_multiplier": 1.2}),
    (mc.RemainingValueFactors, {"c1": 1.1, "c2": 0.1, "c3": 0.01}),
    (mc.RepairFactors, {"rf1": 0.04, "rf2": 2.1}),
    (mc.machine_cost, CO07),
]
EACH_ARGUMENT = [
    pytest.param(call, good, name, id=f"{call.__name__}-{name}")
    for call, good in GOOD_CALLS
    for name in good
    if name not in {"factors", "repair"}
]


@pytest.mark.parametrize(("call", "good", "name"), EACH_ARGUMENT)
@pytest.mark.parametrize("bad", [-1.0, math.nan, math.inf, True, "5", None, 1e300], ids=repr)
def test_every_argument_of_every_function_is_checked_by_name(call, good, name, bad):
    with pytest.raises(InputError) as caught:
        call(**(good | {name: bad}))

    assert caught.value.field == name
    assert caught.value.mend


@pytest.mark.parametrize(
    ("call", "name"),
    [
        (mc.total_depreciation, "purchase_price"),
        (mc.total_depreciation, "salvage_value"),
        (mc.capital_recovery_factor, "interest_rate"),
        (mc.capital_recovery_factor, "life_years"),
        (mc.depreciation_per_h, "annual_use_h"),
        (mc.remaining_value_percent, "annual_use_h"),
    ],
)
def test_scalar_arguments_refuse_arrays(call, name):
    good = dict(GOOD_CALLS)[call]

    with pytest.raises(InputError, match=name):
        call(**(good | {name: np.array([0.5, 0.6])}))


@pytest.mark.parametrize(
    ("age", "use"),
    [
        pytest.param(0.5, 300.0, id="younger than a year"),
        pytest.param(47.5, 0.0, id="bracket below zero by age"),
        pytest.param(10.0, 6000.0, id="bracket below zero by hours"),
        pytest.param(np.array([1.0, 10.0, 60.0]), 0.0, id="one of a sweep"),
    ],
)
def test_remaining_value_refuses_where_the_formula_has_run_out(age, use):
    with pytest.raises(InputError, match="age_years") as caught:
        mc.remaining_value_percent(age, use, mc.COMBINE_REMAINING_VALUE)

    assert "type" in caught.value.mend


def test_remaining_value_above_the_list_price_is_refused():
    with pytest.raises(InputError, match="outside what the remaining-value formula can say"):
        mc.remaining_value_percent(1.0, 0.0, mc.RemainingValueFactors(1.2, 0.1, 0.0))


def test_salvage_above_the_price_is_refused():
    assert mc.total_depreciation(1e5, 1e5) == 0.0
    with pytest.raises(InputError, match="salvage_value: is above the purchase price 100000"):
        mc.total_depreciation(1e5, 1.0001e5)


@pytest.mark.parametrize(
    ("call", "change", "mend"),
    [
        (mc.capital_recovery_factor, {"interest_rate": 8.0}, "0.08"),
        (mc.tih_per_year, {"tih_rate": 1.5}, "0.01"),
        (mc.lubricant_cost_per_h, {"lubricant_share": 15.0}, "0.15"),
        (mc.depreciation_per_h, {"annual_use_h": 9000.0}, "8784"),
        (mc.capital_recovery_factor, {"life_years": 2026.0}, "100"),
        (mc.accumulated_repair, {"total_h": 2e6}, "since new"),
        (mc.labour_cost_per_h, {"labour_multiplier": 0.9}, "from 1"),
        (mc.RepairFactors, {"rf2": 0.9}, "from 1"),
    ],
)
def test_slips_of_unit_are_mended_in_words(call, change, mend):
    good = dict(GOOD_CALLS)[call]

    with pytest.raises(InputError) as caught:
        call(**(good | change))

    assert mend in caught.value.mend
