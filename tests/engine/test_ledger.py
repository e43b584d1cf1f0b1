"""What a field lost: what must hold whatever the checks say, and what is refused."""

from __future__ import annotations

import itertools
import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from made_catches import weighed
from made_fields import about, check, ln_ratio

from chaffinch.engine.estimate import Prior, estimate, range_of
from chaffinch.engine.evidence import evidence
from chaffinch.engine.ledger.chains import Cloud
from chaffinch.engine.ledger.field import FieldCheck, FieldEntry, field_loss
from chaffinch.engine.ledger.levels import Spread
from chaffinch.errors import InputError

THREE = (check(40.0), check(60.0), check(110.0))
FIELD = FieldEntry("Long Hollow", 62.0, THREE, price_per_t=640.0, yield_kg_ha=2500.0)


def test_one_check_says_less_of_its_field_than_of_itself():
    pans = [weighed(m) for m in (12.5, 9.8, 15.1)]
    seen = evidence(pans, "machine")
    own = range_of(estimate(seen, Prior(40.0), 0.08))
    found = field_loss(FieldEntry("a", 62.0, [FieldCheck({"machine": seen}, {"machine": {"width": 0.08}})]), seed=1)

    # Places differ by 0.4 or so: the range must hold that too. ln(high/low) of 0.4 alone is 1.3.
    assert ln_ratio(found.judged.kg_ha) > 1.5 * ln_ratio(own)
    assert ln_ratio(found.judged.kg_ha) > 1.3


def test_each_further_check_that_agrees_narrows_the_range():
    widths = [ln_ratio(field_loss(replace(FIELD, checks=[check(50.0)] * n), seed=1).total.kg_ha) for n in (1, 2, 4, 8)]

    assert all(later < 0.9 * earlier for earlier, later in itertools.pairwise(widths))


def test_checks_that_differ_widen_the_range():
    alike = field_loss(replace(FIELD, checks=[check(60.0)] * 3), seed=1)
    apart = field_loss(replace(FIELD, checks=[check(15.0), check(60.0), check(240.0)]), seed=1)

    assert ln_ratio(apart.total.kg_ha) > 1.5 * ln_ratio(alike.total.kg_ha)


def test_what_is_told_hangs_together():
    found = field_loss(FIELD, seed=1)
    mean = found.judged.kg_ha

    assert found.judged == found.total == found.sources["machine"]
    assert found.judged.kg.median == pytest.approx(62.0 * mean.median)
    assert found.judged.money.high == pytest.approx(mean.high * 62.0 / 1000.0 * 640.0)
    # One source: the share is a function of the loss, so its ends are those of the loss.
    assert found.judged.share_pct.low == pytest.approx(100.0 * mean.low / (2500.0 + mean.low), rel=1e-3)
    assert found.coverage.checks == 3
    assert found.coverage.ha_per_check == pytest.approx(62.0 / 3)
    assert found.coverage.missing == ("header",)


def test_a_later_price_does_not_rewrite_an_old_answer():
    old = field_loss(FIELD, seed=1)
    new = field_loss(replace(FIELD, price_per_t=320.0), seed=1)

    assert old.entry.price_per_t == 640.0
    assert new.judged.money.median == pytest.approx(old.judged.money.median / 2)
    assert old.judged.kg_ha == new.judged.kg_ha


def test_sums_equal_their_parts_in_the_mean():
    checks = [replace(c, evidence={**c.evidence, "header": about(20.0), "standing": about(3.0)}) for c in THREE]
    found = field_loss(replace(FIELD, checks=checks), seed=1)
    parts = {s: rows.mean() for s, rows in found.draws.items()}

    assert set(parts) == {"standing", "header", "machine"}
    assert found.coverage.missing == ()
    total = np.sum(list(found.draws.values()), axis=0)
    assert total.mean() == pytest.approx(sum(parts.values()), rel=1e-12)
    # Standing loss is shown, and not held against the combine.
    assert found.judged.kg_ha.median < found.total.kg_ha.median
    assert found.total.kg_ha.median == pytest.approx(float(np.median(total)), rel=1e-3)


def test_only_standing_loss_is_held_against_nobody():
    found = field_loss(replace(FIELD, checks=[check(4.0, source="standing")]), seed=1)

    assert found.judged is None
    assert found.coverage.missing == ("header", "machine")


def test_a_field_checked_at_every_place_is_the_mean_of_its_checks():
    exact = [check(v, 0.03) for v in (40.0, 60.0, 110.0)]
    found = field_loss(FieldEntry("garden", 3.0, exact), seed=1)

    # Three numbers known to 3 %: their mean to about 2 %.
    assert found.total.kg_ha.median == pytest.approx(70.0, rel=0.01)
    assert ln_ratio(found.total.kg_ha) < 0.09
    # In 62 ha the same checks leave the other 59 places open.
    assert ln_ratio(field_loss(FieldEntry("garden", 62.0, exact), seed=1).total.kg_ha) > 0.5


def test_area_weights_pull_towards_the_larger_part():
    low, high = check(20.0, 0.05), check(200.0, 0.05)

    def median(low_ha: float | None, high_ha: float | None) -> float:
        checks = [replace(low, weight_ha=low_ha), replace(high, weight_ha=high_ha)]
        return field_loss(FieldEntry("a", 60.0, checks), seed=1).total.kg_ha.median

    assert median(55.0, 5.0) < 0.75 * median(30.0, 30.0) < 0.75 * 0.9 * median(5.0, 55.0)
    # What no check stands for is a part like any other: it pulls back to the middle of the two.
    assert median(10.0, 1.0) > median(55.0, 5.0)


def test_more_spread_between_places_means_a_wider_range():
    settled, uneven = (field_loss(replace(FIELD, spread=Spread(sd)), seed=1) for sd in (0.2, 0.8))

    assert ln_ratio(settled.total.kg_ha) < 0.8 * ln_ratio(uneven.total.kg_ha)


def test_shared_errors_widen_the_field_as_a_whole():
    def width(sd: float) -> float:
        checks = [replace(c, shared={"machine": {"width": sd}}) for c in THREE]
        return ln_ratio(field_loss(replace(FIELD, checks=checks), seed=1).total.kg_ha)

    # In quadrature: 3.29 sd between the ends; 2 % for the draws.
    assert width(0.3) == pytest.approx(math.hypot(width(0.0), 3.29 * 0.3), rel=0.04)


def test_errors_that_only_some_checks_have_are_carried_too():
    own = [replace(c, shared={"machine": {("width", str(k)): 0.3}}) for k, c in enumerate(THREE)]
    all_one = [replace(c, shared={"machine": {"width": 0.3}}) for c in THREE]
    without, apart, one = (
        ln_ratio(field_loss(replace(FIELD, checks=list(checks)), seed=1).total.kg_ha)
        for checks in (THREE, own, all_one)
    )

    # Three errors of their own average out in part; one error for all does not.
    assert without < apart < one


def test_empty_pans_make_a_small_loss_and_never_none():
    nothing = evidence([weighed(0.0)] * 3, "machine")
    found = field_loss(FieldEntry("a", 62.0, [FieldCheck({"machine": nothing})] * 3), seed=1)

    assert 0.0 < found.total.kg_ha.low < found.total.kg_ha.high < 5.0


@settings(max_examples=10, deadline=None)
@given(st.permutations(range(4)), st.integers(0, 10_000))
def test_order_of_checks_does_not_show(order, seed):
    losses = (15.0, 40.0, 40.0, 90.0)
    there = [check(losses[i], 0.2 + 0.1 * i, weight_ha=5.0 + i) for i in range(4)]

    straight, shuffled = (
        field_loss(FieldEntry("a", 62.0, checks), seed=seed) for checks in (there, [there[i] for i in order])
    )

    # The sum over parts is in another order: floats agree to rounding.
    assert shuffled.total.kg_ha.high == pytest.approx(straight.total.kg_ha.high, rel=1e-9)


@settings(max_examples=8, deadline=None)
@given(st.floats(0.3, 3.0))
def test_losses_and_expectation_scaled_scale_the_answer(factor):
    plain = FieldEntry("a", 62.0, [check(30.0), check(50.0)], priors={"machine": Prior(40.0)})
    scaled = FieldEntry(
        "a", 62.0, [check(30.0 * factor), check(50.0 * factor)], priors={"machine": Prior(40.0 * factor)}
    )

    one, other = (field_loss(e, seed=3).total.kg_ha for e in (plain, scaled))

    # The grid of 2 % and the draws' cells leave half a per cent or so.
    assert other.median == pytest.approx(factor * one.median, rel=0.01)
    assert other.high == pytest.approx(factor * one.high, rel=0.02)


def test_the_same_seed_gives_the_same_figures_and_another_nearly():
    first, again, other = (field_loss(FIELD, seed=s).total.kg_ha for s in (1, 1, 2))

    assert first == again
    # An end of the range is known to 0.034 sd; the sd here is 0.28.
    assert other.high == pytest.approx(first.high, rel=4 * 0.034 * 0.28 * 1.5)
    assert other != first


CLOUD = Cloud(("machine",), np.zeros((3, 1)), np.zeros(3))


def test_a_seed_below_nothing_is_refused():
    with pytest.raises(InputError, match="seed"):
        field_loss(FIELD, seed=-1)


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"area_ha": 0.0}, "area"),
        ({"area_ha": -3.0}, "area"),
        ({"area_ha": math.nan}, "area"),
        ({"checks": []}, "checks"),
        ({"price_per_t": 0.0}, "price"),
        ({"yield_kg_ha": -1.0}, "yield"),
        ({"between_parts": 1.5}, "between_parts"),
        ({"spread": Spread(0.0)}, "spread"),
        ({"checks": [check(40.0, weight_ha=20.0), check(50.0)]}, "stands for"),
        ({"checks": [check(40.0, weight_ha=40.0), check(50.0, weight_ha=30.0)]}, "stands for"),
        ({"checks": [check(40.0, weight_ha=0.0)]}, "stands for"),
        ({"checks": [FieldCheck({})]}, "check 1"),
        ({"checks": [FieldCheck({"machine": about(40.0)}, together=CLOUD)]}, "check 1"),
        ({"checks": [check(40.0, shared={"width": -0.1})]}, "shared error"),
    ],
)
def test_what_cannot_be_is_refused(change, field):
    with pytest.raises(InputError, match=field):
        field_loss(replace(FIELD, **change), seed=1)
