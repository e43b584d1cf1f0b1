"""What must every row of the advice tables hold? Its origin and sources, its ranges, its weights."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

from chaffinch.reference.loader import Table

ORIGINS: Final = ("printed", "derived", "memory", "practice")
"""How a statement is known: read in its sources; our own deduction from them; from memory, the source being where to
verify it; or common practice without a source."""


def origin_of(row: Table, cited: Mapping[str, Any], usual: str = "") -> tuple[str, tuple[str, ...]]:
    """Origin and source keys of a row, checked against each other.

    Parameters
    ----------
    row : Table
    cited : mapping
        Sources by key.
    usual : str
        Origin where the row names none; empty where it must.
    """
    kind = row.text("origin", usual) if usual else row.text("origin")
    if kind not in ORIGINS:
        raise row.damaged("origin", f"must be one of {', '.join(ORIGINS)} (got {kind!r})")
    told = row.text("source", "")
    if (kind == "practice") != (told == ""):
        raise row.damaged("source", "is given exactly when the origin is not practice")
    return kind, cited_keys(row, "source", cited)


def cited_keys(row: Table, field: str, cited: Mapping[str, Any]) -> tuple[str, ...]:
    """Keys of sources under ``field``, parted by commas; none where it is absent."""
    told = row.text(field, "")
    keys = tuple(part.strip() for part in told.split(",")) if told else ()
    for key in keys:
        if key not in cited:
            raise row.damaged(field, f"{key!r} does not stand in advice/sources.toml")
    return keys


def ranged(row: Table, key: str) -> tuple[float, float]:
    """Two numbers above 0, the first the smaller."""
    value = row.rows.get(key)
    if not isinstance(value, list) or len(value) != 2:
        raise row.damaged(key, "must be two numbers, like [1.5, 8.0]")
    ends = Table(row.file, dict(zip(("low", "high"), value, strict=True)), f"{row.where}.{key}")
    low, high = ends.number("low"), ends.number("high")
    if low >= high:
        raise row.damaged(key, f"must rise (got {low:g} and {high:g})")
    return low, high


def weights(row: Table, answers: Mapping[str, str], *, all_of_them: bool = False) -> dict[str, float]:
    """Numbers above 0 by answer."""
    row.allow(*answers)
    if all_of_them:
        for name in answers:
            if name not in row.rows:
                raise row.damaged(name, "is missing")
    return {name: row.number(name) for name in row.rows}
