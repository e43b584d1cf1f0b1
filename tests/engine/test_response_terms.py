"""Setups, operators, conditions: which get a parameter, what is learned of them, and what is not told."""

from __future__ import annotations

import math

import numpy as np
import pytest
from response_second_road import DELTA_SD, GAMMA_SD, OPERATOR_SD, OneCurve, bell

from chaffinch.engine.estimate import Prior
from chaffinch.engine.response.curve import CurveTask, LevelSlope
from chaffinch.engine.response.fit import fit_response
from chaffinch.engine.response.loss_point import LossPoint
from chaffinch.engine.response.terms import MOST_SETUPS, scales, terms

PRIOR = Prior(40.0)


def fit(points, **more):
    return fit_response(points, source="machine", prior=PRIOR, load_kind="throughput", **more)


def season(count, effect, seed=3, scatter=0.15, sd=0.15):
    """``count`` checks; ``effect(i, load, rng)`` gives what is told of check i and what it does to ln(loss)."""
    rng = np.random.default_rng(seed)
    points = []
    for i in range(count):
        told, lift = effect(i, rng)
        load = told.pop("load", None) or float(15.0 * np.exp(0.25 * rng.standard_normal()))
        said = math.log(40.0) + 1.3 * math.log(load / 15.0) + lift + math.hypot(scatter, sd) * rng.standard_normal()
        points.append(LossPoint(bell(said, sd), load, **told))
    return points


def covers(found, value):
    assert found.low < value < found.high, (found, value)


def test_a_setup_s_effect_is_found_against_the_usual_one():
    points = season(24, lambda i, _rng: ({"setup": "BA"[i % 3 > 0]}, math.log(0.6) * (i % 3 == 0)))
    response = fit(points)
    found = response.effects()

    assert list(found) == ["setup B"]
    covers(found["setup B"], 0.6)
    assert found["setup B"].high < 0.85
    usual, other = (np.median(response.loss_kg_ha(15.0, setup=s)) for s in (None, "B"))
    assert other / usual == pytest.approx(found["setup B"].median, rel=0.03)
    assert np.array_equal(response.loss_kg_ha(15.0), response.loss_kg_ha(15.0, setup="A"))
    assert response.learned()["setup B"] > 0.5


def test_a_setup_seen_once_gets_no_parameter_and_its_check_says_less_of_the_curve():
    points = season(8, lambda i, _rng: ({"setup": "odd" if i == 0 else "usual"}, 0.0))
    what = terms(points, {})

    assert what.names == ()
    assert what.lone_setups == ("odd",)
    assert what.blur_sd == pytest.approx([DELTA_SD] + [0.0] * 7)
    response = fit(points)
    assert "setup seen once: odd" in response.notes
    assert "new setup" in response.predict(15.0, setup="odd").notes
    spread = [np.log(response.loss_kg_ha(15.0, setup=s)).std() for s in (None, "never")]
    assert math.hypot(spread[0], DELTA_SD) == pytest.approx(spread[1], rel=0.05)


def test_more_setups_than_can_be_carried_are_blurred_and_said():
    points = season(60, lambda i, _rng: ({"setup": f"way {i % 12:02d}"}, 0.0))
    what = terms(points, {})
    assert len(what.setups) == MOST_SETUPS
    assert len(what.lone_setups) == 12 - 1 - MOST_SETUPS
    assert (what.blur_sd > 0).sum() == 5 * len(what.lone_setups)


def test_operators_are_compared_at_the_same_load():
    # Ann is given the heavy crops. Her losses are larger; at the same load they are not.
    def shift(i, rng):
        who = ("Ann", "Bo")[i % 2]
        load = float((20.0 if who == "Ann" else 12.0) * np.exp(0.2 * rng.standard_normal()))
        return {"operator": who, "load": load}, 0.0

    points = season(30, shift)
    raw = {w: np.mean([p.evidence.log_likelihood.argmax() for p in points if p.operator == w]) for w in ("Ann", "Bo")}
    found = fit(points).effects()

    assert raw["Ann"] - raw["Bo"] > 20  # steps of 2 %
    for who in ("Ann", "Bo"):
        covers(found[f"operator {who}"], 1.0)


def test_an_operator_who_does_lose_less_is_seen_to():
    points = season(40, lambda i, _rng: ({"operator": ("Ann", "Bo")[i % 2]}, -0.4 * (i % 2 == 0)))
    response = fit(points)
    ann, bo = (np.log(response.loss_kg_ha(15.0, operator=w)[:, 0]) for w in ("Ann", "Bo"))
    assert np.quantile(ann - bo, 0.95) < -0.15
    assert np.quantile(ann - bo, 0.05) < -0.4 < np.quantile(ann - bo, 0.95)
    assert "new operator" in response.predict(15.0, operator="Cy").notes
    assert "new operator" not in response.predict(15.0, operator="Ann").notes


def test_one_person_at_every_check_is_no_term():
    points = season(6, lambda _i, _rng: ({"operator": "Ann"}, 0.0))
    response = fit(points)
    assert response.effects() == {}
    assert np.array_equal(response.loss_kg_ha(15.0), response.loss_kg_ha(15.0, operator="Ann"))
    assert "new operator" in response.predict(15.0, operator="Bo").notes


def humid(_i, rng):
    humidity = float(rng.normal(60.0, 10.0))
    return {"conditions": {"humidity": humidity}}, 0.03 * (humidity - 60.0)


def test_a_condition_s_effect_is_found_and_used():
    points = season(40, humid)
    response = fit(points, conditions=["humidity"])
    scale = scales(points, ["humidity"])["humidity"]

    covers(response.effects()["condition humidity"], math.exp(0.03 * scale.sd))
    dry, damp = (np.median(response.loss_kg_ha(15.0, conditions={"humidity": h})) for h in (50.0, 70.0))
    assert math.log(damp / dry) == pytest.approx(0.6, abs=0.2)
    # Not told is the mean.
    mean = response.loss_kg_ha(15.0, conditions={"humidity": scale.mean})
    assert response.loss_kg_ha(15.0) == pytest.approx(mean)


def test_a_condition_in_another_unit_gives_the_same_curve():
    points = season(20, humid)
    shares = [LossPoint(p.evidence, p.load, conditions={"humidity": p.conditions["humidity"] / 100.0}) for p in points]
    percent, share = (fit(p, conditions=["humidity"]) for p in (points, shares))
    a = percent.predict(15.0, conditions={"humidity": 70.0}).range
    b = share.predict(15.0, conditions={"humidity": 0.7}).range
    # The last digits of z differ, and with them which of two like draws is taken.
    assert (b.low, b.median, b.high) == pytest.approx((a.low, a.median, a.high), rel=5e-3)


def test_a_check_that_was_not_told_a_condition_stays_in_and_that_is_said():
    points = season(20, humid)
    points[3] = LossPoint(points[3].evidence, points[3].load)
    response = fit(points, conditions=["humidity"])
    what = terms(points, scales(points, ["humidity"]))

    assert "condition not told at some checks: humidity" in response.notes
    assert what.design[3] == pytest.approx([0.0])
    assert what.blur_sd[3] == pytest.approx(GAMMA_SD)
    assert response.points == 20


@pytest.mark.parametrize("told", [{}, {"humidity": 60.0}])
def test_a_condition_that_never_varied_teaches_nothing_and_that_is_said(told):
    response = fit(season(6, lambda _i, _rng: ({"conditions": dict(told)}, 0.0)), conditions=["humidity"])
    assert response.notes == ("condition never varied: humidity",)
    found = response.predict(15.0, conditions={"humidity": 80.0})
    assert found.notes == ("condition never varied: humidity",)
    assert found.range == response.predict(15.0).range


def test_all_terms_together_have_the_density_written_a_second_time():
    def everything(i, rng):
        humidity = float(rng.normal(60.0, 10.0))
        return {"setup": "AB"[i % 2], "operator": "XYZ"[i % 3], "conditions": {"humidity": humidity}}, 0.0

    points = season(12, everything, sd=0.3)
    scale = scales(points, ["humidity"])
    task = CurveTask.of(points, float(np.median([p.load for p in points])), terms(points, scale))
    z = np.array([p.conditions["humidity"] for p in points])
    z = (z - z.mean()) / z.std()
    columns = [z, *([p.setup == "B" for p in points],), *([p.operator == o for p in points] for o in "XYZ")]
    second = OneCurve(points, 40.0, "machine", np.column_stack(columns), [GAMMA_SD, DELTA_SD, *[OPERATOR_SD] * 3])
    assert task.terms.names == ("condition humidity", "setup B", "operator X", "operator Y", "operator Z")

    rng = np.random.default_rng(1)
    draws = second.centre + 0.5 * second.sd * rng.standard_normal((200, 9))
    base = LevelSlope.of("machine", PRIOR)
    mine = base(draws[:, :2]) + task.ln_prior_of_rest(draws) + task.log_likelihood(draws)
    # Up to the constant; twelve tables of 0.01 each.
    assert mine - second(draws) == pytest.approx(np.full(200, np.median(mine - second(draws))), abs=0.12)


def test_many_parameters_are_still_sampled_well():
    effects = np.random.default_rng(11).standard_normal(30)

    def crowded(i, rng):
        z = rng.standard_normal(6)
        told = {"setup": f"way {i % 9}", "operator": f"person {i % 8}"}
        told["conditions"] = {f"condition {k}": float(v) for k, v in enumerate(z)}
        return told, 0.4 * effects[i % 9] + 0.2 * effects[10 + i % 8] + 0.3 * float(z @ effects[20:26])

    names = [f"condition {k}" for k in range(6)]
    response = fit(season(40, crowded), conditions=names)
    found = response.draws()
    assert found.points.shape[1] == 26
    assert found.ess > 2000
