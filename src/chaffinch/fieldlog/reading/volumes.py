"""How heavy is grain that a machine recorded by volume? By the density it recorded too, or by what a bushel weighs.

Volume per area and per time are entries 83 and 86 of the dictionary, mass per volume is entry 121. Where the machine
recorded a mass, no volume is asked; where it did not, and nothing tells the weight of a litre, a person is asked.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

import numpy as np

from chaffinch.fieldlog.rows import FloatArray, Question
from chaffinch.units.factors import US_BUSHEL_HL

BUSHEL_L: Final = float(US_BUSHEL_HL) * 100.0
"""Litres in a bushel of the United States and of the grain trade in Canada [exact]."""
_FROM: Final = {"flow_kg_s": ("volume_flow_l_s", 1.0), "yield_t_ha": ("volume_yield_l_ha", 0.001)}
"""Column by mass ← column by volume, and what a litre of one kilogram is in it."""


def weighed(
    columns: Mapping[str, FloatArray], bushel_kg: float | None
) -> tuple[dict[str, FloatArray], dict[str, str], Question | None]:
    """Flow and yield by mass where only volumes were recorded.

    Parameters
    ----------
    columns : mapping of str to array
        Of one log.
    bushel_kg : float or None
        Weight of a bushel of the crop [kg].

    Returns
    -------
    new, derived, question
        Columns worked out and how; and what is open, where no density is known.
    """
    wanted = {mass: volume for mass, (volume, _) in _FROM.items() if volume in columns}
    if not wanted or not set(_FROM).isdisjoint(columns):
        return {}, {}, None
    density: FloatArray | float
    if "density_kg_l" in columns:
        density, how = columns["density_kg_l"], "volume × density recorded"
    elif bushel_kg is not None:
        density, how = bushel_kg / BUSHEL_L, "volume × weight of a bushel"
    else:
        return {}, {}, Question("grain", "weight of a volume")
    new = {mass: np.asarray(columns[volume] * density * _FROM[mass][1]) for mass, volume in wanted.items()}
    return new, dict.fromkeys(new, how), None
