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
