"""The likelihood against catches played out: draw an unevenness, let seed fall, read the scale, count how often.

Nothing of the engine's likelihood is used to simulate. A chance estimated from n plays has the standard error
sqrt(p(1 − p)/n); its logarithm 1/sqrt(n p). Four of these are allowed, so a test with a few dozen
comparisons errs once in several hundred seeds; the seeds are fixed.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
import second_road as road
from made_catches import DESIGN_PAN, PRIORS, counted, field_area, weighed
from scipy import stats

from chaffinch.engine import exposure as ex
from chaffinch.engine.catch import Reading
from chaffinch.engine.estimate import Evidence, Prior, estimate, range_of
from chaffinch.engine.evidence import LN_LOSS, Catch, average_over_c, c_nodes, evidence, log_likelihood
from chaffinch.engine.sources import locate

PLAYS = 400_000


def chance_by_play(rng, catches, loss_kg_ha: float, c0: float) -> float:
    """Share of plays in which every catch reads what it read: c shared, Gamma masses, rounding."""
    c = c0 * np.exp(0.35 * rng.standard_normal(PLAYS))
    hit = np.ones(PLAYS, dtype=bool)
    for catch in catches:
        reading = catch.reading
        mean = 0.1 * loss_kg_ha * catch.exposure.machine_m2
        variance = np.square(c * mean) + reading.seed_g * mean
        mass = rng.gamma(mean**2 / variance, variance / mean)
        hit &= np.abs(np.round(mass / reading.step_g) * reading.step_g - reading.mass_g) < reading.step_g / 2
    return float(hit.mean())


@pytest.mark.slow
@pytest.mark.parametrize(
    ("masses", "step", "c0", "losses"),
    [
        ((12.0,), 1.0, 0.4, (20, 40, 56, 90, 160)),
        ((0.0,), 1.0, 0.4, (0.5, 1, 3, 8, 15)),
        ((1.0,), 1.0, 0.6, (2, 5, 12, 40)),
        ((10.0, 15.0), 5.0, 0.4, (30, 45, 60, 90)),
        ((10.0, 10.0, 15.0), 5.0, 0.2, (40, 50, 60)),
        ((0.0, 2.0), 2.0, 1.5, (2, 5, 20, 80)),
    ],
)
def test_evidence_has_the_shape_of_the_played_chances(masses, step, c0, losses):
    rng = np.random.default_rng(11)
    catches = [weighed(m, step=step, variation=c0) for m in masses]
    played = np.array([chance_by_play(rng, catches, loss, c0) for loss in losses])
    mine = np.interp(np.log(losses), LN_LOSS, evidence(catches, "machine").log_likelihood)

    difference = mine - np.log(played)
    error = 1.0 / np.sqrt(PLAYS * played)

    # Up to a constant: compare with the weighted mean difference. 0.003 is the grid's straight reading between points.
    centre = np.average(difference, weights=error**-2.0)
    assert (np.abs(difference - centre) < 4 * error + 0.003).all()


@pytest.mark.slow
@pytest.mark.parametrize(("seeds", "tkw_g", "c0"), [((0,), 40.0, 0.4), ((3,), 300.0, 0.6), ((6, 9), 40.0, 0.5)])
def test_counts_have_the_chance_of_seeds_that_fell_one_by_one(seeds, tkw_g, c0):
    rng = np.random.default_rng(12)
    catches = [counted(n, tkw_g=tkw_g, variation=c0) for n in seeds]
    losses = np.array([1.0, 3.0, 6.0]) * max(1, seeds[0]) * tkw_g / 300.0
    played = []
    for loss in losses:
        c = c0 * np.exp(0.35 * rng.standard_normal(PLAYS))
        hit = np.ones(PLAYS, dtype=bool)
        for n in seeds:
            mass = road.seed_by_seed(rng, 0.1 * loss * DESIGN_PAN.machine_m2, c, tkw_g / 1000.0, PLAYS)
            hit &= np.round(mass / (tkw_g / 1000.0)) == n
        played.append(hit.mean())
    # Absolute this time: a count's likelihood is a probability, nothing divided out.
    ln_mean = np.log(0.1 * losses * DESIGN_PAN.machine_m2)
    mine = average_over_c(sum(log_likelihood(catch, ln_mean, c_nodes(c0)) for catch in catches))

    assert (np.abs(mine - np.log(played)) < 4 / np.sqrt(PLAYS * np.array(played)) + 0.001).all()


@pytest.mark.parametrize(("mean_g", "c", "seed_g"), [(12.5, 0.4, 0.0035), (2.0, 0.6, 0.3), (0.05, 0.2, 0.0035)])
def test_the_gamma_has_the_mean_and_spread_of_fallen_seed(mean_g, c, seed_g):
    # design §4.3: variance (cμ)² + wμ, from an uneven rate and whole seeds.
    mass = road.seed_by_seed(np.random.default_rng(13), mean_g, c, seed_g, 2_000_000)
    variance = (c * mean_g) ** 2 + seed_g * mean_g

    assert mass.mean() == pytest.approx(mean_g, abs=4 * math.sqrt(variance / 2e6))
    # The variance of a variance: (kurtosis − 1)/n of its square; a Gamma-Poisson here has kurtosis below 3 + 6·1.3.
    assert mass.var() == pytest.approx(variance, rel=4 * math.sqrt(10 / 2e6))


def whole_seed_evidence(catch: Catch, c0: float) -> Evidence:
    """What the reading says if its mass is whole seeds: every count that the interval holds, summed."""
    reading, c = catch.reading, c_nodes(c0)
    nu = np.exp(LN_LOSS)[:, None] * 0.1 * catch.exposure.machine_m2 / reading.seed_g
    r = 1.0 / np.square(c)[None, :]
    least = math.ceil(max(0.0, reading.mass_g - reading.step_g / 2) / reading.seed_g - 1e-9)
    most = math.floor((reading.mass_g + reading.step_g / 2) / reading.seed_g + 1e-9)
    chance = stats.nbinom.cdf(most, r, r / (r + nu)) - (stats.nbinom.cdf(least - 1, r, r / (r + nu)) if least else 0)
    table = average_over_c(np.log(np.maximum(chance, 1e-290)))
    return Evidence(table - table.max(), 1)


@pytest.mark.parametrize("seed_g", [0.0035, 0.04, 0.3])
@pytest.mark.parametrize(
    ("steps_per_seed", "reading_in_steps", "within"),
    [
        # How far the engine may be from whole seeds, in the 5, 50 and 95 % points. An empty pan that may hide fewer
        # than eight seeds is summed seed by seed; the Gamma of all else comes closer as seeds get many, within a
        # tenth for the usual scale (30 seeds a step).
        (2.1, 0, 0.005),
        (2.1, 1, 0.25),
        (2.1, 5, 0.05),
        (5.0, 0, 0.005),
        (5.0, 2, 0.05),
        (30.0, 0, 0.07),
        (30.0, 2, 0.01),
    ],
)
def test_readings_say_what_whole_seeds_would(seed_g, steps_per_seed, reading_in_steps, within):
    step = seed_g * steps_per_seed
    catch = Catch(Reading(reading_in_steps * step, step, seed_g, None, 0.0, "weighed", 0.0), DESIGN_PAN, 0.4)
    mine = range_of(estimate(evidence([catch], "machine"), Prior(40.0), 0.08))
    whole = range_of(estimate(whole_seed_evidence(catch, 0.4), Prior(40.0), 0.08))

    for a, b in zip((mine.low, mine.median, mine.high), (whole.low, whole.median, whole.high), strict=True):
        assert abs(math.log(a / b)) < within


def played_check(rng, exposure, tkw_g, how, count, c0, loss):
    """Catches of one check from fallen seed, with the reading's shared error in them."""
    c = c0 * math.exp(0.35 * rng.standard_normal())
    catches = []
    tkw_error = math.exp(0.08 * rng.standard_normal()) if how == "counted" else 1.0
    pan_error = math.exp(0.01 * rng.standard_normal())
    for _ in range(count):
        mean = 0.1 * loss * exposure.machine_m2 * pan_error
        # The seed is heavier than the table says by tkw_error, so fewer are counted.
        mass = float(road.seed_by_seed(rng, mean, c, tkw_g / 1000.0 * tkw_error, None))
        if how == "counted":
            seeds = round(mass / (tkw_g / 1000.0 * tkw_error))
            catches.append(counted(seeds, exposure, tkw_g=tkw_g, variation=c0))
        else:
            catches.append(weighed(round(mass / how) * how, exposure, step=how, tkw_g=tkw_g, variation=c0))
    return catches


CHECKS = 700


@pytest.mark.slow
@pytest.mark.parametrize(
    ("exposure", "tkw_g", "how", "count", "c0"),
    [
        (field_area(2.2), 3.5, 0.1, 1, 0.4),
        (field_area(2.2), 3.5, 0.1, 3, 0.4),
        (field_area(1.0), 40.0, 1.0, 8, 0.6),
        (field_area(1.0), 300.0, "counted", 1, 0.5),
        (field_area(0.5), 40.0, "counted", 3, 0.5),
        (field_area(2.2), 45.0, 5.0, 2, 0.2),
    ],
)
def test_nine_ranges_of_ten_hold_the_truth(exposure, tkw_g, how, count, c0):
    rng = np.random.default_rng(14)
    scale_sd = math.hypot(0.01, 0.08 if how == "counted" else 0.0)
    inside = 0
    for _ in range(CHECKS):
        loss = 40.0 * math.exp(1.3 * rng.standard_normal())
        catches = played_check(rng, exposure, tkw_g, how, count, c0, loss)
        found = range_of(estimate(evidence(catches, "machine"), PRIORS["machine"], scale_sd))
        inside += found.low <= loss <= found.high

    # Binomial: sqrt(0.9 · 0.1/700) = 0.011; three of them, about the design's bar of 87 to 93 %.
    assert inside / CHECKS == pytest.approx(0.90, abs=0.034)


@pytest.mark.slow
def test_nine_joint_ranges_of_ten_hold_the_truth():
    rng = np.random.default_rng(15)
    places = [
        ex.in_standing_crop(1.0),
        ex.in_header_strip(0.5),
        ex.in_header_strip(0.5),
        field_area(2.2),
        field_area(2.2),
    ]
    inside = dict.fromkeys(("standing", "header", "machine"), 0)
    checks = 250
    for _ in range(checks):
        truth = {s: PRIORS[s].median_kg_ha * math.exp(1.3 * rng.standard_normal()) for s in inside}
        z = dict(zip(("ground", "spanning"), np.exp(0.35 * rng.standard_normal(2)), strict=True))
        catches = []
        for place in places:
            mean = 0.1 * sum(truth[s] * place.area_m2(s) for s in inside)
            c = {"ground": 0.5, "spanning": 0.2}[place.taken] * z[place.taken]
            mass = float(road.seed_by_seed(rng, mean, c, 0.04, None))
            catches.append(weighed(round(mass, 1), place, tkw_g=40.0))
        joint = locate(catches, PRIORS, width_sd=0.08)
        for s in inside:
            found = range_of(joint.of(s))
            inside[s] += found.low <= truth[s] <= found.high

    # Binomial: sqrt(0.9 · 0.1/250) = 0.019; three of them.
    assert {s: n / checks for s, n in inside.items()} == pytest.approx(dict.fromkeys(inside, 0.90), abs=0.057)
