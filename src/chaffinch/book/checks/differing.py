"""What differs between two versions of a record, told in lines a person can read."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any, Final

from chaffinch import units

_NOT_SHOWN: Final = ("replaces", "reason")
_METRES: Final = re.compile(r"(-?\d+(?:\.\d+)?(?:e-?\d+)?) (m|m2)")


def differences(
    old: Mapping[str, Any], new: Mapping[str, Any], names: Mapping[str, str], *, feet: bool = False
) -> list[str]:
    """What differs between two versions, one line each: ``catch 1, amount: 12.5 g → 21.5 g``.

    With ``feet`` lengths and pans are told in feet, as the farm speaks of them.
    """
    before, after = dict(_flat(old)), dict(_flat(new))
    lines = []
    for key in dict.fromkeys([*before, *after]):
        a, b = before.get(key), after.get(key)
        if a != b:
            lines.append(f"{key}: {_word(a, names, feet)} → {_word(b, names, feet)}")
    return lines


def _flat(value: Any, place: str = "") -> list[tuple[str, Any]]:
    if isinstance(value, Mapping):
        found = []
        for key, inner in value.items():
            if not place and key in _NOT_SHOWN:
                continue
            # The check's own keys stand at the top of a check file: they are named as there. A reading names its check.
            own = not place and key == "check" and isinstance(inner, Mapping)
            name = "" if own else (f"{place}, {key}" if place else str(key))
            found += _flat(inner, name)
        return found
    if isinstance(value, list | tuple):
        return [pair for i, inner in enumerate(value, start=1) for pair in _flat(inner, f"{place} {i}")]
    return [(place, value)]


def _word(value: Any, names: Mapping[str, str], feet: bool) -> str:
    if value is None:
        return "–"
    if isinstance(value, bool):
        return "yes" if value else "no"
    text = names.get(str(value), str(value))
    return in_feet(text) if feet else text


def in_feet(text: str) -> str:
    """A length or area of a record, ``0.37161216 m2``, as it is spoken of in feet: ``4 ft2``; other texts stay."""
    found = _METRES.fullmatch(text)
    if found is None:
        return text
    unit, kind = ("ft2", "area") if found[2] == "m2" else ("ft", "length")
    return f"{units.write(float(found[1]), unit, kind):.4g} {unit}"


def in_short(text: str) -> str:
    """A length or area in metres with at most five digits: ``0.37161216 m2`` → ``0.37161 m2``; other texts stay."""
    found = _METRES.fullmatch(text)
    return text if found is None else f"{float(found[1]):.5g} {found[2]}"
