"""Which positions leave the way and come back to it within a few records? Errors of the receiver, not of the driver."""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

import numpy as np

from chaffinch.fieldlog.rows import BoolArray, FloatArray

LONGEST_JUMP: Final = 10
"""Positions that can jump together [records]; own figure: after ten seconds a machine may really be elsewhere."""


def jumps(
    step_m: FloatArray, between_m: Callable[[int, int], float], allowed_m: FloatArray, new_part: BoolArray
) -> BoolArray:
    """Positions that leave the way and come back to it within a few records.

    Parameters
    ----------
    step_m : array, shape (n,)
        Way from the record before [m]; NaN where there is none.
    between_m : callable
        How far two records lie apart, by their numbers [m].
    allowed_m : array, shape (n,)
        Step to each record beyond which its position did not come about by driving [m].
    new_part : bool array, shape (n,)
        Records where a part begins.
    """
    found = np.zeros(step_m.size, np.bool_)
    if step_m.size < 3:
        return found
    with np.errstate(invalid="ignore"):
        far = (step_m > allowed_m) & ~new_part
    far[0] = False
    leaps = np.flatnonzero(far)
    part_no = np.cumsum(new_part)
    k = 0
    while k + 1 < leaps.size:
        out = int(leaps[k])
        for back in leaps[k + 1 : k + 1 + LONGEST_JUMP].tolist():
            if back - out > LONGEST_JUMP or part_no[back] != part_no[out]:
                continue
            reach = float(allowed_m[out : back + 1].sum()) / 2.0
            if between_m(out - 1, back) <= max(reach, float(allowed_m[back])):
                found[out:back] = True
                k = int(np.searchsorted(leaps, back))
                break
        k += 1
    return found
