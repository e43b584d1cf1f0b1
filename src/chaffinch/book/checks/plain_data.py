"""A check's answer as plain data for machines: the shape is part of the interface (docs, check file page)."""

from __future__ import annotations

from typing import Any

from chaffinch.book.checks.answer import CheckAnswer, Loss
from chaffinch.book.checks.in_trade_unit import in_trade_unit, land_unit, money_factor
from chaffinch.book.checks.notices import Notice
from chaffinch.book.checks.said import sentence
from chaffinch.engine.estimate import Range


def as_json(answer: CheckAnswer) -> dict[str, Any]:
    """Return the answer as JSON-able data; numbers are full floats, rounding is the page's business.

    Keys: ``crop``, ``sources`` (by source), ``total``, ``judged``, ``limit_kg_ha``, ``verdict``, ``p_over``,
    ``more_catches``, ``more_catches_chance``, ``more_catches_like``, ``unthreshed_percent``, ``width_ratio``,
    ``money``, ``warnings``, ``assumed``. Every source and the total hold ``plain_kg_ha``, ``kg_ha``, ``trade``,
    ``share_percent`` (of harvested + lost), ``money_per_area``, ``part_of_loss_percent`` and ``p_largest``.
    """
    check, ready = answer.check, answer.prepared
    further = answer.further
    return {
        "crop": check.crop,
        "sources": {source: _loss(loss, answer) for source, loss in answer.sources.items()},
        "total": _loss(answer.total, answer),
        "judged": {"sources": list(answer.judged), "kg_ha": as_range(answer.judged_kg_ha)},
        "limit_kg_ha": check.limit_kg_ha,
        "verdict": answer.verdict,
        "p_over": answer.p_over,
        "more_catches": None if further is None else further.catches,
        "more_catches_chance": None if further is None else further.chance,
        "more_catches_like": answer.further_like,
        "unthreshed_percent": answer.unthreshed_pct,
        "width_ratio": _width_ratio(answer),
        "money": {
            "currency": check.currency,
            "per_hour": as_range(answer.money_per_h),
            "per_field": as_range(answer.money_per_field),
        },
        "warnings": [_notice(n, answer) for n in answer.notices if n.kind == "warning"],
        "assumed": [_notice(n, answer) for n in answer.notices if n.kind == "assumed"],
        "catches": len(ready.catches),
    }


def _loss(loss: Loss, answer: CheckAnswer) -> dict[str, Any]:
    check = answer.check
    money = None if loss.money_per_ha is None else loss.money_per_ha.times(money_factor(check))
    return {
        "plain_kg_ha": loss.plain_kg_ha,
        "kg_ha": as_range(loss.kg_ha),
        "trade": {"unit": check.trade_unit, **(as_range(in_trade_unit(loss.kg_ha, check)) or {})},
        "share_percent": as_range(loss.share_pct),
        "money_per_area": None if money is None else {"unit": f"/{land_unit(check)}", **(as_range(money) or {})},
        "part_of_loss_percent": loss.part_of_loss_pct,
        "p_largest": loss.p_largest,
    }


def as_range(r: Range | None) -> dict[str, float] | None:
    """A range as data; None stays None."""
    return None if r is None else {"low": r.low, "median": r.median, "high": r.high}


def _notice(notice: Notice, answer: CheckAnswer) -> dict[str, str]:
    return {"key": notice.key, "text": sentence(notice, answer.check)}


def _width_ratio(answer: CheckAnswer) -> float | None:
    cut, discharge = answer.prepared.cut_width_m, answer.prepared.discharge_width_m
    return None if cut is None or discharge is None else cut / discharge
