"""Does the bench of planted faults run, say the same for the same seed, and find what its page claims?"""

from __future__ import annotations

import importlib
import subprocess
import sys
from pathlib import Path

import numpy as np

BENCH = Path(__file__).resolve().parent.parent / "bench"
sys.path.insert(0, str(BENCH))
planted = importlib.import_module("planted_faults")
machines = importlib.import_module("planted_machines")

FEW = ("reel_fast", "cut_high", "brittle", "damp", "thresh_weak", "fan_high", "upper_closed", "leak")
"""Faults of every part of the machine, for the tiny form."""


def test_it_prints_a_table() -> None:
    done = subprocess.run(
        [sys.executable, "-W", "error", str(BENCH / "planted_faults.py"), "--draws", "1", "--only", "fan_high,leak"],
        capture_output=True, text=True, encoding="utf-8", check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    assert "| fan high | 1 | " in done.stdout
    assert "| all | 2 | " in done.stdout


def test_planted_faults_are_found() -> None:
    """The tiny form: 8 faults × 3 machines, the bar of the page less three binomial sds of 24 machines."""
    found = planted.run(3, faults=FEW)
    first, three = planted.shares(found)
    assert set(found) == set(FEW)
    assert first >= 0.70 - 3 * (0.7 * 0.3 / 24) ** 0.5
    assert three >= 0.95 - 3 * (0.95 * 0.05 / 24) ** 0.5
    # Asked nothing, the split alone seldom puts the true cause first: the questions are what tells.
    silent = planted.shares(planted.run(2, faults=FEW, questions=0))
    assert silent[0] < first - 0.2


def test_a_fault_is_one_and_the_same_seed_gives_the_same_machine() -> None:
    assert len(machines.FAULTS) >= 10
    for fault, (crops, _) in machines.FAULTS.items():
        one, same = (machines.world_of(fault, np.random.default_rng(3)) for _ in range(2))
        assert one == same
        assert one.crop in crops
        sound = machines.World(crop=one.crop).losses_pct()
        assert max(one.losses_pct()[s] / sound[s] for s in sound) >= machines.LEAST_LIFT


def test_a_person_answers_only_what_is_asked() -> None:
    chance = np.random.default_rng(1)
    person = machines.Person(machines.world_of("fan_high", chance), chance)
    for sign in planted.advice_table().signs:
        if sign.asks:
            told = {person.answer(sign.key, tuple(sign.answers)) for _ in range(30)}
            assert told <= {None, *sign.answers}


def test_a_book_says_what_goes_with_the_fault() -> None:
    """Twelve machines each: an overloaded one is mostly heavy and high, one that leaks mostly as usual."""
    said = {}
    for fault in ("load", "leak"):
        books = []
        for seed in range(12):
            chance = np.random.default_rng(seed)
            world = machines.world_of(fault, chance)
            books.append(planted.from_book(world, machines.Person(world, chance), chance))
        said[fault] = {key: [book[key] for book in books] for key in ("load", "bar")}
    assert said["load"]["load"].count("heavy") >= 9
    assert said["load"]["bar"].count("high") >= 9
    assert said["leak"]["load"].count("usual") >= 9
    assert said["leak"]["bar"].count("usual") >= 7
