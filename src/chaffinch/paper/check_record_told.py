"""What was caught at a stop, as written, and which versions of its record are there?"""

from __future__ import annotations

import re
from collections.abc import Mapping
from decimal import Decimal
from math import isclose
from typing import Any, Final

from chaffinch.book.checks.differing import differences, in_feet, in_short
from chaffinch.book.checks.held import LoggedCheck
from chaffinch.book.checks.looking import check_history
from chaffinch.book.desk import Desk
from chaffinch.book.things import by_ids
from chaffinch.book.times import local
from chaffinch.paper.words import words
from chaffinch.records.check import Check
from chaffinch.records.checkfile import check_to_table

FILED: Final = ("season", "field", "combine", "operator")
"""What a check may be filed under, by the keys of its record."""
_NUMBER: Final = re.compile(r"(-?[0-9.]+(?:e[-+]?[0-9]+)?)( .*)", re.IGNORECASE)


def catches_told(check: Check, *, feet: bool) -> list[list[str]]:
    """Place, what held it, and what it held: as written."""
    rows = []
    catches: Any = check_to_table(check)["catch"]
    for number, one in enumerate(catches, start=1):
        amount = shown_amount(one)
        pan = shown_size(one, feet=feet).replace(" x ", " × ")
        rest = [_beside(key, value, one) for key, value in one.items()
                if key not in ("place", "amount", "gross", "tare", "pan", "width", "length", "time")
                and not key.endswith("_inferred")]  # fmt: skip
        rows.append([str(number), str(one["place"]), pan, amount, ", ".join(rest)])
    return rows


def versions_told(desk: Desk, logged: LoggedCheck, *, feet: bool) -> list[dict[str, Any]]:
    """Every version of a check in the order they arrived: what differs, why, and which one counts."""
    kept = check_history(desk, logged)
    bodies = {one.id: one.body for one in kept}
    names = {t.id: t.title for t in by_ids(desk, [one.body.get(key) for one in kept for key in FILED]).values()}
    told = []
    for one in kept:
        olds = [bodies[old] for old in one.body.get("replaces", ()) if old in bodies]
        is_end = one.id in logged.versions.ends
        told.append(
            {
                "id": one.id[:8],
                "said": words("check.version", id=one.id[:8], device=one.device, arrived=local(one.arrived)),
                "counts": one.id == logged.versions.counts,
                "replaced": not is_end,
                "disagrees": is_end and logged.versions.disagree,
                "reason": str(one.body.get("reason", "")),
                "differs": differences(olds[0], one.body, names, feet=feet) if olds else [],
                "corrects": bool(olds),
            }
        )
    return told


def shown_size(catch: Mapping[str, Any], *, feet: bool) -> str:
    """The size of what held a catch, as a person writes it."""
    said = in_feet if feet else in_short
    sides = [said(str(catch[key])) for key in ("width", "length") if key in catch]
    return said(str(catch["pan"])) if "pan" in catch else " x ".join(sides) or str(catch.get("time", ""))


def shown_amount(catch: Mapping[str, Any]) -> str:
    """What a catch held, as a person writes it."""
    step = catch.get("step")
    amount, gross, tare = (_digits(catch.get(key), step) for key in ("amount", "gross", "tare"))
    return amount or f"{gross} less {tare}"


def _beside(key: str, value: Any, catch: Mapping[str, Any]) -> str:
    """What else is said of a catch: ``step 0.1 g by the digits``."""
    shown = _digits(value, value) if isinstance(value, str) else str(value)
    return f"{key.replace('_', ' ')} {shown}{' by the digits' if catch.get(f'{key}_inferred') else ''}"


def _digits(text: Any, step: Any) -> str:
    """A quantity of a record, which has every digit of its number, with the digits that its step leaves."""
    value, fine = _NUMBER.fullmatch(str(text)), _NUMBER.fullmatch(str(step))
    if value is None or fine is None:
        return "" if text is None else str(text)
    number = float(value[1])
    places = max(0, -Decimal(f"{float(fine[1]):.2g}").normalize().as_tuple().exponent)  # type: ignore[operator]
    plain = f"{number:.{places}f}"
    # One that was converted, as from ounces, has no such digits.
    return f"{plain if isclose(float(plain), number, rel_tol=1e-9) else f'{number:.5g}'}{value[2]}"
