"""Where do the zones of a field lie, for drawing them over its map?"""

from __future__ import annotations

from typing import TYPE_CHECKING

from chaffinch.book.fieldlogs.zones import ZonesTold

if TYPE_CHECKING:
    from chaffinch.fieldlog.zones import Outline


def zone_names(told: ZonesTold) -> tuple[str, ...]:
    """The names of zones, in the order of their file.

    Raises
    ------
    InputError
        As :func:`chaffinch.fieldlog.zones.read_zones`.
    """
    from chaffinch.fieldlog.zones import read_zones

    return read_zones(told.path, column=told.column, crs=told.crs).names


def zone_edges(told: ZonesTold, box: tuple[float, float, float, float], within_deg: float) -> list[tuple[int, Outline]]:
    """The edges of zones within a box of degrees, each with its number in the file from 1, as the loss by zone has it.

    Parameters
    ----------
    told : ZonesTold
    box : tuple of float
        West, south, east and north [deg].
    within_deg : float
        How far a drawn edge may lie from the true one [deg].

    Raises
    ------
    InputError
        As :func:`chaffinch.fieldlog.zones.read_zones`.
    """
    from chaffinch.fieldlog.zones import outlines, read_zones

    zones = read_zones(told.path, column=told.column, crs=told.crs)
    number = {name: k for k, name in enumerate(zones.names, start=1)}
    return [(number[one.name], one) for one in outlines(zones, box, within_deg)]
