"""Acting or leaving: the arithmetic by hand, and what knowing more can save, by formula and by quadrature."""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import integrate, stats
from worth_worlds import choice

from chaffinch.engine.worth_choice import (
    Choice,
    Effect,
    effect_between,
    p_acting_pays,
    saving_lognormal,
    saving_normal,
)
from chaffinch.errors import InputError

# --- effect and choice ----------------------------------------------------------------------------------------------


@given(low=st.floats(0.05, 1.0), factor=st.floats(1.001, 8.0))
def test_a_range_becomes_the_lognormal_of_its_ends(low, factor):
    effect = effect_between(low, low * factor)
    sd = math.log(factor) / (2 * stats.norm.ppf(0.95))
    truth = stats.lognorm(sd, scale=low * math.sqrt(factor))

    assert effect.mean == pytest.approx(truth.mean(), rel=1e-9)
    # Evenly spaced scores, 0.01 apart: half a cell of weight, at most 0.002.
    assert effect.weights[effect.ratio < low].sum() == pytest.approx(0.05, abs=0.002)
    assert effect.weights[effect.ratio < 1.0].sum() == pytest.approx(truth.cdf(1.0), abs=0.003)


def test_an_effect_known_exactly():
    assert effect_between(0.8, 0.8).mean == 0.8


def test_the_choice_by_hand():
    """120 ha at 600/t, a fifth less: 14.40 per kg/ha. 20 min at 300/h and 44 of parts: 144. Break-even 10 kg/ha."""
    made = choice(effect=effect_between(0.8, 0.8), action_minutes=20.0, action_other_cost=44.0)

    assert made.saved_per_kg_ha == pytest.approx(14.40)
    assert made.action_cost == pytest.approx(144.0)
    assert made.break_even_loss_kg_ha == pytest.approx(10.0)
    assert made.standing(15.0) == pytest.approx(75.0)


def test_a_change_that_may_go_wrong_by_hand():
    """Nine in ten save 14.40 per kg/ha, one in ten adds 20 kg/ha of 72: 12.96 and 144 + 144. Break-even 22.2 kg/ha."""
    made = choice(effect=effect_between(0.8, 0.8), action_other_cost=44.0, goes_wrong=0.1, harm_kg_ha=20.0)

    assert made.saved_per_kg_ha == pytest.approx(12.96)
    assert made.sure_cost == pytest.approx(144.0)
    assert made.action_cost == pytest.approx(288.0)
    assert made.break_even_loss_kg_ha == pytest.approx(288.0 / 12.96)
    # Where it goes right it pays from 10 kg/ha.
    loss = np.array([9.9, 10.1, 500.0])
    assert [p_acting_pays(made, np.array([v]), np.ones(1)) for v in loss] == pytest.approx([0.0, 0.9, 0.9])


def test_expected_gain_with_harm_against_random_numbers():
    rng = np.random.default_rng(9)
    made = choice(goes_wrong=0.25, harm_kg_ha=30.0)
    n = 400_000
    ratio = np.exp(rng.normal(math.log(math.sqrt(0.57)), 0.1397, n))
    after = np.where(rng.random(n) < 0.25, 25.0 + 30.0, 25.0 * ratio)
    gained = 120 * 0.6 * (25.0 - after) - made.sure_cost

    # 0.1397 = ln(0.95/0.6)/3.29; within three standard errors.
    assert made.gain(25.0) == pytest.approx(gained.mean(), abs=3 * gained.std() / math.sqrt(n))


def test_a_likely_harm_makes_knowing_a_large_area_worth_something():
    """Without harm, 20 minutes for 300 ha always pay and no check is worth anything."""
    large = {"area_left_ha": 300.0, "action_other_cost": 0.0, "stop_cost_per_h": 250.0}
    sure = saving_lognormal(choice(**large), 20.0, 0.8)
    likely = saving_lognormal(choice(**large, goes_wrong=0.1, harm_kg_ha=20.0), 20.0, 0.8)

    assert sure < 1.0
    assert likely > 50.0


def test_an_action_that_does_not_help_never_pays():
    for effect in (effect_between(1.0, 1.0), effect_between(0.9, 1.4)):
        made = choice(effect=effect)
        assert made.break_even_loss_kg_ha is None
        assert saving_lognormal(made, 50.0, 0.5) == 0.0
        assert saving_normal(made, 50.0, 10.0) == 0.0


# --- what knowing saves ---------------------------------------------------------------------------------------------

MEAN, SD = st.floats(1.0, 200.0), st.floats(0.02, 1.5)


@settings(max_examples=50, deadline=None)
@given(mean=MEAN, sd=SD, cost=st.floats(5.0, 2000.0))
def test_saving_lognormal_is_its_integral(mean, sd, cost):
    made = choice(action_minutes=0.0, action_other_cost=cost)
    truth = stats.norm()

    def gain(z):
        x = mean * math.exp(sd * z - 0.5 * sd**2)
        return made.saved_per_kg_ha * x - cost

    kink = (math.log(made.break_even_loss_kg_ha / mean) + 0.5 * sd**2) / sd
    # From the side that holds less: the other is the difference of two large numbers.
    now = made.saved_per_kg_ha * mean - cost
    side = (kink, 40.0, 1.0) if now <= 0 else (-40.0, kink, -1.0)
    low, high = max(side[0], -12.0), min(side[1], 12.0)
    by_integral = 0.0
    if low < high:
        peak = [p for p in (-2.0, 0.0, 2.0, sd) if low < p < high] or None
        by_integral = integrate.quad(
            lambda z: side[2] * gain(z) * truth.pdf(z), low, high, points=peak, epsabs=0.0, epsrel=1e-10, limit=200
        )[0]

    assert saving_lognormal(made, mean, sd) == pytest.approx(by_integral, rel=1e-6, abs=1e-9 * abs(now))


@given(mean=MEAN, cost=st.floats(5.0, 2000.0))
def test_for_a_narrow_range_lognormal_and_normal_agree(mean, cost):
    """Relative spread 0.01: the skew of a lognormal is then 0.03, the two differ by about as much near the kink."""
    made = choice(action_minutes=0.0, action_other_cost=cost)
    lognormal, normal = saving_lognormal(made, mean, 0.01), saving_normal(made, mean, 0.01 * mean)
    peak = made.saved_per_kg_ha * 0.01 * mean / math.sqrt(2 * math.pi)

    assert lognormal == pytest.approx(normal, abs=0.03 * peak)


@pytest.mark.parametrize(("z", "table"), [(0.0, 0.3989), (0.5, 0.1978), (1.0, 0.0833), (2.0, 0.0085)])
def test_unit_normal_loss_integral_as_in_textbook_tables(z, table):
    """Table values from memory, to four digits."""
    made = choice(action_minutes=0.0, action_other_cost=1000.0)
    limit = made.break_even_loss_kg_ha
    saving = saving_normal(made, limit - z * 5.0, 5.0)

    assert saving / (made.saved_per_kg_ha * 5.0) == pytest.approx(table, abs=6e-5)


@settings(max_examples=40, deadline=None)
@given(mean=MEAN, sd=SD, cost=st.floats(5.0, 2000.0), more=st.floats(1.01, 2.0))
def test_more_to_learn_saves_more_and_never_less_than_nothing(mean, sd, cost, more):
    made = choice(action_minutes=0.0, action_other_cost=cost)
    some = saving_lognormal(made, mean, sd)

    assert some >= 0.0
    assert saving_lognormal(made, mean, sd * more) >= some
    # Never more than all that is at stake, or than the action's cost.
    assert some <= min(made.saved_per_kg_ha * mean, cost) * (1 + 1e-12)


def test_where_the_decision_cannot_change_nothing_is_saved():
    assert saving_lognormal(choice(action_minutes=0.0, action_other_cost=0.0), 50.0, 0.8) == 0.0
    assert saving_lognormal(choice(), 50.0, 0.0) == 0.0
    assert saving_lognormal(choice(price_per_t=0.0), 50.0, 0.8) == 0.0
    assert saving_lognormal(choice(action_other_cost=1e9), 50.0, 0.3) == 0.0


def test_chance_that_acting_pays_against_random_numbers():
    rng = np.random.default_rng(8)
    made = choice(effect=effect_between(0.6, 1.1), action_other_cost=50.0)
    loss, ratio = np.exp(rng.normal(3.2, 0.5, 400)), np.exp(rng.normal(math.log(math.sqrt(0.66)), 0.1842, 200_000))
    pays = 120 * 0.6 * loss[rng.integers(0, 400, ratio.size)] * (1 - ratio) > made.action_cost

    # 0.1842 = ln(1.1/0.6)/3.29; 200,000 draws: 0.0011 one sd.
    assert p_acting_pays(made, loss, np.full(400, 1 / 400)) == pytest.approx(pays.mean(), abs=0.005)
    assert p_acting_pays(choice(price_per_t=0.0), loss, np.full(400, 1 / 400)) == 0.0


# --- refusals -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"area_left_ha": 0.0}, "area_left_ha"),
        ({"price_per_t": -1.0}, "price_per_t"),
        ({"capacity_ha_h": 0.0}, "capacity_ha_h"),
        ({"stop_cost_per_h": -5.0}, "stop_cost_per_h"),
        ({"stop_cost_per_h": math.nan}, "stop_cost_per_h"),
        ({"action_minutes": -1.0}, "action_minutes"),
        ({"action_minutes": np.array([1.0])}, "action_minutes"),
        ({"action_other_cost": True}, "action_other_cost"),
        ({"goes_wrong": -0.1}, "goes_wrong"),
        ({"goes_wrong": 1.0}, "goes_wrong"),
        ({"goes_wrong": math.nan}, "goes_wrong"),
        ({"harm_kg_ha": -1.0}, "harm_kg_ha"),
    ],
)
def test_choices_that_are_refused(change, field):
    with pytest.raises(InputError) as refused:
        choice(**change)

    assert refused.value.field == field


@pytest.mark.parametrize(("low", "high"), [(0.0, 0.9), (-0.5, 0.9), (0.9, 0.6), (0.5, 101.0), (math.nan, 1.0)])
def test_effects_that_are_refused(low, high):
    with pytest.raises(InputError):
        effect_between(low, high)


@pytest.mark.parametrize(
    ("ratio", "weights"),
    [([0.8, 0.9], [1.0]), ([0.8, -0.1], [0.5, 0.5]), ([0.8, 0.9], [0.5, 0.6]), ([0.8, 0.9], [1.5, -0.5])],
)
def test_draws_of_an_effect_that_are_refused(ratio, weights):
    with pytest.raises(InputError):
        Effect(np.array(ratio), np.array(weights))


def test_draws_of_a_trial_are_taken_as_they_are():
    assert Effect(np.array([0.5, 1.0]), np.array([0.25, 0.75])).mean == pytest.approx(0.875)
    assert dataclasses.is_dataclass(Choice)
