"""A season's ledger and a fair comparison as plain data."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from chaffinch import __version__
from chaffinch.book.checks.own_variation import variation_json
from chaffinch.book.checks.plain_data import as_range
from chaffinch.book.season.ledger import Ledger
from chaffinch.engine.ledger.fair import Comparison
from chaffinch.engine.ledger.field import FieldLoss, Loss
from chaffinch.engine.ledger.season import AreaSum, CropLoss


def as_json(found: Ledger) -> dict[str, Any]:
    """Everything the page shows, in inside units: ha, kg, kg/ha, money."""
    loss = found.loss
    return {
        "season": {"id": found.season.id, "name": found.season.name},
        "program": __version__,
        "currency": found.currency,
        "checks": found.checks,
        "checks_filed_under_no_field": found.unfiled,
        "fields_without_area": [
            {"id": one.thing.id, "name": one.thing.name, "checks": len(one.checks)} for one in found.without_area
        ],
        "checks_of_another_crop": {one.thing.id: dict(one.other_crops) for one in found.fields if one.other_crops},
        "doubted_checks": [{"id": check.id, "field": one.thing.id} for one, check in found.doubted],
        "variation": variation_json(check for one in found.fields for check in one.checks),
        "machine_only": "machine" in found.judged_seen and "header" not in found.judged_seen,
        "header_only": "header" in found.judged_seen and "machine" not in found.judged_seen,
        "fields": [
            {
                "id": one.thing.id,
                "name": one.thing.name,
                "crop": one.crop,
                "area_ha": one.area_ha,
                "price_per_t": one.price_per_t,
                "price_date": one.price_date,
                "checks": len(one.checks),
                "loss": None if loss is None or one.thing.id not in loss.fields else _field(loss.fields[one.thing.id]),
            }
            for one in found.fields
        ],
        "whole": None if loss is None else _crop(loss.whole),
        "crops": {} if loss is None else {name: _crop(one) for name, one in loss.crops.items()},
    }


def comparison_as_json(crop: str, found: Comparison, left_out: Mapping[str, int]) -> dict[str, Any]:
    """Groups with what stands beside them, and every pair once."""
    return {
        "crop": crop,
        "by": found.by,
        "source": found.source,
        "machine_only": found.source == "machine",
        "header_only": found.source == "header",
        "needed": found.needed,
        "groups": [
            {
                "name": g.name,
                "checks": g.checks,
                "blocks": len(g.blocks),
                "load": {"least": g.load[0], "middle": g.load[1], "greatest": g.load[2]},
                "conditions": {k: {"least": low, "greatest": high} for k, (low, high) in g.conditions.items()},
            }
            for g in found.groups
        ],
        "pairs": [
            {
                "first": p.first,
                "second": p.second,
                "ratio": as_range(p.ratio),
                "p_first_less": p.p_first_less,
                "claim": p.claim,
                "why_not": list(p.why_not),
                "never_under_the_same_driver": p.drivers_apart,
            }
            for p in found.pairs
        ],
        "left_out": dict(left_out),
    }


def _field(found: FieldLoss) -> dict[str, Any]:
    return {
        "sources": {name: _loss(one) for name, one in found.sources.items()},
        "judged": None if found.judged is None else _loss(found.judged),
        "total": _loss(found.total),
        "missing": list(found.coverage.missing),
        "ha_per_check": found.coverage.ha_per_check,
    }


def _loss(one: Loss) -> dict[str, Any]:
    return {
        "kg_ha": as_range(one.kg_ha),
        "kg": as_range(one.kg),
        "share_percent": as_range(one.share_pct),
        "money": as_range(one.money),
    }


def _crop(found: CropLoss) -> dict[str, Any]:
    return {
        "area_ha": found.area_ha,
        "unchecked_ha": found.unchecked_ha,
        "sources": {name: _sum(one) for name, one in found.sources.items()},
        "judged_on_measured_area": _sum(found.judged),
        "judged_on_all_area_assumed": _sum(found.assumed),
        "not_assumed": [list(pair) for pair in found.not_assumed],
    }


def _sum(one: AreaSum | None) -> dict[str, Any] | None:
    if one is None:
        return None
    return {
        "area_ha": one.area_ha,
        "kg": as_range(one.kg),
        "kg_ha": as_range(one.kg_ha),
        "money": as_range(one.money),
        "priced_ha": one.priced_ha,
    }
