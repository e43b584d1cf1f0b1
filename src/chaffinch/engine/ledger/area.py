"""What is the mean over an area of which some places were checked?

The places checked count as they were found; the others have the mean their part of the field has, and vary about it,
since they are finite in number.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from chaffinch.engine.ledger.levels import Levels
from chaffinch.engine.ledger.shared import DRAWS, standard_normal

FloatArray = NDArray[np.float64]

PLACE_HA: Final = 1.0
"""Area over which the loss is taken as one [ha]; own figure. Of 62 ha, three checks have seen three."""
_ROUNDING: Final = 1e-6
"""Share of an area that is rounding [1]."""


def area_mean(
    area_ha: float,
    drawn: Levels,
    weights_ha: Sequence[float | None],
    *,
    between_parts: float,
    rng: np.random.Generator,
) -> FloatArray:
    """Rows of the mean over an area [kg/ha], shape (DRAWS,).

    Parameters
    ----------
    area_ha : float
        [ha]
    drawn : Levels
        From :func:`chaffinch.engine.ledger.levels.levels`.
    weights_ha : sequence of float or None
        Area each check stands for [ha]: all or none.
    between_parts : float
        Part of τ² between parts, where weights are given [1].
    rng : numpy Generator
        Source of chance.

    Notes
    -----
    Each check has seen one place of ``PLACE_HA`` (or its even part of a smaller field). The other places of a part
    have the mean e^(m + b + τ_w²/2), b the part's deviation, and since they are finite in number, their own mean varies
    about it with variance (e^(τ_w²) − 1)/number of its square.
    """
    number = drawn.places.shape[1]
    known = [w for w in weights_ha if w is not None]
    if not known:
        seen_ha = min(PLACE_HA, area_ha / number)
        total = seen_ha * np.exp(drawn.places).sum(axis=1)
        mean: FloatArray = (total + _unseen(area_ha - number * seen_ha, drawn.level, drawn.spread, rng)) / area_ha
        return mean
    between, within = drawn.spread * np.sqrt(between_parts), drawn.spread * np.sqrt(1.0 - between_parts)
    total = np.zeros(DRAWS)
    for column, part_ha in enumerate(known):
        seen_ha = min(PLACE_HA, part_ha)
        off = drawn.places[:, column] - drawn.level
        # Of a deviation seen, this much is expected to be the part's own, the rest that of the place in it.
        part = between_parts * off + np.sqrt(1.0 - between_parts) * between * standard_normal(rng)
        total += seen_ha * np.exp(drawn.places[:, column])
        total += _unseen(part_ha - seen_ha, drawn.level + part, within, rng)
    left_ha = area_ha - sum(known)
    if left_ha > area_ha * _ROUNDING:
        total += _unseen(left_ha, drawn.level + between * standard_normal(rng), within, rng)
    return np.asarray(total / area_ha)


def _unseen(part_ha: float, level: FloatArray, tau: FloatArray, rng: np.random.Generator) -> FloatArray:
    """Rows of the loss over places nobody checked [kg]."""
    if part_ha <= 0.0:
        return np.zeros(DRAWS)
    variance = np.log1p(np.expm1(np.square(tau)) * min(1.0, PLACE_HA / part_ha))
    noise = np.sqrt(variance) * standard_normal(rng) - variance / 2.0
    result: FloatArray = part_ha * np.exp(level + np.square(tau) / 2.0 + noise)
    return result
