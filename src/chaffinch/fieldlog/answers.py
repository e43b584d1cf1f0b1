"""What did a person say that a file leaves open?"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, timedelta, timezone, tzinfo
from types import MappingProxyType
from typing import Final
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from chaffinch.errors import InputError
from chaffinch.fieldlog.rows import Problem, Question, Rows

_MOST_OFFSET_H: Final = 14


@dataclass(frozen=True, slots=True)
class Answers:
    """Answers to the questions of the readers; what is empty is still open.

    Parameters
    ----------
    zone : str
        Zone of the machine's clock: an offset like ``-06:00``, or a name like ``America/Regina``.
    crs : str
        Coordinate system of the positions where the file has none: ``"EPSG:32612"``.
    columns : mapping of str to str
        Header to meaning and unit: ``{"Flow": "flow_kg_s:lb/s", "Bin": "-"}``.
    decimals, dates : str
        ``"."`` or ``","``; ``"iso"``, ``"dmy"`` or ``"mdy"``.
    elements : mapping of str to str
        Column to the device element it is taken from: ``{"width_m": "DET-3"}``.
    bushel_kg : float or None
        Weight of a bushel of the crop [kg], where a yield is in bushels.
    layer : str
        Layer of a file that holds several.
    """

    zone: str = ""
    crs: str = ""
    columns: Mapping[str, str] = field(default_factory=lambda: MappingProxyType({}))
    decimals: str = ""
    dates: str = ""
    elements: Mapping[str, str] = field(default_factory=lambda: MappingProxyType({}))
    bushel_kg: float | None = None
    layer: str = ""


@dataclass(frozen=True, slots=True)
class Found:
    """What a reader found in a file.

    Parameters
    ----------
    kind : str
        ``"task data"``, ``"text"``, ``"shapefile"``, ``"GeoPackage"``, ``"GeoJSON"``, ``"Parquet"``.
    rows : Rows or None
        None where nothing can be read before a question is answered.
    questions : tuple of Question
        Open ones; an import waits for them.
    problems : tuple of Problem
        Told, not in the way.
    matched : mapping of str to str
        Header to ``meaning:unit`` as it was read; empty for task data.
    """

    kind: str
    rows: Rows | None
    questions: tuple[Question, ...] = ()
    problems: tuple[Problem, ...] = ()
    matched: Mapping[str, str] = field(default_factory=dict)


def zone_of(text: str) -> tzinfo:
    """The time zone a person wrote.

    Raises
    ------
    InputError
        When it is neither an offset from UTC nor the name of a zone.
    """
    plain = text.strip()
    if plain.upper() in ("UTC", "Z"):
        return UTC
    sign, rest = plain[:1], plain[1:].replace(":", "")
    if sign in ("+", "-") and rest.isdecimal() and len(rest) in (2, 4):
        hours, minutes = int(rest[:2]), int(rest[2:] or 0)
        if hours <= _MOST_OFFSET_H and minutes < 60:
            offset = timedelta(hours=hours, minutes=minutes)
            return timezone(offset if sign == "+" else -offset)
    else:
        try:
            return ZoneInfo(plain)
        except (ZoneInfoNotFoundError, ValueError, OSError):
            pass
    raise InputError("zone", text, "is no time zone", "write an offset like -06:00, or a name like America/Regina")
