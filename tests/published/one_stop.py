"""What does a check file answer for catches taken at one stop, and what would a count of seed weigh?

The catches go in as text, as a person writes them, and through the same doors as for anybody else.
"""

from __future__ import annotations

import json
from collections.abc import Mapping

import chaffinch as cf
from chaffinch import units
from chaffinch.book.checks.answer import CheckAnswer
from chaffinch.engine.catch import loss_of_seeds_kg_ha, seeds_per_m2

FT2_M2 = units.to_inside(1.0, "ft2", "area")
LB_G = units.to_inside(1.0, "lb", "mass")


def ask(crop: str, *catches: Mapping[str, object], **top: object) -> CheckAnswer:
    """Return the answer to a check file of these catches; ``top`` holds the other keys of its top."""
    table = {"crop": crop, **top, "catch": list(catches)}
    return cf.answer(cf.read_check_file(json.dumps(table)))


def frame(place: str, seeds: int, pan: str = "10 ft2") -> dict[str, object]:
    """Return a catch counted in a frame."""
    return {"place": place, "pan": pan, "amount": f"{seeds} seeds"}


def told(found: CheckAnswer, loss_kg_ha: float | None, unit: str = "") -> float:
    """Return a loss in ``unit``, else in the unit the check reports in."""
    assert loss_kg_ha is not None
    check = found.check
    return units.write(loss_kg_ha, unit or check.trade_unit, "area_mass", bushel_kg=check.bushel_kg)


def warned(found: CheckAnswer) -> set[str]:
    """Return the keys of all notices of an answer."""
    return {notice.key for notice in found.notices}


def tkw_of_lb(seeds_per_lb: float) -> float:
    """Return the thousand-kernel weight [g] of seed of which so many make a pound."""
    return 1000.0 * LB_G / seeds_per_lb


def tkw_of_rule(seeds_per_ft2: float, lb_per_ac: float) -> float:
    """Return the thousand-kernel weight [g] at which so many seeds per ft² weigh so many lb/ac."""
    one_gram = loss_of_seeds_kg_ha(seeds_per_ft2 / FT2_M2, 1.0)
    return units.to_inside(lb_per_ac, "lb/ac", "area_mass") / one_gram


def seeds_ft2(loss_kg_ha: float | None, tkw_g: float) -> float:
    """Return the seeds per ft² that make up a loss."""
    assert loss_kg_ha is not None
    return seeds_per_m2(loss_kg_ha, tkw_g) * FT2_M2
