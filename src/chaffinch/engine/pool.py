"""What a field lost, on average, from the checks taken in it.

Each check gives draws of its own loss. The field's mean is a mean over places nobody checked as well, so the checks are
themselves a sample: a Bayesian bootstrap (Rubin 1981, The Bayesian bootstrap, Ann. Statist. 9, 130-134; from
memory) puts random weights on them, and the draws of each come on top.

With one check nothing is known of how much places differ; then the check's own range is given, and said to be that.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from chaffinch.engine.estimate import Belief, DrawBelief
from chaffinch.errors import InputError

FloatArray = NDArray[np.float64]

DRAWS: Final = 2000


def mean_loss(beliefs: Sequence[Belief], *, weights: Sequence[float] | None = None, seed: int = 1) -> DrawBelief:
    """Belief about the mean loss over a field.

    Parameters
    ----------
    beliefs : sequence of Belief
        One per check [kg/ha].
    weights : sequence of float or None
        How much of the field each check stands for [any unit]; None: equal.
    seed : int
        Same seed, same draws.

    Raises
    ------
    InputError
        Without a check, or for weights that do not fit.

    Notes
    -----
    Errors that checks share (a drop width guessed once for all) are taken as independent here, so the range is a
    little too narrow where every check used the same guessed width.
    """
    if not beliefs:
        raise InputError("checks", 0, "there is none to sum up", "log a check first")
    base = np.ones(len(beliefs)) if weights is None else np.asarray(weights, dtype=np.float64)
    if base.shape != (len(beliefs),) or not np.isfinite(base).all() or (base <= 0).any():
        raise InputError("weights", list(base), "must be one number above 0 for each check", "give one per check")
    chance = np.random.default_rng(seed)
    # Quantiles at evenly spaced probabilities, shuffled: a check's own draws, without its sampler's noise.
    levels = (np.arange(DRAWS) + 0.5) / DRAWS
    columns = [chance.permutation(_quantiles(belief, levels)) for belief in beliefs]
    own = np.stack(columns, axis=1)
    spread = chance.standard_exponential((DRAWS, len(beliefs))) if len(beliefs) > 1 else np.ones((DRAWS, 1))
    parts = spread * base
    mean = (own * parts).sum(axis=1) / parts.sum(axis=1)
    return DrawBelief(mean, np.full(DRAWS, 1.0 / DRAWS))


def _quantiles(belief: Belief, levels: FloatArray) -> FloatArray:
    """Quantiles at many levels: 41 exact ones, the rest read off between them in the log."""
    knots = np.concatenate([[0.0005, 0.0025], np.linspace(0.01, 0.99, 37), [0.9975, 0.9995]])
    ln = np.log([belief.quantile(float(p)) for p in knots])
    result: FloatArray = np.exp(np.interp(levels, knots, ln))
    return result
