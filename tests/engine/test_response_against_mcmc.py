"""Curves against long runs of an ensemble MCMC sampler on densities written a second time.

One combine with real catches, u summed densely where the rooms read tables; and three combines whose population and
curves are walked jointly in sixteen dimensions, where the rooms fit each alone and put them together afterwards.
Agreement is asked of every posterior mean and sd: 3 % of the sd (design §6) plus three standard errors of the chain.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from made_catches import weighed
from response_second_road import OneCurve, Pooled, bell, walk

from chaffinch.engine.estimate import Prior
from chaffinch.engine.evidence import evidence
from chaffinch.engine.response.fit import fit_response
from chaffinch.engine.response.loss_point import LossPoint

PRIOR = Prior(40.0)
# Throughput [t/h] and what the pans held [g]: one day's checks, one of them with an empty pan beside a full one.
DAY = {9.0: (4.1, 6.0), 11.0: (7.9,), 12.0: (5.1, 6.6), 14.0: (12.5, 9.8), 17.0: (0.0, 19.0), 21.0: (31.0, 25.0, 30.0)}


def agrees(draws, weights, flat, effective):
    mean, sd = flat.mean(axis=0), flat.std(axis=0)
    mine = weights @ draws
    my_sd = np.sqrt(weights @ np.square(draws - mine))
    error = 3.0 / np.sqrt(effective)
    assert np.all(np.abs(mine - mean) / sd < 0.03 + error), (mine - mean) / sd
    # The sd of n draws is known to 1/sqrt(2n) for a normal; sqrt(1/n) covers heavier tails too.
    assert np.all(np.abs(my_sd / sd - 1.0) < 0.03 + error), my_sd / sd


@pytest.mark.slow
def test_one_combine_agrees_with_a_long_chain():
    points = [LossPoint(evidence([weighed(g) for g in grams], "machine"), q) for q, grams in DAY.items()]
    mine = fit_response(points, source="machine", prior=PRIOR, load_kind="throughput").draws()
    rng = np.random.default_rng(2)
    # Near the answer, to save burn-in; a wrong answer would be walked away from in the steps thrown away.
    start = mine.points[rng.choice(mine.weights.size, 48, p=mine.weights)]

    flat, effective = walk(OneCurve(points, 40.0, "machine"), start, steps=2000, burn=200, seed=3)

    assert effective.min() > 4000
    agrees(mine.points, mine.weights, flat, effective)


@pytest.mark.slow
def test_several_combines_agree_with_one_joint_chain():
    rng = np.random.default_rng(5)
    combines = []
    for checks in (5, 3, 8):
        level, slope = math.log(40.0) + 0.3 * rng.standard_normal(), 1.3 + 0.3 * rng.standard_normal()
        load = 15.0 * np.exp(0.25 * rng.standard_normal(checks))
        said = level + slope * np.log(load / 15.0) + math.hypot(0.25, 0.2) * rng.standard_normal(checks)
        combines.append([(float(q), float(m), 0.2) for q, m in zip(load, said, strict=True)])
    names = ["first", "second", "third"]
    points = [LossPoint(bell(m, s), q, n) for n, c in zip(names, combines, strict=True) for q, m, s in c]
    response = fit_response(points, source="machine", prior=PRIOR, load_kind="throughput")
    mine = [response.draws(name) for name in names]
    people = response.population()
    start = np.concatenate([d.points[rng.choice(d.weights.size, 128, p=d.weights)] for d in (people, *mine)], axis=1)

    flat, effective = walk(Pooled(combines, 40.0, "machine"), start, steps=3600, burn=400, seed=3)

    assert effective.min() > 3500
    agrees(people.points, people.weights, flat[:, :4], effective[:4])
    for k, draws in enumerate(mine):
        columns = slice(4 + 4 * k, 8 + 4 * k)
        agrees(draws.points, draws.weights, flat[:, columns], effective[columns])
