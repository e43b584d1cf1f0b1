"""What is most likely wrong, what would tell, and what should be changed: signs → causes → one change.

    P(k | all) ∝ odds_k · E[p_k(λ)/p₀(λ) | catches] · Π P(answer | k)

with one cause at a time. An answer counts through how much oftener it is given under k; a small share of answers is
taken to say nothing. Equations, figures, what was measured and where it will be wrong: ``docs/method/advice.md``.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Final, Literal

import numpy as np

from chaffinch.engine.advice.split import Split, log_evidence
from chaffinch.engine.domain import FloatArray
from chaffinch.errors import InputError
from chaffinch.reference.advice import ANY, AdviceTable, Cause, Sign

USUAL: Final = "usual"
UNEXPLAINED: Final = "unexplained"
BY_FAR: Final = 3.0
"""How many times the likeliest cause the usual must be to leave the settings alone [1]. Own figure."""
REEL_HEADERS: Final = ("", "draper", "auger", "other", "reel")
"""Kinds of header, as a combine's record names them, that have reel and knife; "" where it is not told."""
THREE_BITS: Final = 2.0
"""What it is worth, in information, that the true cause surely comes among the first three [bit]. Own figure."""
SHOWN_FIRST: Final = 3
"""How many causes a person is taken to look at [1]. Own figure."""

Standing = Literal["change", "measure", "nothing"]


@dataclass(frozen=True, slots=True)
class Situation:
    """What is known of machine, crop and signs.

    Attributes
    ----------
    crop : str
        Key of the crop.
    machine : str
        ``rotor`` or ``walker``; empty (or hybrid, other) where rows for both apply.
    header : str
        As a combine's record names it: draper, auger, stripper, pick-up, corn, other; empty where not told.
    windrowed : bool
    answers : mapping of str to str
        Answers by sign; a sign that is not there was not answered.
    """

    crop: str
    machine: str = ""
    header: str = ""
    windrowed: bool = False
    answers: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Causes:
    """Belief about the causes.

    Attributes
    ----------
    causes : tuple of Cause
        Those that can be, in the order of the table.
    p : ndarray, shape (k,)
        Their probabilities, summing to 1.
    draw_weights : ndarray, shape (k, n)
        Weights of the split's draws under each; n = 0 without a split.
    """

    causes: tuple[Cause, ...]
    p: FloatArray
    draw_weights: FloatArray

    def of(self, key: str) -> float:
        """Probability of one cause; 0 where it cannot be."""
        return next((float(p) for cause, p in zip(self.causes, self.p, strict=True) if cause.key == key), 0.0)

    def ranked(self) -> list[tuple[Cause, float]]:
        """Causes from the likeliest on."""
        order = np.argsort(-self.p, kind="stable")
        return [(self.causes[i], float(self.p[i])) for i in order]

    @property
    def leading(self) -> tuple[Cause, float]:
        """The likeliest cause that is one: neither the usual nor the unexplained."""
        return next((c, p) for c, p in self.ranked() if c.key not in (USUAL, UNEXPLAINED))

    @property
    def entropy_bits(self) -> float:
        """How open it still is [bit]."""
        return _entropy(self.p)


def fits(one: object, situation: Situation) -> bool:
    """Whether a row for a kind of machine, header or crop is for this one; what is not told shuts nothing out."""
    machine, header, crop_is = (str(getattr(one, name)) for name in ("machine", "header", "crop_is"))
    if machine and situation.machine in ("rotor", "walker") and machine != situation.machine:
        return False
    # Windrowed crop comes in over a pick-up, whatever cut it.
    if crop_is and crop_is != ("windrowed" if situation.windrowed else "standing"):
        return False
    if header == "reel":
        return situation.header in REEL_HEADERS
    return not header or header == situation.header


def likelihoods(sign: Sign, causes: Sequence[Cause], lapse: float) -> FloatArray:
    """P(answer | cause) of a sign, shape (causes, answers), the answers in the order of the table."""
    names = list(sign.answers)
    usual = np.array([sign.usual[name] for name in names])
    rows = np.tile(usual, (len(causes), 1))
    for row, cause in enumerate(causes):
        if cause.key == UNEXPLAINED:
            # A slip, two faults at once: any answer as likely as any other, so that signs which do not go together
            # speak for it.
            rows[row] = 1.0
            continue
        # What is said of a cause itself stands in place of what is said of its part.
        own = [s for s in sign.says if s.cause == cause.key]
        for says in own or [s for s in sign.says if s.part == cause.part]:
            for name, times in says.times.items():
                rows[row, names.index(name)] *= times
    rows /= rows.sum(axis=1, keepdims=True)
    result: FloatArray = (1.0 - lapse) * rows + lapse / len(names)
    return result


def weigh(table: AdviceTable, situation: Situation, split: Split | None = None) -> Causes:
    """Belief about the causes from the split of the loss and the answers so far.

    Parameters
    ----------
    table : AdviceTable
    situation : Situation
    split : Split or None
        Draws of a check; None where there is none.

    Raises
    ------
    InputError
        For a question or an answer that is none.
    """
    for key, answer in situation.answers.items():
        _known_answer(table, key, answer)
    group = table.group_of(situation.crop)
    odds = {
        cause.key: cause.odds.get(group, cause.odds[ANY]) * cause.odds_for.get(situation.machine, 1.0)
        for cause in table.causes
    }
    causes = tuple(c for c in table.causes if odds[c.key] > 0.0 and fits(c, situation))
    log_p, draw_weights = log_evidence(table, causes, group, split)
    log_p = log_p + np.log([odds[c.key] for c in causes])
    for sign in table.signs:
        given = situation.answers.get(sign.key)
        if given is not None:
            place = list(sign.answers).index(given)
            log_p = log_p + np.log(likelihoods(sign, causes, table.figures["lapse"])[:, place])
    p = np.exp(log_p - log_p.max())
    return Causes(causes, p / p.sum(), draw_weights)


@dataclass(frozen=True, slots=True)
class Question:
    """A question worth asking.

    Attributes
    ----------
    sign : Sign
    bits : float
        Expected information about the causes [bit].
    three : float
        Expected rise of the chance that the true cause is among the three likeliest [1], 0 or more.
    """

    sign: Sign
    bits: float
    three: float

    @property
    def worth(self) -> float:
        """What questions are ranked by: information and the first three, for the effort of answering."""
        return (self.bits + THREE_BITS * self.three) / self.sign.effort


def questions(table: AdviceTable, situation: Situation, belief: Causes) -> list[Question]:
    """Questions still open, the one that settles most for its effort first; those that settle nothing are left out."""
    found = []
    for sign in table.signs:
        if not sign.asks or sign.key in situation.answers:
            continue
        given = likelihoods(sign, belief.causes, table.figures["lapse"])
        joint = belief.p[:, None] * given
        of_answer = joint.sum(axis=0)
        after = sum(float(of_answer[a]) * _entropy(joint[:, a] / of_answer[a]) for a in range(of_answer.size))
        bits = belief.entropy_bits - after
        if bits >= table.figures["least_bits"]:
            found.append(Question(sign, bits, float(_first(joint).sum() - _first(belief.p[:, None])[0])))
    return sorted(found, key=lambda q: -q.worth)


def next_question(
    table: AdviceTable, situation: Situation, belief: Causes, *, asked: int, skipped: Collection[str] = ()
) -> Question | None:
    """The next question; None once it is settled, six were asked, or none would settle anything.

    Parameters
    ----------
    table : AdviceTable
    situation : Situation
    belief : Causes
    asked : int
        Questions asked of the person so far; what check and book answered by themselves does not count.
    skipped : collection of str
        Questions that the person could not answer: they are not put again.
    """
    if asked >= table.figures["most_questions"] or belief.ranked()[0][1] >= table.figures["settled"]:
        return None
    open_ones = (q for q in questions(table, situation, belief) if q.sign.key not in skipped)
    return next(open_ones, None)


def usual_leads(table: AdviceTable, belief: Causes) -> bool:
    """Whether nothing out of the ordinary is likelier by far than any cause: then the settings are left alone."""
    usual, (_, p) = belief.of(USUAL), belief.leading
    return usual >= table.figures["lead"] and usual >= BY_FAR * p


def standing(table: AdviceTable, belief: Causes, best_net: float | None) -> Standing:
    """Whether to change something, to measure first, or to leave it.

    Parameters
    ----------
    table : AdviceTable
    belief : Causes
    best_net : float or None
        Expected net gain of the best change; None where no change is left.

    Notes
    -----
    Nothing: the usual leads by far (:data:`BY_FAR`), or no change is expected to pay. Measure first: no cause leads, or
    what the signs say together is likelier a slip or something that stands in no table.
    """
    if usual_leads(table, belief):
        return "nothing"
    _, p = belief.leading
    if p < table.figures["lead"] or p < belief.of(UNEXPLAINED):
        return "measure"
    return "nothing" if best_net is None or best_net <= 0.0 else "change"


def _known_answer(table: AdviceTable, key: str, answer: str) -> None:
    sign = table.sign(key)
    if sign is None:
        names = ", ".join(one.key for one in table.signs if one.asks)
        raise InputError("question", key, "is none of ours", f"use one of {names}")
    if answer not in sign.answers:
        raise InputError(f"answer, {key}", answer, "is no answer to it", f"use one of {', '.join(sign.answers)}")


def _first(joint: FloatArray) -> FloatArray:
    """Sum of the three largest of each column."""
    result: FloatArray = np.sort(joint, axis=0)[-SHOWN_FIRST:].sum(axis=0)
    return result


def _entropy(p: FloatArray) -> float:
    kept = p[p > 0.0]
    return float(-(kept * np.log2(kept)).sum())
