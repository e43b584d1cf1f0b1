"""A bar read in kg/ha: the conversion, the line, its ranges and span, a bar at 0, and what is refused."""

from __future__ import annotations

import importlib
import math
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from made_trials import caught, normal, pans
from scipy import stats

from chaffinch.engine.estimate import Prior, Range
from chaffinch.engine.monitor.key import Pair, fit_monitor, per_area
from chaffinch.engine.monitor.pair import LEAST_PAIRS, stands
from chaffinch.errors import InputError

sys.path.insert(0, str(Path(__file__).resolve().parents[2] / "examples"))

PRIOR = Prior(40.0)


def exact(readings, *, a: float = 2.0, b: float = 1.1, noise: float = 0.0, seed: int = 1, sd: float = 0.05):
    """Pairs of a bar per area with ln λ = a + b ln r, known almost exactly."""
    rng = np.random.default_rng(seed)
    return [
        Pair(r, normal(math.exp(a + b * math.log(r) + noise * rng.standard_normal()), sd), "area") for r in readings
    ]


SIX = exact([2.0, 3.0, 5.0, 8.0, 12.0, 20.0], noise=0.2)
KEY = fit_monitor(SIX, prior=PRIOR, scale_sd=0.0)


# --- per time and per area ----------------------------------------------------------------------------------------


def test_seed_per_second_becomes_seed_per_hectare():
    # Worked vector (derived in the project's reference notes): 300 hits/s, capture share 0.05, TKW 3.5 g.
    kg_s = 300 / 0.05 * 3.5 * 1e-6
    assert kg_s == pytest.approx(0.021)
    assert per_area(kg_s, 1.5 * 3.6, 12.0) == pytest.approx(11.667, abs=5e-4)
    assert per_area(kg_s, 1.8 * 3.6, 12.0) == pytest.approx(9.722, abs=5e-4)


def test_a_level_bar_per_time_means_less_loss_at_more_speed():
    pairs = [
        Pair(r, normal(0.5 * per_area(r, v, 12.0), 0.1), "time", v, 12.0)
        for r, v in ((0.02, 4.0), (0.03, 5.0), (0.05, 6.0), (0.08, 6.5), (0.1, 5.0))
    ]
    key = fit_monitor(pairs, prior=PRIOR, scale_sd=0.0)
    slow, fast = key.loss_kg_ha(0.04, 4.0), key.loss_kg_ha(0.04, 6.0)
    assert fast.median == pytest.approx(slow.median / 1.5, rel=0.1)
    # In step with speed, nothing has changed.
    in_step = key.loss_kg_ha(0.06, 6.0)
    assert in_step.median == pytest.approx(slow.median, rel=1e-9)
    assert key.reading_for(slow.median, 4.0).median == pytest.approx(0.04, rel=0.01)
    low, high = key.readings_tried(5.0)
    # Least per area 0.02 at 4 km/h, most 0.1 at 5 km/h.
    assert (low, high) == (pytest.approx(0.025), pytest.approx(0.1))


# --- two roads ----------------------------------------------------------------------------------------------------


def test_many_exact_pairs_agree_with_least_squares():
    readings = np.exp(np.random.default_rng(5).normal(2.0, 0.7, 80))
    pairs = exact(readings.tolist(), noise=0.25, seed=6, sd=0.04)
    key = fit_monitor(pairs, prior=PRIOR, scale_sd=0.0)
    x = np.log(readings / key.middle)
    y = np.array([float(np.average(_grid(), weights=np.exp(p.evidence.log_likelihood))) for p in pairs])
    line = stats.linregress(x, y)
    residual = math.sqrt(np.square(y - line.intercept - line.slope * x).sum() / (x.size - 2))
    # b's prior N(1, 0.3) draws it in by (0.04/0.3)² = 2 % of its error; draws of 6,000 leave 0.02 errors.
    assert abs(key.slope.median - line.slope) < 0.1 * line.stderr
    assert key.slope.high - key.slope.low == pytest.approx(2 * 1.645 * line.stderr, rel=0.06)
    assert key.scatter.median == pytest.approx(residual, rel=0.06)
    # A prediction range: the t interval for one more point.
    at = 0.5
    error = residual * math.sqrt(1 + 1 / x.size + (at - x.mean()) ** 2 / np.square(x - x.mean()).sum())
    found = key.loss_kg_ha(key.middle * math.exp(at))
    assert abs(math.log(found.median) - line.intercept - line.slope * at) < 0.1 * error
    t = stats.t.ppf(0.95, x.size - 2)
    assert math.log(found.high / found.low) == pytest.approx(2 * t * error, rel=0.04)


def _grid() -> np.ndarray:
    from chaffinch.engine.evidence import LN_LOSS

    return LN_LOSS


def test_simulated_bars_are_read_back():
    losses = importlib.import_module("simulated_world.losses")
    farm = importlib.import_module("simulated_world.farm")
    machine = next(m for m in farm.MACHINES if m.monitor == "time")
    rng = np.random.default_rng(9)
    inside = 0
    for world in range(12):
        true = farm.true_machine(world, machine)
        pairs, after = [], None
        for number in range(9):
            loss, speed = float(40 * np.exp(0.9 * rng.standard_normal())), float(rng.uniform(4.0, 7.0))
            bar = losses.monitor_reading(world, number, machine, true, loss, speed)
            if number < 8:
                pairs.append(Pair(bar, caught(loss, rng), "time", speed, true.cut_m, 0.1))
            else:
                after = bar, speed, loss
        key = fit_monitor(pairs, prior=PRIOR, scale_sd=0.0)
        assert key.slope.low - 0.2 < true.monitor_b < key.slope.high + 0.2
        low, high = key.readings_tried(after[1])
        if low <= after[0] <= high:
            found = key.loss_kg_ha(*after[:2])
            inside += found.low <= after[2] <= found.high
        else:
            inside += 1
    # Twelve ranges of 90 %: fewer than eight would happen once in 250 times.
    assert inside >= 8


# --- span, and what is needed --------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("readings", "missing"),
    [
        ([2.0, 3.0, 5.0], ("1 more with the bar above 0",)),
        ([3.0, 3.2, 3.4, 3.6], ("a highest reading 1.5 times the lowest, counted per area (now 1.20 times)",)),
        (
            [3.0],
            (
                "3 more with the bar above 0",
                "a highest reading 1.5 times the lowest, counted per area (now 1.00 times)",
            ),
        ),
        ([2.0, 2.0, 3.0, 3.0], ()),
    ],
)
def test_a_key_says_what_it_still_needs(readings, missing):
    key = fit_monitor(exact(readings), prior=PRIOR)
    assert key.missing == missing
    if missing:
        for ask in (lambda: key.loss_kg_ha(3.0), lambda: key.reading_for(40.0), lambda: key.table([3.0], [40.0])):
            with pytest.raises(InputError) as error:
                ask()
            assert missing[0] in error.value.mend
    else:
        assert key.loss_kg_ha(2.5).low > 0


def test_a_key_answers_where_it_was_tried_and_flags_the_edge():
    assert KEY.valid == (2.0, 20.0)
    assert KEY.loss_kg_ha(2.0).cautions == ("header not seen",)
    assert KEY.loss_kg_ha(20.0).cautions == ("header not seen",)
    assert KEY.loss_kg_ha(21.9).cautions == ("header not seen", "beyond what was tried")
    assert KEY.loss_kg_ha(1.85).cautions == ("header not seen", "beyond what was tried")
    for reading in (1.8, 22.1, 500.0):
        with pytest.raises(InputError, match="lies beyond the 2 to 20 tried"):
            KEY.loss_kg_ha(reading)
    with pytest.raises(InputError, match="no bar at 0 was tried"):
        KEY.loss_kg_ha(0.0)
    with pytest.raises(InputError, match="lies beyond"):
        KEY.reading_for(5000.0)


def test_loss_and_reading_are_two_ways_along_one_line():
    for reading in (2.5, 6.0, 9.0):
        loss = KEY.loss_kg_ha(reading)
        assert KEY.reading_for(loss.median).median == pytest.approx(reading, rel=1e-6)
        # A bar at which 95 % lie below a loss is the one whose upper end is that loss.
        assert KEY.reading_for(loss.high).low == pytest.approx(reading, rel=1e-6)
    back = KEY.reading_for(40.0)
    assert back.low < back.median < back.high


def test_the_table_leaves_empty_what_was_not_tried():
    table = KEY.table([1.0, 4.0, 10.0, 30.0], [2.0, 40.0, 4000.0])
    assert [row[0] is None for row in table.loss_kg_ha] == [True, False, False, True]
    assert [row[0] is None for row in table.reading_for] == [True, False, True]
    assert table.loss_kg_ha[1][0] == KEY.loss_kg_ha(4.0)
    assert table.reading_for[1][0] == KEY.reading_for(40.0)
    assert table.cautions == ("header not seen",)


def test_every_answer_says_that_the_header_is_not_seen():
    key = fit_monitor(SIX, prior=PRIOR)
    answers = [key.cautions, key.loss_kg_ha(4.0).cautions, key.table([4.0], [40.0]).cautions]
    assert all(c[0] == "header not seen" for c in answers)
    assert all("shared error left out" in c for c in answers)
    assert isinstance(key.loss_kg_ha(4.0), Range)


def test_the_shared_error_widens_what_is_told():
    wide = fit_monitor(SIX, prior=PRIOR, scale_sd=0.3)
    assert wide.slope == KEY.slope
    near, far = (math.log(k.loss_kg_ha(6.0).high / k.loss_kg_ha(6.0).low) for k in (KEY, wide))
    # Quadrature of normals with 1.645 sds either side.
    assert far == pytest.approx(math.hypot(near, 2 * 1.645 * 0.3), rel=0.05)


# --- a bar at 0 and coarse bars -----------------------------------------------------------------------------------


def zero(grams: float, step: float = 1.0) -> Pair:
    return Pair(0.0, pans(grams, grams), "area", step=step)


def test_a_bar_at_zero_is_known_to_half_a_step():
    stand = stands(1, zero(0.5), "area", None)
    assert 0 < stand.places.min() < stand.places.max() < 0.5
    assert stand.places.mean() == pytest.approx(0.25)
    two = stands(1, replace(zero(0.5), reading=2.0), "area", None)
    assert 1.5 < two.places.min() < two.places.max() < 2.5


def test_a_bar_at_zero_informs_the_low_end_and_only_answers_once_tried():
    coarse = [replace(p, step=1.0) for p in SIX]
    without = fit_monitor(coarse, prior=PRIOR, scale_sd=0.0)
    quiet = fit_monitor([*coarse, zero(0.3), zero(0.2)], prior=PRIOR, scale_sd=0.0)
    loud = fit_monitor([*coarse, zero(12.0), zero(14.0)], prior=PRIOR, scale_sd=0.0)
    # Much seed while the bar stood at 0: the line is flatter at the low end, or the bar is poor.
    assert loud.slope.median < without.slope.median - 0.05
    assert loud.loss_kg_ha(2.0).median > quiet.loss_kg_ha(2.0).median
    found = quiet.loss_kg_ha(0.0)
    assert found.cautions == ("header not seen", "bar at 0")
    assert found.high < quiet.loss_kg_ha(3.0).median
    assert quiet.table([0.0, 4.0], [40.0]).loss_kg_ha[0][0] == found
    assert without.table([0.0, 4.0], [40.0]).loss_kg_ha[0][0] is None
    # Zeros are no span: four of them alone claim nothing.
    assert len(fit_monitor([zero(0.3)] * 4, prior=PRIOR).missing) == 2


def test_a_coarse_bar_leaves_its_own_loss_more_open():
    fine = fit_monitor([replace(p, step=0.01) for p in SIX], prior=PRIOR, scale_sd=0.0).loss_kg_ha(3.0)
    coarse = fit_monitor([replace(p, step=2.0) for p in SIX], prior=PRIOR, scale_sd=0.0).loss_kg_ha(3.0)
    none = KEY.loss_kg_ha(3.0)
    assert math.log(fine.high / fine.low) == pytest.approx(math.log(none.high / none.low), rel=0.02)
    assert math.log(coarse.high / coarse.low) > 1.1 * math.log(fine.high / fine.low)


# --- properties ---------------------------------------------------------------------------------------------------


@given(
    st.lists(st.tuples(st.floats(0.05, 400.0), st.floats(0.3, 2000.0)), min_size=1, max_size=6),
    st.sampled_from(["time", "area"]),
)
@settings(max_examples=15, deadline=None)
def test_any_pairs_give_ordered_ranges_or_say_what_is_missing(rows, per):
    pairs = [Pair(r, normal(loss, 0.3), per, 5.0, 9.0, 0.01) for r, loss in rows]
    key = fit_monitor(pairs, prior=PRIOR)
    assert key.pairs == len(rows)
    for found in (key.slope, key.scatter):
        assert found.low <= found.median <= found.high
    spans = max(r for r, _ in rows) >= 1.5 * min(r for r, _ in rows)
    assert (not key.missing) == (len(rows) >= LEAST_PAIRS and spans)
    if not key.missing:
        low, high = key.readings_tried(5.0)
        loss = key.loss_kg_ha(math.sqrt(low * high), 5.0)
        assert 0.0 < loss.low < loss.median < loss.high < math.inf


@given(st.floats(0.2, 5.0))
@settings(max_examples=4, deadline=None)
def test_the_unit_of_the_bar_does_not_matter(unit):
    other = fit_monitor([replace(p, reading=p.reading * unit) for p in SIX], prior=PRIOR, scale_sd=0.0)
    one, two = KEY.loss_kg_ha(6.0), other.loss_kg_ha(6.0 * unit)
    assert two.median == pytest.approx(one.median, rel=1e-6)
    assert two.high == pytest.approx(one.high, rel=1e-6)


# --- refusals -----------------------------------------------------------------------------------------------------

TIME = Pair(3.0, normal(40.0, 0.2), "time", 5.0, 9.0)


@pytest.mark.parametrize(
    ("pairs", "more", "field"),
    [
        ([], {}, "pairs"),
        ([replace(SIX[0], per="second")], {}, "pair 1, per"),
        ([SIX[0], TIME], {}, "pair 2, per"),
        ([replace(SIX[0], reading=-1.0)], {}, "pair 1, reading"),
        ([SIX[0], replace(SIX[1], reading=math.nan)], {}, "pair 2, reading"),
        ([replace(SIX[0], reading=0.0)], {}, "pair 1, reading"),
        ([replace(SIX[0], step=0.0)], {}, "pair 1, step"),
        ([replace(TIME, speed_kmh=None)], {}, "pair 1, speed_kmh"),
        ([replace(TIME, width_m=None)], {}, "pair 1, width_m"),
        ([replace(TIME, speed_kmh=0.0)], {}, "pair 1, speed_kmh"),
        ([TIME, replace(TIME, width_m=12.0)], {}, "pair 2, width_m"),
        (SIX, {"prior": Prior(-1.0)}, "prior median"),
        (SIX, {"scale_sd": -0.1}, "scale_sd"),
    ],
)
def test_what_no_bar_can_show_is_refused_by_name(pairs, more, field):
    with pytest.raises(InputError) as error:
        fit_monitor(pairs, **({"prior": PRIOR} | more))
    assert error.value.field == field


def test_questions_a_key_cannot_answer_are_refused_by_name():
    key = fit_monitor([replace(TIME, reading=r) for r in (2.0, 3.0, 4.0, 6.0)], prior=PRIOR)
    for ask, field in (
        (lambda: key.loss_kg_ha(3.0), "speed_kmh"),
        (lambda: key.reading_for(40.0), "speed_kmh"),
        (lambda: key.loss_kg_ha(3.0, 0.0), "speed_kmh"),
        (lambda: key.loss_kg_ha(-3.0, 5.0), "reading"),
        (lambda: key.reading_for(0.0, 5.0), "loss_kg_ha"),
        (lambda: key.table([3.0], [40.0]), "speed_kmh"),
    ):
        with pytest.raises(InputError) as error:
            ask()
        assert error.value.field == field
