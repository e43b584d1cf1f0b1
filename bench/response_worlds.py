"""How often does the range of a curve hold the truth? Hundreds of invented machines through the real engine.

    python bench/response_worlds.py [--worlds 500] [--seed 1] [--jobs 2] [--only TEXT]

Each world draws a machine from the priors of the page response (typed here once more, not imported), lets it be
checked at loads of its season with pans, seed by seed, and asks the fitted curve for the mean loss over places at a
light, a middle and a heavy tested load (10, 50 and 90 % of them). Bar: 87 to 93 %.
"""

from __future__ import annotations

import math
import multiprocessing
import os
import sys
import time
import zlib
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Literal

import click
import numpy as np
from numpy.typing import NDArray

from chaffinch.engine.catch import read
from chaffinch.engine.estimate import Prior
from chaffinch.engine.evidence import Catch, Evidence, evidence
from chaffinch.engine.exposure import Exposure, in_discharge
from chaffinch.engine.response.fit import fit_response
from chaffinch.engine.response.loss_point import LossPoint

FloatArray = NDArray[np.float64]
Source = Literal["machine", "header"]

BAR: Final = (0.87, 0.93)
MEDIAN_KG_HA: Final = {"machine": 40.0, "header": 20.0}
LEVEL_SD: Final = 1.3
SLOPE: Final = {"machine": (1.3, 0.8), "header": (0.0, 0.8)}
SCATTER: Final = (0.25, 0.5)
APART: Final = (0.3, 0.5)
WILD: Final = 0.02
SCALE_SD: Final = 0.08
TKW_G: Final = 3.5
PAN_M2, CUT_M, DROP_M = 0.3716, 12.0, 2.0
C0: Final = {"machine": 0.40, "header": 0.50}


@dataclass(frozen=True, slots=True)
class Season:
    """A kind of world.

    Attributes
    ----------
    name : str
    checks : tuple of int
        Per combine.
    source : {"machine", "header"}
    wild : float
        Share of wild checks in the world; the fit always allows 2 %.
    setups, operators : int
        How many take turns, each with its own effect.
    condition : bool
        Whether a condition moves the loss and is told.
    """

    name: str
    checks: tuple[int, ...]
    source: Source = "machine"
    wild: float = WILD
    setups: int = 1
    operators: int = 1
    condition: bool = False


SEASONS: Final = (
    Season("1 check", (1,)),
    Season("2 checks", (2,)),
    Season("4 checks", (4,)),
    Season("8 checks", (8,)),
    Season("8 checks, none wild", (8,), wild=0.0),
    Season("8 checks, header", (8,), "header"),
    Season("24 checks", (24,)),
    Season("16 checks, 2 setups, 3 operators, humidity", (16,), setups=2, operators=3, condition=True),
    Season("3 combines, 3 + 6 + 10 checks", (3, 6, 10)),
)


@dataclass(frozen=True, slots=True)
class Score:
    """How often the 90 % range held the truth, at three loads and for one more place at the middle load."""

    season: str
    asked: str
    worlds: int
    covers: tuple[float, float, float, float]

    @property
    def within_bar(self) -> bool:
        return all(BAR[0] <= c <= BAR[1] for c in self.covers)


def seen(loss_kg_ha: float, source: Source, rng: np.random.Generator) -> Evidence:
    """One to three pans at one place: uneven rate, whole seeds, a 0.1 g scale (a count for the header)."""
    factor = CUT_M / DROP_M if source == "machine" else 1.0
    # A frame in the strip sees what fell before harvest too; in these worlds nothing did.
    header_only = Exposure(0.0, PAN_M2, 0.0, "ground", False)
    c = C0[source] * math.exp(0.35 * rng.standard_normal())
    catches = []
    for _ in range(rng.integers(1, 4)):
        due_g = 0.1 * loss_kg_ha * PAN_M2 * factor
        rate = rng.gamma(1.0 / c**2, c**2) * due_g / (TKW_G / 1000.0)
        seeds = int(rng.poisson(rate))
        if source == "machine":
            grams = round(seeds * TKW_G / 1000.0 / 0.1) * 0.1
            catches.append(Catch(read("weighed", grams, 0.1, tkw_g=TKW_G), in_discharge(PAN_M2, CUT_M, DROP_M)))
        else:
            catches.append(Catch(read("counted", seeds, 1.0, tkw_g=TKW_G), header_only))
    return evidence(catches, source)


@dataclass(frozen=True, slots=True)
class Curve:
    """One combine's truth."""

    level: float
    slope: float
    bend: float
    scatter: float

    def height(self, load: FloatArray, reference: float) -> FloatArray:
        """ln(loss) at each load; here κ is never 0."""
        result: FloatArray = self.level + self.slope * ((load / reference) ** self.bend - 1.0) / self.bend
        return result


def machines(season: Season, rng: np.random.Generator) -> list[Curve]:
    """Truths of the season's combines; of a single one, from the prior of one alone."""
    mean, sd = SLOPE[season.source]
    centre = math.log(MEDIAN_KG_HA[season.source])
    if len(season.checks) == 1:
        levels, slopes = [rng.normal(centre, LEVEL_SD)], [rng.normal(mean, sd)]
    else:
        between = APART[0] ** 2 * math.exp(2 * APART[1] ** 2)
        level = rng.normal(centre, math.sqrt(LEVEL_SD**2 - between))
        slope = rng.normal(mean, math.sqrt(sd**2 - between))
        apart = APART[0] * np.exp(APART[1] * rng.standard_normal(2))
        levels = [level + apart[0] * rng.standard_normal() for _ in season.checks]
        slopes = [slope + apart[1] * rng.standard_normal() for _ in season.checks]
    return [
        Curve(a, b, rng.uniform(0.0, 1.5) + 1e-9, SCATTER[0] * math.exp(SCATTER[1] * rng.standard_normal()))
        for a, b in zip(levels, slopes, strict=True)
    ]


def world(season: Season, seed: int) -> FloatArray:
    """Play one world; 1 where the range held the truth, shape (combines, 4)."""
    rng = np.random.default_rng(seed)
    curves = machines(season, rng)
    loads = [15.0 * np.exp(0.25 * rng.standard_normal(n)) for n in season.checks]
    reference = float(np.median(np.concatenate(loads)))
    setup = np.concatenate([[0.0], 0.4 * rng.standard_normal(season.setups - 1)])
    operator = 0.2 * rng.standard_normal(season.operators) if season.operators > 1 else np.zeros(1)
    moved = 0.3 * rng.standard_normal() if season.condition else 0.0
    scale = SCALE_SD * rng.standard_normal()
    points = []
    for k, (curve, own) in enumerate(zip(curves, loads, strict=True)):
        humidity = rng.normal(60.0, 10.0, own.size)
        z = (humidity - humidity.mean()) / (humidity.std() or 1.0)
        for i, load in enumerate(own):
            # The usual setup is the one with most checks: setup 0 has every other one and the first two.
            which = 0 if i < 2 else i % season.setups
            who = i % season.operators
            ln_loss = curve.height(load, reference) + setup[which] + operator[who] + moved * z[i]
            ln_loss += curve.scatter * rng.standard_normal()
            if rng.random() < season.wild:
                ln_loss = rng.uniform(math.log(0.05), math.log(5000.0))
            evidence_here = seen(math.exp(ln_loss - scale), season.source, rng)
            told = {"humidity": float(humidity[i])} if season.condition else {}
            points.append(LossPoint(evidence_here, float(load), f"combine {k}", f"driver {who}", f"way {which}", told))
    response = fit_response(
        points,
        source=season.source,
        prior=Prior(MEDIAN_KG_HA[season.source]),
        load_kind="throughput",
        conditions=("humidity",) if season.condition else (),
        scale_sd=SCALE_SD,
    )
    held = []
    for k, (curve, own) in enumerate(zip(curves, loads, strict=True)):
        at = np.quantile(own, [0.1, 0.5, 0.9])
        truth = np.exp(curve.height(at, reference) + curve.scatter**2 / 2.0)
        drawn = response.loss_kg_ha(at, combine=f"combine {k}")
        low, high = np.quantile(drawn, [0.05, 0.95], axis=0)
        one = math.exp(float(curve.height(at[1:2], reference)[0]) + curve.scatter * rng.standard_normal())
        place = response.loss_kg_ha(at[1:2], combine=f"combine {k}", at="one place")[:, 0]
        lower, upper = np.quantile(place, [0.05, 0.95])
        held.append([*((low <= truth) & (truth <= high)), lower <= one <= upper])
    return np.array(held, dtype=np.float64)


def _part(work: tuple[int, int]) -> FloatArray:
    return world(SEASONS[work[0]], work[1])


def play(wanted: Sequence[int], worlds: int, seed: int, jobs: int) -> list[Score]:
    """Run seasons by number, several processes sharing the worlds."""
    works = [(i, zlib.crc32(f"{seed} {SEASONS[i].name} {w}".encode())) for i in wanted for w in range(worlds)]
    found: dict[int, list[FloatArray]] = {i: [] for i in wanted}
    if jobs == 1:
        for work in works:
            found[work[0]].append(_part(work))
    else:
        with (
            multiprocessing.Pool(jobs) as pool,
            click.progressbar(length=len(works), label="worlds", file=sys.stderr) as progress,
        ):
            for work, piece in zip(works, pool.imap(_part, works, chunksize=8), strict=True):
                found[work[0]].append(piece)
                progress.update(1)
    return [
        Score(SEASONS[i].name, f"combine {k + 1}" if len(SEASONS[i].checks) > 1 else "", worlds, tuple(mean))
        for i in wanted
        for k, mean in enumerate(np.mean(found[i], axis=0))
    ]


def table(found: Sequence[Score]) -> str:
    """The result as a Markdown table; "!" marks a share outside the bar."""
    lines = [
        "| season | whose | light load | middle load | heavy load | one place |",
        "| ------ | ----- | ---------: | ----------: | ---------: | --------: |",
    ]
    for score in found:
        cells = [f"{100 * c:.1f} %{'' if BAR[0] <= c <= BAR[1] else ' !'}" for c in score.covers]
        lines.append(f"| {' | '.join([score.season, score.asked or 'the combine', *cells])} |")
    return "\n".join(lines)


@click.command()
@click.option("--worlds", default=500, show_default=True, type=click.IntRange(min=10), help="Worlds per season.")
@click.option("--seed", default=1, show_default=True, type=click.IntRange(min=0))
@click.option("--jobs", default=min(2, os.cpu_count() or 1), show_default=True, type=click.IntRange(min=1))
@click.option("--only", default="", help="Only seasons whose name holds this text.")
def main(worlds: int, seed: int, jobs: int, only: str) -> None:
    """Print how often the ranges of a curve are right."""
    wanted = [i for i, s in enumerate(SEASONS) if only in s.name]
    if not wanted:
        raise click.BadParameter(f"no season holds {only!r}", param_hint="--only")
    began = time.perf_counter()
    found = play(wanted, worlds, seed, jobs)
    click.echo(table(found))
    within = sum(s.within_bar for s in found)
    error = 100 * math.sqrt(0.9 * 0.1 / worlds)
    took = time.perf_counter() - began
    click.echo(
        f"\n{worlds} worlds per season (a share is off by ±{error:.1f} % by chance), seed {seed}, {took:.0f} s; "
    )
    click.echo(f"{within} of {len(found)} rows within {100 * BAR[0]:.0f} to {100 * BAR[1]:.0f} %")


if __name__ == "__main__":
    main()
