"""Which step is expected to gain most, what may it spoil, and what has this machine itself said of it?

Every change is played through the same 1,024 evenly scattered futures: a cause by its probability, losses under that
cause from the check's draws (or, for a loss no catch saw, from what is expected under it), an effect and a price for
what it may spoil. Gains are in kg of seed per ha (what is saved or spoilt of the crop's value in seed of the same
worth), in money where a price is told. Equations and limits: ``docs/method/advice.md``.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Final, Literal

import numpy as np
from scipy.special import ndtri

from chaffinch.engine.advice.causes import Causes, Situation, fits
from chaffinch.engine.advice.split import TWO_SIDED, Split, level_of, normal_of, prior_of
from chaffinch.engine.domain import FloatArray, not_negative, positive
from chaffinch.engine.estimate import DrawBelief, Range, range_of
from chaffinch.engine.sampling.sobol import sobol
from chaffinch.reference.advice import SOURCES, AdviceTable, Change, Effect

FUTURES: Final = 1024
TRIAL_PRIOR_SD: Final = 0.40
"""Sd of the normal that a trial's own prior of ln(ratio) is about as wide as near its middle [1]
(``engine/trial/ratio``)."""
TRANSFER_SD: Final = 0.15
"""Sd of ln(ratio) between one trial of a step and the next time it is made, on the same machine [1]. Own figure."""
TABLE_SD: Final = 0.30
"""Sd of ln(ratio) of the table's effect beside a trial of this machine, at least [1]. Own figure."""
LEAST_LOAD: Final = 0.10
"""Probability, from which a gated change is shown, of its causes that rise with load [1]. Own figure."""
LEAST_CAUSE: Final = 0.20
"""Probability, from which a step is proposed, of the causes it helps against [1]: else it would be a try at random
beside the cause that leads. Own figure."""
TIMES_WITHOUT_EFFECT: Final = 2
"""Trials without effect after which a change drops."""

Kept = Literal[
    "",
    "tried twice without effect",
    "own slope not known",
    "loss does not rise with load",
    "load not likely",
    "no hour cost",
]
"""Why a change is held back; empty where it is not."""


@dataclass(frozen=True, slots=True)
class OwnTrial:
    """What one trial on this machine said of a step.

    Attributes
    ----------
    change : str
        Key of the change.
    ratio : Range or None
        Loss after over loss before [1], the trial's own prior in it; None where a person only said what it did.
    without_effect : bool
        Whether it showed no gain worth having.
    """

    change: str
    ratio: Range | None
    without_effect: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Money:
    """What loss, minutes and time are worth; a figure that is None is not reckoned, and the answer says so.

    Attributes
    ----------
    yield_kg_ha : float
        [kg/ha]
    price_per_t : float or None
        [money/t]
    stop_cost_per_h : float or None
        What an hour of standing costs [money/h].
    area_left_ha : float or None
        Area over which a change works [ha].
    time_cost_per_ha : float or None
        What cutting a hectare costs in time [money/ha].
    """

    yield_kg_ha: float
    price_per_t: float | None = None
    stop_cost_per_h: float | None = None
    area_left_ha: float | None = None
    time_cost_per_ha: float | None = None

    def __post_init__(self) -> None:
        positive("yield_kg_ha", self.yield_kg_ha)
        for name in ("price_per_t", "stop_cost_per_h", "time_cost_per_ha"):
            told = getattr(self, name)
            if told is not None:
                not_negative(name, told)
        if self.area_left_ha is not None:
            positive("area_left_ha", self.area_left_ha)


@dataclass(frozen=True, slots=True)
class RankedChange:
    """A change with what it is expected to bring.

    Attributes
    ----------
    change : Change
    gain_kg_ha : Range
        Seed saved, less what is spoilt, minutes and time left out [kg/ha]; below 0 where it loses.
    expected_kg_ha : float
        Its mean [kg/ha].
    net_per_ha : Range or None
        The same in money, less minutes and time as far as they are told [money/ha]; None without a price.
    net : float
        Mean by which changes are ranked: money/ha with a price, else kg/ha.
    p_gain : float
        Probability that it gains anything.
    p_cause : float
        Probability of the causes it helps against.
    own_trials : int
        Trials of it on this machine that stand behind the figures.
    own_notes : int
        Notes of people that it did not help on this machine; they are in no figure.
    kept_back : Kept
    """

    change: Change
    gain_kg_ha: Range
    expected_kg_ha: float
    net_per_ha: Range | None
    net: float
    p_gain: float
    p_cause: float
    own_trials: int
    kept_back: Kept = ""
    own_notes: int = 0

    @property
    def proposable(self) -> bool:
        """Whether it is expected to gain, against causes that are likely enough to act on."""
        return self.net > 0.0 and self.p_cause >= LEAST_CAUSE


@dataclass(frozen=True, slots=True)
class Futures:
    """Causes and losses played forward: ``cause`` (n,) indices, ``loss_kg_ha`` by source (n,), normal scores (n,)."""

    cause: np.ndarray
    loss_kg_ha: Mapping[str, FloatArray]
    effect_z: FloatArray
    spoil_z: FloatArray
    keys: tuple[str, ...] = field(default=())

    @staticmethod
    def of(
        table: AdviceTable, situation: Situation, belief: Causes, split: Split | None, yield_kg_ha: float, seed: int
    ) -> Futures:
        """Play them, the same for the same seed."""
        u = sobol(FUTURES, 8, seed=seed)
        cause = np.minimum(np.searchsorted(np.cumsum(belief.p), u[:, 0]), belief.p.size - 1)
        losses: dict[str, FloatArray] = {}
        if split is not None:
            draw = np.zeros(FUTURES, dtype=np.intp)
            for k in np.unique(cause):
                here = cause == k
                cumulative = np.cumsum(belief.draw_weights[k])
                draw[here] = np.minimum(np.searchsorted(cumulative, u[here, 1]), cumulative.size - 1)
            losses = {source: draws[draw] for source, draws in split.loss_kg_ha.items()}
        group = table.group_of(situation.crop)
        for place, source in enumerate(SOURCES):
            # A leak that nobody caught is part of the machine's loss.
            if source in losses or (source == "leak" and "machine" in losses):
                continue
            prior = prior_of(source, yield_kg_ha)
            levels = [level_of(table, one, group, source, prior) for one in belief.causes]
            mean = np.array([one.ln_median for one in levels])[cause]
            sd = np.array([one.sd_log for one in levels])[cause]
            losses[source] = np.exp(mean + sd * ndtri(u[:, 4 + place]))
        keys = tuple(one.key for one in belief.causes)
        return Futures(cause, losses, ndtri(u[:, 2]), ndtri(u[:, 3]), keys)


def rank(
    table: AdviceTable,
    situation: Situation,
    belief: Causes,
    money: Money,
    *,
    split: Split | None = None,
    own: Sequence[OwnTrial] = (),
    seed: int = 1,
) -> tuple[list[RankedChange], list[RankedChange]]:
    """Changes from the greatest expected net gain on, and those held back.

    Parameters
    ----------
    table : AdviceTable
    situation : Situation
    belief : Causes
        From :func:`chaffinch.engine.advice.causes.weigh`.
    money : Money
    split : Split or None
        As given to ``weigh``.
    own : sequence of OwnTrial
        This machine's own trials, in this crop.
    seed : int
        Same seed, same answer.

    Returns
    -------
    shown, held : list of RankedChange
    """
    futures = Futures.of(table, situation, belief, split, money.yield_kg_ha, seed)
    group = table.group_of(situation.crop)
    known = {cause.key for cause in belief.causes}
    shown: list[RankedChange] = []
    held: list[RankedChange] = []
    for change in table.changes:
        if group in change.unfit or not fits(change, situation) or not known & {e.cause for e in change.helps}:
            continue
        one = _played(table, change, belief, futures, money, [t for t in own if t.change == change.key], situation)
        (held if one.kept_back else shown).append(one)
    shown.sort(key=lambda c: -c.net)
    return shown, held


def _played(
    table: AdviceTable,
    change: Change,
    belief: Causes,
    futures: Futures,
    money: Money,
    own: Sequence[OwnTrial],
    situation: Situation,
) -> RankedChange:
    after, value_pct = _after(table, change, futures, [t.ratio for t in own if t.ratio is not None])
    time_pct = np.zeros(FUTURES)
    for spoil in change.spoils:
        pct = _spoilt(spoil, futures.spoil_z)
        if spoil.loss == "value":
            value_pct = value_pct - pct
        elif spoil.loss == "time":
            time_pct = time_pct + pct
        elif spoil.loss in after:
            after[spoil.loss] = after[spoil.loss] * (1.0 + pct / 100.0)
    gain = sum((futures.loss_kg_ha[s] - after[s] for s in after), np.zeros(FUTURES))
    gain = gain + value_pct / 100.0 * money.yield_kg_ha
    expected, net_range, net = float(gain.mean()), None, float(gain.mean())
    if money.price_per_t is not None:
        in_money = gain * money.price_per_t / 1000.0 - _minutes(change, money)
        in_money = in_money - time_pct / 100.0 * (money.time_cost_per_ha or 0.0)
        net_range, net = _range(in_money), float(in_money.mean())
    helped = {e.cause for e in change.helps}
    p_cause = sum(belief.of(key) for key in helped)
    return RankedChange(
        change, _range(gain), expected, net_range, net, float((gain > 0.0).mean()), p_cause,
        sum(t.ratio is not None for t in own), _kept_back(change, belief, situation, money, own),
        sum(t.ratio is None and t.without_effect for t in own),
    )  # fmt: skip


def _after(
    table: AdviceTable, change: Change, futures: Futures, trials: Sequence[Range]
) -> tuple[dict[str, FloatArray], FloatArray]:
    """Losses after the step, and percent of the crop's value it saves, in every future."""
    after = dict(futures.loss_kg_ha)
    value_pct = np.zeros(FUTURES)
    elsewhere = normal_of(table.figures["elsewhere_low"], table.figures["elsewhere_high"])
    main = next((e.loss for e in change.helps if e.loss in after), None)
    for source in {e.loss for e in change.helps if e.loss in after}:
        ln_mean = np.full(FUTURES, elsewhere[0] if source == main else 0.0)
        sd = np.full(FUTURES, elsewhere[1] if source == main else 0.0)
        for effect in change.helps:
            if effect.loss == source and effect.cause in futures.keys:
                here = futures.cause == futures.keys.index(effect.cause)
                ln_mean[here], sd[here] = normal_of(effect.low, effect.high)
        if source == main:
            ln_mean, sd = with_trials(ln_mean, sd, trials)
        after[source] = after[source] * np.exp(ln_mean + sd * futures.effect_z)
    for effect in change.helps:
        if effect.loss == "value" and effect.cause in futures.keys:
            here = futures.cause == futures.keys.index(effect.cause)
            value_pct[here] += _spoilt(effect, futures.effect_z[here])
    return after, value_pct


def with_trials(ln_mean: FloatArray, sd: FloatArray, trials: Sequence[Range]) -> tuple[FloatArray, FloatArray]:
    """Effect of a step once this machine's own trials of it are known: by precision, so that they outweigh a table.

    A trial's own prior is taken out of its range first (:data:`TRIAL_PRIOR_SD`), and a trial says of the next time what
    it said of its own day, within :data:`TRANSFER_SD`; the table is then held no surer than :data:`TABLE_SD`.
    """
    if not trials:
        return ln_mean, sd
    sd = np.maximum(sd, TABLE_SD)
    precision, weighted = 1.0 / np.square(sd), ln_mean / np.square(sd)
    for ratio in trials:
        middle, spread = normal_of(ratio.low, ratio.high)
        told = 1.0 / spread**2 - 1.0 / TRIAL_PRIOR_SD**2
        if told <= 0.0:
            continue
        ln_ratio = middle / spread**2 / told
        own = 1.0 / (1.0 / told + TRANSFER_SD**2)
        precision, weighted = precision + own, weighted + own * ln_ratio
    return weighted / precision, 1.0 / np.sqrt(precision)


def _spoilt(effect: Effect, z: FloatArray) -> FloatArray:
    """Percent in every future: normal between its ends, cut at 0."""
    middle = 0.5 * (effect.low + effect.high)
    result: FloatArray = np.maximum(0.0, middle + (effect.high - effect.low) / TWO_SIDED * z)
    return result


def _minutes(change: Change, money: Money) -> float:
    if money.stop_cost_per_h is None or money.area_left_ha is None:
        return 0.0
    return change.minutes / 60.0 * money.stop_cost_per_h / money.area_left_ha


def _kept_back(change: Change, belief: Causes, situation: Situation, money: Money, own: Sequence[OwnTrial]) -> Kept:
    if sum(t.without_effect for t in own) >= TIMES_WITHOUT_EFFECT:
        return "tried twice without effect"
    if not change.gate:
        return ""
    said = situation.answers.get(change.gate)
    if said is None:
        return "own slope not known"
    if said != "rises":
        return "loss does not rise with load"
    # Load is the cause only where a cause that rises with it is likely: too much crop, or an engine pulled down by it.
    by_load = {e.cause for e in change.helps} & {c.key for c in belief.causes if c.part in ("pace", "overall")}
    if sum(belief.of(key) for key in by_load) < LEAST_LOAD:
        return "load not likely"
    if any(s.loss == "time" for s in change.spoils) and money.time_cost_per_ha is None:
        return "no hour cost"
    return ""


def _range(values: FloatArray) -> Range:
    return range_of(DrawBelief(values, np.full(values.size, 1.0 / values.size)))


__all__ = ["FUTURES", "LEAST_CAUSE", "Futures", "Kept", "Money", "OwnTrial", "RankedChange", "rank", "with_trials"]
