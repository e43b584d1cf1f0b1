"""How near does the sampler come to a very long ensemble MCMC run, in posterior standard deviations?

    python bench/sampler_agreement.py [--steps 40000] [--markdown]

The posteriors, and a density of each written a second time, are those of tests/engine/test_sampler_against_mcmc.py; the
chains here are long enough for their own error to be a fraction of the 3 % asked for. Per posterior: the largest
difference of a 5, 50 or 95 % point of any loss, the mean over several seeds of the sampler against the chain, the
scatter of one seed, and the chain's own standard error.
"""

from __future__ import annotations

import math
import sys
from pathlib import Path
from typing import Final

import click
import emcee
import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent.parent / "tests" / "engine"))

from made_catches import PRIORS
from test_sampler_against_mcmc import POSTERIORS, WALKERS, WIDTH_SD, Second, mcmc_points

from chaffinch.engine.evidence import Catch
from chaffinch.engine.sources import Joint, locate

BAR: Final = 0.03
"""Largest difference allowed, in posterior sds (design §4.6)."""
SEEDS: Final = range(1, 13)
POINTS: Final = (0.05, 0.5, 0.95)


def chain_of(catches: list[Catch], steps: int) -> tuple[dict[str, np.ndarray], float]:
    """Draws of each ln(loss) and of the total, and how many independent ones they are worth."""
    second = Second(catches)
    rng = np.random.default_rng(61)
    start = second.centre + 0.3 * second.sd * rng.standard_normal((WALKERS, second.centre.size))
    moves = [(emcee.moves.DEMove(), 0.8), (emcee.moves.StretchMove(), 0.2)]
    chain = emcee.EnsembleSampler(WALKERS, second.centre.size, second, vectorize=True, moves=moves)
    chain.random_state = np.random.RandomState(62).get_state()
    chain.run_mcmc(start, steps)
    burn = steps // 10
    walks = chain.get_chain(discard=burn)[:, :, : len(second.seen)]
    # tol=0: a short run is allowed, its own error says how much it is worth.
    times = chain.get_autocorr_time(discard=burn, tol=0)[: len(second.seen)]
    columns = {s: walks[:, :, i] for i, s in enumerate(second.seen)}
    columns["total"] = np.log(np.exp(walks).sum(axis=2))
    return columns, float(walks.shape[0] * walks.shape[1] / times.max())


def ours(joint: Joint, name: str) -> list[float]:
    """The sampler's three points of one ln(loss)."""
    belief = joint.of(*(joint.sources if name == "total" else (name,)))
    return [math.log(belief.quantile(p)) for p in POINTS]


def row_of(catches: list[Catch], steps: int) -> tuple[float, float, float]:
    """(largest difference of the mean over seeds, largest scatter of one seed, largest error of the chain) [sd]."""
    columns, effective = chain_of(catches, steps)
    runs = [locate(catches, PRIORS, width_sd=WIDTH_SD, seed=1000 * s) for s in SEEDS]
    off, scatter, error = 0.0, 0.0, 0.0
    for name, values in columns.items():
        sd = float(values.std())
        found = np.array([ours(run, name) for run in runs])
        theirs = mcmc_points(values, effective)
        off = max(off, float(np.abs(found.mean(axis=0) - [t.value for t in theirs]).max()) / sd)
        scatter = max(scatter, float(found.std(axis=0, ddof=1).max()) / sd)
        error = max(error, max(t.error for t in theirs) / sd)
    return off, scatter, error


@click.command()
@click.option("--steps", default=40_000, show_default=True, type=click.IntRange(min=200))
@click.option("--only", default="", help="Posteriors with this in their name.")
@click.option("--markdown", is_flag=True)
def main(steps: int, only: str, markdown: bool) -> None:
    """Print one line per posterior."""
    head = ("posterior", "mean of 12 seeds off by", "one seed scatters by", "chain's own error", f"within {BAR:g}")
    if markdown:
        click.echo("| " + " | ".join(head) + " |\n|---|---:|---:|---:|---|")
    for name, catches in POSTERIORS.items():
        if only not in name:
            continue
        off, scatter, error = row_of(catches, steps)
        cells = (name, f"{off:.3f}", f"{scatter:.3f}", f"{error:.3f}", "yes" if off <= BAR else "NO")
        click.echo("| " + " | ".join(cells) + " |" if markdown else "  ".join(cells))


if __name__ == "__main__":
    main()
