"""The curve as a reader meets it: few checks and none, directions, ranges, what it says of itself."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from made_catches import weighed
from response_second_road import bell

from chaffinch.engine.estimate import Prior
from chaffinch.engine.evidence import Evidence, evidence
from chaffinch.engine.response.fit import DRAWS, Response, fit_response
from chaffinch.engine.response.loss_point import LossPoint
from chaffinch.errors import InputError

PRIOR = Prior(40.0)
SAID_NOTHING = Evidence(np.zeros(577), 0)


def fit(points, source="machine", prior=PRIOR, **more) -> Response:
    return fit_response(points, source=source, prior=prior, load_kind="throughput", **more)


def along(loads, curve, sd=0.1, seed=None, scatter=0.0, **told):
    """Checks on a curve of kg/ha, each known to ``sd`` in the log."""
    rng = np.random.default_rng(seed)
    off = scatter * rng.standard_normal(len(loads)) if seed is not None else np.zeros(len(loads))
    return [LossPoint(bell(math.log(curve(q)) + e, sd), q, **told) for q, e in zip(loads, off, strict=True)]


def rising(load):
    return 40.0 * (load / 15.0) ** 1.5


LOADS = [8.0, 10.0, 12.0, 13.0, 15.0, 17.0, 18.0, 20.0, 22.0, 24.0]


# --- none, one, two ------------------------------------------------------------------------------------------------


def test_without_a_check_it_is_the_prior_and_says_so():
    nothing = fit([])
    found = nothing.predict(15.0, at="one place")

    # α ~ N(ln 40, 1.3²) and u ~ N(0, τ²): E[τ²] = 0.25² e^(2·0.5²) = 0.10 widens 1.3 to 1.34. 2 % is what 4096 leave.
    assert found.range.median == pytest.approx(40.0, rel=0.06)
    assert math.log(found.range.high / found.range.low) == pytest.approx(2 * 1.645 * math.sqrt(1.69 + 0.103), rel=0.03)
    assert found.notes == ("prior only",)
    assert found.outside == math.inf
    assert nothing.tested() is None
    assert (nothing.points, nothing.combines, nothing.notes) == (0, (), ("prior only",))
    assert nothing.influence() == ()
    assert nothing.upturn() is None
    assert nothing.learned() == {}


def test_the_prior_slope_is_the_design_s():
    machine, header = (fit([], source) for source in ("machine", "header"))
    for response, centre in ((machine, 1.3), (header, 0.0)):
        # At κ uniform on 0 to 1.5 and a load e times the reference the factor is (e^κ − 1)/κ: the sign is β's.
        drawn = response.loss_kg_ha(np.array([15.0, 15.0 * math.e]))
        share = np.mean(drawn[:, 1] > drawn[:, 0])
        assert share == pytest.approx(0.5 * math.erfc(-centre / 0.8 / math.sqrt(2)), abs=0.02)
        assert response.p_rises() == pytest.approx(share, abs=1e-3)


def test_one_check_sets_the_level_and_leaves_the_slope_to_the_prior():
    one = fit(along([15.0], rising))

    # Its own 0.1 and the scatter of places, 0.25, against a prior of 1.3.
    assert one.learned()["level"] > 0.7
    assert abs(one.learned()["slope"]) < 0.03
    assert "load does not vary" in one.predict(15.0).notes
    assert one.predict(15.0, at="average").range.median == pytest.approx(41.0, rel=0.08)


def test_two_checks_far_apart_begin_to_show_the_slope():
    two = fit(along([9.0, 25.0], rising))
    assert two.learned()["slope"] > 0.25
    assert "load does not vary" not in two.notes
    assert two.tested() == (9.0, 25.0)


def test_checks_at_one_load_leave_the_slope_to_the_prior_however_many():
    many = fit(along([15.0] * 20, rising, seed=1, scatter=0.2))
    assert abs(many.learned()["slope"]) < 0.05
    assert many.notes == ("load does not vary",)
    assert many.learned()["level"] > 0.9


def test_checks_that_say_nothing_leave_the_prior():
    flat = fit([LossPoint(SAID_NOTHING, q) for q in LOADS])
    assert all(abs(share) < 0.03 for share in flat.learned().values())


def test_a_day_of_empty_pans_works():
    empty = evidence([weighed(0.0)] * 3, "machine")
    found = fit([LossPoint(empty, q) for q in LOADS])
    assert 0.0 < found.predict(15.0).range.high < 10.0


# --- what must not matter -------------------------------------------------------------------------------------------


@given(st.permutations(range(6)))
@settings(max_examples=6, deadline=None)
def test_the_order_of_checks_does_not_matter(order):
    points = [
        LossPoint(bell(3.5 + 0.1 * i, 0.2), q, combine="AB"[i % 2], setup="xy"[i // 3])
        for i, q in enumerate([9.0, 11.0, 14.0, 16.0, 18.0, 21.0])
    ]
    straight, turned = fit(points), fit([points[i] for i in order])

    for combine in ("A", "B", "neither"):
        assert np.array_equal(straight.loss_kg_ha(15.0, combine=combine), turned.loss_kg_ha(15.0, combine=combine))
    # Influence comes back in the order the checks were given.
    assert [i.load for i in turned.influence()] == [points[i].load for i in order]


def test_losses_larger_by_a_factor_move_the_level_alone():
    # 35 steps of the grid are a factor of 2.01; evidence on the grid can only be moved by whole steps.
    factor = 35 * math.log(1e5) / 576
    checks = along(LOADS, rising, sd=0.2, seed=3, scatter=0.25)
    moved = [LossPoint(Evidence(np.roll(p.evidence.log_likelihood, 35), 1), p.load) for p in checks]
    for p in moved:
        p.evidence.log_likelihood[:35] = -700.0
    once, more = fit(checks).draws(), fit(moved, prior=Prior(40.0 * math.exp(factor))).draws()

    shift = more.weights @ more.points - once.weights @ once.points
    sd = once.sd()
    assert shift[0] == pytest.approx(factor, abs=0.02 * sd[0])
    assert np.abs(shift[1:] / sd[1:]).max() < 0.02


def test_the_same_seed_gives_the_same_answer_and_another_nearly_the_same():
    points = along(LOADS, rising, sd=0.2)
    first, again, other = (fit(points, seed=s).predict(15.0).range for s in (1, 1, 2))
    assert first == again
    # 4096 draws: the median of an sd of 0.1 is off by 0.002, the ends by twice that.
    assert other.median == pytest.approx(first.median, rel=0.01)
    assert other.high == pytest.approx(first.high, rel=0.02)


# --- average and one place ------------------------------------------------------------------------------------------


def test_the_average_is_the_mean_over_places():
    response = fit(along(LOADS, rising, sd=0.2, seed=5, scatter=0.4))
    average = response.loss_kg_ha(np.array([12.0, 20.0]))
    places = response.loss_kg_ha(np.array([12.0, 20.0]), at="one place")

    assert average.shape == places.shape == (DRAWS, 2)
    # 4096 places of sd 0.5 in the log: 1 %.
    assert places.mean(axis=0) == pytest.approx(average.mean(axis=0), rel=0.03)
    assert (np.log(places).std(axis=0) > 1.5 * np.log(average).std(axis=0)).all()


def test_an_error_all_checks_share_is_put_into_the_losses_and_not_into_the_slope():
    points = along(LOADS, rising, sd=0.05)
    exact, guessed = fit(points), fit(points, scale_sd=0.3)
    sds = [np.log(r.loss_kg_ha(15.0)).std() for r in (exact, guessed)]
    assert math.hypot(sds[0], 0.3) == pytest.approx(sds[1], rel=0.03)
    ratio = [np.log(np.divide(*r.loss_kg_ha(np.array([20.0, 10.0])).T)).std() for r in (exact, guessed)]
    assert ratio[0] == pytest.approx(ratio[1], rel=1e-9)


# --- what it says of itself -----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("slope", "note"), [(-1.5, "slope below 0: combine"), (1.5, None), (8.0, "slope above 4: combine")]
)
def test_a_slope_nobody_published_is_pointed_out_for_the_machine_only(slope, note):
    points = along(LOADS * 3, lambda q: 40.0 * (q / 15.0) ** slope)
    assert fit(points).notes == ((note,) if note else ())
    assert fit(points, "header").notes == ()


@pytest.mark.parametrize(
    ("load", "outside", "note"),
    [
        (8.0, 0.0, None),
        (15.0, 0.0, None),
        (24.0, 0.0, None),
        (26.0, 2.0 / 24.0, "beyond the tested loads"),
        (30.0, 0.25, "too far beyond the tested loads"),
        (7.6, 0.05, "beyond the tested loads"),
        (4.0, 0.5, "too far beyond the tested loads"),
    ],
)
def test_beyond_the_tested_loads_it_says_how_far(load, outside, note):
    found = fit(along(LOADS, rising)).predict(load)
    assert found.outside == pytest.approx(outside)
    assert found.notes == ((note,) if note else ())


def test_ranges_widen_away_from_the_checks():
    response = fit(along(LOADS, rising, seed=8, scatter=0.2))
    widths = [math.log((r := response.predict(q).range).high / r.low) for q in (15.0, 24.0, 40.0, 80.0)]
    assert widths == sorted(widths)


def test_the_bend_goes_smoothly_through_the_power_law():
    from chaffinch.engine.response.curve import bent

    ratio = np.array([-0.7, -1e-8, 0.0, 0.3, 1.0])
    bends = np.array([0.0, 1e-14, 1e-9, 1e-6, 1e-3])
    found = bent(ratio, bends[:, None])
    # ((e^(κx) − 1)/κ = x + κx²/2 + …
    assert found == pytest.approx(ratio + bends[:, None] * ratio**2 / 2.0, abs=1e-6)
    assert np.diff(found, axis=1).min() > 0.0
    # And κ = 1 is the exponential's e^x − 1, written out.
    assert bent(ratio, np.array(1.0)) == pytest.approx(np.exp(ratio) - 1.0)


@pytest.mark.parametrize(
    ("change", "names"),
    [
        ({"source": "standing"}, "source"),
        ({"load_kind": "area"}, "load_kind"),
        ({"conditions": ["dew", "dew"]}, "conditions"),
        ({"conditions": list("abcdefg")}, "conditions"),
        ({"prior": Prior(0.0)}, "prior median"),
        ({"prior": Prior(40.0, 0.0)}, "prior sd"),
        ({"scale_sd": -0.1}, "scale_sd"),
        ({"reference_load": 0.0}, "reference_load"),
    ],
)
def test_fits_that_cannot_be_are_refused_by_name(change, names):
    with pytest.raises(InputError, match=names):
        fit_response(
            along([12.0], rising), **{"source": "machine", "prior": PRIOR, "load_kind": "throughput", **change}
        )


@pytest.mark.parametrize(
    ("change", "names"),
    [
        ({"load": 0.0}, "load"),
        ({"load": np.array([12.0, -1.0])}, r"load\[1\]"),
        ({"conditions": {"dew": 3.0}}, "conditions"),
        ({"at": "nowhere"}, "at"),
    ],
)
def test_questions_that_cannot_be_are_refused_by_name(change, names):
    with pytest.raises(InputError, match=names):
        fit(along([12.0], rising)).loss_kg_ha(**{"load": 12.0, **change})
