"""What did each zone of a field lose? Zones are areas of a file; the records of a log count where they lie."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Final

import numpy as np

from chaffinch.book.figures import range_words
from chaffinch.engine.estimate import Range
from chaffinch.errors import InputError

if TYPE_CHECKING:
    from chaffinch.fieldlog.cleaning.clean import Cleaned
    from chaffinch.fieldlog.loss.whole_field import FieldLoss, Usage

KG_PER_T: Final = 1000.0


@dataclass(frozen=True, slots=True)
class ZonesTold:
    """A file of zones; which of its columns names them and its coordinate system, where it does not tell."""

    path: Path
    column: str = ""
    crs: str = ""


@dataclass(frozen=True, slots=True)
class ZoneLoss:
    """What a zone of the field lost.

    Attributes
    ----------
    name : str
        Empty for what lies in no zone.
    cut_ha, known_ha : float
        Area cut, and the part of it whose records count.
    total_kg, kg_ha : Range or None
        None where no record counts.
    money : Range or None
        None without a price too.
    """

    name: str
    cut_ha: float
    known_ha: float
    total_kg: Range | None
    kg_ha: Range | None
    money: Range | None


def zone_rows(
    zones: Sequence[ZoneLoss],
    per_kg_ha: float,
    area: Callable[[float], str],
    *,
    none: str,
    empty: str,
    priced: bool,
) -> list[list[str]]:
    """What each zone lost, as rows of a table: name, area, middle, likely range, and money where there is a price.

    Parameters
    ----------
    zones : sequence of ZoneLoss
    per_kg_ha : float
        What one kilogram per hectare is in the unit of the page.
    area : callable
        Hectares as this face writes them.
    none, empty : str
        What stands for what lies in no zone, and for a zone where no record counts.
    priced : bool
        Whether there is a column of money.
    """
    rows = []
    for one in zones:
        row = [one.name or none, area(one.cut_ha)]
        if one.kg_ha is None:
            row += ["–", empty]
        else:
            low, middle, high = range_words(one.kg_ha.times(per_kg_ha))
            row += [middle, f"{low} to {high}"]
        if priced:
            row.append("–" if one.money is None else range_words(one.money)[1])
        rows.append(row)
    return rows


class ZoneSums:
    """What each zone lost, added up over the pieces of a log and its machines.

    Raises
    ------
    InputError
        As :func:`chaffinch.fieldlog.zones.read_zones`; and :meth:`found`, where no record that cut lies in any zone.
    """

    def __init__(self, told: ZonesTold, losses: Sequence[FieldLoss]) -> None:
        from chaffinch.fieldlog.loss.parts import GroupTally
        from chaffinch.fieldlog.zones import read_zones

        self._told = told
        self._zones = read_zones(told.path, column=told.column, crs=told.crs)
        self._sums = [(GroupTally(len(self._zones.names) + 1), loss) for loss in losses]
        self.in_several = 0

    def add(self, machine: int, cleaned: Cleaned, use: Usage) -> None:
        """Count records of a machine in."""
        from chaffinch.fieldlog.zones import zone_of

        rows = cleaned.rows
        zone, in_several = zone_of(self._zones, rows.column("lon_deg"), rows.column("lat_deg"))
        self.in_several += in_several
        tally, loss = self._sums[machine]
        tally.add(use, loss, np.where(zone < 0, len(self._zones.names), zone))

    def found(self, price_per_t: float | None) -> tuple[ZoneLoss, ...]:
        """What each zone lost, in the order of the file, and last what lies in none."""
        from chaffinch.fieldlog.loss.parts import losses_of_groups
        from chaffinch.fieldlog.loss.whole_field import interval_of

        parts = losses_of_groups(self._sums)
        if not any(cut_ha > 0 for cut_ha, _, _ in parts[:-1]):
            problem = "hold no record of the log"
            raise InputError("zones", self._told.path.name, problem, "check that it is of the same field")
        made = []
        for name, (cut_ha, known_ha, draws) in zip((*self._zones.names, ""), parts, strict=True):
            kg = interval_of(draws) if known_ha > 0 else None
            money = None if kg is None or price_per_t is None else kg.times(price_per_t / KG_PER_T)
            if name or cut_ha > 0:
                made.append(ZoneLoss(name, cut_ha, known_ha, kg, None if kg is None else kg.times(1 / cut_ha), money))
        return tuple(made)
