"""Does the bench of the day run, say the same for the same seed, and keep the order its page claims?"""

from __future__ import annotations

import importlib
import sys
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

BENCH = Path(__file__).resolve().parent.parent / "bench"
sys.path.insert(0, str(BENCH))
day_truth = importlib.import_module("day_truth")


@pytest.fixture(scope="module")
def worlds() -> list:
    return day_truth.played("8 checks", 4, 1, 1)


def test_nothing_beats_the_truth_and_a_fixed_loss_costs_most(worlds: list) -> None:
    paid = np.array([one.paid for one in worlds])
    least = paid[:, [day_truth.WAYS.index("true optimum")]]
    # The truth is searched on 400 speeds.
    assert (paid >= least - 0.01).all()
    mean = dict(zip(day_truth.WAYS, (paid - least).mean(axis=0), strict=True))
    assert mean["plan"] < mean["constant"] < mean["keep 1 bu/ac"]


def test_losses_move_apart_in_nearly_every_world(worlds: list) -> None:
    assert sum(one.apart for one in worlds) >= 3
    assert all(0.0 <= one.machine_held <= 1.0 for one in worlds)
    assert np.mean([one.machine_held for one in worlds]) > 0.5


def test_without_checks_it_is_a_guide_and_wide() -> None:
    one = day_truth.outcome("no checks", 1_000_000)
    assert one.is_a_guide
    assert one.widths > 20.0


def test_it_prints_both_tables_and_says_the_same_again(worlds: list) -> None:
    shown = CliRunner().invoke(day_truth.main, ["--worlds", "2", "--only", "8 checks"])
    assert shown.exit_code == 0, shown.output
    for line in (*day_truth.lines("8 checks", worlds[:2]), day_truth.held_line("8 checks", worlds[:2])):
        assert line in shown.output
    assert "2 worlds, seed 1" in shown.output
