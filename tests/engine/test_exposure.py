"""Field areas of a catch: the design's table, thrown seed, and profiles integrated by hand."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from chaffinch.engine import exposure as ex
from chaffinch.errors import InputError

A, CUT, DROP, LENGTH = 0.5, 12.0, 2.0, 0.8

# design §4.2, row by row: standing, header, machine, leak
TABLE = {
    "standing crop": (ex.in_standing_crop(A), (A, 0, 0, 0)),
    "header strip": (ex.in_header_strip(A), (A, A, 0, 0)),
    "discharge": (ex.in_discharge(A, CUT, DROP), (0, 0, A * CUT / DROP, 0)),
    "as wide": (ex.in_discharge(DROP * LENGTH, CUT, DROP, pan_width_m=DROP), (0, 0, LENGTH * CUT, 0)),
    "wider": (ex.in_discharge(2.6 * LENGTH, CUT, DROP, pan_width_m=2.6), (0, 0, LENGTH * CUT, 0)),
    "behind": (ex.behind(A, CUT, DROP), (A, A, A * CUT / DROP, A * CUT / DROP)),
    "across": (ex.across_whole_cut(A), (A, A, A, A)),
    "windrow": (ex.in_windrow(LENGTH, CUT), (0, 0, LENGTH * CUT, 0)),
    # 30 s at 7.2 km/h are 60 m.
    "leak": (ex.leaking(30.0, 7.2, CUT), (0, 0, 0, 60.0 * CUT)),
}


@pytest.mark.parametrize(("seen", "areas"), TABLE.values(), ids=TABLE.keys())
def test_field_areas_of_the_designs_table(seen, areas):
    found = tuple(seen.area_m2(source) for source in ("standing", "header", "machine", "leak"))

    assert found == pytest.approx(areas)


def test_unevenness_and_width_errors_are_the_designs():
    # design §4.3 and §4.1; 0.30 across the whole cut is ours, between its neighbours.
    taken = {name: seen.taken for name, (seen, _) in TABLE.items()}

    assert ex.VARIATION == {"spanning": 0.20, "narrow": 0.40, "spread": 0.60, "ground": 0.50, "across": 0.30}
    assert ex.WIDTH_SD == {"guessed": 0.08, "taped": 0.02}
    assert taken == {
        "standing crop": "ground",
        "header strip": "ground",
        "discharge": "narrow",
        "as wide": "spanning",
        "wider": "spanning",
        "behind": "ground",
        "across": "across",
        "windrow": "spanning",
        "leak": "across",
    }
    assert ex.in_discharge(A, CUT, DROP, spreading=True).taken == "spread"
    assert ex.behind(A, CUT, DROP, spreading=True).taken == "spread"


def test_thrown_seed_falls_into_the_pan_as_the_width_ratio_says():
    # Seed lost over a cut of 12 m is dropped evenly over 2 m: throw it and count what lands on a pan.
    rng = np.random.default_rng(5)
    seeds_m2, run_m = 200.0, 40.0
    n = rng.poisson(seeds_m2 * CUT * run_m)
    x, y = rng.random(n) * DROP, rng.random(n) * run_m
    side = math.sqrt(A)
    caught = np.count_nonzero((np.abs(x - 0.9) < side / 2) & (np.abs(y - 20.0) < side / 2))

    expected = seeds_m2 * ex.in_discharge(A, CUT, DROP).machine_m2

    # Poisson: four standard deviations of the count.
    assert caught == pytest.approx(expected, abs=4 * math.sqrt(expected))


def test_a_spread_wider_than_the_cut_thins_the_discharge():
    assert ex.in_discharge(A, 8.0, 10.0, spreading=True).machine_m2 == pytest.approx(0.8 * A)


def test_only_a_pan_within_the_discharge_leans_on_the_drop_width():
    assert ex.in_discharge(A, CUT, DROP).by_width
    assert ex.behind(A, CUT, DROP).by_width
    assert not ex.in_discharge(DROP * LENGTH, CUT, DROP, pan_width_m=DROP).by_width
    assert not ex.in_windrow(LENGTH, CUT).by_width
    assert not ex.across_whole_cut(A).by_width


def test_a_pan_by_area_alone_must_fit_in_the_discharge():
    with pytest.raises(InputError, match="width across travel"):
        ex.in_discharge(4.1, CUT, 2.0)


@pytest.mark.parametrize("wrong", [0.0, -1.0, math.nan, math.inf])
@pytest.mark.parametrize(
    "taken",
    [
        ex.in_standing_crop,
        ex.in_header_strip,
        lambda x: ex.in_discharge(x, CUT, DROP),
        lambda x: ex.in_discharge(A, x, DROP),
        lambda x: ex.in_discharge(A, CUT, x),
        lambda x: ex.in_discharge(A, CUT, DROP, pan_width_m=x),
        lambda x: ex.behind(x, CUT, DROP),
        ex.across_whole_cut,
        lambda x: ex.in_windrow(x, CUT),
        lambda x: ex.leaking(x, 5.0, CUT),
        lambda x: ex.leaking(5.0, x, CUT),
    ],
)
def test_no_size_may_be_nothing_or_less(taken, wrong):
    with pytest.raises(InputError):
        taken(wrong)


def test_profile_lengths_are_the_integral_of_the_line_through_the_pans():
    offsets, width = (0.7, -1.1, 0.1, 1.6), 4.0
    density = np.array([3.0, 5.0, 11.0, 2.0])
    lengths = ex.profile_lengths_m(offsets, width)

    x = np.linspace(-width / 2, width / 2, 400_001)
    order = np.argsort(offsets)
    line = np.interp(x, [-2.0, *np.array(offsets)[order], 2.0], [0.0, *density[order], 0.0])

    # The knots fall between the points of the fine grid: second order in its step.
    assert np.dot(lengths, density) == pytest.approx(np.trapezoid(line, x), rel=1e-8)


@given(st.lists(st.integers(-99, 99), min_size=2, max_size=9, unique=True), st.floats(0.1, 30.0))
def test_profile_lengths_follow_their_pans_and_stay_within_the_width(percent, width):
    half = width / 2
    offsets = [p / 100 * half for p in percent]
    lengths = ex.profile_lengths_m(offsets, width)
    turned = ex.profile_lengths_m(offsets[::-1], width)

    assert lengths == turned[::-1]
    assert min(lengths) > 0.0
    assert half <= sum(lengths) * (1 + 1e-12)
    assert sum(lengths) <= width * (1 + 1e-12)


@pytest.mark.parametrize(
    "offsets", [[], [0.0], [0.3, 0.3], [0.0, 2.0], [0.0, -2.5]], ids=["none", "one", "twice", "edge", "out"]
)
def test_refuses_what_makes_no_profile(offsets):
    with pytest.raises(InputError, match="offset"):
        ex.profile_lengths_m(offsets, 4.0)


def test_equal_pans_of_a_profile_average_out():
    seen = ex.across_profile(CUT, [0.25] * 4)

    assert seen.variation_factor == pytest.approx(0.5)
    assert seen.machine_m2 == CUT
    assert ex.across_profile(CUT, [1.0, 0.0]).variation_factor == 1.0


@given(st.floats(1e-3, 50.0), st.floats(0.5, 20.0), st.floats(0.2, 25.0), st.floats(0.01, 30.0), st.booleans())
def test_a_pan_never_stands_for_more_field_than_it_ran_over(area, cut, drop, width, spreading):
    seen = ex.in_discharge(area, cut, drop, pan_width_m=width, spreading=spreading)

    # As wide as the discharge: its length times the cut; narrower: less than that by the share it covers.
    assert seen.machine_m2 == pytest.approx(area / width * cut * min(1.0, width / drop), rel=1e-12)
