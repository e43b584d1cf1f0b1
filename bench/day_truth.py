"""What is a day's plan worth, and do its ranges hold what was truly lost? On the simulated farm, in money per hectare.

    python bench/day_truth.py [--worlds 150] [--seed 1] [--jobs 1] [--only "8 checks"]

A world is a machine in a crop of ``examples/simulated_world`` with its weather, drawn from a seed: dew, heat, straw and
grain that lag it, losses that answer to load and straw. Checks of three pans and four frames are taken on the four
days before, humidity is read on the hour from 09:00 as the farm's crew does, and the fifth day's forecast is the
weather with errors of its own. Nothing of the truth is handed over. Every way of spending the day then pays what is
true:

plan             the cheapest hours that finish the area, each at its best pace
same hours       the plan's paces, but from 10:00 on until the area is done
constant         one pace all day, the best in the middle of the day's toughness, from 10:00 on
keep 1 bu/ac     from 10:00 on, in each hour the pace whose expected loss is nearest to one bushel per acre
true optimum     the cheapest hours and paces by the truth, within the same speeds

regret           true cost less that of the true optimum [money/ha]
held             share of hours whose 90 % range holds the true loss, mean over places, at the plan's pace
"""

from __future__ import annotations

import math
import sys
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import click
import numpy as np
from numpy.typing import NDArray

sys.path.insert(0, str(Path(__file__).resolve().parent.parent / "examples"))

from simulated_world import farm, losses, weather

from chaffinch.engine.air.grain import HUMIDITY_SPAN_PCT, equilibrium_pct
from chaffinch.engine.air.lag import grain_course, toughness
from chaffinch.engine.catch import read
from chaffinch.engine.day.hours import Day, Job, plan_day
from chaffinch.engine.day.losses import TOUGHNESS, AskedOf, DayLosses, Told, day_losses
from chaffinch.engine.estimate import Range, default_prior
from chaffinch.engine.evidence import Catch, evidence
from chaffinch.engine.exposure import Exposure, in_discharge
from chaffinch.engine.response.fit import Response, fit_response
from chaffinch.engine.response.loss_point import LossPoint
from chaffinch.engine.work import lost_time_h_ha
from chaffinch.reference.grain_air import isotherm_of

FloatArray = NDArray[np.float64]

PLANS: Final = {"no checks": 0, "4 checks": 4, "8 checks": 8, "24 checks": 24}
WAYS: Final = ("plan", "same hours", "constant", "keep 1 bu/ac", "true optimum")
CROPS: Final = ("canola", "wheat", "barley")
SEASON: Final = "2026"
HOURS: Final = tuple(range(8, 24))
STARTS_AT: Final = 10
"""Hour at which a crew without a plan begins."""
AREA_HOURS: Final = 7.0
"""Area left, in hours at the crop's usual speed [h]."""
HOUR_COST: Final = 450.0
HUMIDITY_ERROR: Final = (6.0, 3.0)
"""Sd of a forecast's humidity, over the whole day and from hour to hour [points]; own figures."""
FRAME: Final = Exposure(0.0, 1.0, 0.0, "ground", False)
PANS, FRAMES, STEP_G = 3, 4, 0.1
PAN_M2: Final = 0.36


@dataclass(frozen=True)
class World:
    """The truth of one machine in one crop, and its weather."""

    seed: int
    machine: farm.Machine
    crop_name: str
    day: int
    yield_kg_ha: float

    @staticmethod
    def drawn(seed: int) -> World:
        chance = np.random.default_rng([seed, 7])
        machine, name = farm.MACHINES[int(chance.integers(3))], CROPS[int(chance.integers(3))]
        harvested = farm.CROPS[name].yield_kg_ha * math.exp(0.12 * chance.standard_normal())
        return World(seed, machine, name, int(chance.integers(12, 50)), harvested)

    @property
    def crop(self) -> farm.Crop:
        return farm.CROPS[self.crop_name]

    @property
    def load_per_kmh(self) -> float:
        return self.machine.cut.si / 10.0 * self.yield_kg_ha / 1000.0

    def air(self, day: int, hour: float) -> weather.Air:
        return weather.air_at(self.seed, SEASON, day, hour)

    def loss_kg_ha(self, which: str, speed_kmh: FloatArray, z: float) -> FloatArray:
        """Mean over places [kg/ha]."""
        of = losses.response(self.seed, self.machine, self.crop_name)
        if which == "machine":
            bend = ((speed_kmh * self.load_per_kmh / of.q0_t_h) ** of.kappa - 1.0) / of.kappa
            return np.exp(of.alpha + of.beta * bend + of.gamma * z + of.tau**2 / 2.0)
        level = of.header_alpha + of.header_beta * np.log(speed_kmh / of.v0_kmh) + losses.HEADER_GAMMA * z
        return np.exp(level + losses.HEADER_TAU**2 / 2.0)

    def cost_per_ha(self, speed_kmh: FloatArray, z: float, job: Job) -> FloatArray:
        grain = (self.loss_kg_ha("machine", speed_kmh, z) + self.loss_kg_ha("header", speed_kmh, z)) / 1000.0
        return grain * job.price_per_t + job.hour_cost_per_h * time_h_ha(speed_kmh, job)

    def caught(self, which: str, speed: float, z: float, chance: np.random.Generator) -> list[Catch]:
        """The catches of one check at a place of its own."""
        of = losses.response(self.seed, self.machine, self.crop_name)
        scatter = of.tau if which == "machine" else losses.HEADER_TAU
        here = float(self.loss_kg_ha(which, np.array([speed]), z)[0])
        here *= math.exp(scatter * chance.standard_normal() - scatter**2 / 2.0)
        pan = in_discharge(PAN_M2, self.machine.cut.si, self.machine.drop.si)
        exposure, count, c0 = (pan, PANS, 0.40) if which == "machine" else (FRAME, FRAMES, 0.50)
        shape = 1.0 / (c0 * math.exp(0.35 * chance.standard_normal())) ** 2
        tkw = self.crop.tkw_g
        due = 0.1 * exposure.area_m2(which) * here * 1000.0 / tkw * chance.gamma(shape, 1.0 / shape, count)
        grams = np.round(chance.poisson(due) * tkw / 1000.0 / STEP_G) * STEP_G
        return [Catch(read("weighed", float(g), STEP_G, tkw_g=tkw), exposure) for g in grams]


def time_h_ha(speed_kmh: FloatArray, job: Job) -> FloatArray:
    """Hours that a hectare takes."""
    return 10.0 / (speed_kmh * job.width_m) + job.lost_time_h_ha


@dataclass(frozen=True)
class Outcome:
    """What one world paid by way of spending the day [money/ha], and which ranges held."""

    paid: tuple[float, ...]
    machine_held: float
    header_held: float
    grain_held: float | None
    widths: float
    """Upper over lower end of the machine's range, middle of the hours [1]."""
    is_a_guide: bool
    apart: bool
    """Machine and header losses moved in opposite directions between the driest and the toughest hour."""


def outcome(plan: str, seed: int) -> Outcome:
    """Play one world."""
    world = World.drawn(seed)
    chance = np.random.default_rng([seed, 11])
    crop, width = world.crop, world.machine.cut.si
    job = Job(
        width_m=width,
        price_per_t=crop.price_per_t,
        hour_cost_per_h=HOUR_COST,
        lost_time_h_ha=lost_time_h_ha(0.70, 5.0, width),
        area_left_ha=AREA_HOURS / float(10.0 / (crop.speed_kmh * width) + lost_time_h_ha(0.70, 5.0, width)),
    )
    found = _losses(world, PLANS[plan], chance)
    truth = [world.air(world.day, hour) for hour in HOURS]
    index, humidity = _forecast(world, chance)
    day = plan_day(found, index, job, grain=_grain(world, humidity, chance))
    paid = _paid(world, found, day, index, truth, job)
    machine_held, header_held = (
        float(np.mean([
            r.low <= float(world.loss_kg_ha(which, np.array([h.best_kmh]), air.z)[0]) <= r.high
            for h, air in zip(day.hours, truth, strict=True)
            if (r := h.machine_kg_ha if which == "machine" else h.header_kg_ha) is not None
        ]))
        for which in ("machine", "header")
    )  # fmt: skip
    grain_held = None
    if day.hours[0].grain_pct is not None:
        true = [air.grain_moisture_pct[world.crop_name] for air in truth]
        grain_held = float(np.mean([_in(h.grain_pct, m) for h, m in zip(day.hours, true, strict=True)]))
    dry, tough = int(index.argmin()), int(index.argmax())
    at = [found.at(float(index[k])) for k in (dry, tough)]
    middle = at[0].speed_kmh.size // 2
    ways = [np.median(at[1].machine_kg_ha[:, middle]) - np.median(at[0].machine_kg_ha[:, middle])]
    if at[0].header_kg_ha is not None and at[1].header_kg_ha is not None:
        ways.append(np.median(at[1].header_kg_ha[:, middle]) - np.median(at[0].header_kg_ha[:, middle]))
    return Outcome(
        paid,
        machine_held,
        header_held,
        grain_held,
        float(np.median([h.machine_kg_ha.high / h.machine_kg_ha.low for h in day.hours])),
        day.is_a_guide,
        len(ways) == 2 and ways[0] > 0 > ways[1],
    )


def _in(r: Range | None, value: float) -> bool:
    return r is not None and r.low <= value <= r.high


def _losses(world: World, count: int, chance: np.random.Generator) -> DayLosses:
    """Curves by the checks alone."""
    points: dict[str, list[LossPoint]] = {"machine": [], "header": []}
    speeds = []
    for k in range(count):
        day, hour = world.day - 4 + k % 4, 9.5 + 12.0 * chance.random()
        speed = world.crop.speed_kmh * math.exp(chance.uniform(-0.4, 0.3))
        air = world.air(day, hour)
        tough = _read_toughness(world, day, hour)
        speeds.append(speed)
        for which, load in (("machine", speed * world.load_per_kmh), ("header", speed)):
            told = evidence(world.caught(which, speed, air.z, chance), which)
            points[which].append(LossPoint(told, load, combine="it", conditions={TOUGHNESS: tough}))
    toughs = [p.conditions[TOUGHNESS] for p in points["machine"]]
    told = Told(count >= 3, float(np.mean(toughs)), float(np.std(toughs))) if count else None
    fits = {which: _fit(world, which, points[which], count >= 3) for which in points}
    low, high = (0.9 * min(speeds), 1.1 * max(speeds)) if speeds else (2.0, 10.0)
    return day_losses(
        np.geomspace(low, high, 14),
        AskedOf(fits["machine"], world.load_per_kmh, told, combine="it"),
        AskedOf(fits["header"], 1.0, told, combine="it"),
        tested_kmh=(min(speeds), max(speeds)) if speeds else None,
        yield_kg_ha=world.yield_kg_ha,
        seed=world.seed,
    )


def _fit(world: World, which: str, points: list[LossPoint], with_toughness: bool) -> Response:
    return fit_response(
        points,
        source=which,  # type: ignore[arg-type]
        prior=default_prior(which, world.yield_kg_ha),
        load_kind="throughput" if which == "machine" else "speed",
        conditions=[TOUGHNESS] if with_toughness else [],
        reference_load=None if points else (world.load_per_kmh * 5.0 if which == "machine" else 5.0),
        seed=world.seed,
    )


def _read_toughness(world: World, day: int, hour: float) -> float:
    """By readings on the hour from 09:00 up to now, rounded as an instrument shows them."""
    times = [float(h) for h in range(9, int(hour) + 1)] + [hour]
    times = sorted(set(times))
    humidity = [round(world.air(day, t).humidity_pct) for t in times]
    return float(toughness(np.array(times), np.array(humidity, dtype=float))[-1])


def _forecast(world: World, chance: np.random.Generator) -> tuple[FloatArray, FloatArray]:
    """Toughness by a forecast of the whole day with its errors, and the humidity of the hours planned."""
    every = np.arange(0.0, 24.0)
    true = np.array([world.air(world.day, hour).humidity_pct for hour in every])
    error = HUMIDITY_ERROR[0] * chance.standard_normal() + HUMIDITY_ERROR[1] * chance.standard_normal(every.size)
    told = np.clip(true + error, 2.0, 100.0)
    return toughness(every, told)[HOURS[0] :], told


def _grain(world: World, humidity: FloatArray, chance: np.random.Generator) -> object:
    """Moisture foretold with one reading at 08:00."""
    isotherm = isotherm_of(world.crop_name)
    assert isotherm is not None
    warm = np.array([world.air(world.day, h).air_temperature_c for h in range(24)]) + chance.standard_normal()
    aim = equilibrium_pct(isotherm, warm, np.clip(humidity, *HUMIDITY_SPAN_PCT))
    seen = world.air(world.day, 8.0).grain_moisture_pct[world.crop_name] + 0.2 * chance.standard_normal()
    course = grain_course(np.arange(24.0), aim, isotherm.plus_minus.value, [(8.0, float(seen))])
    return type(course)(course.mean_pct[HOURS[0] :], course.sd_pct[HOURS[0] :])


def _paid(
    world: World, found: DayLosses, day: Day, index: FloatArray, truth: list[weather.Air], job: Job
) -> tuple[float, ...]:
    """True cost per hectare of each way of spending the day."""
    assert job.area_left_ha is not None
    area = job.area_left_ha
    low, high = found.at(0.5).recommendable_kmh()
    speeds = np.geomspace(low, high, 400)
    middle = plan_day(found, np.array([float(np.median(index))]), job).hours[0].best_kmh
    kept = [_keeping(found, world, float(x), speeds) for x in index]
    planned = [h.best_kmh for h in day.hours]
    late = [k for k, hour in enumerate(HOURS) if hour >= STARTS_AT]
    by_plan = (
        sum(
            h.worked * h.ha_h * float(world.cost_per_ha(np.array([h.best_kmh]), air.z, job)[0])
            for h, air in zip(day.hours, truth, strict=True)
        )
        / day.done_ha
    )
    best, costs = [], []
    for air in truth:
        row = world.cost_per_ha(speeds, air.z, job)
        best.append(float(speeds[row.argmin()]))
        costs.append(float(row.min()))
    cheapest = sorted(range(len(HOURS)), key=lambda k: costs[k])
    return (
        by_plan,
        _until_done(world, planned, late, truth, job, area),
        _until_done(world, [middle] * len(HOURS), late, truth, job, area),
        _until_done(world, kept, late, truth, job, area),
        _until_done(world, best, cheapest, truth, job, area),
    )


def _until_done(
    world: World, speeds: list[float], order: list[int], truth: list[weather.Air], job: Job, area: float
) -> float:
    """Mean true cost per hectare of working these hours in this order until the area is done."""
    left, total = area, 0.0
    for k in order:
        speed = np.array([speeds[k]])
        done = min(left, float(1.0 / time_h_ha(speed, job)[0]))
        total += done * float(world.cost_per_ha(speed, truth[k].z, job)[0])
        left -= done
        if left <= 0.0:
            break
    return total / (area - left)


def _keeping(found: DayLosses, world: World, index: float, speeds: FloatArray) -> float:
    """Speed at which the middle of the same curves is nearest to a bushel per acre."""
    here = found.at(index)
    both = np.median(here.together_kg_ha(), axis=0)
    middle = np.interp(np.log(speeds), np.log(here.speed_kmh), np.log(both))
    return float(speeds[np.abs(middle - math.log(world.crop.kg_ha_per_bu_ac)).argmin()])


def played(plan: str, worlds: int, seed: int, jobs: int) -> list[Outcome]:
    """Outcomes of many worlds, in order."""
    seeds = [1_000_000 * seed + k for k in range(worlds)]
    if jobs == 1:
        return [outcome(plan, one) for one in seeds]
    with ProcessPoolExecutor(jobs) as pool:
        return list(pool.map(outcome, [plan] * worlds, seeds, chunksize=4))


def lines(plan: str, found: list[Outcome]) -> list[str]:
    """Two tables' rows: regrets, then what was held."""
    paid = np.array([one.paid for one in found])
    regret = paid - paid[:, [WAYS.index("true optimum")]]
    cells = [f"{r.mean():.2f} ± {r.std() / math.sqrt(len(found)):.2f}" for r in regret.T[:-1]]
    return [f"| {plan} | {' | '.join(cells)} | {paid[:, -1].mean():.2f} |"]


def held_line(plan: str, found: list[Outcome]) -> str:
    """How often ranges held, their width, and how many worlds called themselves a guide."""
    grain = [one.grain_held for one in found if one.grain_held is not None]
    shares = (
        np.array([one.machine_held for one in found]),
        np.array([one.header_held for one in found]),
        np.array(grain),
    )
    told = [f"{100 * s.mean():.1f} ± {100 * s.std() / math.sqrt(s.size):.1f} %" for s in shares]
    width = float(np.median([one.widths for one in found]))
    guide = 100 * np.mean([one.is_a_guide for one in found])
    apart = 100 * np.mean([one.apart for one in found])
    return f"| {plan} | {' | '.join(told)} | {width:.1f} | {guide:.0f} % | {apart:.0f} % |"


@click.command()
@click.option("--worlds", default=150, show_default=True, type=click.IntRange(min=2))
@click.option("--seed", default=1, show_default=True, type=click.IntRange(min=0))
@click.option("--jobs", default=1, show_default=True, type=click.IntRange(min=1))
@click.option("--only", default="", help="Plans by a piece of their name.")
def main(worlds: int, seed: int, jobs: int, only: str) -> None:
    """Print what each way of spending the day costs, and how often the ranges hold."""
    plans = [plan for plan in PLANS if only in plan]
    if not plans:
        raise click.UsageError(f"no plan is called {only}")
    found = {plan: played(plan, worlds, seed, jobs) for plan in plans}
    click.echo("| checks | plan | same hours | constant | keep 1 bu/ac | cost at the true optimum |")
    click.echo("|---|---|---|---|---|---|")
    for plan in plans:
        for line in lines(plan, found[plan]):
            click.echo(line)
    click.echo("")
    click.echo("| checks | machine held | header held | grain held | width | a guide | move apart |")
    click.echo("|---|---|---|---|---:|---:|---:|")
    for plan in plans:
        click.echo(held_line(plan, found[plan]))
    click.echo("")
    click.echo(f"{worlds} worlds, seed {seed}")


if __name__ == "__main__":
    main()
