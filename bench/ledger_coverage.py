"""How often do the ranges of fields and seasons hold the truth, and who is blamed by chance?

    python bench/ledger_coverage.py [--fields 800] [--seasons 200] [--tables 100] [--combines 500] [--seed 1]
        [--only TEXT] [--markdown]

A field is so many places of one hectare, each with a loss of its own; checks stand at some of them, and their catches
are played seed by seed and read off a scale. The truth is the mean over all places, checked or not. The figures an
estimate assumes are written out once more here (as in ``worlds.py``), so that a slip on either side shows.
"""

from __future__ import annotations

import itertools
import math
import os
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Final

import click
import numpy as np
from numpy.typing import NDArray

from chaffinch.engine.catch import read
from chaffinch.engine.estimate import Prior, estimate, range_of
from chaffinch.engine.evidence import Catch, Evidence, evidence
from chaffinch.engine.exposure import behind, in_discharge, in_header_strip
from chaffinch.engine.ledger.check import field_check
from chaffinch.engine.ledger.fair import FairCheck, compare_groups
from chaffinch.engine.ledger.field import FieldCheck, FieldEntry, FieldLoss, field_loss, interval
from chaffinch.engine.ledger.season import SeasonLoss, season_loss
from chaffinch.engine.ledger.shared import DRAWS, shift
from chaffinch.engine.ledger.sharing import SharedNames
from chaffinch.engine.variation import own_variation

FloatArray = NDArray[np.float64]

PRIOR_MEDIAN_KG_HA, PRIOR_SD = 40.0, 1.3
TAU, TAU_SD = 0.4, 0.5
C0, C_SD, COMBINE_SD = 0.40, 0.35, 0.5
WIDTH_SD, PAN_SD = 0.08, 0.01
PAN_M2, CUT_M, DROP_M, TKW_G, STEP_G = 0.371612, 12.192, 1.6764, 3.5, 0.1
BAR: Final = (0.87, 0.93)


@dataclass(frozen=True, slots=True)
class Plan:
    """A kind of field and how it is checked.

    Attributes
    ----------
    tau : float or None
        Spread between places that is the same in every field [1]; None: drawn as the engine assumes.
    area_ha : float
        [ha], whole hectares.
    parts : tuple of int
        Areas of parts the checks stand for [ha], one check in each; empty: checks anywhere.
    """

    name: str
    checks: int
    catches: int = 3
    tau: float | None = None
    area_ha: int = 62
    parts: tuple[int, ...] = ()
    as_assumed: bool = True


PLANS: Final = (
    *(Plan(f"{n} check{'s' * (n > 1)} of 3 pans, 62 ha", n) for n in (1, 2, 3, 8)),
    Plan("1 check of 1 pan, 62 ha", 1, catches=1),
    Plan("3 checks of 1 pan, 62 ha", 3, catches=1),
    Plan("3 checks, 4 ha", 3, area_ha=4),
    Plan("3 checks standing for 40, 12 and 6 ha of 62", 3, parts=(40, 12, 6)),
    Plan("3 checks, places always differ by 0.4", 3, tau=0.4),
    Plan("3 checks, places differ by 0.8", 3, tau=0.8, as_assumed=False),
    Plan("8 checks, places differ by 0.8", 8, tau=0.8, as_assumed=False),
    Plan("3 checks, places alike", 3, tau=0.02, as_assumed=False),
)


def caught(loss_kg_ha: float, catches: int, off: float, rng: np.random.Generator) -> Evidence:
    """Evidence of one check."""
    return evidence(pans(loss_kg_ha, catches, off, rng), "machine")


def pans(loss_kg_ha: float, catches: int, off: float, rng: np.random.Generator, *, c0: float = C0) -> list[Catch]:
    """Catches of one check: seeds fall into pans that really receive ``off`` times what geometry says."""
    due_g = 0.1 * loss_kg_ha * PAN_M2 * CUT_M / DROP_M * off
    c = c0 * math.exp(C_SD * rng.standard_normal())
    seed_g = TKW_G / 1000.0
    rate = due_g * rng.gamma(1.0 / c**2, c**2, catches)
    grams = np.floor(rng.poisson(rate / seed_g) * seed_g / STEP_G + 0.5) * STEP_G
    seen_by = in_discharge(PAN_M2, CUT_M, DROP_M)
    return [Catch(read("weighed", float(g), STEP_G, tkw_g=TKW_G), seen_by) for g in grams]


def field(
    plan: Plan,
    name: str,
    rng: np.random.Generator,
    *,
    off: float | None = None,
    owner: str = "combine",
    level: float | None = None,
) -> tuple[FieldEntry, float]:
    """One field with its checks, and its true area mean [kg/ha]."""
    tau = TAU * math.exp(TAU_SD * rng.standard_normal()) if plan.tau is None else plan.tau
    if level is None:
        level = math.log(PRIOR_MEDIAN_KG_HA) + PRIOR_SD * rng.standard_normal()
    off = math.exp(math.hypot(WIDTH_SD, PAN_SD) * rng.standard_normal()) if off is None else off
    deviation = tau * rng.standard_normal(plan.area_ha)
    stops: Sequence[int] = [int(i) for i in rng.choice(plan.area_ha, plan.checks, replace=False)]
    if plan.parts:
        sizes = [*plan.parts, plan.area_ha - sum(plan.parts)]
        deviation *= math.sqrt(0.5)
        deviation += np.repeat(tau * math.sqrt(0.5) * rng.standard_normal(len(sizes)), sizes)
        starts = np.cumsum([0, *sizes])
        stops = [int(rng.integers(a, b)) for a, b in itertools.pairwise(starts[:-1])]
    places = np.exp(level + deviation)
    shared = {"machine": {("width", owner): WIDTH_SD, ("pan", owner): PAN_SD}}
    weights = plan.parts or (None,) * plan.checks
    checks = [
        FieldCheck({"machine": caught(float(places[i]), plan.catches, off, rng)}, shared, weight)
        for i, weight in zip(stops, weights, strict=True)
    ]
    return FieldEntry(name, float(plan.area_ha), checks), float(places.mean())


def level_in_range(found: FieldLoss, truth: float) -> bool:
    """Whether the 90 % range holds the truth."""
    mean = found.sources["machine"].kg_ha
    return mean.low <= truth <= mean.high


def cover_fields(plan: Plan, fields: int, seed: int) -> tuple[float, float]:
    """Share of ranges that hold the truth, and the median of high/low."""
    rng = np.random.default_rng([seed, fields, plan.checks, plan.catches])
    hits, ratios = 0, []
    for k in range(fields):
        entry, truth = field(plan, f"field {k}", rng)
        found = field_loss(entry, seed=seed)
        hits += level_in_range(found, truth)
        mean = found.sources["machine"].kg_ha
        ratios.append(mean.high / mean.low)
    return hits / fields, float(np.median(ratios))


SEASON: Final = Plan("", 3, catches=5)
FIELDS, UNCHECKED = 9, 3


def season(rng: np.random.Generator) -> tuple[list[FieldEntry], list[float]]:
    """Nine fields of a crop under one combine whose drop width was guessed once."""
    off = math.exp(math.hypot(WIDTH_SD, PAN_SD) * rng.standard_normal())
    usual = math.log(PRIOR_MEDIAN_KG_HA) + PRIOR_SD * rng.standard_normal()
    between = 0.5 * math.exp(0.5 * rng.standard_normal())
    fields = [
        field(SEASON, f"field {k}", rng, off=off, level=usual + between * rng.standard_normal()) for k in range(FIELDS)
    ]
    return [entry for entry, _ in fields], [truth for _, truth in fields]


def apart(found: SeasonLoss, seed: int) -> FloatArray:
    """Rows of the season's sum [kg] with its shared errors wrongly taken as each field's own."""
    total = np.zeros(DRAWS)
    for name, loss in found.fields.items():
        shared = loss.entry.checks[0].shared["machine"]
        own = {(*key, name): sd for key, sd in shared.items()}
        total += (
            loss.entry.area_ha * found.draws[name]["machine"] * np.exp(shift(own, seed=seed) - shift(shared, seed=seed))
        )
    return total


def cover_seasons(seasons: int, seed: int) -> dict[str, tuple[float, float]]:
    """Coverage and median high/low of season sums: errors shared, errors wrongly independent, and all area."""
    rng = np.random.default_rng([seed, seasons])
    hits: dict[str, list[bool]] = {}
    ratios: dict[str, list[float]] = {}
    for _ in range(seasons):
        entries, truths = season(rng)
        partly = [replace(e, checks=[]) if k < UNCHECKED else e for k, e in enumerate(entries)]
        found, filled = season_loss(entries, seed=seed), season_loss(partly, seed=seed).whole
        assert found.whole.judged is not None
        assert filled.assumed is not None
        for name, kg in (
            ("errors shared", found.whole.judged.kg),
            ("errors wrongly taken as each field's own", interval(apart(found, seed))),
            (f"{UNCHECKED} fields not checked, all area", filled.assumed.kg),
        ):
            hits.setdefault(name, []).append(kg.low <= 62.0 * sum(truths) <= kg.high)
            ratios.setdefault(name, []).append(kg.high / kg.low)
    return {name: (float(np.mean(hit)), float(np.median(ratios[name]))) for name, hit in hits.items()}


# --- checks that see sums -----------------------------------------------------------------------------------------


def cover_sums(fields: int, seed: int) -> tuple[float, float]:
    """Coverage of header and machine together, from three checks of two header strips and three frames behind each."""
    rng = np.random.default_rng([seed, fields, 77])
    medians = {"standing": 5.0, "header": 20.0, "machine": 40.0}
    priors = {s: Prior(m) for s, m in medians.items()}
    names = SharedNames(("width", "combine"), ("TKW", "wheat"))
    strip, back = in_header_strip(0.5), behind(0.5, CUT_M, DROP_M)
    hits, ratios = 0, []
    for k in range(fields):
        off = math.exp(WIDTH_SD * rng.standard_normal())
        places = {}
        for source, median in medians.items():
            tau = TAU * math.exp(TAU_SD * rng.standard_normal())
            level = math.log(median) + PRIOR_SD * rng.standard_normal()
            places[source] = np.exp(level + tau * rng.standard_normal(62))
        checks = []
        for stop in rng.choice(62, 3, replace=False):
            on_ground = float(places["standing"][stop] + places["header"][stop])
            c = 0.5 * math.exp(C_SD * rng.standard_normal())
            due = np.full(5, 0.1 * 0.5 * on_ground)
            due[2:] += 0.1 * 0.5 * CUT_M / DROP_M * float(places["machine"][stop]) * off
            seeds = rng.poisson(due * rng.gamma(1.0 / c**2, c**2, 5) / 0.04)
            grams = np.floor(seeds * 0.04 / STEP_G + 0.5) * STEP_G
            seen_by = [strip] * 2 + [back] * 3
            catches = [
                Catch(read("weighed", float(g), STEP_G, tkw_g=40.0), e) for g, e in zip(grams, seen_by, strict=True)
            ]
            checks.append(field_check(catches, priors, names, width_sd=WIDTH_SD, seed=seed))
        found = field_loss(FieldEntry(f"field {k}", 62.0, checks, priors=priors), seed=seed).judged
        assert found is not None
        truth = float((places["header"] + places["machine"]).mean())
        hits += found.kg_ha.low <= truth <= found.kg_ha.high
        ratios.append(found.kg_ha.high / found.kg_ha.low)
    return hits / fields, float(np.median(ratios))


# --- comparing operators ------------------------------------------------------------------------------------------


def table(
    rng: np.random.Generator, *, groups: int, checks: int, ratio: float = 1.0, machine_ratio: float = 1.0
) -> list[FairCheck]:
    """Checks of several operators in two fields; the first loses ``ratio`` times what the others lose.

    With a ``machine_ratio`` there are two machines, of which one loses that many times as much; each operator drives
    one of them for all checks but the last.
    """
    tau = TAU * math.exp(TAU_SD * rng.standard_normal())
    beta = 1.3 + 0.8 * rng.standard_normal()
    blocks = math.log(PRIOR_MEDIAN_KG_HA) + 0.7 * rng.standard_normal(2)
    found = []
    for group, stop in itertools.product(range(groups), range(checks)):
        block, load = stop % 2, 20.0 * math.exp(0.15 * rng.standard_normal())
        ln_loss = blocks[block] + beta * math.log(load / 20.0) + tau * rng.standard_normal()
        ln_loss += math.log(ratio) if group == 0 else 0.0
        machine = 0 if machine_ratio == 1.0 else (group + (stop == checks - 1)) % 2
        ln_loss += machine * math.log(machine_ratio)
        seen = caught(math.exp(ln_loss), 3, 1.0, rng)
        found.append(FairCheck(seen, f"driver {group}", f"combine {machine}", f"field {block}", load))
    return found


def claims(
    tables: int,
    seed: int,
    *,
    groups: int,
    checks: int,
    ratio: float = 1.0,
    machine_ratio: float = 1.0,
    machines_told: bool = True,
) -> float:
    """Share of tables in which any difference is claimed; ``machines_told`` False takes all machines for one."""
    rng = np.random.default_rng([seed, groups, checks, int(100 * ratio)])
    made = 0
    for _ in range(tables):
        played = table(rng, groups=groups, checks=checks, ratio=ratio, machine_ratio=machine_ratio)
        if not machines_told:
            played = [replace(one, combine="combine") for one in played]
        found = compare_groups(played, by="operator", seed=seed)
        made += any(pair.claim is not None for pair in found.pairs)
    return made / tables


# --- a combine's own variation ------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Learned:
    """Own variation over many combines: coverage of c0, and of checks by the default and by what was learned."""

    covers: float
    median_ratio: float
    later_default: float
    later_learned: float
    own_default: float
    own_learned: float


def cover_variation(combines: int, seed: int, *, checks: int = 8, factor: float | None = None) -> Learned:
    """Learn c0 from checks of three pans, then judge one more check and the first of them.

    ``factor`` plants c0 as a multiple. What was learned is rounded as the book does, to steps of a tenth in its log.
    """
    rng = np.random.default_rng([seed, combines, checks])
    hits, ratios, held = 0, [], np.zeros(4)
    for _ in range(combines):
        c0 = C0 * (math.exp(COMBINE_SD * rng.standard_normal()) if factor is None else factor)
        losses = PRIOR_MEDIAN_KG_HA * np.exp(PRIOR_SD * rng.standard_normal(checks + 1))
        played = [pans(float(loss), 3, 1.0, rng, c0=c0) for loss in losses]
        found = own_variation(played[:-1], "narrow")
        assert found is not None
        hits += found.c0.low <= c0 <= found.c0.high
        ratios.append(found.c0.median / c0)
        learned = math.exp(0.1 * round(10.0 * math.log(found.c0.median)))
        for k, (which, own) in enumerate(itertools.product((-1, 0), (None, learned))):
            catches = [replace(one, variation=own) for one in played[which]]
            mean = range_of(estimate(evidence(catches, "machine"), Prior(PRIOR_MEDIAN_KG_HA), 0.0))
            held[k] += mean.low <= losses[which] <= mean.high
    return Learned(hits / combines, float(np.median(ratios)), *(float(x) for x in held / combines))


def _show(rows: Sequence[tuple[str, float, float, int]], markdown: bool, say: Callable[[str], None]) -> None:
    if markdown:
        say("| what | 90 % range covers | high ÷ low |\n| --- | ---: | ---: |")
    for name, cover, ratio, count in rows:
        error = 1.96 * math.sqrt(cover * (1.0 - cover) / count)
        if markdown:
            say(f"| {name} | {100 * cover:.1f} ± {100 * error:.1f} % | {ratio:.2f} |")
        else:
            say(f"{name:50}{100 * cover:6.1f} ± {100 * error:.1f} %   high ÷ low {ratio:.2f}")


@click.command()
@click.option("--fields", default=800, show_default=True)
@click.option("--seasons", default=200, show_default=True)
@click.option("--sums", default=200, show_default=True)
@click.option("--tables", default=100, show_default=True)
@click.option("--combines", default=500, show_default=True)
@click.option("--seed", default=1, show_default=True)
@click.option("--only", default="", help="Only plans whose name holds this text.")
@click.option("--markdown", is_flag=True)
def main(
    fields: int, seasons: int, sums: int, tables: int, combines: int, seed: int, only: str, markdown: bool
) -> None:
    """Print coverage and width for every plan, and for season sums."""
    os.environ.setdefault("OMP_NUM_THREADS", "1")
    start = time.perf_counter()
    rows = [(p.name, *cover_fields(p, fields, seed), fields) for p in PLANS if fields and only in p.name]
    if sums:
        rows.append(("3 checks of 2 strips and 3 frames behind, header and machine", *cover_sums(sums, seed), sums))
    if seasons:
        rows += [(f"season of {FIELDS} fields, {n}", *r, seasons) for n, r in cover_seasons(seasons, seed).items()]
    _show(rows, markdown, click.echo)
    if tables:
        for groups, checks, ratio in ((2, 6, 1.0), (4, 6, 1.0), (2, 6, 2.0), (2, 12, 3.0)):
            made = claims(tables, seed, groups=groups, checks=checks, ratio=ratio)
            click.echo(f"{groups} operators, {checks} checks each, one loses {ratio:g} x: {100 * made:.1f} % claimed")
        for told in (True, False):
            made = claims(tables, seed, groups=2, checks=6, machine_ratio=3.0, machines_told=told)
            as_what = "told" if told else "taken for one"
            click.echo(f"2 operators alike, machines 3 x apart, {as_what}: {100 * made:.1f} % claimed")
    if combines:
        for factor in (None, 2.0):
            r = cover_variation(combines, seed, factor=factor)
            click.echo(
                f"c0 {'drawn' if factor is None else f'{factor:g} x default'}: range covers {100 * r.covers:.1f} %, "
                f"median {r.median_ratio:.2f} x true; a later check covered by the default {100 * r.later_default:.1f} "
                f"%, by the figure learned {100 * r.later_learned:.1f} %; a check it was learned from "
                f"{100 * r.own_default:.1f} % and {100 * r.own_learned:.1f} %"
            )
    click.echo(f"\n{fields} fields a plan, {seasons} seasons, seed {seed}: {time.perf_counter() - start:.0f} s")


if __name__ == "__main__":
    main()
