"""The posteriors of a trial and of a monitor key against a long run of an ensemble MCMC sampler (emcee).

The second densities are written from the models on plain numpy: the scatter between places is integrated out by the
trapezoid rule for every draw, where the engine reads tables. Agreement is asked of the 5, 50 and 95 % points: 3 % of
the posterior sd (design §4.6) plus three standard errors of the MCMC's own point.
"""

from __future__ import annotations

import math
from dataclasses import replace

import emcee
import numpy as np
import pytest
from made_trials import normal, pans, trial
from scipy import stats
from test_sampler_against_mcmc import mcmc_points

from chaffinch.engine.estimate import DrawBelief, Prior
from chaffinch.engine.evidence import LN_LOSS
from chaffinch.engine.monitor.key import Pair, fit_monitor
from chaffinch.engine.trial.ratio import Design, posterior
from chaffinch.engine.trial.scatter import blurred

WALKERS, STEPS, BURN = 48, 3000, 500
_Z = np.linspace(-5.0, 5.0, 41)
_LN_W = -0.5 * np.square(_Z) - math.log(float(np.exp(-0.5 * np.square(_Z)).sum()))


def scattered(ln_likelihood: np.ndarray, centre: np.ndarray, tau: np.ndarray) -> np.ndarray:
    """ln ∫ L(x + τz) N(z) dz for each draw."""
    seen = np.interp(centre[:, None] + tau[:, None] * _Z, LN_LOSS, ln_likelihood) + _LN_W
    top = seen.max(axis=1)
    return top + np.log(np.exp(seen - top[:, None]).sum(axis=1))


def compare_with_chain(log_density, start_mean, start_sd, draws, names):
    rng = np.random.default_rng(41)
    start = start_mean + 0.3 * start_sd * rng.standard_normal((WALKERS, len(names)))
    chain = emcee.EnsembleSampler(
        WALKERS,
        len(names),
        log_density,
        vectorize=True,
        moves=[(emcee.moves.DEMove(), 0.8), (emcee.moves.StretchMove(), 0.2)],
    )
    chain.random_state = np.random.RandomState(42).get_state()
    chain.run_mcmc(start, STEPS)
    walks = chain.get_chain(discard=BURN)
    times = chain.get_autocorr_time(discard=BURN, tol=50)
    effective = walks.shape[0] * walks.shape[1] / times
    assert effective.min() > 2000
    for i, name in enumerate(names):
        values = walks[:, :, i]
        sd = values.std()
        belief = DrawBelief(draws.points[:, i], draws.weights)
        for p, theirs in zip((0.05, 0.5, 0.95), mcmc_points(values, effective[i]), strict=True):
            off = abs(belief.quantile(p) - theirs.value)
            assert off < 0.03 * sd + 3 * theirs.error, f"{name}, {p:.0%}: off by {off / sd:.3f} sd"


@pytest.mark.slow
def test_trial_agrees_with_a_long_mcmc_run():
    seen = [pans(12.5, 9.8), pans(6.0, 8.1), pans(0.0, 0.4), pans(14.0, 11.0), pans(7.5), pans(3.0, 5.0, 2.5)]
    order, load = "ABBAAB", [20.0, 24.0, 23.0, 21.0, 19.0, 25.0]
    stops = trial(order, seen, loads=load)
    is_b = np.array([0.5 if s == "B" else -0.5 for s in order])
    hours = 0.25 * (np.arange(6) - 2.5)
    ln_load = np.log(load) - np.log(load).mean()
    centre = np.array([math.log(40.0), 0.0, 0.0, math.log(0.25), 1.2])
    sd = np.array([1.3, 0.3, 0.15, 0.5, 0.3])

    # Made once: scipy takes longer to set up a law than to ask it, and the chain asks 6,000 times.
    gain, others = stats.t(2, scale=0.3), [0, 2, 3, 4]
    others_law = stats.norm(centre[others], sd[others])

    def log_density(points: np.ndarray) -> np.ndarray:
        total = gain.logpdf(points[:, 1]) + others_law.logpdf(points[:, others]).sum(axis=1)
        for k, e in enumerate(seen):
            at = points[:, 0] + is_b[k] * points[:, 1] + hours[k] * points[:, 2] + ln_load[k] * points[:, 4]
            total += scattered(e.log_likelihood, at, np.exp(points[:, 3]))
        return total

    design = Design.of(stops)
    design = replace(design, columns=np.column_stack([design.columns, ln_load]), exponent=(1.2, 0.3), cautions=())
    draws = posterior(design, [blurred(e) for e in seen], Prior(40.0))
    compare_with_chain(log_density, centre, sd, draws, ["middle", "ln B/A", "drift", "ln tau", "exponent"])


@pytest.mark.slow
def test_monitor_agrees_with_a_long_mcmc_run():
    rows = [
        (2.0, pans(2.5, 1.8)),
        (4.0, pans(6.0)),
        (0.0, pans(0.6, 0.3)),
        (9.0, pans(14.0, 11.0)),
        (6.0, normal(70, 0.2)),
    ]
    pairs = [Pair(r, e, "area", step=1.0) for r, e in rows]
    key = fit_monitor(pairs, prior=Prior(40.0))
    centre, sd = np.array([math.log(40.0), 1.0, math.log(0.25)]), np.array([1.3, 0.3, 0.5])
    quarters = (np.arange(4) + 0.5) / 4

    def log_density(points: np.ndarray) -> np.ndarray:
        total = -0.5 * np.square((points - centre) / sd).sum(axis=1)
        for r, e in rows:
            low, high = max(0.0, r - 0.5), r + 0.5
            places = np.log((low + (high - low) * quarters) / key.middle)
            parts = [scattered(e.log_likelihood, points[:, 0] + points[:, 1] * x, np.exp(points[:, 2])) for x in places]
            total += np.logaddexp.reduce(parts)
        return total

    compare_with_chain(log_density, centre, sd, key.draws, ["a", "b", "ln sigma"])
