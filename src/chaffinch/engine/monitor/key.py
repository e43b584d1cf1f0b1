"""What does the bar mean? From what a loss monitor shows to machine loss, once checks were taken beside it.

    ln λ = a + b · ln(r / r₀) + ε,    ε ~ N(0, σ²)

λ machine loss [kg/ha], r what the bar shows per area, r₀ the middle of the readings. A bar that counts per time is
first divided by v · W. A bar moves in steps: what it shows is any reading within half a step, so a bar at 0 stands
somewhere between nothing and half its smallest step, and says something about the low end.

The sensor does not see the header, nor what fell before harvest: every answer carries that.

Source: design §4.10; the conversion from time to area is 10,000 · r/(v · W) (derived). The figures are own.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from chaffinch.engine.domain import not_negative, positive
from chaffinch.engine.estimate import DrawBelief, Prior, Range, range_of
from chaffinch.engine.monitor.pair import Pair, Per, missing, per_area, stands, within_step
from chaffinch.engine.sampling.proposals import logsumexp
from chaffinch.engine.sampling.sampler import POINTS_PER_ROUND, Draws, sample
from chaffinch.engine.trial.scatter import Scattered, blurred, mean_of, sd_of
from chaffinch.errors import InputError

__all__ = ["MachineLoss", "MonitorKey", "MonitorTable", "Pair", "fit_monitor", "per_area"]

FloatArray = NDArray[np.float64]
Caution = Literal["header not seen", "beyond what was tried", "bar at 0", "shared error left out"]

SLOPE, SLOPE_SD = 1.0, 0.3
"""b before any pair [1] (design §4.10): twice the hits, twice the loss."""
SCATTER, SCATTER_SD = 0.25, 0.5
"""Median of σ, and sd of ln σ [1]: as for places under one setup (design §4.7); own figures for a monitor."""
BEYOND: Final = 1.10
"""Factor beyond the readings tried up to which the key still answers, and says so [1] (as design §4.7)."""


@dataclass(frozen=True, slots=True)
class MachineLoss(Range):
    """A range of machine loss [kg/ha], with what must be told beside it."""

    cautions: tuple[Caution, ...]


@dataclass(frozen=True, slots=True)
class MonitorTable:
    """Bar to loss and loss to bar.

    Attributes
    ----------
    readings, speeds_kmh : tuple of float
        Rows and columns; one column without a speed (None) for a bar per area.
    loss_kg_ha : tuple of tuple
        Machine loss for each reading and speed; None where the key has not been tried.
    losses_kg_ha : tuple of float
        Rows of the second table.
    reading_for : tuple of tuple
        Reading for each loss and speed; None where the key has not been tried.
    cautions : tuple of str
        For the whole table.
    """

    readings: tuple[float, ...]
    speeds_kmh: tuple[float | None, ...]
    loss_kg_ha: tuple[tuple[MachineLoss | None, ...], ...]
    losses_kg_ha: tuple[float, ...]
    reading_for: tuple[tuple[Range | None, ...], ...]
    cautions: tuple[Caution, ...]


@dataclass(frozen=True, slots=True)
class MonitorKey:
    """What a bar means on this machine in this crop, as far as pairs have shown it.

    Attributes
    ----------
    per : {"time", "area"}
        How the bar counts.
    width_m : float or None
        Cut width of all pairs [m], for a bar per time.
    valid : tuple of float
        Lowest and highest reading above 0 that was tried, per area; both NaN without one.
    step : float or None
        Smallest step of the bar, in its own unit: the largest of the pairs' own; None when one was read exactly.
    zero_tried : bool
        Whether a bar at 0 is among the pairs.
    middle : float
        r₀: the reading, per area, at which ``draws`` count a.
    draws : Draws
        Columns a, b, ln σ.
    scale_sd : float
        Sd of the log of the error all catches share [1].
    missing : tuple of str
        What is still needed before the key claims anything; empty when it does.
    cautions : tuple of str
        What belongs to every answer.
    pairs : int
        How many pairs it rests on.
    """

    per: Per
    width_m: float | None
    valid: tuple[float, float]
    step: float | None
    zero_tried: bool
    middle: float
    draws: Draws
    scale_sd: float
    missing: tuple[str, ...]
    cautions: tuple[Caution, ...]
    pairs: int

    @property
    def slope(self) -> Range:
        """b: how many times ln(loss) rises with ln(reading) [1]."""
        return range_of(DrawBelief(self.draws.points[:, 1], self.draws.weights))

    @property
    def scatter(self) -> Range:
        """σ: sd of ln(loss) at one reading [1]."""
        return range_of(DrawBelief(np.exp(self.draws.points[:, 2]), self.draws.weights))

    def readings_tried(self, speed_kmh: float | None = None) -> tuple[float, float]:
        """Lowest and highest bar above 0 the key covers, as the bar shows it at ``speed_kmh``."""
        one = self._unit(speed_kmh)
        return self.valid[0] / one, self.valid[1] / one

    def loss_kg_ha(self, reading: float, speed_kmh: float | None = None) -> MachineLoss:
        """Machine loss where the bar shows ``reading`` [kg/ha], scatter included: what one more check would find.

        Parameters
        ----------
        reading : float
            As the bar shows it, 0 or more; 0 only if a bar at 0 is among the pairs.
        speed_kmh : float or None
            Ground speed [km/h]; needed for a bar per time.

        Raises
        ------
        InputError
            While the key claims nothing, and more than 10 % beyond the readings tried.
        """
        self._ready()
        unit = self._unit(speed_kmh)
        shown = not_negative("reading", reading) * unit
        half = 0.0 if self.step is None else self.step / 2 * unit
        places = within_step(max(0.0, shown - half), shown + half) if half else np.array([shown])
        if shown == 0.0:
            if not self.zero_tried or self.step is None:
                raise InputError("reading", 0.0, "no bar at 0 was tried", "take a check while the bar stands at 0")
            return self._range(places, ("bar at 0",))
        low, high = self.valid
        if not low / BEYOND <= shown <= high * BEYOND:
            lowest, highest = self.readings_tried(speed_kmh)
            raise InputError(
                "reading", reading, f"lies beyond the {lowest:.3g} to {highest:.3g} tried", "take a check at this bar"
            )
        return self._range(places, () if low <= shown <= high else ("beyond what was tried",))

    def reading_for(self, loss_kg_ha: float, speed_kmh: float | None = None) -> Range:
        """Bar to drive by for a machine loss: its lower end leaves 95 % below that loss, its upper end only 5 %.

        At the middle, a check finds more than that loss as often as less. The ends follow the same line, also where
        they lie beyond the readings tried.

        Raises
        ------
        InputError
            While the key claims nothing, and for a loss whose middle bar lies more than 10 % beyond those tried.
        """
        self._ready()
        one = self._unit(speed_kmh)
        target = math.log(positive("loss_kg_ha", loss_kg_ha))
        low, middle, high = (self._reading_at(target, p) for p in (0.95, 0.5, 0.05))
        if not self.valid[0] / BEYOND <= middle <= self.valid[1] * BEYOND:
            least, most = (range_of(self._belief(np.array([r]))).median for r in self.valid)
            raise InputError(
                "loss_kg_ha", loss_kg_ha, f"lies beyond the {least:.3g} to {most:.3g} tried", "take a check there"
            )
        return Range(low / one, middle / one, high / one)

    def table(
        self,
        readings: Sequence[float],
        losses_kg_ha: Sequence[float],
        speeds_kmh: Sequence[float | None] = (None,),
    ) -> MonitorTable:
        """Both ways at once: rows of readings and of losses, columns of speeds; None where nothing may be claimed."""
        self._ready()

        def loss(reading: float, speed: float | None) -> MachineLoss | None:
            shown = not_negative("reading", reading) * self._unit(speed)
            tried = self.zero_tried if shown == 0 else self._tried(shown)
            return self.loss_kg_ha(reading, speed) if tried else None

        def reading(loss_kg_ha: float, speed: float | None) -> Range | None:
            middle = self._reading_at(math.log(positive("loss_kg_ha", loss_kg_ha)), 0.5)
            return self.reading_for(loss_kg_ha, speed) if self._tried(middle) else None

        return MonitorTable(
            tuple(readings),
            tuple(speeds_kmh),
            tuple(tuple(loss(r, v) for v in speeds_kmh) for r in readings),
            tuple(losses_kg_ha),
            tuple(tuple(reading(x, v) for v in speeds_kmh) for x in losses_kg_ha),
            self.cautions,
        )

    def predicted_ln(self, shown: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Draws of a + b · ln(r/r₀) for readings per area (shape (n, m)) and of σ (shape (n,)), without scatter."""
        a, b, ln_sigma = self.draws.points.T
        return a[:, None] + b[:, None] * np.log(shown / self.middle), np.exp(ln_sigma)

    def _tried(self, shown: float) -> bool:
        return self.valid[0] <= shown <= self.valid[1]

    def _ready(self) -> None:
        if self.missing:
            raise InputError("pairs", self.pairs, "are too few to claim anything", f"needed: {'; '.join(self.missing)}")

    def _unit(self, speed_kmh: float | None) -> float:
        """Reading per area that one step of the bar stands for at this speed."""
        if self.per == "area":
            return 1.0
        if speed_kmh is None or self.width_m is None:
            raise InputError("speed_kmh", None, "is needed: this bar counts per time", "give the ground speed")
        return per_area(1.0, speed_kmh, self.width_m)

    def _belief(self, shown: FloatArray) -> _Predicted:
        centre, sigma = self.predicted_ln(shown)
        # Draws of no weight only cost time, and may lie anywhere.
        heavy = self.draws.weights > 1e-9 * self.draws.weights.max()
        weights = np.repeat(self.draws.weights[heavy] / self.draws.weights[heavy].sum() / shown.size, shown.size)
        spread = np.repeat(np.hypot(sigma[heavy], self.scale_sd), shown.size)
        return _Predicted(centre[heavy].reshape(-1), spread, weights)

    def _range(self, shown: FloatArray, cautions: tuple[Caution, ...]) -> MachineLoss:
        found = range_of(self._belief(shown))
        return MachineLoss(found.low, found.median, found.high, (*self.cautions, *cautions))

    def _reading_at(self, ln_loss: float, p: float) -> float:
        """Reading per area at which the share ``p`` of what checks find lies below a loss."""

        def below(ln_r: float) -> float:
            return p - self._belief(np.array([math.exp(ln_r)])).probability_below(ln_loss)

        # More on the bar, more loss: the share below a fixed loss falls, and ``below`` rises.
        return math.exp(_root(below, math.log(self.valid[0]) - 12.0, math.log(self.valid[1]) + 12.0))


@dataclass(frozen=True, slots=True)
class _Predicted:
    """A mixture of normals in ln(loss): one per draw."""

    centre: FloatArray
    spread: FloatArray
    weights: FloatArray

    def probability_below(self, ln_loss: float) -> float:
        return float(self.weights @ ndtr((ln_loss - self.centre) / self.spread))

    def probability_above(self, loss_kg_ha: float) -> float:
        return 1.0 - self.probability_below(math.log(positive("loss_kg_ha", loss_kg_ha)))

    def quantile(self, p: float) -> float:
        """Loss [kg/ha] below which the probability is ``p``."""
        low, high = float((self.centre - 9 * self.spread).min()), float((self.centre + 9 * self.spread).max())
        return math.exp(_root(lambda ln_loss: self.probability_below(ln_loss) - p, low, high))

    def mean(self) -> float:
        return float(self.weights @ np.exp(self.centre + 0.5 * np.square(self.spread)))


def _root(rising: Callable[[float], float], low: float, high: float) -> float:
    """Where a rising function is 0, by false position with the Illinois rule (Dowell and Jarratt 1971, memory)."""
    at_low, at_high, kept = rising(low), rising(high), 0
    for _ in range(100):
        if high - low < 1e-10 or at_high == at_low:
            break
        middle = high - at_high * (high - low) / (at_high - at_low)
        if not low < middle < high:
            middle = (low + high) / 2
        value = rising(middle)
        if value == 0.0 or abs(value) < 1e-13:
            return middle
        if value < 0.0:
            low, at_low = middle, value
            at_high, kept = (at_high / 2, -1) if kept == -1 else (at_high, -1)
        else:
            high, at_high = middle, value
            at_low, kept = (at_low / 2, 1) if kept == 1 else (at_low, 1)
    return (low + high) / 2


def fit_monitor(
    pairs: Sequence[Pair],
    *,
    prior: Prior,
    scale_sd: float | None = None,
    seed: int = 1,
    points_per_round: int = POINTS_PER_ROUND,
) -> MonitorKey:
    """Learn what a bar means from pairs of reading and check.

    Parameters
    ----------
    pairs : sequence of Pair
        At least one, all of the same bar: the same ``per``, and the same width when it counts per time.
    prior : Prior
        Belief about machine loss at the middle reading before the pairs.
    scale_sd : float or None
        Sd of the log of the error all catches share [1]; it widens every loss told. None: not known, and said so.
    seed, points_per_round : int
        As for :func:`chaffinch.engine.sampling.sampler.sample`.

    Returns
    -------
    MonitorKey
        With ``missing`` filled, and refusing to answer, while there are fewer than four pairs above 0 or they span
        less than 1.5 times.

    Raises
    ------
    InputError
        Without pairs, for mixed bars, or a figure outside its range.
    SamplerError
        When the posterior cannot be sampled to 400 effective draws.
    """
    if not pairs:
        raise InputError("pairs", 0, "there is none to learn from", "note the bar at the next check")
    per, width_m = pairs[0].per, pairs[0].width_m
    stood = [stands(i, pair, per, width_m) for i, pair in enumerate(pairs, start=1)]
    above = [s.reading for s in stood if s.reading > 0]
    middle = math.exp(float(np.mean(np.log(above)))) if above else max(s.high for s in stood)
    ln_r = np.log(np.stack([s.places for s in stood]) / middle)
    if all(pair.step is None for pair in pairs):
        ln_r = ln_r[:, :1]
    centre = np.array([math.log(positive("prior median", prior.median_kg_ha)), SLOPE, math.log(SCATTER)])
    spread = np.array([positive("prior sd", prior.sd_log), SLOPE_SD, SCATTER_SD])
    seen = Scattered([blurred(pair.evidence) for pair in pairs])

    def log_density(points: FloatArray) -> FloatArray:
        z = (points - centre) / spread
        # Each place within the bar's step is as likely as the others.
        parts = [seen.at(points[:, :1] + points[:, 1:2] * ln_r[:, k], points[:, 2]) for k in range(ln_r.shape[1])]
        result: FloatArray = logsumexp(np.stack(parts)).sum(axis=1) - 0.5 * np.square(z).sum(axis=1)
        return result

    draws = sample(
        log_density, *_rough(pairs, ln_r.mean(axis=1), centre, spread), seed=seed, points_per_round=points_per_round
    )
    cautions: tuple[Caution, ...] = ("header not seen",)
    if scale_sd is None:
        cautions += ("shared error left out",)
    return MonitorKey(
        per,
        width_m if per == "time" else None,
        (min(above), max(above)) if above else (math.nan, math.nan),
        None if any(pair.step is None for pair in pairs) else max(pair.step or 0.0 for pair in pairs),
        any(s.reading == 0 for s in stood),
        middle,
        draws,
        not_negative("scale_sd", scale_sd or 0.0),
        missing(above),
        cautions,
        len(pairs),
    )


def _rough(
    pairs: Sequence[Pair], ln_r: FloatArray, centre: FloatArray, spread: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Where the sampler starts: the posterior if evidence were normal and σ at its median, its sds doubled."""
    columns = np.stack([np.ones(ln_r.size), ln_r], axis=1)
    variance = np.array([sd_of(pair.evidence) ** 2 + SCATTER**2 for pair in pairs])
    off = np.array([mean_of(pair.evidence) for pair in pairs]) - columns @ centre[:2]
    precision = (columns.T / variance) @ columns + np.diag(1.0 / np.square(spread[:2]))
    cov = np.linalg.inv(precision)
    mean, sd = centre.copy(), spread.copy()
    mean[:2] += cov @ (columns.T @ (off / variance))
    sd[:2] = np.minimum(spread[:2], 2.0 * np.sqrt(np.diag(cov)))
    return mean, sd
