"""How many catches: for a clear verdict now, or for a wished precision before the season.

Both answers come from playing the catches forward through the model itself: draw a loss and a variation,
draw readings, and see what range or verdict they would give (a pre-posterior calculation, design §4.4).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.special import gammainc, gammaincinv, gammaln, ndtri

from chaffinch.engine.domain import between, not_negative, positive
from chaffinch.engine.estimate import CLEAR, PRIOR_SD, Prior
from chaffinch.engine.evidence import (
    GRAMS_PER_KG_HA_M2,
    LN_LOSS,
    VARIATION_SD,
    Catch,
    average_over_c,
    by_likeness,
    c_nodes,
    log_likelihood,
    weights_over_c,
)
from chaffinch.engine.sampling.sobol import sobol
from chaffinch.engine.sources import Joint

FloatArray = NDArray[np.float64]

MOST_FURTHER: Final = 12
"""Further catches looked ahead (design §4.4)."""
ENOUGH_CHANCE: Final = 0.80
"""Chance of a clear verdict that is called enough (design §4.4)."""
MOST_PLANNED: Final = 60
"""Catches beyond which a precision is called out of reach."""
_PARTICLES: Final = 512
_FUTURES: Final = 512
_PRECISION_FUTURES: Final = 64


@dataclass(frozen=True, slots=True)
class Prospect:
    """Equally likely draws of what a further catch would meet, given all catches so far.

    Attributes
    ----------
    ln_mean_g : ndarray, shape (n,)
        Logarithm of its expected mass [ln g].
    c : ndarray, shape (n,)
        Coefficient of variation [1].
    loss_kg_ha : ndarray, shape (n,)
        The loss the verdict is about, shared errors included [kg/ha].
    seed_g, step_g : float
        Particle mass and step of the further catch [g].
    """

    ln_mean_g: FloatArray
    c: FloatArray
    loss_kg_ha: FloatArray
    seed_g: float
    step_g: float


@dataclass(frozen=True, slots=True)
class Outlook:
    """How many further catches are likely to settle the verdict.

    Attributes
    ----------
    catches : int or None
        Least number with a chance of a clear verdict of 0.8 or more; None when twelve are not enough.
    chance : float
        Chance of a clear verdict after that many further catches, or after the most looked ahead when they are not
        enough [1].
    """

    catches: int | None
    chance: float


def prospect_of_one_source(
    catches: Sequence[Catch], source: str, prior: Prior, scale_sd: float, like: Catch, *, seed: int = 1
) -> Prospect:
    """Prospect of one more catch like ``like`` when every catch sees only ``source``."""
    tables = {}
    total = -0.5 * np.square((LN_LOSS - math.log(prior.median_kg_ha)) / prior.sd_log)
    for key, members in by_likeness(catches).items():
        c = c_nodes(key[1])
        table = np.zeros((LN_LOSS.size, c.size))
        for _, catch in members:
            area = catch.exposure.area_m2(source)
            table += log_likelihood(catch, LN_LOSS + math.log(GRAMS_PER_KG_HA_M2 * area), c)
        tables[key] = weights_over_c(table)
        total = total + average_over_c(table)
    cumulative = np.cumsum(np.exp(total - total.max()))
    u = sobol(_PARTICLES, 3, seed=seed)
    row = np.minimum(np.searchsorted(cumulative, u[:, 0] * cumulative[-1]), LN_LOSS.size - 1)
    if like.alike in tables:
        along = np.cumsum(tables[like.alike][row], axis=1)
        c_drawn = c_nodes(like.c0)[(u[:, 1:2] > along[:, :-1]).sum(axis=1)]
    else:
        c_drawn = like.c0 * np.exp(VARIATION_SD * ndtri(u[:, 1]))
    ln_loss = LN_LOSS[row]
    area = positive("area", like.exposure.area_m2(source), f"a catch that sees {source} loss is needed")
    return Prospect(
        ln_loss + math.log(GRAMS_PER_KG_HA_M2 * area),
        c_drawn * like.exposure.variation_factor,
        np.exp(ln_loss + scale_sd * ndtri(u[:, 2])),
        like.reading.seed_g,
        _step_g(like),
    )


def prospect_of_joint(joint: Joint, like: Catch, judged: Sequence[str], *, seed: int = 1) -> Prospect:
    """Prospect of one more catch like ``like`` from the joint posterior of several sources.

    ``judged`` names the sources whose sum the verdict is about.
    """
    cumulative = np.cumsum(joint.weights)
    u = sobol(_PARTICLES, 1, seed=seed)[:, 0]
    picked = np.minimum(np.searchsorted(cumulative, u * cumulative[-1]), joint.weights.size - 1)
    mean = np.zeros(_PARTICLES)
    for column, source in enumerate(joint.sources):
        part = GRAMS_PER_KG_HA_M2 * like.exposure.area_m2(source) * joint.caught_kg_ha[picked, column]
        if source in ("machine", "leak") and like.exposure.by_width:
            part = part * joint.width_error[picked]
        mean += part
    if like.reading.kind in joint.reading_error:
        mean *= joint.reading_error[like.reading.kind][picked]
    columns = [joint.sources.index(s) for s in judged if s in joint.sources]
    if like.alike in joint.c_draws:
        c = joint.c_draws[like.alike][picked] * like.exposure.variation_factor
    else:
        z = ndtri(sobol(_PARTICLES, 1, seed=seed, first=1)[:, 0])
        c = like.c0 * np.exp(VARIATION_SD * z) * like.exposure.variation_factor
    loss = joint.loss_kg_ha[picked][:, columns].sum(axis=1)
    return Prospect(np.log(mean), c, loss, like.reading.seed_g, _step_g(like))


class LookAhead:
    """Futures with further catches played out, to ask after any number of them how often the verdict is clear.

    Futures are drawn from the prospect, each with ``most`` readings; the draws are re-weighted by the likelihood of the
    readings and P(loss > limit) is looked at. Two sums of the readings are all the Gamma likelihood needs, so every
    number of catches comes from the same readings.

    Parameters
    ----------
    prospect : Prospect
        From one of the two functions above.
    limit_kg_ha : float
        The limit [kg/ha], above 0.
    most : int
        How far to look, 1 to 20.
    seed : int
        Same seed, same answer.
    """

    def __init__(self, prospect: Prospect, limit_kg_ha: float, *, most: int = MOST_FURTHER, seed: int = 1) -> None:
        self._over = prospect.loss_kg_ha > positive("limit", limit_kg_ha)
        between("most", most, 1, 20)
        # The first draws become futures: any run of 2**k Sobol points from the start is evenly scattered.
        truth = np.arange(min(_FUTURES, prospect.c.size))
        self._model = Readings(prospect.ln_mean_g, prospect.c, prospect.seed_g, prospect.step_g)
        self._readings = self._model.draw(truth, np.random.default_rng(seed).random((truth.size, most)))

    def chance(self, catches: int) -> float:
        """Chance of a clear verdict after so many further catches [1]."""
        ll = self._model.log_likelihood(self._readings[:, :catches])
        weights = np.exp(ll - ll.max(axis=1, keepdims=True))
        p_over = weights @ self._over / weights.sum(axis=1)
        return float(np.mean((p_over >= CLEAR) | (1.0 - p_over >= CLEAR)))


def further_catches(prospect: Prospect, limit_kg_ha: float, *, most: int = MOST_FURTHER, seed: int = 1) -> Outlook:
    """Least number of further catches after which a clear verdict is likely; arguments as for :class:`LookAhead`.

    The chance rises with the number but for the noise of the futures, so the number is found by halving: one look at
    the far end, and three or four on the way there.
    """
    ahead = LookAhead(prospect, limit_kg_ha, most=most, seed=seed)
    low, high, at_high = 0, most, ahead.chance(most)
    if at_high < ENOUGH_CHANCE:
        return Outlook(None, at_high)
    while high - low > 1:
        middle = (low + high) // 2
        at_middle = ahead.chance(middle)
        if at_middle >= ENOUGH_CHANCE:
            high, at_high = middle, at_middle
        else:
            low = middle
    return Outlook(high, at_high)


@dataclass(frozen=True, slots=True)
class Precision:
    """Catches needed for a wished precision.

    Attributes
    ----------
    catches : int or None
        Least number whose typical 90 % range is within ± ``wished``; None when 60 are not enough.
    half_width : float
        Typical half width of the range at that number (or at 60), as a share of its median [1].
    floor : float
        Half width that remains with any number of catches, because the shared errors do not average out [1].
    """

    catches: int | None
    half_width: float
    floor: float


def catches_for_precision(
    like: Catch, source: str, loss_kg_ha: float, wished: float, scale_sd: float, *, seed: int = 1
) -> Precision:
    """Number of catches like ``like`` for a 90 % range of about ± ``wished`` around its median.

    Parameters
    ----------
    like : Catch
        Its exposure, step, seed mass and variation are used; its reading is not.
    source : str
        Which loss it sees.
    loss_kg_ha : float
        The loss to plan for, usually the limit [kg/ha].
    wished : float
        Half width as a share [1]: 0.25 for ± 25 %; 0.01 to 2.
    scale_sd : float
        Sd of the log of the error all catches share [1].

    Notes
    -----
    The typical half width is the median over futures of (95th − 5th percentile)/(2 · median). Normal theory, the
    second road in the tests: 1.645 · sqrt((c² + w/μ)/n + scale_sd²).
    """
    between("precision", wished, 0.01, 2.0, "give ± as a share between 1 % and 200 %")
    area = positive("area", like.exposure.area_m2(source), f"a catch that sees {source} loss is needed")
    ln_mean = math.log(GRAMS_PER_KG_HA_M2 * area * positive("loss", loss_kg_ha))
    mean = math.exp(ln_mean)
    one_catch = math.hypot(
        like.c0 * like.exposure.variation_factor, math.sqrt(like.reading.seed_g / mean), _step_g(like) / mean
    )
    # Even catches are told apart on a finer grid, or its spacing would pass for their spread.
    span = min(3.0, 8.0 * one_catch)
    reach = np.linspace(-span, span, 241)
    c_z = np.linspace(-2.4, 2.4, 9)
    c = like.c0 * np.exp(VARIATION_SD * c_z) * like.exposure.variation_factor
    flat_ln_mean = np.repeat(ln_mean + reach, c.size)
    model = Readings(flat_ln_mean, np.tile(c, reach.size), like.reading.seed_g, _step_g(like))
    prior = np.repeat(-0.5 * np.square(reach / PRIOR_SD), c.size) - 0.5 * np.square(np.tile(c_z, reach.size))
    u = sobol(_PRECISION_FUTURES, 1, seed=seed)[:, 0]
    c_true = like.c0 * np.exp(VARIATION_SD * ndtri(u)) * like.exposure.variation_factor
    truth = Readings(np.full(c_true.size, ln_mean), c_true, like.reading.seed_g, _step_g(like))
    chance = np.random.default_rng(seed).random((c_true.size, MOST_PLANNED))
    readings = truth.draw(np.arange(c_true.size), chance)

    def half_width(n: int) -> float:
        ll = model.log_likelihood(readings[:, :n]) + prior
        mass = np.exp(ll - ll.max(axis=1, keepdims=True)).reshape(-1, reach.size, c.size).sum(axis=2)
        return float(np.median([_half_width(m, reach, scale_sd) for m in mass]))

    shared = -float(ndtri(0.05)) * not_negative("scale_sd", scale_sd)
    floor = math.sinh(shared)
    low, high = 0, 1
    while high < MOST_PLANNED and half_width(high) > wished:
        low, high = high, min(MOST_PLANNED, 2 * high)
    at_high = half_width(high)
    if at_high > wished:
        return Precision(None, at_high, floor)
    while high - low > 1:
        middle = (low + high) // 2
        if half_width(middle) <= wished:
            high = middle
        else:
            low = middle
    return Precision(high, half_width(high), floor)


class Readings:
    """Gamma readings rounded to a step, for many (mean, c) at once; sums of readings are sufficient."""

    def __init__(self, ln_mean_g: FloatArray, c: FloatArray, seed_g: float, step_g: float) -> None:
        self.step_g = positive("step", step_g)
        mean = np.exp(ln_mean_g)
        scale = np.square(c) * mean + positive("seed_g", seed_g)
        self.shape, self.scale = mean / scale, scale
        constant = gammaln(self.shape) + self.shape * np.log(scale)
        with np.errstate(divide="ignore"):
            ln_empty = np.maximum(np.log(gammainc(self.shape, self.step_g / 2 / scale)), -1e3)
        self.terms = np.stack([self.shape - 1, 1 / scale, constant, ln_empty])

    def draw(self, which: NDArray[np.intp], u: FloatArray) -> FloatArray:
        """Readings for the chosen (mean, c), rounded to the step; shape of ``u``."""
        exact = gammaincinv(self.shape[which][:, None], u) * self.scale[which][:, None]
        result: FloatArray = np.round(exact / self.step_g) * self.step_g
        return result

    def log_likelihood(self, readings: FloatArray) -> FloatArray:
        """Log-likelihood of each row of readings under each (mean, c): shape (rows, n)."""
        empty = readings <= 0
        count = (~empty).sum(axis=1)[:, None]
        ln_sum = np.log(np.where(empty, 1.0, readings)).sum(axis=1)[:, None]
        total = readings.sum(axis=1)[:, None]
        sums = np.hstack([ln_sum, -total, -count, empty.sum(axis=1)[:, None]])
        # Not a matrix product: for four columns the BLAS threads cost more than they save.
        result: FloatArray = np.einsum("ij,jk->ik", sums, self.terms)
        return result


def _half_width(mass: FloatArray, reach: FloatArray, scale_sd: float) -> float:
    """(95th − 5th)/(2 · median) of a mass over ln(loss), the shared error added in quadrature in the log."""
    cumulative = np.cumsum(mass) - mass / 2
    low, middle, high = np.interp(np.array([0.05, 0.5, 0.95]) * mass.sum(), cumulative, reach)
    shared = -float(ndtri(0.05)) * scale_sd
    return (math.exp(math.hypot(high - middle, shared)) - math.exp(-math.hypot(middle - low, shared))) / 2


def _step_g(like: Catch) -> float:
    """Step of a reading [g]; a count is known to one seed, one made of several counted pans to one particle."""
    reading = like.reading
    if reading.count is not None:
        return 1.0 / reading.seeds_per_g
    return reading.step_g or reading.seed_g
