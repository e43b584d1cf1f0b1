"""How is the map of a field log written as a picture of its own? The drawing of page and paper, in greys, as PNG."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Final

from chaffinch.book.fieldlogs.losses import LogLoss
from chaffinch.book.fieldlogs.zones import ZonesTold
from chaffinch.book.shown_unit import PaceUnit
from chaffinch.errors import InputError
from chaffinch.paper.ink import WIDE
from chaffinch.paper.log_told import told_of, weight_of
from chaffinch.paper.typeset import pictures, refuse_without_typesetter
from chaffinch.paper.words import words

PT_PER_PX: Final = 0.75
"""Points of a pixel of a drawing [1], as on paper: 96 px and 72 pt are an inch."""
PPI: Final = 192.0
"""Pixels of the picture to an inch [1]: two for one of the drawing."""
NO_DAY: Final = "1970-01-01"
"""A picture carries no date."""


def map_picture(found: LogLoss, unit: PaceUnit, sign: str, zones: ZonesTold | None = None) -> bytes:
    """The map as PNG: squares in three patterns that stay apart in grey, north, a scale, and what the patterns mean.

    With ``zones`` their edges and numbers stand over it.

    Raises
    ------
    InputError
        Where no record counts, so that there is no map.
    ChaffinchError
        When the typesetter is not installed.
    """
    refuse_without_typesetter()
    told = told_of(found, unit, sign, weight_of(unit, None), zones)
    if told.map is None:
        raise InputError("map", 0, "would be empty: no record counts", "look at the cleaning first")
    first = next((part.first for part in found.log.found.parts if part.first), "")
    name = " · ".join(text for text in (found.combines, found.curves.crop, first[:10]) if text)
    named = ", ".join(f"{row[0]} {row[1]}" for row in told.zones[1:] if row[0])
    # A picture has no room for what is said of the map, but for this: a pattern of noise alone looks like a field's.
    alike = words("whole.map.alike")
    said = [one for one in (named, alike if alike in told.map.about else "") if one]
    width = round(WIDE * PT_PER_PX, 2)
    data = {
        "title": name,
        "size": "a4",
        "date": NO_DAY,
        "lines": [told.total, *said],
        "svg": told.map.ink(WIDE),
        "alt": told.map.alt,
        "width_pt": width,
    }
    return pictures("picture", data, ppi=PPI)[0]


def write_map_picture(
    found: LogLoss, unit: PaceUnit, sign: str, to: str | Path, *, replace: bool = False, zones: ZonesTold | None = None
) -> None:
    """Write :func:`map_picture` to a file that ends in ``.png``.

    Raises
    ------
    InputError
        Also for a file that is there, or cannot be written.
    """
    path = Path(to)
    if path.exists() and not replace:
        raise InputError("output", path.name, "is there already", "give another name, or --replace it")
    made = map_picture(found, unit, sign, zones)
    fresh = path.with_name(f".{path.name[:100]}.{os.getpid()}.part")
    try:
        fresh.write_bytes(made)
        fresh.replace(path)
    except OSError as error:
        fresh.unlink(missing_ok=True)
        raise InputError("output", path.name, f"cannot be written ({error.strerror})", "check the disk") from None
