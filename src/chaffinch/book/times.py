"""Times as people write and read them: this computer's own hours on every page, UTC in the book."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta
from typing import Final

from chaffinch.book.wallclock import first_of, utc_of
from chaffinch.errors import InputError

_AT: Final = re.compile(r"(\d{4}-\d{2}-\d{2})[ T](\d{2}:\d{2})(:\d{2})?(?:\.\d+)?\s*(Z|[+-]\d{2}:\d{2})?")
_AGO: Final = re.compile(r"(\d{1,5})\s*(h|d|w)")
_DATE: Final = re.compile(r"\d{4}-\d{2}-\d{2}")
_STAMP: Final = "%Y-%m-%dT%H:%M:%SZ"

MEND: Final = "write it like 2026-08-14 16:40 (this computer's time) or 2026-08-14T14:40Z"


def read_time(text: str, field: str) -> str:
    """A time as people write it → UTC, ISO 8601.

    Without a zone it is this computer's local time.

    Raises
    ------
    InputError
        For any other style, a day or hour that does not exist, or an hour that this computer's clock skips or shows
        twice that day.
    """
    match = _AT.fullmatch(text.strip())
    if match is None:
        raise InputError(field, text, "is not a time we can read", MEND)
    day, minute, second, zone = match.groups()
    try:
        moment = datetime.fromisoformat(f"{day}T{minute}{second or ':00'}{'+00:00' if zone == 'Z' else zone or ''}")
        return _written(moment.astimezone(UTC) if zone else utc_of(moment, None, field=field, shown=text))
    except InputError:
        raise
    except (ValueError, OverflowError):
        raise InputError(field, text, "is no day and hour that exists", MEND) from None


def read_since(text: str, now: str, field: str = "--since") -> str:
    """``7d``, ``24h``, ``2w`` or a date → UTC, ISO 8601.

    Raises
    ------
    InputError
        For any other style.
    """
    plain = text.strip().casefold()
    mend = "write it like 7d, 24h, 2w or 2026-08-14"
    if match := _AGO.fullmatch(plain):
        number, unit = int(match[1]), match[2]
        back = timedelta(hours=number * {"h": 1, "d": 24, "w": 168}[unit])
        try:
            return _written(datetime.strptime(now, _STAMP).replace(tzinfo=UTC) - back)
        except OverflowError:
            raise InputError(field, text, "reaches back before the calendar", mend) from None
    if _DATE.fullmatch(plain):
        try:
            return _written(first_of(datetime.fromisoformat(plain)))
        except (ValueError, OverflowError):
            raise InputError(field, text, "is no day that exists", mend) from None
    if _AT.fullmatch(text.strip()):
        return read_time(text, field)
    raise InputError(field, text, "is not a time we can read", mend)


def not_ahead(utc: str, field: str, now: datetime) -> str:
    """The time itself, unless it lies more than a day ahead of the clock.

    Raises
    ------
    InputError
        For a time more than a day ahead: the time or the clock is wrong.
    """
    if datetime.fromisoformat(utc) > now + timedelta(days=1):
        problem = f"is more than a day ahead of this computer's clock, which says {local(_written(now))}"
        raise InputError(field, local(utc), problem, "mend the time, or the clock")
    return utc


def local(utc: str) -> str:
    """A time of the book as this computer's local time, to the minute."""
    return datetime.strptime(utc, _STAMP).replace(tzinfo=UTC).astimezone().strftime("%Y-%m-%d %H:%M")


def local_moment(time_s: float) -> str:
    """A moment [s since 1970] as this computer's local time, to the minute."""
    return datetime.fromtimestamp(time_s, UTC).astimezone().strftime("%Y-%m-%d %H:%M")


def _written(moment: datetime) -> str:
    # Not strftime: it writes the year 926 in three digits, and then times no longer sort as texts.
    return moment.isoformat(timespec="seconds").replace("+00:00", "Z")
