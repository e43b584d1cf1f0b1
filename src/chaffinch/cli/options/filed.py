"""What a check is filed under, as far as it was told."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any


@dataclass(slots=True)
class Filing:
    """Where a check belongs.

    Attributes
    ----------
    where : dict
        Ids of season, field, combine and operator.
    taken_at : str or None
        UTC; None for now.
    settings, conditions
        As the book holds them; None when nothing was given.
    bar : dict or None
        What the loss monitor showed, and how it counts.
    other_way : bool
        The bar is taken although it counts otherwise than before.
    notes : list of str
        What the person should know about the filing.
    """

    where: dict[str, str] = field(default_factory=dict)
    taken_at: str | None = None
    settings: list[dict[str, Any]] | None = None
    conditions: dict[str, float] | None = None
    bar: dict[str, Any] | None = None
    other_way: bool = False
    notes: list[str] = field(default_factory=list)
