"""Advice as plain data, in inside units."""

from __future__ import annotations

from typing import Any

from chaffinch.book.advice.advise import AdviceFound
from chaffinch.book.advice.said import kept_back_said, sources_said, trial_sides
from chaffinch.book.checks.plain_data import as_range
from chaffinch.book.wording import CAUTIONS
from chaffinch.engine.advice.changes import RankedChange
from chaffinch.reference.advice import Effect, Origin
from chaffinch.reference.advice_read import advice_table


def as_json(found: AdviceFound) -> dict[str, Any]:
    """Everything the page shows: probabilities, kg/ha, money/ha. ``cautions`` stand before everything else."""
    question = found.question
    return {
        "cautions": list(CAUTIONS),
        "check": None if found.logged is None else found.logged.id,
        "combine": None if found.combine is None else found.combine.name,
        "crop": found.situation.crop,
        "machine": found.situation.machine or None,
        "header": found.situation.header or None,
        "windrowed": found.situation.windrowed,
        "standing": found.standing,
        "answers": {k: v for k, v in found.situation.answers.items() if k not in found.by_itself},
        "by_itself": dict(found.by_itself),
        "own_slope": dict(found.own.p_rises),
        "question": None
        if question is None
        else {
            "question": question.sign.key,
            "asks": question.sign.asks,
            "how": question.sign.how,
            "near_the_machine": question.sign.near,
            "answers": dict(question.sign.answers),
            "bits": question.bits,
        },
        "causes": [
            {"cause": c.key, "says": c.says, "part": c.part, "p": p, "origin": _origin(c.origin)}
            for c, p in found.belief.ranked()
        ],
        "changes": [_change(found, one) for one in found.shown],
        "sources": sources_said(found),
        "expected_to_gain": [one.change.key for one in found.worth],
        "held": [
            {"change": one.change.key, "why": kept_back_said(one), "net": one.net, "p_cause": one.p_cause}
            for one in found.held
        ],
        "assumed": list(found.assumed),
        "price_per_t": found.price_per_t,
        "currency": found.currency,
        "hour_cost_stored_with": None if found.stored is None else found.stored.of,
        "hour_cost_left_out": found.left_out or None,
    }


def table_json() -> dict[str, Any]:
    """The tables of the advice as a phone needs them: what can be, how it shows, what can be changed, the leak walk."""
    table = advice_table()
    return {
        "figures": dict(table.figures),
        "groups": {name: list(keys) for name, keys in table.groups.items()},
        "usual_pct": {name: dict(row) for name, row in table.usual_pct.items()},
        "causes": [
            {
                "key": c.key, "part": c.part, "says": c.says, "odds": dict(c.odds), "odds_for": dict(c.odds_for),
                "lifts": {s: list(r) for s, r in c.lifts.items()},
                **{n: v for n in ("machine", "header", "crop_is") if (v := getattr(c, n))},
            }
            for c in table.causes
        ],
        "signs": [
            {
                "key": s.key, "asks": s.asks, "how": s.how, "near": s.near, "effort": s.effort, "auto": s.auto,
                "answers": dict(s.answers), "usual": dict(s.usual),
                "says": [
                    {**({"cause": one.cause} if one.cause else {"part": one.part}), "times": dict(one.times)}
                    for one in s.says
                ],
            }
            for s in table.signs
        ],
        "changes": [
            {
                "key": c.key, "part": c.part, "says": c.says, "step": c.step, "undo": c.undo, "near": c.near,
                "minutes": c.minutes, "setting": c.setting, "way": c.way, "gate": c.gate, "unfit": list(c.unfit),
                **{n: v for n in ("machine", "header", "crop_is") if (v := getattr(c, n))},
                "helps": [[e.cause, e.loss, e.low, e.high] for e in c.helps],
                "spoils": [[e.loss, e.says, e.low, e.high] for e in c.spoils],
                "known": sorted({e.origin.kind for e in (*c.helps, *c.spoils)}),
            }
            for c in table.changes
        ],
        "leaks": [{"part": p.part, "says": p.says, "look": p.look, "mend": p.mend} for p in table.leaks],
    }  # fmt: skip


def _change(found: AdviceFound, one: RankedChange) -> dict[str, Any]:
    change = one.change
    sides = trial_sides(found, change)
    return {
        "change": change.key,
        "says": change.says,
        "step": change.step,
        "undo": change.undo,
        "near_the_machine": change.near,
        "minutes": change.minutes,
        "gain_kg_ha": as_range(one.gain_kg_ha),
        "expected_kg_ha": one.expected_kg_ha,
        "net_per_ha": as_range(one.net_per_ha),
        "expected_net_per_ha": None if one.net_per_ha is None else one.net,
        "p_gain": one.p_gain,
        "p_cause": one.p_cause,
        "own_trials": one.own_trials,
        "own_notes": one.own_notes,
        "helps": [{"cause": e.cause, **_effect(e)} for e in change.helps],
        "spoils": [{"says": e.says, **_effect(e)} for e in change.spoils],
        "trial": None if sides is None else {"a": sides[0], "b": sides[1]},
        "rows": list(change.rows),
    }


def _effect(effect: Effect) -> dict[str, Any]:
    return {"loss": effect.loss, "low": effect.low, "high": effect.high, "origin": _origin(effect.origin)}


def _origin(origin: Origin) -> dict[str, Any]:
    return {"kind": origin.kind, "sources": list(origin.sources), "deduced_from": list(origin.deduced)}
