"""How much do catches of this combine differ from each other?

The default variation is from memory of practice; a combine that has been checked often says it itself. Catches of one
check lie close together, so what they differ by is the variation between catches, whatever the loss was. Per check

    L_j(c) = ∫ Π_i p(y_i | μ_i, c) d ln κ,   μ_i = κ · (area of catch i),

with the likelihood of :mod:`chaffinch.engine.evidence` and no opinion about the level κ (flat in its log). The check's
own c varies about the combine's c0 as everywhere, ln c ~ N(ln c0, 0.35), and c0 about the default,
ln c0 ~ N(ln default, 0.5) (design §4.3, "learned per combine once it has 8 checks with repeats"); both are summed on
nodes.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from chaffinch.engine.estimate import Range
from chaffinch.engine.evidence import GRAMS_PER_KG_HA_M2, LN_LOSS, SOURCES, VARIATION_SD, Catch, log_likelihood
from chaffinch.engine.exposure import VARIATION, Taken
from chaffinch.errors import InputError

FloatArray = NDArray[np.float64]

LEAST_CHECKS: Final = 8
"""Checks with repeats below which nothing is claimed (design §4.3)."""
OWN_SD: Final = 0.5
"""Sd of ln c0 between combines [1]; own figure. Twice the default then lies within the 90 % range of what is expected;
with 0.35, the spread between checks, eight checks of three pans could not yet pull the figure there."""
_Z: Final[FloatArray] = np.linspace(-6.0, 6.0, 97)
"""Nodes of ln c0 and ln c, in units of 0.35 around the default: a factor of 8.2 either way, 0.044 apart."""
_COARSE: Final = 4
"""Every so many nodes of the grid of ln(loss) are enough for an integral over it: 0.08 apart."""
_ROUNDING: Final = 1e-6


@dataclass(frozen=True, slots=True)
class OwnVariation:
    """Coefficient of variation between catches of one combine, taken one way.

    Attributes
    ----------
    taken : Taken
    c0 : Range
        Median coefficient of variation of the combine, 5, 50 and 95 % [1]; its median is for ``Catch.variation``.
    sd_log : float
        Sd of ln c0 [1].
    checks, catches : int
        What it rests on.
    """

    taken: Taken
    c0: Range
    sd_log: float
    checks: int
    catches: int


def own_variation(checks: Sequence[Sequence[Catch]], taken: Taken) -> OwnVariation | None:
    """Learn the variation between catches from checks of one combine.

    Parameters
    ----------
    checks : sequence of sequence of Catch
        All checks of the combine; catches taken another way, and checks with fewer than two taken this way, are
        passed over.
    taken : Taken
        The way of taking them.

    Returns
    -------
    OwnVariation or None
        None below eight checks with at least two catches each.

    Raises
    ------
    InputError
        For a way of taking catches that is not known; when catches of one check see the sources in different
        proportions, since they then differ for another reason.
    """
    if taken not in VARIATION:
        raise InputError("taken", taken, "is no way of taking catches", f"give one of {', '.join(VARIATION)}")
    alike = [[c for c in check if c.exposure.taken == taken] for check in checks]
    repeated = [check for check in alike if len(check) >= 2]
    if len(repeated) < LEAST_CHECKS:
        return None
    ln_default = math.log(VARIATION[taken])
    ln_c = ln_default + VARIATION_SD * _Z
    total = -0.5 * np.square((ln_c - ln_default) / OWN_SD)
    # Row: c0; column: the check's own c, held within the nodes.
    within = np.exp(-0.5 * np.square((ln_c[None, :] - ln_c[:, None]) / VARIATION_SD))
    within /= within.sum(axis=1, keepdims=True)
    for number, check in enumerate(repeated, start=1):
        log_c = log_likelihood_of_c(check, np.exp(ln_c), place=f"check {number}")
        total = total + np.log(within @ np.exp(log_c - log_c.max()))
    mass = np.exp(total - total.max())
    mass /= mass.sum()
    centre = float(mass @ ln_c)
    low, median, high = (_quantile(mass, ln_c, p) for p in (0.05, 0.50, 0.95))
    return OwnVariation(
        taken,
        Range(math.exp(low), math.exp(median), math.exp(high)),
        math.sqrt(float(mass @ np.square(ln_c - centre))),
        len(repeated),
        sum(map(len, repeated)),
    )


def log_likelihood_of_c(check: Sequence[Catch], c: FloatArray, *, place: str = "check") -> FloatArray:
    """Log-likelihood of each coefficient of variation from catches of one check, shape of ``c``, up to a constant.

    Parameters
    ----------
    check : sequence of Catch
        Taken one way, at least two.
    c : ndarray, shape (m,)
        Coefficients of variation [1].
    place : str
        How to name the check in an error.
    """
    areas = np.array([[catch.exposure.area_m2(s) for s in SOURCES] for catch in check])
    size = areas.sum(axis=1)
    if np.abs(areas / size[:, None] - areas[0] / size[0]).max() > _ROUNDING:
        raise InputError(
            place, None, "has catches that see the sources in different proportions", "compare catches taken alike"
        )
    ln_level = LN_LOSS[::_COARSE]
    table = np.zeros((ln_level.size, c.size))
    for catch, area in zip(check, size, strict=True):
        table += log_likelihood(catch, ln_level + math.log(GRAMS_PER_KG_HA_M2 * area), c)
    top = table.max(axis=0)
    result: FloatArray = top + np.log(np.exp(table - top).sum(axis=0))
    return result


def _quantile(mass: FloatArray, nodes: FloatArray, p: float) -> float:
    """Quantile of mass spread evenly over the cell around each node."""
    half = (nodes[1] - nodes[0]) / 2.0
    return float(np.interp(p, np.append(0.0, np.cumsum(mass)), np.append(nodes - half, nodes[-1] + half)))
