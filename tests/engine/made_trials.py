"""Stops and evidence for the tests of trials and monitors: from pans, and as plain normals in ln(loss)."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from made_catches import DESIGN_PAN, weighed

from chaffinch.engine.evidence import LN_LOSS, Evidence, evidence
from chaffinch.engine.trial.ratio import Stop


def pans(*grams: float) -> Evidence:
    return evidence([weighed(g) for g in grams], "machine")


def normal(loss_kg_ha: float, sd: float) -> Evidence:
    """Evidence whose likelihood is normal in ln(loss)."""
    return Evidence(-0.5 * np.square((LN_LOSS - math.log(loss_kg_ha)) / sd), 1)


def caught(loss_kg_ha: float, rng: np.random.Generator, number: int = 3) -> Evidence:
    """Pans of the design filled by chance: Gamma around the expected mass, c = 0.4."""
    due_g = 0.1 * loss_kg_ha * DESIGN_PAN.machine_m2
    return pans(*(round(float(due_g * rng.gamma(6.25, 0.16)), 1) for _ in range(number)))


def trial(order: str, seen: Sequence[Evidence], *, gap_h: float = 0.25, loads: Sequence[float] | None = None):
    """Stops at even times."""
    loads = loads or [None] * len(order)
    return [Stop(e, side, gap_h * i, load) for i, (side, e, load) in enumerate(zip(order, seen, loads, strict=True))]
