"""Do signs lead to causes, and causes to steps? Published rows, contradictions, the own slope, own trials, ranges."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from advice_worlds import YIELD_KG_HA, asked, money, split_high, split_of

from chaffinch.engine.advice.causes import (
    UNEXPLAINED,
    USUAL,
    Situation,
    likelihoods,
    next_question,
    questions,
    standing,
    weigh,
)
from chaffinch.engine.advice.changes import OwnTrial, RankedChange, rank, with_trials
from chaffinch.engine.advice.split import Split, level_of, log_evidence, split_of_ranges
from chaffinch.engine.estimate import Prior, Range, default_prior
from chaffinch.errors import InputError
from chaffinch.reference.advice_read import advice_table

ROWS: list[dict[str, Any]] = json.loads(
    (Path(__file__).parents[1] / "vectors" / "advice_rows.json").read_text(encoding="utf-8")
)["rows"]
SYMPTOMS = [row for row in ROWS if row["kind"] == "symptom"]
ORDERS = [row for row in ROWS if row["kind"] == "order"]
TABLE = advice_table()


def situation_of(row: dict[str, Any], **more: str) -> Situation:
    answers = {**row["answers"], **more}
    return Situation(row["crop"], row.get("machine", ""), row.get("header", ""), row.get("windrowed", False), answers)


def first_three(shown: list[RankedChange]) -> list[str]:
    return [one.change.key for one in shown[:3]]


# --- the published rows ---


def test_every_published_row_is_here_and_named_by_its_change() -> None:
    assert sorted({row["id"] for row in ROWS}) == [f"adj{n:02d}" for n in range(1, 75)]
    of_change = {row: change.key for change in TABLE.changes for row in change.rows}
    for row in SYMPTOMS:
        assert row["id"] in of_change, row["id"]
        assert any(row["id"] in TABLE.change(key).rows for key in row["wanted"]), row  # type: ignore[union-attr]


@pytest.mark.parametrize("row", SYMPTOMS, ids=lambda row: row["id"])
def test_a_published_symptom_leads_to_its_adjustment(row: dict[str, Any]) -> None:
    """Among the first three, with the side effect that the row states, and its source cited."""
    belief, shown, _ = asked(situation_of(row), split_high(row["split"], row["crop"]))
    among = [key for key in row["wanted"] if key in first_three(shown)]
    proposed = [one for one in shown if one.proposable]
    if standing(TABLE, belief, proposed[0].net if proposed else None) == "change":
        assert set(row["wanted"]) & set(first_three(proposed))
    assert len(among) >= (2 if row.get("both") else 1), (row["said"], first_three(shown))
    changes = [TABLE.change(key) for key in row["wanted"]]
    cited = {s for c in changes if c for e in c.helps for s in (*e.origin.sources, *e.origin.deduced)}
    assert row["source"] in cited
    words = " ".join(f"{c.says} {c.step} {' '.join(e.says for e in c.spoils)}" for c in changes if c)
    if row["spoils"] not in (None, "-"):
        assert row["spoils"] in words
    assert row.get("also", "") in words
    if "before" in row:
        keys = [one.change.key for one in shown]
        assert keys.index(row["wanted"][0]) < keys.index(row["before"])


@pytest.mark.parametrize("row", ORDERS, ids=lambda row: row["id"])
def test_what_to_work_on_first_follows_the_split(row: dict[str, Any]) -> None:
    _, shown, _ = asked(situation_of(row), split_high(row["split"], row["crop"]))
    assert shown[0].change.helps[0].loss == row["first"]


def test_origins_are_carried_over() -> None:
    """Printed where a printed row says so, and never where every row of a source is our deduction or from memory."""
    kinds: dict[str, set[str]] = {}
    for row in ROWS:
        kinds.setdefault(row["source"], set()).add(row["origin"])
    for row in SYMPTOMS:
        effects = [e for key in row["wanted"] for e in TABLE.change(key).helps]  # type: ignore[union-attr]
        if row["origin"] == "printed":
            assert any(e.origin.kind == "printed" and row["source"] in e.origin.sources for e in effects), row
    for change in TABLE.changes:
        for effect in change.helps:
            if effect.origin.kind == "printed":
                for source in effect.origin.sources:
                    assert "printed" in kinds.get(source, {"printed"}), (change.key, effect.cause, source)


# --- pace ---


@pytest.mark.parametrize("row", [r for r in SYMPTOMS if "slope" in r["answers"] or "header_slope" in r["answers"]],
                         ids=lambda r: r["id"])  # fmt: skip
def test_slower_appears_only_with_this_machines_own_slope(row: dict[str, Any]) -> None:
    flat = {key: "flat" for key in ("slope", "header_slope") if key in row["answers"]}
    without = replace(situation_of(row), answers={k: v for k, v in row["answers"].items() if k not in flat})
    for situation in (situation_of(row, **flat), without):
        _, shown, held = asked(situation, split_high(row["split"], row["crop"]))
        assert not {"slower", "slower_header"} & {one.change.key for one in shown}
        assert {"slower", "slower_header"} & {one.change.key for one in held}


def test_slower_needs_load_to_be_likely_and_an_hour_cost() -> None:
    said = {"slope": "rises", "found": "chaff", "chaff": "far", "sieve": "bare", "seat": "none"}
    split = split_high("machine", "canola")
    _, _, held = asked(Situation("canola", answers=said), split)
    assert [h.kept_back for h in held if h.change.key == "slower"] == ["load not likely"]
    heavy = Situation("canola", answers={"slope": "rises", "seat": "heavy", "when": "full"})
    belief = weigh(TABLE, heavy, split)
    _, held = rank(TABLE, heavy, belief, money(time_cost_per_ha=None), split=split)
    assert [h.kept_back for h in held if h.change.key == "slower"] == ["no hour cost"]
    dear, _ = rank(TABLE, heavy, belief, money(time_cost_per_ha=500.0), split=split)
    cheap, _ = rank(TABLE, heavy, belief, money(time_cost_per_ha=5.0), split=split)
    of = {"dear": dear, "cheap": cheap}
    net = {name: next(o.net for o in found if o.change.key == "slower") for name, found in of.items()}
    # 7 to 10 % more time, 8.5 % in the middle, of what an hour costs more.
    assert net["cheap"] - net["dear"] == pytest.approx(0.085 * 495.0, rel=0.02)


# --- the split ---


def test_the_split_counts_by_its_range_never_by_its_middle() -> None:
    """The mean of p_k/p₀ over the draws, against integration of the product by hand: two roads."""
    prior = Prior(60.0, 1.3)
    causes = [c for c in TABLE.causes if c.key in ("usual", "fan_high", "unexplained")]
    for sd in (0.1, 0.6, 1.2):
        ln = np.linspace(math.log(0.01), math.log(1e5), 200_001)
        likelihood = np.exp(-0.5 * ((ln - math.log(150.0)) / sd) ** 2)
        p0 = np.exp(-0.5 * ((ln - math.log(60.0)) / 1.3) ** 2) / 1.3
        posterior = likelihood * p0
        split = Split({"machine": np.exp(ln)}, posterior / posterior.sum(), {"machine": prior})
        got, _ = log_evidence(TABLE, causes, "canola", split)
        for k, cause in enumerate(causes):
            level = level_of(TABLE, cause, "canola", "machine", prior)

            # Marginal likelihood of a lognormal measured with a lognormal error: a normal of the summed variance.
            def marginal(mean: float, width: float, sd: float = sd) -> float:
                variance = width**2 + sd**2
                return math.exp(-0.5 * (math.log(150.0) - mean) ** 2 / variance) / math.sqrt(variance)

            expected = marginal(level.ln_median, level.sd_log) / marginal(math.log(60.0), 1.3)
            assert math.exp(got[k]) == pytest.approx(expected, rel=1e-4), (cause.key, sd)


def test_a_vague_split_says_less_than_a_sharp_one() -> None:
    def ratio(spread: float) -> float:
        ends = Range(120.0 / spread, 120.0, 120.0 * spread)
        split = split_of_ranges({"machine": ends}, {"machine": default_prior("machine", YIELD_KG_HA)})
        belief = weigh(TABLE, Situation("wheat"), split)
        return belief.of("fan_low") / belief.of(USUAL)

    before = weigh(TABLE, Situation("wheat")).of("fan_low") / weigh(TABLE, Situation("wheat")).of(USUAL)
    assert ratio(1.2) > ratio(3.0) > ratio(20.0) > before


def test_a_loss_at_its_usual_is_nothing_to_change() -> None:
    belief, shown, _ = asked(
        Situation("wheat", answers={"found": "ahead", "strip": "clean", "when": "always", "tank": "clean"}),
        split_of(standing=5.0, header=13.0, machine=15.0),
    )
    assert belief.ranked()[0][0].key == USUAL
    assert standing(TABLE, belief, next((o.net for o in shown if o.net > 0), None)) == "nothing"


def test_a_split_must_be_one() -> None:
    weights = np.array([0.5, 0.5])
    with pytest.raises(InputError, match="holds no source"):
        Split({}, weights, {})
    with pytest.raises(InputError, match="not above 0"):
        Split({"machine": np.array([1.0, 0.0])}, weights, {"machine": Prior(1.0)})
    with pytest.raises(InputError, match="no prior"):
        Split({"machine": np.array([1.0, 2.0])}, weights, {})


# --- answers ---


def test_contradicting_signs_are_flat_and_ask_to_measure_first() -> None:
    said = {"found": "line", "chaff": "far", "tank": "green", "straw": "short", "strip": "ragged", "seat": "lumps"}
    belief, shown, _ = asked(Situation("wheat", answers=said), split_high("machine", "wheat"))
    assert belief.leading[1] < TABLE.figures["lead"] or belief.of(UNEXPLAINED) > belief.leading[1]
    assert standing(TABLE, belief, shown[0].net) == "measure"
    agreeing, shown, _ = asked(
        Situation("wheat", answers={"found": "chaff", "chaff": "under", "sieve": "mat", "tank": "chaffy"}),
        split_high("machine", "wheat"),
    )
    assert agreeing.entropy_bits < belief.entropy_bits - 1.0
    assert standing(TABLE, agreeing, shown[0].net) == "change"


def test_answers_multiply_whatever_their_order() -> None:
    said = {"found": "chaff", "chaff": "far", "when": "thin"}
    one = weigh(TABLE, Situation("canola", answers=said))
    other = weigh(TABLE, Situation("canola", answers=dict(reversed(said.items()))))
    assert one.p == pytest.approx(other.p)
    assert one.p.sum() == pytest.approx(1.0)


def test_every_answer_has_a_chance_under_every_cause() -> None:
    for sign in TABLE.signs:
        given = likelihoods(sign, TABLE.causes, TABLE.figures["lapse"])
        assert np.all(given >= TABLE.figures["lapse"] / len(sign.answers) - 1e-12)
        assert given.sum(axis=1) == pytest.approx(np.ones(len(TABLE.causes)))


def test_the_next_question_is_the_one_that_tells_most_for_its_effort() -> None:
    """Information and first three, against the means over all answers, worked out by asking: two roads."""
    situation = Situation("canola", answers={"when": "always"})
    belief = weigh(TABLE, situation)
    found = {q.sign.key: q for q in questions(TABLE, situation, belief)}
    for key in ("found", "seat", "tank"):
        sign, fall, among = found[key].sign, 0.0, 0.0
        for place, answer in enumerate(sign.answers):
            p = float(belief.p @ likelihoods(sign, belief.causes, TABLE.figures["lapse"])[:, place])
            after = weigh(TABLE, replace(situation, answers={**situation.answers, key: answer}))
            fall += p * (belief.entropy_bits - after.entropy_bits)
            among += p * sum(chance for _, chance in after.ranked()[:3])
        assert found[key].bits == pytest.approx(fall, abs=1e-9)
        assert found[key].three == pytest.approx(among - sum(c for _, c in belief.ranked()[:3]), abs=1e-9)
        assert found[key].three > 0.0
    first = next_question(TABLE, situation, belief, asked=1)
    assert first is not None
    assert first.worth == max((q.bits + 2.0 * q.three) / q.sign.effort for q in found.values())
    second = next_question(TABLE, situation, belief, asked=1, skipped=[first.sign.key])
    assert second is not None
    assert second.sign.key != first.sign.key
    assert next_question(TABLE, situation, belief, asked=6) is None


def test_a_question_or_an_answer_that_is_none_is_refused() -> None:
    with pytest.raises(InputError, match="is none of ours"):
        weigh(TABLE, Situation("canola", answers={"moon": "full"}))
    with pytest.raises(InputError, match="is no answer to it"):
        weigh(TABLE, Situation("canola", answers={"found": "moon"}))


def test_rows_are_for_their_machine_header_and_crop() -> None:
    def keys(**more: Any) -> set[str]:
        return {c.key for c in weigh(TABLE, Situation(**{"crop": "canola", **more})).causes}

    assert "stripper_set" in keys(header="stripper")
    assert "stripper_set" not in keys(header="draper")
    assert "reel_fast" not in keys(header="stripper")
    assert {"late_swath", "dry_windrow"} <= keys(windrowed=True)
    assert not {"late_swath", "reel_fast"} & keys(header="pick-up", windrowed=False)
    assert "corn_head" in keys(crop="corn", header="corn")
    pulses = {o.change.key for o in asked(Situation("pea"), None)[1]}
    assert "cut_higher" not in pulses
    assert "cut_lower" in pulses


# --- own trials ---


def test_own_results_outweigh_the_table() -> None:
    """A trial on this machine that says 1.30 times stands nearer to 1.30 than to the table's 0.56."""
    said = {"found": "chaff", "chaff": "far"}
    split = split_high("machine", "canola")
    told = OwnTrial("fan_down", Range(1.15, 1.30, 1.47), without_effect=True)
    _, before, _ = asked(Situation("canola", answers=said), split)
    _, after, _ = asked(Situation("canola", answers=said), split, own=[told])
    assert first_three(before)[0] == "fan_down"
    one = next(o for o in after if o.change.key == "fan_down")
    assert one.net < 0.0
    assert one.own_trials == 1
    ln, sd = with_trials(np.array([math.log(0.56)]), np.array([0.29]), [told.ratio] if told.ratio else [])
    assert abs(ln[0] - math.log(1.30)) < abs(ln[0] - math.log(0.56))
    assert sd[0] < 0.29


def test_a_change_tried_twice_without_effect_drops() -> None:
    said = {"found": "chaff", "chaff": "far"}
    idle = OwnTrial("fan_down", None, without_effect=True)
    good = OwnTrial("fan_down", None, without_effect=False)
    split = split_high("machine", "canola")
    for own, there in (([idle], True), ([idle, good], True), ([idle, idle], False)):
        _, shown, held = asked(Situation("canola", answers=said), split, own=own)
        assert ("fan_down" in [o.change.key for o in shown]) is there
        if not there:
            dropped = next(h for h in held if h.change.key == "fan_down")
            assert dropped.kept_back == "tried twice without effect"


# --- money ---


def test_minutes_are_charged_where_they_are_told() -> None:
    situation, split = Situation("soybean", answers={"strip": "ragged"}), split_high("header", "soybean")
    belief = weigh(TABLE, situation, split)
    free, _ = rank(TABLE, situation, belief, money(stop_cost_per_h=0.0), split=split)
    dear, _ = rank(TABLE, situation, belief, money(stop_cost_per_h=600.0, area_left_ha=20.0), split=split)
    of = {o.change.key: o.net for o in free}
    for one in dear:
        assert of[one.change.key] - one.net == pytest.approx(one.change.minutes * 10.0 / 20.0, abs=1e-9)


def test_without_a_price_seed_is_ranked() -> None:
    situation, split = Situation("canola", answers={"found": "chaff"}), split_high("machine", "canola")
    belief = weigh(TABLE, situation, split)
    shown, _ = rank(TABLE, situation, belief, money(price_per_t=None), split=split)
    assert all(o.net_per_ha is None and o.net == o.expected_kg_ha for o in shown)
    assert shown[0].gain_kg_ha.low < shown[0].expected_kg_ha < shown[0].gain_kg_ha.high


@pytest.mark.parametrize("wrong", [{"price_per_t": -1.0}, {"area_left_ha": 0.0}, {"time_cost_per_ha": math.nan}])
def test_money_must_be_money(wrong: dict[str, float]) -> None:
    with pytest.raises(InputError):
        money(**wrong)


def test_rotor_and_walker_differ_in_odds_and_in_steps() -> None:
    said = {"found": "straw", "straw": "whole"}
    split = split_high("machine", "wheat")
    of = {kind: asked(Situation("wheat", machine=kind, answers=said), split) for kind in ("rotor", "walker", "hybrid")}
    assert (
        of["walker"][0].of("separator_slow")
        > of["hybrid"][0].of("separator_slow")
        > of["rotor"][0].of("separator_slow")
    )
    steps = {kind: {one.change.key for one in shown} for kind, (_, shown, _) in of.items()}
    assert ("grates_open" in steps["rotor"], "walkers_clear" in steps["rotor"]) == (True, False)
    assert ("grates_open" in steps["walker"], "walkers_clear" in steps["walker"]) == (False, True)
    assert {"grates_open", "walkers_clear"} <= steps["hybrid"]


def test_a_leak_that_was_caught_needs_no_question() -> None:
    """Sixty kg/ha in the bag of a leak catch: the leak leads, and sealing it is the first step; a drip does not."""
    belief, shown, _ = asked(Situation("canola"), split_of(machine=30.0, leak=60.0))
    assert belief.leading[0].key == "leak"
    assert belief.leading[1] > 0.9
    assert shown[0].change.key == "seal_leak"
    drip, _, _ = asked(Situation("canola"), split_of(machine=90.0, leak=0.3))
    assert drip.of("leak") < weigh(TABLE, Situation("canola")).of("leak")
