"""From evidence to a range and a verdict: the design's numbers, brute-force integration, and what must always hold."""

from __future__ import annotations

import math

import numpy as np
import pytest
import second_road as road
from hypothesis import given, settings
from hypothesis import strategies as st
from made_catches import (
    CANOLA_TKW_G,
    DESIGN_PAN,
    PRIORS,
    counted,
    field_area,
    machine_belief,
    machine_range,
    weighed,
)
from scipy import stats

from chaffinch.engine import estimate as est
from chaffinch.engine.catch import read
from chaffinch.engine.estimate import DrawBelief, GridBelief, Prior, range_of
from chaffinch.engine.evidence import LN_LOSS, Catch, Evidence, evidence, log_likelihood
from chaffinch.engine.sources import locate
from chaffinch.errors import InputError

# Printed in design §4.4, from an independent program: TKW 3.5 g, c0 0.40, prior median 40, scale error 0.08,
# step 0.1 g, 4 ft² pan, width ratio 6; 5, 50 and 95 % points in kg/ha.
CROSS_CHECK = {
    "one pan": ((12.5,), (30.6, 56.8, 120.0)),
    "three pans": ((12.5, 9.8, 15.1), (39.4, 56.2, 83.6)),
    "empty pan": ((0.0,), (0.22, 2.4, 45.0)),
}


@pytest.mark.parametrize(("masses", "printed"), CROSS_CHECK.values(), ids=CROSS_CHECK.keys())
def test_agrees_with_the_independent_program(masses, printed):
    found = machine_range([weighed(m) for m in masses])

    # 2 %, and no finer than the digits printed (0.22 and 2.4 have two).
    assert (found.low, found.median, found.high) == pytest.approx(printed, rel=0.02)


def brute_force(catches, c0: float, prior: Prior, scale_sd: float) -> est.Range:
    """The posterior by plain sums over (ln λ, ln c), finer and wider than the engine's, likelihood by scipy.stats.

    The shared error is folded in as its own axis: P(λ < x) = Σ p(λ') Φ(ln(x/λ')/sd).
    """
    ln_loss, z = np.linspace(math.log(0.01), math.log(3e4), 1501)[:, None], np.linspace(-4.0, 4.0, 161)[None, :]
    c = c0 * np.exp(0.35 * z)
    log_p = -0.5 * z**2 - 0.5 * np.square((ln_loss - math.log(prior.median_kg_ha)) / prior.sd_log)
    for catch in catches:
        log_p = log_p + road.ln_reading(catch, 0.1 * catch.exposure.machine_m2 * np.exp(ln_loss), c)
    p = np.exp(log_p - log_p.max()).sum(axis=1)
    p /= p.sum()
    x = np.linspace(math.log(0.01), math.log(3e4), 4001)
    below = stats.norm.cdf((x[:, None] - ln_loss.T) / scale_sd) @ p
    return est.Range(*np.exp(np.interp([0.05, 0.5, 0.95], below, x)))


CASES = {
    "one pan": ([weighed(12.5)], 0.4, 40.0),
    "three pans": ([weighed(m) for m in (12.5, 9.8, 15.1)], 0.4, 40.0),
    "empty pan": ([weighed(0.0)], 0.4, 40.0),
    "quarrel": ([weighed(m, variation=0.3) for m in (0.4, 12.5, 30.0)], 0.3, 20.0),
    "coarse": ([weighed(m, step=5.0) for m in (10.0, 15.0, 0.0)], 0.4, 40.0),
    "beans counted": ([counted(n, tkw_g=500.0) for n in (0, 3, 1)], 0.4, 40.0),
    "beans weighed": ([weighed(0.5 * n, tkw_g=500.0) for n in (0, 3, 1)], 0.4, 40.0),
    "even": ([weighed(m, variation=0.1) for m in (12.5, 13.0)], 0.1, 40.0),
}


@pytest.mark.parametrize(("catches", "c0", "prior"), CASES.values(), ids=CASES.keys())
def test_agrees_with_brute_force_integration(catches, c0, prior):
    theirs = brute_force(catches, c0, Prior(prior), 0.08)
    mine = machine_range(catches, prior)

    # A grid step of 2 %, mass spread evenly over it: the points are good to a tenth of a step; an empty pan's
    # upper end leans on the largest c, where the node at the bound counts whole (2 %).
    within = 0.03 if catches[0].reading.mass_g == 0.0 else 0.004
    for a, b in zip((mine.low, mine.median, mine.high), (theirs.low, theirs.median, theirs.high), strict=True):
        assert a == pytest.approx(b, rel=within)


@pytest.mark.parametrize(("catches", "c0", "prior"), CASES.values(), ids=CASES.keys())
def test_the_grid_and_the_draws_are_two_roads_to_one_range(catches, c0, prior):
    del c0
    grid = machine_belief(catches, prior, math.hypot(catches[0].reading.scale_sd, 0.0, 0.01, 0.08))
    joint = locate(catches, {"machine": Prior(prior)}, width_sd=0.08)
    a, b, sd = range_of(grid), range_of(joint.of("machine")), grid.sd_log()

    # 3,000 effective draws: plain Monte Carlo would leave 0.04 sd at the ends and 0.023 at the median; Sobol points
    # leave half.
    assert joint.ess > 2500
    assert abs(math.log(a.median / b.median)) < 0.02 * sd
    assert max(abs(math.log(a.low / b.low)), abs(math.log(a.high / b.high))) < 0.05 * sd


MAGNITUDES = {
    "masses": st.lists(st.one_of(st.just(0.0), st.floats(0.0, 5e4)), min_size=1, max_size=4),
    "step": st.floats(1e-3, 100.0),
    "tkw": st.floats(0.1, 2e3),
    "area": st.floats(1e-3, 50.0),
    "part": st.floats(0.01, 1.0),
    "c0": st.floats(0.02, 3.0),
    "prior": st.floats(0.5, 500.0),
    "scale_sd": st.floats(0.0, 0.3),
}


@given(**MAGNITUDES)
@settings(max_examples=150, deadline=None)
def test_any_catch_gives_an_ordered_range(masses, step, tkw, area, part, c0, prior, scale_sd):
    catches = [Catch(read("weighed", m, step, tkw_g=tkw, subsample=part), field_area(area), c0) for m in masses]
    belief = machine_belief(catches, prior, scale_sd)
    found = range_of(belief)

    assert 0.0 < found.low <= found.median <= found.high < math.inf
    assert belief.mass.sum() == pytest.approx(1.0)
    assert found.low <= belief.quantile(0.3) <= found.high
    for limit in (0.01, 5.0, 60.0, 1e5):
        assert -1e-12 <= belief.probability_above(limit) <= 1.0
    assert est.verdict(belief.probability_above(20.0)) in ("over", "under", "unsettled")


@given(
    shares=st.lists(st.floats(0.25, 4.0), min_size=1, max_size=5),
    factor=st.floats(1.05, 3.0),
    c0=st.floats(0.1, 0.8),
)
@settings(max_examples=100, deadline=None)
def test_more_in_every_pan_is_more_loss(shares, factor, c0):
    # Each pan holds 0.25 to 4 times what the prior median would leave in it.
    usual_g = 0.1 * 40.0 * DESIGN_PAN.machine_m2
    less = machine_belief([weighed(s * usual_g, variation=c0) for s in shares])
    more = machine_belief([weighed(s * factor * usual_g, variation=c0) for s in shares])

    assert more.quantile(0.5) > less.quantile(0.5)
    # At certainty both are 1 to the last digit.
    assert more.probability_above(40.0) >= less.probability_above(40.0) - 1e-12


def test_an_empty_pan_may_be_a_miss_and_a_nearly_empty_one_is_not():
    # Design §4.4's set-up. An empty pan is explained by a small loss or by a patch that held nothing, so its range is
    # wide and its middle 2.4 kg/ha; 29 seeds are no miss: 1.3 kg/ha, known more narrowly.
    empty, nearly = machine_range([weighed(0.0)]), machine_range([weighed(0.1)])

    assert empty.low < nearly.low
    assert empty.high > nearly.high
    assert empty.median > nearly.median
    # The reversal is the unevenness: where it is known to be usual, less in the pan is less loss throughout.
    known = [likely_with_known_unevenness(weighed(grams)) for grams in (0.0, 0.1, 0.2, 0.4)]
    assert (np.diff(known) > 0).all()


def likely_with_known_unevenness(catch) -> float:
    """Middle of the range [kg/ha] with c fixed at its median in place of being summed out."""
    table = log_likelihood(catch, LN_LOSS + math.log(0.1 * catch.exposure.machine_m2), np.array([catch.c0]))
    seen = Evidence(table[:, 0] - table[:, 0].max(), 1)
    return est.estimate(seen, est.Prior(40.0), 0.08).quantile(0.5)


@pytest.mark.parametrize("prior", [5.0, 40.0])
def test_from_a_thirtieth_of_the_expected_on_more_is_more(prior):
    # Where the reversal above ends, for the default unevenness of a narrow pan.
    usual_g = 0.1 * prior * DESIGN_PAN.machine_m2
    medians = [machine_range([weighed(s * usual_g)], prior).median for s in np.geomspace(1 / 30, 30.0, 30)]

    assert (np.diff(medians) > 0).all()


def width(catches) -> float:
    found = machine_range(catches)
    return math.log(found.high / found.low)


@given(masses=st.lists(st.floats(0.5, 60.0), min_size=1, max_size=4), c0=st.floats(0.1, 0.8))
@settings(max_examples=50, deadline=None)
def test_two_like_halves_of_each_pan_do_not_widen_the_range(masses, c0):
    whole = [weighed(m, field_area(2.0), step=0.01, variation=c0) for m in masses]
    halves = [weighed(m / 2, field_area(1.0), step=0.01, variation=c0) for m in masses for _ in range(2)]

    # 1 % for the grid.
    assert width(halves) <= width(whole) + 0.01


@given(mass=st.floats(0.5, 60.0), unlike=st.floats(0.0, 1.0), c0=st.floats(0.1, 0.8))
@settings(max_examples=50, deadline=None)
def test_two_halves_as_unlike_as_expected_do_not_widen_the_range(mass, unlike, c0):
    # Halves that differ by up to c0. Beyond that, or where the whole pans agreed better than their halves do, the
    # halves speak of more unevenness and may rightly widen it: four pans of 3 g, halved 30:70, widen by 2 %.
    part = 0.5 * (1.0 - unlike * c0)
    whole = [weighed(mass, field_area(2.0), step=0.01, variation=c0)]
    halves = [weighed(p * mass, field_area(1.0), step=0.01, variation=c0) for p in (part, 1.0 - part)]

    assert width(halves) <= width(whole) + 0.01


@given(mass=st.floats(1.0, 100.0), factor=st.floats(1.0, 5.0))
@settings(max_examples=40, deadline=None)
def test_a_larger_pan_with_as_much_more_in_it_says_the_same_but_for_seed_noise(mass, factor):
    # 1 g of canola is 285 seeds: their noise, 6 %, beside c0 = 40 %.
    small = machine_range([weighed(mass, field_area(1.0), step=0.01)])
    large = machine_range([weighed(factor * mass, field_area(factor), step=0.01 * factor)])

    assert large.median == pytest.approx(small.median, rel=0.02)
    assert large.high / large.low <= small.high / small.low * 1.001


@given(st.permutations([0.0, 3.0, 12.5, 12.5, 40.0]))
@settings(max_examples=25, deadline=None)
def test_the_order_of_catches_does_not_matter(masses):
    straight = machine_belief([weighed(m) for m in (0.0, 3.0, 12.5, 12.5, 40.0)])

    assert machine_belief([weighed(m) for m in masses]).mass == pytest.approx(straight.mass, rel=1e-9, abs=1e-15)


def test_more_catches_that_agree_narrow_the_range():
    widths = []
    for n in (1, 2, 4, 8):
        found = machine_range([weighed(12.5 * (1 + 0.2 * (-1) ** i)) for i in range(n)])
        widths.append(math.log(found.high / found.low))

    assert (np.diff(widths) < 0).all()


def test_without_evidence_the_prior_comes_back():
    # The scale error aside, quantiles of a lognormal: exp(± 1.645 · 1.3). A reading with a step of 1e6 g says nothing.
    found = machine_range([weighed(0.0, step=1e6)], scale_sd=0.0)

    expected = [40.0 * math.exp(1.3 * stats.norm.ppf(p)) for p in (0.05, 0.5, 0.95)]
    assert (found.low, found.median, found.high) == pytest.approx(expected, rel=2e-3)


def test_a_belief_in_one_cell_stays_in_it():
    mass = np.zeros(LN_LOSS.size)
    mass[300] = 1.0
    belief = GridBelief(mass)

    for p in (0.05, 0.5, 0.95):
        assert abs(math.log(belief.quantile(p)) - LN_LOSS[300]) <= 0.0101


def test_quantiles_and_chances_of_the_grid_undo_each_other():
    belief = machine_belief([weighed(12.5), weighed(2.0)])

    for p in (0.01, 0.05, 0.3, 0.5, 0.8, 0.99):
        assert belief.probability_above(belief.quantile(p)) == pytest.approx(1.0 - p, abs=1e-9)


def test_draws_have_the_quantiles_mean_and_chances_of_their_distribution():
    z = stats.norm.ppf((np.arange(200_000) + 0.5) / 200_000)
    # Draws from a wider normal, weighted to the narrower one.
    weights = stats.norm.pdf(1.5 * z) * 1.5 / stats.norm.pdf(z)
    belief = DrawBelief(30.0 * np.exp(0.6 * z), weights / weights.sum())

    # ln(loss) ~ N(ln 30, 0.4): the weights shrink z's sd to 1/1.5.
    assert belief.quantile(0.95) == pytest.approx(30 * math.exp(0.4 * 1.64485), rel=1e-3)
    assert belief.mean() == pytest.approx(30 * math.exp(0.08), rel=1e-3)
    assert belief.probability_above(45.0) == pytest.approx(stats.norm.sf(math.log(1.5) / 0.4), abs=1e-4)


# design §4.4: at 0.80 and 0.20 themselves there is a verdict.
@pytest.mark.parametrize(
    ("p_over", "word"),
    [
        (1.0, "over"),
        (0.80, "over"),
        (0.7999, "unsettled"),
        (0.5, "unsettled"),
        (0.2001, "unsettled"),
        (0.20, "under"),
        (0.0, "under"),
    ],
)
def test_verdicts_of_the_design(p_over, word):
    assert est.verdict(p_over) == word
    assert est.verdict(np.float64(p_over)) == word


def test_default_priors_of_the_design():
    for source, share, fixed in (("machine", 0.02, 40.0), ("header", 0.015, 20.0), ("standing", 0.003, 5.0)):
        assert est.default_prior(source, 2500.0).median_kg_ha == pytest.approx(share * 2500.0)
        assert est.default_prior(source, None) == PRIORS[source] == Prior(fixed, 1.3)


def test_share_is_of_harvested_and_lost():
    # 50 lost beside 950 harvested: 5 % of all, 5.26 % of harvested.
    assert est.share_pct(50.0, 50.0, 950.0) == pytest.approx(5.0)
    assert est.share_pct(20.0, 50.0, 950.0) == pytest.approx(2.0)
    assert est.percent_of_harvested(50.0, 950.0) == pytest.approx(5.2631578947)


@pytest.mark.parametrize(
    "ask",
    [
        lambda: est.estimate(evidence([weighed(12.5)], "machine"), Prior(0.0), 0.1),
        lambda: est.estimate(evidence([weighed(12.5)], "machine"), Prior(40.0, 0.0), 0.1),
        lambda: est.estimate(evidence([weighed(12.5)], "machine"), Prior(40.0), -0.1),
        lambda: est.estimate(evidence([weighed(12.5)], "machine"), Prior(math.nan), 0.1),
        lambda: machine_belief([weighed(12.5)]).probability_above(0.0),
        lambda: machine_belief([weighed(12.5)]).probability_above(math.nan),
        lambda: est.default_prior("machine", 0.0),
        lambda: est.share_pct(1.0, 1.0, 0.0),
        lambda: est.Range(1.0, 2.0, 3.0).times(-1.0),
        lambda: evidence([weighed(12.5, variation=0.0)], "machine"),
        lambda: evidence([weighed(12.5, variation=-0.4)], "machine"),
    ],
)
def test_refuses_what_no_estimate_can_stand_on(ask):
    with pytest.raises(InputError):
        ask()


def test_canola_of_the_cross_check_is_3_5_g():
    # The numbers above are only worth something for the set-up they were printed with.
    assert CANOLA_TKW_G == 3.5
    assert pytest.approx(6 * 4 * 0.09290304) == DESIGN_PAN.machine_m2
    assert weighed(1.0).c0 == 0.40
