"""What do the fields of a crop tell of each other, and of a field nobody checked?

A field alone is judged against a wide expectation, and its range leans a little towards it. That is right for one
field; in a season's sum the same lean in every field does not average out. The fields of one crop are one population,

    ln L_f ~ N(M, ω²),   ln ω ~ N(ln 0.5, 0.5),   M with the wide prior of a single field,

and what each field's checks said is kept as a normal likelihood of ln L_f: its posterior alone with its prior divided
out. M and ω are drawn given all fields, each field given M and ω, and a field nobody checked from N(M, ω²). Errors
that fields share are left out of all this and added again at the end: fields that agree say nothing about a width that
is wrong in all of them.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from chaffinch.engine.ledger.shared import standard_normal

FloatArray = NDArray[np.float64]

FIELD_SD: Final = 0.5
"""Median of ω, the sd of ln(mean loss) between fields of one crop [1]; own figure, no source."""
FIELD_SD_SPREAD: Final = 0.5
"""Sd of ln ω [1]; own figure."""
_OMEGA_Z: Final[FloatArray] = np.linspace(-3.0, 3.0, 49)
_LEAST_PRECISION: Final = 1e-4
"""Precision of a field whose checks said nothing [1]: its sd is then 100 in ln(loss)."""


@dataclass(frozen=True, slots=True)
class Alone:
    """A field as its own checks leave it.

    Attributes
    ----------
    ln_loss : ndarray, shape (DRAWS,)
        Rows of ln(area mean), without shared errors [ln kg/ha].
    centre, sd : float
        Mean [ln kg/ha] and sd of the log [1] of what was expected of it before.
    """

    ln_loss: FloatArray
    centre: float
    sd: float


@dataclass(frozen=True, slots=True)
class Population:
    """Fields of one crop, one source.

    Attributes
    ----------
    centre, omega : ndarray, shape (DRAWS,)
        Rows of M [ln kg/ha] and ω [1].
    fields : list of ndarray, shape (DRAWS,)
        Rows of ln(area mean) of each field, given the others [ln kg/ha].
    """

    centre: FloatArray
    omega: FloatArray
    fields: list[FloatArray]


def population(fields: Sequence[Alone], *, rng: np.random.Generator) -> Population:
    """Draw the population and its fields; a single field stays as it is.

    Parameters
    ----------
    fields : sequence of Alone
        At least one.
    rng : numpy Generator
        Source of chance.
    """
    mean = np.array([f.ln_loss.mean() for f in fields])
    sd = np.array([f.ln_loss.std() for f in fields])
    before, wide = np.array([f.centre for f in fields]), np.array([f.sd for f in fields])
    # The checks' own say: posterior precision less the prior's, and the centre that goes with it.
    precision = np.maximum(1.0 / np.square(np.maximum(sd, 1e-6)) - 1.0 / np.square(wide), _LEAST_PRECISION)
    seen = mean + (mean - before) / (np.square(wide) * precision)
    expected, expected_sd = float(before.mean()), float(wide.mean())
    omega_nodes = FIELD_SD * np.exp(FIELD_SD_SPREAD * _OMEGA_Z)
    variance = np.square(omega_nodes)[:, None] + 1.0 / precision
    total = (1.0 / variance).sum(axis=1) + 1.0 / expected_sd**2
    centre = ((seen / variance).sum(axis=1) + expected / expected_sd**2) / total
    # M integrated out of the product of normals.
    apart = (np.square(seen - centre[:, None]) / variance).sum(axis=1) + np.square((centre - expected) / expected_sd)
    log_p = -0.5 * (np.square(_OMEGA_Z) + np.log(variance).sum(axis=1) + apart + np.log(total))
    cumulative = np.cumsum(np.exp(log_p - log_p.max()))
    count = fields[0].ln_loss.size
    node = rng.permutation(np.searchsorted(cumulative, (np.arange(count) + 0.5) / count * cumulative[-1]))
    width = math.log(omega_nodes[1] / omega_nodes[0])
    omega = omega_nodes[node] * np.exp(width * (rng.random(count) - 0.5))
    usual = centre[node] + standard_normal(rng) / np.sqrt(total[node])
    if len(fields) == 1:
        return Population(usual, omega, [fields[0].ln_loss])
    found = []
    for k, one in enumerate(fields):
        sharper = precision[k] + 1.0 / np.square(omega)
        middle = (precision[k] * seen[k] + usual / np.square(omega)) / sharper
        # The shape of the field's own rows is kept; only middle and width move.
        found.append(middle + (one.ln_loss - mean[k]) / max(float(sd[k]), 1e-6) / np.sqrt(sharper))
    return Population(usual, omega, found)
