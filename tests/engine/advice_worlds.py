"""Splits of the loss for the tests of the advice: lognormal draws, evenly scattered, high where a test says so."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from scipy.special import ndtri

from chaffinch.engine.advice.causes import Causes, Situation, weigh
from chaffinch.engine.advice.changes import Money, RankedChange, rank
from chaffinch.engine.advice.split import Split
from chaffinch.engine.estimate import default_prior
from chaffinch.engine.sampling.sobol import sobol
from chaffinch.reference.advice_read import advice_table

YIELD_KG_HA = 3000.0
USUAL_KG_HA = {
    "standing": {"canola": 12, "cereals": 6, "pulses": 12, "soybean": 12, "corn": 9, "other": 12},
    "header": {"canola": 30, "cereals": 15, "pulses": 60, "soybean": 90, "corn": 36, "other": 30},
    "machine": {"canola": 30, "cereals": 18, "pulses": 15, "soybean": 15, "corn": 21, "other": 30},
}
"""Usual losses, from the table's percent of the yield."""
HIGH = 4.0


def split_of(**middle_kg_ha: float) -> Split:
    """Draws with a range of a factor of 1.6 either way about each middle."""
    u = sobol(512, len(middle_kg_ha), seed=7)
    draws = {
        source: middle * np.exp(math.log(1.6) / 1.645 * ndtri(u[:, place]))
        for place, (source, middle) in enumerate(middle_kg_ha.items())
    }
    priors = {source: default_prior(source, YIELD_KG_HA) for source in middle_kg_ha}
    return Split(draws, np.full(512, 1.0 / 512), priors)


def split_high(high: str, crop: str) -> Split:
    """All three seen, one of them four times the usual (none where ``high`` is empty)."""
    group = advice_table().group_of(crop)
    middles = {source: by_group[group] * (HIGH if source == high else 1.0) for source, by_group in USUAL_KG_HA.items()}
    return split_of(**middles)


def money(**more: Any) -> Money:
    given = {"price_per_t": 500.0, "stop_cost_per_h": 300.0, "area_left_ha": 40.0, "time_cost_per_ha": 40.0}
    return Money(yield_kg_ha=YIELD_KG_HA, **{**given, **more})


def asked(
    situation: Situation, split: Split | None, **more: Any
) -> tuple[Causes, list[RankedChange], list[RankedChange]]:
    belief = weigh(advice_table(), situation, split)
    shown, held = rank(advice_table(), situation, belief, money(), split=split, **more)
    return belief, shown, held
