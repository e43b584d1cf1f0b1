"""Do the curves and the paces of the demo book hold what is true there, and what does each rule of thumb cost?

    python bench/demo_truth.py [--books 3] [--seed 20260801] [--hour-cost 450] [--markdown]

Each book is written anew by examples/demo_book.py with its own seed and its own truth. For every combine and crop with
at least six checks of its own: is the true curve of machine loss within the 90 % range at the lightest, the middle and
the heaviest load checked; is the true best speed within its range (on an end of the speeds that may be recommended: as
``pace_regret.held`` says); and what does a hectare cost more than at the true best speed, by way of choosing one:

best pace       the program's
keep 1 bu/ac    where the middle of the curves crosses one bushel per acre, header and machine together
keep 1 %        the same for one per cent of the yield
never change    the crop's usual speed
"""

from __future__ import annotations

import math
import sys
import tempfile
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

import click
import numpy as np
from numpy.typing import NDArray

sys.path.insert(0, str(Path(__file__).resolve().parent.parent / "examples"))

from demo_book import SEED, Story
from simulated_world import farm, losses

from chaffinch.book.checks.points import CheckPoint
from chaffinch.book.desk import Desk
from chaffinch.book.pace.best import PaceAnswer, PaceTerms, pace
from chaffinch.book.things import find_thing
from pace_regret import held

FloatArray = NDArray[np.float64]

LEAST_CHECKS: Final = 6
WAYS: Final = ("best pace", "keep 1 bu/ac", "keep 1 %", "never change")


@dataclass
class Tally:
    """What was counted over all books."""

    curve: list[tuple[bool, bool, bool]] = field(default_factory=list)
    best: list[float] = field(default_factory=list)
    on_an_end: int = 0
    closed: int = 0
    regret: list[tuple[float, ...]] = field(default_factory=list)
    slower: int = 0
    wrongly_slower: int = 0


@dataclass(frozen=True)
class TrueCurves:
    """The true curves of one combine in one crop, as set at its last check, in the middle of its conditions."""

    of: losses.Response
    delta: float
    z: float
    header_z: float

    def machine_kg_ha(self, load_t_h: FloatArray) -> FloatArray:
        of = self.of
        bend = ((load_t_h / of.q0_t_h) ** of.kappa - 1.0) / of.kappa
        return np.exp(of.alpha + of.beta * bend + of.gamma * self.z + self.delta + of.tau**2 / 2.0)

    def header_kg_ha(self, speed_kmh: FloatArray) -> FloatArray:
        of = self.of
        level = of.header_alpha + of.header_beta * np.log(speed_kmh / of.v0_kmh)
        return np.exp(level + losses.HEADER_GAMMA * self.header_z + losses.HEADER_TAU**2 / 2.0)


def truth_of(seed: int, found: PaceAnswer, header_seen: bool) -> TrueCurves:
    """Read the true world where the book's curve stands."""
    curves = found.curves
    machine = next(m for m in farm.MACHINES if m.name == curves.combine.name)
    of = losses.response(seed, machine, curves.crop)
    settings = _settings(curves.own)
    return TrueCurves(
        of,
        losses.delta(of, curves.crop, settings),
        _middle_z(curves.points, curves.condition),
        _middle_z(curves.header_points, curves.header_condition) if header_seen else 0.0,
    )


def _settings(points: tuple[CheckPoint, ...]) -> dict[str, float]:
    last = max(points, key=lambda p: str(p.logged.body["taken_at"]))
    return {s["name"]: float(s["value"]) for s in last.logged.body["settings"] if s["name"] in farm.SETTINGS}


def _middle_z(points: tuple[CheckPoint, ...], condition: str | None) -> float:
    """The true score of straw moisture in the middle of what the curve was fitted to."""
    if condition != "straw_moisture_pct":
        return 0.0
    return float((np.mean([p.conditions[condition] for p in points if condition in p.conditions]) - 14.0) / 4.0)


def judge(seed: int, found: PaceAnswer, tally: Tally) -> None:
    """Hold one answer against its truth."""
    curves = found.curves
    own = [p.throughput_t_h for p in curves.own if p.throughput_t_h is not None]
    true = truth_of(seed, found, curves.header is not None)
    loads = np.array([min(own), float(np.median(own)), max(own)])
    drawn = curves.machine.loss_kg_ha(loads, combine=curves.combine.id, setup=curves.setup or None)
    low, high = np.quantile(drawn, [0.05, 0.95], axis=0)
    actual = true.machine_kg_ha(loads)
    tally.curve.append(tuple(bool(a <= x <= b) for a, x, b in zip(low, actual, high, strict=True)))  # type: ignore[arg-type]
    ends = found.loss.recommendable_kmh()
    speeds = np.geomspace(*ends, 2001)
    cost = _true_cost(found, true, speeds)
    best = float(speeds[int(np.argmin(cost))])
    tally.best.append(held(found.pace, best, ends))
    tally.on_an_end += int(best in (speeds[0], speeds[-1]))
    tally.closed += int(found.pace.own_best_kmh.low / 1.0001 <= best <= found.pace.own_best_kmh.high * 1.0001)
    usual = farm.CROPS[curves.crop].speed_kmh
    chosen = {
        "best pace": found.pace.best_kmh,
        "keep 1 bu/ac": _keeping(found, speeds, farm.CROPS[curves.crop].kg_ha_per_bu_ac),
        "keep 1 %": _keeping(found, speeds, 0.01 * (found.yield_kg_ha or 0.0)),
        "never change": float(np.clip(usual, speeds[0], speeds[-1])),
    }
    tally.regret.append(tuple(float(_true_cost(found, true, np.array([chosen[w]]))[0] - cost.min()) for w in WAYS))
    if found.pace.advice == "slower":
        tally.slower += 1
        tally.wrongly_slower += int(best >= usual)


def _true_cost(found: PaceAnswer, true: TrueCurves, speed_kmh: FloatArray) -> FloatArray:
    load = speed_kmh * found.width_m / 10.0 * (found.yield_kg_ha or 0.0) / 1000.0
    loss = true.machine_kg_ha(load)
    if found.curves.header is not None:
        loss = loss + true.header_kg_ha(speed_kmh)
    hours = 10.0 / (speed_kmh * found.width_m) + found.lost_time_h_ha
    return np.asarray(found.price_per_t / 1000.0 * loss + found.hour_cost_per_h * hours)


def _keeping(found: PaceAnswer, speeds: FloatArray, target_kg_ha: float) -> float:
    """Speed at which the middle of the program's own curves is nearest to a target loss."""
    rows = found.pace.table
    middle = np.interp(speeds, [r.speed_kmh for r in rows], [r.loss_kg_ha.median for r in rows])
    return float(speeds[int(np.argmin(np.abs(np.log(middle / target_kg_ha))))])


def one_book(seed: int, hour_cost: float, tally: Tally, only: str = "") -> None:
    """Write a book and judge every combine and crop in it."""
    with tempfile.TemporaryDirectory() as folder:
        story = Story(str(Path(folder) / "book.chaffinch"), seed)
        truth: dict[str, Any] = story.tell()
        desk: Desk = story.office
        counted: dict[tuple[str, str], int] = {}
        for check in truth["checks"]:
            pair = (check["combine"], check["crop"])
            counted[pair] = counted.get(pair, 0) + 1
        for (name, crop), checks in sorted(counted.items()):
            if checks < LEAST_CHECKS or only not in crop:
                continue
            combine = find_thing(desk, "combine", name)
            usual = farm.CROPS[crop].speed_kmh
            judge(seed, pace(desk, combine, crop, PaceTerms(hour_cost=hour_cost, today_kmh=usual)), tally)


@click.command()
@click.option("--books", default=3, show_default=True, type=click.IntRange(min=1))
@click.option("--seed", default=SEED, show_default=True)
@click.option("--hour-cost", default=450.0, show_default=True, help="Money per hour.")
@click.option("--only", default="", help="Crops with this in their name.")
@click.option("--markdown", is_flag=True)
def main(books: int, seed: int, hour_cost: float, only: str, markdown: bool) -> None:
    """Print how often the truth was held, and what each way of choosing a speed costs."""
    tally = Tally()
    for number in range(books):
        one_book(seed + number, hour_cost, tally, only)
    cases = len(tally.best)
    curve = np.mean(tally.curve, axis=0)
    rows = [
        ("curve at the lightest load", _share(curve[0], cases)),
        ("curve at the middle load", _share(curve[1], cases)),
        ("curve at the heaviest load", _share(curve[2], cases)),
        ("best speed", f"{100 * np.mean(tally.best):.1f} ± {100 * np.std(tally.best) / math.sqrt(cases):.1f} %"),
    ]
    regret = np.array(tally.regret)
    money = [(w, f"{regret[:, i].mean():.2f}", f"{np.quantile(regret[:, i], 0.9):.2f}") for i, w in enumerate(WAYS)]
    if markdown:
        click.echo("| held by the 90 % range | share (± one standard error) |\n|---|---:|")
        click.echo("\n".join(f"| {name} | {share} |" for name, share in rows))
        click.echo("\n| way of choosing a speed | mean regret per ha | nine in ten below |\n|---|---:|---:|")
        click.echo("\n".join(f"| {w} | {mean} | {most} |" for w, mean, most in money))
    else:
        click.echo("\n".join(f"{name:30}{share:>8}" for name, share in rows))
        click.echo("\n".join(f"{w:30}{mean:>8}{most:>8}" for w, mean, most in money))
    click.echo(f"\n{cases} pairs of combine and crop in {books} books; 'go slower' said {tally.slower} times, "
               f"wrongly {tally.wrongly_slower}")  # fmt: skip
    click.echo(f"the true best speed stands on an end of those that may be recommended in {tally.on_an_end}; "
               f"closed ranges held it in {tally.closed}")  # fmt: skip


def _share(p: float, count: int) -> str:
    return f"{100 * p:.1f} ± {100 * math.sqrt(p * (1 - p) / count):.1f} %"


if __name__ == "__main__":
    main()
