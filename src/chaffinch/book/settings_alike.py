"""Are two settings the same, however they are written? ``fan`` and ``Fan``, ``900 RPM``, ``18 mm`` and ``1.8 cm``.

A setting is a name with a number and perhaps a unit. Names and units are compared as names are (see
:mod:`chaffinch.book.names`); lengths and speeds in one unit, wherever :mod:`chaffinch.units` knows the one written.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from contextlib import suppress
from typing import Any, Final

from chaffinch import units
from chaffinch.book.names import folded
from chaffinch.errors import InputError

Setting = Mapping[str, Any]
Comparable = tuple[str, float]
"""What a setting is set to, as it can be compared: a kind of quantity or a folded unit, and the number."""

KINDS: Final = ("length", "speed")
DIGITS: Final = 9
"""Significant digits that must agree; own figure: 18 mm and 1.8 cm differ in the sixteenth."""


def comparable(settings: Sequence[Setting]) -> dict[str, Comparable]:
    """What each setting is set to, by its folded name."""
    return {folded(str(one["name"])): _value(one) for one in settings}


def said(settings: Sequence[Setting], *, spelled: Mapping[str, str] | None = None) -> dict[str, str]:
    """Settings as text by name, ``"600 rpm"``; a name that ``spelled`` holds (folded → as written) is written so."""
    known = spelled or {}
    return {known.get(folded(str(one["name"])), str(one["name"])): value_said(one) for one in settings}


def value_said(setting: Setting) -> str:
    """``"600 rpm"``."""
    return f"{float(setting['value']):g} {setting.get('unit', '')}".rstrip()


def spellings(*groups: Sequence[Setting]) -> dict[str, str]:
    """Folded names → how they were first written."""
    found: dict[str, str] = {}
    for group in groups:
        for one in group:
            found.setdefault(folded(str(one["name"])), str(one["name"]))
    return found


def differing(a: Sequence[Setting], b: Sequence[Setting]) -> set[str]:
    """Folded names of settings that are not the same in both, or are told in one only."""
    left, right = comparable(a), comparable(b)
    return {name for name in {*left, *right} if left.get(name) != right.get(name)}


def otherwise(told: Sequence[Setting], sides: Mapping[str, Sequence[Setting]], side: str) -> Setting | None:
    """The first setting told that the trial changes and that its side has otherwise; None where there is none.

    A setting that is the same on both sides may be told otherwise: then it moved beside the trial, which is said of it.
    """
    meant, own = differing(sides["A"], sides["B"]), comparable(sides[side])
    for one in told:
        name = folded(str(one["name"]))
        if name in meant and name in own and own[name] != _value(one):
            return one
    return None


def with_side(
    told: Sequence[Setting], sides: Mapping[str, Sequence[Setting]], side: str, *, called: str
) -> list[dict[str, Any]]:
    """Settings of a stop of a trial: whatever was told, and what else its side has.

    Parameters
    ----------
    told : sequence of mapping
        What the person said, each ``{"name", "value", "unit"}``.
    sides : mapping
        Settings of sides A and B.
    side : str
        A or B.
    called : str
        How an error names what was told.

    Raises
    ------
    InputError
        For a setting the trial changes that is told otherwise than the side has it.
    """
    wrong = otherwise(told, sides, side)
    if wrong is not None:
        meant = next(value_said(one) for one in sides[side] if folded(str(one["name"])) == folded(str(wrong["name"])))
        problem = f"is not what side {side} of the trial is set to, {meant}"
        raise InputError(
            called, f"{wrong['name']}={value_said(wrong)}", problem, "log it under the other side, or under no trial"
        )
    mine = comparable(told)
    return [dict(one) for one in told] + [dict(one) for one in sides[side] if folded(str(one["name"])) not in mine]


def _value(setting: Setting) -> Comparable:
    number, unit = float(setting["value"]), folded(str(setting.get("unit", "")))
    if unit:
        for kind in KINDS:
            with suppress(InputError):
                return kind, float(f"{units.to_inside(number, unit, kind):.{DIGITS}g}")
    return unit, float(f"{number:.{DIGITS}g}")
