"""A third road to one curve: the same posterior by gradients (NUTS of NumPyro), where that library is installed.

    pip install numpyro
    OMP_NUM_THREADS=1 python bench/response_nuts.py [--checks 60] [--draws 4000] [--repeats 5]

NumPyro is not needed by the program or its tests. The model is written a second time, u summed on 121 nodes, in the
coordinates of the fit. Prints means and sds of both, their differences in posterior sds, and the times, all processor
times of one thread. A run of NUTS is 800 steps of adapting and then its draws. The first run of a shape compiles, the
others do not: both are told, the latter as the median of several, and so is the ratio for each effective draw (of the
parameter that has fewest; Kish's for the fit). The fit has nothing to compile, and is run once before it is timed.
"""

from __future__ import annotations

import math
import os
import statistics
import time
from collections.abc import Callable

import click
import numpy as np

from response_speed import PRIOR, checks, fit

ADAPTING = 800
WILD, TAU, SLOPE, LEVEL_SD = 0.02, (math.log(0.25), 0.5), (1.3, 0.8), 1.3


@click.command()
@click.option("--checks", "count", default=60, show_default=True, type=click.IntRange(min=3))
@click.option("--draws", default=4000, show_default=True, type=click.IntRange(min=100))
@click.option("--repeats", default=5, show_default=True, type=click.IntRange(min=1), help="Runs timed.")
def main(count: int, draws: int, repeats: int) -> None:
    """Print both posteriors side by side."""
    # One thread, as for the fit.
    os.environ.setdefault("XLA_FLAGS", "--xla_cpu_multi_thread_eigen=false intra_op_parallelism_threads=1")
    try:
        import jax
        import jax.numpy as jnp
        import numpyro
        from jax.scipy.stats import norm
        from numpyro.infer import MCMC, NUTS
    except ImportError as error:
        raise click.ClickException(f"this bench needs numpyro ({error})") from error
    numpyro.enable_x64()
    points = checks(count, 1, np.random.default_rng(1))
    mine = fit(points).draws()  # type: ignore[attr-defined]
    mine_s = statistics.median(seconds(lambda: fit(points)) for _ in range(repeats))
    mean, sd = mine.weights @ mine.points, mine.sd()

    grid = jnp.linspace(math.log(0.05), math.log(5000.0), 577)
    seen = jnp.array([np.maximum(p.evidence.log_likelihood, -700.0) for p in points])
    wild = WILD * jnp.exp(seen).mean(axis=1)
    load = np.array([p.load for p in points])
    ln_ratio = jnp.log(load / np.median(load))
    nodes = jnp.linspace(-6.0, 6.0, 121)
    share = norm.pdf(nodes) * (nodes[1] - nodes[0])

    def minus_log_posterior(at: dict[str, object]) -> object:
        level, slope, k, ln_tau = at["x"]
        bend = 1.5 * norm.cdf(k) + 1e-9
        height = level + slope * jnp.expm1(bend * ln_ratio) / bend
        places = height[:, None] + jnp.exp(ln_tau) * nodes
        likely = jnp.exp(jax.vmap(lambda x, s: jnp.interp(x, grid, s))(places, seen)) @ share
        prior = ((level - math.log(PRIOR.median_kg_ha)) / LEVEL_SD) ** 2 + ((slope - SLOPE[0]) / SLOPE[1]) ** 2
        prior += k**2 + ((ln_tau - TAU[0]) / TAU[1]) ** 2
        return 0.5 * prior - jnp.log((1.0 - WILD) * likely + wild).sum()

    chain = MCMC(NUTS(potential_fn=minus_log_posterior), num_warmup=ADAPTING, num_samples=draws, progress_bar=False)

    def walked(seed: int) -> np.ndarray:
        adapting, drawing = jax.random.split(jax.random.PRNGKey(seed))
        chain.warmup(adapting, init_params={"x": jnp.array(mean)})
        chain.run(drawing)
        return np.asarray(chain.get_samples()["x"])

    first_s = seconds(lambda: walked(1))
    later_s = statistics.median(seconds(lambda k=k: walked(2 + k)) for k in range(repeats))
    theirs = walked(1)
    effective = numpyro.diagnostics.effective_sample_size(theirs[None])
    click.echo(f"{'':>8}{'mean':>10}{'NUTS':>10}{'off, sd':>9}{'sd':>9}{'NUTS':>9}{'effective':>11}")
    for i, name in enumerate(("level", "slope", "bend", "scatter")):
        other, their_sd = theirs[:, i].mean(), theirs[:, i].std()
        off = (mean[i] - other) / their_sd
        click.echo(
            f"{name:>8}{mean[i]:>10.3f}{other:>10.3f}{off:>9.3f}{sd[i]:>9.3f}{their_sd:>9.3f}{float(effective[i]):>11.0f}"
        )
    fewest = float(min(effective))
    click.echo(
        f"\nfit_response {1000 * mine_s:.0f} ms, {mine.ess:.0f} effective draws: {1e6 * mine_s / mine.ess:.1f} µs each"
    )
    for name, took in (("first run, with its compilation", first_s), ("later runs, compiled", later_s)):
        each = took / fewest
        click.echo(
            f"NUTS, {name}: {took:.2f} s, {fewest:.0f} effective draws: {1e6 * each:.0f} µs each; "
            f"{took / mine_s:.0f} times the fit, {each * mine.ess / mine_s:.0f} times for each effective draw"
        )


def seconds(work: Callable[[], object]) -> float:
    """Processor time of one run [s]."""
    began = time.process_time()
    work()
    return time.process_time() - began


if __name__ == "__main__":
    main()
