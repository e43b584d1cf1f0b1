"""Where the seed was lost: before harvest, at the header, or through the machine.

Joint posterior of the three losses from all catches of a check, with the likelihood of
:mod:`chaffinch.engine.evidence`, sampled in logs by the kernel (design §4.5). Shared errors are kept
apart: the reading's (a wrong TKW moves every count together), the drop width's (moves machine loss only) and
the pan's (moves everything).
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from chaffinch.engine.catch import PAN_SD
from chaffinch.engine.estimate import DrawBelief, Prior
from chaffinch.engine.evidence import (
    GRAMS_PER_KG_HA_M2,
    LN_LOSS,
    SOURCES,
    Catch,
    average_over_c,
    by_likeness,
    c_nodes,
    log_likelihood,
    weights_over_c,
)
from chaffinch.engine.sampling.sampler import Draws, sample
from chaffinch.engine.sampling.sobol import sobol
from chaffinch.errors import InputError

FloatArray = NDArray[np.float64]

_TABLE_STEP: Final = 0.06
"""Widest spacing of ln μ in the tables the draws are read from; three eighths of c where c is small. Own figure: read
smoothly, the log-likelihood then errs by at most 0.004 within 12 of its top (docs/method/sources.md)."""
_FLOOR: Final = -1e9
"""Stands for an impossible reading: keeps the climb finite, low enough for it to feel the slope above."""
_CERTAINLY_EMPTY: Final = 0.002
"""Expected mass, as a share of half a step or of a seed, at which an empty reading is certain to about 2 %."""
_TABLE_MARGIN: Final = 4.0
"""How far the tables extend beyond the expected masses of the grid of losses [ln]; read on straight beyond that."""


@dataclass(frozen=True, slots=True)
class Joint:
    """Joint posterior of the losses a check sees.

    Attributes
    ----------
    sources : tuple of str
        Sources seen, in the order standing, header, machine.
    loss_kg_ha : ndarray, shape (n, len(sources))
        Draws with all shared errors in them [kg/ha].
    caught_kg_ha : ndarray, shape (n, len(sources))
        The same draws without the errors common to all catches: what a further catch would see [kg/ha].
    weights : ndarray, shape (n,)
        Weights of the draws, summing to 1.
    width_error : ndarray, shape (n,)
        Factor by which the machine exposure resting on the drop width is off, per draw [1].
    reading_error : mapping of str to ndarray
        For kinds of reading that share an error not common to all catches: the factor by which that kind reads, per
        draw [1].
    ess : float
        Effective number of draws.
    learned : mapping of str to float
        1 − (posterior sd ÷ prior sd) of ln(loss) per source: near 0, the catches said nothing about it.
    c_draws : mapping
        For each way of taking catches, one coefficient of variation per draw [1].
    """

    sources: tuple[str, ...]
    loss_kg_ha: FloatArray
    caught_kg_ha: FloatArray
    weights: FloatArray
    width_error: FloatArray
    reading_error: Mapping[str, FloatArray]
    ess: float
    learned: Mapping[str, float]
    c_draws: Mapping[tuple[str, float], FloatArray]

    def of(self, *sources: str) -> DrawBelief:
        """Belief about the sum of the named sources (those seen)."""
        columns = [self.sources.index(s) for s in sources if s in self.sources]
        if not columns:
            raise InputError("sources", ", ".join(sources), "no catch sees any of them", "ask for a source seen")
        return DrawBelief(self.loss_kg_ha[:, columns].sum(axis=1), self.weights)

    def part_of_loss_pct(self) -> dict[str, float]:
        """Expected share of each source in the total loss [%]; the shares sum to 100."""
        parts = self.loss_kg_ha / self.loss_kg_ha.sum(axis=1, keepdims=True)
        mean = self.weights @ parts
        return {s: float(100.0 * p) for s, p in zip(self.sources, mean / mean.sum(), strict=True)}

    def p_largest(self) -> dict[str, float]:
        """Probability that each source is the largest of those seen."""
        winner = self.loss_kg_ha.argmax(axis=1)
        return {s: float(self.weights[winner == i].sum()) for i, s in enumerate(self.sources)}


def sources_seen(catches: Sequence[Catch]) -> tuple[str, ...]:
    """Sources that at least one catch is exposed to, in the order standing, header, machine, leak.

    The leak only counts with a catch that sees nothing else: otherwise it is part of the machine loss.
    """
    leaking = any(c.exposure.leak_m2 > 0 and c.exposure.machine_m2 == 0 for c in catches)
    return tuple(s for s in SOURCES if (s != "leak" or leaking) and any(c.exposure.area_m2(s) > 0 for c in catches))


def common_scale_sd(catches: Sequence[Catch], width_sd: float) -> float | None:
    """Sd of the log of the shared error when every catch shares all of it, else None.

    True for one source read one way through exposures that all rest on the drop width, or none do; then the
    error can be convolved afterwards (design §4.4) instead of being sampled.
    """
    kinds = {c.reading.kind for c in catches}
    widths = {c.exposure.by_width for c in catches}
    if len(kinds) > 1 or len(widths) > 1:
        return None
    width = width_sd if widths == {True} else 0.0
    return math.sqrt(_scale_sd(catches)[kinds.pop()] ** 2 + width**2 + PAN_SD**2)


def _scale_sd(catches: Sequence[Catch]) -> dict[str, float]:
    """Sd of the log of the reading's shared error by kind; of catches put together unlike, the largest."""
    kinds = {c.reading.kind for c in catches}
    return {k: max(c.reading.scale_sd for c in catches if c.reading.kind == k) for k in kinds}


def locate(catches: Sequence[Catch], priors: Mapping[str, Prior], *, width_sd: float, seed: int = 1) -> Joint:
    """Sample the joint posterior of all losses that the catches see.

    Parameters
    ----------
    catches : sequence of Catch
        At least one.
    priors : mapping of str to Prior
        One for each source seen.
    width_sd : float
        Sd of the log of the drop or spread width [1].
    seed : int
        Same seed, same answer.

    Raises
    ------
    InputError
        Without catches.
    SamplerError
        When the posterior cannot be sampled to 400 effective draws.
    """
    # Sums of floats depend on their order; the order in which catches were written down must not show.
    catches = sorted(catches, key=repr)
    seen = sources_seen(catches)
    if not seen:
        raise InputError("catches", len(catches), "there is no catch that sees a loss", "take at least one")
    nuisance = _Nuisance.of(catches, width_sd)
    ready = _Tables(catches, seen, nuisance)
    prior_mean = np.array([math.log(priors[s].median_kg_ha) for s in seen] + [0.0] * nuisance.count)
    prior_sd = np.array([priors[s].sd_log for s in seen] + list(nuisance.sds))

    def log_density(straight: FloatArray) -> FloatArray:
        points = _ln_losses(straight, len(seen))
        z = (points - prior_mean) / prior_sd
        result: FloatArray = ready.log_likelihood(points) - 0.5 * np.square(z).sum(axis=1)
        return result

    found = sample(log_density, *_straight(prior_mean, prior_sd, len(seen)), seed=seed)
    draws = Draws(_ln_losses(found.points, len(seen)), found.weights, found.ess)
    return _joint(draws, seen, nuisance, ready, prior_sd, seed)


def _ln_losses(straight: FloatArray, sources: int) -> FloatArray:
    """Turn (ln of the sum, ln ratios, errors) into (ln losses, errors): the sampler works on the former.

    A frame that sees several sources pins down their sum. In the logs of the losses such a posterior has two legs at a
    right angle, and the sampler may miss one; in the log of the sum and the logs of each source's ratio to the
    sum of those before it, the legs lie in line. Each step (ln a, ln b) → (ln(a + b), ln(b/a)) has the
    determinant 1, so the density needs no correction.
    """
    points = straight.copy()
    left = straight[:, 0]
    for k in range(sources - 1, 0, -1):
        points[:, k] = left - np.logaddexp(0.0, -straight[:, k])
        left = left - np.logaddexp(0.0, straight[:, k])
    points[:, 0] = left
    return points


def _straight(mean: FloatArray, sd: FloatArray, sources: int) -> tuple[FloatArray, FloatArray]:
    """Where the sampler starts: mean and generous sd of (ln of the sum, ln ratios, errors) before the catches."""
    start, wide = mean.copy(), sd.copy()
    for k in range(1, sources):
        start[k] = mean[k] - start[0]
        wide[k] = math.hypot(sd[k], sd[k - 1])
        start[0] = np.logaddexp(start[0], mean[k])
    return start, wide


@dataclass(frozen=True, slots=True)
class _Nuisance:
    """Shared errors that differ between catches and so must be sampled, and those common to all."""

    kinds: tuple[str, ...]
    width: bool
    sds: tuple[float, ...]
    common_sd: float
    common_width_sd: float

    @property
    def count(self) -> int:
        return len(self.sds)

    @staticmethod
    def of(catches: Sequence[Catch], width_sd: float) -> _Nuisance:
        scale = _scale_sd(catches)
        kinds = tuple(sorted(k for k, sd in scale.items() if sd > 0)) if len(scale) > 1 else ()
        common = math.hypot(PAN_SD, 0.0 if len(scale) > 1 else next(iter(scale.values())))
        # A leak catch needs no drop width; a check that mixes it with pans must keep the width's error apart.
        machine = [c.exposure.by_width for c in catches if c.exposure.machine_m2 > 0 or c.exposure.leak_m2 > 0]
        mixed = len(set(machine)) > 1 and width_sd > 0.0
        common_width = width_sd if machine and all(machine) else 0.0
        sds = tuple(scale[k] for k in kinds) + ((width_sd,) if mixed else ())
        return _Nuisance(kinds, mixed, sds, common, common_width)


class _Tables:
    """Log-likelihood of draws, read from one table per distinct exposure."""

    def __init__(self, catches: Sequence[Catch], seen: tuple[str, ...], nuisance: _Nuisance) -> None:
        self.seen, self.nuisance = seen, nuisance
        self.groups: list[_Group] = []
        for key, members in by_likeness(catches).items():
            alike: dict[tuple[object, ...], list[Catch]] = {}
            for _, catch in members:
                alike.setdefault(_row_key(catch, seen, nuisance), []).append(catch)
            c = c_nodes(key[1])
            rows = [_Row(group, seen, nuisance, c) for group in alike.values()]
            # Where all catches that share a c share the expected mass too, c need not be kept apart draw by draw.
            averaged = average_over_c(rows[0].table) if len(rows) == 1 else None
            self.groups.append(_Group(key, c, rows, averaged))

    def by_group(self, points: FloatArray) -> list[FloatArray]:
        """One table of shape (n, 23) per way of taking catches."""
        loss, extra = self._parted(points)
        return [group.by_c(loss, extra) for group in self.groups]

    def log_likelihood(self, points: FloatArray) -> FloatArray:
        loss, extra = self._parted(points)
        result: FloatArray = np.sum(
            [
                average_over_c(g.by_c(loss, extra))
                if g.averaged is None
                else _read_smoothly(g.averaged, g.rows[0].place(loss, extra))
                for g in self.groups
            ],
            axis=0,
        )
        return result

    def _parted(self, points: FloatArray) -> tuple[FloatArray, FloatArray]:
        return np.exp(points[:, : len(self.seen)]), points[:, len(self.seen) :]


@dataclass(frozen=True, slots=True)
class _Group:
    """Catches that share one coefficient of variation: a table for each exposure, and the only one averaged over c."""

    key: tuple[str, float]
    c: FloatArray
    rows: list[_Row]
    averaged: FloatArray | None

    def by_c(self, loss: FloatArray, extra: FloatArray) -> FloatArray:
        """Log-likelihood of draws for each node of c, shape (n, 23)."""
        result: FloatArray = np.sum([_read_smoothly(row.table, row.place(loss, extra)) for row in self.rows], axis=0)
        return result


def _read_smoothly(table: FloatArray, place: FloatArray) -> FloatArray:
    """Read a table of shape (rows,) or (rows, m) at places between its rows: shape (n,) or (n, m).

    By the cubic through four rows whose slope at a row is that from the row before to the row after, straight on beyond
    the ends. It has no kinks: over a table read straight between its rows the climb to the mode finds curvature by
    chance, and magnifies the last digit of a float to a percent of the range.
    """
    index = np.clip(place, 1, table.shape[0] - 3).astype(np.intp)
    along = place - index
    if table.ndim == 2:
        along = along[:, None]
    t = np.clip(along, 0.0, 1.0)
    before, here, after, last = (table[index + k] for k in (-1, 0, 1, 2))
    bend = t * (2 * before - 5 * here + 4 * after - last + t * (3 * (here - after) + last - before))
    smooth = here + 0.5 * t * (after - before + bend)
    straight = here + t * (after - here)
    # Beside the floor that stands for an impossible reading a cubic would overshoot.
    inner = np.where(np.minimum(before, last) > 0.5 * _FLOOR, smooth, straight)
    result: FloatArray = inner + 0.5 * (along - t) * np.where(along < 0.0, after - before, last - here)
    return result


def _row_key(catch: Catch, seen: tuple[str, ...], nuisance: _Nuisance) -> tuple[object, ...]:
    """Catches with equal keys have the same expected mass in every draw: their tables add up."""
    exposure = catch.exposure
    areas = tuple(exposure.area_m2(s) for s in seen)
    return areas, exposure.variation_factor, exposure.by_width, _kind_column(catch, nuisance)


def _kind_column(catch: Catch, nuisance: _Nuisance) -> int:
    return nuisance.kinds.index(catch.reading.kind) if catch.reading.kind in nuisance.kinds else -1


class _Row:
    """The table of catches that share an exposure and a kind of reading."""

    def __init__(self, catches: Sequence[Catch], seen: tuple[str, ...], nuisance: _Nuisance, c: FloatArray) -> None:
        first = catches[0]
        self.areas = GRAMS_PER_KG_HA_M2 * np.array([first.exposure.area_m2(s) for s in seen])
        self.by_width = [i for i, s in enumerate(seen) if s in ("machine", "leak")]
        self.kind_column = _kind_column(first, nuisance)
        self.width_column = len(nuisance.kinds) if nuisance.width and first.exposure.by_width else -1
        low = math.log(float(self.areas[self.areas > 0].min())) + float(LN_LOSS[0]) - _TABLE_MARGIN
        high = math.log(float(self.areas.sum())) + float(LN_LOSS[-1]) + _TABLE_MARGIN
        # Where an empty reading has become certain its likelihood is flat, and may be read on straight from there.
        certain = min(_CERTAINLY_EMPTY * max(x.reading.step_g / 2, x.reading.seed_g) for x in catches)
        self.step = min(_TABLE_STEP, 0.375 * first.c0 * first.exposure.variation_factor)
        self.ln_mean = np.arange(min(low, math.log(certain)), high, self.step)
        tables = [np.maximum(log_likelihood(x, self.ln_mean, c), _FLOOR) for x in catches]
        self.table: FloatArray = np.sum(tables, axis=0)

    def place(self, loss: FloatArray, extra: FloatArray) -> FloatArray:
        """Where in the table draws of shape (n, sources) and errors (n, nuisances) stand, in rows: shape (n,)."""
        parts = loss * self.areas
        if self.width_column >= 0:
            parts[:, self.by_width] *= np.exp(-extra[:, self.width_column])[:, None]
        ln_mean = np.log(parts.sum(axis=1))
        if self.kind_column >= 0:
            ln_mean = ln_mean - extra[:, self.kind_column]
        result: FloatArray = (ln_mean - self.ln_mean[0]) / self.step
        return result


def _joint(
    draws: Draws, seen: tuple[str, ...], nuisance: _Nuisance, ready: _Tables, prior_sd: FloatArray, seed: int
) -> Joint:
    n = draws.weights.size
    caught = np.exp(draws.points[:, : len(seen)])
    # The sampler used the first coordinates (one per parameter and one for the tails).
    u = sobol(n, 3, seed=seed, first=draws.points.shape[1] + 1)
    z = ndtri(u)
    loss = caught * np.exp(nuisance.common_sd * z[:, :1])
    width_error = np.ones(n)
    if "machine" in seen:
        column = seen.index("machine")
        if nuisance.common_width_sd:
            loss[:, column] *= np.exp(nuisance.common_width_sd * z[:, 1])
        if nuisance.width:
            width_error = np.exp(-draws.points[:, len(seen) + len(nuisance.kinds)])
    reading_error = {k: np.exp(-draws.points[:, len(seen) + i]) for i, k in enumerate(nuisance.kinds)}
    mean = draws.weights @ draws.points
    sd = np.sqrt(draws.weights @ np.square(draws.points - mean))
    learned = {s: float(1.0 - sd[i] / prior_sd[i]) for i, s in enumerate(seen)}
    c_draws = {}
    for group, table in zip(ready.groups, ready.by_group(draws.points), strict=True):
        cumulative = np.cumsum(weights_over_c(table), axis=1)
        picked = (u[:, 2:3] > cumulative[:, :-1]).sum(axis=1)
        c_draws[group.key] = group.c[picked]
    return Joint(seen, loss, caught, draws.weights, width_error, reading_error, draws.ess, learned, c_draws)
