"""What quantity did they write, and how is it written back?

`read` and its relatives turn a grower's text into a `Quantity` in inside units; `to_inside` and `write`
convert plain numbers. Arithmetic is done on exact ratios and rounded once, at the end.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable
from contextlib import suppress
from dataclasses import dataclass
from fractions import Fraction
from functools import cache, lru_cache

from chaffinch.errors import InputError
from chaffinch.units import money, spelling
from chaffinch.units.factors import Unit, kind_of
from chaffinch.units.numerals import Numeral, take, tidy


@dataclass(frozen=True, slots=True)
class Quantity:
    """A quantity as a person wrote it, and what it comes to.

    Parameters
    ----------
    value : float
        In the inside unit of its kind.
    kind : str
        ``"length"``, ``"area"``, ``"mass"`` and so on.
    unit : str
        Canonical spelling of the unit as written: ``"ft2"``, ``"bu/ac"``; empty for a plain number. Of a pair
        (``2 ft 6 in``) the smaller one.
    written : float
        The number as written, in that unit.
    step : float
        The smallest division its digits imply, in the inside unit: 0.1 g for ``12.5 g``, 1 g for ``12 g``, a
        quarter of a pound in g for ``3/4 lb``.
    text : str
        As typed.
    currency : str
        For prices, the sign or the ISO letters if any were written (``"$"``, ``"€"``, ``"CAD"``); else empty.
    """

    value: float
    kind: str
    unit: str
    written: float
    step: float
    text: str
    currency: str = ""


def read(text: str, kind: str, *, field: str, bushel_kg: float | None = None) -> Quantity:
    """Read a quantity of one kind.

    Parameters
    ----------
    text : str
        A number and its unit, as people write them: ``"12.5 g"``, ``"2 ft 6 in"``, ``"$14.50/bu"``.
    kind : str
        What it must be; one of `kinds`.
    field : str
        Where it stood, in the reader's words, for errors.
    bushel_kg : float, optional
        Weight of a bushel of this crop [kg]; needed only when the text is in bushels.

    Raises
    ------
    UnitError
        When the unit is missing, unknown, ambiguous or of another kind.
    InputError
        When it is not text, or the number cannot be read, or the weight of a bushel is missing.
    """
    return read_any(text, (kind,), field=field, bushel_kg=bushel_kg)


def read_positive(text: str, kind: str, *, field: str, bushel_kg: float | None = None) -> Quantity:
    """Read a quantity as `read` does, and refuse 0 and below."""
    quantity = read(text, kind, field=field, bushel_kg=bushel_kg)
    if not quantity.value > 0:
        example = kind_of(kind).example
        raise InputError(field, text, "must be above 0", f'write a number above 0, like "{example}"')
    return quantity


def read_not_negative(text: str, kind: str, *, field: str, bushel_kg: float | None = None) -> Quantity:
    """Read a quantity as `read` does, and refuse anything below 0."""
    quantity = read(text, kind, field=field, bushel_kg=bushel_kg)
    if quantity.value < 0:
        example = kind_of(kind).example
        raise InputError(field, text, "must not be below 0", f'write 0 or more, like "{example}"')
    return quantity


def read_any(text: str, kinds: tuple[str, ...], *, field: str, bushel_kg: float | None = None) -> Quantity:
    """Read a quantity of whichever of several kinds its unit belongs to.

    Parameters
    ----------
    text, field, bushel_kg
        As for `read`.
    kinds : tuple of str
        The kinds in question; no unit may belong to two of them.

    Raises
    ------
    InputError, UnitError
        As `read`; the error for a wrong unit lists the units of all the kinds.
    ValueError
        When the kinds share a unit: a slip in the program.
    """
    if isinstance(text, str):
        with suppress(InputError):  # it is said again below, with the field it stood in
            return _remembered(text, kinds, bushel_kg)
    return _read_any(text, kinds, field, bushel_kg)


@lru_cache(maxsize=8192, typed=True)
def _remembered(text: str, kinds: tuple[str, ...], bushel_kg: float | None) -> Quantity:
    """Read a text once: a book says "12.192 m" and "0.1 g" a million times. Refusals are not remembered."""
    return _read_any(text, kinds, "", bushel_kg)


def _read_any(text: str, kinds: tuple[str, ...], field: str, bushel_kg: float | None) -> Quantity:
    _must_not_overlap(kinds)
    first = kind_of(kinds[0])
    tidied = tidy(text, field, first.example)
    currency = ""
    priced = any(kind_of(kind).money for kind in kinds)
    if priced:
        currency, tidied = money.before_number(tidied)
    numeral, rest = take(tidied, field=field, text=text, example=first.example)
    for kind in kinds:
        pair = _pair(numeral, rest, kind, field, text)
        if pair is not None:
            return _quantity(pair[0], pair[1], kind, text, field, bushel_kg=bushel_kg)
    if priced:
        currency, rest = money.after_number(rest, currency, field, text)
    for kind in kinds:
        unit = spelling.find(rest, kind)
        if unit is not None and (not currency or kind_of(kind).money):
            spelling.complain_of_capitals(rest, field, text)
            _must_suit(numeral, kind, field, text)
            return _quantity(numeral, unit, kind, text, field, bushel_kg=bushel_kg, currency=currency)
    raise spelling.refusal(rest, kinds, field, text)


def to_inside(number: float, unit: str, kind: str, *, bushel_kg: float | None = None, field: str = "value") -> float:
    """Return a number given in ``unit`` in the inside unit of its kind.

    Raises
    ------
    UnitError
        When the kind has no such unit.
    InputError
        When the number is not finite, or the weight of a bushel [kg] is missing.
    """
    found = _unit(unit, kind, field)
    return _to_float(_exact(number, field) * _factor(found, kind, field, number, bushel_kg), field, number)


def write(value: float, unit: str, kind: str, *, bushel_kg: float | None = None) -> float:
    """Return a value given in the inside unit of its kind as a number in ``unit``.

    Raises
    ------
    UnitError
        When the kind has no such unit.
    InputError
        When the value is not finite, or the weight of a bushel [kg] is missing.
    """
    found = _unit(unit, kind, "unit")
    return _to_float(_exact(value, "value") / _factor(found, kind, "value", value, bushel_kg), "value", value)


def accepted(kind: str) -> tuple[str, ...]:
    """Return the canonical spellings of a kind's units; the empty one stands for a plain number."""
    return tuple(unit.name for unit in kind_of(kind).units)


def inside_unit(kind: str) -> str:
    """Return the inside unit of a kind as text: ``"kg/ha"`` for ``"area_mass"``."""
    return kind_of(kind).inside


@cache
def _must_not_overlap(kinds: tuple[str, ...]) -> None:
    if not kinds:
        msg = "read_any needs at least one kind"
        raise ValueError(msg)
    owners: dict[str, str] = {}
    for kind in kinds:
        for name in _names(kind_of(kind).units):
            if owners.setdefault(name, kind) != kind:
                msg = f"the unit {name!r} belongs to {owners[name]} and to {kind}: read them apart"
                raise ValueError(msg)


def _names(units: Iterable[Unit]) -> list[str]:
    return [name for unit in units for name in (unit.name, *unit.also)]


def _must_suit(numeral: Numeral, kind: str, field: str, text: str) -> None:
    """Refuse a number that cannot be of this kind, however good its unit."""
    known = kind_of(kind)
    if known.whole and (numeral.fractional or numeral.value.denominator != 1):
        raise InputError(field, text, "must be a whole number", f'write it like "{known.example}"')
    if known.whole and numeral.step == Fraction(1, 1000):
        # "2.000 seeds" is more often two thousand than two: a factor of 1000 is not guessed.
        raise InputError(
            field, text, "must be a whole number without a decimal mark", "write 2 or 2000, as it is meant"
        )
    if numeral.fractional and not known.fractions:
        raise InputError(field, text, "is written as a fraction", f'write a decimal number, like "{known.example}"')


def _quantity(
    numeral: Numeral,
    unit: Unit,
    kind: str,
    text: str,
    field: str,
    *,
    bushel_kg: float | None,
    currency: str = "",
) -> Quantity:
    factor = _factor(unit, kind, field, text, bushel_kg)
    # A count is exact however it is written: 1e3 seeds is a thousand, not "about".
    step = Fraction(1) if kind_of(kind).whole else numeral.step * factor
    return Quantity(
        value=_to_float(numeral.value * factor, field, text),
        kind=kind,
        unit=unit.name,
        written=_to_float(numeral.value, field, text),
        step=_to_float(step, field, text),
        text=text,
        currency=currency,
    )


@cache
def _leading(name: str) -> re.Pattern[str]:
    return spelling.leading(name)


def _pair(numeral: Numeral, rest: str, kind: str, field: str, text: str) -> tuple[Numeral, Unit] | None:
    """Return ``2 ft 6 in`` as one number in the smaller unit, or None when it is not such a pair."""
    for large_name, small_name in kind_of(kind).pairs:
        head = _leading(large_name).match(rest)
        if head is None:
            continue
        second, tail = take(rest[head.end() :], field=field, text=text, example=kind_of(kind).example)
        small = spelling.find(tail, kind)
        if small is None or small.name != small_name:
            continue
        large = _unit(large_name, kind, field)
        ratio = large.factor / small.factor
        if numeral.fractional or numeral.step != 1:
            raise InputError(
                field,
                text,
                f"has parts of a {large_name} beside the {small_name}",
                f"write a whole number before {large_name}",
            )
        if second.value >= ratio:
            raise InputError(
                field,
                text,
                f"has {ratio} or more before {small_name}, beside {large_name}",
                f"write a number below {ratio} before {small_name}",
            )
        size = abs(numeral.value) * ratio + second.value
        value = -size if numeral.negative else size
        return Numeral(value, second.step, numeral.negative, second.fractional), small
    return None


def _unit(name: str, kind: str, field: str) -> Unit:
    found = spelling.find(name, kind)
    if found is None:
        raise spelling.refusal(name, (kind,), field, None)
    spelling.complain_of_capitals(name, field, None)
    return found


def _factor(unit: Unit, kind: str, field: str, shown: object, bushel_kg: float | None) -> Fraction:
    """Return what one of the unit is worth inside, bushel weight included."""
    if unit.bushel_power == 0:
        return unit.factor
    if bushel_kg is None:
        others = ", ".join(other.name for other in kind_of(kind).units if other.bushel_power == 0)
        raise InputError(
            field,
            shown,
            "is in bushels, and the weight of a bushel of this crop is not known",
            f"give the weight of a bushel, or use {others}",
        )
    weight = _exact(bushel_kg, "bushel weight [kg]")
    if weight <= 0:
        raise InputError("bushel weight [kg]", bushel_kg, "must be above 0", "give it in kg, like 22.68")
    return unit.factor * weight**unit.bushel_power


def _exact(number: float, field: str) -> Fraction:
    """Return a number as the ratio it prints as: 0.1 is one tenth, not its nearest binary neighbour.

    So a figure typed as 66 in comes back as 66, whatever unit it was kept in.
    """
    try:
        finite = float(number)
    except (TypeError, ValueError, OverflowError):
        finite = math.nan
    if isinstance(number, (str, bytes, bool)) or not math.isfinite(finite):
        raise InputError(field, number, "is not a finite number", "give a plain number")
    return Fraction(repr(finite))


def _to_float(exact: Fraction, field: str, shown: object) -> float:
    try:
        return float(exact)
    except OverflowError:
        raise InputError(field, shown, "is too large to be meant", "give a number below 1e15") from None
