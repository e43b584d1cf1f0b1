"""Fields for the tests: checks said by what they found, and played fields from the bench."""

from __future__ import annotations

import importlib
import math
import sys
from collections.abc import Mapping
from pathlib import Path

import numpy as np

from chaffinch.engine.evidence import LN_LOSS, Evidence
from chaffinch.engine.ledger.field import FieldCheck

sys.path.insert(0, str(Path(__file__).resolve().parent.parent.parent / "bench"))
coverage = importlib.import_module("ledger_coverage")


def about(loss_kg_ha: float, sd: float = 0.2) -> Evidence:
    """A check whose evidence is lognormal about a loss."""
    return Evidence(-0.5 * ((LN_LOSS - math.log(loss_kg_ha)) / sd) ** 2, 3)


def check(
    loss_kg_ha: float,
    sd: float = 0.2,
    *,
    source: str = "machine",
    shared: Mapping[object, float] | None = None,
    weight_ha: float | None = None,
) -> FieldCheck:
    return FieldCheck({source: about(loss_kg_ha, sd)}, {source: shared or {}}, weight_ha)


def ln_ratio(r) -> float:
    """How wide a range is: ln(high ÷ low)."""
    return math.log(r.high / r.low)


def draws_like(found, field: str, source: str = "machine") -> np.ndarray:
    return found.fields[field].draws[source]
