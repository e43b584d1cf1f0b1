"""Evenly scattered points for the sampler: a Sobol sequence, shifted by a seed.

``scipy.stats.qmc`` offers the same points, but importing ``scipy.stats`` alone takes longer than a whole
``chaffinch check`` may (see ``bench/cold_start.py``), so the sequence is generated here from the published
direction numbers and compared with scipy's, point by point, in the tests.

Source: S. Joe and F. Y. Kuo (2008), "Constructing Sobol sequences with better two-dimensional projections",
SIAM J. Sci. Comput. 30(5), 2635-2654; direction numbers new-joe-kuo-6 (as carried by scipy 1.17).
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

BITS: Final = 30
"""Binary digits per coordinate; 2**30 points before the sequence repeats."""

# Primitive polynomial (as an integer) and initial odd numbers m_1..m_s for each dimension.
_DIRECTIONS: Final[tuple[tuple[int, tuple[int, ...]], ...]] = (
    (1, (1,)),
    (3, (1,)),
    (7, (1, 3)),
    (11, (1, 3, 1)),
    (13, (1, 1, 1)),
    (19, (1, 1, 3, 3)),
    (25, (1, 3, 5, 13)),
    (37, (1, 1, 5, 5, 17)),
    (41, (1, 1, 5, 5, 5)),
    (47, (1, 1, 7, 11, 19)),
    (55, (1, 1, 5, 1, 1)),
    (59, (1, 1, 1, 3, 11)),
    (61, (1, 3, 5, 5, 31)),
    (67, (1, 3, 3, 9, 7, 49)),
    (91, (1, 1, 1, 15, 21, 21)),
    (97, (1, 3, 1, 13, 27, 49)),
    (103, (1, 1, 1, 15, 7, 5)),
    (109, (1, 3, 1, 15, 13, 25)),
    (115, (1, 1, 5, 5, 19, 61)),
    (131, (1, 3, 7, 11, 23, 15, 103)),
    (137, (1, 3, 7, 13, 13, 15, 69)),
    (143, (1, 1, 3, 13, 7, 35, 63)),
    (145, (1, 3, 5, 9, 1, 25, 53)),
    (157, (1, 3, 1, 13, 9, 35, 107)),
    (167, (1, 3, 1, 5, 27, 61, 31)),
    (171, (1, 1, 5, 11, 19, 41, 61)),
    (185, (1, 3, 5, 3, 3, 13, 69)),
    (191, (1, 1, 7, 13, 1, 19, 1)),
    (193, (1, 3, 7, 5, 13, 19, 59)),
    (203, (1, 1, 3, 9, 25, 29, 41)),
    (211, (1, 3, 5, 13, 23, 1, 55)),
    (213, (1, 3, 7, 3, 13, 59, 17)),
    (229, (1, 3, 1, 3, 5, 53, 69)),
    (239, (1, 1, 5, 5, 23, 33, 13)),
    (241, (1, 1, 7, 7, 1, 61, 123)),
    (247, (1, 1, 7, 9, 13, 61, 49)),
    (253, (1, 3, 3, 5, 3, 55, 33)),
    (285, (1, 3, 1, 15, 31, 13, 49, 245)),
    (299, (1, 3, 5, 15, 31, 59, 63, 97)),
    (301, (1, 3, 1, 11, 11, 11, 77, 249)),
    (333, (1, 3, 1, 11, 27, 43, 71, 9)),
    (351, (1, 1, 7, 15, 21, 11, 81, 45)),
    (355, (1, 3, 7, 3, 25, 31, 65, 79)),
    (357, (1, 3, 1, 1, 19, 11, 3, 205)),
    (361, (1, 1, 5, 9, 19, 21, 29, 157)),
    (369, (1, 3, 7, 11, 1, 33, 89, 185)),
    (391, (1, 3, 3, 3, 15, 9, 79, 71)),
    (397, (1, 3, 7, 11, 15, 39, 119, 27)),
    (425, (1, 1, 3, 1, 11, 31, 97, 225)),
    (451, (1, 1, 1, 3, 23, 43, 57, 177)),
    (463, (1, 3, 7, 7, 17, 17, 37, 71)),
    (487, (1, 3, 1, 5, 27, 63, 123, 213)),
    (501, (1, 1, 3, 5, 11, 43, 53, 133)),
    (529, (1, 3, 5, 5, 29, 17, 47, 173, 479)),
    (539, (1, 3, 3, 11, 3, 1, 109, 9, 69)),
    (545, (1, 1, 1, 5, 17, 39, 23, 5, 343)),
    (557, (1, 3, 1, 5, 25, 15, 31, 103, 499)),
    (563, (1, 1, 1, 11, 11, 17, 63, 105, 183)),
    (601, (1, 1, 5, 11, 9, 29, 97, 231, 363)),
    (607, (1, 1, 5, 15, 19, 45, 41, 7, 383)),
    (617, (1, 3, 7, 7, 31, 19, 83, 137, 221)),
    (623, (1, 1, 1, 3, 23, 15, 111, 223, 83)),
    (631, (1, 1, 5, 13, 31, 15, 55, 25, 161)),
    (637, (1, 1, 3, 13, 25, 47, 39, 87, 257)),
)

MAX_DIMENSIONS: Final = len(_DIRECTIONS)


def sobol(count: int, dimensions: int, *, seed: int, first: int = 0) -> NDArray[np.float64]:
    """Return Sobol points in the open unit cube, digitally shifted by ``seed``.

    Parameters
    ----------
    count : int
        Number of points [1]; a power of two keeps the balance of the sequence.
    dimensions : int
        Coordinates per point, 1 to ``MAX_DIMENSIONS``.
    seed : int
        Chooses the digital shift; the same seed gives the same points.
    first : int
        First coordinate of the sequence to use: two sets of points that are used together must not share any,
        or they would move in step.

    Returns
    -------
    ndarray, shape (count, dimensions)
        Strictly between 0 and 1, so that a normal quantile of each is finite.

    Raises
    ------
    ValueError
        For a count below 1 or a coordinate outside the table.
    """
    if dimensions < 1 or first < 0 or first + dimensions > MAX_DIMENSIONS:
        raise ValueError(f"coordinates must be within 1 to {MAX_DIMENSIONS}, got {first + 1} to {first + dimensions}")
    if not 1 <= count <= 1 << BITS:
        raise ValueError(f"count must be 1 to 2**{BITS}, got {count}")
    index = np.arange(count, dtype=np.uint32)
    gray = index ^ (index >> np.uint32(1))
    points = np.zeros((count, dimensions), dtype=np.uint32)
    highest = int(gray.max()).bit_length()
    for dimension in range(dimensions):
        directions = _direction_integers(first + dimension)
        column = points[:, dimension]
        for bit in range(highest):
            column ^= np.where((gray >> np.uint32(bit)) & np.uint32(1), directions[bit], np.uint32(0))
        column ^= np.uint32(_shift(seed, first + dimension))
    # The half keeps every coordinate off 0 and 1.
    result: NDArray[np.float64] = (points.astype(np.float64) + 0.5) / float(1 << BITS)
    return result


def _direction_integers(dimension: int) -> NDArray[np.uint32]:
    """Direction integers v_1..v_BITS of one dimension, recurrence of Joe and Kuo (2008), eq. 2."""
    polynomial, initial = _DIRECTIONS[dimension]
    degree = polynomial.bit_length() - 1
    if degree == 0:
        return np.array([1 << (BITS - 1 - k) for k in range(BITS)], dtype=np.uint32)
    m = list(initial)
    for k in range(degree, BITS):
        new = m[k - degree] ^ (m[k - degree] << degree)
        for i in range(1, degree):
            if (polynomial >> (degree - i)) & 1:
                new ^= m[k - i] << i
        m.append(new)
    return np.array([value << (BITS - 1 - k) for k, value in enumerate(m)], dtype=np.uint32)


def _shift(seed: int, dimension: int) -> int:
    """Well-mixed BITS-bit number from seed and dimension (splitmix64 finaliser, Steele et al. 2014)."""
    mask = (1 << 64) - 1
    z = (seed * 0x9E3779B97F4A7C15 + (dimension + 1) * 0xD1B54A32D192ED03) & mask
    z = ((z ^ (z >> 30)) * 0xBF58476D1CE4E5B9) & mask
    z = ((z ^ (z >> 27)) * 0x94D049BB133111EB) & mask
    return (z ^ (z >> 31)) >> (64 - BITS)
