"""Exact conversions: reads what a grower writes, writes it back.

``read("2 ft 6 in", "length", field="cut width")`` gives a `Quantity` of 0.762 m with a step of 0.0254 m. The
rooms: `factors` (what is one of each unit worth?), `numerals` (what number did they write?), `spelling`
(which unit did they mean?), `money` (which currency?) and `quantity` (the doors, all named here).
"""

from __future__ import annotations

from chaffinch.units.factors import KINDS as _KINDS
from chaffinch.units.quantity import (
    Quantity,
    accepted,
    inside_unit,
    read,
    read_any,
    read_not_negative,
    read_positive,
    to_inside,
    write,
)

KINDS: tuple[str, ...] = tuple(_KINDS)
"""The names of all kinds of quantity."""

__all__ = [
    "KINDS",
    "Quantity",
    "accepted",
    "inside_unit",
    "read",
    "read_any",
    "read_not_negative",
    "read_positive",
    "to_inside",
    "write",
]
