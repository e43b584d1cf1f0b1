"""Writes ``advice.json``: what Python says of made-up checks, for the phone's twin to say alike.

    python tests/vectors/make_advice.py

The table of the advice stands in it as a phone gets it from its book.
"""

from __future__ import annotations

import json
import random
from pathlib import Path
from typing import Any

from chaffinch.book.advice.plain_data import table_json
from chaffinch.engine.advice.causes import Situation, next_question, standing, weigh
from chaffinch.engine.advice.changes import Money, rank
from chaffinch.engine.advice.split import split_of_ranges
from chaffinch.engine.estimate import Range, default_prior
from chaffinch.reference.advice_read import advice_table

HERE = Path(__file__).parent
CASES = 36


def case(number: int, chance: random.Random) -> dict[str, Any]:
    """One made-up check and what is said of it."""
    table = advice_table()
    crop = chance.choice(["canola", "wheat", "pea", "soybean", "corn", "flax", "lentil", "barley"])
    yield_kg_ha = None if number % 6 == 5 else round(chance.uniform(1200, 6500))
    ranges = {}
    for source in chance.choice(
        [["machine"], ["header", "machine"], ["standing", "header", "machine"], ["machine", "leak"], []]
    ):
        middle = default_prior(source, yield_kg_ha).median_kg_ha * 10 ** chance.uniform(-0.7, 0.7)
        ranges[source] = [middle / chance.uniform(1.2, 3), middle, middle * chance.uniform(1.2, 3)]
    answers = {}
    for sign in chance.sample([s for s in table.signs if s.asks], number % 6):
        answers[sign.key] = chance.choice(list(sign.answers))
    given = {
        "crop": crop,
        "machine": chance.choice(["", "rotor", "walker", "hybrid"]),
        "header": chance.choice(["", "draper", "auger", "stripper", "corn"]),
        "windrowed": number % 5 == 4,
        "answers": answers,
    }
    skipped = chance.sample(["found", "strip", "seat"], number % 2)
    situation = Situation(**given)
    split = None
    if ranges:
        split = split_of_ranges(
            {s: Range(*r) for s, r in ranges.items()}, {s: default_prior(s, yield_kg_ha) for s in ranges}
        )
    belief = weigh(table, situation, split)
    # Without a split the phone knows no yield either.
    money = Money(yield_kg_ha=yield_kg_ha if split is not None and yield_kg_ha else 2000.0)
    shown, _ = rank(table, situation, belief, money, split=split)
    question = next_question(table, situation, belief, asked=len(answers) + len(skipped), skipped=skipped)
    best = next((one.net for one in shown if one.net > 0.0), None)
    return {
        "situation": given,
        "yield_kg_ha": yield_kg_ha,
        "ranges": ranges,
        "skipped": skipped,
        "p": {cause.key: float(p) for cause, p in zip(belief.causes, belief.p, strict=True)},
        "question": None if question is None else [question.sign.key, question.bits, question.worth],
        "changes": [[one.change.key, one.expected_kg_ha, one.gain_kg_ha.low, one.gain_kg_ha.high] for one in shown[:5]],
        "standing": standing(table, belief, best),
    }


def made() -> str:
    """The file's text."""
    chance = random.Random(20260814)
    cases = [case(number, chance) for number in range(CASES)]
    table = json.dumps(table_json(), ensure_ascii=False)
    rows = ",\n".join(json.dumps(one, ensure_ascii=False) for one in cases)
    return f'{{"table":\n{table},\n"cases": [\n{rows}\n]}}\n'


if __name__ == "__main__":
    (HERE / "advice.json").write_text(made(), encoding="utf-8")
    print(f"wrote {CASES} cases")
