"""A third road to one curve: the same posterior by gradients (NUTS of NumPyro), where that library is installed.

    pip install numpyro
    OMP_NUM_THREADS=1 python bench/response_nuts.py [--checks 60] [--draws 4000]

NumPyro is not needed by the program or its tests. The model is written a second time, u summed on 121 nodes, in the
coordinates of the fit. Prints means and sds of both, their differences in posterior sds, and the times (that of NUTS
after its warm-up, but with a compilation in it: no fair ratio).
"""

from __future__ import annotations

import math
import time

import click
import numpy as np

from response_speed import PRIOR, checks, fit, processor_s

WILD, TAU, SLOPE, LEVEL_SD = 0.02, (math.log(0.25), 0.5), (1.3, 0.8), 1.3


@click.command()
@click.option("--checks", "count", default=60, show_default=True, type=click.IntRange(min=3))
@click.option("--draws", default=4000, show_default=True, type=click.IntRange(min=100))
def main(count: int, draws: int) -> None:
    """Print both posteriors side by side."""
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
    mine_s = processor_s(lambda: fit(points), 5)
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

    chain = MCMC(NUTS(potential_fn=minus_log_posterior), num_warmup=800, num_samples=draws, progress_bar=False)
    chain.warmup(jax.random.PRNGKey(1), init_params={"x": jnp.array(mean)})
    began = time.process_time()
    chain.run(jax.random.PRNGKey(2))
    took = time.process_time() - began
    theirs = np.asarray(chain.get_samples()["x"])
    effective = numpyro.diagnostics.effective_sample_size(theirs[None])
    click.echo(f"{'':>8}{'mean':>10}{'NUTS':>10}{'off, sd':>9}{'sd':>9}{'NUTS':>9}{'effective':>11}")
    for i, name in enumerate(("level", "slope", "bend", "scatter")):
        other, their_sd = theirs[:, i].mean(), theirs[:, i].std()
        off = (mean[i] - other) / their_sd
        click.echo(
            f"{name:>8}{mean[i]:>10.3f}{other:>10.3f}{off:>9.3f}{sd[i]:>9.3f}{their_sd:>9.3f}{float(effective[i]):>11.0f}"
        )
    click.echo(f"fit_response {mine_s:.3f} s; NUTS {took:.2f} s for {draws} draws")


if __name__ == "__main__":
    main()
