"""What a catch or a check is worth: against nested simulation, closed forms and the limits both must keep."""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from made_catches import DESIGN_PAN, PRIORS, weighed
from scipy import stats
from worth_worlds import choice, prospect

from chaffinch.engine.estimate import Prior
from chaffinch.engine.plan import prospect_of_one_source
from chaffinch.engine.worth import LastCheck, worth_of_catch, worth_of_check
from chaffinch.engine.worth_choice import effect_between, saving_lognormal, saving_normal
from chaffinch.errors import InputError

MINUTES = {"minutes_per_catch": 6.0, "stop_minutes": 4.0}


# --- worth of a catch -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("away", [-1.5, -0.5, 0.0, 0.5, 1.5])
@pytest.mark.parametrize("c", [0.05, 0.2])
def test_a_catch_against_the_normal_decision_problem(away, c):
    """Belief sd 10 %, one reading with cv c: the expected loss will turn out with sd 0.1²/sqrt(0.1² + c²) of the mean.

    A Gamma reading of cv 0.2 is skewed by 0.4, and 512 draws err by 1/sqrt(512) = 4 % of the peak value or so;
    the mean over eight sets of draws by 2 %.
    """
    made = choice(effect=effect_between(0.8, 0.8), action_minutes=0.0, action_other_cost=600.0)
    limit = made.break_even_loss_kg_ha
    mean = limit * (1 + 0.1 * away)
    seen = 0.1**2 / math.hypot(0.1, c)
    found = np.mean(
        [
            worth_of_catch(
                prospect(math.log(mean) - 0.005, 0.1, c=c, seed=s), made, most=1, seed=s, minutes_per_catch=6.0
            ).saving[0]
            for s in range(8)
        ]
    )
    peak = made.saved_per_kg_ha * seen * mean / math.sqrt(2 * math.pi)

    assert found == pytest.approx(saving_normal(made, mean, seen * mean), abs=0.06 * peak)


def nested(made, ln_mean, ln_sd, c, catches, rng, plays=4000):
    """Expected saving by brute force: draw a truth and Gamma readings, integrate the posterior over a grid, decide."""
    grid = np.linspace(ln_mean - 5 * ln_sd, ln_mean + 5 * ln_sd, 801)
    prior = stats.norm.logpdf(grid, ln_mean, ln_sd)
    shape = 1 / c**2
    loss = np.exp(grid)
    truth = np.exp(rng.normal(ln_mean, ln_sd, plays))
    readings = rng.gamma(shape, truth[:, None] / shape, (plays, catches))
    # Gamma of mean m and shape 1/c²: up to a constant −shape·(n·ln m + Σy/m).
    ln_post = prior - shape * (catches * grid + readings.sum(axis=1)[:, None] / loss)
    post = np.exp(ln_post - ln_post.max(axis=1, keepdims=True))
    expected = post @ loss / post.sum(axis=1)
    acts = made.saved_per_kg_ha * expected > made.action_cost
    # The saving is taken from the truth, not from what was believed: the decision alone comes from the posterior.
    gained = np.where(acts, made.saved_per_kg_ha * truth - made.action_cost, 0.0)
    now = made.saved_per_kg_ha * math.exp(ln_mean + ln_sd**2 / 2) - made.action_cost
    if now > 0:
        gained = gained - (made.saved_per_kg_ha * truth - made.action_cost)
    return gained.mean(), gained.std() / math.sqrt(plays)


@pytest.mark.parametrize(
    ("middle", "sd", "c", "catches"),
    [
        (8.0, 0.8, 0.4, 1),
        (8.0, 0.8, 0.4, 4),
        (15.0, 0.5, 0.6, 3),
        (4.0, 1.0, 0.2, 1),
        (30.0, 0.7, 0.4, 2),
        (14.0, 0.8, 0.4, 2),
    ],
)
def test_a_catch_against_nested_simulation(middle, sd, c, catches):
    # In the last world the break-even, 17.5 kg/ha, lies between the middle of the belief and its mean.
    made = choice()
    brute, error = nested(made, math.log(middle), sd, c, catches, np.random.default_rng(12))
    found = [
        worth_of_catch(
            prospect(math.log(middle), sd, c=c, seed=s), made, most=catches, seed=s, minutes_per_catch=6.0
        ).saving[-1]
        for s in range(24)
    ]

    # Three of both errors together: 24 sets of 512 futures, and the plays.
    assert np.mean(found) == pytest.approx(brute, abs=3 * math.hypot(error, np.std(found) / math.sqrt(24)))


def test_a_catch_is_worth_at_most_knowing_and_comes_to_it_when_exact():
    made, seen = choice(), prospect(math.log(8.0), 0.8, c=0.4)
    found = worth_of_catch(seen, made, **MINUTES)

    # All savings are over the same 512 draws; the posterior of each future stays within them.
    assert all(s <= found.perfect * 1.03 for s in found.saving)
    assert found.saving[11] > found.saving[2] > found.saving[0] > 0
    exact = worth_of_catch(prospect(math.log(8.0), 0.8, c=0.01), made, most=1, minutes_per_catch=6.0)
    assert exact.saving[0] == pytest.approx(exact.perfect, rel=0.02)
    # The draws themselves against the formula: E max is uncertain by 512 draws.
    assert exact.perfect == pytest.approx(saving_lognormal(made, 8.0 * math.exp(0.32), 0.8), rel=0.15)


def test_a_shared_error_cannot_be_bought_off_with_catches():
    """A width off by 30 % stays off: knowing the loss is worth more than any number of exact catches."""
    made = choice()
    found = worth_of_catch(prospect(math.log(8.0), 0.3, c=0.02, shared_sd=0.3, n=512), made, **MINUTES)

    assert found.saving[11] < 0.8 * found.perfect


@pytest.mark.parametrize("middle", [0.01, 5000.0])
def test_where_no_reading_can_change_the_decision_a_catch_is_worth_nothing(middle):
    found = worth_of_catch(prospect(math.log(middle), 0.3, c=0.4), choice(), **MINUTES)

    assert found.saving == tuple([0.0] * 12)
    assert not found.worth_stopping
    assert found.now == ("act" if middle > 1000 else "leave")
    # The effect itself is not sure to help: 2.2 % of a range from 0.6 to 0.95 lie above 1.
    assert found.p_acting_pays == pytest.approx(float(middle > 1000), abs=0.025)
    assert found.break_even_minutes == 0.0


def test_an_action_that_does_not_help_makes_every_catch_worthless():
    found = worth_of_catch(prospect(math.log(8.0), 0.8, c=0.4), choice(effect=effect_between(1.0, 1.0)), **MINUTES)

    assert (found.now, found.break_even_loss_kg_ha, found.perfect) == ("leave", None, 0.0)
    assert not found.worth_stopping


def test_the_minutes_are_set_against_it():
    made, seen = choice(), prospect(math.log(8.0), 0.8, c=0.4)
    found = worth_of_catch(seen, made, **MINUTES)

    assert found.net == pytest.approx([s - (4 + 6 * k) / 60 * 300 for k, s in enumerate(found.saving, 1)])
    assert found.net[found.catches - 1] == max(found.net)
    assert found.minutes == 4 + 6 * found.catches
    assert found.net_per_ha == pytest.approx(max(found.net) / 120)
    assert found.net_per_h == pytest.approx(max(found.net) / 120 * 5)
    # With exactly as many minutes as break even, nothing is left.
    k = found.catches
    each = found.break_even_minutes / k
    assert worth_of_catch(seen, made, minutes_per_catch=each).net[k - 1] == pytest.approx(0.0, abs=1e-9)


def test_slow_catches_are_not_worth_stopping_for():
    quick = worth_of_catch(prospect(math.log(8.0), 0.8, c=0.4), choice(), minutes_per_catch=3.0)
    slow = worth_of_catch(prospect(math.log(8.0), 0.8, c=0.4), choice(), minutes_per_catch=90.0)

    assert quick.worth_stopping
    assert not slow.worth_stopping
    assert slow.saving == quick.saving


def test_standing_still_for_nothing_has_no_break_even_minutes():
    made = choice(stop_cost_per_h=0.0)
    found = worth_of_catch(prospect(math.log(12.0), 0.8, c=0.4), made, **MINUTES)

    assert found.break_even_minutes is None
    assert found.net == found.saving


def test_money_of_another_name_scales_every_figure():
    seen = prospect(math.log(8.0), 0.8, c=0.4)
    one = worth_of_catch(seen, choice(action_other_cost=200.0), **MINUTES)
    made = choice(price_per_t=6000.0, stop_cost_per_h=3000.0, action_other_cost=2000.0)
    ten = worth_of_catch(seen, made, **MINUTES)

    assert ten.net == pytest.approx([10 * x for x in one.net])
    assert (ten.catches, ten.minutes, ten.now) == (one.catches, one.minutes, one.now)
    assert ten.p_acting_pays == pytest.approx(one.p_acting_pays)
    assert ten.break_even_minutes == pytest.approx(one.break_even_minutes)


def test_after_one_pan_of_canola_a_second_is_worth_more_than_a_seventh():
    """Through the real evidence: one pan of 12.5 g, and six."""
    made = choice(effect=effect_between(0.6, 0.95), action_other_cost=800.0)

    def after(pans):
        catches = [weighed(g) for g in pans]
        seen = prospect_of_one_source(catches, "machine", PRIORS["machine"], 0.08, weighed(12.5, DESIGN_PAN))
        return worth_of_catch(seen, made, most=1, minutes_per_catch=6.0)

    first, later = after([12.5]), after([12.5, 9.8, 15.1, 11.0, 12.0, 13.3])
    assert first.break_even_loss_kg_ha == pytest.approx(900 / (120 * 0.6 * (1 - made.effect.mean)))
    assert first.saving[0] > 3 * later.saving[0]


def test_same_seed_same_answer():
    seen = prospect(math.log(8.0), 0.8, c=0.4)

    assert worth_of_catch(seen, choice(), seed=3, **MINUTES) == worth_of_catch(seen, choice(), seed=3, **MINUTES)


# --- worth of a check -----------------------------------------------------------------------------------------------

STOP = {"catch_sd_log": 0.4, "stop_minutes": 10.0, "minutes_per_catch": 5.0}


def test_how_the_uncertainty_of_today_grows():
    """By hand: q = 0.25² + (0.3·1.5)² + (0.3·2)² + 0.15²·4 = 0.715; of a prior of 1.3 it takes 1 − exp(−q/1.69)."""
    last = LastCheck(median_kg_ha=20.0, sd_log=0.3, hours_since=4.0, moved={"humidity": -1.5, "straw moisture": 2.0})

    def by_hand(q):
        return math.sqrt(0.09 * math.exp(-q / 1.69) + 1.69 * (1.0 - math.exp(-q / 1.69)))

    assert last.sd_log_today() == pytest.approx(by_hand(0.715))
    assert last.sd_log_today(further_h=1.0) == pytest.approx(by_hand(0.715 + 0.15**2))
    still = {"place_sd_log": 0.0, "condition_sd_log": 0.0, "drift_sd_log": 0.0}
    assert last.sd_log_today(**still) == pytest.approx(0.3)
    assert last.median_kg_ha_today(**still) == pytest.approx(20.0)
    # A little of it is the plain sum of squares.
    assert LastCheck(median_kg_ha=20.0, sd_log=0.3).sd_log_today() == pytest.approx(math.hypot(0.3, 0.25), rel=0.02)


def test_a_check_of_last_year_says_no_more_than_none():
    last = LastCheck(median_kg_ha=4.0, sd_log=0.2, hours_since=8760.0, moved={"humidity": 3.0})

    assert last.sd_log_today() == pytest.approx(1.3, rel=1e-6)
    assert last.median_kg_ha_today() == pytest.approx(40.0, rel=1e-3)
    own = dataclasses.replace(last, prior=Prior(50.0, 1.0))
    assert (own.sd_log_today(), own.median_kg_ha_today()) == pytest.approx((1.0, 50.0), rel=1e-3)


def test_fading_in_two_steps_is_fading_in_one():
    """What holds after 3 h, taken as a check, is after 5 h more what holds after 8 h: the process has no memory."""
    still = {"place_sd_log": 0.0}
    last = LastCheck(median_kg_ha=9.0, sd_log=0.3, hours_since=3.0)
    between = LastCheck(
        median_kg_ha=last.median_kg_ha_today(**still), sd_log=last.sd_log_today(**still), hours_since=5.0
    )

    assert between.sd_log_today(**still) == pytest.approx(last.sd_log_today(**still, further_h=5.0))
    assert between.median_kg_ha_today(**still) == pytest.approx(last.median_kg_ha_today(**still, further_h=5.0))


def test_the_middle_of_today_against_played_days():
    """Many small steps of the process itself: each keeps a little less of the distance to the prior."""
    last = LastCheck(median_kg_ha=8.0, sd_log=0.3, hours_since=12.0)
    rng = np.random.default_rng(3)
    x = rng.normal(math.log(8.0), 0.3, 40_000)
    steps, prior = 200, math.log(40.0)
    q = 12.0 * 0.15**2 / steps
    for _ in range(steps):
        x += -(q / 2 / 1.69) * (x - prior) + rng.normal(0.0, math.sqrt(q), x.size)

    # Means and sds of 40,000 draws hold to about 0.4 %; the steps are of first order.
    assert x.mean() == pytest.approx(math.log(last.median_kg_ha_today(place_sd_log=0.0)), abs=0.01)
    assert x.std() == pytest.approx(last.sd_log_today(place_sd_log=0.0), rel=0.01)


@pytest.mark.parametrize("shared", [0.0, 0.25])
@pytest.mark.parametrize(("median", "catches"), [(6.0, 1), (6.0, 3), (14.0, 2)])
def test_a_check_against_nested_simulation(median, catches, shared):
    """Play it: a truth, a place, catches; the posterior by conjugate normals written out; the decision; its money."""
    made = choice(action_other_cost=60.0)
    last = LastCheck(median_kg_ha=median, sd_log=0.4, shared_sd_log=shared, hours_since=3.0, moved={"humidity": 1.0})
    found = worth_of_check(last, made, most=catches, **STOP)
    middle = found.median_kg_ha_today
    rng = np.random.default_rng(6)
    n = 400_000
    seen_var = found.sd_log_today**2 - shared**2
    seen = rng.normal(math.log(middle), math.sqrt(seen_var), n)
    truth = np.exp(seen + rng.normal(0.0, 1.0, n) * shared)
    noise_var = 0.25**2 + 0.4**2 / catches
    reading = seen + rng.normal(0.0, math.sqrt(noise_var), n)
    after_var = 1 / (1 / seen_var + 1 / noise_var)
    after = after_var * (math.log(middle) / seen_var + reading / noise_var)
    expected = np.exp(after + (after_var + shared**2) / 2)
    gain = made.saved_per_kg_ha * truth - made.action_cost
    acts = made.saved_per_kg_ha * expected > made.action_cost
    mean = middle * math.exp(found.sd_log_today**2 / 2)
    played = np.where(acts, gain, 0.0) - (gain if made.saved_per_kg_ha * mean > made.action_cost else 0.0)

    assert found.now.saving[catches - 1] == pytest.approx(played.mean(), abs=4 * played.std() / math.sqrt(n))
    assert found.now.p_acting_pays == pytest.approx(
        np.mean(120 * 0.6 * truth * (1 - 0.755 * np.exp(0.1397 * rng.normal(size=n))) > made.action_cost), abs=0.01
    )


@settings(max_examples=40, deadline=None)
@given(
    median=st.floats(0.5, 200.0),
    sd=st.floats(0.0, 1.5),
    share_of_sd=st.floats(0.0, 1.0),
    hours=st.floats(0.0, 48.0),
    moved=st.floats(-3.0, 3.0),
    noise=st.floats(0.05, 1.0),
)
def test_a_check_saves_at_most_knowing_and_more_with_more_catches(median, sd, share_of_sd, hours, moved, noise):
    last = LastCheck(
        median_kg_ha=median, sd_log=sd, shared_sd_log=sd * share_of_sd, hours_since=hours, moved={"humidity": moved}
    )
    found = worth_of_check(last, choice(), catch_sd_log=noise, stop_minutes=10.0, minutes_per_catch=5.0).now
    saving = np.array(found.saving)

    assert (saving >= 0).all()
    assert (np.diff(saving) >= -1e-9).all()
    assert saving[-1] <= found.perfect * (1 + 1e-12) + 1e-12


def test_an_exact_check_of_an_even_field_is_perfect_knowledge():
    last = LastCheck(median_kg_ha=6.0, sd_log=0.5, hours_since=4.0)
    found = worth_of_check(
        last, choice(), catch_sd_log=1e-6, stop_minutes=10.0, minutes_per_catch=5.0, place_sd_log=0.0, most=1
    )

    assert found.now.saving[0] == pytest.approx(found.now.perfect, rel=1e-9)


def test_the_longer_ago_and_the_more_has_moved_the_more_a_check_is_worth():
    def worth(**since):
        return worth_of_check(LastCheck(median_kg_ha=3.0, sd_log=0.2, **since), choice(), **STOP).now.saving[2]

    assert worth() < worth(hours_since=2.0) < worth(hours_since=8.0)
    assert worth(hours_since=2.0) < worth(hours_since=2.0, moved={"humidity": 1.0})
    assert worth(moved={"humidity": 1.5}) == worth(moved={"humidity": -1.5})
    # A shift that is expected moves the middle and not the uncertainty.
    twice = LastCheck(median_kg_ha=6.0, sd_log=0.2, prior=Prior(80.0))
    assert worth(expected_ratio=2.0) == pytest.approx(worth_of_check(twice, choice(), **STOP).now.saving[2])


def test_not_worth_stopping_is_an_answer_and_says_when_it_will_be():
    last = LastCheck(median_kg_ha=6.0, sd_log=0.2)
    made = choice(area_left_ha=800.0, action_other_cost=800.0)
    found = worth_of_check(last, made, **STOP)

    assert not found.now.worth_stopping
    assert found.due_in_h is not None
    assert found.due_in_h > 0
    later = dataclasses.replace(last, hours_since=found.due_in_h)
    then = dataclasses.replace(made, area_left_ha=800.0 - 5.0 * found.due_in_h)
    assert worth_of_check(later, then, **STOP).due_in_h == 0.0
    before = dataclasses.replace(last, hours_since=found.due_in_h - 0.25)
    earlier = dataclasses.replace(made, area_left_ha=800.0 - 5.0 * (found.due_in_h - 0.25))
    assert not worth_of_check(before, earlier, **STOP).now.worth_stopping


def test_with_little_left_to_cut_no_check_comes_due():
    found = worth_of_check(LastCheck(median_kg_ha=3.0, sd_log=0.2), choice(area_left_ha=8.0), **STOP)

    assert found.due_in_h is None
    assert not found.now.worth_stopping


def test_due_now_when_worth_it_now():
    last = LastCheck(median_kg_ha=10.0, sd_log=0.6, hours_since=4.0, moved={"humidity": 1.0})
    found = worth_of_check(last, choice(area_left_ha=400.0, action_other_cost=800.0), **STOP)

    assert found.now.worth_stopping
    assert found.due_in_h == 0.0


# --- refusals -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"median_kg_ha": 0.0}, "median_kg_ha"),
        ({"sd_log": -0.1}, "sd_log"),
        ({"sd_log": 3.1}, "sd_log"),
        ({"prior": Prior(0.0)}, "prior, median_kg_ha"),
        ({"prior": Prior(40.0, 0.0)}, "prior, sd_log"),
        ({"shared_sd_log": 0.4}, "shared_sd_log"),
        ({"hours_since": -1.0}, "hours_since"),
        ({"moved": {"humidity": math.nan}}, "moved, humidity"),
        ({"expected_ratio": 0.0}, "expected_ratio"),
    ],
)
def test_last_checks_that_are_refused(change, field):
    with pytest.raises(InputError) as refused:
        LastCheck(**{"median_kg_ha": 20.0, "sd_log": 0.3, **change})

    assert refused.value.field == field


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"catch_sd_log": 0.0}, "catch_sd_log"),
        ({"stop_minutes": -1.0}, "stop_minutes"),
        ({"minutes_per_catch": math.inf}, "minutes_per_catch"),
        ({"most": 0}, "most"),
        ({"most": 21}, "most"),
        ({"drift_sd_log": -0.1}, "drift_sd_log"),
        ({"place_sd_log": -0.1}, "place_sd_log"),
        ({"condition_sd_log": -0.1}, "condition_sd_log"),
    ],
)
def test_checks_that_are_refused(change, field):
    last = LastCheck(median_kg_ha=20.0, sd_log=0.3, moved={"humidity": 1.0})
    with pytest.raises(InputError) as refused:
        worth_of_check(last, choice(), **{**STOP, **change})

    assert refused.value.field == field


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"minutes_per_catch": -1.0}, "minutes_per_catch"),
        ({"stop_minutes": math.nan}, "stop_minutes"),
        ({"most": 30}, "most"),
    ],
)
def test_catches_that_are_refused(change, field):
    with pytest.raises(InputError) as refused:
        worth_of_catch(prospect(2.0, 0.5, c=0.4), choice(), **{**MINUTES, **change})

    assert refused.value.field == field
