"""How long does a curve take, against an ensemble MCMC sampler, and how does the time grow with the checks?

    python bench/response_speed.py [--checks 60] [--largest 10000] [--only emcee|growth]

The first part fits the same posterior with ``fit_response`` and with emcee (its default move, 32 walkers, run until it
knows every mean to 1.5 % of the posterior sd), once on the very tables the fit uses and once on the model as one would
write it with numpy and scipy, both called for half the walkers at a time. Bar: 50 times faster, means and sds within
3 % of the sd. The second part fits 10 to 10,000 checks of 1 to 50 combines; bar: the time grows no faster than the
checks to the power 1.1. Times are processor times of one thread: set OMP_NUM_THREADS=1.
"""

from __future__ import annotations

import math
import sys
import time
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Final

import click
import emcee
import numpy as np
from numpy.typing import NDArray

from chaffinch.engine.catch import read
from chaffinch.engine.estimate import Prior
from chaffinch.engine.evidence import Catch, evidence
from chaffinch.engine.exposure import in_discharge
from chaffinch.engine.response.curve import CurveTask, LevelSlope
from chaffinch.engine.response.fit import fit_response
from chaffinch.engine.response.loss_point import LossPoint
from chaffinch.engine.response.terms import terms

sys.path.insert(0, str(Path(__file__).resolve().parent.parent / "tests" / "engine"))

FloatArray = NDArray[np.float64]

BAR_RATIO: Final = 50.0
BAR_OFF: Final = 0.03
BAR_GROWTH: Final = 1.1
WALKERS: Final = 32
PRIOR: Final = Prior(40.0)
GROWTH: Final = ((10, 1), (100, 5), (1000, 20), (10_000, 50))
"""Checks and combines."""


def checks(count: int, combines: int, rng: np.random.Generator) -> list[LossPoint]:
    """Checks of invented combines: one to three pans each, weighed to 0.1 g."""
    exposure = in_discharge(0.3716, 12.0, 2.0)
    level = math.log(40.0) + 0.3 * rng.standard_normal(combines)
    slope = 1.3 + 0.3 * rng.standard_normal(combines)
    points = []
    # Evidence is not what is timed: a thousand different checks are enough, set to other loads again and again.
    for i in range(count):
        k = i % combines
        load = 15.0 * math.exp(0.25 * rng.standard_normal())
        ln_loss = level[k] + slope[k] * math.log(load / 15.0) + 0.25 * rng.standard_normal()
        mean_g = 0.1 * math.exp(ln_loss) * 0.3716 * 6.0
        grams = [round(float(mean_g * rng.gamma(6.0, 1.0 / 6.0)), 1) for _ in range(rng.integers(1, 4))]
        seen = evidence([Catch(read("weighed", g, 0.1, tkw_g=3.5), exposure) for g in grams], "machine")
        points.append(LossPoint(seen, load, f"combine {k}"))
    return points


def fit(points: Sequence[LossPoint]) -> object:
    return fit_response(points, source="machine", prior=PRIOR, load_kind="throughput")


def processor_s(work: Callable[[], object], repeats: int) -> float:
    """Least processor time of several runs [s]."""
    times = []
    for _ in range(repeats):
        began = time.process_time()
        work()
        times.append(time.process_time() - began)
    return min(times)


def walk(density: Callable[[FloatArray], FloatArray], start: FloatArray) -> tuple[FloatArray, float, int]:
    """Run emcee until every mean has a standard error of 1.5 % of its sd; chain, processor time [s], evaluations."""
    sampler = emcee.EnsembleSampler(WALKERS, start.shape[1], density, vectorize=True)
    sampler.random_state = np.random.RandomState(5).get_state()
    began = time.process_time()
    state = sampler.run_mcmc(start, 500)
    steps = 500
    while True:
        state = sampler.run_mcmc(state, 1000)
        steps += 1000
        times = sampler.get_autocorr_time(discard=500, quiet=True, tol=0)
        if (steps - 500) * WALKERS / float(np.max(times)) > 1.0 / 0.015**2 and steps - 500 > 50 * np.max(times):
            break
    took = time.process_time() - began
    return sampler.get_chain(discard=500, flat=True), took, steps * WALKERS


def against_emcee(count: int) -> bool:
    """Print the first part; True when within the bar."""
    from response_second_road import OneCurve

    points = checks(count, 1, np.random.default_rng(1))
    fit(points)
    mine_s = processor_s(lambda: fit(points), 5)
    draws = fit_response(points, source="machine", prior=PRIOR, load_kind="throughput").draws()
    assert draws is not None
    mean = draws.weights @ draws.points
    sd = draws.sd()

    # The order of the fit's own checks, so that both roads see one and the same table.
    task = CurveTask.of(points, float(np.median([p.load for p in points])), terms(points, {}))
    base = LevelSlope.of("machine", PRIOR)

    def same_tables(at: FloatArray) -> FloatArray:
        result: FloatArray = base(at[:, :2]) + task.ln_prior_of_rest(at) + task.log_likelihood(at)
        return result

    start = mean + 0.5 * sd * np.random.default_rng(2).standard_normal((WALKERS, 4))
    click.echo(
        f"{'fit of one combine':<44}{'processor s':>12}{'ratio':>9}{'evaluations':>13}{'means off':>11}{'sds off':>9}"
    )
    click.echo(f"{f'fit_response, {count} checks':<44}{mine_s:>12.3f}{1.0:>9.1f}{draws.weights.size:>13,}")
    good = True
    for name, density in (
        ("emcee on the fit's own tables", same_tables),
        ("emcee on the model in numpy and scipy", OneCurve(points, PRIOR.median_kg_ha, "machine")),
    ):
        chain, took, evaluations = walk(density, start)
        off = np.abs(mean - chain.mean(axis=0)) / chain.std(axis=0)
        off_sd = np.abs(sd / chain.std(axis=0) - 1.0)
        good &= took / mine_s >= BAR_RATIO and bool((off < BAR_OFF + 0.03).all() and (off_sd < BAR_OFF + 0.03).all())
        click.echo(
            f"{name:<44}{took:>12.2f}{took / mine_s:>9.1f}{evaluations:>13,}{off.max():>11.1%}{off_sd.max():>9.1%}"
        )
    click.echo(f"bar: ratio >= {BAR_RATIO:.0f}, off by <= {BAR_OFF:.0%} of the sd (and two errors of the chain, 3 %)\n")
    return good


def growth(largest: int) -> bool:
    """Print the second part; True when within the bar."""
    click.echo(f"{'checks':>8}{'combines':>10}{'processor s':>13}{'per check ms':>14}")
    sizes, times = [], []
    for count, combines in GROWTH:
        if count > largest:
            continue
        points = checks(count, combines, np.random.default_rng(count))
        fit(points[:10])
        took = processor_s(lambda p=points: fit(p), 3 if count <= 1000 else 1)
        sizes.append(count)
        times.append(took)
        click.echo(f"{count:>8,}{combines:>10}{took:>13.2f}{1000.0 * took / count:>14.2f}")
    slopes = np.diff(np.log(times)) / np.diff(np.log(sizes))
    whole = float(np.polyfit(np.log(sizes), np.log(times), 1)[0])
    click.echo(
        f"growth exponent {whole:.2f} (decade by decade {', '.join(f'{s:.2f}' for s in slopes)}); bar {BAR_GROWTH}"
    )
    return whole <= BAR_GROWTH


@click.command()
@click.option("--checks", "count", default=60, show_default=True, type=click.IntRange(min=3))
@click.option("--largest", default=10_000, show_default=True, type=click.IntRange(min=100))
@click.option("--only", default="", type=click.Choice(["", "emcee", "growth"]))
def main(count: int, largest: int, only: str) -> None:
    """Print ratios and the growth of the time."""
    held = []
    if only in ("", "emcee"):
        held.append(against_emcee(count))
    if only in ("", "growth"):
        held.append(growth(largest))
    click.echo("within the bars" if all(held) else "NOT within the bars")


if __name__ == "__main__":
    main()
