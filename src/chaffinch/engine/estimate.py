"""How large the loss is: evidence and prior to a range, and the verdict against a limit."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final, Literal, Protocol

import numpy as np
from numpy.typing import NDArray

from chaffinch.engine.domain import not_negative, positive
from chaffinch.engine.evidence import LN_LOSS, Evidence

FloatArray = NDArray[np.float64]
Verdict = Literal["over", "under", "unsettled"]

PRIOR_SHARE: Final = {"machine": 0.02, "header": 0.015, "standing": 0.003, "leak": 0.001}
"""Prior median as a share of expected yield [1] (design §4.4; the leak's is ours too; all wide on purpose)."""
PRIOR_MEDIAN_KG_HA: Final = {"machine": 40.0, "header": 20.0, "standing": 5.0, "leak": 2.0}
"""Prior median without a yield [kg/ha] (design §4.4; own figures)."""
PRIOR_SD: Final = 1.3
"""Standard deviation of ln(loss) before any catch [1]: the 90 % range spans a factor of 72."""

RANGE: Final = (0.05, 0.50, 0.95)
"""Percentiles of every range shown."""
CLEAR: Final = 0.80
"""Probability from which a verdict is given (design §4.4)."""


@dataclass(frozen=True, slots=True)
class Range:
    """5th, 50th and 95th percentile of a quantity, in its own unit."""

    low: float
    median: float
    high: float

    def times(self, factor: float) -> Range:
        """Return the range of the quantity multiplied by ``factor`` ≥ 0."""
        not_negative("factor", factor)
        return Range(self.low * factor, self.median * factor, self.high * factor)


@dataclass(frozen=True, slots=True)
class Prior:
    """Lognormal belief about a loss before the catches: median [kg/ha] and sd of the log [1]."""

    median_kg_ha: float
    sd_log: float = PRIOR_SD


class Belief(Protocol):
    """What can be asked of a loss after the catches, whether it stands on a grid or as draws."""

    def quantile(self, p: float) -> float:
        """Loss [kg/ha] below which the probability is ``p``."""
        ...

    def probability_above(self, loss_kg_ha: float) -> float:
        """Probability that the loss exceeds ``loss_kg_ha``."""
        ...

    def mean(self) -> float:
        """Expected loss [kg/ha]."""
        ...


@dataclass(frozen=True, slots=True)
class GridBelief:
    """Posterior of one loss on :data:`LN_LOSS`: ``mass`` of shape (577,) sums to 1."""

    mass: FloatArray

    def quantile(self, p: float) -> float:
        """Loss [kg/ha] below which the probability is ``p``, 0 < p < 1, by interpolation in ln(loss)."""
        # Mass i is spread evenly over the cell around grid point i.
        step = float(LN_LOSS[1] - LN_LOSS[0])
        edges = np.append(LN_LOSS - step / 2, LN_LOSS[-1] + step / 2)
        cumulative = np.append(0.0, np.cumsum(self.mass))
        rising = np.diff(cumulative) > 0
        # Both edges of every cell that holds mass: a cell must not be stretched over empty ones before it.
        kept = np.append(rising, False) | np.append(False, rising)
        return math.exp(float(np.interp(p, cumulative[kept], edges[kept])))

    def probability_above(self, loss_kg_ha: float) -> float:
        """Probability that the loss exceeds ``loss_kg_ha``."""
        positive("limit", loss_kg_ha)
        step = float(LN_LOSS[1] - LN_LOSS[0])
        edges = np.append(LN_LOSS - step / 2, LN_LOSS[-1] + step / 2)
        cumulative = np.append(0.0, np.cumsum(self.mass))
        return float(1.0 - np.interp(math.log(loss_kg_ha), edges, cumulative))

    def mean(self) -> float:
        """Expected loss [kg/ha]."""
        return float(self.mass @ np.exp(LN_LOSS))

    def at_the_ends(self) -> float:
        """Probability within 4 % of either end of the grid, where the belief would be cut off."""
        return float(self.mass[:2].sum() + self.mass[-2:].sum())

    def sd_log(self) -> float:
        """Standard deviation of ln(loss) [1]."""
        centre = float(self.mass @ LN_LOSS)
        return math.sqrt(float(self.mass @ np.square(LN_LOSS - centre)))


@dataclass(frozen=True, slots=True)
class DrawBelief:
    """Posterior of one loss as weighted draws [kg/ha]."""

    loss_kg_ha: FloatArray
    weights: FloatArray

    def quantile(self, p: float) -> float:
        """Weighted quantile [kg/ha], interpolated between draws at the middle of their weights."""
        order = np.argsort(self.loss_kg_ha)
        weights = self.weights[order]
        middle = np.cumsum(weights) - weights / 2
        return float(np.interp(p, middle, self.loss_kg_ha[order]))

    def probability_above(self, loss_kg_ha: float) -> float:
        """Probability that the loss exceeds ``loss_kg_ha``."""
        return float(min(1.0, self.weights[self.loss_kg_ha > positive("limit", loss_kg_ha)].sum()))

    def mean(self) -> float:
        """Expected loss [kg/ha]."""
        return float(self.weights @ self.loss_kg_ha)


def default_prior(source: str, yield_kg_ha: float | None) -> Prior:
    """Prior of one source: a share of the expected yield, or a fixed median without a yield.

    Parameters
    ----------
    source : {"standing", "header", "machine", "leak"}
    yield_kg_ha : float or None
        Expected harvested yield [kg/ha].
    """
    if yield_kg_ha is None:
        return Prior(PRIOR_MEDIAN_KG_HA[source])
    return Prior(PRIOR_SHARE[source] * positive("yield_kg_ha", yield_kg_ha))


def estimate(seen: Evidence, prior: Prior, scale_sd: float) -> GridBelief:
    """Posterior of a loss: evidence times prior, convolved with the shared scale error.

    Parameters
    ----------
    seen : Evidence
        From :func:`chaffinch.engine.evidence.evidence`.
    prior : Prior
        Belief before the catches.
    scale_sd : float
        Standard deviation of the log of the error that all catches share [1], 0 or more.
    """
    z = (LN_LOSS - math.log(positive("prior median", prior.median_kg_ha))) / positive("prior sd", prior.sd_log)
    log_post = seen.log_likelihood - 0.5 * z**2
    mass = np.exp(log_post - log_post.max())
    return GridBelief(blur(mass / mass.sum(), scale_sd))


def blur(mass: FloatArray, scale_sd: float) -> FloatArray:
    """Convolve grid mass with a normal of sd ``scale_sd`` in ln(loss); mass at the ends stays on the grid."""
    step = float(LN_LOSS[1] - LN_LOSS[0])
    if not_negative("scale_sd", scale_sd) < step / 4:
        return mass
    reach = math.ceil(4.5 * scale_sd / step)
    kernel = np.exp(-0.5 * (np.arange(-reach, reach + 1) * step / scale_sd) ** 2)
    wide = np.convolve(mass, kernel / kernel.sum())
    result: FloatArray = wide[reach : reach + mass.size].copy()
    result[0] += wide[:reach].sum()
    result[-1] += wide[reach + mass.size :].sum()
    return result


def range_of(belief: Belief) -> Range:
    """5 / 50 / 95 % points of a belief [kg/ha]."""
    low, median, high = (belief.quantile(p) for p in RANGE)
    return Range(low, median, high)


def verdict(p_over: float) -> Verdict:
    """``over`` from 0.80, ``under`` to 0.20, else ``unsettled``."""
    if p_over >= CLEAR:
        return "over"
    # Not p ≤ 1 − CLEAR: in floats 1 − 0.8 falls just short of 0.2.
    return "under" if 1.0 - p_over >= CLEAR else "unsettled"


def share_pct(loss_kg_ha: float, total_loss_kg_ha: float, yield_kg_ha: float) -> float:
    """Loss as percent of (harvested + lost) [%].

    Parameters
    ----------
    loss_kg_ha : float
        The loss in question [kg/ha].
    total_loss_kg_ha : float
        All losses counted as lost [kg/ha].
    yield_kg_ha : float
        Harvested yield [kg/ha], above 0.
    """
    whole = positive("yield_kg_ha", yield_kg_ha) + not_negative("total_loss_kg_ha", total_loss_kg_ha)
    return 100.0 * not_negative("loss_kg_ha", loss_kg_ha) / whole


def percent_of_harvested(loss_kg_ha: float, yield_kg_ha: float) -> float:
    """Loss as percent of harvested yield only [%]: the other base, for comparing with sources that use it."""
    return 100.0 * not_negative("loss_kg_ha", loss_kg_ha) / positive("yield_kg_ha", yield_kg_ha)
