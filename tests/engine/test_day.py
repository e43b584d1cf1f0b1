"""The hours of a day: which are cheapest, how fast, which way losses move, when to check again."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import linprog

from chaffinch.engine.air.lag import GrainCourse
from chaffinch.engine.day.hours import Job, LastCheck, cost_at, plan_day
from chaffinch.engine.day.losses import (
    GUIDE,
    TOUGHNESS,
    AskedOf,
    DayLosses,
    Effect,
    Guide,
    Told,
    day_losses,
)
from chaffinch.engine.estimate import Prior, Range
from chaffinch.engine.evidence import Catch, evidence
from chaffinch.engine.response.fit import fit_response
from chaffinch.engine.response.loss_point import LossPoint
from chaffinch.engine.response.terms import scales
from chaffinch.errors import InputError

SPEEDS = np.linspace(3.0, 12.0, 19)
JOB = Job(width_m=12.0, price_per_t=640.0, hour_cost_per_h=450.0, lost_time_h_ha=0.06)
DAY = np.array([0.9, 0.8, 0.6, 0.4, 0.3, 0.3, 0.45, 0.6, 0.75, 0.85])
"""Dew, a dry afternoon, dew again."""


def certain(machine: float = 1.4, header: float | None = -0.8, at_5: float = 30.0) -> DayLosses:
    """A machine whose curves are known exactly: machine loss ~ v², header loss level; γ as given."""
    row = np.ones(1)
    curve = at_5 * (SPEEDS[None, :] / 5.0) ** 2
    level = None if header is None else Effect(np.full((1, SPEEDS.size), 20.0), row * header, row * 0.5, 1.0)
    return DayLosses(SPEEDS, Effect(curve, row * machine, row * 0.5, 1.0), level, np.zeros(1), (3.0, 12.0), None)


def test_at_each_hour_the_closed_form_of_the_pace_holds() -> None:
    """v = (K/(n V a))^(1/(n+1)) of the pace page, lost time and a level header left out of it."""
    day = plan_day(certain(), DAY, JOB)
    for hour, tough in zip(day.hours, DAY, strict=True):
        a = 0.64 * 30.0 / 25.0 * math.exp(1.4 * (tough - 0.5))
        best = (10.0 * 450.0 / 12.0 / (2.0 * a)) ** (1.0 / 3.0)
        assert hour.best_kmh == pytest.approx(min(best, 12.0), rel=1e-5)
        assert hour.loss_per_ha == pytest.approx(
            a * hour.best_kmh**2 + 0.64 * 20 * math.exp(-0.8 * (tough - 0.5)), rel=1e-4
        )
        assert hour.ha_h == pytest.approx(1.0 / (10.0 / (hour.best_kmh * 12.0) + 0.06))


def test_a_dry_afternoon_and_a_dewy_evening_move_the_losses_apart() -> None:
    day = plan_day(certain(), DAY, JOB)
    dry, dewy = day.hours[4], day.hours[9]
    assert dewy.header_kg_ha is not None
    assert dry.header_kg_ha is not None
    at_one_speed = [certain().at(x) for x in (0.3, 0.85)]
    assert at_one_speed[1].machine_kg_ha[0, 5] > at_one_speed[0].machine_kg_ha[0, 5]
    assert at_one_speed[1].header_kg_ha[0, 5] < at_one_speed[0].header_kg_ha[0, 5]
    assert dewy.header_kg_ha.median < dry.header_kg_ha.median
    assert dewy.best_kmh < dry.best_kmh


def test_the_guide_moves_them_apart_as_well_and_says_that_it_is_one() -> None:
    asked = AskedOf(nothing("machine"), 1.0, None)
    losses = day_losses(SPEEDS, asked, AskedOf(nothing("header"), 1.0, None), tested_kmh=None)
    dry, dewy = (losses.at(x) for x in (0.3, 0.9))
    assert losses.is_a_guide
    rise = np.log(dewy.machine_kg_ha / dry.machine_kg_ha)[:, 4]
    fall = np.log(dewy.header_kg_ha / dry.header_kg_ha)[:, 4]
    # The day's own error is held in 0 to 1, so 0.9 and 0.3 lie at most 0.6 apart.
    assert np.mean(rise) == pytest.approx(0.8 * 0.6, abs=0.06)
    assert np.mean(fall) == pytest.approx(-0.5 * 0.6, abs=0.05)
    assert 0.75 < np.mean(rise > 0) < 0.95
    whole = plan_day(losses, DAY, JOB)
    assert whole.is_a_guide
    assert whole.hours[0].loss_kg_ha.high > 20 * whole.hours[0].loss_kg_ha.low


def test_cheapest_hours_first_is_what_a_linear_program_finds() -> None:
    for area, wait in ((20.0, 0.0), (45.0, 12.0), (500.0, 0.0)):
        day = plan_day(certain(), DAY, replace(JOB, area_left_ha=area, wait_per_ha_day=wait))
        per_ha = np.array([h.whole_per_ha for h in day.hours])
        ha_h = np.array([h.ha_h for h in day.hours])
        most = min(area, ha_h.sum())
        least = linprog(per_ha * ha_h, A_eq=[ha_h], b_eq=[most], bounds=[(0, 1)] * len(DAY))
        ours = sum(h.worked * h.ha_h * h.whole_per_ha for h in day.hours)
        assert ours == pytest.approx(least.fun, rel=1e-9)
        assert day.done_ha == pytest.approx(most)


def test_waiting_moves_work_to_earlier_hours() -> None:
    calm, pressed = (plan_day(certain(), DAY, replace(JOB, area_left_ha=25.0, wait_per_ha_day=w)) for w in (0.0, 600.0))
    first = [next(k for k, h in enumerate(day.hours) if h.worked > 0) for day in (calm, pressed)]
    assert first[1] < first[0]


def test_without_an_area_only_hours_near_the_least_cost_are_named() -> None:
    day = plan_day(certain(machine=2.5), DAY, JOB)
    least = min(h.whole_per_ha for h in day.hours)
    for hour in day.hours:
        assert (hour.worked == 1.0) == (hour.whole_per_ha <= 1.25 * least)
    assert 0 < sum(h.worked for h in day.hours) < len(DAY)


def test_hours_nobody_works_and_grain_too_moist_are_left_out_with_the_reason() -> None:
    grain = GrainCourse(np.linspace(14.0, 8.0, 10), np.full(10, 0.4))
    job = replace(JOB, most_moisture_pct=12.0, area_left_ha=500.0)
    day = plan_day(certain(), DAY, job, grain=grain, may_work=[k < 8 for k in range(10)])
    for k, hour in enumerate(day.hours):
        moist = hour.grain_pct is not None and hour.grain_pct.median > 12.0
        wanted = "not a working hour" if k >= 8 else "grain too moist" if moist else None
        assert hour.why_not == wanted
        assert hour.worked == (1.0 if wanted is None else 0.0)
    none = plan_day(certain(), DAY, job, may_work=[False] * 10)
    assert none.done_ha == 0.0


def test_check_again_when_the_loss_leaves_the_range_of_the_last_check() -> None:
    narrow = LastCheck(Range(45.0, 50.0, 55.0), 0.3, 5.0)
    wide = LastCheck(Range(10.0, 50.0, 250.0), 0.3, 5.0)
    only_machine = certain(header=None)
    day = plan_day(only_machine, DAY[4:], JOB, last_check=narrow)
    assert day.shift == pytest.approx(np.exp(1.4 * (DAY[4:] - 0.3)))
    assert day.check_again == next(k for k, f in enumerate(day.shift) if f > 1.1)
    assert plan_day(only_machine, DAY[4:], JOB, last_check=wide).check_again is None
    assert plan_day(only_machine, DAY, JOB).check_again is None


def test_a_habit_is_never_cheaper_than_the_plan_in_its_hour() -> None:
    losses = certain()
    for tough, hour in zip(DAY, plan_day(losses, DAY, JOB).hours, strict=True):
        for habit in (4.0, 6.0, 8.0):
            assert cost_at(losses, float(tough), JOB, habit).median >= hour.cost_per_ha.median * (1 - 1e-6)


# --- learning gamma -----------------------------------------------------------------------------------------------


def nothing(source: str) -> object:
    return fit_response([], source=source, prior=Prior(40.0), load_kind="speed")  # type: ignore[arg-type]


def checks(count: int, gamma: float, seed: int = 3) -> list[LossPoint]:
    from chaffinch.engine import catch, exposure

    pan, chance = exposure.in_discharge(0.37, 12, 2), np.random.default_rng(seed)
    points = []
    for k in range(count):
        tough, speed = 0.25 + 0.6 * (k % 5) / 4, 4.0 + 3.0 * (k % 3) / 2
        true = 40.0 * (speed / 5.0) ** 1.5 * np.exp(gamma * (tough - 0.5) + 0.15 * chance.standard_normal())
        grams = [0.1 * true * 0.37 * 6.0 * np.exp(0.2 * chance.standard_normal()) for _ in range(3)]
        told = evidence([Catch(catch.read("weighed", round(g, 1), 0.1, tkw_g=3.5), pan) for g in grams], "machine")
        points.append(LossPoint(told, speed, combine="one", conditions={TOUGHNESS: tough}))
    return points


def learned_from(points: list[LossPoint], guide: Guide = GUIDE["machine"]) -> DayLosses:
    fit = fit_response(points, source="machine", prior=Prior(40.0), load_kind="speed", conditions=[TOUGHNESS])
    scale = scales(points, [TOUGHNESS])[TOUGHNESS]
    asked = AskedOf(fit, 1.0, Told(True, scale.mean, scale.sd), combine="one")
    return day_losses(SPEEDS, asked, None, tested_kmh=(4.0, 7.0), guide={"machine": guide, "header": GUIDE["header"]})


@pytest.mark.parametrize("gamma", [1.5, 0.0, -0.8])
def test_twenty_checks_teach_what_toughness_does_whatever_the_guide_says(gamma: float) -> None:
    losses = learned_from(checks(20, gamma))
    found = losses.machine.gamma
    assert not losses.is_a_guide
    assert abs(found.mean() - gamma) < 2.5 * found.std() + 0.1
    assert found.std() < 0.4


def test_the_guide_is_the_prior_of_gamma() -> None:
    """A guide far narrower than what three checks can say comes out as it went in; a wide one does not."""
    points = checks(3, 0.8)
    free = learned_from(points).machine.gamma
    tight = learned_from(points, Guide(2.0, 0.05)).machine.gamma
    assert tight.mean() == pytest.approx(2.0, abs=0.05)
    assert tight.std() == pytest.approx(0.05, rel=0.3)
    assert free.std() > 5 * tight.std()


@pytest.mark.parametrize(
    ("ask", "field"),
    [
        (lambda: plan_day(certain(), np.array([]), JOB), "toughness"),
        (lambda: plan_day(certain(), np.array([0.5, 1.5]), JOB), "toughness"),
        (lambda: plan_day(certain(), DAY, JOB, may_work=[True]), "may_work"),
        (lambda: plan_day(certain(), DAY, replace(JOB, area_left_ha=0.0)), "area_left_ha"),
        (lambda: plan_day(certain(), DAY, replace(JOB, hour_cost_per_h=0.0, price_per_t=0.0)), "hour_cost_per_h"),
        (lambda: plan_day(certain(), DAY, replace(JOB, fastest_kmh=2.0)), "fastest_kmh"),
        (lambda: plan_day(certain(), DAY, JOB, grain=GrainCourse(DAY[:3], DAY[:3])), "grain"),
    ],
)
def test_bad_figures_are_refused_by_name(ask: object, field: str) -> None:
    with pytest.raises(InputError) as refused:
        ask()  # type: ignore[operator]
    assert refused.value.field == field
