"""This setting or that: does setup B lose less than setup A, and has the trial said so clearly enough?

Each stop gives evidence about one loss (machine, header or their sum) at its own place and hour:

    ln λ_i = α ± δ/2 + drift·(t_i − t̄) + β·(ln Q_i − mean ln Q) + u_i,    u_i ~ N(0, τ²)

with + under B and − under A, so that what was expected of the loss leans to neither side.

The error that all catches share moves every stop alike: it stays out of the ratio and only widens the gain. A verdict
may be asked for after every stop; how the bounds below were chosen for that, and what looking often does to them, is
measured by ``bench/trial_looks.py`` and told on ``docs/method/trial.md``.

Source: design §4.9; the model and its posterior are derived, the figures own.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from chaffinch.engine.domain import not_negative, positive
from chaffinch.engine.estimate import DrawBelief, Prior, Range, range_of
from chaffinch.engine.sampling.sampler import POINTS_PER_ROUND, Draws, sample
from chaffinch.engine.sampling.sobol import sobol
from chaffinch.engine.trial.design import LEAST_EACH, Caution, Changed, Design, Stop, changed
from chaffinch.engine.trial.outlook import Ahead, chances
from chaffinch.engine.trial.prior import ln_prior
from chaffinch.engine.trial.scatter import Scattered, blurred, by_itself, mean_of, sd_of

__all__ = ["Changed", "Design", "Stop", "TrialAnswer", "changed", "compare", "posterior", "verdict_of"]

FloatArray = NDArray[np.float64]
TrialVerdict = Literal["keep B", "go back", "not settled"]

DRIFT_SD: Final = 0.15
"""Sd of the drift of ln(loss) before the trial [1/h]. Own figure: losses shift by a third over two hours of a
drying or dampening day, either way."""
PLACE_SD: Final = 0.25
"""Median of τ, the sd of ln(loss) between places under the same setup [1] (design §4.7)."""
PLACE_SD_SD: Final = 0.5
"""Sd of ln τ [1] (design §4.7)."""

KEEP: Final = 0.96
"""P(B loses less) from which B is kept. Own figure, chosen by simulation: a person who looks after every stop, up to
twelve on each side, keeps a B that changes nothing in at most one trial of ten."""
BACK: Final = 0.10
"""P(B loses less) down to which it is time to go back. Own figure: A is known to work, so giving up a trial of B needs
less proof than a change."""
_ROUGH_RATIO_SD: Final = 1.0
"""Sd of ln(B/A) where the sampler starts [1]: room for a large ratio."""
MOST_EACH: Final = 12
"""Further stops on each side looked ahead; as for catches (design §4.4)."""
ENOUGH_CHANCE: Final = 0.80
"""Chance of a clear verdict that is called enough (design §4.4)."""


@dataclass(frozen=True, slots=True)
class TrialAnswer:
    """What a trial says so far.

    Attributes
    ----------
    ratio : Range
        Loss under B over loss under A, same place, hour and load [1].
    p_b_less : float
        Probability that B loses less than A.
    gain_kg_ha : Range
        Loss under A less loss under B, for the mean hectare at the mean hour and load of the trial [kg/ha]; below 0
        where B loses more.
    gain_money_per_ha, gain_money_per_day : Range or None
        The same in money, when a price, and for the day an area, was given.
    verdict : {"keep B", "go back", "not settled"}
        See :data:`KEEP` and :data:`BACK`; never clear before one side stands on both ends of the other (A, B, A).
    more_each : int or None
        Least number of further stops on each side with a chance of a clear verdict of 0.8 or more; 0 when it is
        clear already, None when twelve are not enough or the loads forbid a verdict.
    drift_per_h : Range
        Change of ln(loss) with time under the same setup [1/h].
    place_sd : Range
        Sd of ln(loss) between places under the same setup [1].
    cautions : tuple of str
        See :data:`Caution`.
    source : str
        The loss compared.
    chance : tuple of float
        Chance of a clear verdict after 1, 2, … further stops on each side, as far as computed.
    ess : float
        Effective number of draws.
    """

    ratio: Range
    p_b_less: float
    gain_kg_ha: Range
    gain_money_per_ha: Range | None
    gain_money_per_day: Range | None
    verdict: TrialVerdict
    more_each: int | None
    drift_per_h: Range
    place_sd: Range
    cautions: tuple[Caution, ...]
    source: str
    chance: tuple[float, ...]
    ess: float


def compare(
    stops: Sequence[Stop],
    *,
    source: str = "machine",
    prior: Prior,
    price_per_t: float | None = None,
    area_per_day_ha: float | None = None,
    load_exponent: float | Range | None = None,
    scale_sd: float | None = None,
    seed: int = 1,
) -> TrialAnswer:
    """Compare two setups from stops in time order.

    Parameters
    ----------
    stops : sequence of Stop
        At least one, in time order.
    source : str
        Name of the loss compared, for the answer: ``machine``, ``header`` or their sum.
    prior : Prior
        Belief about that loss before the trial, midway between A and B.
    price_per_t : float or None
        Price of the seed [money/t].
    area_per_day_ha : float or None
        Area combined on a day [ha/day].
    load_exponent : float, Range or None
        β of ln(loss) against ln(load) [1]: exact, or the range of a response curve, which is then learned along.
    scale_sd : float or None
        Sd of the log of the error all catches share [1]. It widens the gain and cannot touch the ratio; None: not
        known, and said so.
    seed : int
        Same seed, same answer.

    Raises
    ------
    InputError
        Without stops, out of time order, for an unknown side, or a figure outside its range.
    SamplerError
        When the posterior cannot be sampled to 400 effective draws.
    """
    design = Design.of(stops, load_exponent)
    draws = posterior(design, [blurred(s.evidence) for s in stops], prior, seed=seed)
    weights, points = draws.weights, draws.points
    b_less = float(min(1.0, weights[points[:, 1] < 0.0].sum()))
    cautions = list(design.cautions)
    if scale_sd is None:
        cautions.append("gain without shared error")
    gain = range_of(_gain(draws, not_negative("scale_sd", scale_sd or 0.0), seed))
    per_ha = None if price_per_t is None else gain.times(not_negative("price_per_t", price_per_t) / 1000.0)
    area = None if area_per_day_ha is None else positive("area_per_day_ha", area_per_day_ha)
    per_day = None if per_ha is None or area is None else per_ha.times(area)
    verdict = verdict_of(b_less, *design.stops_each) if design.in_turn else "not settled"
    chance: tuple[float, ...] = ()
    more: int | None = 0
    if not design.comparable:
        verdict, more = "not settled", None
    elif verdict == "not settled":
        chance = chances(
            draws,
            Ahead.after(
                [s.side for s in stops], design.hours, float(np.median([sd_of(s.evidence) for s in stops])), LEAST_EACH
            ),
            keep=KEEP,
            back=BACK,
            enough=ENOUGH_CHANCE,
            most=MOST_EACH,
            seed=seed,
        )
        more = len(chance) if chance[-1] >= ENOUGH_CHANCE else None
    return TrialAnswer(
        range_of(DrawBelief(np.exp(points[:, 1]), weights)),
        b_less,
        gain,
        per_ha,
        per_day,
        verdict,
        more,
        range_of(DrawBelief(points[:, 2], weights)),
        range_of(DrawBelief(np.exp(points[:, 3]), weights)),
        tuple(cautions),
        source,
        chance,
        draws.ess,
    )


def _gain(draws: Draws, scale_sd: float, seed: int) -> DrawBelief:
    """Loss under A less loss under B for the mean hectare [kg/ha], with the error all catches share in it."""
    # Draws of no weight may lie anywhere; squares and exponentials of them have no size a float can hold.
    heavy = draws.weights > 1e-12 * draws.weights.max()
    middle, delta, _, ln_tau = draws.points[heavy, :4].T
    z = ndtri(sobol(draws.weights.size, 1, seed=seed, first=draws.points.shape[1] + 1))[heavy, 0]
    # The mean of places lies exp(τ²/2) above the median one.
    mean = np.exp(middle + 0.5 * np.exp(2.0 * ln_tau) + scale_sd * z)
    return DrawBelief(-2.0 * np.sinh(delta / 2.0) * mean, draws.weights[heavy] / draws.weights[heavy].sum())


def verdict_of(p_b_less: float, stops_a: int, stops_b: int) -> TrialVerdict:
    """The verdict that a probability gives, once each side has :data:`LEAST_EACH` stops."""
    if min(stops_a, stops_b) < LEAST_EACH:
        return "not settled"
    if p_b_less >= KEEP:
        return "keep B"
    return "go back" if p_b_less <= BACK else "not settled"


def posterior(
    design: Design,
    tables: Sequence[FloatArray],
    prior: Prior,
    *,
    seed: int = 1,
    points_per_round: int = POINTS_PER_ROUND,
) -> Draws:
    """Draws of (α, δ, drift, ln τ) and, when adjusted for load, β.

    Parameters
    ----------
    design : Design
        From :meth:`Design.of`.
    tables : sequence of ndarray
        One per stop, from :func:`chaffinch.engine.trial.scatter.blurred`.
    prior : Prior
        Belief about the loss before the trial.
    seed, points_per_round : int
        As for :func:`chaffinch.engine.sampling.sampler.sample`.
    """
    seen = Scattered(tables)
    middle = math.log(positive("prior median", prior.median_kg_ha))
    mean = [middle, 0.0, 0.0, math.log(PLACE_SD)]
    sd = [positive("prior sd", prior.sd_log), _ROUGH_RATIO_SD, DRIFT_SD, PLACE_SD_SD]
    if design.exponent is not None:
        mean.append(design.exponent[0])
        sd.append(design.exponent[1])
    centre, spread = np.array(mean), np.array(sd)
    linear = [0, 1, 2] if design.exponent is None else [0, 1, 2, 4]

    def log_density(points: FloatArray) -> FloatArray:
        z = (points - centre) / spread
        # Column 1 is no normal.
        z[:, 1] = 0.0
        seen_at = seen.at(points[:, linear] @ design.columns.T, points[:, 3])
        result: FloatArray = seen_at.sum(axis=1) - 0.5 * np.square(z).sum(axis=1) + ln_prior(points[:, 1])
        return result

    start = _rough(design, tables, centre, spread, linear)
    return sample(log_density, *start, seed=seed, points_per_round=points_per_round)


def _rough(
    design: Design, tables: Sequence[FloatArray], centre: FloatArray, spread: FloatArray, linear: list[int]
) -> tuple[FloatArray, FloatArray]:
    """Where the sampler starts: the posterior if evidence were normal and τ at its median, its sds doubled."""
    seen = [by_itself(table) for table in tables]
    variance = np.array([sd_of(e) ** 2 + PLACE_SD**2 for e in seen])
    off = np.array([mean_of(e) for e in seen]) - design.columns @ centre[linear]
    precision = (design.columns.T / variance) @ design.columns + np.diag(1.0 / np.square(spread[linear]))
    cov = np.linalg.inv(precision)
    mean, sd = centre.copy(), spread.copy()
    mean[linear] += cov @ (design.columns.T @ (off / variance))
    sd[linear] = np.minimum(spread[linear], 2.0 * np.sqrt(np.diag(cov)))
    return mean, sd
