"""Which moment does a row of a forecast mean? Dates and hours as services and people write them, in minutes.

No clock and no calendar of the computer is asked: days are counted by the rule of the Gregorian calendar.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Final

from chaffinch.errors import InputError

DAY_MIN: Final = 1440
FARTHEST_ZONE_MIN: Final = 840
"""No place's clock is farther from UTC [min]."""
_STAMP = re.compile(
    r"(\d{4})-(\d{1,2})-(\d{1,2})(?:[T ]+(\d{1,2})(?::(\d{2}))?(?::\d{2}(?:\.\d+)?)?)?\s*(Z|UTC|[+-]\d{2}:?\d{2})?",
    re.I,
)
_CLOCK = re.compile(r"(\d{1,2})(?:[:.h](\d{2})?)?(?::\d{2})?\s*(am|pm)?", re.I)
MEND: Final = "write it like 2026-09-02 14:00, or 2026-09-02T14:00-06:00"


@dataclass(frozen=True, slots=True)
class Moment:
    """A moment in minutes: ``minute`` since the first of January 1970, of its own clock where ``zone_min`` is None,
    else of UTC; ``zone_min`` is how far its clock is ahead of UTC."""

    minute: int
    zone_min: int | None


def read_stamp(text: str, field: str) -> Moment:
    """A date and hour, with or without a zone.

    Raises
    ------
    InputError
        For another style, or a day or hour that does not exist.
    """
    match = _STAMP.fullmatch(text.strip())
    if match is None:
        raise InputError(field, text, "is no date and hour we can read", MEND)
    year, month, day = (int(match[k]) for k in (1, 2, 3))
    if not 1 <= month <= 12 or not 1 <= day <= _days_in(year, month) or not 1970 <= year <= 2999:
        raise InputError(field, text, "is no day that exists", MEND)
    minute = _clock_min(match[4] or "0", match[5], "", text, field)
    zone = None if match[6] is None else _zone_min(match[6], text, field)
    return Moment(DAY_MIN * day_number(year, month, day) + minute - (zone or 0), zone)


def read_clock(text: str, field: str) -> int:
    """An hour of the day, like 14, 14:30 or 2 pm → minutes after midnight.

    Raises
    ------
    InputError
        For another style, or an hour that does not exist.
    """
    match = _CLOCK.fullmatch(text.strip())
    if match is None:
        raise InputError(field, text, "is no hour of the day", "write it like 14 or 14:30")
    return _clock_min(match[1], match[2], (match[3] or "").lower(), text, field)


def read_day(text: str, field: str) -> int:
    """A date → days since the first of January 1970.

    Raises
    ------
    InputError
        For anything else.
    """
    return read_stamp(text, field).minute // DAY_MIN


def written(minute: int) -> str:
    """Minutes since 1970 → ``2026-09-02T14:00``, of the same clock."""
    year, month, day = _date(minute // DAY_MIN)
    return f"{year:04d}-{month:02d}-{day:02d}T{minute % DAY_MIN // 60:02d}:{minute % 60:02d}"


def day_number(year: int, month: int, day: int) -> int:
    """Days from the first of January 1970 to a date."""
    before = 365 * (year - 1970) + (year - 1) // 4 - (year - 1) // 100 + (year - 1) // 400 - 477
    return before + sum(_days_in(year, m) for m in range(1, month)) + day - 1


def _date(days: int) -> tuple[int, int, int]:
    year = 1970 + days // 366
    while day_number(year + 1, 1, 1) <= days:
        year += 1
    left, month = days - day_number(year, 1, 1), 1
    while left >= _days_in(year, month):
        left -= _days_in(year, month)
        month += 1
    return year, month, left + 1


def _days_in(year: int, month: int) -> int:
    leap = year % 4 == 0 and (year % 100 != 0 or year % 400 == 0)
    return (31, 28 + leap, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)[month - 1]


def _clock_min(hour: str, minute: str | None, half: str, text: str, field: str) -> int:
    hours, minutes = int(hour), int(minute or 0)
    if half:
        if not 1 <= hours <= 12:
            raise InputError(field, text, "is no hour of the day", "write it like 2 pm or 14:00")
        hours = hours % 12 + (12 if half == "pm" else 0)
    if hours > 24 or minutes > 59 or (hours == 24 and minutes):
        raise InputError(field, text, "is no hour of the day", "write hours from 0 to 23")
    return 60 * hours + minutes


def _zone_min(zone: str, text: str, field: str) -> int:
    if zone.upper() in ("Z", "UTC"):
        return 0
    digits = zone[1:].replace(":", "")
    minutes = 60 * int(digits[:2]) + int(digits[2:])
    if int(digits[2:]) > 59 or minutes > FARTHEST_ZONE_MIN:
        raise InputError(field, text, "is in a zone that no place on earth has", "give -12:00 to +14:00")
    return -minutes if zone[0] == "-" else minutes
