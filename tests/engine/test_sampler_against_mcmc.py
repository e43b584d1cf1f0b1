"""The joint posterior against a long run of an ensemble MCMC sampler (emcee) on a density written a second time.

The second density takes nothing from the engine: the formulas of design §4.1 to §4.4 on scipy.stats, with every
unevenness c and every shared error (pan, drop width, TKW, bulk density) as a parameter of its own, where the engine
sums c out on nodes, reads tables and folds common errors in at the end. Agreement is asked of the 5, 50 and 95 %
points of each ln(loss) and of the total: 3 % of the posterior sd (design §4.6) plus three standard errors of the
MCMC's own point, sqrt(p(1 − p)/n)/f with n its effective draws and f its density there.

The moves are differential evolution and stretch. (emcee 3.1.6's snooker move is left out: alone, it returns a narrower
posterior than either of these two and than plain integration.)
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

import emcee
import numpy as np
import pytest
from made_catches import DESIGN_PAN, PRIORS, counted, field_area, measured, weighed
from scipy import special, stats

from chaffinch.engine import exposure as ex
from chaffinch.engine.evidence import Catch
from chaffinch.engine.sources import locate

WIDTH_SD, PAN_SD, LN_C_SD = 0.08, 0.01, 0.35
READING_SD = {"weighed": 0.0, "measured": 0.04, "counted": 0.08}
WALKERS, STEPS, BURN = 160, 2600, 400


def ground(grams: float, exposure: ex.Exposure) -> Catch:
    return weighed(grams, exposure, tkw_g=40.0)


def ground_count(seeds: int, exposure: ex.Exposure) -> Catch:
    return counted(seeds, exposure, tkw_g=40.0)


STANDING, STRIP = ex.in_standing_crop(1.0), ex.in_header_strip(1.0)
POSTERIORS: dict[str, list[Catch]] = {
    "one source, three pans": [weighed(m) for m in (12.5, 9.8, 15.1)],
    "one empty pan": [weighed(0.0)],
    "three sources, all places": [
        *(ground(g, STANDING) for g in (0.6, 0.3)),
        *(ground(g, STRIP) for g in (2.1, 3.3)),
        *(ground(g, DESIGN_PAN) for g in (14.0, 11.0)),
        ground(22.0, ex.behind(0.5, 12.0, 2.0)),
        ground(45.0, ex.across_whole_cut(6.0)),
    ],
    "counted, weighed and measured": [
        *(ground_count(n, ex.in_standing_crop(0.25)) for n in (4, 2)),
        *(ground_count(n, ex.in_header_strip(0.25)) for n in (20, 9)),
        *(weighed(g, DESIGN_PAN, step=1.0, tkw_g=40.0) for g in (14.0, 11.0)),
        measured(20.0, field_area(3.6)),
    ],
    "a sum seen behind the machine": [
        ground(0.3, STANDING),
        *(ground(g, STRIP) for g in (1.5, 2.4)),
        *(ground(g, ex.behind(0.5, 12.0, 1.8)) for g in (9.0, 14.0, 7.5)),
    ],
    "skewed, nearly empty pans": [
        weighed(0.0, ex.in_header_strip(0.25)),
        weighed(0.3, ex.in_header_strip(0.25)),
        weighed(0.0),
        weighed(0.2),
    ],
}


class Second:
    """Log posterior of (ln λ per source, ln c per likeness, ln reading errors, ln pan error, ln width error)."""

    def __init__(self, catches: Sequence[Catch]) -> None:
        self.seen = [s for s in ("standing", "header", "machine") if any(c.exposure.area_m2(s) > 0 for c in catches)]
        alike = sorted({(c.exposure.taken, c.c0) for c in catches})
        kinds = sorted({c.reading.kind for c in catches} - {"weighed"})
        ns, nc = len(self.seen), len(alike)
        self.areas = 0.1 * np.array([[c.exposure.area_m2(s) for s in self.seen] for c in catches])
        self.leans = np.array([[s == "machine" and c.exposure.by_width for s in self.seen] for c in catches])
        self.c_column = np.array([ns + alike.index((c.exposure.taken, c.c0)) for c in catches])
        # Kinds without an error of their own look up a column that is always 0.
        self.kind_column = np.array(
            [ns + nc + kinds.index(c.reading.kind) if c.reading.kind in kinds else -1 for c in catches]
        )
        self.centre = np.array(
            [math.log(PRIORS[s].median_kg_ha) for s in self.seen]
            + [math.log(c0) for _, c0 in alike]
            + [0.0] * (len(kinds) + 2)
        )
        self.sd = np.array([1.3] * ns + [LN_C_SD] * nc + [READING_SD[k] for k in kinds] + [PAN_SD, WIDTH_SD])
        self.c_span = slice(ns, ns + nc)
        self.counts = np.array([c.reading.count is not None for c in catches])
        self.count = np.array([c.reading.count or 0 for c in catches])
        self.seed = np.array([c.reading.seed_g for c in catches])
        mass, half = (
            np.array([c.reading.mass_g for c in catches]),
            np.array([c.reading.step_g / 2 for c in catches]),
        )
        self.low, self.high = np.maximum(0.0, mass - half), mass + half
        # The design's counting rule for fine scales is tested elsewhere; none here comes under it.
        assert (half[~self.counts] >= self.seed[~self.counts]).all()

    def __call__(self, points: np.ndarray) -> np.ndarray:
        z = (points - self.centre) / self.sd
        total = -0.5 * np.square(z).sum(axis=1)
        total[(np.abs(z[:, self.c_span]) > 4.0).any(axis=1)] = -np.inf
        loss = np.exp(points[:, None, : len(self.seen)])
        narrower = np.where(self.leans, np.exp(-points[:, -1])[:, None, None], 1.0)
        mean = (loss * self.areas * narrower).sum(axis=2) * np.exp(-points[:, -2])[:, None]
        errors = np.concatenate([points, np.zeros((len(points), 1))], axis=1)
        mean *= np.exp(-errors[:, self.kind_column])
        c = np.exp(points[:, self.c_column])
        w = ~self.counts
        if w.any():
            variance = np.square(c * mean)[:, w] + self.seed[w] * mean[:, w]
            shape, scale = mean[:, w] ** 2 / variance, variance / mean[:, w]
            upper = self.low[w] > mean[:, w]
            x = np.stack([np.broadcast_to(self.low[w], shape.shape), np.broadcast_to(self.high[w], shape.shape)])
            # gammainc and gammaincc are stats.gamma's cdf and sf without its checks, of the only tail that is needed.
            tail, z = np.empty_like(x), x / scale
            shapes, uppers = np.broadcast_to(shape, x.shape), np.broadcast_to(upper, x.shape)
            for function, there in ((special.gammainc, ~uppers), (special.gammaincc, uppers)):
                tail[there] = function(shapes[there], z[there])
            chance = np.abs(tail[1] - tail[0])
            with np.errstate(divide="ignore"):
                total += np.log(np.maximum(chance, 0.0)).sum(axis=1)
        if self.counts.any():
            n = self.counts
            r, nu = 1.0 / np.square(c[:, n]), mean[:, n] / self.seed[n]
            total += stats.nbinom.logpmf(self.count[n], r, r / (r + nu)).sum(axis=1)
        return total


class Point(NamedTuple):
    value: float
    error: float


def mcmc_points(values: np.ndarray, effective: float) -> list[Point]:
    """5, 50 and 95 % points of a chain with their standard errors."""
    ordered = np.sort(values.ravel())
    points = []
    for p in (0.05, 0.5, 0.95):
        # Density from the quantiles 2 % of probability either side.
        a, b = np.interp([p - 0.02, p + 0.02], np.linspace(0, 1, ordered.size), ordered)
        points.append(
            Point(
                float(np.interp(p, np.linspace(0, 1, ordered.size), ordered)),
                math.sqrt(p * (1 - p) / effective) * (b - a) / 0.04,
            )
        )
    return points


@pytest.mark.slow
@pytest.mark.parametrize("catches", POSTERIORS.values(), ids=POSTERIORS.keys())
def test_agrees_with_a_long_mcmc_run(catches):
    second = Second(catches)
    joint = locate(catches, PRIORS, width_sd=WIDTH_SD)
    rng = np.random.default_rng(31)
    start = second.centre + 0.5 * second.sd * rng.standard_normal((WALKERS, second.centre.size))
    # Near the answer, to save burn-in; a wrong answer would be walked away from in the 400 steps thrown away.
    picked = rng.choice(joint.weights.size, WALKERS, p=joint.weights)
    start[:, : len(second.seen)] = np.log(joint.loss_kg_ha[picked])
    chain = emcee.EnsembleSampler(
        WALKERS,
        second.centre.size,
        second,
        vectorize=True,
        moves=[(emcee.moves.DEMove(), 0.8), (emcee.moves.StretchMove(), 0.2)],
    )
    chain.random_state = np.random.RandomState(32).get_state()
    chain.run_mcmc(start, STEPS)
    walks = chain.get_chain(discard=BURN)[:, :, : len(second.seen)]
    # tol: a chain of 50 autocorrelation times is long enough to know its own; fewer would raise here.
    times = chain.get_autocorr_time(discard=BURN, tol=50)[: len(second.seen)]
    effective = walks.shape[0] * walks.shape[1] / times

    assert effective.min() > 6000
    columns = {s: (walks[:, :, i], effective[i], [s]) for i, s in enumerate(second.seen)}
    columns["total"] = np.log(np.exp(walks).sum(axis=2)), effective.min(), second.seen
    for name, (values, n, sources) in columns.items():
        sd, belief = values.std(), joint.of(*sources)
        for p, theirs in zip((0.05, 0.5, 0.95), mcmc_points(values, n), strict=True):
            off = abs(math.log(belief.quantile(p)) - theirs.value)
            assert off < 0.03 * sd + 3 * theirs.error, f"{name}, {p:.0%}: off by {off / sd:.3f} sd"
