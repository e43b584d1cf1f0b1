"""What is the pace advice worth, and how often is it wrong? Worlds drawn from the prior, in money per hectare.

    python bench/pace_regret.py [--worlds 300] [--seed 1] [--jobs 2] [--level 1]

A world has a machine curve and a header curve of its own (slope, bend, scatter between places), a speed driven today,
an hour cost and a price. Its checks are pans and frames read to a tenth of a gram, turned into evidence and fitted;
nothing of the truth is handed over. Every way of choosing a speed then pays what the true curve says at that speed:

regret [money/ha]     true cost there less the least true cost within the speeds that may be recommended
wrong way             of the worlds where the speed was changed, those where the change cost money

"never change" is no choice at all; "keep 1 bu/ac" and "keep 1 %" drive where the middle of the same fitted curves,
header and machine together, comes nearest to that loss (canola's bushel, and the yield); "best pace" goes to the best
speed in every world, "advice" only where the answer says slower or faster, and "knowing" to the true best.
Slope, bend and scatter are drawn from the priors of design §4.7 and the levels from the prior the
fit is given (sd of the log 0.8, a little narrower than that of a single check); hour cost, price and speed are ours.
"""

from __future__ import annotations

import math
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from typing import Final

import click
import numpy as np
from numpy.typing import NDArray

from chaffinch.engine.catch import read
from chaffinch.engine.estimate import Prior
from chaffinch.engine.evidence import Catch, evidence
from chaffinch.engine.exposure import Exposure, in_discharge
from chaffinch.engine.pace.best import Pace, best_pace
from chaffinch.engine.pace.curves import pair_posteriors
from chaffinch.engine.response.fit import fit_response
from chaffinch.engine.response.loss_point import LossPoint

FloatArray = NDArray[np.float64]

PLANS: Final = {
    # Speeds of the checks, as shares of today's.
    "3 at today's speed": (1.0, 1.0, 1.0),
    "1 slower, 1 as today, 1 faster": (0.75, 1.0, 1.25),
    "2 slower, 2 as today, 2 faster": (0.75, 0.75, 1.0, 1.0, 1.25, 1.25),
    "4 slower, 4 as today, 4 faster": (0.75,) * 4 + (1.0,) * 4 + (1.25,) * 4,
}
WAYS: Final = ("never change", "keep 1 bu/ac", "keep 1 %", "best pace", "advice", "knowing")
ADVICE_COLUMN: Final = WAYS.index("advice")
BUSHEL_PER_ACRE_KG_HA: Final = 50 * 0.45359237 / 0.40468564224
"""50 lb of canola on an acre."""
MEDIAN_KG_HA: Final = {"machine": 40.0, "header": 20.0}
LEVEL_SD_LOG: Final = 0.8
WIDTH_M: Final = 12.0
LOST_TIME_H_HA: Final = 0.06
YIELD_KG_HA: Final = 2500.0
PAN: Final = in_discharge(0.5, WIDTH_M, 2.0)
FRAME: Final = Exposure(0.0, 1.0, 0.0, "ground", False)
"""A square metre of header strip, what lay there before taken as nothing."""
PANS, FRAMES, STEP_G, TKW_G = 3, 4, 0.1, 3.5


@dataclass(frozen=True)
class World:
    """The truth: curves (level at today's speed [ln kg/ha], slope, bend, scatter) and what today is like."""

    machine: tuple[float, float, float, float]
    header: tuple[float, float, float, float]
    today_kmh: float
    hour_cost_per_h: float
    price_per_t: float

    @staticmethod
    def drawn(rng: np.random.Generator, level: float = 1.0) -> World:
        """A world whose losses are ``level`` times the usual ones, on average."""

        def curve(median: float, slope_mean: float) -> tuple[float, float, float, float]:
            height = rng.normal(math.log(median), LEVEL_SD_LOG)
            return height, rng.normal(slope_mean, 0.8), rng.uniform(0.0, 1.5), 0.25 * math.exp(rng.normal(0.0, 0.5))

        return World(
            machine=curve(level * MEDIAN_KG_HA["machine"], 1.3),
            header=curve(level * MEDIAN_KG_HA["header"], 0.0),
            today_kmh=rng.uniform(4.5, 8.0),
            hour_cost_per_h=rng.uniform(200.0, 700.0),
            price_per_t=rng.uniform(250.0, 700.0),
        )

    def loss_kg_ha(self, which: str, speed_kmh: FloatArray) -> FloatArray:
        """Mean over places [kg/ha]."""
        level, slope, bend, scatter = getattr(self, which)
        return np.exp(level + slope * ((speed_kmh / self.today_kmh) ** bend - 1.0) / bend + scatter**2 / 2.0)

    def cost_per_ha(self, speed_kmh: FloatArray) -> FloatArray:
        speed = np.asarray(speed_kmh, dtype=np.float64)
        loss = self.loss_kg_ha("machine", speed) + self.loss_kg_ha("header", speed)
        time = 10.0 / (speed * WIDTH_M) + LOST_TIME_H_HA
        return self.price_per_t / 1000.0 * loss + self.hour_cost_per_h * time

    def caught(self, which: str, speed_kmh: float, rng: np.random.Generator) -> list[Catch]:
        """The catches of one check, seed by seed, at a place of its own."""
        scatter = getattr(self, which)[3]
        here = float(self.loss_kg_ha(which, np.array([speed_kmh]))[0])
        here *= math.exp(rng.normal(0.0, scatter) - scatter**2 / 2.0)
        exposure, count, c0 = (PAN, PANS, 0.40) if which == "machine" else (FRAME, FRAMES, 0.50)
        shape = 1.0 / (c0 * math.exp(rng.normal(0.0, 0.35))) ** 2
        seeds = rng.poisson(0.1 * exposure.area_m2(which) * here * 1000.0 / TKW_G * rng.gamma(shape, 1 / shape, count))
        grams = np.round(seeds * TKW_G / 1000.0 / STEP_G) * STEP_G
        return [Catch(read("weighed", float(g), STEP_G, tkw_g=TKW_G), exposure) for g in grams]


@dataclass(frozen=True)
class Outcome:
    """What one world paid, by way of choosing [money/ha], and how the answer stood to the truth."""

    regret: tuple[float, ...]
    moved: tuple[int, ...]
    """1 for a change that saved money, −1 for one that cost some, 0 for none."""
    advice: str
    best_held: float
    """Share of the places the true best speed may take that the 90 % range holds, see :func:`held`."""
    extra_within_range: bool


def outcome(plan: str, seed: int, level: float = 1.0) -> Outcome:
    """Play one world: the same world for every plan of one seed."""
    world = World.drawn(np.random.default_rng((seed, 1)), level)
    rng = np.random.default_rng((seed, 2))
    tested = [share * world.today_kmh for share in PLANS[plan]]
    found = _answer(world, tested, rng, seed, level)

    low, high = 0.9 * min(tested), 1.1 * max(tested)
    speeds = np.geomspace(low, high, 2001)
    costs = world.cost_per_ha(speeds)
    today = float(world.cost_per_ha(np.array([world.today_kmh]))[0])
    moves = found.advice in ("slower", "faster")
    chosen = (
        world.today_kmh,
        _keeping(found, speeds, BUSHEL_PER_ACRE_KG_HA),
        _keeping(found, speeds, 0.01 * YIELD_KG_HA),
        found.best_kmh,
        found.best_kmh if moves else world.today_kmh,
    )
    paid = [float(world.cost_per_ha(np.array([v]))[0]) for v in chosen] + [float(costs.min())]
    best = float(speeds[costs.argmin()])
    extra = found.today.extra_per_ha if found.today else None
    true_extra = today - paid[WAYS.index("best pace")]
    return Outcome(
        tuple(p - paid[-1] for p in paid),
        tuple(
            0 if v == world.today_kmh else (1 if p < today else -1) for v, p in zip((*chosen, best), paid, strict=True)
        ),
        found.advice,
        held(found, best, (low, high)),
        extra is not None and extra.low <= true_extra <= extra.high,
    )


def held(found: Pace, best_kmh: float, ends: tuple[float, float]) -> float:
    """Share of the places of the true best speed that lie within the central 90 % of what was believed of it.

    Inside the speeds that may be recommended it has one place: 1 or 0. Belief has lumps at both ends, and so has the
    truth: where it stands on an end it may be anywhere within the lump of belief there, every place alike, and the
    share of them between 5 and 95 % of belief counts. A closed range that ends there would hold it whatever was
    believed; for a calibrated belief this share is 90 % on average, lumps or none (the randomised probability
    integral transform, textbook form, from memory, with the chance averaged out).
    """
    if best_kmh <= ends[0] * 1.0001:
        return _within(0.0, found.p_at_edges[0])
    if best_kmh >= ends[1] * 0.9999:
        return _within(1.0 - found.p_at_edges[1], 1.0)
    return float(found.own_best_kmh.low <= best_kmh <= found.own_best_kmh.high)


def _within(first: float, last: float) -> float:
    """Share of the places from first to last of belief that lie between 5 and 95 %; 0 where nothing was believed."""
    return max(0.0, min(last, 0.95) - max(first, 0.05)) / (last - first) if last > first else 0.0


def _keeping(found: Pace, speeds: FloatArray, target_kg_ha: float) -> float:
    """Speed at which the middle of the fitted curves is nearest to a target loss [km/h]."""
    rows = found.table
    middle = np.interp(speeds, [r.speed_kmh for r in rows], [r.loss_kg_ha.median for r in rows])
    return float(speeds[np.abs(np.log(middle / target_kg_ha)).argmin()])


def _answer(world: World, tested: list[float], rng: np.random.Generator, seed: int, level: float) -> Pace:
    """The pace by the checks alone."""
    posteriors, learned = {}, 0.0
    grid = np.geomspace(0.85 * min(tested), 1.15 * max(tested), 13)
    for which, median in MEDIAN_KG_HA.items():
        points = [LossPoint(evidence(world.caught(which, speed, rng), which), speed) for speed in tested]
        fit = fit_response(
            points, source=which, prior=Prior(level * median, LEVEL_SD_LOG), load_kind="speed", seed=seed
        )
        posteriors[which] = fit.loss_kg_ha(grid), fit.weights
        if which == "machine":
            learned = fit.learned()["slope"]
    loss = pair_posteriors(
        grid, posteriors["machine"], posteriors["header"], tested_kmh=(min(tested), max(tested)), seed=seed
    )
    return best_pace(
        loss,
        width_m=WIDTH_M,
        price_per_t=world.price_per_t,
        hour_cost_per_h=world.hour_cost_per_h,
        lost_time_h_ha=LOST_TIME_H_HA,
        today_kmh=world.today_kmh,
        slope_learned=learned,
    )


def played(plan: str, worlds: int, seed: int, jobs: int, level: float = 1.0) -> list[Outcome]:
    """Outcomes of many worlds, in order."""
    seeds = [1_000_000 * seed + i for i in range(worlds)]
    if jobs == 1:
        return [outcome(plan, s, level) for s in seeds]
    with ProcessPoolExecutor(jobs) as pool:
        return list(pool.map(outcome, [plan] * worlds, seeds, [level] * worlds, chunksize=8))


def lines(plan: str, outcomes: list[Outcome]) -> list[str]:
    """One row of the table for each way of choosing."""
    rows = []
    n = len(outcomes)
    for column, way in enumerate(WAYS):
        regret = np.array([o.regret[column] for o in outcomes])
        moved = np.array([o.moved[column] for o in outcomes])
        wrong = f"{100 * np.mean(moved[moved != 0] < 0):.0f} %" if (moved != 0).any() else "–"
        rows.append(
            f"| {plan} | {way} | {regret.mean():.2f} ± {regret.std() / math.sqrt(n):.2f} "
            f"| {np.quantile(regret, 0.9):.2f} | {100 * np.mean(moved != 0):.0f} % | {wrong} |"
        )
    return rows


@click.command()
@click.option("--worlds", default=300, show_default=True, type=click.IntRange(min=2))
@click.option("--seed", default=1, show_default=True, type=click.IntRange(min=0))
@click.option("--jobs", default=1, show_default=True, type=click.IntRange(min=1))
@click.option(
    "--level", default=1.0, show_default=True, type=click.FloatRange(min=0.01), help="Losses, times the usual."
)
@click.option("--only", default="", help="Plans by a piece of their name.")
def main(worlds: int, seed: int, jobs: int, level: float, only: str) -> None:
    """Print the regret of every way of choosing a speed, as a table."""
    plans = [plan for plan in PLANS if only in plan]
    if not plans:
        raise click.UsageError(f"no plan is called {only}")
    click.echo("| checks | way | regret, mean | worst tenth from | changes | wrong way |")
    click.echo("|---|---|---|---|---|---|")
    notes = []
    for plan in plans:
        outcomes = played(plan, worlds, seed, jobs, level)
        for line in lines(plan, outcomes):
            click.echo(line)
        said = {word: sum(o.advice == word for o in outcomes) for word in ("slower", "faster", "stay", "not settled")}
        slower = [o for o in outcomes if o.advice == "slower"]
        right = sum(o.moved[ADVICE_COLUMN] > 0 for o in slower)
        best = 100 * np.mean([o.best_held for o in outcomes])
        extra = 100 * np.mean([o.extra_within_range for o in outcomes])
        notes.append(
            f"{plan}: {', '.join(f'{word} {count}' for word, count in said.items())}; "
            f"slower was right in {right} of {len(slower)}; "
            f"the 90 % range held the best speed in {best:.1f} % and today's extra cost in {extra:.1f} %"
        )
    click.echo("")
    for note in notes:
        click.echo(note)
    click.echo(
        f"{worlds} worlds, seed {seed}, losses times {level:g}; shares of 300 worlds near 90 % err by 1.7 points"
    )


if __name__ == "__main__":
    main()
