"""Whose curve is it? Each combine's own draws, given what the others say, and those of a combine never seen.

A combine with checks has its own draws. Where there are several, they are reweighted by the population that the others
point to, or fitted anew under it where too few draws would be left. A new combine has its level and slope from the
population and everything else from the prior.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from chaffinch.engine.estimate import Prior
from chaffinch.engine.response.curve import LN_SCATTER, CurveDraws, CurveTask, LevelSlope, LnPrior, fit_curve
from chaffinch.engine.response.loss_point import LossPoint
from chaffinch.engine.response.pool import GivenOthers, Population, population, systematic
from chaffinch.engine.response.terms import CONDITION_SD, Scale, Terms, terms
from chaffinch.engine.sampling.sampler import LEAST_ESS

FloatArray = NDArray[np.float64]

DRAWS: Final = 4096
"""Equally likely draws of every curve."""

USUAL_SLOPE: Final = (0.0, 4.0)
"""Exponents of machine loss outside these deserve a second look [1]; own figure around the published 0.28 to 1.5."""
_SAME_LOAD: Final = 1.1
"""Heaviest over lightest load below which the checks cannot tell a slope [1]; own figure."""


@dataclass(frozen=True, slots=True)
class Member:
    """One combine with checks.

    Attributes
    ----------
    task : CurveTask
        Its checks.
    positions : tuple of int
        Where each check stood among those given.
    draws : CurveDraws
        Weighted.
    equal : ndarray, shape (4096, d)
        As many equally likely ones, in the order of their level.
    ln_prior : callable or None
        The prior of level and slope that the other combines give it; None where there are none.
    """

    task: CurveTask
    positions: tuple[int, ...]
    draws: CurveDraws
    equal: FloatArray
    ln_prior: LnPrior | None


def fit_members(
    tasks: Mapping[str, CurveTask],
    positions: Mapping[str, Sequence[int]],
    base: LevelSlope,
    source: str,
    prior: Prior,
    *,
    seed: int,
) -> tuple[dict[str, Member], Population | None]:
    """Fit every combine, and with two or more the population they come from.

    Parameters
    ----------
    tasks, positions : mapping
        By combine; none is allowed.
    base : LevelSlope
        Prior under which each is fitted at first.
    source, prior
        As in :func:`chaffinch.engine.response.pool.population`.
    seed : int
    """
    alone = [fit_curve(task, base, seed=seed) for task in tasks.values()]
    people = population(alone, base, source, prior, seed=seed) if len(tasks) > 1 else None
    members = {}
    for k, (name, task) in enumerate(tasks.items()):
        draws, ln_prior = alone[k], None
        if people is not None:
            others = people.without(k)
            if others.ess < LEAST_ESS:
                others = population([*alone[:k], *alone[k + 1 :]], base, source, prior, seed=seed)
            draws, ln_prior = _given_the_others(task, alone[k], base, others, seed)
        order = np.argsort(draws.points[:, 0], kind="stable")
        equal = draws.points[order[systematic(draws.weights[order], DRAWS)]]
        members[name] = Member(task, tuple(positions[name]), draws, equal, ln_prior)
    return members, people


def new_combine(people: Population, scores: FloatArray, scale: Mapping[str, Scale]) -> tuple[FloatArray, Terms]:
    """Draws of a combine never seen, shape (4096, 4 + conditions), and its terms.

    Parameters
    ----------
    people : Population
    scores : ndarray, shape (4096, 4 + conditions)
        Standard normal numbers.
    scale : mapping of str to Scale
        The conditions of the fit.
    """
    order = np.argsort(people.points[:, 0], kind="stable")
    h = people.points[order[systematic(people.weights[order], DRAWS)]]
    level = h[:, 0] + np.exp(h[:, 1]) * scores[:, 0]
    slope = h[:, 2] + np.exp(h[:, 3]) * scores[:, 1]
    scatter = LN_SCATTER[0] + LN_SCATTER[1] * scores[:, 3]
    what = terms([], scale)
    rest = CONDITION_SD * scores[:, 4 : 4 + len(what.conditions)]
    return np.column_stack([level, slope, scores[:, 2], scatter, rest]), what


def what_to_say(
    source: str, points: Sequence[LossPoint], members: Mapping[str, Member], scale: Mapping[str, Scale]
) -> tuple[str, ...]:
    """What the reader must be told of a fit, as on :class:`chaffinch.engine.response.fit.Response`."""
    if not points:
        return ("prior only",)
    notes = []
    loads = [[p.load for p in member.task.points] for member in members.values()]
    if all(max(own) / min(own) < _SAME_LOAD for own in loads):
        notes.append("load does not vary")
    for name, spread in scale.items():
        if spread.sd == 0.0:
            notes.append(f"condition never varied: {name}")
        elif any(name not in p.conditions for p in points):
            notes.append(f"condition not told at some checks: {name}")
    for name, member in members.items():
        notes += [f"setup seen once: {s}" for s in member.task.terms.lone_setups]
        slope = float(member.draws.weights @ member.draws.points[:, 1])
        if source == "machine" and slope < USUAL_SLOPE[0]:
            notes.append(f"slope below 0: {name}")
        if source == "machine" and slope > USUAL_SLOPE[1]:
            notes.append(f"slope above 4: {name}")
    return tuple(notes)


def _given_the_others(
    task: CurveTask, alone: CurveDraws, base: LevelSlope, others: Population, seed: int
) -> tuple[CurveDraws, LnPrior]:
    """Draws of one combine under the prior that the others give it, and that prior."""

    ln_prior = GivenOthers.of(others)
    draws = alone.reweighted(ln_prior(alone.points[:, :2]) - base(alone.points[:, :2]))
    if draws.ess < LEAST_ESS:
        draws = fit_curve(task, base, seed=seed, ln_prior=ln_prior)
    return draws, ln_prior
