"""Do the ranges hold the truth as often as they say? The bench in a shortened form, and whether it can fail.

Bounds: the coverage of n checks of a true 90 % range has the standard deviation sqrt(0.9 · 0.1 / n); four of them are
allowed (5 percentage points for n = 600). Seeds are fixed, so a result changes only when the engine or the worlds do;
the bar of 87 to 93 % itself needs 2,000 checks and stands on docs/method/calibration.md.
"""

from __future__ import annotations

import importlib
import math
import sys
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

from chaffinch.engine import exposure
from chaffinch.engine.catch import read
from chaffinch.engine.estimate import estimate
from chaffinch.engine.evidence import GRAMS_PER_KG_HA_M2, Catch, c_nodes, log_likelihood, profile

sys.path.insert(0, str(Path(__file__).resolve().parent.parent / "bench"))
calibration = importlib.import_module("calibration")
worlds = importlib.import_module("worlds")

BY_NAME = {s.name: s for s in calibration.SCENARIOS}
FLAT = "8 pans spanning the discharge, flat layer"
COUNTED = "3 pans, seed counted"


def bound(checks: int) -> float:
    return 4.0 * math.sqrt(0.9 * 0.1 / checks)


# --- coverage -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "checks"),
    [
        ("1 pan, 0.1 g scale", 400),
        ("3 pans, spreading on", 250),
        ("3 small pans (1 ft²), 1 g scale", 250),
        (COUNTED, 800),
        ("3 frames of 10 ft², soybean counted", 800),
        ("8 frames of 10 ft², faba bean, 0.1 g scale", 800),
        ("5 pans across a spread, 2 runs, 1 g scale", 250),
    ],
)
def test_range_holds_the_truth_nine_times_in_ten(name: str, checks: int) -> None:
    (score,) = calibration.calibrate(BY_NAME[name], checks, seed=1)
    assert score.checks == checks
    assert abs(score.covers_90 - 0.90) < bound(checks)
    # The middle half of the belief: sqrt(0.5 · 0.5 / n) is 5/3 of the above.
    assert abs(score.covers_50 - 0.50) < bound(checks) * 5 / 3


def test_joint_ranges_hold_the_truth_nine_times_in_ten() -> None:
    checks = 120
    found = calibration.calibrate(BY_NAME["4 standing, 4 strip, 3 pans"], checks, seed=1)
    assert [s.judged for s in found] == ["standing", "header", "machine", "total"]
    for score in found:
        assert abs(score.covers_90 - 0.90) < bound(checks), score.judged


def test_verdicts_are_right_as_often_as_they_say() -> None:
    (score,) = calibration.calibrate(BY_NAME[COUNTED], 800, seed=2)
    for number, true, said in (
        (score.over, score.over_true, score.over_said),
        (score.under, score.under_true, score.under_said),
    ):
        assert number > 250
        # Four standard deviations of a share of that many.
        assert abs(true - said) < 4.0 * math.sqrt(said * (1.0 - said) / number)


# --- the check can fail -------------------------------------------------------------------------------------------


def test_a_variation_taken_too_small_is_noticed(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(exposure.VARIATION, "narrow", exposure.VARIATION["narrow"] / 2)
    (score,) = calibration.calibrate(BY_NAME[COUNTED], 400, seed=1)
    assert score.covers_90 < 0.90 - bound(400)


def test_a_shared_error_left_out_is_noticed(monkeypatch: pytest.MonkeyPatch) -> None:
    truth, readings = calibration.draw(BY_NAME[FLAT], 250, seed=1)
    (right,) = calibration.scores(BY_NAME[FLAT], truth, calibration.answers(BY_NAME[FLAT], readings))
    assert abs(right.covers_90 - 0.90) < bound(250)
    monkeypatch.setattr(calibration, "estimate", lambda seen, prior, scale_sd: estimate(seen, prior, 0.0 * scale_sd))
    (wrong,) = calibration.scores(BY_NAME[FLAT], truth, calibration.answers(BY_NAME[FLAT], readings))
    assert wrong.covers_90 < 0.90 - 2 * bound(250)


def test_a_range_twice_too_wide_is_noticed(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(calibration, "estimate", lambda seen, prior, scale_sd: estimate(seen, prior, 5.0 * scale_sd))
    (score,) = calibration.calibrate(BY_NAME[COUNTED], 400, seed=1)
    assert score.covers_90 > 0.90 + bound(400)


def test_a_scenario_outside_the_bar_is_marked() -> None:
    (score,) = calibration.calibrate(BY_NAME[COUNTED], 20, seed=1)
    held = {"group": "as assumed", "covers_90": 0.869}
    low = type(score)(**{name: held.get(name, getattr(score, name)) for name in score.__slots__})
    assert not low.within_bar
    assert calibration.cells(low)[2].endswith("!")


# --- the worlds ---------------------------------------------------------------------------------------------------


def test_world_has_the_mean_and_variance_of_the_model() -> None:
    count = 200_000
    farm = worlds.Farm(worlds.SOYBEAN, cut_m=5.0, tkw_measured=True)
    taking = worlds.Taking("windrow", step=0.001, length_m=0.2)
    mean, seed = 0.1 * 20.0 * 0.2 * 5.0, 0.160
    nature = worlds.Nature(fixed_kg_ha={"machine": 20.0})
    grams = worlds.days(farm, [taking], nature, count, np.random.default_rng(5)).readings[:, 0]
    # c is lognormal around 0.20 with 0.35 in the log: E c² = 0.20² · exp(2 · 0.35²). The pan's 1 % adds 1e-4.
    variance = mean**2 * (0.2**2 * math.exp(2 * 0.35**2) + 1e-4) + seed * mean
    assert grams.mean() == pytest.approx(mean, rel=4 * math.sqrt(variance / count) / mean)
    # The relative sd of a sample variance is sqrt((κ − 1)/n); kurtosis κ is below 6 here, hence four of 0.5 %.
    assert grams.var() == pytest.approx(variance, rel=0.02)


def test_counts_and_weights_of_one_world_are_the_same_seeds() -> None:
    takings = [worlds.Taking("discharge", way, step) for way, step in (("counted", 1.0), ("weighed", 1e-6))]
    nature = worlds.Nature(fixed_kg_ha={"machine": 40.0})
    found = [worlds.days(worlds.Farm(), [t], nature, 50, np.random.default_rng(3)).readings[:, 0] for t in takings]
    seed_g = found[1] / found[0]
    # Within four times the 8 % a thousand-kernel weight may be off.
    assert np.all(np.abs(np.log(seed_g / 0.0035)) < 4 * 0.08)


@pytest.mark.parametrize("between", ["gamma", "lognormal"])
def test_unevenness_has_mean_one_and_the_variation_asked_for(between: str) -> None:
    drawn = worlds._uneven(np.full(400_000, 0.5), between, np.random.default_rng(4))
    # Four standard errors: 0.5/sqrt(n) of the mean; of the sd, with a kurtosis below 10, 1.5 · 0.5/sqrt(n).
    assert drawn.mean() == pytest.approx(1.0, abs=4 * 0.5 / math.sqrt(drawn.size))
    assert drawn.std() == pytest.approx(0.5, abs=6 * 0.5 / math.sqrt(drawn.size))


def test_geometry_of_worlds_and_engine_agree() -> None:
    loss = {
        "standing": np.array([3.0]),
        "header": np.array([11.0]),
        "machine": np.array([47.0]),
        "leak": np.array([5.0]),
    }
    seen = set()
    for scenario in calibration.SCENARIOS:
        width = np.array([scenario.farm.discharge_m])
        for taking in scenario.takings:
            if taking.offset_m is None:
                due = worlds._due_g(taking, 0, scenario.farm, worlds.Nature(), loss, width, {})[0]
                e = calibration._exposure(scenario.farm, taking)
                expected = sum(GRAMS_PER_KG_HA_M2 * float(loss[s][0]) * e.area_m2(s) for s in loss)
                assert due == pytest.approx(expected, rel=1e-12)  # one formula twice: rounding only
                assert taking.lying(scenario.farm) == e.taken
                seen.add((taking.place, e.taken))
    assert len(seen) == 9


def test_profile_of_worlds_integrates_to_the_whole_loss() -> None:
    scenario = BY_NAME["5 pans across a spread, 1 run"]
    width = np.full(7, scenario.farm.discharge_m)
    across = worlds._profiles(scenario.takings, width, np.random.default_rng(6))
    lengths = exposure.profile_lengths_m([t.offset_m for t in scenario.takings], scenario.farm.discharge_m)
    whole = sum(length * across[i] for i, length in enumerate(lengths))
    assert whole == pytest.approx(np.ones(7), rel=1e-12)  # exact for straight lines between the pans


def test_worlds_figures_are_those_of_the_engine() -> None:
    from chaffinch.engine.catch import PACKING, PAN_SD, SCALE_SD
    from chaffinch.engine.estimate import PRIOR_MEDIAN_KG_HA, PRIOR_SD
    from chaffinch.engine.evidence import VARIATION_SD

    assert worlds.C0 == exposure.VARIATION
    assert worlds.PRIOR_MEDIAN_KG_HA == PRIOR_MEDIAN_KG_HA
    assert (worlds.PRIOR_SD_LOG, worlds.C_SD_LOG) == (PRIOR_SD, VARIATION_SD)
    assert {("taped" if k else "guessed"): v for k, v in worlds.WIDTH_SD.items()} == exposure.WIDTH_SD
    assert {False: SCALE_SD["counted"], True: SCALE_SD["counted, own TKW"]} == worlds.TKW_SD
    assert (SCALE_SD["measured"], SCALE_SD["flat"], PAN_SD) == (worlds.DENSITY_SD, worlds.LAYER_SD, worlds.PAN_SD)
    assert worlds.PACKING == PACKING


# --- what the bench found -----------------------------------------------------------------------------------------


@pytest.mark.parametrize("seeds", [0, 1, 7, 60])
def test_a_scale_that_tells_single_seeds_counts_them(seeds: int) -> None:
    seen = exposure.in_standing_crop(0.929)
    c, ln_mean_g = c_nodes(0.5), np.log(np.geomspace(0.01, 100.0, 50))
    weighed = Catch(read("weighed", seeds * 0.45, 0.1, tkw_g=450.0), seen)
    counted = Catch(read("counted", seeds, 1.0, tkw_g=450.0), seen)
    np.testing.assert_allclose(
        log_likelihood(weighed, ln_mean_g, c), log_likelihood(counted, ln_mean_g, c), rtol=1e-9, atol=1e-9
    )


def test_an_empty_pan_may_hide_the_seeds_half_a_step_can_hide() -> None:
    # Faba beans of 0.45 g on a 2 g scale: one or two of them do not show.
    c, ln_mean_g = c_nodes(0.5), np.log(np.geomspace(0.01, 100.0, 50))
    empty = Catch(read("weighed", 0.0, 2.0, tkw_g=450.0), exposure.in_standing_crop(0.929))
    seeds = np.exp(ln_mean_g)[:, None] / 0.45
    r = 1.0 / np.square(c)
    expected = stats.nbinom.logcdf(2, r, r / (r + seeds))
    likely = expected > -30.0  # scipy's distribution function keeps its digits that far
    np.testing.assert_allclose(log_likelihood(empty, ln_mean_g, c)[likely], expected[likely], rtol=1e-9, atol=1e-9)


def test_empty_pans_of_a_profile_may_hide_half_a_step_each() -> None:
    def steps_g(way: str, values: tuple[float, ...], step: float) -> float:
        readings = [read(way, v, step, tkw_g=450.0) for v in values]
        return profile(readings, [0.25] * 3, [0.5] * 3, 12.0).reading.step_g

    # A pan of 0.25 m² stands for 0.5 m of width: its step counts twice in the grams per metre.
    assert steps_g("weighed", (0.0, 0.0, 0.0), 1.0) == pytest.approx(2.0 * 3.0)
    assert steps_g("weighed", (4.0, 5.0, 6.0), 1.0) == pytest.approx(2.0 * math.sqrt(3.0))
    assert steps_g("weighed", (0.0, 0.0, 6.0), 1.0) == pytest.approx(2.0 * math.hypot(2.0, 1.0))
    assert steps_g("counted", (0.0, 2.0, 6.0), 1.0) == 0.0
