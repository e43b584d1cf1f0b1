"""Is another catch worth the minutes? Is a check worth a stop?

A measurement is worth what it is expected to save by a better decision: act on the loss, or leave it (design §4.8).
Against that stand the minutes, at what standing still costs. Equations, figures, limits and a worked example:
``docs/method/worth.md``. Money is in the currency of the prices.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Final, Literal

import numpy as np

from chaffinch.engine.domain import FloatArray, between, finite, not_negative, positive, single
from chaffinch.engine.estimate import Prior, default_prior
from chaffinch.engine.plan import Prospect, Readings
from chaffinch.engine.worth_choice import NORMAL_SCORES, NORMAL_WEIGHTS, Choice, p_acting_pays, saving_lognormal

Decision = Literal["act", "leave"]

MOST_CATCHES: Final = 12
"""Further catches looked ahead, as in ``plan`` (design §4.4)."""
PLACE_SD_LOG: Final = 0.25
"""Sd of ln(loss) between places of a field [1]: the middle of the prior of τ (design §4.7; own figure)."""
CONDITION_SD_LOG: Final = 0.30
"""Sd of ln(loss) per sd that a condition moved [1]: the prior of γ (design §4.7; own figure)."""
DRIFT_SD_LOG: Final = 0.15
"""Sd of ln(loss) after one hour in which nothing measured has moved [1 per √h]. Own figure."""
NO_YIELD: Final = default_prior("machine", None)
"""Belief before any check where no other is given: machine loss without a yield."""
LOOK_AHEAD_H: Final = 24.0
"""Hours looked ahead for the next check [h]."""
_STEP_H: Final = 0.25
_FUTURES: Final = 512


@dataclass(frozen=True, slots=True)
class Worth:
    """What measuring is worth, in money for all the area left unless said otherwise.

    Attributes
    ----------
    catches : int
        Number of catches with the greatest net worth.
    saving : tuple of float
        Expected saving by 1, 2, … catches [money], before the minutes.
    net : tuple of float
        The same less the minutes [money]; where all are 0 or below, stopping is not worth it.
    minutes : float
        Minutes that ``catches`` catches take, the stop included [min].
    break_even_minutes : float or None
        Minutes they might take before they stop paying [min]; None when standing still costs nothing.
    net_per_ha, net_per_h : float
        Net worth of ``catches`` catches [money/ha] and [money per hour of combining].
    now : Decision
        What pays better by what is known now.
    p_acting_pays : float
        Probability that acting pays, loss and effect both uncertain.
    perfect : float
        What knowing the loss exactly would save [money]: no measurement of it is worth more.
    break_even_loss_kg_ha : float or None
        Loss above which acting pays [kg/ha]; None when it never does.
    """

    catches: int
    saving: tuple[float, ...]
    net: tuple[float, ...]
    minutes: float
    break_even_minutes: float | None
    net_per_ha: float
    net_per_h: float
    now: Decision
    p_acting_pays: float
    perfect: float
    break_even_loss_kg_ha: float | None

    @property
    def worth_stopping(self) -> bool:
        """True when the best number of catches saves more than its minutes cost."""
        return self.net[self.catches - 1] > 0.0


def worth_of_catch(
    prospect: Prospect,
    choice: Choice,
    *,
    minutes_per_catch: float,
    stop_minutes: float = 0.0,
    most: int = MOST_CATCHES,
    seed: int = 1,
) -> Worth:
    """What further catches at this stop are worth, by playing their readings forward.

    Parameters
    ----------
    prospect : Prospect
        What a further catch would meet and the loss it is about, from ``plan``.
    choice : Choice
    minutes_per_catch : float
        Taking, cleaning and reading one [min], 0 or more.
    stop_minutes : float
        Minutes before the first [min], 0 or more; 0 when the machine stands already.
    most : int
        How many to look ahead, 1 to 20.
    seed : int
        Same seed, same answer.

    Notes
    -----
    Acting pays when the expected loss is above the break-even, so a reading y is worth
    E max(0, s·E[λ|y] − a) − max(0, s·E[λ] − a), with s and a the ``saved_per_kg_ha`` and ``action_cost`` of the
    choice. That is the mean of what is saved in those futures in which one changes one's mind, and is taken so: the
    rest cancels, and would only add noise.
    """
    count = int(between("most", most, 1, 20))
    loss, weights = prospect.loss_kg_ha, np.full(prospect.loss_kg_ha.size, 1.0 / prospect.loss_kg_ha.size)
    truth = np.arange(min(_FUTURES, prospect.c.size))
    model = Readings(prospect.ln_mean_g, prospect.c, prospect.seed_g, prospect.step_g)
    readings = model.draw(truth, np.random.default_rng(seed).random((truth.size, count)))
    acting = choice.gain(float(loss.mean())) > 0.0
    saving = []
    for n in range(1, count + 1):
        ll = model.log_likelihood(readings[:, :n])
        likely = np.exp(ll - ll.max(axis=1, keepdims=True))
        saving.append(_saving(choice, likely @ loss / likely.sum(axis=1), acting))
    return _worth(
        choice,
        saving,
        _minutes(count, stop_minutes, minutes_per_catch),
        float(loss.mean()),
        p_acting_pays(choice, loss, weights),
        _saving(choice, loss, acting),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class LastCheck:
    """What is known of the loss from the last check, and what has happened since.

    Attributes
    ----------
    median_kg_ha : float
        Middle of its range [kg/ha], above 0.
    sd_log : float
        Sd of ln(loss) after it [1], 0 to 3; ln(high ÷ low)/3.29 of its range.
    shared_sd_log : float
        The part of ``sd_log`` that a further check would repeat [1]: a width guessed once, a TKW from a table.
    hours_since : float
        Hours of combining since [h], 0 or more.
    moved : mapping of str to float
        How far each condition has moved since, in sds of that condition [1]; the sign does not matter.
    expected_ratio : float
        Loss today over loss then that a response curve expects [1], above 0; 1 when nothing is known.
    prior : Prior
        What was believed of such a loss before any check: what the last check says fades towards it.
    """

    median_kg_ha: float
    sd_log: float
    shared_sd_log: float = 0.0
    hours_since: float = 0.0
    moved: Mapping[str, float] = field(default_factory=dict)
    expected_ratio: float = 1.0
    prior: Prior = NO_YIELD

    def __post_init__(self) -> None:
        positive("median_kg_ha", single("median_kg_ha", self.median_kg_ha))
        positive("expected_ratio", single("expected_ratio", self.expected_ratio))
        not_negative("hours_since", single("hours_since", self.hours_since))
        positive("prior, median_kg_ha", single("prior, median_kg_ha", self.prior.median_kg_ha))
        positive("prior, sd_log", single("prior, sd_log", self.prior.sd_log))
        between("sd_log", single("sd_log", self.sd_log), 0.0, 3.0)
        mend = "the shared part of the uncertainty is at most the whole"
        between("shared_sd_log", single("shared_sd_log", self.shared_sd_log), 0.0, self.sd_log, mend)
        for name, moved in self.moved.items():
            finite(f"moved, {name}", single(f"moved, {name}", moved))

    def kept_today(
        self,
        *,
        place_sd_log: float = PLACE_SD_LOG,
        condition_sd_log: float = CONDITION_SD_LOG,
        drift_sd_log: float = DRIFT_SD_LOG,
        further_h: float = 0.0,
    ) -> float:
        """How much of the last check is left [1], ``further_h`` hours from now: 1 all of it, 0 only the prior.

        exp(−q/(2·prior²)) with q = τ² + Σ(γ·Δz)² + drift²·Δt: the Ornstein–Uhlenbeck process whose variance grows by q
        while that is small and whose long run is the prior (textbook form, from memory).
        """
        hours = self.hours_since + not_negative("further_h", further_h)
        drift = not_negative("drift_sd_log", drift_sd_log) * math.sqrt(hours)
        conditions = (not_negative("condition_sd_log", condition_sd_log) * z for z in self.moved.values())
        moved = math.hypot(not_negative("place_sd_log", place_sd_log), drift, *conditions)
        return math.exp(-0.5 * (moved / self.prior.sd_log) ** 2)

    def sd_log_today(self, *, further_h: float = 0.0, **spread: float) -> float:
        """Sd of ln(loss) today [1]: sqrt(kept²·sd_last² + (1 − kept²)·prior²), never above the greater of the two.

        ``spread`` is as for :meth:`kept_today`.
        """
        kept = self.kept_today(further_h=further_h, **spread)
        return math.hypot(kept * self.sd_log, math.sqrt(1.0 - kept**2) * self.prior.sd_log)

    def median_kg_ha_today(self, *, further_h: float = 0.0, **spread: float) -> float:
        """Middle of the loss today [kg/ha]: last^kept · prior^(1 − kept), times the ratio expected."""
        kept = self.kept_today(further_h=further_h, **spread)
        ln_median = kept * math.log(self.median_kg_ha) + (1.0 - kept) * math.log(self.prior.median_kg_ha)
        return self.expected_ratio * math.exp(ln_median)


@dataclass(frozen=True, slots=True)
class CheckWorth:
    """What a whole stop is worth now, and when the next one will be.

    Attributes
    ----------
    now : Worth
    sd_log_today : float
        Sd of ln(loss) today, before the check [1].
    median_kg_ha_today : float
        Middle of the loss today, before the check [kg/ha].
    due_in_h : float or None
        Hours of combining until a check is worth its stop [h]: 0 when it is now; None when it is not within 24 h or
        before the area is done.
    """

    now: Worth
    sd_log_today: float
    median_kg_ha_today: float
    due_in_h: float | None


def worth_of_check(
    last: LastCheck,
    choice: Choice,
    *,
    catch_sd_log: float,
    stop_minutes: float,
    minutes_per_catch: float,
    most: int = MOST_CATCHES,
    place_sd_log: float = PLACE_SD_LOG,
    condition_sd_log: float = CONDITION_SD_LOG,
    drift_sd_log: float = DRIFT_SD_LOG,
) -> CheckWorth:
    """What a stop for a new check is worth, given the last one and what has happened since.

    Parameters
    ----------
    last : LastCheck
    choice : Choice
    catch_sd_log : float
        Sd of ln(loss) by one catch of the check, shared errors left out [1], above 0: its c, from ``evidence``.
    stop_minutes, minutes_per_catch : float
        Stopping, cautions and starting again [min]; taking, cleaning and reading one catch [min]; 0 or more.
    most : int
        Most catches looked at, 1 to 20.
    place_sd_log, condition_sd_log, drift_sd_log : float
        τ, γ and drift of ``LastCheck.sd_log_today``, 0 or more.

    Notes
    -----
    Closed form (derived). ln λ ~ N(m, σ²) today, faded as ``LastCheck`` says; what can be learned of it is
    v² = σ² − shared²; k catches at one place see it with e² = τ² + c²/k. E[λ | check] is then lognormal with mean
    exp(m + σ²/2) and log sd v²/sqrt(v² + e²), and the saving is that of an option on it: see
    ``worth_choice.saving_lognormal``.
    """
    count = int(between("most", most, 1, 20))
    noise = positive("catch_sd_log", single("catch_sd_log", catch_sd_log))
    spread = {"place_sd_log": place_sd_log, "condition_sd_log": condition_sd_log, "drift_sd_log": drift_sd_log}
    minutes = _minutes(count, stop_minutes, minutes_per_catch)

    def savings(further_h: float, then: Choice) -> list[float]:
        sd = last.sd_log_today(**spread, further_h=further_h)
        mean = last.median_kg_ha_today(**spread, further_h=further_h) * math.exp(0.5 * sd**2)
        learnable = math.sqrt(max(0.0, sd**2 - last.shared_sd_log**2))
        seen = [math.hypot(place_sd_log, noise / math.sqrt(k)) for k in range(1, count + 1)]
        return [saving_lognormal(then, mean, learnable**2 / math.hypot(learnable, e)) for e in seen]

    due = None
    for step in range(int(LOOK_AHEAD_H / _STEP_H) + 1):
        area = choice.area_left_ha - step * _STEP_H * choice.capacity_ha_h
        if area <= 0.0:
            break
        then = dataclasses.replace(choice, area_left_ha=area)
        found = savings(step * _STEP_H, then)
        if any(s > then.standing(m) for s, m in zip(found, minutes, strict=True)):
            due = step * _STEP_H
            break
    today, median = last.sd_log_today(**spread), last.median_kg_ha_today(**spread)
    mean = median * math.exp(0.5 * today**2)
    p_pays = p_acting_pays(choice, median * np.exp(today * NORMAL_SCORES), NORMAL_WEIGHTS)
    worth = _worth(choice, savings(0.0, choice), minutes, mean, p_pays, saving_lognormal(choice, mean, today))
    return CheckWorth(worth, today, median, due)


def _saving(choice: Choice, expected_kg_ha: FloatArray, acting: bool) -> float:
    """Mean of what is saved where the expected losses to come turn the decision, ``acting`` the one by now [money]."""
    gain = choice.gain(expected_kg_ha)
    return float(np.maximum(-gain if acting else gain, 0.0).mean())


def _worth(
    choice: Choice, saving: list[float], minutes: list[float], mean_kg_ha: float, p_acting_pays: float, perfect: float
) -> Worth:
    net = [s - choice.standing(m) for s, m in zip(saving, minutes, strict=True)]
    best = int(np.argmax(net))
    return Worth(
        catches=best + 1,
        saving=tuple(saving),
        net=tuple(net),
        minutes=minutes[best],
        break_even_minutes=60.0 * saving[best] / choice.stop_cost_per_h if choice.stop_cost_per_h > 0.0 else None,
        net_per_ha=net[best] / choice.area_left_ha,
        net_per_h=net[best] / choice.area_left_ha * choice.capacity_ha_h,
        now="act" if choice.gain(mean_kg_ha) > 0.0 else "leave",
        p_acting_pays=p_acting_pays,
        perfect=perfect,
        break_even_loss_kg_ha=choice.break_even_loss_kg_ha,
    )


def _minutes(count: int, stop_minutes: float, minutes_per_catch: float) -> list[float]:
    first = not_negative("stop_minutes", single("stop_minutes", stop_minutes))
    each = not_negative("minutes_per_catch", single("minutes_per_catch", minutes_per_catch))
    return [first + each * k for k in range(1, count + 1)]
