"""The likelihood of one reading and of several, against scipy.stats, quadrature and its own symmetries."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
import second_road as road
from hypothesis import given, settings
from hypothesis import strategies as st
from made_catches import DESIGN_PAN, counted, field_area, weighed
from scipy import integrate, stats

from chaffinch.engine import exposure as ex
from chaffinch.engine.catch import Reading, read
from chaffinch.engine.evidence import (
    LN_LOSS,
    SOURCES,
    Catch,
    average_over_c,
    c_nodes,
    evidence,
    log_likelihood,
    profile,
    weights_over_c,
)
from chaffinch.errors import InputError

MEANS_G = np.geomspace(1e-4, 1e5, 46)
SPREADS = [0.02, 0.2, 0.4, 0.6, 3.0]


def raw(mass_g: float, step_g: float, seed_g: float, variation: float = 0.4, area_m2: float = 10.0) -> Catch:
    return Catch(Reading(mass_g, step_g, seed_g, None, 0.0, "weighed", 0.0), field_area(area_m2), variation)


@pytest.mark.parametrize("c0", SPREADS)
@pytest.mark.parametrize(
    ("mass", "step", "seed"),
    [
        (12.5, 0.1, 0.0035),
        (0.1, 0.1, 0.0035),
        (0.0, 0.1, 0.0035),
        (0.0, 50.0, 0.0035),
        (100.0, 100.0, 0.0001),
        (1.0, 1.0, 0.3),
        (40.0, 5.0, 2.0),
        (5e4, 1.0, 0.3),
        (0.03, 0.06, 0.03),
        (0.0001, 0.0002, 0.0001),
    ],
)
def test_weighed_likelihood_is_the_gamma_probability_of_scipy(c0, mass, step, seed):
    catch, c = raw(mass, step, seed, c0), c_nodes(c0)
    mine = log_likelihood(catch, np.log(MEANS_G), c)
    low, high = max(0.0, mass - step / 2), mass + step / 2
    theirs = road.ln_between(low, high, MEANS_G[:, None], c[None, :], seed)

    # The distribution functions are good to some 1e-14: their difference, at p > 1e-7, to 1e-7 of p.
    sound = theirs > math.log(1e-7)
    assert sound.any()
    assert mine[sound] == pytest.approx(theirs[sound], abs=1e-7)


@pytest.mark.parametrize("c", [0.005, 0.05, 0.4, 2.0, 12.0])
@pytest.mark.parametrize(
    ("mass", "step", "seed"), [(12.5, 0.1, 0.0035), (0.2, 0.1, 0.0035), (500.0, 10.0, 0.3), (3.0, 1.0, 0.045)]
)
def test_tails_keep_their_digits(mass, step, seed, c):
    # Where the distribution functions have cancelled to nothing the density itself is integrated, adaptively.
    # c is the first of the nodes, so the quadrature under test is set up for exactly this width.
    catch = raw(mass, step, seed)
    for mean in mass * np.array([0.02, 0.2, 0.5, 0.9, 1.0, 1.2, 3.0, 20.0, 1e3]):
        theirs = road.ln_between_by_quadrature(mass - step / 2, mass + step / 2, float(mean), c, seed)
        mine = float(log_likelihood(catch, np.log([mean]), np.array([c]))[0, 0])
        # Beyond e^-150 a node may miss part of a density that falls within the interval: 1 % of the logarithm there.
        assert mine == pytest.approx(theirs, abs=2e-5, rel=0.01 if theirs < -150 else 1e-9)


@pytest.mark.parametrize("c", [0.005, 0.05, 0.4, 2.0, 12.0])
def test_an_empty_pan_keeps_its_digits_far_below_underflow(c):
    catch = raw(0.0, 0.1, 0.0035)
    for mean in np.geomspace(0.06, 1e6, 25):
        scale = c * c * mean + 0.0035
        shape, x = mean / scale, 0.05 / scale
        # Σ x^n / (k (k+1) … (k+n)) times x^k e^-x / Γ(k), DLMF 8.11.4, summed until nothing is added.
        term = total = 1.0 / shape
        for n in itertools.count(1):
            term *= x / (shape + n)
            total += term
            if term < 1e-17 * total:
                break
        theirs = shape * math.log(x) - x - math.lgamma(shape) + math.log(total)
        mine = float(log_likelihood(catch, np.log([mean]), np.array([c]))[0, 0])
        # Two terms of the series stand in below e^-645: their error is a thousandth of the logarithm.
        assert mine == pytest.approx(theirs, abs=1e-8, rel=1e-3 if theirs < -600 else 1e-9)


@pytest.mark.parametrize("c0", SPREADS)
@pytest.mark.parametrize("seeds", [0, 1, 7, 300, 250_000])
def test_counted_likelihood_is_the_negative_binomial_of_scipy(c0, seeds):
    catch, c = counted(seeds, field_area(10.0), tkw_g=40.0, variation=c0), c_nodes(c0)
    mine = log_likelihood(catch, np.log(MEANS_G), c)
    theirs = road.ln_count(seeds, MEANS_G[:, None] / 0.04, c[None, :])

    # Differences of log-gamma functions near count · ln(count): 2.5e5 · 12 · 2^-52 leaves 1e-9, times ten.
    assert mine == pytest.approx(theirs, rel=1e-9, abs=1e-8)


def test_a_counted_subsample_is_a_thinned_count():
    # Of ν seeds a tenth is counted: negative binomial with mean ν/10 and the same shape.
    catch = Catch(read("counted", 12, 1.0, tkw_g=40.0, subsample=0.1), field_area(10.0), 0.4)
    mine = log_likelihood(catch, np.log(MEANS_G), c_nodes(0.4))

    assert mine == pytest.approx(road.ln_count(12, MEANS_G[:, None] / 0.4, c_nodes(0.4)[None, :]), abs=1e-8)


@pytest.mark.parametrize("step", [0.001, 0.1, 0.999])
@pytest.mark.parametrize("seeds", [0, 1, 2, 5, 40])
def test_a_scale_that_tells_one_seed_from_none_counts(seeds, step):
    # Faba beans of 0.5 g on a scale of 0.1 g: the reading is the count, so it must be worth exactly as much.
    weighed_, count = weighed(0.5 * seeds, step=step, tkw_g=500.0), counted(seeds, tkw_g=500.0)

    assert evidence([weighed_], "machine").log_likelihood == pytest.approx(
        evidence([count], "machine").log_likelihood, abs=1e-9
    )


@pytest.mark.parametrize("c0", SPREADS)
@pytest.mark.parametrize(("step_in_seeds", "seeds"), [(2.0, 1), (3.9, 1), (4.0, 2), (11.0, 5), (15.99, 7)])
def test_an_empty_pan_may_hide_as_many_seeds_as_half_a_step_weighs(step_in_seeds, seeds, c0):
    catch, c = raw(0.0, 0.3 * step_in_seeds, 0.3, c0), c_nodes(c0)
    mine = log_likelihood(catch, np.log(MEANS_G), c)
    theirs = road.ln_at_most(seeds, MEANS_G[:, None] / 0.3, c[None, :])

    # scipy's distribution function underflows below e^-700, and loses digits in its logarithm before.
    assert mine[theirs > -600] == pytest.approx(theirs[theirs > -600], rel=1e-8, abs=1e-10)
    assert np.isfinite(mine).all()


def test_half_a_step_of_whole_seeds_is_whole_in_any_unit():
    # 0.3/0.1 is 2.9999999999999996 in floats: an empty pan must not change its mind about the third seed.
    by_unit = [
        evidence([raw(0.0, 0.6 * u, 0.1 * u, area_m2=10.0 * u)], "machine").log_likelihood
        for u in (1.0, 10.0, 0.7, 3.3)
    ]

    for other in by_unit[1:]:
        assert other == pytest.approx(by_unit[0], rel=1e-9, abs=1e-9)


@pytest.mark.parametrize("c0", [0.2, 0.4, 0.6])
def test_where_the_seeds_of_an_empty_pan_are_no_longer_summed_little_changes(c0):
    summed, gamma = (evidence([raw(0.0, step, 0.3, c0)], "machine").log_likelihood for step in (4.799, 4.801))
    near = (summed > -4.0) & (gamma > -4.0)

    # Up to seven seeds summed against the Gamma's share below eight.
    assert np.abs(summed - gamma)[near].max() < 0.25


@pytest.mark.parametrize("mass", [0.0, 0.7, 12.5])
def test_the_likelihood_does_not_jump_where_counting_begins(mass):
    # Just finer and just coarser than two steps a seed. For 12.5 g of 0.35 g seed both are one model; for few seeds the
    # Gamma is an approximation (see test_evidence_simulated), and in an empty pan one more seed may hide.
    fine, coarse = (raw(mass, step, 0.35) for step in (0.6999, 0.7001))
    a, b = (evidence([catch], "machine").log_likelihood for catch in (fine, coarse))
    near = (a > -4.0) & (b > -4.0)

    assert np.abs(a - b)[near].max() < {0.0: 1.1, 0.7: 0.7, 12.5: 0.15}[mass]


def integral_over_c(catches: list[Catch], ln_loss: float, c0: float) -> float:
    """Log of ∫ Π P(reading | c) dP(ln c), ln c within four sd of ln c0, by adaptive quadrature."""

    def value(z: float) -> float:
        c = np.array([c0 * math.exp(0.35 * z)])
        each = [log_likelihood(k, np.array([ln_loss + math.log(0.1 * k.exposure.machine_m2)]), c) for k in catches]
        return float(sum(e[0, 0] for e in each)) - 0.5 * z * z

    coarse = np.linspace(-4, 4, 161)
    heights = [value(z) for z in coarse]
    top, peak = max(heights), float(coarse[int(np.argmax(heights))])
    cuts = sorted({-4.0, 4.0, *(x for d in (0.0, 0.1, 0.3, 1.0) for x in (peak - d, peak + d) if abs(x) < 4.0)})
    whole = sum(
        integrate.quad(lambda z: math.exp(value(z) - top), a, b, epsrel=1e-7)[0] for a, b in itertools.pairwise(cuts)
    )
    return top + math.log(whole / (math.sqrt(2 * math.pi) * (1 - 2 * stats.norm.sf(4.0))))


@pytest.mark.parametrize(
    ("masses", "c0", "losses", "within"),
    [
        # 23 nodes against the integral: exact wherever the posterior has weight.
        ((12.5,), 0.4, (20, 40, 56, 80, 200), 1e-3),
        ((12.5, 9.8, 15.1), 0.4, (20, 40, 56, 80, 200), 1e-3),
        ((12.5, 9.8, 15.1), 0.2, (40, 56, 80), 2e-3),
        # Where huge or tiny c carry the weight the sum meets the bound, whose node counts whole instead of half.
        ((0.0,), 0.4, (0.5, 5, 56), 0.03),
        ((12.5,) * 8, 0.2, (56.0,), 0.03),
    ],
)
def test_the_nodes_of_c_integrate_it_out(masses, c0, losses, within):
    catches = [weighed(m, variation=c0) for m in masses]
    ln_loss = np.log(losses)
    table = sum(log_likelihood(k, ln_loss + math.log(0.1 * DESIGN_PAN.machine_m2), c_nodes(c0)) for k in catches)

    theirs = [integral_over_c(catches, float(x), c0) for x in ln_loss]

    assert average_over_c(table) == pytest.approx(theirs, abs=within)


def test_c_nodes_carry_the_lognormal():
    c, weight = c_nodes(0.4), weights_over_c(np.zeros((1, 23)))[0]

    assert weight.sum() == pytest.approx(1.0)
    assert weight @ np.log(c) == pytest.approx(math.log(0.4))
    # 6e-5 of the variance lies beyond four sd, and the end nodes count whole.
    assert weight @ np.square(np.log(c / 0.4)) == pytest.approx(0.35**2, rel=2e-3)


def test_weights_of_c_are_the_parts_of_its_average():
    table = np.random.default_rng(2).normal(0.0, 30.0, (50, 23))

    weights = weights_over_c(table)
    # Raising one node's log-likelihood by h raises the log average by its weight times h.
    raised = table.copy()
    raised[:, 7] += 1e-5
    slope = (average_over_c(raised) - average_over_c(table)) / 1e-5

    assert weights.sum(axis=1) == pytest.approx(np.ones(50))
    assert weights[:, 7] == pytest.approx(slope, abs=1e-5)


def test_the_grid_is_the_designs():
    assert LN_LOSS.size >= 481
    assert np.exp(LN_LOSS[[0, -1]]) == pytest.approx([0.05, 5000.0])
    assert not LN_LOSS.flags.writeable


@given(
    st.lists(st.floats(0.0, 200.0), min_size=2, max_size=6), st.randoms(use_true_random=False), st.sampled_from(SPREADS)
)
@settings(max_examples=40, deadline=None)
def test_the_order_of_catches_does_not_matter(masses, chance, c0):
    catches = [weighed(round(m, 1), variation=c0 if i % 2 else None) for i, m in enumerate(masses)]
    shuffled = list(catches)
    chance.shuffle(shuffled)

    assert evidence(shuffled, "machine").log_likelihood == pytest.approx(
        evidence(catches, "machine").log_likelihood, rel=1e-9, abs=1e-9
    )


@given(
    mass=st.one_of(st.just(0.0), st.floats(1e-3, 5e3)),
    step=st.floats(1e-3, 100.0),
    tkw=st.floats(0.1, 2e3),
    area=st.floats(1e-2, 50.0),
    factor=st.floats(0.01, 50.0),
    c0=st.floats(0.02, 3.0),
)
@settings(max_examples=60, deadline=None)
def test_a_larger_pan_of_larger_seed_says_the_same(mass, step, tkw, area, factor, c0):
    # Mass, step, seed and area all in other units: the loss per area cannot change.
    one = raw(mass, step, tkw / 1000.0, c0, area)
    other = raw(factor * mass, factor * step, factor * tkw / 1000.0, c0, factor * area)

    # ln(factor) moves each term of thousands by rounding only.
    assert evidence([other], "machine").log_likelihood == pytest.approx(
        evidence([one], "machine").log_likelihood, rel=1e-8, abs=1e-6
    )


@given(
    masses=st.lists(st.one_of(st.just(0.0), st.floats(0.0, 5e4)), min_size=1, max_size=5),
    step=st.floats(1e-3, 100.0),
    tkw=st.floats(0.1, 2e3),
    area=st.floats(1e-3, 50.0),
    part=st.floats(0.01, 1.0),
    c0=st.floats(0.02, 3.0),
)
@settings(max_examples=150, deadline=None)
def test_any_readings_give_finite_evidence(masses, step, tkw, area, part, c0):
    catches = [Catch(read("weighed", m, step, tkw_g=tkw, subsample=part), field_area(area), c0) for m in masses]
    found = evidence(catches, "machine")

    assert np.isfinite(found.log_likelihood).all()
    assert found.log_likelihood.max() == 0.0
    assert found.catches == len(masses)


def test_unlike_catches_have_each_their_own_variation():
    # Two ways of taking: the evidence is the sum of what each says alone. Taken alike they share c, and it is not.
    narrow, wide = weighed(12.5), weighed(9.0, ex.in_discharge(0.4, 12.0, 4.0, spreading=True))
    apart = evidence([narrow], "machine").log_likelihood + evidence([wide], "machine").log_likelihood
    alike = 2 * evidence([narrow], "machine").log_likelihood

    assert evidence([narrow, wide], "machine").log_likelihood == pytest.approx(apart - apart.max(), abs=1e-9)
    assert np.abs(evidence([narrow, narrow], "machine").log_likelihood - alike).max() > 0.1


def test_agreeing_catches_sharpen_more_than_quarrelling_ones():
    ranges = []
    for masses in ((12.0, 12.5, 13.0), (5.0, 12.5, 20.0)):
        log_l = evidence([weighed(m) for m in masses], "machine").log_likelihood
        p = np.exp(log_l) / np.exp(log_l).sum()
        ranges.append(math.sqrt(p @ LN_LOSS**2 - (p @ LN_LOSS) ** 2))

    assert ranges[0] < 0.8 * ranges[1]


@pytest.mark.parametrize("source", SOURCES)
def test_only_catches_of_one_source_are_evidence_about_it(source):
    everything = weighed(12.5, ex.across_whole_cut(0.5))
    with pytest.raises(InputError, match="place"):
        evidence([everything], source)


def test_no_catch_is_no_evidence():
    with pytest.raises(InputError, match="catches"):
        evidence([], "machine")
    with pytest.raises(InputError, match="place"):
        evidence([weighed(12.5)], "header")


def test_a_profile_of_equal_pans_is_their_mean_with_less_unevenness():
    # Three pans 1 m apart on a 4 m discharge, each standing for (1+2)/2, 1 and (2+1)/2 m of it.
    pans = [read("weighed", 6.0, 0.1, tkw_g=3.5)] * 3
    lengths = ex.profile_lengths_m([-1.0, 0.0, 1.0], 4.0)
    seen = profile(pans, [0.25] * 3, lengths, 12.0)

    assert lengths == (1.0, 1.0, 1.0)
    assert seen.reading.mass_g == pytest.approx(3 * 6.0 / 0.25)  # grams per metre of travel
    assert seen.exposure.machine_m2 == 12.0  # one metre of travel over the cut
    assert seen.exposure.variation_factor == pytest.approx(1 / math.sqrt(3))
    # Var(Σ a y) = Σ a² w m with a = 4 per metre.
    assert seen.reading.seed_g * seen.reading.mass_g == pytest.approx(3 * 16 * 0.0035 * 6.0)
    assert seen.reading.step_g == pytest.approx(0.4 * math.sqrt(3))


def test_an_empty_profile_stands():
    pans = [read("weighed", 0.0, 0.1, tkw_g=3.5)] * 2
    seen = profile(pans, [0.25] * 2, ex.profile_lengths_m([-0.5, 0.5], 2.0), 12.0)

    found = evidence([seen], "machine").log_likelihood

    assert np.isfinite(found).all()
    # Nothing caught: the smaller the loss the likelier.
    assert (np.diff(found) <= 1e-12).all()
