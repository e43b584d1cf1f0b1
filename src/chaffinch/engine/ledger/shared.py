"""Which errors do many checks share, and what are they worth in each draw?

A drop width guessed once is wrong by the same factor in every check of that combine and season; a thousand-kernel
weight taken from a table is wrong by the same factor in every count of that crop. Added up over a season such an error
does not average out. Each has a key, such as ``("width", "combine 2", "2026")``, and a standard deviation of its log;
row i of its draws belongs to row i of every field, so one error is drawn once for the whole season.
"""

from __future__ import annotations

import zlib
from collections.abc import Mapping, Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from chaffinch.engine.domain import not_negative
from chaffinch.errors import InputError

FloatArray = NDArray[np.float64]
SharedKey = str | tuple[str, ...]
"""Name of one shared error, in one word or several: what is wrong, and whose it is."""
Shared = Mapping[SharedKey, float]
"""Standard deviation of the log [1] of each shared error."""

DRAWS: Final = 4096
"""Rows of every field and every shared error. The ends of a 90 % range are then known to 0.034 sd: the error
sqrt(p(1 - p)/n)/f of a quantile, with the density f of a normal."""


def stream(seed: int, *names: str) -> np.random.Generator:
    """Chance for one named thing: the same for the same seed and names, whatever else is asked before or after.

    Raises InputError for a seed below 0.
    """
    if seed < 0:
        raise InputError("seed", seed, "must not be below 0", "give 0 or a whole number above it")
    return np.random.default_rng([seed, *(zlib.crc32(name.encode()) for name in names)])


def standard_normal(rng: np.random.Generator) -> FloatArray:
    """One standard normal number per row, one from each of ``DRAWS`` equal slices, in random order."""
    result: FloatArray = ndtri(rng.permutation((np.arange(DRAWS) + 0.5) / DRAWS))
    return result


def said(key: SharedKey) -> str:
    """A key as text for people."""
    return key if isinstance(key, str) else " ".join(key)


def shift(keys: Shared, *, seed: int) -> FloatArray:
    """Sum of shared errors, per row: add it to ln(loss as caught) for ln(loss), shape (DRAWS,).

    Parameters
    ----------
    keys : mapping of SharedKey to float
        Standard deviations of the log [1], 0 or more.
    seed : int
        The same seed and key give the same rows in every field.
    """
    total = np.zeros(DRAWS)
    for key in sorted(keys, key=repr):
        sd = not_negative(f"shared error {said(key)}", keys[key])
        total += sd * standard_normal(stream(seed, "shared", repr(key)))
    return total


def common_and_own(checks: Sequence[Shared]) -> tuple[dict[SharedKey, float], list[dict[SharedKey, float]]]:
    """Errors that all checks of a field share, and those that only some have.

    The former cannot be seen in the field and move its answer as a whole; the latter move checks against each other.

    One error may move one check further than another (a count beside weighed pans): what it moves all of them by is
    common, the rest a check's own. Both come from the same draws (:func:`shift`), so they add up to the whole.
    """
    everywhere = [k for k in (checks[0] if checks else {}) if all(k in other for other in checks)]
    common = {k: min(shared[k] for shared in checks) for k in everywhere}
    rests = [{k: sd - common.get(k, 0.0) for k, sd in shared.items() if sd != common.get(k)} for shared in checks]
    return common, rests
