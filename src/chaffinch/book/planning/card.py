"""The cab card: what one pan holds at each loss, for one machine, crop and pan."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

from chaffinch.book.checks.catches import CropFigures, cut_width_m, prepare
from chaffinch.engine.exposure import Exposure, width_ratio
from chaffinch.engine.kit import InPan, in_pan, smallest_loss_kg_ha
from chaffinch.errors import InputError
from chaffinch.records.check import Check

OF_LIMIT: Final = (0.25, 0.5, 0.75, 1.0, 1.5, 2.0, 3.0, 5.0)
"""Losses on the card as multiples of the limit."""
OF_YIELD: Final = (0.0025, 0.005, 0.01, 0.015, 0.02, 0.03, 0.05)
"""Losses on the card as shares of the yield, when no limit is given."""


@dataclass(frozen=True, slots=True)
class CardSide:
    """The card with spreading off or on.

    Attributes
    ----------
    spreading : bool
    discharge_width_m, width_ratio : float
        Drop or spread width [m], and cut width over it [1].
    exposure : Exposure
        What one pan stands for.
    rows : tuple of InPan
        One per loss of the card.
    smallest_kg_ha : float or None
        Loss that half a scale step stands for [kg/ha]; None when the check's catch is not weighed.
    """

    spreading: bool
    discharge_width_m: float
    width_ratio: float
    exposure: Exposure
    rows: tuple[InPan, ...]
    smallest_kg_ha: float | None


@dataclass(frozen=True, slots=True)
class Card:
    """A cab card: the losses of its rows [kg/ha] and one side per known discharge width."""

    check: Check
    figures: CropFigures
    losses_kg_ha: tuple[float, ...]
    sides: tuple[CardSide, ...]


def card(check: Check, *, losses_kg_ha: Sequence[float] | None = None) -> Card:
    """Make the card for the pan of the first catch of ``check``, taken in the discharge.

    Parameters
    ----------
    check : Check
        Its first catch must be in the discharge; needs a combine with a drop or spread width.
    losses_kg_ha : sequence of float or None
        Losses of the rows [kg/ha]; None: multiples of the limit, or shares of the yield.

    Raises
    ------
    InputError
        Without a limit, a yield or losses; without a combine; for a catch taken elsewhere.
    """
    first = check.catches[0]
    if first.place != "discharge":
        raise InputError("place", first.place, "has no card", "a card is for a pan in the discharge")
    if check.combine is None:
        raise InputError("combine", None, "is needed for a card", "give cut_width and drop_width")
    losses = _losses(check) if losses_kg_ha is None else tuple(losses_kg_ha)
    sides = []
    for spreading, width in ((False, check.combine.drop_width_m), (True, check.combine.spread_width_m)):
        cut = cut_width_m(check)
        if width is None or cut is None:
            continue
        ready = prepare(replace(check, spreading=spreading, catches=(replace(first, offset_m=None),)))
        like, figures = ready.catches[0], ready.figures
        area = like.exposure.machine_m2
        rows = tuple(in_pan(loss, area, figures.tkw_g, figures.test_weight_kg_hl) for loss in losses)
        smallest = smallest_loss_kg_ha(like.reading.step_g, area) if first.amount.kind == "weighed" else None
        sides.append(CardSide(spreading, width, width_ratio(cut, width), like.exposure, rows, smallest))
    if not sides:
        raise InputError("combine", None, "has neither drop nor spread width", "add drop_width or spread_width")
    return Card(check, figures, losses, tuple(sides))


def _losses(check: Check) -> tuple[float, ...]:
    if check.limit_kg_ha is not None:
        return tuple(f * check.limit_kg_ha for f in OF_LIMIT)
    if check.yield_kg_ha is not None:
        return tuple(f * check.yield_kg_ha for f in OF_YIELD)
    raise InputError("limit", None, "is needed for a card", 'give limit = "1 bu/ac", or a yield')
