"""A trial as plain data."""

from __future__ import annotations

from typing import Any

from chaffinch.book.checks.own_variation import variation_json
from chaffinch.book.checks.plain_data import as_range
from chaffinch.book.trials.trial import TrialFound, TrialRecord


def record_as_json(record: TrialRecord) -> dict[str, Any]:
    """The record itself."""
    return {
        "id": record.id,
        "taken_at": record.taken_at,
        "combine": None if record.combine is None else record.combine.name,
        "field": None if record.field is None else record.field.name,
        "a": dict(record.a),
        "b": dict(record.b),
        "changed": list(record.changed.names),
        "note": record.note,
    }


def as_json(found: TrialFound) -> dict[str, Any]:
    """Everything the page shows, in inside units: kg/ha, money/ha."""
    answer = found.answer
    return {
        **record_as_json(found.record),
        "source": answer.source,
        "machine_only": answer.source == "machine",
        "separable": found.record.changed.separable and not found.other_settings,
        "other_settings": list(found.other_settings),
        "stops": [
            {"check": point.logged.id, "side": side, "taken_at": point.logged.body["taken_at"]}
            for point, side in zip(found.points, found.sides, strict=True)
        ],
        "left_out": found.left_out,
        "variation": variation_json(p.logged for p in found.points),
        "set_aside": dict(found.set_aside),
        "ratio": as_range(answer.ratio),
        "p_b_less": answer.p_b_less,
        "gain_kg_ha": as_range(answer.gain_kg_ha),
        "gain_per_ha": as_range(answer.gain_money_per_ha),
        "gain_per_day": as_range(answer.gain_money_per_day),
        "drift_per_h": as_range(answer.drift_per_h),
        "verdict": answer.verdict,
        "more_each": answer.more_each,
        "cautions": list(answer.cautions),
        "price_per_t": found.price_per_t,
    }
