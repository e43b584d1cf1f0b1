"""How often does a monitor key's range hold what a further check would find, and how often is a good key dropped?

    python bench/monitor_key.py [--worlds 400] [--seed 1] [--jobs 2] [--markdown]

Each world has a bar of its own, pairs of bar and three pans that seed fell into one by one, and one more stop: the
key's range for that bar is held against what was truly lost there, and its pans are held against the key. In the worlds
as assumed the loss scatters around the bar; in the others the bar scatters around the loss, or moves in coarse steps.
"""

from __future__ import annotations

import math
import multiprocessing
import sys
import time
import zlib
from dataclasses import dataclass
from typing import Final

import click
import numpy as np

from chaffinch import __version__
from chaffinch.engine.estimate import Prior
from chaffinch.engine.monitor.key import Pair, fit_monitor
from chaffinch.engine.monitor.stale import stale
from trial_looks import POINTS_PER_ROUND, caught, laid_out, percent_of

# The model's own figures, written out once more: a slip on either side shows as lost coverage.
MEDIAN_KG_HA, SD_LOG = 40.0, 1.3
SLOPE_SD, SCATTER, SCATTER_SD = 0.3, 0.25, 0.5
CUT_M, BAR_SD = 12.192, 0.8
BAR: Final = (0.87, 0.93)


@dataclass(frozen=True, slots=True)
class Kind:
    """A kind of world: how many pairs, how the bar moves, and what scatters around what."""

    name: str
    pairs: int
    step: float | None = None
    bar_scatters: bool = False
    as_assumed: bool = True


KINDS: Final = (
    Kind("4 pairs, bar per area", 4),
    Kind("8 pairs, bar per time, step 0.1", 8, 0.1),
    Kind("8 pairs, bar per time, step 1", 8, 1.0),
    Kind("8 pairs, the bar scatters around the loss", 8, bar_scatters=True, as_assumed=False),
)


def world(kind: Kind, rng: np.random.Generator) -> tuple[list[Pair], Pair, float]:
    """Pairs, one more pair, and the true loss there without the shared error [kg/ha]."""
    middle = math.log(MEDIAN_KG_HA) + SD_LOG * rng.standard_normal()
    slope = 1.0 + SLOPE_SD * rng.standard_normal()
    scatter = SCATTER * math.exp(SCATTER_SD * rng.standard_normal())
    per_time = kind.step is not None
    # A bar of 5 at the middle, whatever it counts; per time it counts that much at 5 km/h.
    unit = 10_000.0 / (5.0 / 3.6 * CUT_M) if per_time else 1.0
    pairs, losses = [], []
    while len(pairs) < kind.pairs + 1:
        x = BAR_SD * rng.standard_normal()
        ln_loss, ln_bar = middle + slope * x, x
        if kind.bar_scatters:
            ln_bar += scatter * rng.standard_normal() / slope
        else:
            ln_loss += scatter * rng.standard_normal()
        speed = float(rng.uniform(4.0, 6.5))
        bar = 5.0 * math.exp(ln_bar) * unit
        if per_time:
            bar *= speed / 3.6 * CUT_M / 10_000.0
        if kind.step is not None:
            bar = math.floor(bar / kind.step + 0.5) * kind.step
        loss = math.exp(ln_loss)
        per, step = ("time", kind.step) if per_time else ("area", None)
        pairs.append(Pair(bar, caught(loss, rng), per, speed, CUT_M, step))  # type: ignore[arg-type]
        losses.append(loss)
    return pairs[:-1], pairs[-1], losses[-1]


def one(work: tuple[int, int, int]) -> tuple[bool, bool, bool, float, bool]:
    """Whether the key answered, held the truth, was dropped; the factor its range spans; whether 50 % lay below."""
    which, seed, number = work
    kind = KINDS[which]
    rng = np.random.default_rng([seed, zlib.crc32(kind.name.encode()), number])
    pairs, after, truth = world(kind, rng)
    key = fit_monitor(pairs, prior=Prior(MEDIAN_KG_HA, SD_LOG), scale_sd=0.0, points_per_round=POINTS_PER_ROUND)
    dropped = stale(key, [after]).stale
    low, high = key.readings_tried(after.speed_kmh)
    answers = not key.missing and (low <= after.reading <= high or (after.reading == 0 and key.zero_tried))
    if not answers:
        return False, False, dropped, math.nan, False
    found = key.loss_kg_ha(after.reading, after.speed_kmh)
    return True, found.low <= truth <= found.high, dropped, found.high / found.low, truth < found.median


def rows_of(worlds: int, seed: int, jobs: int) -> list[list[str]]:
    """The whole result, one row for each kind of world."""
    rows = [["world", "key answers", "90 % range covers", "below the middle", "upper over lower end", "key dropped"]]
    for which, kind in enumerate(KINDS):
        work = [(which, seed, i) for i in range(worlds)]
        if jobs == 1:
            found = [one(w) for w in work]
        else:
            with multiprocessing.Pool(jobs) as pool:
                steps = pool.imap(one, work, chunksize=5)
                with click.progressbar(steps, length=worlds, label=kind.name, file=sys.stderr) as shown:
                    found = list(shown)
        answers, held, dropped, factor, below = (np.array(column) for column in zip(*found, strict=True))
        claimed = bool(answers.any())
        mark = " !" if claimed and kind.as_assumed and not BAR[0] <= held[answers].mean() <= BAR[1] else ""
        rows.append(
            [
                kind.name,
                f"{100 * answers.mean():.0f} %",
                f"{percent_of(held[answers])}{mark}",
                f"{100 * below[answers].mean():.0f} %" if claimed else "–",
                f"{np.median(factor[answers]):.1f}" if claimed else "–",
                percent_of(dropped),
            ]
        )
    return rows


@click.command()
@click.option("--worlds", default=400, show_default=True, type=click.IntRange(min=2), help="Keys of each kind.")
@click.option("--seed", default=1, show_default=True, type=click.IntRange(min=0))
@click.option("--jobs", default=2, show_default=True, type=click.IntRange(min=1), help="Processes.")
@click.option("--markdown", is_flag=True, help="The table as it stands on the page.")
def main(worlds: int, seed: int, jobs: int, markdown: bool) -> None:
    """Print how often a key's range holds, and how often a good key is dropped."""
    start = time.perf_counter()
    print(laid_out(rows_of(worlds, seed, jobs), markdown=markdown))
    took = time.perf_counter() - start
    print(f"\nchaffinch {__version__}: {worlds} keys of each kind, seed {seed}, {took:.0f} s with {jobs} job(s)")


if __name__ == "__main__":
    main()
