"""The best pace against closed forms, numerical optima, the published example and identities of an optimum."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pace_worlds import FARM, HANDBOOK, PRICE_PER_T, SPEEDS_KMH, YIELD_T_HA, certain, cost_of, drawn
from scipy import optimize

from chaffinch.engine import work
from chaffinch.engine.pace.best import best_pace, break_even_loss_kg_ha
from chaffinch.engine.pace.curves import LossAtSpeeds


def square_law(speed):
    """1 % of 3 t/ha at 5 km/h, rising with the square of the speed [kg/ha]."""
    return 0.01 * 1000 * YIELD_T_HA * (np.asarray(speed) / 5.0) ** 2


# --- the published example ------------------------------------------------------------------------------------------


def test_the_example_of_the_design():
    """H 500/h, W 12 m, e 0.75, 1993.20/ha, 1 % at 5 km/h, n 2 (derived, design §4.8): to the last digit given."""
    found = best_pace(certain(square_law), **HANDBOOK)

    assert found.best_kmh == pytest.approx(7.0366, abs=5e-5)
    loss = found.loss_at_best_kg_ha.median
    assert 100 * loss / (1000 * YIELD_T_HA) == pytest.approx(1.9805, abs=5e-5)
    # 78.9524, 39.4762 and 118.4286 are given to the fourth digit, and the optimum is flat.
    assert found.time_cost_per_ha == pytest.approx(78.9524, abs=1e-4)
    assert found.loss_cost_per_ha == pytest.approx(39.4762, abs=1e-4)
    assert found.mean_cost_per_ha == pytest.approx(118.4286, abs=5e-5)
    assert found.limit_that_pays_kg_ha == found.loss_at_best_kg_ha


def test_half_a_kilometre_either_side_of_the_example():
    """119.0570 and 119.0001 (derived, response notes 7.2), through the table of the answer."""
    best = best_pace(certain(square_law), **HANDBOOK).best_kmh
    speeds = np.array([3.0, best - 0.5, best, best + 0.5, 12.0])
    rows = best_pace(certain(square_law, speeds=speeds), **HANDBOOK).table

    assert [round(row.mean_cost_per_ha, 4) for row in rows[1:4]] == [119.0570, 118.4286, 119.0001]


def test_what_a_day_of_the_example_costs_at_today_s_speed():
    found = best_pace(certain(square_law), today_kmh=9.0, **HANDBOOK)
    capacity = work.field_capacity_ha_h(9.0, 12.0, 0.75)

    # C(9) = 500/(0.1·12·0.75·9) + 1993.20·0.01·(9/5)² = 61.7284 + 64.5797 by hand.
    assert found.today.mean_extra_per_ha == pytest.approx(61.7284 + 64.5797 - 118.4286, abs=2e-4)
    assert found.today.extra_per_h.median == pytest.approx(found.today.mean_extra_per_ha * capacity, rel=1e-9)
    assert found.today.p_too_fast == 1.0


# --- closed forms ---------------------------------------------------------------------------------------------------

WORLD = {
    "width": st.floats(4.0, 18.0),
    "hour": st.floats(50.0, 1500.0),
    "price": st.floats(80.0, 900.0),
    "efficiency": st.floats(0.4, 1.0),
}


@settings(max_examples=60, deadline=None)
@given(level=st.floats(1.0, 200.0), n=st.floats(0.3, 4.0), **WORLD)
def test_power_law(level, n, width, hour, price, efficiency):
    """v = (K/(n·V·a))^(1/(n+1)) and loss cost = time cost / n, with K = H/(0.1·w·e)."""
    k = hour / (0.1 * width * efficiency)
    best = (k / (n * price / 1000 * level)) ** (1 / (n + 1))
    speeds = np.geomspace(best / 3, best * 3, 12)
    found = best_pace(
        certain(lambda v: level * v**n, speeds=speeds, tested=(best / 2, best * 2)),
        width_m=width,
        price_per_t=price,
        hour_cost_per_h=hour,
        constant_efficiency=efficiency,
    )

    # A power law is a straight line between ln v and ln loss: only the search rounds.
    assert found.best_kmh == pytest.approx(best, rel=1e-6)
    assert found.loss_cost_per_ha == pytest.approx(found.time_cost_per_ha / n, rel=1e-5)
    assert found.mean_cost_per_ha == pytest.approx(k / best * (1 + 1 / n), rel=1e-9)


@settings(max_examples=60, deadline=None)
@given(level=st.floats(1.0, 100.0), b=st.floats(0.05, 0.6), **WORLD)
def test_exponential(level, b, width, hour, price, efficiency):
    """L* = (time cost / V)/(b·v): the optimum solves v²·b·a·e^(bv)·P/1000 = K."""
    k = hour / (0.1 * width * efficiency)
    value = price / 1000

    def slope(v):
        return v * v * b * value * level * math.exp(b * v) - k

    best = optimize.brentq(slope, 1e-6, 1e3 / b**0.5 if b < 0.1 else 600.0)
    speeds = np.linspace(best / 2, best * 1.8, 25)
    found = best_pace(
        certain(lambda v: level * np.exp(b * v), speeds=speeds, tested=(best * 0.6, best * 1.7)),
        width_m=width,
        price_per_t=price,
        hour_cost_per_h=hour,
        constant_efficiency=efficiency,
    )

    # The cubic between 25 speeds bends a little otherwise than the exponential: 1e-4 of the speed.
    assert found.best_kmh == pytest.approx(best, rel=1e-4)
    assert found.loss_at_best_kg_ha.median == pytest.approx(
        found.time_cost_per_ha / value / (b * found.best_kmh), rel=5e-4
    )


@settings(max_examples=40, deadline=None)
@given(
    level=st.floats(3.0, 80.0),
    n=st.floats(0.5, 3.5),
    header=st.floats(1.0, 60.0),
    m=st.floats(-1.5, 1.5),
    lost=st.floats(0.0, 0.3),
    width=WORLD["width"],
    hour=WORLD["hour"],
    price=WORLD["price"],
)
def test_analytic_against_numerical_optimum(level, n, header, m, lost, width, hour, price):
    """Two power laws and a lost time: no closed form, so a minimiser of scipy's on the formula written out."""
    loss = certain(
        lambda v: level * (v / 6) ** n, lambda v: header * (v / 6) ** m, speeds=SPEEDS_KMH, tested=(3.5, 10.5)
    )
    job = {"width_m": width, "price_per_t": price, "hour_cost_per_h": hour, "lost_time_h_ha": lost}
    found = best_pace(loss, **job)
    low, high = loss.recommendable_kmh()

    def cost(v):
        return cost_of(lambda x: level * (x / 6) ** n + header * (x / 6) ** m, v, **job)

    grid = np.geomspace(low, high, 2001)
    start = int(np.argmin([cost(v) for v in grid]))
    ends = grid[max(start - 1, 0)], grid[min(start + 1, 2000)]
    other = optimize.minimize_scalar(cost, bounds=ends, method="bounded", options={"xatol": 1e-10})

    # The least cost is what matters; where it is flat the speed itself is only as sharp as its square root.
    assert found.mean_cost_per_ha == pytest.approx(min(other.fun, cost(low), cost(high)), rel=1e-9)
    assert cost(found.best_kmh) == pytest.approx(found.mean_cost_per_ha, rel=1e-9)
    if found.at_edge is not None:
        assert found.best_kmh in (low, high)
        # On the edge: not below it one step inside.
        inside = low * 1.0001 if found.best_kmh == low else high / 1.0001
        assert cost(inside) >= cost(found.best_kmh) * (1 - 1e-9)
    if found.at_edge is None:
        # Envelope: v·L'(v)·P = cost of the cutting time.
        pull = level * n * (found.best_kmh / 6) ** n + header * m * (found.best_kmh / 6) ** m
        assert price / 1000 * pull == pytest.approx(hour * 10 / (found.best_kmh * width), rel=1e-4)


@given(speed=st.floats(1.0, 15.0), n=st.floats(0.2, 4.0), width=WORLD["width"], hour=WORLD["hour"])
def test_break_even_loss_is_where_the_cost_is_level(speed, n, width, hour):
    level = break_even_loss_kg_ha(speed, width_m=width, hour_cost_per_h=hour, price_per_t=600.0, exponent=n)

    def cost(v):
        return cost_of(
            lambda x: level * (x / speed) ** n,
            v,
            width_m=width,
            price_per_t=600.0,
            hour_cost_per_h=hour,
            lost_time_h_ha=0.1,
        )

    h = 1e-4 * speed
    # A central difference errs by h²; 1e-6 of the cost per unit of ln v.
    assert (cost(speed + h) - cost(speed - h)) / (2 * h) * speed == pytest.approx(0.0, abs=1e-6 * cost(speed))


def test_with_a_square_law_the_limit_is_worth_half_the_cutting_hour():
    limit = break_even_loss_kg_ha(6.0, width_m=12.0, hour_cost_per_h=480.0, price_per_t=600.0, exponent=2.0)

    # 480 money/h at 7.2 ha/h is 66.67 money/ha; half of it buys 55.6 kg at 0.60.
    assert limit == pytest.approx(480 / 7.2 / 2 / 0.6)


# --- the draws ------------------------------------------------------------------------------------------------------


def test_the_mean_is_minimised_not_the_median_curve():
    loss = drawn(level_sd=0.6, slope_sd=0.6, tested=(3.5, 11.0))
    found = best_pace(loss, **FARM)
    mean = loss.weights @ loss.machine_kg_ha
    straight = best_pace(LossAtSpeeds(SPEEDS_KMH, mean[None, :], None, np.ones(1), (3.5, 11.0)), **FARM)
    middle = np.median(loss.machine_kg_ha, axis=0)
    median = best_pace(LossAtSpeeds(SPEEDS_KMH, middle[None, :], None, np.ones(1), (3.5, 11.0)), **FARM)

    # The mean of cubics in the log is not quite the cubic of the mean: 1e-3.
    assert found.best_kmh == pytest.approx(straight.best_kmh, rel=1e-3)
    assert found.best_kmh < 0.97 * median.best_kmh


def test_own_best_speeds_are_each_draw_s_own():
    loss = drawn(tested=(3.5, 11.0), draws=300)
    found = best_pace(loss, **FARM)
    one_by_one = [
        best_pace(LossAtSpeeds(SPEEDS_KMH, row[None, :], None, np.ones(1), (3.5, 11.0)), **FARM)
        for row in loss.machine_kg_ha
    ]
    own = np.array([one.best_kmh for one in one_by_one])

    # 300 draws, interpolated at the middle of their weights; a parabola on the coarse grid against the fine one.
    assert found.own_best_kmh.low == pytest.approx(np.quantile(own, 0.05), rel=2e-3)
    assert found.own_best_kmh.high == pytest.approx(np.quantile(own, 0.95), rel=2e-3)
    # 12 km/h, the fastest given, comes before 10 % beyond 11.
    # A draw within the last of 300 cells counts as on it.
    on_edge = np.mean([one.at_edge == "fastest given" for one in one_by_one])
    assert found.p_at_edges[1] == pytest.approx(on_edge, abs=2 / 300)
    saved = found.mean_cost_per_ha - np.mean([one.mean_cost_per_ha for one in one_by_one])
    assert found.knowing_per_ha == pytest.approx(saved, abs=1e-6)
    assert found.knowing_per_ha > 0


def test_weights_count_as_repeats():
    loss = drawn(draws=64)
    rng = np.random.default_rng(3)
    times = rng.integers(1, 6, 64)
    weighted = LossAtSpeeds(SPEEDS_KMH, loss.machine_kg_ha, None, times / times.sum(), loss.tested_kmh)
    repeated = np.repeat(loss.machine_kg_ha, times, axis=0)
    equal = LossAtSpeeds(SPEEDS_KMH, repeated, None, np.full(times.sum(), 1 / times.sum()), loss.tested_kmh)

    a, b = best_pace(weighted, today_kmh=8.0, **FARM), best_pace(equal, today_kmh=8.0, **FARM)
    assert a.best_kmh == pytest.approx(b.best_kmh, rel=1e-9)
    assert a.mean_cost_per_ha == pytest.approx(b.mean_cost_per_ha, rel=1e-12)
    assert a.today.p_too_fast == pytest.approx(b.today.p_too_fast, abs=1e-12)


def test_the_answer_does_not_hang_on_the_block_size(monkeypatch):
    loss = drawn(draws=500)
    whole = best_pace(loss, today_kmh=8.0, **FARM)
    monkeypatch.setattr("chaffinch.engine.pace.cost._ROWS", 7)

    small = best_pace(loss, today_kmh=8.0, **FARM)
    assert small.best_kmh == pytest.approx(whole.best_kmh, rel=1e-9)
    assert small.own_best_kmh.median == pytest.approx(whole.own_best_kmh.median, rel=1e-9)


def test_the_table_adds_up():
    loss = drawn(header=(15.0, 0.2, -0.5, 0.2), draws=200)
    found = best_pace(loss, **FARM)

    for column, row in enumerate(found.table):
        both = loss.machine_kg_ha[:, column] + loss.header_kg_ha[:, column]
        assert row.loss_kg_ha.median == pytest.approx(np.median(both), rel=1e-9)
        assert row.loss_cost_per_ha == pytest.approx(both.mean() * PRICE_PER_T / 1000)
        assert row.time_h_ha == pytest.approx(work.time_per_ha_h(row.speed_kmh, 12.0, 0.07))
        assert row.mean_cost_per_ha == pytest.approx(row.loss_cost_per_ha + 500 * row.time_h_ha)
        assert row.cost_per_ha.median == pytest.approx(np.median(both) * PRICE_PER_T / 1000 + 500 * row.time_h_ha)
        assert row.machine_kg_ha.high == pytest.approx(np.quantile(loss.machine_kg_ha[:, column], 0.95), rel=0.01)
        assert row.header_kg_ha.high == pytest.approx(np.quantile(loss.header_kg_ha[:, column], 0.95), rel=0.01)
        assert row.tested == (4.0 <= row.speed_kmh <= 9.0)


# --- the band -------------------------------------------------------------------------------------------------------


@settings(max_examples=30, deadline=None)
@given(hour=st.floats(100.0, 1000.0), unit=st.floats(0.0, 10.0))
def test_at_the_ends_of_the_band_the_extra_cost_is_the_tolerance(hour, unit):
    job = {**FARM, "hour_cost_per_h": hour}
    found = best_pace(certain(square_law), one_currency_unit=unit, **job)

    assert found.tolerance_per_ha == pytest.approx(max(0.01 * found.mean_cost_per_ha, unit))
    low, high = certain(square_law).recommendable_kmh()
    for end in found.band_kmh:
        extra = cost_of(square_law, end, **job) - found.mean_cost_per_ha
        if end in (low, high):
            assert extra <= found.tolerance_per_ha
        else:
            # Straight lines between 301 speeds: 1e-3 of the tolerance.
            assert extra == pytest.approx(found.tolerance_per_ha, rel=2e-3)
    assert found.band_kmh[0] < found.best_kmh < found.band_kmh[1]


def test_the_band_is_the_valley_of_the_best_pace_alone():
    """A shoe that loses at light load and twice has a valley: the far valley is not part of the band."""
    speeds = np.linspace(3, 12, 91)

    def two_valleys(v):
        return 100 - 76 * np.exp(-(((v - 5) / 0.5) ** 2)) - 74 * np.exp(-(((v - 9) / 0.5) ** 2))

    found = best_pace(certain(two_valleys, speeds=speeds), **{**FARM, "hour_cost_per_h": 20.0})
    by_speed = {round(row.speed_kmh, 1): row.mean_cost_per_ha for row in found.table}

    # The far one would do as well.
    assert by_speed[5.0] - found.mean_cost_per_ha < found.tolerance_per_ha
    assert found.best_kmh == pytest.approx(9.0, abs=0.1)
    assert 8.5 < found.band_kmh[0] < 9.0 < found.band_kmh[1] < 9.5


# --- directions -----------------------------------------------------------------------------------------------------


def test_a_header_that_loses_less_when_faster_moves_the_pace_up():
    alone = best_pace(certain(square_law), **FARM)
    falling = best_pace(certain(square_law, lambda v: 40.0 * (v / 6) ** -1.0), **FARM)
    rising = best_pace(certain(square_law, lambda v: 40.0 * (v / 6) ** 1.0), **FARM)
    flat = best_pace(certain(square_law, lambda v: np.full(v.shape, 40.0)), **FARM)

    assert rising.best_kmh < alone.best_kmh < falling.best_kmh
    # A loss that speed does not change costs money and moves nothing.
    assert flat.best_kmh == pytest.approx(alone.best_kmh, rel=1e-6)
    assert flat.mean_cost_per_ha - alone.mean_cost_per_ha == pytest.approx(0.04 * PRICE_PER_T, rel=1e-9)
    assert (alone.machine_only, falling.machine_only) == (True, False)
    assert ("header not measured" in alone.remarks, "header not measured" in falling.remarks) == (True, False)


@settings(max_examples=30, deadline=None)
@given(hour=st.floats(50.0, 800.0), more=st.floats(1.05, 3.0), width=st.floats(6.0, 15.0))
def test_dearer_hours_faster_dearer_grain_slower_wider_slower(hour, more, width):
    job = {**FARM, "hour_cost_per_h": hour, "width_m": width}
    base = best_pace(certain(square_law), **job).best_kmh

    def other(**change):
        return best_pace(certain(square_law), **{**job, **change}).best_kmh

    # Equal only where both stand on the same edge.
    assert other(hour_cost_per_h=hour * more) >= base
    assert other(price_per_t=PRICE_PER_T * more) <= base
    assert other(width_m=width * more) <= base
    # Lost time is paid at any speed; money of another name changes nothing.
    assert other(lost_time_h_ha=0.3) == pytest.approx(base, rel=1e-6)
    assert other(hour_cost_per_h=hour * 7, price_per_t=PRICE_PER_T * 7) == pytest.approx(base, rel=1e-6)


def test_constant_efficiency_promises_more_from_speed():
    lost = work.lost_time_h_ha(0.75, 5.0, 12.0)
    fixed = best_pace(certain(square_law), **{**FARM, "lost_time_h_ha": lost}).best_kmh

    assert fixed < best_pace(certain(square_law), **HANDBOOK).best_kmh
    # (K·e)^(1/3) against K^(1/3): e^(1/3).
    assert fixed / 7.036589 == pytest.approx(0.75 ** (1 / 3), rel=1e-5)
