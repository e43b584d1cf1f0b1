"""Loss curves for the pace: reading between speeds, pairing two posteriors, and what is refused."""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import pytest
from pace_worlds import FARM, SPEEDS_KMH, certain, drawn

from chaffinch.engine.pace.best import best_pace, break_even_loss_kg_ha
from chaffinch.engine.pace.curves import Between, LossAtSpeeds, pair_posteriors
from chaffinch.errors import InputError

GOOD = {
    "speed_kmh": np.array([3.0, 5.0, 7.0, 9.0]),
    "machine_kg_ha": np.full((2, 4), 20.0),
    "header_kg_ha": None,
    "weights": np.array([0.5, 0.5]),
    "tested_kmh": (4.0, 8.0),
}


def test_between_the_speeds_lies_the_curve():
    def bent(v):
        return 20 * np.exp(1.3 * ((v / 6) ** 0.7 - 1) / 0.7) + 8 * np.exp(-2 * (v - 3))

    speeds = np.linspace(3.1, 11.9, 60)
    read = Between(certain(bent, lambda v: 10 * (v / 6) ** -0.5)).loss_kg_ha(speeds)[0]

    # 19 speeds, half a kilometre apart.
    assert read == pytest.approx(bent(speeds) + 10 * (speeds / 6) ** -0.5, rel=2e-3)


def test_beyond_the_speeds_nothing_is_read():
    with pytest.raises(InputError):
        Between(certain(lambda v: 10 + v)).loss_kg_ha(np.array([12.1]))


def test_two_posteriors_are_put_together_as_independent():
    rng = np.random.default_rng(5)
    # In rising order, so that the same point used for both would show.
    machine = np.exp(np.sort(rng.normal(3, 0.4, (3000, 1)), axis=0)) * np.ones(4)
    header = np.exp(np.sort(rng.normal(2, 0.6, (700, 1)), axis=0)) * np.ones(4)
    w, v = rng.exponential(1.0, 3000), rng.exponential(1.0, 700)
    loss = pair_posteriors(GOOD["speed_kmh"], (machine, w), (header, v), tested_kmh=None, draws=8192)

    # 8192 evenly scattered points of a row in order: the means to 0.5 %, and no correlation.
    assert loss.machine_kg_ha[:, 0].mean() == pytest.approx(np.average(machine[:, 0], weights=w), rel=0.005)
    assert loss.header_kg_ha[:, 0].mean() == pytest.approx(np.average(header[:, 0], weights=v), rel=0.005)
    assert abs(np.corrcoef(loss.machine_kg_ha[:, 0], loss.header_kg_ha[:, 0])[0, 1]) < 0.05
    assert loss.weights == pytest.approx(np.full(8192, 1 / 8192))


def test_pairing_takes_the_same_draws_for_the_same_seed_and_none_of_weight_nothing():
    machine = np.arange(1.0, 9.0)[:, None] * np.ones(4)
    weights = np.array([0.0, 1.0, 0.0, 2.0, 1.0, 0.0, 0.0, 0.0])
    first = pair_posteriors(GOOD["speed_kmh"], (machine, weights), None, tested_kmh=(4.0, 8.0), seed=3)
    again = pair_posteriors(GOOD["speed_kmh"], (machine, weights), None, tested_kmh=(4.0, 8.0), seed=3)

    assert first.header_kg_ha is None
    assert (first.machine_kg_ha == again.machine_kg_ha).all()
    values, counts = np.unique(first.machine_kg_ha[:, 0], return_counts=True)
    assert values.tolist() == [2.0, 4.0, 5.0]
    # Sobol points: the counts are even to a draw or two.
    assert counts == pytest.approx([512, 1024, 512], abs=2)


def test_a_tenth_beyond_the_speeds_tested_and_within_those_given():
    assert LossAtSpeeds(**GOOD).recommendable_kmh() == pytest.approx((3.6, 8.8))
    assert LossAtSpeeds(**{**GOOD, "tested_kmh": None}).recommendable_kmh() == (3.0, 9.0)
    assert LossAtSpeeds(**{**GOOD, "tested_kmh": (2.0, 20.0)}).recommendable_kmh() == (3.0, 9.0)
    # Checked at one speed: a tenth either side.
    assert LossAtSpeeds(**{**GOOD, "tested_kmh": (5.0, 5.0)}).recommendable_kmh() == pytest.approx((4.5, 5.5))
    assert 4.5 <= best_pace(drawn(tested=(5.0, 5.0)), **FARM).best_kmh <= 5.5


BAD_CURVES = [
    ({"speed_kmh": np.array([3.0, 5.0, 7.0])}, "speed_kmh"),
    ({"speed_kmh": np.array([[3.0, 5.0, 7.0, 9.0]])}, "speed_kmh"),
    ({"speed_kmh": 5.0}, "speed_kmh"),
    ({"speed_kmh": np.array([3.0, 5.0, 5.0, 9.0])}, "speed_kmh"),
    ({"speed_kmh": np.array([3.0, 7.0, 5.0, 9.0])}, "speed_kmh"),
    ({"speed_kmh": np.array([0.0, 3.0, 5.0, 9.0])}, "speed_kmh[0]"),
    ({"speed_kmh": np.array([3.0, 5.0, np.nan, 9.0])}, "speed_kmh[2]"),
    ({"machine_kg_ha": np.full((2, 3), 20.0)}, "machine_kg_ha"),
    ({"machine_kg_ha": np.full((3, 4), 20.0)}, "machine_kg_ha"),
    ({"machine_kg_ha": np.array([[20.0, 20, 20, 20], [20, 0, 20, 20]])}, "machine_kg_ha"),
    ({"machine_kg_ha": np.array([[20.0, 20, 20, 20], [20, -1, 20, 20]])}, "machine_kg_ha"),
    ({"machine_kg_ha": np.array([[20.0, 20, 20, 20], [20, np.inf, 20, 20]])}, "machine_kg_ha[1, 1]"),
    ({"header_kg_ha": np.full((2, 3), 20.0)}, "header_kg_ha"),
    ({"header_kg_ha": np.zeros((2, 4))}, "header_kg_ha"),
    ({"weights": np.array([0.5, 0.4])}, "weights"),
    ({"weights": np.array([1.5, -0.5])}, "weights[1]"),
    ({"weights": np.array([0.5, np.nan])}, "weights[1]"),
    ({"weights": 1.0}, "weights"),
    ({"tested_kmh": (8.0, 4.0)}, "tested_kmh"),
    ({"tested_kmh": (0.0, 4.0)}, "tested_kmh"),
    ({"tested_kmh": (math.nan, 4.0)}, "tested_kmh"),
    ({"yield_kg_ha": 0.0}, "yield_kg_ha"),
    ({"yield_kg_ha": math.inf}, "yield_kg_ha"),
]


@pytest.mark.parametrize(("change", "field"), BAD_CURVES)
def test_curves_that_are_refused(change, field):
    with pytest.raises(InputError) as refused:
        LossAtSpeeds(**{**GOOD, **change})

    assert refused.value.field == field


@pytest.mark.parametrize(
    ("machine", "header", "more", "field"),
    [
        ((np.ones((3, 4)), np.ones(2)), None, {}, "machine weights"),
        ((np.ones((3, 4)), np.zeros(3)), None, {}, "machine weights"),
        ((np.ones((3, 4)), np.array([1.0, -1.0, 1.0])), None, {}, "machine weights[1]"),
        ((np.ones(4), np.ones(4)), None, {}, "machine weights"),
        ((np.ones((3, 4)), np.ones(3)), (np.ones((3, 4)), np.ones(4)), {}, "header weights"),
        ((np.ones((3, 4)), np.ones(3)), None, {"draws": 10}, "draws"),
        ((np.ones((3, 5)), np.ones(3)), None, {}, "machine_kg_ha"),
    ],
)
def test_posteriors_that_cannot_be_put_together(machine, header, more, field):
    with pytest.raises(InputError) as refused:
        pair_posteriors(GOOD["speed_kmh"], machine, header, tested_kmh=None, **more)

    assert refused.value.field == field


BAD_JOBS = [
    ({"width_m": 0.0}, "width_m"),
    ({"width_m": np.array([1.0, 2.0])}, "width_m"),
    ({"price_per_t": -1.0}, "price_per_t"),
    ({"price_per_t": math.nan}, "price_per_t"),
    ({"price_per_t": True}, "price_per_t"),
    ({"hour_cost_per_h": -0.01}, "hour_cost_per_h"),
    ({"hour_cost_per_h": "500"}, "hour_cost_per_h"),
    ({"hour_cost_per_h": 0.0, "price_per_t": 0.0}, "hour_cost_per_h"),
    ({"lost_time_h_ha": None}, "lost_time_h_ha"),
    ({"constant_efficiency": 0.7}, "lost_time_h_ha"),
    ({"lost_time_h_ha": -0.1}, "lost_time_h_ha"),
    ({"lost_time_h_ha": None, "constant_efficiency": 1.2}, "constant_efficiency"),
    ({"today_kmh": 0.0}, "today_kmh"),
    ({"today_kmh": 12.5}, "today_kmh"),
    ({"today_kmh": math.inf}, "today_kmh"),
    ({"fastest_kmh": 3.0}, "fastest_kmh"),
    ({"fastest_kmh": -3.0}, "fastest_kmh"),
    ({"slope_learned": 1.5, "today_kmh": 6.0}, "slope_learned"),
    ({"slope_learned": math.nan, "today_kmh": 6.0}, "slope_learned"),
    ({"slope_lean": -1.0, "today_kmh": 6.0}, "slope_lean"),
    ({"one_currency_unit": -1.0}, "one_currency_unit"),
]


@pytest.mark.parametrize(("change", "field"), BAD_JOBS)
def test_jobs_that_are_refused(change, field):
    with pytest.raises(InputError) as refused:
        best_pace(drawn(draws=50), **{**FARM, **change})

    assert refused.value.field == field
    assert refused.value.mend


def test_speeds_nowhere_near_those_tested_are_refused():
    with pytest.raises(InputError, match="no speed to choose"):
        best_pace(drawn(tested=(20.0, 25.0), draws=50), **FARM)


@pytest.mark.parametrize("change", [{"exponent": 0.0}, {"exponent": -1.0}, {"price_per_t": 0.0}, {"width_m": 0.0}])
def test_break_even_refuses_what_balances_nowhere(change):
    job = {"width_m": 12.0, "hour_cost_per_h": 500.0, "price_per_t": 600.0, "exponent": 2.0, **change}
    with pytest.raises(InputError):
        break_even_loss_kg_ha(6.0, **job)


def test_an_answer_cannot_be_altered():
    found = best_pace(drawn(draws=50), **FARM)
    with pytest.raises(dataclasses.FrozenInstanceError):
        found.best_kmh = 5.0
    assert SPEEDS_KMH[0] == found.table[0].speed_kmh


def test_a_speed_that_was_tried_is_marked_so_in_any_unit():
    """4.5 mph is 7.242048 km/h, and 1.609344 times 4.5 a hair more."""
    there = 1.609344 * 4.0, 7.242048
    speeds = np.array([6.0, there[0] * (1.0 - 1e-15), 7.242048000000001, 7.3])
    loss = LossAtSpeeds(speeds, np.full((2, 4), 30.0), None, np.full(2, 0.5), tested_kmh=there)
    found = best_pace(loss, width_m=12.0, price_per_t=500.0, hour_cost_per_h=300.0, lost_time_h_ha=0.05)

    assert [row.tested for row in found.table] == [False, True, True, False]
