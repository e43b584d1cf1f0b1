"""Does the advice find a planted fault? Simulated machines, each with one thing wrong, asked at most four questions.

    python bench/planted_faults.py --draws 25 --seed 5    half of the page's table; seed 6 is the other
    python bench/planted_faults.py --slip 0.083333333333 --eye 0.4    a careless person
    python bench/planted_faults.py --jitter 0.4    every likelihood ratio of the table off by a random factor

Machines and persons are those of planted_machines.py. The losses are measured with frames and pans that vary as the
engine says they do. Every second machine stands in a book that knows its usual load and its monitor's usual bar, and
had a meter for the straw. Thresholds and table were written by the same hands; --jitter, --slip and --eye say how much
rests on that.
"""

from __future__ import annotations

import argparse
import math
import sys
from collections.abc import Collection, Mapping
from dataclasses import replace

import numpy as np

from chaffinch.engine import catch, exposure
from chaffinch.engine.advice.causes import Causes, Situation, next_question, weigh
from chaffinch.engine.advice.split import Split
from chaffinch.engine.estimate import default_prior
from chaffinch.engine.evidence import Catch
from chaffinch.engine.sources import locate
from chaffinch.reference.advice import AdviceTable
from chaffinch.reference.advice_read import advice_table
from planted_machines import EYE_SD, FAULTS, SLIP, Person, World, world_of

QUESTIONS = 4
METER_SD = 0.25
"""Sd of the log of a monitor's bar for what strikes its sensors [1]. Own figure."""
YIELD_KG_HA = {"canola": 2200.0, "wheat": 5000.0, "pea": 3000.0, "soybean": 3200.0}


def measured(world: World, chance: np.random.Generator) -> tuple[Split, str]:
    """What frames and pans say of the losses, and whether much of the catch was in heads or pods."""
    yield_kg_ha, tkw = (
        YIELD_KG_HA[world.crop],
        {"canola": 3.5, "wheat": 40.0, "pea": 220.0, "soybean": 160.0}[world.crop],
    )
    loss = {source: pct / 100 * yield_kg_ha for source, pct in world.losses_pct().items()}
    places = (
        (exposure.in_standing_crop(0.25), 2),
        (exposure.in_header_strip(0.25), 4),
        (exposure.in_discharge(0.5, 12.0, 1.8), 3),
    )
    catches = []
    for seen_by, count in places:
        c0 = exposure.VARIATION[seen_by.taken]
        for _ in range(count):
            mean_g = 0.1 * sum(loss[source] * seen_by.area_m2(source) for source in loss)
            variance = (c0 * mean_g) ** 2 + tkw / 1000 * mean_g
            mass = chance.gamma(mean_g**2 / variance, variance / mean_g)
            catches.append(Catch(catch.read("weighed", round(float(mass), 1), 0.1, tkw_g=tkw), seen_by))
    priors = {source: default_prior(source, yield_kg_ha) for source in ("standing", "header", "machine")}
    joint = locate(catches, priors, width_sd=0.08, seed=1)
    draws = {source: joint.loss_kg_ha[:, place] for place, source in enumerate(joint.sources)}
    pods = 100 * world.unthreshed_pct / world.losses_pct()["machine"] * math.exp(0.3 * chance.standard_normal())
    return Split(draws, joint.weights, priors), "many" if pods >= 30 else "few" if pods <= 10 else ""


def from_book(world: World, person: Person, chance: np.random.Generator) -> dict[str, str]:
    """What a book that knows this machine answers by itself: load and bar beside the usual, and the straw."""
    figures = advice_table().figures
    load = world.load * math.exp(0.08 * chance.standard_normal())
    bar = world.heard / person.sound.heard * math.exp(METER_SD * chance.standard_normal())
    light, heavy = load <= figures["load_light"], load >= figures["load_heavy"]
    return {
        "load": "heavy" if heavy else "light" if light else "usual",
        "air": person.see_air(),
        "bar": "high" if bar >= figures["bar_high"] else "usual",
    }


def asked(
    table: AdviceTable,
    world: World,
    chance: np.random.Generator,
    most: int = QUESTIONS,
    slip: float = SLIP,
    eye: float = EYE_SD,
) -> tuple[Causes, list[str]]:
    """Belief after at most that many questions, and which were asked."""
    split, pods = measured(world, chance)
    person = Person(world, chance, slip, eye)
    answers = {"pods": pods} if pods else {}
    if chance.random() < 0.5:
        answers.update(from_book(world, person, chance))
    put: list[str] = []
    while True:
        situation = Situation(world.crop, machine=world.machine, answers=dict(answers))
        belief = weigh(table, situation, split)
        if len(put) >= most:
            return belief, put
        question = next_question(table, situation, belief, asked=len(put), skipped=put)
        if question is None:
            return belief, put
        put.append(question.sign.key)
        told = person.answer(question.sign.key, tuple(question.sign.answers))
        if told is not None:
            answers[question.sign.key] = told


def jittered(table: AdviceTable, sd: float, chance: np.random.Generator) -> AdviceTable:
    """Every likelihood ratio off by its own random factor."""
    signs = []
    for sign in table.signs:
        says = tuple(
            replace(one, times={a: t * math.exp(sd * chance.standard_normal()) for a, t in one.times.items()})
            for one in sign.says
        )
        signs.append(replace(sign, says=says))
    return replace(table, signs=tuple(signs))


def place_of(belief: Causes, key: str) -> int:
    """Place of a cause among all, from 1."""
    return next(n for n, (cause, _) in enumerate(belief.ranked(), start=1) if cause.key == key)


def run(
    draws: int,
    *,
    jitter: float = 0.0,
    seed: int = 1,
    questions: int = QUESTIONS,
    slip: float = SLIP,
    eye: float = EYE_SD,
    faults: Collection[str] = (),
) -> dict[str, list[int]]:
    """Places of the true cause, by fault (all of them where none is named)."""
    found: dict[str, list[int]] = {}
    for number, fault in enumerate(FAULTS):
        if faults and fault not in faults:
            continue
        places = []
        for draw in range(draws):
            chance = np.random.default_rng([seed, number, draw])
            table = advice_table() if jitter == 0.0 else jittered(advice_table(), jitter, chance)
            belief, _ = asked(table, world_of(fault, chance), chance, questions, slip, eye)
            places.append(place_of(belief, fault))
        found[fault] = places
    return found


def shares(found: Mapping[str, list[int]]) -> tuple[float, float]:
    """Share of all machines whose true cause came first, and within the first three."""
    every = [place for places in found.values() for place in places]
    return sum(p == 1 for p in every) / len(every), sum(p <= 3 for p in every) / len(every)


def main() -> int:
    """Print the table."""
    ask = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    ask.add_argument("--draws", type=int, default=50)
    ask.add_argument("--jitter", type=float, default=0.0)
    ask.add_argument("--seed", type=int, default=1)
    ask.add_argument("--questions", type=int, default=QUESTIONS)
    ask.add_argument("--slip", type=float, default=SLIP, help="share of answers that say nothing")
    ask.add_argument("--eye", type=float, default=EYE_SD, help="sd of the log of what an eye sees")
    ask.add_argument("--only", default="", help="faults, with commas between them")
    given = ask.parse_args()
    found = run(
        given.draws,
        jitter=given.jitter,
        seed=given.seed,
        questions=given.questions,
        slip=given.slip,
        eye=given.eye,
        faults=[one for one in given.only.split(",") if one],
    )
    print(f"| planted | machines | first | first three |\n|---|---|---|---|")  # noqa: F541
    for fault, places in found.items():
        first, three = (sum(p <= n for p in places) / len(places) for n in (1, 3))
        print(f"| {fault.replace('_', ' ')} | {len(places)} | {first:.0%} | {three:.0%} |")
    first, three = shares(found)
    print(f"| all | {sum(map(len, found.values()))} | {first:.1%} | {three:.1%} |")
    return 0


if __name__ == "__main__":
    sys.exit(main())
