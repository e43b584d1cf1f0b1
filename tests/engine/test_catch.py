"""From reading to seed mass: published moisture examples, direct geometry, and the arithmetic of parts."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from chaffinch.engine import catch as seed
from chaffinch.engine.catch import PACKING, Reading, heads_as_reading, read, together
from chaffinch.errors import InputError

MOISTURE = st.floats(0.0, 60.0)
MASS = st.floats(0.0, 5e4)
EXACT = pytest.approx

# Shrink of delivered weight. The formula is printed in Canadian Grain Commission Order 2017-01 (2017); the numbers are
# derived from it two ways and shown to 0.0001 (records mo01a to mo01e of the reference).
SHRINK = {
    "canola": (12.5, 10.0, 2.7778),
    "wheat": (17.0, 14.5, 2.9240),
    "barley": (15.0, 13.5, 1.7341),
    "soybean": (16.0, 14.0, 2.3256),
    "corn": (20.0, 15.5, 5.3254),
}


@pytest.mark.parametrize(("before", "after", "shrink"), SHRINK.values(), ids=SHRINK.keys())
def test_shrink_of_the_grain_commission_order(before, after, shrink):
    assert seed.shrink_pct(before, after) == EXACT(shrink, abs=0.00005)
    # The same through the dry-matter balance: what is left of 100 g.
    assert seed.to_market_moisture_g(100.0, before, after) == EXACT(100.0 - shrink, abs=0.00005)


def test_drying_800_kg_from_28_to_12_percent():
    # Question printed: University of Kentucky BAE 549, Moisture Content, after Henderson et al. 1997; answers derived
    # (record mo03), shown to 0.001 kg.
    final = seed.to_market_moisture_g(800e3, 28.0, 12.0) / 1e3

    assert final == EXACT(654.545, abs=0.0006)
    assert 800.0 - final == EXACT(145.455, abs=0.0006)


def test_wetting_500_kg_from_2_percent_dry_basis_to_15_wet_basis():
    # Same source, record mo04: the first moisture is on the dry basis.
    before = seed.wet_from_dry_basis_pct(2.0)
    dry = 500.0 * (100.0 - before) / 100.0
    final = seed.to_market_moisture_g(500e3, before, 15.0) / 1e3

    assert dry == EXACT(490.196, abs=0.0006)
    assert final - 500.0 == EXACT(76.701, abs=0.0006)


@given(st.floats(0.0, 99.0))
def test_wet_and_dry_basis_undo_each_other(wet):
    assert seed.wet_from_dry_basis_pct(seed.dry_from_wet_basis_pct(wet)) == EXACT(wet, rel=1e-9, abs=1e-9)


@given(MASS, MOISTURE, MOISTURE)
def test_market_moisture_keeps_the_dry_matter(mass, before, market):
    after = seed.to_market_moisture_g(mass, before, market)

    assert after * (100.0 - market) == EXACT(mass * (100.0 - before), rel=1e-12)


@given(MASS, MOISTURE, MOISTURE)
def test_shrink_is_what_market_moisture_takes_off(mass, before, market):
    left = mass * (1.0 - seed.shrink_pct(before, market) / 100.0)

    assert seed.to_market_moisture_g(mass, before, market) == EXACT(left, rel=1e-9, abs=1e-9)


@pytest.mark.parametrize("moisture", [100.0, 130.0, -1.0, math.nan])
def test_no_grain_has_such_a_moisture(moisture):
    with pytest.raises(InputError, match="moisture_pct"):
        seed.to_market_moisture_g(10.0, moisture, 10.0)


def test_a_flat_layer_weighs_what_its_spheres_weigh():
    # Spheres set in a hexagonal layer: each takes the cell d² · √3/2, so the covered share is π/(2√3) = 0.9069.
    d_mm, density, across, along = 2.0, 1.1, 200, 230
    area_cm2 = across * along * (d_mm / 10.0) ** 2 * math.sqrt(3.0) / 2.0
    one_g = density * math.pi / 6.0 * (d_mm / 10.0) ** 3

    layer = seed.mass_of_flat_layer_g(area_cm2, d_mm, density, packing=math.pi / (2.0 * math.sqrt(3.0)))

    assert layer == EXACT(across * along * one_g, rel=1e-12)


def test_a_flat_layer_dropped_at_random_has_the_packing_it_covers():
    # Discs dropped one after another where they fit, until they cover 0.45 of the area: nothing regular is assumed.
    rng = np.random.default_rng(4)
    d_cm, side = 0.4, 10.0
    middles = np.empty((0, 2))
    while len(middles) * math.pi * d_cm**2 / 4 < 0.45 * side**2:
        new = rng.random(2) * side
        gap = np.abs(middles - new)
        gap = np.minimum(gap, side - gap)  # the edges meet, so that no disc hangs over
        if not len(middles) or np.square(gap).sum(axis=1).min() >= d_cm**2:
            middles = np.vstack([middles, new])
    covered = len(middles) * math.pi * d_cm**2 / 4 / side**2
    by_hand = len(middles) * 1.2 * math.pi / 6 * d_cm**3

    assert seed.mass_of_flat_layer_g(side**2, 10 * d_cm, 1.2, packing=covered) == EXACT(by_hand, rel=1e-12)


def test_packing_lies_below_the_closest_layer():
    closest = math.pi / (2.0 * math.sqrt(3.0))

    assert closest > PACKING + seed.PACKING_SD


@given(st.floats(0.0, 5e3), st.floats(0.1, 2e3))
def test_seeds_per_area_and_loss_undo_each_other(loss, tkw):
    assert seed.loss_of_seeds_kg_ha(seed.seeds_per_m2(loss, tkw), tkw) == EXACT(loss, rel=1e-12)


def test_seeds_per_area_by_hand():
    # 1 kg/ha is 0.1 g/m²; canola of 3.5 g per thousand: 0.1/0.0035 seeds.
    assert seed.seeds_per_m2(1.0, 3.5) == EXACT(0.1 / 0.0035)
    assert seed.mass_of_count_g(2000, 3.5) == EXACT(7.0)
    assert seed.mass_of_volume_g(100.0, 65.0) == EXACT(65.0)  # 65 kg/hL is 0.65 g/mL


def test_a_subsample_stands_for_the_whole_catch():
    whole = read("weighed", 12.5, 0.1, tkw_g=3.5)
    fifth = read("weighed", 2.5, 0.1, tkw_g=3.5, subsample=0.2)

    assert fifth.mass_g == EXACT(whole.mass_g)
    # Half a step of the scale is five times as much of the whole; so is every seed that happened to be in it.
    assert fifth.step_g == EXACT(5 * whole.step_g)
    assert fifth.seed_g == EXACT(5 * whole.seed_g)


def test_counting_a_subsample_keeps_the_count_and_its_noise():
    fifth = read("counted", 40, 1.0, tkw_g=3.5, subsample=0.2)

    assert fifth.count == 40
    assert fifth.mass_g == EXACT(200 * 0.0035)
    assert fifth.seeds_per_g * fifth.mass_g == EXACT(40)
    assert fifth.step_g == 0.0


def test_clean_share_and_moisture_scale_mass_and_step_alike():
    plain = read("weighed", 20.0, 0.5, tkw_g=40.0)
    dirty = read("weighed", 20.0, 0.5, tkw_g=40.0, clean=0.8, moisture_factor=0.95)

    assert dirty.mass_g / plain.mass_g == EXACT(0.76)
    assert dirty.step_g / plain.step_g == EXACT(0.76)
    assert dirty.seed_g == plain.seed_g


SHARED_ERROR = {
    # design §4.1: the log-sd each way of reading brings to all its catches
    ("weighed", False): 0.0,
    ("measured", False): 0.04,
    ("counted", False): 0.08,
    ("counted", True): 0.02,
    ("flat", False): 0.12,
}


@pytest.mark.parametrize(("how", "sd"), SHARED_ERROR.items(), ids=[f"{k}-{m}" for k, m in SHARED_ERROR])
def test_each_way_of_reading_has_the_designs_shared_error(how, sd):
    kind, own_tkw = how

    assert read(kind, 10, 1.0, tkw_g=40.0, tkw_measured=own_tkw).scale_sd == sd


REFUSED = {
    "below zero": ({"value": -0.1}, "amount"),
    "not a number": ({"value": math.nan}, "amount"),
    "no step": ({"step": 0.0}, "step"),
    "no subsample": ({"subsample": 0.0}, "subsample"),
    "more than all": ({"subsample": 1.01}, "subsample"),
    "percent for a share": ({"clean": 95.0}, "clean"),
    "weightless seed": ({"tkw_g": 0.0}, "tkw_g"),
    "half a seed counted": ({"kind": "counted", "value": 3.5}, "amount"),
    "a clean share of a count": ({"kind": "counted", "clean": 0.9}, "clean"),
    "no such way": ({"kind": "guessed"}, "amount"),
}


@pytest.mark.parametrize(("change", "field"), REFUSED.values(), ids=REFUSED.keys())
def test_refuses_what_is_no_reading(change, field):
    given_ = {"kind": "weighed", "value": 12.0, "step": 0.1, "tkw_g": 3.5} | change
    with pytest.raises(InputError) as caught:
        read(given_.pop("kind"), given_.pop("value"), given_.pop("step"), **given_)

    assert caught.value.field == field


def test_two_counts_of_one_catch_stay_a_count():
    loose, rubbed = (read("counted", n, 1.0, tkw_g=40.0) for n in (30, 12))

    whole = together([loose, rubbed], unthreshed=[False, True])

    assert whole.count == 42
    assert whole.mass_g == EXACT(1.68)
    assert whole.unthreshed_g == EXACT(0.48)


def test_a_count_and_a_weight_add_up_as_mass():
    loose, rubbed = read("weighed", 5.0, 0.1, tkw_g=40.0), read("counted", 25, 1.0, tkw_g=40.0)

    whole = together([loose, rubbed], unthreshed=[False, True])

    assert whole.count is None
    assert whole.mass_g == EXACT(6.0)
    assert whole.step_g == EXACT(0.1)  # a count is exact and adds nothing
    assert whole.seed_g == EXACT(0.04)
    # 1 g of 6 g carries the table TKW's 8 %.
    assert whole.scale_sd == EXACT(0.08 / 6.0)


def test_counts_of_unlike_parts_become_a_mass_known_to_one_seed():
    loose = read("counted", 30, 1.0, tkw_g=40.0, subsample=0.5)
    rubbed = read("counted", 12, 1.0, tkw_g=40.0)

    whole = together([loose, rubbed], unthreshed=[False, True])

    assert whole.count is None
    assert whole.mass_g == EXACT(2.4 + 0.48)
    assert whole.step_g == EXACT(0.04)
    assert whole.scale_sd == 0.08


def test_noise_of_parts_adds_up_as_variances():
    # Heads fall whole: 3 heads of 30 seeds (1.2 g each) beside 5 g of loose seed. Variance of a sum of w·Poisson is
    # Σ w·mass; the particle mass of the whole must give the same.
    loose, heads = read("weighed", 5.0, 0.1, tkw_g=40.0), heads_as_reading(3, 30.0, tkw_g=40.0)

    whole = together([loose, heads], unthreshed=[False, True])

    assert whole.mass_g == EXACT(8.6)
    assert whole.seed_g * whole.mass_g == EXACT(0.04 * 5.0 + 1.2 * 3.6)
    assert whole.unthreshed_g == EXACT(3.6)


def test_two_empty_parts_make_an_empty_catch():
    parts = [read("weighed", 0.0, 0.1, tkw_g=3.5), read("counted", 0, 1.0, tkw_g=3.5)]

    whole = together(parts, unthreshed=[False, True])

    assert whole.mass_g == 0.0
    assert whole.seed_g == EXACT(0.0035)
    assert math.isfinite(whole.scale_sd)


def test_one_part_comes_back_untouched():
    only = read("weighed", 5.0, 0.1, tkw_g=40.0)

    assert together([only], unthreshed=[False]) is only


@pytest.mark.parametrize("heads", [-1, 2.5])
def test_heads_are_counted_whole(heads):
    with pytest.raises(InputError, match="heads"):
        heads_as_reading(heads, 30.0, tkw_g=40.0)


@given(st.floats(0.0, 5e4), st.floats(1e-3, 100.0), st.floats(0.1, 2e3), st.floats(0.01, 1.0))
def test_any_weighing_gives_a_usable_reading(grams, step, tkw, part):
    reading = read("weighed", grams, step, tkw_g=tkw, subsample=part)

    assert isinstance(reading, Reading)
    assert reading.mass_g >= 0.0
    assert min(reading.step_g, reading.seed_g) > 0.0
