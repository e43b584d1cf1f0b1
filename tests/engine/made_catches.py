"""Catches for the tests, said the way a person would say them."""

from __future__ import annotations

from collections.abc import Sequence

from chaffinch.engine.catch import read
from chaffinch.engine.estimate import Belief, Prior, Range, estimate, range_of
from chaffinch.engine.evidence import Catch, evidence
from chaffinch.engine.exposure import Exposure, in_discharge, in_windrow

FT2_M2 = 0.3048**2

# The pan of the design's cross-check numbers (design §4.4): 4 ft² in the discharge, width ratio 6.
DESIGN_PAN = in_discharge(4.0 * FT2_M2, 12.0, 2.0)
CANOLA_TKW_G = 3.5

# The design's prior medians without a yield (design §4.4), typed here, not imported.
PRIORS = {"standing": Prior(5.0), "header": Prior(20.0), "machine": Prior(40.0), "leak": Prior(2.0)}


def weighed(
    grams: float,
    exposure: Exposure = DESIGN_PAN,
    *,
    step: float = 0.1,
    tkw_g: float = CANOLA_TKW_G,
    variation: float | None = None,
) -> Catch:
    return Catch(read("weighed", grams, step, tkw_g=tkw_g), exposure, variation)


def counted(
    seeds: int,
    exposure: Exposure = DESIGN_PAN,
    *,
    tkw_g: float = CANOLA_TKW_G,
    tkw_measured: bool = False,
    variation: float | None = None,
) -> Catch:
    return Catch(read("counted", seeds, 1.0, tkw_g=tkw_g, tkw_measured=tkw_measured), exposure, variation)


def measured(ml: float, exposure: Exposure, *, step: float = 5.0, tkw_g: float = 40.0, kg_hl: float = 77.0) -> Catch:
    return Catch(read("measured", ml, step, tkw_g=tkw_g, gram_per_unit=kg_hl / 100.0), exposure)


def field_area(area_m2: float) -> Exposure:
    """Machine loss only, seen through exactly this field area and without a drop width."""
    return in_windrow(area_m2 / 12.0, 12.0)


def machine_belief(catches: Sequence[Catch], prior_kg_ha: float = 40.0, scale_sd: float = 0.08) -> Belief:
    return estimate(evidence(catches, "machine"), Prior(prior_kg_ha), scale_sd)


def machine_range(catches: Sequence[Catch], prior_kg_ha: float = 40.0, scale_sd: float = 0.08) -> Range:
    return range_of(machine_belief(catches, prior_kg_ha, scale_sd))
