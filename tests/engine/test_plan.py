"""How many catches: two prospects against each other, and both against playing the catches forward by hand."""

from __future__ import annotations

import math

import numpy as np
import pytest
import second_road as road
from made_catches import DESIGN_PAN, PRIORS, counted, field_area, machine_belief, machine_range, weighed

from chaffinch.engine import exposure as ex
from chaffinch.engine.catch import read
from chaffinch.engine.evidence import LN_LOSS, Catch
from chaffinch.engine.plan import (
    LookAhead,
    Prospect,
    catches_for_precision,
    further_catches,
    prospect_of_joint,
    prospect_of_one_source,
)
from chaffinch.engine.sources import common_scale_sd, locate
from chaffinch.errors import InputError

MACHINE = {"machine": PRIORS["machine"]}
SEEDS = range(1, 9)

UNSETTLED = {
    # name: catches so far, limit [kg/ha]
    "one pan": ([weighed(12.5)], 50.0),
    "three pans": ([weighed(m) for m in (12.5, 9.8, 15.1)], 50.0),
    "an empty pan": ([weighed(0.0)], 5.0),
    "beans counted": ([counted(3, tkw_g=300.0)], 5.0),
    "a coarse scale": ([weighed(10.0, step=5.0)], 40.0),
}


def chances(prospects, limit: float, most: int = 12) -> np.ndarray:
    """Mean chance after 1, 2, … catches over the seeds."""
    ahead = [LookAhead(p, limit, seed=seed, most=most) for seed, p in zip(SEEDS, prospects, strict=True)]
    return np.array([[one.chance(n) for n in range(1, most + 1)] for one in ahead]).mean(axis=0)


@pytest.mark.parametrize(("catches", "limit"), UNSETTLED.values(), ids=UNSETTLED.keys())
def test_both_prospects_look_ahead_alike(catches, limit):
    like, scale_sd = catches[0], common_scale_sd(catches, 0.08)
    grid = chances(
        [prospect_of_one_source(catches, "machine", PRIORS["machine"], scale_sd, like, seed=s) for s in SEEDS], limit
    )
    joint = chances(
        [prospect_of_joint(locate(catches, MACHINE, width_sd=0.08, seed=s), like, ["machine"], seed=s) for s in SEEDS],
        limit,
    )

    # 512 futures err by up to 0.022, their 512 particles by about as much: 0.011 over eight seeds, 0.016 for a
    # difference. Three readings of a coarse scale leave P(over) of a common outcome next to 0.80, so that whole futures
    # change sides: 0.075 apart there over seeds 1 to 8, 0.033 over 101 to 116.
    apart = np.abs(grid - joint)
    assert apart.max() < 0.10
    assert np.sort(apart)[-2] < 0.06
    # More catches, more clarity; a coarse scale may take one step back.
    assert grid[-1] > grid[0]


def verdicts_by_play(catches, limit: float, further: int, plays: int = 700) -> float:
    """Chance of a clear verdict by the long road: draw a truth from the posterior, let seed fall, estimate anew."""
    rng = np.random.default_rng(41)
    like, scale_sd = catches[0], common_scale_sd(catches, 0.08)
    area, seed_g, step = like.exposure.machine_m2, like.reading.seed_g, like.reading.step_g
    z = np.linspace(-4.0, 4.0, 81)[None, :]
    loss, c = np.exp(LN_LOSS)[:, None], like.c0 * np.exp(0.35 * z)
    log_p = -0.5 * z**2 - 0.5 * np.square(np.log(loss / 40.0) / 1.3)
    for catch in catches:
        log_p = log_p + road.ln_reading(catch, 0.1 * area * loss, c)
    p = np.exp(log_p - log_p.max()).ravel()
    picked = rng.choice(p.size, plays, p=p / p.sum())
    clear = 0
    for i in picked:
        mean = 0.1 * area * float(loss[i // z.size, 0])
        masses = road.seed_by_seed(rng, mean, float(c[0, i % z.size]), seed_g, further)
        if like.reading.count is not None:
            more = [counted(round(m / seed_g), like.exposure, tkw_g=1000 * seed_g) for m in masses]
        else:
            more = [weighed(round(m / step) * step, like.exposure, step=step, tkw_g=1000 * seed_g) for m in masses]
        p_over = machine_belief([*catches, *more], 40.0, scale_sd).probability_above(limit)
        clear += p_over >= 0.8 or p_over <= 0.2
    return clear / plays


@pytest.mark.slow
@pytest.mark.parametrize(
    ("name", "further"),
    [
        ("one pan", 1),
        ("one pan", 4),
        ("three pans", 6),
        ("an empty pan", 2),
        ("beans counted", 3),
        ("a coarse scale", 2),
    ],
)
def test_the_chance_of_a_clear_verdict_is_that_of_catches_played_out(name, further):
    catches, limit = UNSETTLED[name]
    scale_sd = common_scale_sd(catches, 0.08)
    looked = chances(
        [prospect_of_one_source(catches, "machine", PRIORS["machine"], scale_sd, catches[0], seed=s) for s in SEEDS],
        limit,
        further,
    )
    ahead = looked[further - 1]
    played = verdicts_by_play(catches, limit, further)

    # Binomial: sqrt(0.25/700) = 0.019, and 0.011 for the look ahead: three of both together.
    assert ahead == pytest.approx(played, abs=0.066)


def test_the_look_ahead_stops_at_the_first_good_chance():
    prospect = prospect_of_one_source([weighed(60.0)], "machine", PRIORS["machine"], 0.08, weighed(60.0))
    outlook = further_catches(prospect, 50.0)

    ahead = LookAhead(prospect, 50.0)

    assert outlook.chance == ahead.chance(outlook.catches) >= 0.80
    assert all(ahead.chance(n) < 0.80 for n in range(1, outlook.catches))


def test_a_limit_on_the_loss_itself_is_not_settled_by_twelve_catches():
    catches = [weighed(12.5, variation=0.1) for _ in range(6)]
    prospect = prospect_of_one_source(catches, "machine", PRIORS["machine"], 0.08, catches[0])
    outlook = further_catches(prospect, 56.0)

    # The drop width's 8 % does not average out, so more catches cannot tell 56 from 56.
    assert outlook.catches is None
    assert outlook.chance < 0.3


def test_the_same_seed_gives_the_same_outlook():
    prospect = prospect_of_one_source([weighed(12.5)], "machine", PRIORS["machine"], 0.08, weighed(12.5))

    assert further_catches(prospect, 50.0, seed=3) == further_catches(prospect, 50.0, seed=3)
    assert further_catches(prospect, 50.0, seed=3) != further_catches(prospect, 50.0, seed=4)


@pytest.mark.parametrize(("kind", "grams"), [("narrow", 12.5), ("spread", 12.5)])
def test_a_prospect_carries_the_posterior(kind, grams):
    seen = ex.in_discharge(0.37, 12.0, 2.0, spreading=kind == "spread")
    catches = [weighed(grams, seen)]
    prospects = [prospect_of_one_source(catches, "machine", PRIORS["machine"], 0.08, catches[0], seed=s) for s in SEEDS]
    loss = np.sort(np.concatenate([p.loss_kg_ha for p in prospects]))
    found = machine_range(catches)

    # Eight times 512 Sobol draws: 0.04 sd.
    for p, x in ((0.05, found.low), (0.5, found.median), (0.95, found.high)):
        assert np.quantile(loss, p) == pytest.approx(x, rel=0.05)
    # And a further pan would meet that loss over its field area.
    mean_g = np.concatenate([np.exp(p.ln_mean_g) for p in prospects])
    assert np.median(mean_g) == pytest.approx(0.1 * seen.machine_m2 * found.median, rel=0.03)


@pytest.mark.parametrize("joint", [False, True])
def test_a_catch_of_another_kind_may_come_next(joint):
    # So far narrow pans; next one as wide as the discharge, whose unevenness nobody has met yet.
    catches, like = [weighed(12.5)], weighed(1.0, field_area(6.0))
    if joint:
        prospect = prospect_of_joint(locate(catches, MACHINE, width_sd=0.08), like, ["machine"])
    else:
        prospect = prospect_of_one_source(catches, "machine", PRIORS["machine"], 0.08, like)

    # Its unevenness comes from before: lognormal around 0.20, 512 draws.
    assert np.median(prospect.c) == pytest.approx(0.20, rel=0.02)
    assert np.log(prospect.c).std() == pytest.approx(0.35, rel=0.05)
    # An even catch of a large area settles more than another narrow pan.
    narrow = prospect_of_one_source(catches, "machine", PRIORS["machine"], 0.08, catches[0])
    assert LookAhead(prospect, 45.0).chance(1) > LookAhead(narrow, 45.0).chance(1)


def test_a_further_catch_will_meet_the_same_wrong_tkw():
    # Ten even weighings say 10 g, ten even counts of as large an area 200 seeds of 0.04 g: 8 g. One more count will
    # show about 200 again, for its TKW is as wrong as before; one more weighing 10 g.
    scale = [weighed(10.0, field_area(2.0), tkw_g=40.0, variation=0.05)] * 10
    counts = [counted(200, field_area(2.0), tkw_g=40.0, variation=0.05)] * 10
    joint = locate([*scale, *counts], MACHINE, width_sd=0.0)

    met = {
        like: np.exp(np.median(prospect_of_joint(joint, like, ["machine"]).ln_mean_g)) for like in (scale[0], counts[0])
    }

    # The counts' own noise leaves 3 % of room.
    assert met[scale[0]] == pytest.approx(10.0, rel=0.03)
    assert met[counts[0]] == pytest.approx(8.0, rel=0.03)


def test_a_further_catch_will_meet_the_same_wrong_drop_width():
    # Windrow lengths say 50 kg/ha without any drop width; pans that lean on one hold a fifth more than that.
    lengths = [weighed(10.0, field_area(2.0), tkw_g=3.5, variation=0.05)] * 8
    pan_g = 1.2 * 0.1 * 50.0 * DESIGN_PAN.machine_m2
    pans = [weighed(pan_g, variation=0.05)] * 8
    joint = locate([*lengths, *pans], MACHINE, width_sd=0.2)

    met = {
        like: np.exp(np.median(prospect_of_joint(joint, like, ["machine"]).ln_mean_g)) for like in (lengths[0], pans[0])
    }

    assert met[lengths[0]] == pytest.approx(10.0, rel=0.03)
    assert met[pans[0]] == pytest.approx(pan_g, rel=0.03)
    # The drop was narrower than said: the pans stand for more field.
    assert joint.weights @ np.log(joint.width_error) == pytest.approx(math.log(1.2), abs=0.03)


def test_judging_machine_and_header_together_needs_their_sum():
    catches = [weighed(2.0, ex.in_header_strip(0.5)), weighed(12.5)]
    joint = locate(catches, PRIORS, width_sd=0.08)
    both, machine = (prospect_of_joint(joint, catches[1], judged) for judged in (["header", "machine"], ["machine"]))

    assert (both.loss_kg_ha > machine.loss_kg_ha).all()
    assert both.ln_mean_g == pytest.approx(machine.ln_mean_g)
    # A further pan meets machine loss, a further strip standing and header loss: medians of 512 draws.
    strip = prospect_of_joint(joint, catches[0], ["header"])
    for prospect, catch, sources in ((machine, catches[1], ["machine"]), (strip, catches[0], ["standing", "header"])):
        area = catch.exposure.machine_m2 or catch.exposure.header_m2
        assert np.exp(np.median(prospect.ln_mean_g)) == pytest.approx(
            0.1 * area * joint.of(*sources).quantile(0.5), rel=0.06
        )
    assert np.median(both.loss_kg_ha) == pytest.approx(joint.of("header", "machine").quantile(0.5), rel=0.05)


def even(variation: float, *, step: float = 0.1, tkw_g: float = 3.5) -> Catch:
    return Catch(read("weighed", 1.0, step, tkw_g=tkw_g), DESIGN_PAN, variation)


def normal_theory(like: Catch, loss: float, n: int, scale_sd: float) -> float:
    mean = 0.1 * like.exposure.machine_m2 * loss
    return 1.645 * math.sqrt((like.c0**2 + like.reading.seed_g / mean) / n + scale_sd**2)


PRECISE = [
    (even(0.4), 50.0, 0.30, 0.02),
    (even(0.4), 50.0, 0.20, 0.02),
    (even(0.4), 50.0, 0.10, 0.0),
    (even(0.2), 50.0, 0.10, 0.0),
    (even(0.2), 50.0, 0.05, 0.0),
    (even(0.05), 50.0, 0.02, 0.0),
    (even(1.0), 50.0, 0.40, 0.02),
    (even(0.4, tkw_g=300.0), 50.0, 0.20, 0.02),
]


@pytest.mark.parametrize(("like", "loss", "wished", "scale_sd"), PRECISE)
def test_catches_for_a_precision_are_those_of_normal_theory(like, loss, wished, scale_sd):
    found = catches_for_precision(like, "machine", loss, wished, scale_sd)

    # Normal theory takes c as known and the range as symmetric: good to 12 % of the half width at several catches.
    assert found.catches is not None
    assert found.half_width <= wished
    assert found.half_width == pytest.approx(normal_theory(like, loss, found.catches, scale_sd), rel=0.12)
    # And one catch fewer would not have done, by the same theory and slack.
    assert normal_theory(like, loss, max(1, found.catches - 1), scale_sd) > wished / 1.15 or found.catches == 1


def half_width_by_play(like: Catch, loss: float, n: int, scale_sd: float, plays: int = 160) -> float:
    rng = np.random.default_rng(42)
    mean, widths = 0.1 * like.exposure.machine_m2 * loss, []
    for _ in range(plays):
        c = like.c0 * math.exp(0.35 * rng.standard_normal())
        masses = road.seed_by_seed(rng, mean, c, like.reading.seed_g, n)
        step = like.reading.step_g
        catches = [
            Catch(read("weighed", round(m / step) * step, step, tkw_g=1000 * like.reading.seed_g), DESIGN_PAN, like.c0)
            for m in masses
        ]
        found = machine_range(catches, loss, scale_sd)
        widths.append((found.high - found.low) / 2 / found.median)
    return float(np.median(widths))


@pytest.mark.slow
@pytest.mark.parametrize(
    ("like", "wished", "scale_sd"), [(even(0.4), 0.5, 0.08), (even(0.4), 0.3, 0.02), (even(0.2), 0.1, 0.0)]
)
def test_catches_for_a_precision_are_those_of_catches_played_out(like, wished, scale_sd):
    found = catches_for_precision(like, "machine", 50.0, wished, scale_sd)

    # Half widths differ by a third between plays: their median of 160 by 1.25 · 0.33/√160 = 3.3 %, of 64 futures by
    # 5 %.
    assert found.half_width == pytest.approx(half_width_by_play(like, 50.0, found.catches, scale_sd), rel=0.15)


def test_a_precision_beyond_the_shared_error_is_out_of_reach_and_says_why():
    found = catches_for_precision(even(0.2), "machine", 50.0, 0.10, 0.08)

    assert found.catches is None
    # 1.645 · 0.08 = 13 % remain with any number of catches.
    assert found.floor == pytest.approx(0.132, abs=0.001)
    assert 0.10 < found.floor < found.half_width


def test_a_precision_beyond_sixty_catches_is_out_of_reach():
    found = catches_for_precision(even(1.0), "machine", 50.0, 0.05, 0.0)

    assert found.catches is None
    assert found.floor == 0.0
    assert found.half_width == pytest.approx(normal_theory(even(1.0), 50.0, 60, 0.0), rel=0.12)


def test_a_finer_wish_takes_more_catches():
    numbers = [catches_for_precision(even(0.4), "machine", 50.0, w, 0.02).catches for w in (1.0, 0.5, 0.3, 0.2, 0.15)]

    assert None not in numbers
    assert sorted(numbers) == numbers
    assert numbers[0] < numbers[-1]


@pytest.mark.parametrize(
    "ask",
    [
        lambda: catches_for_precision(even(0.4), "machine", 0.0, 0.3, 0.02),
        lambda: catches_for_precision(even(0.4), "machine", 50.0, 0.0, 0.02),
        lambda: catches_for_precision(even(0.4), "machine", 50.0, 25.0, 0.02),
        lambda: catches_for_precision(even(0.4), "machine", 50.0, 0.3, -0.02),
        lambda: catches_for_precision(even(0.4), "header", 50.0, 0.3, 0.02),
        lambda: further_catches(Prospect(np.zeros(4), np.ones(4), np.ones(4), 0.1, 0.1), 0.0),
        lambda: further_catches(Prospect(np.zeros(4), np.ones(4), np.ones(4), 0.1, 0.1), 5.0, most=0),
        lambda: prospect_of_one_source(
            [weighed(1.0)], "machine", PRIORS["machine"], 0.1, weighed(1.0, ex.in_standing_crop(1.0))
        ),
    ],
)
def test_refuses_what_cannot_be_planned(ask):
    with pytest.raises(InputError):
        ask()
