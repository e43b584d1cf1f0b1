"""What are the inverses of many small matrices? Written out for up to three rows, which is quicker than a library's.

Cramer's rule, good enough for matrices that are well away from singular: sums of a prior's and readings' precisions.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]


def inverse(matrices: FloatArray) -> FloatArray:
    """Inverses of symmetric matrices, shape (chains, d, d)."""
    size = matrices.shape[1]
    if size > 3:
        return np.asarray(np.linalg.inv(matrices))
    if size == 1:
        return np.asarray(1.0 / matrices)
    found = np.empty_like(matrices)
    if size == 2:
        found[:, 0, 0], found[:, 1, 1] = matrices[:, 1, 1], matrices[:, 0, 0]
        found[:, 0, 1] = found[:, 1, 0] = -matrices[:, 0, 1]
        found /= determinant(matrices)[:, None, None]
        return found
    for i, j in ((0, 0), (0, 1), (0, 2), (1, 1), (1, 2), (2, 2)):
        found[:, i, j] = found[:, j, i] = _cofactor(matrices, i, j)
    found /= (matrices[:, 0] * found[:, 0]).sum(axis=1)[:, None, None]
    return found


def _cofactor(matrices: FloatArray, i: int, j: int) -> FloatArray:
    """Of 3 × 3 matrices, by indices in a circle, which have the sign in them."""
    a, b, c, d = (i + 1) % 3, (i + 2) % 3, (j + 1) % 3, (j + 2) % 3
    return np.asarray(matrices[:, a, c] * matrices[:, b, d] - matrices[:, a, d] * matrices[:, b, c])


def determinant(matrices: FloatArray) -> FloatArray:
    """Determinants of symmetric matrices, shape (chains,)."""
    if matrices.shape[1] > 2:
        return np.asarray(np.linalg.det(matrices))
    if matrices.shape[1] == 1:
        return np.asarray(matrices[:, 0, 0])
    return np.asarray(matrices[:, 0, 0] * matrices[:, 1, 1] - np.square(matrices[:, 0, 1]))
