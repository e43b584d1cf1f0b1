"""What does looking after every stop do to a trial's verdict, and how often do its ranges hold the truth?

    python bench/trial_looks.py [--worlds 500] [--seed 1] [--jobs 2] [--only TEXT] [--ranges-only] [--markdown]

Each world is a trial of up to twelve stops on each side, A, B, B, A and again; each stop has three pans that seed fell
into one by one, and the readings go through ``evidence()`` as a person's would. After every stop the trial is
looked at. The losses, drifts and scatters are drawn as the trial's model assumes; ln(B/A) is drawn too, or held.
"""

from __future__ import annotations

import math
import multiprocessing
import sys
import time
import zlib
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import click
import numpy as np
from numpy.typing import NDArray

from chaffinch import __version__
from chaffinch.engine.catch import read
from chaffinch.engine.estimate import DrawBelief, Prior, range_of
from chaffinch.engine.evidence import Catch, Evidence, evidence
from chaffinch.engine.exposure import in_discharge
from chaffinch.engine.trial.design import LEAST_EACH, Design, Stop
from chaffinch.engine.trial.ratio import BACK, KEEP, posterior
from chaffinch.engine.trial.scatter import blurred

FloatArray = NDArray[np.float64]

# The model's own figures, written out once more: a slip on either side shows as lost coverage.
MEDIAN_KG_HA, SD_LOG = 40.0, 1.3
RATIO_SCALE, RATIO_FREEDOM = 0.3, 2.0
DRIFT_SD, PLACE_SD, PLACE_SD_SD = 0.15, 0.25, 0.5
C0, C_SD, WIDTH_SD, PAN_SD = 0.40, 0.35, 0.08, 0.01
PANS, PAN_M2, CUT_M, DROP_M = 3, 0.371612, 12.192, 1.6764
TKW_G, STEP_G, GAP_H = 3.5, 0.1, 0.25

MOST_EACH: Final = 12
ORDER: Final = tuple("ABBA" * (2 * MOST_EACH // 4))
LOOKS: Final = tuple(range(2, len(ORDER) + 1))
RANGES_AT: Final = (3, 6, 12, 24)
POINTS_PER_ROUND: Final = 512
"""A quarter of the usual: still above 1,000 effective draws, and P(B less) good to 0.01."""
BAR: Final = (0.87, 0.93)
WORLDS: Final = {
    "no difference": 0.0,
    "B 18 % less": -0.2,
    "B 33 % less": -0.4,
    "B 75 % less": -math.log(4.0),
    "B four times": math.log(4.0),
    "as assumed": None,
}
"""ln(B/A) of each kind of world; None: drawn for each trial."""


@dataclass(frozen=True, slots=True)
class Paths:
    """Many trials of one kind.

    Attributes
    ----------
    ln_ratio : ndarray, shape (n,)
        True ln(B/A).
    p_b_less : ndarray, shape (n, looks)
        What was said after 2, 3, … stops.
    ends : ndarray, shape (n, 4, 2)
        Ends of the 90 % range of ln(B/A) after 3, 6, 12 and 24 stops.
    """

    ln_ratio: FloatArray
    p_b_less: FloatArray
    ends: FloatArray


def world(
    ln_ratio: float | None, rng: np.random.Generator, stops: int = len(ORDER)
) -> tuple[float, list[Evidence], FloatArray]:
    """One trial as it happens: true ln(B/A), evidence of each of its first stops, and their times [h]."""
    delta = RATIO_SCALE * rng.standard_t(RATIO_FREEDOM) if ln_ratio is None else ln_ratio
    alpha = math.log(MEDIAN_KG_HA) + SD_LOG * rng.standard_normal()
    drift, tau = DRIFT_SD * rng.standard_normal(), PLACE_SD * math.exp(PLACE_SD_SD * rng.standard_normal())
    hours = GAP_H * np.arange(len(ORDER))
    is_b = np.array([side == "B" for side in ORDER])
    ln_loss = alpha + delta * (is_b - 0.5) + drift * (hours - hours.mean()) + tau * rng.standard_normal(len(ORDER))
    # One width guessed for the whole trial, one pan used throughout: errors that all stops share.
    shared = math.exp(WIDTH_SD * rng.standard_normal() + PAN_SD * rng.standard_normal())
    return delta, [caught(math.exp(x) * shared, rng) for x in ln_loss[:stops]], hours[:stops]


def caught(loss_kg_ha: float, rng: np.random.Generator) -> Evidence:
    """Three pans in the discharge, seed by seed, weighed to a tenth of a gram."""
    due_g = 0.1 * loss_kg_ha * PAN_M2 * CUT_M / DROP_M
    c = C0 * math.exp(C_SD * rng.standard_normal())
    rate = due_g * rng.gamma(1.0 / c**2, c**2, PANS)
    grams = rng.poisson(rate / (TKW_G / 1000.0)) * TKW_G / 1000.0
    pan = in_discharge(PAN_M2, CUT_M, DROP_M)
    shown = np.floor(grams / STEP_G + 0.5) * STEP_G
    return evidence([Catch(read("weighed", float(g), STEP_G, tkw_g=TKW_G), pan) for g in shown], "machine")


def look(seen: Sequence[Evidence], hours: FloatArray, looks: Sequence[int]) -> list[tuple[float, float, float]]:
    """P(B less) and the 90 % range of ln(B/A) after each number of stops."""
    stops = [Stop(e, side, float(t)) for e, side, t in zip(seen, ORDER[: len(seen)], hours, strict=True)]  # type: ignore[arg-type]
    tables = [blurred(e) for e in seen]
    found = []
    for n in looks:
        draws = posterior(
            Design.of(stops[:n]), tables[:n], Prior(MEDIAN_KG_HA, SD_LOG), points_per_round=POINTS_PER_ROUND
        )
        delta = draws.points[:, 1]
        ends = range_of(DrawBelief(delta, draws.weights))
        found.append((float(draws.weights[delta < 0].sum()), ends.low, ends.high))
    return found


def run(kind: str, worlds: int, seed: int, jobs: int = 1, looks: Sequence[int] = LOOKS) -> Paths:
    """Let many trials of one kind happen; each has its own stream, whatever else is run."""
    work = [(WORLDS[kind], seed, zlib.crc32(kind.encode()), i, tuple(looks)) for i in range(worlds)]
    if jobs == 1:
        found = [_one(w) for w in work]
    else:
        with multiprocessing.Pool(jobs) as pool:
            steps = pool.imap(_one, work, chunksize=5)
            with click.progressbar(steps, length=worlds, label=kind, file=sys.stderr) as shown:
                found = list(shown)
    ends = np.array([[row[looks.index(n)][1:] for n in RANGES_AT if n in looks] for _, row in found])
    return Paths(np.array([d for d, _ in found]), np.array([[x[0] for x in row] for _, row in found]), ends)


def _one(work: tuple[float | None, int, int, int, tuple[int, ...]]) -> tuple[float, list[tuple[float, float, float]]]:
    ln_ratio, seed, kind, number, looks = work
    delta, seen, hours = world(ln_ratio, np.random.default_rng([seed, kind, number]), max(looks))
    return delta, look(seen, hours, looks)


@dataclass(frozen=True, slots=True)
class Rule:
    """Bounds on P(B less), and the stops on each side before they count."""

    keep: float
    back: float
    least_each: int

    @property
    def name(self) -> str:
        """As it stands in the table."""
        return f"≥ {self.keep:.2f} keep, ≤ {self.back:.2f} back, from {self.least_each} each"


RULES: Final = (
    Rule(0.80, 0.20, 1),
    Rule(0.80, 0.20, 2),
    Rule(0.90, 0.10, 2),
    Rule(0.95, 0.10, 2),
    Rule(0.96, 0.20, 2),
    Rule(0.96, 0.10, 2),
    Rule(0.96, 0.04, 2),
    Rule(0.97, 0.10, 2),
)
CHOSEN: Final = Rule(KEEP, BACK, LEAST_EACH)


def ends_of(paths: Paths, rule: Rule) -> tuple[NDArray[np.intp], FloatArray, NDArray[np.intp]]:
    """Where each trial ends under a rule: 1 keep B, −1 go back, 0 neither; what was said then; and after which stop."""
    each = np.array([[ORDER[:n].count("A"), ORDER[:n].count("B")] for n in LOOKS]).min(axis=1)
    p = paths.p_b_less
    call = np.where(p >= rule.keep, 1, np.where(p <= rule.back, -1, 0)) * (each >= rule.least_each)
    called = (call != 0).any(axis=1)
    first = np.where(called, (call != 0).argmax(axis=1), p.shape[1] - 1)
    rows = np.arange(len(p))
    return call[rows, first], p[rows, first], np.array(LOOKS)[first]


def table_of_rules(paths: dict[str, Paths]) -> list[list[str]]:
    """How often each rule ends in B and in A, and after how many stops, in each kind of world."""
    rows = [["rule", *(f"{kind}: B / A / stops" for kind in paths)]]
    for rule in dict.fromkeys((*RULES, CHOSEN)):
        cells = []
        for one in paths.values():
            call, _, stops = ends_of(one, rule)
            b, a = 100 * np.mean(call == 1), 100 * np.mean(call == -1)
            cells.append(f"{b:.1f} % / {a:.0f} % / {np.mean(stops):.1f}")
        rows.append([f"{rule.name}{' (chosen)' if rule == CHOSEN else ''}", *cells])
    return rows


def table_of_calls(paths: Paths) -> list[list[str]]:
    """Among trials drawn as assumed: of all that end in a verdict, how often is it right, and how often said to be?"""
    rows = [["rule", "keep B", "B truly less", "said", "go back", "B truly not less", "said"]]
    for rule in dict.fromkeys((*RULES, CHOSEN)):
        call, said, _ = ends_of(paths, rule)
        b, a = call == 1, call == -1
        less = paths.ln_ratio < 0
        cells = [f"{100 * b.mean():.0f} %", percent_of(less[b]), _percent(said[b])]
        cells += [f"{100 * a.mean():.0f} %", percent_of(~less[a]), _percent(1.0 - said[a])]
        rows.append([f"{rule.name}{' (chosen)' if rule == CHOSEN else ''}", *cells])
    return rows


def table_of_ranges(paths: Paths) -> list[list[str]]:
    """How often the 90 % range of B/A holds the truth, its typical middle, and its typical width as a factor."""
    rows = [["stops", "90 % range covers", "typical lower end", "typical upper end", "typical upper over lower end"]]
    for k, n in enumerate(RANGES_AT):
        low, high = paths.ends[:, k].T
        held = (low <= paths.ln_ratio) & (paths.ln_ratio <= high)
        mark = "" if BAR[0] <= held.mean() <= BAR[1] else " !"
        typical = [f"{np.median(np.exp(x)):.2f}" for x in (low, high, high - low)]
        rows.append([str(n), f"{percent_of(held)}{mark}", *typical])
    return rows


def percent_of(held: NDArray[np.bool_]) -> str:
    """A share with the half width of its 95 % interval."""
    if held.size == 0:
        return "–"
    p = float(held.mean())
    return f"{100 * p:.1f} ± {196 * math.sqrt(p * (1 - p) / held.size):.1f} %"


def _percent(values: FloatArray) -> str:
    return f"{100 * values.mean():.1f} %" if values.size else "–"


def laid_out(rows: Sequence[Sequence[str]], *, markdown: bool) -> str:
    """A table as text."""
    wide = [max(len(row[i]) for row in rows) for i in range(len(rows[0]))]
    fit = [[c.ljust(w) if i == 0 else c.rjust(w) for i, (c, w) in enumerate(zip(r, wide, strict=True))] for r in rows]
    if not markdown:
        return "\n".join("  ".join(row).rstrip() for row in fit)
    rule = ["-" * w if i == 0 else "-" * (w - 1) + ":" for i, w in enumerate(wide)]
    return "\n".join(f"| {' | '.join(row)} |" for row in (fit[0], rule, *fit[1:]))


@click.command()
@click.option("--worlds", default=500, show_default=True, type=click.IntRange(min=2), help="Trials of each kind.")
@click.option("--seed", default=1, show_default=True, type=click.IntRange(min=0))
@click.option("--jobs", default=2, show_default=True, type=click.IntRange(min=1), help="Processes.")
@click.option("--only", default="", help="Kinds of world by a piece of their name.")
@click.option("--ranges-only", is_flag=True, help="Look after 3, 6, 12 and 24 stops only, and tell the ranges.")
@click.option("--markdown", is_flag=True, help="Tables as they stand on the page.")
def main(worlds: int, seed: int, jobs: int, only: str, ranges_only: bool, markdown: bool) -> None:
    """Print what looking after every stop does, and how often verdicts and ranges hold."""
    kinds = [kind for kind in WORLDS if only in kind]
    if not kinds:
        raise click.UsageError(f"no kind of world is called {only!r}; there are: {', '.join(WORLDS)}")
    start = time.perf_counter()
    paths = {kind: run(kind, worlds, seed, jobs, RANGES_AT if ranges_only else LOOKS) for kind in kinds}
    if not ranges_only:
        print(laid_out(table_of_rules(paths), markdown=markdown))
    if "as assumed" in paths and not ranges_only:
        print(f"\n{laid_out(table_of_calls(paths['as assumed']), markdown=markdown)}")
    for kind, one in paths.items():
        print(f"\n{kind}\n{laid_out(table_of_ranges(one), markdown=markdown)}")
    took = time.perf_counter() - start
    print(f"\nchaffinch {__version__}: {worlds} trials of each kind, seed {seed}, {took:.0f} s with {jobs} job(s)")


if __name__ == "__main__":
    main()
