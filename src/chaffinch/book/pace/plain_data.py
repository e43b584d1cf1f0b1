"""A pace as plain data."""

from __future__ import annotations

from typing import Any

from chaffinch.book.checks.own_variation import variation_json
from chaffinch.book.checks.plain_data import as_range
from chaffinch.book.pace.best import PaceAnswer


def as_json(found: PaceAnswer) -> dict[str, Any]:
    """Everything the page shows, in inside units: km/h, kg/ha, money/ha, money/h."""
    pace, today = found.pace, found.pace.today
    curves = found.curves
    return {
        "combine": {"id": curves.combine.id, "name": curves.combine.name},
        "crop": curves.crop,
        "checks": {
            "all": len(curves.points),
            "own": len(curves.own),
            "header": len(curves.header_points),
            "own_header": len(curves.own_header),
            "left_out": dict(curves.left_out),
        },
        "load": curves.load_kind,
        "tested_kmh": None if found.loss.tested_kmh is None else list(found.loss.tested_kmh),
        "machine_only": pace.machine_only,
        "best_kmh": pace.best_kmh,
        "band_kmh": list(pace.band_kmh),
        "own_best_kmh": as_range(pace.own_best_kmh),
        "at_edge": pace.at_edge,
        "limit_that_pays_kg_ha": as_range(pace.limit_that_pays_kg_ha),
        "loss_at_best_kg_ha": as_range(pace.loss_at_best_kg_ha),
        "cost_per_ha": {
            "whole": pace.mean_cost_per_ha,
            "loss": pace.loss_cost_per_ha,
            "time": pace.time_cost_per_ha,
            "knowing_the_curve": pace.knowing_per_ha,
        },
        "today": None
        if today is None
        else {
            "speed_kmh": today.speed_kmh,
            "extra_per_ha": as_range(today.extra_per_ha),
            "mean_extra_per_ha": today.mean_extra_per_ha,
            "extra_per_h": as_range(today.extra_per_h),
            "p_too_fast": today.p_too_fast,
            "p_saves": today.p_saves,
            "p_needed": today.p_needed,
            "p_by_own_checks": found.p_own,
        },
        "advice": pace.advice,
        "slope_learned": curves.slope_learned,
        "table": [
            {
                "speed_kmh": row.speed_kmh,
                "machine_kg_ha": as_range(row.machine_kg_ha),
                "header_kg_ha": as_range(row.header_kg_ha),
                "time_cost_per_ha": row.time_cost_per_ha,
                "loss_cost_per_ha": row.loss_cost_per_ha,
                "cost_per_ha": as_range(row.cost_per_ha),
                "tested": row.tested,
            }
            for row in pace.table
        ],
        "used": {
            "hour_cost_per_h": found.hour_cost_per_h,
            "hour_cost_stored_with": None if found.stored is None else found.stored.of,
            "price_per_t": found.price_per_t,
            "currency": found.currency,
            "width_m": found.width_m,
            "lost_time_h_ha": found.lost_time_h_ha,
            "yield_kg_ha": found.yield_kg_ha,
            "setup": curves.setup,
            "condition": curves.condition,
            "variation": variation_json(p.logged for p in curves.own),
        },
        "assumed": list(found.assumed),
        "remarks": list(pace.remarks),
    }
