"""A plan and a card as plain data for machines."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from chaffinch.book.planning.card import Card
from chaffinch.book.planning.plan import KitPlan


def as_json(found: KitPlan) -> dict[str, Any]:
    """A plan as JSON-able data in inside units."""
    return {
        "crop": found.check.crop,
        "source": found.source,
        "loss_kg_ha": found.loss_kg_ha,
        "in_pan": asdict(found.in_pan),
        "ways": [asdict(way) for way in found.ways],
        "best": found.best.kind,
        "variation": found.c0,
        "shared_error": found.shared_error,
        "precisions": [{"wished": wished, **asdict(need)} for wished, need in found.precisions],
    }


def card_as_json(found: Card) -> dict[str, Any]:
    """A card as JSON-able data in inside units."""
    return {
        "crop": found.check.crop,
        "limit_kg_ha": found.check.limit_kg_ha,
        "sides": [
            {
                "spreading": side.spreading,
                "discharge_width_m": side.discharge_width_m,
                "width_ratio": side.width_ratio,
                "smallest_kg_ha": side.smallest_kg_ha,
                "rows": [asdict(row) for row in side.rows],
            }
            for side in found.sides
        ],
    }
