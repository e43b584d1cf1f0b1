"""Grain and straw after the air: against fine steps, and the readings against sampling."""

from __future__ import annotations

import math

import numpy as np
import pytest

from chaffinch.engine.air import lag as air_lag
from chaffinch.engine.air.lag import OUT_OF_LINE, READING_SD_PCT, grain_course, out_of_line
from chaffinch.errors import InputError

HOURS = np.arange(48.0)
HUMIDITY = 60.0 - 25.0 * np.cos(2 * np.pi * (HOURS - 4.0) / 24.0) * -1.0


@pytest.mark.parametrize("lag", [0.5, 2.0, 8.0, 48.0])
def test_the_lag_agrees_with_small_steps(lag: float) -> None:
    """Euler in steps of 0.001 h errs by about half a step over the lag."""
    step = 0.001
    fine = np.arange(0.0, 47.0 + step / 2, step)
    aim = np.interp(fine, HOURS, HUMIDITY)
    x = aim[0]
    walked = np.empty_like(aim)
    for k, u in enumerate(aim):
        walked[k] = x
        x += (u - x) / lag * step
    exact = air_lag.lagged(HOURS, HUMIDITY, lag)
    assert np.abs(exact - np.interp(HOURS, fine, walked)).max() < 30.0 * step / lag + 1e-3


def test_a_lag_delays_and_flattens_a_day() -> None:
    slow, quick = (air_lag.lagged(HOURS, HUMIDITY, tau)[24:] for tau in (8.0, 2.0))
    assert np.ptp(slow) < np.ptp(quick) < np.ptp(HUMIDITY)
    assert slow.argmax() > quick.argmax() >= HUMIDITY[24:].argmax()


def test_standing_air_changes_nothing() -> None:
    assert air_lag.lagged(HOURS, np.full(48, 55.0), 3.0) == pytest.approx(np.full(48, 55.0))
    relaxed = air_lag.lagged(HOURS, np.full(48, 55.0), 3.0, start=85.0)
    assert relaxed[3] == pytest.approx(55.0 + 30.0 * np.exp(-1.0))


def test_toughness_is_a_share_and_remembers() -> None:
    index = air_lag.toughness(HOURS, np.where(HOURS < 24, 100.0, 30.0))
    assert (index <= 1.0).all()
    assert (index >= 0.3).all()
    assert index[23] == pytest.approx(1.0)
    assert index[25] > 0.5 > index[30]


def test_a_reading_pulls_the_day_with_it_and_fades() -> None:
    aim = np.full(48, 9.0)
    free = air_lag.grain_course(HOURS, aim, 1.0)
    told = air_lag.grain_course(HOURS, aim, 1.0, [(6.0, 11.0)])
    assert 10.3 < told.mean_pct[6] < 11.0
    assert 9.0 < told.mean_pct[20] < told.mean_pct[6]
    assert told.sd_pct[30] < free.sd_pct[30] + 1e-9
    assert told.sd_pct[6] < 0.7 * free.sd_pct[6]
    assert free.mean_pct == pytest.approx(aim)
    assert free.sd_pct[0] == pytest.approx(np.hypot(air_lag.START_SD_PCT, air_lag.PLACE_SD_PCT))


def test_readings_agree_with_sampling_the_three_terms() -> None:
    """The closed form against 400,000 weighted draws of start, offset and swing."""
    aim = 9.0 + 2.0 * np.sin(2 * np.pi * HOURS / 24.0)
    readings = [(5.0, 10.2), (14.0, 9.9)]
    told = air_lag.grain_course(HOURS, aim, 1.645, readings, lag_h=6.0)
    course = air_lag.lagged(HOURS, aim, 6.0)
    chance = np.random.default_rng(4)
    start, off, swing = chance.standard_normal((3, 400_000)) * np.array([[3.0], [1.0], [0.4]])
    weight = np.zeros(start.size)
    for at, seen in readings:
        fading = np.exp(-at / 6.0)
        there = course[int(at)] + start * fading + off * (1 - fading) + swing * (course[int(at)] - course.mean())
        weight -= 0.5 * (seen - there) ** 2 / (0.3**2 + 0.6**2)
    weight = np.exp(weight - weight.max())
    weight /= weight.sum()
    for hour in (0, 10, 20, 40):
        fading = np.exp(-hour / 6.0)
        drawn = course[hour] + start * fading + off * (1 - fading) + swing * (course[hour] - course.mean())
        mean = weight @ drawn
        sd = np.sqrt(weight @ (drawn - mean) ** 2)
        assert told.mean_pct[hour] == pytest.approx(mean, abs=0.03)
        assert told.sd_pct[hour] == pytest.approx(np.hypot(sd, 0.6), rel=0.03)


def test_a_reading_before_the_first_hour_counts() -> None:
    told = air_lag.grain_course(HOURS[10:], np.full(38, 9.0), 1.0, [(8.0, 12.0)])
    assert 10.5 < told.mean_pct[0] < 12.0


@pytest.mark.parametrize(
    ("ask", "field"),
    [
        (lambda: air_lag.lagged(HOURS[::-1], HUMIDITY, 2.0), "time_h"),
        (lambda: air_lag.lagged(HOURS, HUMIDITY[:5], 2.0), "time_h"),
        (lambda: air_lag.lagged(HOURS, HUMIDITY, 0.0), "lag_h"),
        (lambda: air_lag.toughness(HOURS, HUMIDITY + 50.0), "humidity_pct[0]"),
        (lambda: air_lag.grain_course(HOURS, HUMIDITY, 0.0), "plus_minus_pct"),
        (lambda: air_lag.grain_course(HOURS, HUMIDITY, 1.0, [(50.0, 10.0)]), "readings"),
        (lambda: air_lag.grain_course(HOURS, HUMIDITY, 1.0, [(5.0, 80.0)]), "readings[0]"),
    ],
)
def test_bad_histories_are_refused_by_name(ask: object, field: str) -> None:
    with pytest.raises(InputError) as refused:
        ask()  # type: ignore[operator]
    assert refused.value.field.split("[")[0] == field.split("[", maxsplit=1)[0]


def test_readings_that_fit_nothing_else_are_found_and_those_that_agree_are_believed() -> None:
    times = np.arange(0.0, 30.0)
    aim = 10.0 + 3.0 * np.cos(2 * np.pi * times / 24.0)
    usual = [(2.0, 12.4), (8.0, 11.0), (14.0, 8.6), (20.0, 8.3)]
    assert out_of_line(times, aim, 1.0, usual) == []
    assert out_of_line(times, aim, 1.0, []) == []
    for wild in (30.0, 1.0):
        assert out_of_line(times, aim, 1.0, [*usual, (24.0, wild)]) == [4]
        assert out_of_line(times, aim, 1.0, [(24.0, wild)]) == [0]
        assert out_of_line(times, aim, 1.0, [(12.0, wild), *usual, (24.0, wild)]) in ([0, 5], [5, 0])
    # Grain that is wetter than the isotherm says, read again and again: the isotherm is off, and not the meter.
    assert out_of_line(times, aim, 1.0, [(t, m + 2.0) for t, m in usual]) == []


def test_a_reading_is_held_against_what_the_others_say_of_it() -> None:
    """The closed form is the plain one: the posterior without a reading, asked at its hour."""
    times = np.arange(0.0, 30.0)
    aim = 10.0 + 3.0 * np.cos(2 * np.pi * times / 24.0)
    known = [(2.0, 12.4), (8.0, 11.0), (14.0, 8.6)]
    without = grain_course(times, aim, 1.0, known)
    spread = math.hypot(float(without.sd_pct[20]), READING_SD_PCT)
    for sds, found in ((OUT_OF_LINE - 0.05, []), (OUT_OF_LINE + 0.05, [3])):
        assert out_of_line(times, aim, 1.0, [*known, (20.0, float(without.mean_pct[20]) + sds * spread)]) == found
