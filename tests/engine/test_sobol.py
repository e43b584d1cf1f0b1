"""The points are scipy's, but for the shift."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import qmc

from chaffinch.engine.sampling.sobol import BITS, MAX_DIMENSIONS, sobol

# scipy draws numbers of points that are no power of two with a warning; these are all powers of two.
COUNT = 4096


def unshifted(points: np.ndarray) -> np.ndarray:
    """Integers of the points with the digital shift taken off: the first point of the sequence is 0."""
    whole = (points * 2.0**BITS).astype(np.int64)
    return whole ^ whole[0]


@pytest.mark.parametrize("seed", [0, 1, 20251124, -3, 2**70])
@pytest.mark.parametrize("dimensions", [1, 2, 7, MAX_DIMENSIONS])
def test_the_points_are_those_of_scipy(dimensions, seed):
    theirs = qmc.Sobol(dimensions, scramble=False, bits=BITS).random(COUNT)

    mine = sobol(COUNT, dimensions, seed=seed)

    assert np.array_equal(unshifted(mine), (theirs * 2.0**BITS).astype(np.int64))


@pytest.mark.parametrize("first", [1, 5, MAX_DIMENSIONS - 3])
def test_later_coordinates_are_later_coordinates(first):
    theirs = qmc.Sobol(MAX_DIMENSIONS, scramble=False, bits=BITS).random(COUNT)[:, first : first + 3]

    mine = sobol(COUNT, 3, seed=4, first=first)

    assert np.array_equal(unshifted(mine), (theirs * 2.0**BITS).astype(np.int64))
    # The shift belongs to the coordinate, so two sets used together fit each other.
    assert np.array_equal(mine, sobol(COUNT, first + 3, seed=4)[:, first:])


def test_fewer_points_are_the_first_ones():
    assert np.array_equal(sobol(100, 4, seed=9), sobol(1024, 4, seed=9)[:100])


def test_the_same_seed_gives_the_same_points_and_another_seed_others():
    once = sobol(256, 3, seed=1)

    assert np.array_equal(once, sobol(256, 3, seed=1))
    # The shifts of neighbouring seeds have nothing in common.
    assert np.abs(once - sobol(256, 3, seed=2)).min(axis=0).max() > 0.0
    assert abs(np.corrcoef(once[:, 0], sobol(256, 3, seed=2)[:, 0])[0, 1]) < 0.9


def test_points_stay_off_the_edges():
    points = sobol(1 << 14, MAX_DIMENSIONS, seed=7)

    assert points.min() > 0.0
    assert points.max() < 1.0


@pytest.mark.parametrize("seed", range(5))
def test_a_power_of_two_fills_every_cell_of_every_coordinate_once(seed):
    points = sobol(1024, 6, seed=seed)

    for column in points.T:
        assert np.array_equal(np.sort((column * 1024).astype(int)), np.arange(1024))


@pytest.mark.parametrize(("count", "dimensions", "first"), [(0, 1, 0), (8, 0, 0), (8, 65, 0), (8, 2, 63), (8, 1, -1)])
def test_refuses_points_it_does_not_have(count, dimensions, first):
    with pytest.raises(ValueError, match=r"count|coordinates"):
        sobol(count, dimensions, seed=1, first=first)
