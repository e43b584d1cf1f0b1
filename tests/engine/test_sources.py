"""Where it was lost: shares, orders, negative differences, and what a catch cannot know."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from made_catches import DESIGN_PAN, FT2_M2, PRIORS, counted, field_area, measured, weighed

from chaffinch.engine import exposure as ex
from chaffinch.engine import sources
from chaffinch.engine.estimate import Prior, range_of
from chaffinch.engine.evidence import SOURCES
from chaffinch.engine.sources import locate, sources_seen
from chaffinch.errors import InputError

PLACES = {
    "standing": ex.in_standing_crop(1.0),
    "strip": ex.in_header_strip(1.0),
    "discharge": DESIGN_PAN,
    "behind": ex.behind(0.5, 12.0, 2.0),
    "across": ex.across_whole_cut(6.0),
    "windrow": field_area(2.0),
}


def wheat(grams: float, place: str):
    return weighed(grams, PLACES[place], tkw_g=40.0)


# One stop with everything: about 4, 20 and 55 kg/ha.
WHOLE_CHECK = [
    wheat(0.5, "standing"),
    wheat(0.3, "standing"),
    wheat(2.1, "strip"),
    wheat(3.3, "strip"),
    wheat(14.0, "discharge"),
    wheat(11.0, "discharge"),
    wheat(19.0, "behind"),
    wheat(45.0, "across"),
]


def quantiles(joint, source):
    found = range_of(joint.of(source))
    return np.log([found.low, found.median, found.high])


def test_a_whole_check_finds_what_is_in_it():
    joint = locate(WHOLE_CHECK, PRIORS, width_sd=0.02)

    for source, kg_ha in (("standing", 4.0), ("header", 21.0), ("machine", 56.0)):
        found = range_of(joint.of(source))
        assert found.low < kg_ha < found.high
        assert found.median == pytest.approx(kg_ha, rel=0.25)
    assert joint.of(*joint.sources).quantile(0.5) == pytest.approx(81.0, rel=0.1)
    assert joint.p_largest()["machine"] > 0.95


@given(
    st.lists(st.tuples(st.sampled_from(sorted(PLACES)), st.floats(0.0, 60.0)), min_size=1, max_size=6),
    st.integers(1, 50),
)
@settings(max_examples=25, deadline=None)
def test_shares_and_chances_are_whole_and_ranges_ordered(taken, seed):
    joint = locate([wheat(round(g, 1), place) for place, g in taken], PRIORS, width_sd=0.08, seed=seed)

    assert sum(joint.part_of_loss_pct().values()) == pytest.approx(100.0, abs=1e-9)
    assert sum(joint.p_largest().values()) == pytest.approx(1.0, abs=1e-9)
    assert joint.weights.sum() == pytest.approx(1.0)
    assert joint.ess >= 400.0
    for source in joint.sources:
        found = range_of(joint.of(source))
        assert 0.0 < found.low <= found.median <= found.high < math.inf
        # No part is larger than the whole.
        assert found.high <= joint.of(*joint.sources).quantile(0.95) * (1 + 1e-9)


@given(st.permutations(range(len(WHOLE_CHECK))))
@settings(max_examples=8, deadline=None)
def test_the_order_of_catches_does_not_matter(order):
    straight = locate(WHOLE_CHECK, PRIORS, width_sd=0.08)
    turned = locate([WHOLE_CHECK[i] for i in order], PRIORS, width_sd=0.08)

    assert np.array_equal(turned.loss_kg_ha, straight.loss_kg_ha)
    assert np.array_equal(turned.weights, straight.weights)


def test_the_order_does_not_matter_where_readings_are_of_several_kinds():
    catches = [
        counted(14, PLACES["standing"], tkw_g=40.0),
        measured(10.0, PLACES["windrow"]),
        wheat(14.0, "discharge"),
        counted(80, PLACES["strip"], tkw_g=40.0),
    ]
    straight, turned = (locate(c, PRIORS, width_sd=0.08) for c in (catches, catches[::-1]))

    assert np.array_equal(turned.loss_kg_ha, straight.loss_kg_ha)


def test_the_same_seed_gives_the_same_draws_and_another_the_same_answer():
    one, again, other = (locate(WHOLE_CHECK, PRIORS, width_sd=0.08, seed=s) for s in (1, 1, 2))

    assert np.array_equal(one.loss_kg_ha, again.loss_kg_ha)
    assert not np.array_equal(one.loss_kg_ha, other.loss_kg_ha)
    for source in one.sources:
        sd = (quantiles(one, source)[2] - quantiles(one, source)[0]) / 3.29
        # Two runs of some 3,000 effective draws: 0.04·√2 sd at an end, three of them.
        assert quantiles(one, source) == pytest.approx(quantiles(other, source), abs=0.17 * sd)


def test_more_in_the_standing_frame_than_in_the_strip_is_no_negative_loss():
    # Plain arithmetic: header = 30 − 50 = −20 kg/ha. The estimate says it is small, and how small it may be.
    catches = [wheat(5.0, "standing"), wheat(3.0, "strip"), wheat(12.5, "discharge")]
    joint = locate(catches, PRIORS, width_sd=0.08)
    header, standing = range_of(joint.of("header")), range_of(joint.of("standing"))

    assert 0.0 < header.low < header.median < 15.0
    assert 20.0 < standing.median < 50.0
    # Less than the prior's 20, for the strip left little room; yet far from certain.
    assert header.high > 20.0


@pytest.mark.parametrize(
    ("places", "unseen", "learned_of"),
    [
        (("discharge",), ("standing", "header"), ("machine",)),
        (("standing", "discharge"), ("header",), ("standing", "machine")),
        (("standing",), ("header", "machine"), ("standing",)),
    ],
)
def test_what_no_catch_sees_is_not_reported(places, unseen, learned_of):
    joint = locate([wheat(8.0, p) for p in places for _ in range(2)], PRIORS, width_sd=0.08)

    assert joint.sources == learned_of
    assert all(joint.learned[s] > 0.6 for s in learned_of)
    for source in unseen:
        with pytest.raises(InputError, match="no catch sees"):
            joint.of(source)


def test_what_is_seen_only_through_a_larger_loss_is_hardly_learned():
    # A frame behind at a width ratio of 6 with 30 g in it: machine loss for certain, before-harvest loss can hide.
    joint = locate([wheat(30.0, "behind")] * 2, PRIORS, width_sd=0.08)

    assert joint.learned["machine"] > 0.5
    # 0 would be nothing; the sum only tells it from a huge loss.
    assert -0.1 < joint.learned["standing"] < 0.15
    assert -0.1 < joint.learned["header"] < 0.25
    standing = range_of(joint.of("standing"))
    assert standing.median == pytest.approx(5.0, rel=0.2)


def test_the_strip_alone_knows_the_sum_but_not_the_parts():
    joint = locate([wheat(5.0, "strip")] * 4, PRIORS, width_sd=0.08)
    total = range_of(joint.of("standing", "header"))

    assert total.median == pytest.approx(50.0, rel=0.1)
    # Four frames: 0.5/√4 = 25 % beside the parts' factors of several.
    assert math.log(total.high / total.low) < 1.2
    for part in joint.sources:
        found = range_of(joint.of(part))
        assert math.log(found.high / found.low) > 1.8 * math.log(total.high / total.low)


def test_a_frame_in_standing_crop_frees_the_header_of_it():
    without = locate([wheat(5.0, "strip")] * 3, PRIORS, width_sd=0.08)
    with_it = locate([wheat(5.0, "strip")] * 3 + [wheat(2.5, "standing")] * 3, PRIORS, width_sd=0.08)

    assert with_it.learned["standing"] > without.learned["standing"] + 0.2
    assert with_it.of("header").quantile(0.5) == pytest.approx(25.0, rel=0.2)


def test_a_leak_is_a_source_of_its_own_once_it_was_caught():
    leak = weighed(12.0, ex.leaking(10.0, 5.4, 12.0), tkw_g=40.0)  # 180 m²: 0.67 kg/ha
    without, with_it = ([wheat(14.0, "discharge"), wheat(19.0, "behind"), *more] for more in ([], [leak]))

    assert "leak" not in sources_seen(without)
    assert sources_seen(with_it) == SOURCES
    joint = locate(with_it, PRIORS, width_sd=0.08)
    assert joint.of("leak").quantile(0.5) == pytest.approx(0.667, rel=0.1)


def test_empty_pans_everywhere_are_fine():
    joint = locate([wheat(0.0, place) for place in PLACES], PRIORS, width_sd=0.08)

    for source in joint.sources:
        assert 0.0 < joint.of(source).quantile(0.5) < PRIORS[source].median_kg_ha


def test_draws_of_c_follow_the_catches():
    # Pans that agree to 2 % are taken more evenly than 0.40; pans that differ fourfold less.
    key = ("narrow", 0.40)
    even, uneven = (
        locate([weighed(m) for m in masses], PRIORS, width_sd=0.08)
        for masses in ((12.4, 12.5, 12.6, 12.5), (4.0, 12.5, 25.0, 8.0))
    )

    typical = [math.exp(j.weights @ np.log(j.c_draws[key])) for j in (even, uneven)]
    assert typical[0] < 0.30
    assert typical[1] > 0.45


@given(st.lists(st.floats(-4.0, 4.0), min_size=2, max_size=6), st.integers(1, 4))
def test_sum_and_ratios_stand_for_the_losses_one_to_one(values, count):
    straight = np.array([values + [0.0] * (6 - len(values))])
    points = sources._ln_losses(straight, count)
    losses = np.exp(points[0, :count])

    # The first coordinate is the log of the sum, each further one the log of a source's ratio to all before it.
    assert math.log(losses.sum()) == pytest.approx(straight[0, 0])
    for k in range(1, count):
        assert math.log(losses[k] / losses[:k].sum()) == pytest.approx(straight[0, k])
    assert np.array_equal(points[0, count:], straight[0, count:])
    # And no density is lost: the determinant is 1. Differences of 1e-5 leave 1e-6.
    around = sources._ln_losses(straight + 1e-5 * np.eye(6), count) - sources._ln_losses(
        straight - 1e-5 * np.eye(6), count
    )
    assert np.linalg.det(around / 2e-5) == pytest.approx(1.0, abs=1e-5)


def test_a_sum_known_sharply_and_its_parts_not_at_all():
    # Found by playing: the posterior has two legs (either source may carry the sum), and a sampler on ln λ_standing and
    # ln λ_header stops at the first: its 5 % point was half a posterior sd too high with 2,000 effective draws.
    catches = [
        weighed(26.6, ex.across_whole_cut(2.14), tkw_g=40.0),
        weighed(16.1, ex.across_whole_cut(1.2), tkw_g=40.0),
        weighed(15.8, ex.in_header_strip(1.78), tkw_g=40.0),
        weighed(3.3, ex.in_header_strip(0.41), tkw_g=40.0),
        weighed(17.4, field_area(3.37), tkw_g=40.0),
    ]
    ends = np.array([quantiles(locate(catches, PRIORS, width_sd=0.08, seed=s), "header") for s in range(1, 9)])
    sd = (ends[:, 2] - ends[:, 0]).mean() / 3.29

    # Eight seeds agree to what 2,500 effective draws allow: the 5 % point lies where the density is low.
    assert ends[:, 1].std() < 0.02 * sd
    assert ends[:, 0].std() < 0.15 * sd


@pytest.mark.parametrize("priors", [{}, {"machine": Prior(40.0)}])
def test_nothing_to_learn_from_is_refused(priors):
    with pytest.raises(InputError, match="catches"):
        locate([], priors, width_sd=0.08)


def test_four_square_feet_are_what_they_were():
    assert pytest.approx(0.3716, abs=1e-4) == 4 * FT2_M2
