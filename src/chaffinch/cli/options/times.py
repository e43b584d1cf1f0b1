"""Is a time that somebody typed ahead of this computer's clock?"""

from __future__ import annotations

from datetime import UTC, datetime

from chaffinch.book import times


def clock() -> datetime:
    """What this computer's clock says."""
    return datetime.now(UTC)


def not_ahead(utc: str, field: str) -> str:
    """The time itself, unless it lies more than a day ahead of this computer's clock.

    Raises
    ------
    InputError
        For a time more than a day ahead: the time or the clock is wrong.
    """
    return times.not_ahead(utc, field, clock())
