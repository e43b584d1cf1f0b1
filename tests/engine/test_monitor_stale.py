"""Does a key still hold? New pairs and new conditions against it, and how often a good key is dropped."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from made_trials import normal, pans

from chaffinch.engine.estimate import Prior
from chaffinch.engine.monitor.key import Pair, fit_monitor
from chaffinch.engine.monitor.stale import CHANCE, Conditions, stale
from chaffinch.errors import InputError


def pairs_of(readings, *, a=2.0, b=1.0, noise=0.25, rng, sd=0.2):
    return [
        Pair(
            float(r), normal(math.exp(a + b * math.log(r) + math.hypot(noise, sd) * rng.standard_normal()), sd), "area"
        )
        for r in readings
    ]


KEY = fit_monitor(
    pairs_of([2.0, 3.0, 5.0, 8.0, 12.0, 20.0], rng=np.random.default_rng(3)), prior=Prior(40.0), scale_sd=0.0
)
THEN = Conditions("canola", "West Piece", "Ines", 9.0, 50.0, {"fan speed": 800, "rotor speed": 700}, 10.0)


def test_pairs_on_the_line_leave_the_key_standing():
    new = [Pair(r, normal(KEY.loss_kg_ha(r).median, 0.2), "area") for r in (3.0, 6.0, 10.0)]
    standing = stale(KEY, new)
    assert not standing.stale
    assert (standing.outside, standing.pairs) == (0, 3)
    assert standing.p_chance > 0.95


@pytest.mark.parametrize("number", [1, 2, 4])
def test_pairs_far_off_the_line_make_it_stale(number):
    new = [Pair(r, normal(5.0 * KEY.loss_kg_ha(r).median, 0.2), "area") for r in (3.0, 6.0, 10.0, 15.0)[:number]]
    standing = stale(KEY, new)
    assert standing.stale
    assert standing.triggers == ("pairs",)
    assert standing.outside == number


def test_a_key_that_holds_is_dropped_as_often_as_said():
    # Keys and new pairs from the model itself: 100 worlds, each with 3 new pairs.
    rng = np.random.default_rng(7)
    dropped = []
    for _ in range(100):
        a, b, noise = (
            rng.normal(math.log(40.0), 1.3),
            rng.normal(1.0, 0.3),
            0.25 * math.exp(0.5 * rng.standard_normal()),
        )
        r = np.exp(rng.normal(0.0, 0.7, 8))
        made = pairs_of(r, a=a, b=b, noise=noise, rng=rng)
        key = fit_monitor(made[:5], prior=Prior(40.0), scale_sd=0.0)
        dropped.append(stale(key, made[5:]).stale)
    # A binomial of 100 at 5 % has the sd 2.2 %; three are allowed, and a test that never drops would fail as well.
    assert 0.0 < np.mean(dropped) < CHANCE + 3 * 0.022


def test_empty_pans_beside_a_low_bar_speak_softly():
    standing = stale(KEY, [Pair(2.0, pans(0.0), "area")])
    assert standing.pairs == 1
    assert 0.0 <= standing.p_chance <= 1.0


@pytest.mark.parametrize(
    ("change", "triggers", "reminders"),
    [
        ({}, (), ()),
        ({"crop": "wheat"}, ("crop",), ()),
        ({"grain_moisture_pct": 11.0}, ("grain moisture",), ()),
        ({"grain_moisture_pct": 10.9}, (), ()),
        ({"grain_moisture_pct": None}, (), ()),
        ({"settings": {"fan speed": 750, "rotor speed": 700}}, ("fan or sieve",), ()),
        ({"settings": {"fan speed": 800, "rotor speed": 650}}, (), ("other setting",)),
        ({"settings": {"upper sieve": 12}}, (), ()),
        ({"field": "Heron Piece"}, (), ("field",)),
        ({"operator": "Tom"}, (), ("operator",)),
        ({"humidity_pct": 65.0}, (), ("humidity",)),
        ({"time_h": 14.0}, (), ("hours",)),
        ({"time_h": 13.9}, (), ()),
        ({"crop": "wheat", "humidity_pct": 20.0, "time_h": 30.0}, ("crop",), ("humidity", "hours")),
    ],
)
def test_what_has_changed_drops_the_key_or_calls_for_a_check(change, triggers, reminders):
    standing = stale(KEY, then=THEN, now=replace(THEN, **change))
    assert standing.triggers == triggers
    assert standing.reminders == reminders
    assert standing.stale is bool(triggers)
    assert standing.p_chance is None


def test_same_seed_same_answer():
    new = [Pair(6.0, normal(90.0, 0.2), "area")]
    assert stale(KEY, new) == stale(KEY, new)


@pytest.mark.parametrize(
    ("more", "field"),
    [
        ({"then": THEN}, "conditions"),
        ({"then": THEN, "now": replace(THEN, humidity_pct=140.0)}, "now, humidity_pct"),
        ({"then": replace(THEN, grain_moisture_pct=-1.0), "now": THEN}, "then, grain_moisture_pct"),
        ({"then": THEN, "now": replace(THEN, time_h=9.0)}, "now, time_h"),
        ({"then": THEN, "now": replace(THEN, time_h=math.nan)}, "now, time_h"),
        ({"since_pairs": [Pair(6.0, normal(90.0, 0.2), "time", 5.0, 9.0)]}, "pair 1, per"),
        ({"since_pairs": [Pair(-6.0, normal(90.0, 0.2), "area")]}, "pair 1, reading"),
    ],
)
def test_bad_questions_are_refused_by_name(more, field):
    with pytest.raises(InputError) as error:
        stale(KEY, **more)
    assert error.value.field == field
