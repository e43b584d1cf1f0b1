"""What pan, scale and eye can see: inverses, the resolving step, and the best way to read a catch."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from made_catches import DESIGN_PAN, FT2_M2

from chaffinch.engine.catch import mass_of_count_g, mass_of_volume_g
from chaffinch.engine.kit import best_way, in_pan, resolves, smallest_loss_kg_ha, ways_of_reading
from chaffinch.errors import InputError

LOSS, AREA, TKW, TEST_WEIGHT = st.floats(0.01, 5e3), st.floats(1e-3, 50.0), st.floats(0.1, 2e3), st.floats(20.0, 90.0)


@given(LOSS, AREA, TKW, TEST_WEIGHT)
def test_what_lies_in_the_pan_reads_back_as_the_loss(loss, area, tkw, test_weight):
    pan = in_pan(loss, area, tkw, test_weight)

    assert pan.mass_g / (0.1 * area) == pytest.approx(loss)
    assert mass_of_volume_g(pan.volume_ml, test_weight) == pytest.approx(pan.mass_g)
    assert mass_of_count_g(pan.seeds, tkw) == pytest.approx(pan.mass_g)


def test_a_bushel_of_canola_in_four_square_feet():
    # 1 bu/ac of 50 lb is 56.04 kg/ha; at a width ratio of 6 over 4 ft² (0.3716 m²) 12.5 g, 19.2 mL at 65 kg/hL.
    pan = in_pan(50 * 0.45359237 / 0.40468564224, DESIGN_PAN.machine_m2, 3.5, 65.0)

    assert pan.loss_kg_ha == pytest.approx(56.04, abs=0.01)
    assert pan.mass_g == pytest.approx(12.496, abs=0.002)
    assert pan.volume_ml == pytest.approx(19.22, abs=0.01)
    assert pan.seeds == pytest.approx(3570, abs=1)


@given(LOSS, AREA, st.floats(1e-3, 100.0))
def test_half_a_step_may_be_a_quarter_of_the_limit(limit, area, step):
    fine = resolves(step, area, limit)

    assert fine == (step / 2 / (0.1 * area) <= limit / 4)
    # The threshold itself, from either side: step = limit · area / 20.
    assert resolves(limit * area / 20 * (1 - 1e-9), area, limit)
    assert not resolves(limit * area / 20 * (1 + 1e-9), area, limit)


def test_smallest_loss_by_hand():
    # A 0.1 g scale over 1 m²: half a step is 0.05 g, 0.5 kg/ha.
    assert smallest_loss_kg_ha(0.1, 1.0) == pytest.approx(0.5)


def ways(loss, area, *, tkw_g, tkw_measured=False, **steps):
    per_unit = {"weighed": 1.0, "measured": 0.65, "flat": 0.12}
    return ways_of_reading(loss, area, tkw_g=tkw_g, tkw_measured=tkw_measured, steps=steps, gram_per_unit=per_unit)


def test_canola_is_weighed():
    found = best_way(ways(56.0, 4 * FT2_M2, tkw_g=3.5, weighed=0.1, counted=1.0, measured=5.0))

    # 2.1 g are 595 seeds: nobody counts them, and the scale's 0.03 g of rounding is 1.4 %.
    assert found.kind == "weighed"
    assert found.error == pytest.approx(0.1 / math.sqrt(12) / 2.081, rel=1e-3)


def test_a_few_faba_beans_are_counted():
    # 100 kg/ha over 4 ft²: 3.7 g, 7 beans of 0.53 g. A kitchen scale of 1 g cannot tell; counting can.
    found = best_way(ways(100.0, 4 * FT2_M2, tkw_g=530.0, weighed=1.0, counted=1.0))

    assert found.kind == "counted"
    assert found.amount == pytest.approx(7.01, abs=0.01)


def test_a_short_count_is_preferred_when_it_is_as_good():
    # Own TKW: 2 % beside the scale's 1.9 %, a few beans either way.
    found = best_way(ways(100.0, 4 * FT2_M2, tkw_g=530.0, tkw_measured=True, weighed=0.25, counted=1.0))

    assert found.kind == "counted"
    assert best_way(ways(100.0, 4 * FT2_M2, tkw_g=530.0, weighed=0.1, counted=1.0)).kind == "weighed"


@pytest.mark.parametrize(("tkw_g", "kind"), [(4.0, "weighed"), (40.0, "counted")])
def test_a_long_count_gives_way_to_a_scale_half_as_good(tkw_g, kind):
    # 4 g: 1,000 seeds or 100. The scale errs by 3.6 %, a count with an own TKW by 2 %.
    assert best_way(ways(40.0, 1.0, tkw_g=tkw_g, tkw_measured=True, weighed=0.5, counted=1.0)).kind == kind


def test_only_coarse_ways_are_still_compared():
    found = best_way(ways(5.0, 0.1, tkw_g=40.0, weighed=5.0, measured=50.0))

    assert found.kind == "weighed"
    assert not found.resolves


@given(LOSS, AREA, TKW, st.floats(1e-3, 100.0), st.floats(0.1, 100.0), st.booleans())
def test_ways_come_best_first_and_the_best_is_one_of_them(loss, area, tkw, step, cup, own):
    found = ways(loss, area, tkw_g=tkw, tkw_measured=own, weighed=step, measured=cup, counted=1.0, flat=1.0)

    errors = [way.error for way in found]
    assert errors == sorted(errors)
    assert best_way(found) in found
    for way in found:
        assert way.resolves == (way.smallest_kg_ha <= loss / 4)


def test_the_error_of_a_rounded_weight_is_that_of_rounding():
    # Uniform masses read on a 0.5 g scale: the spread of reading − mass, by play.
    mass = 4.0 + np.random.default_rng(51).random(400_000)
    spread = np.std(np.round(mass / 0.5) * 0.5 - mass)
    (way,) = ways(45.0, 1.0, tkw_g=40.0, weighed=0.5)

    # A standard deviation from n draws: 1/√(2n) and less.
    assert way.error * 4.5 == pytest.approx(spread, rel=0.003)


@pytest.mark.parametrize(
    ("ask", "field"),
    [
        (lambda: ways(50.0, 1.0, tkw_g=3.5), "steps"),
        (lambda: ways(50.0, 1.0, tkw_g=3.5, guessed=1.0), "steps"),
        (lambda: ways(50.0, 1.0, tkw_g=3.5, weighed=0.0), "step"),
        (lambda: ways(0.0, 1.0, tkw_g=3.5, weighed=0.1), "loss"),
        (lambda: ways(50.0, 0.0, tkw_g=3.5, weighed=0.1), "area_m2"),
        (lambda: ways(50.0, 1.0, tkw_g=0.0, counted=1.0), "tkw_g"),
        (lambda: in_pan(0.0, 1.0, 3.5, 65.0), "loss"),
        (lambda: in_pan(50.0, 1.0, 3.5, 0.0), "test_weight_kg_hl"),
        (lambda: resolves(0.1, 1.0, 0.0), "limit"),
    ],
)
def test_refuses_what_no_kit_can_read(ask, field):
    with pytest.raises(InputError) as caught:
        ask()

    assert caught.value.field.startswith(field)
