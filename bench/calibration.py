"""How often does the 90 % range hold the truth? Thousands of invented checks through the real engine.

    python bench/calibration.py [--checks 2000] [--seed 1] [--jobs 2] [--only TEXT] [--markdown]

Each scenario draws true losses and readings from ``worlds.py``, gives the readings to the engine as a person would
have written them down, and counts. Three groups: worlds as the estimate assumes (bar: 87 to 93 %), the same kit at a
loss held fixed, and worlds that break an assumption.
"""

from __future__ import annotations

import math
import multiprocessing
import os
import sys
import time
import zlib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

import click
import numpy as np
from numpy.typing import NDArray

from chaffinch import __version__
from chaffinch.engine.catch import Reading, mass_of_flat_layer_g, mass_of_volume_g, read
from chaffinch.engine.estimate import Belief, default_prior, estimate, verdict
from chaffinch.engine.evidence import Catch, evidence, profile
from chaffinch.engine.exposure import (
    WIDTH_SD,
    Exposure,
    across_whole_cut,
    behind,
    in_discharge,
    in_header_strip,
    in_standing_crop,
    in_windrow,
    leaking,
    profile_lengths_m,
)
from chaffinch.engine.sources import common_scale_sd, locate, sources_seen
from worlds import FABA_BEAN, PRIOR_MEDIAN_KG_HA, SOYBEAN, Farm, Nature, Taking, days

FloatArray = NDArray[np.float64]
AS_USUAL: Final = Farm()
AS_ASSUMED: Final = Nature()

BAR: Final = (0.87, 0.93)
"""What the 90 % range must cover where the world is as assumed, over 2,000 checks or more (design §6)."""
POINTS: Final = (0.05, 0.25, 0.50, 0.75, 0.95)
_CHUNK: Final = 50
TOTAL: Final = ("standing", "header", "machine")


@dataclass(frozen=True, slots=True)
class Scenario:
    """A plan of catches in a kind of world.

    Attributes
    ----------
    group : str
        ``as assumed``, ``loss fixed`` or ``assumption broken``; only the first is held to the bar.
    judged : tuple of tuple of str
        Losses looked at: each a sum of sources.
    limited : bool
        Whether verdicts are looked at: the limit stands at the prior median of the loss judged.
    """

    name: str
    takings: tuple[Taking, ...]
    farm: Farm = AS_USUAL
    nature: Nature = AS_ASSUMED
    group: str = "as assumed"
    judged: tuple[tuple[str, ...], ...] = (("machine",),)
    limited: bool = True

    def limit_kg_ha(self, judged: Sequence[str]) -> float:
        """Limit that verdicts are given against [kg/ha]: the prior median, so that both verdicts occur."""
        return sum(PRIOR_MEDIAN_KG_HA[s] for s in judged)


@dataclass(frozen=True, slots=True)
class Score:
    """What came of one judged loss of one scenario; shares are parts of 1."""

    scenario: str
    group: str
    judged: str
    checks: int
    covers_90: float
    covers_50: float
    width: float
    over: int
    over_true: float
    over_said: float
    under: int
    under_true: float
    under_said: float
    limited: bool

    @property
    def error(self) -> float:
        """Half width of the 95 % interval of ``covers_90``: 1.96 · sqrt(p(1 − p)/n)."""
        return 1.96 * math.sqrt(self.covers_90 * (1.0 - self.covers_90) / self.checks)

    @property
    def within_bar(self) -> bool:
        """Whether the 90 % range covers 87 to 93 %."""
        return BAR[0] <= self.covers_90 <= BAR[1]


def _scenarios() -> tuple[Scenario, ...]:
    pan = Taking("discharge")
    small = replace(pan, area_m2=0.0929)
    spanning = replace(pan, area_m2=0.6, width_m=2.0)
    frame = Taking("standing", "counted", 1.0, area_m2=0.929)
    count = replace(frame, area_m2=0.0929)
    spread = Farm(discharge_m=9.0, spreading=True)
    # Who knows how far his pans stood from the middle has taped the edges as well.
    taped = replace(spread, widths_taped=True)
    across = tuple(replace(pan, offset_m=x) for x in (-3.2, -1.6, 0.0, 1.6, 3.2))
    two_runs = (*across, *(replace(t, run=2) for t in across))
    standing4 = (replace(count, area_m2=0.25),) * 4
    strip4 = tuple(replace(t, place="header strip") for t in standing4)
    each = (("standing",), ("header",), ("machine",), TOTAL)

    right = [
        Scenario("1 pan, 0.1 g scale", (pan,)),
        Scenario("3 pans, 0.1 g scale", (pan,) * 3),
        Scenario("8 pans, 0.1 g scale", (pan,) * 8),
        Scenario("3 small pans (1 ft²), 1 g scale", (replace(small, step=1.0),) * 3),
        Scenario("3 pans, 5 g scale", (replace(pan, step=5.0),) * 3),
        Scenario("8 small pans (1 ft²), 5 g scale", (replace(small, step=5.0),) * 8),
        Scenario("3 pans, seed counted", (replace(small, way="counted", step=1.0),) * 3),
        Scenario(
            "3 pans, counted, own TKW, taped width",
            (replace(small, way="counted", step=1.0),) * 3,
            Farm(tkw_measured=True, widths_taped=True),
        ),
        Scenario("1 frame of 10 ft², soybean counted", (frame,), Farm(SOYBEAN), judged=(("standing",),)),
        Scenario("3 frames of 10 ft², soybean counted", (frame,) * 3, Farm(SOYBEAN), judged=(("standing",),)),
        Scenario("3 frames of 10 ft², faba bean counted", (frame,) * 3, Farm(FABA_BEAN), judged=(("standing",),)),
        *(
            Scenario(
                f"8 frames of 10 ft², faba bean, {step:g} g scale",
                (replace(frame, way="weighed", step=step),) * 8,
                Farm(FABA_BEAN),
                judged=(("standing",),),
            )
            for step in (0.1, 1.0)
        ),
        Scenario("3 pans, soybean, 0.1 g scale", (pan,) * 3, Farm(SOYBEAN)),
        Scenario("3 frames of 1 ft², canola counted", (count,) * 3, judged=(("standing",),)),
        Scenario("3 pans spanning the discharge", (spanning,) * 3),
        Scenario("8 pans spanning the discharge, flat layer", (replace(spanning, way="flat", step=1.0),) * 8),
        Scenario("3 pans, spreading on", (pan,) * 3, spread),
        Scenario("3 pans, 5 mL cup", (replace(pan, way="measured", step=5.0),) * 3),
        Scenario("3 pans, flat layer, 5 cm² squares", (replace(pan, way="flat", step=5.0),) * 3),
        Scenario("2 × 1 m of windrow", (Taking("windrow"),) * 2),
        Scenario("5 pans across a spread, 1 run", across, taped),
        Scenario("5 pans across a spread, 2 runs", two_runs, taped),
        Scenario("5 pans across a spread, 2 runs, 1 g scale", tuple(replace(t, step=1.0) for t in two_runs), taped),
        Scenario("3 pans, ¼ weighed, 0.1 g scale", (replace(pan, subsample=0.25),) * 3),
        Scenario("3 pans, ¼ counted", (replace(small, way="counted", step=1.0, subsample=0.25),) * 3),
        Scenario("2 pans weighed, 2 counted", (pan, pan, *(replace(small, way="counted", step=1.0),) * 2)),
        Scenario("4 standing, 4 strip, 3 pans", (*standing4, *strip4, *(pan,) * 3), judged=each),
        Scenario(
            "4 standing, 4 strip, 4 behind, soybean",
            (*(frame,) * 4, *(replace(frame, place="header strip"),) * 4, *(replace(frame, place="behind"),) * 4),
            Farm(SOYBEAN),
            judged=each,
        ),
        Scenario("4 frames behind only", (replace(pan, place="behind"),) * 4, judged=(("machine",), TOTAL)),
        Scenario(
            "3 strips over the whole cut, 3 pans",
            (*(replace(pan, place="whole cut", area_m2=1.2192),) * 3, *(pan,) * 3),
            judged=(("machine",), TOTAL),
        ),
        Scenario(
            "2 leak catches, 3 pans",
            (*(Taking("leak", step=1.0),) * 2, *(pan,) * 3),
            judged=(("machine",), ("leak",), ("machine", "leak")),
        ),
    ]
    three, eight = (pan,) * 3, (pan,) * 8
    counted3 = (replace(small, way="counted", step=1.0),) * 3
    sources3 = (*standing4, *strip4, *three)
    fixed = [
        Scenario(
            f"3 pans, loss {times:g} × prior median",
            three,
            nature=Nature(fixed_kg_ha={"machine": times * PRIOR_MEDIAN_KG_HA["machine"]}),
            group="loss fixed",
            limited=times != 1.0,
        )
        for times in (0.1, 0.3, 1.0, 3.0, 10.0)
    ]
    wrong = [
        Scenario("catches differ twice as much, 3 pans", three, nature=Nature(c_factor=2.0)),
        Scenario("catches differ twice as much, 8 pans", eight, nature=Nature(c_factor=2.0)),
        Scenario("lognormal between catches, 3 pans", three, nature=Nature(between="lognormal")),
        Scenario("lognormal between catches, 8 pans", eight, nature=Nature(between="lognormal")),
        Scenario("one of 3 pans held half", three, nature=Nature(first_catch=0.5)),
        Scenario("one of 8 pans held half", eight, nature=Nature(first_catch=0.5)),
        Scenario("one of 3 pans missed", three, nature=Nature(first_catch=0.0)),
        Scenario("one of 8 pans missed", eight, nature=Nature(first_catch=0.0)),
        Scenario("TKW 25 % too low, 3 pans counted", counted3, nature=Nature(tkw_factor=1.25)),
        Scenario("drop width 20 % too low, 3 pans", three, nature=Nature(discharge_factor=1.2)),
        Scenario("drop width 20 % too low, 8 pans", eight, nature=Nature(discharge_factor=1.2)),
        Scenario("pan under the hump, 3 pans", three, nature=Nature(hump=True)),
        Scenario("pan under the hump, 8 pans", eight, nature=Nature(hump=True)),
        Scenario("5 pans across a spread, 2 runs, edges guessed", two_runs, spread),
        Scenario("5 pans across a spread, 2 runs, 5 g scale", tuple(replace(t, step=5.0) for t in two_runs), taped),
        Scenario("10 % of machine loss on the strip", sources3, nature=Nature(onto_strip=0.1), judged=each),
    ]
    return (*right, *fixed, *(replace(s, group="assumption broken") for s in wrong))


SCENARIOS: Final = _scenarios()


def written_down(farm: Farm, takings: Sequence[Taking], values: Iterable[float]) -> list[Catch]:
    """Engine catches from what a person wrote down: the farm's figures, not the true ones."""
    crop = farm.crop
    gram_per_unit = {
        "measured": mass_of_volume_g(1.0, crop.test_weight_kg_hl),
        "flat": mass_of_flat_layer_g(1.0, crop.seed_diameter_mm, crop.kernel_density_g_cm3),
    }
    catches: list[Catch] = []
    runs: dict[int, list[tuple[Taking, Reading]]] = {}
    for taking, value in zip(takings, values, strict=True):
        reading = read(
            taking.way,
            float(value),
            taking.step,
            tkw_g=crop.tkw_g,
            tkw_measured=farm.tkw_measured,
            gram_per_unit=gram_per_unit.get(taking.way, 1.0),
            subsample=taking.subsample,
        )
        if taking.offset_m is None:
            catches.append(Catch(reading, _exposure(farm, taking)))
        else:
            runs.setdefault(taking.run, []).append((taking, reading))
    for run in runs.values():
        lengths = profile_lengths_m([t.offset_m for t, _ in run if t.offset_m is not None], farm.discharge_m)
        catches.append(profile([r for _, r in run], [t.area_m2 for t, _ in run], lengths, farm.cut_m))
    return catches


def _exposure(farm: Farm, taking: Taking) -> Exposure:
    if taking.place == "standing":
        return in_standing_crop(taking.area_m2)
    if taking.place == "header strip":
        return in_header_strip(taking.area_m2)
    if taking.place == "whole cut":
        return across_whole_cut(taking.area_m2)
    if taking.place == "windrow":
        return in_windrow(taking.length_m, farm.cut_m)
    if taking.place == "leak":
        return leaking(taking.seconds, farm.speed_kmh, farm.cut_m)
    widths = (taking.area_m2, farm.cut_m, farm.discharge_m)
    if taking.place == "behind":
        return behind(*widths, frame_width_m=taking.width_m, spreading=farm.spreading)
    return in_discharge(*widths, pan_width_m=taking.width_m, spreading=farm.spreading)


def beliefs(scenario: Scenario, values: Iterable[float]) -> list[Belief]:
    """What the engine believes of each judged loss after one check, by the same road as the book."""
    catches = written_down(scenario.farm, scenario.takings, values)
    width_sd = WIDTH_SD["taped" if scenario.farm.widths_taped else "guessed"]
    seen = sources_seen(catches)
    scale_sd = common_scale_sd(catches, width_sd)
    if len(seen) == 1 and scale_sd is not None:
        alone = estimate(evidence(catches, seen[0]), default_prior(seen[0], None), scale_sd)
        return [alone for _ in scenario.judged]
    joint = locate(catches, {s: default_prior(s, None) for s in seen}, width_sd=width_sd)
    return [joint.of(*judged) for judged in scenario.judged]


def answers(scenario: Scenario, readings: FloatArray) -> FloatArray:
    """Points of the belief and P(over the limit) for many checks: shape (n, judged, 6)."""
    out = np.empty((len(readings), len(scenario.judged), len(POINTS) + 1))
    for i, values in enumerate(readings):
        for j, (belief, judged) in enumerate(zip(beliefs(scenario, values), scenario.judged, strict=True)):
            out[i, j, :-1] = [belief.quantile(p) for p in POINTS]
            out[i, j, -1] = belief.probability_above(scenario.limit_kg_ha(judged))
    return out


def scores(scenario: Scenario, truth: Mapping[str, FloatArray], found: FloatArray) -> list[Score]:
    """Hold the answers against the truth."""
    result = []
    for j, judged in enumerate(scenario.judged):
        true = np.sum([truth[s] for s in judged], axis=0)
        low, lower, middle, upper, high, p_over = found[:, j].T
        really = true > scenario.limit_kg_ha(judged)
        said = np.array([verdict(float(p)) for p in p_over])
        over, under = said == "over", said == "under"
        result.append(
            Score(
                scenario.name,
                scenario.group,
                "total" if judged == TOTAL else " + ".join(judged),
                true.size,
                float(np.mean((low <= true) & (true <= high))),
                float(np.mean((lower <= true) & (true <= upper))),
                float(np.median((high - low) / middle)),
                int(over.sum()),
                _mean(really[over]),
                _mean(p_over[over]),
                int(under.sum()),
                _mean(really[under]),
                _mean(p_over[under]),
                scenario.limited,
            )
        )
    return result


def draw(scenario: Scenario, checks: int, seed: int) -> tuple[Mapping[str, FloatArray], FloatArray]:
    """True losses and readings; each scenario has its own stream, whatever else is run."""
    stream = np.random.default_rng([seed, zlib.crc32(scenario.name.encode())])
    happened = days(scenario.farm, scenario.takings, scenario.nature, checks, stream)
    return happened.loss_kg_ha, happened.readings


def calibrate(scenario: Scenario, checks: int, seed: int) -> list[Score]:
    """Run one scenario in this process."""
    truth, readings = draw(scenario, checks, seed)
    return scores(scenario, truth, answers(scenario, readings))


def _part(work: tuple[int, FloatArray]) -> FloatArray:
    return answers(SCENARIOS[work[0]], work[1])


def calibrate_all(wanted: Sequence[int], checks: int, seed: int, jobs: int) -> list[Score]:
    """Run scenarios by number, several processes sharing the checks, with a progress bar on stderr."""
    drawn = {i: draw(SCENARIOS[i], checks, seed) for i in wanted}
    parts = [(i, readings[k : k + _CHUNK]) for i, (_, readings) in drawn.items() for k in range(0, checks, _CHUNK)]
    found: dict[int, list[FloatArray]] = {i: [] for i in wanted}
    if jobs == 1:
        with click.progressbar(parts, label="calibration", file=sys.stderr) as steps:
            for i, readings in steps:
                found[i].append(_part((i, readings)))
    else:
        with (
            multiprocessing.Pool(jobs) as pool,
            click.progressbar(length=len(parts), label="calibration", file=sys.stderr) as progress,
        ):
            for (i, _), piece in zip(parts, pool.imap(_part, parts), strict=True):
                found[i].append(piece)
                progress.update(1)
    return [score for i in wanted for score in scores(SCENARIOS[i], drawn[i][0], np.concatenate(found[i]))]


HEADINGS: Final = (
    "scenario",
    "loss",
    "90 % range covers",
    "50 % covers",
    "width",
    'said "over"',
    "were over",
    'said "under"',
    "were over",
)


def cells(score: Score) -> tuple[str, ...]:
    """One row of the table; the engine's own mean probability stands in brackets."""
    mark = "" if score.group != "as assumed" or score.within_bar else " !"

    def of(number: int, true: float, said: float) -> tuple[str, str]:
        if not score.limited:
            return "–", "–"
        share = "–" if number == 0 else f"{100 * true:.0f} % ({100 * said:.0f})"
        return f"{100 * number / score.checks:.0f} %", share

    return (
        score.scenario,
        score.judged,
        f"{100 * score.covers_90:.1f} ± {100 * score.error:.1f} %{mark}",
        f"{100 * score.covers_50:.0f} %",
        f"{score.width:.2f}",
        *of(score.over, score.over_true, score.over_said),
        *of(score.under, score.under_true, score.under_said),
    )


def table(found: Sequence[Score], *, markdown: bool) -> str:
    """The whole result, one block per group."""
    blocks = []
    for group in dict.fromkeys(s.group for s in found):
        rows = [HEADINGS, *(cells(s) for s in found if s.group == group)]
        wide = [max(len(row[i]) for row in rows) for i in range(len(HEADINGS))]
        fit = [
            [c.ljust(w) if i < 2 else c.rjust(w) for i, (c, w) in enumerate(zip(row, wide, strict=True))]
            for row in rows
        ]
        if markdown:
            rule = ["-" * w if i < 2 else "-" * (w - 1) + ":" for i, w in enumerate(wide)]
            lines = [f"| {' | '.join(row)} |" for row in (fit[0], rule, *fit[1:])]
        else:
            lines = [f"{'  '.join(row)}".rstrip() for row in fit]
        blocks.append("\n".join([f"{'### ' if markdown else ''}{group.capitalize()}", "", *lines]))
    return "\n\n".join(blocks)


def _mean(values: FloatArray | NDArray[np.bool_]) -> float:
    return float(np.mean(values)) if values.size else math.nan


@click.command()
@click.option("--checks", default=2000, show_default=True, type=click.IntRange(min=10), help="Checks per scenario.")
@click.option("--seed", default=1, show_default=True, type=click.IntRange(min=0))
@click.option("--jobs", default=min(2, os.cpu_count() or 1), show_default=True, type=click.IntRange(min=1))
@click.option("--only", default="", help="Only scenarios whose name or group holds this text.")
@click.option("--markdown", is_flag=True, help="Print tables for a page.")
def main(checks: int, seed: int, jobs: int, only: str, markdown: bool) -> None:
    """Print how often ranges and verdicts are right."""
    wanted = [i for i, s in enumerate(SCENARIOS) if only in s.name or only in s.group]
    if not wanted:
        raise click.BadParameter(f"no scenario holds {only!r}", param_hint="--only")
    began = time.perf_counter()
    found = calibrate_all(wanted, checks, seed, jobs)
    took = time.perf_counter() - began
    click.echo(table(found, markdown=markdown))
    held = [s for s in found if s.group == "as assumed"]
    outside = [s for s in held if not s.within_bar]
    click.echo(
        f"\nchaffinch {__version__}, {checks} checks per scenario, seed {seed}, {took:.0f} s with {jobs} job(s); "
        f"as assumed: {len(held) - len(outside)} of {len(held)} within {100 * BAR[0]:.0f} to {100 * BAR[1]:.0f} %"
    )


if __name__ == "__main__":
    main()
