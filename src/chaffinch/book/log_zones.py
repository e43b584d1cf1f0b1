"""What did each zone of a field lose? Zones are areas of a file; the records of a log count where they lie."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Final

import numpy as np

from chaffinch.book.fieldlogs import LogCleaned
from chaffinch.engine.estimate import Range
from chaffinch.errors import InputError

if TYPE_CHECKING:
    from chaffinch.fieldlog.loss import FieldLoss, Usage

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


def by_zone(
    told: ZonesTold, log: LogCleaned, use: Usage, loss: FieldLoss, price_per_t: float | None
) -> tuple[tuple[ZoneLoss, ...], int]:
    """What each zone lost, in the order of the file, and how many records lie in several.

    Raises
    ------
    InputError
        As :func:`chaffinch.fieldlog.zones.read_zones`, and where no record that cut lies in any.
    """
    from chaffinch.fieldlog.loss import interval_of, of_groups
    from chaffinch.fieldlog.zones import read_zones, zone_of

    zones = read_zones(told.path, column=told.column, crs=told.crs)
    rows = log.cleaned.rows
    zone, in_several = zone_of(zones, rows.column("lon_deg"), rows.column("lat_deg"))
    if not (zone[use.cut_area_ha > 0] >= 0).any():
        raise InputError("zones", told.path.name, "hold no record of the log", "check that it is of the same field")
    names = (*zones.names, "")
    found = []
    parts = of_groups(use, loss, np.where(zone < 0, len(zones.names), zone), len(names))
    for name, (cut_ha, known_ha, draws) in zip(names, parts, strict=True):
        kg = interval_of(draws) if known_ha > 0 else None
        money = None if kg is None or price_per_t is None else kg.times(price_per_t / KG_PER_T)
        if name or cut_ha > 0:
            found.append(ZoneLoss(name, cut_ha, known_ha, kg, None if kg is None else kg.times(1 / cut_ha), money))
    return tuple(found), in_several
