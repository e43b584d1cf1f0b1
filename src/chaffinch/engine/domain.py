"""Is this number one the mathematics may be given? The checks every engine room shares.

Each check returns the value as a plain ``float`` (or a ``float64`` array of the same shape) and raises an
InputError that names the parameter, the value and the mend. Booleans, text, lists, masked arrays, NaN and
infinities are refused, and so are sizes no quantity of ours has (beyond 1e50, or above 0 but below 1e-50):
products and quotients of a handful of accepted numbers therefore neither overflow nor vanish. In an array the
first offending element is named, as in ``speed_kmh[3]``.
"""

from __future__ import annotations

import math
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from chaffinch.errors import InputError

FloatArray = NDArray[np.float64]
Num = TypeVar("Num", float, FloatArray)
"""A plain float or a float64 array: what comes in is what goes out."""

_LARGEST = 1e50
_SMALLEST = 1e-50


def finite(field: str, value: Num, mend: str = "give a finite number") -> Num:
    """Return ``value`` as float or float64 array; raise InputError unless every element is finite."""
    number = _number(field, value, mend)
    endless = not math.isfinite(number) if isinstance(number, float) else ~np.isfinite(number)
    _refuse_where(endless, field, number, "must be a finite number", mend)
    _refuse_where(abs(number) > _LARGEST, field, number, "is too large", mend)
    return number


def single(field: str, value: float | FloatArray, mend: str = "give one finite number") -> float:
    """Return ``value`` as float; raise InputError for an array too: where one number must decide."""
    if isinstance(value, np.ndarray):
        raise InputError(field, value, "must be one number", mend)
    return finite(field, value, mend)


def positive(field: str, value: Num, mend: str = "give a number above 0") -> Num:
    """Return ``value``; raise InputError unless every element is finite and above 0."""
    number = finite(field, value, mend)
    _refuse_where(number <= 0.0, field, number, "must be above 0", mend)
    _refuse_where(number < _SMALLEST, field, number, "is too small", mend)
    return number


def not_negative(field: str, value: Num, mend: str = "give 0 or a number above it") -> Num:
    """Return ``value``; raise InputError unless every element is finite and at least 0."""
    number = finite(field, value, mend)
    _refuse_where(number < 0.0, field, number, "must not be below 0", mend)
    return number


def between(field: str, value: Num, low: float, high: float, mend: str = "") -> Num:
    """Return ``value``; raise InputError unless every element stands in [``low``, ``high``]."""
    mend = mend or f"give a number from {low:g} to {high:g}"
    number = finite(field, value, mend)
    outside = (number < low) | (number > high)
    _refuse_where(outside, field, number, f"must be from {low:g} to {high:g}", mend)
    return number


def share(field: str, value: Num, mend: str = "write 70 % as 0.70") -> Num:
    """Return ``value``; raise InputError unless every element stands in (0, 1]."""
    number = positive(field, value, mend)
    _refuse_where(number > 1.0, field, number, "must be at most 1", mend)
    return number


def _number(field: str, value: Num, mend: str) -> Num:
    # Exactly ndarray: a masked array would lose its mask here, which is a silent default.
    if type(value) is np.ndarray and value.dtype.kind in "iuf":
        return value.astype(np.float64)
    if isinstance(value, int | float | np.integer | np.floating) and not isinstance(value, bool):
        try:
            return float(value)
        except OverflowError:
            # Not the integer itself: Python refuses to write one of more than 4300 digits.
            raise InputError(field, math.inf, "is too large", mend) from None
    raise InputError(field, value, "must be a number or an array of numbers", mend)


def _refuse_where(
    bad: bool | NDArray[np.bool_], field: str, value: float | FloatArray, problem: str, mend: str
) -> None:
    if bad is False or not np.any(bad):
        return
    if isinstance(value, np.ndarray) and value.ndim:
        spot = tuple(int(axis[0]) for axis in np.nonzero(np.asarray(bad)))
        raise InputError(f"{field}[{', '.join(map(str, spot))}]", float(value[spot]), problem, mend)
    raise InputError(field, float(value), problem, mend)
