"""How much do catches of this combine differ from each other, by its own checks in the book?"""

from __future__ import annotations

from typing import Final

from chaffinch.book.catches import prepare
from chaffinch.book.checks import counting
from chaffinch.book.desk import Desk
from chaffinch.book.fields import checks_where
from chaffinch.book.things import Thing
from chaffinch.engine.exposure import VARIATION, Taken
from chaffinch.engine.variation import OwnVariation, own_variation

USUAL: Final = VARIATION
"""What is assumed where nothing was learned [1]."""
IN_THE_DISCHARGE: Final[tuple[Taken, ...]] = ("spanning", "narrow", "spread")
"""Ways of taking catches that see machine loss alone, so that like is compared with like."""


def own_variations(desk: Desk, combine: Thing) -> tuple[OwnVariation, ...]:
    """What the checks of a combine say of the variation between its catches, by the way they were taken.

    Only ways with eight checks or more of two catches or more. The figure is told, never put into an answer unasked:
    a check file takes it as ``variation``.
    """
    logged = counting(desk, checks_where(desk, combine=combine.id))
    checks = [[c for c in prepare(one.check).catches if c.variation is None] for one in logged]
    found = [own_variation(checks, taken) for taken in IN_THE_DISCHARGE]
    return tuple(one for one in found if one is not None)
