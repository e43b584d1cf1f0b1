"""What may move the loss of a check beside its load: conditions, setups, operators; and what is believed of them first.

Each is a term added to ln(loss), with a normal prior around 0:

* a condition: γ per sd of it among the checks; a check that was not told it stands at the mean, with the deviation
  of one sd's effect added to what its place may deviate;
* a setup: δ against the usual one (the one with most checks);
* an operator: o against an average one, where at least two are told.

A setup or operator seen once cannot be told from its place: no parameter stands for it, its prior sd is added to the
deviation of that check.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from chaffinch.engine.response.loss_point import LossPoint

FloatArray = NDArray[np.float64]

CONDITION_SD: Final = 0.3
"""Prior sd of γ: change of ln(loss) per sd of a condition [1] (design §4.7; own figure)."""
SETUP_SD: Final = 0.4
"""Prior sd of δ: ln(loss) of a setup against the usual one [1] (design §4.7; own figure)."""
OPERATOR_SD: Final = 0.2
"""Prior sd of o: ln(loss) of an operator against an average one [1] (own figure)."""
MOST_SETUPS: Final = 8
MOST_OPERATORS: Final = 8
"""Setups and operators of one combine with a parameter of their own; further ones count as seen once."""


@dataclass(frozen=True, slots=True)
class Scale:
    """Mean and sd of one condition among the checks that told it; sd 0: it never varied."""

    mean: float
    sd: float

    def score(self, value: float) -> float:
        """Distance from the mean in sds [1]; 0 where the condition never varied."""
        return (value - self.mean) / self.sd if self.sd > 0 else 0.0


def scales(points: Sequence[LossPoint], conditions: Sequence[str]) -> dict[str, Scale]:
    """Mean and sd of each condition over all points that told it (mean 0 and sd 0 where none did)."""
    result = {}
    for name in conditions:
        told = np.array([p.conditions[name] for p in points if name in p.conditions])
        result[name] = Scale(float(told.mean()), float(told.std())) if told.size else Scale(0.0, 0.0)
    return result


@dataclass(frozen=True, slots=True)
class Terms:
    """The linear terms of one combine's checks.

    Attributes
    ----------
    conditions, setups, operators : tuple of str
        Those with a parameter, in this order.
    usual_setup : str
        The setup that δ is counted from.
    lone_setups : tuple of str
        Setups without a parameter that are not the usual one.
    design : ndarray, shape (J, p)
        One column per parameter.
    blur_sd : ndarray, shape (J,)
        Sd of what no parameter stands for, per check [1].
    prior_sd : ndarray, shape (p,)
        Prior sd of each parameter [1].
    """

    conditions: tuple[str, ...]
    setups: tuple[str, ...]
    operators: tuple[str, ...]
    usual_setup: str
    lone_setups: tuple[str, ...]
    design: FloatArray
    blur_sd: FloatArray
    prior_sd: FloatArray

    @property
    def names(self) -> tuple[str, ...]:
        """Names of the parameters: "condition humidity", "setup B", "operator Ann"."""
        return (
            *(f"condition {c}" for c in self.conditions),
            *(f"setup {s}" for s in self.setups),
            *(f"operator {o}" for o in self.operators),
        )

    def only(self, checks: Sequence[int]) -> Terms:
        """The same terms for some of the checks."""
        return replace(self, design=self.design[checks], blur_sd=self.blur_sd[checks])

    def row(self, scale: Mapping[str, Scale], told: Mapping[str, float], setup: str, operator: str) -> FloatArray:
        """Row of the design for one place; what is not told stands at the mean, the usual, the average."""
        scores = [scale[c].score(told[c]) if c in told else 0.0 for c in self.conditions]
        return np.array(
            scores + [float(s == setup) for s in self.setups] + [float(o == operator) for o in self.operators]
        )


def terms(points: Sequence[LossPoint], scale: Mapping[str, Scale]) -> Terms:
    """Decide which terms the checks of one combine can carry.

    Parameters
    ----------
    points : sequence of LossPoint
        All of one combine.
    scale : mapping of str to Scale
        The conditions asked for, from :func:`scales`.
    """
    conditions = tuple(name for name in scale if scale[name].sd > 0)
    by_setup = Counter(p.setup for p in points)
    ranked = sorted(by_setup, key=lambda s: (-by_setup[s], s))
    usual = ranked[0] if ranked else ""
    setups = tuple(s for s in ranked[1:] if by_setup[s] > 1)[:MOST_SETUPS]
    lone = tuple(s for s in ranked[1:] if s not in setups)
    by_operator = Counter(p.operator for p in points if p.operator)
    several = len(by_operator) > 1
    told = sorted(by_operator, key=lambda o: (-by_operator[o], o))
    operators = tuple(o for o in told if by_operator[o] > 1)[:MOST_OPERATORS] if several else ()
    prior_sd = [CONDITION_SD] * len(conditions) + [SETUP_SD] * len(setups) + [OPERATOR_SD] * len(operators)
    draft = Terms(conditions, setups, operators, usual, lone, np.empty((0, 0)), np.empty(0), np.array(prior_sd))
    rows = [draft.row(scale, p.conditions, p.setup, p.operator) for p in points]
    blur = [
        math.sqrt(
            CONDITION_SD**2 * sum(c not in p.conditions for c in conditions)
            + SETUP_SD**2 * (p.setup in lone)
            + OPERATOR_SD**2 * (several and p.operator not in operators)
        )
        for p in points
    ]
    design = np.array(rows).reshape(len(points), len(prior_sd))
    return Terms(conditions, setups, operators, usual, lone, design, np.array(blur), np.array(prior_sd))
