"""Which moment does an hour on the wall clock mean?

Once a year the clocks of many places leave an hour out, and once they show an hour twice. An hour left out is no
moment, and an hour shown twice is two: neither is taken without a word.
"""

from __future__ import annotations

from datetime import UTC, datetime, tzinfo

from chaffinch.errors import InputError


def utc_of(wall: datetime, zone: tzinfo | None, *, field: str, shown: str) -> datetime:
    """The moment in UTC.

    Parameters
    ----------
    wall : datetime
        Date and hour as the clock shows them, without a zone.
    zone : tzinfo or None
        Whose clock; None for this computer's own.
    field, shown : str
        Name of the value in an error, and the value as it was written.

    Raises
    ------
    InputError
        For an hour that the clocks skip, or show twice; then both moments are named in UTC.
    OverflowError, ValueError
        For a moment beyond the calendar.
    """
    first, second = (_read(wall.replace(fold=fold), zone) for fold in (0, 1))
    if first == second:
        return first
    one, other = (f"{moment:%Y-%m-%dT%H:%M:%SZ}".replace(":00Z", "Z") for moment in sorted((first, second)))
    if _shown_at(first, zone) != wall.replace(fold=0):
        problem = "is an hour that the clocks skip that day"
        raise InputError(field, shown, problem, f"mend it, or say it in UTC, like {one} or {other}")
    problem = "comes twice, for the clocks go back that day"
    raise InputError(field, shown, problem, f"say which: {one} (the first) or {other} (the second)")


def first_of(wall: datetime, zone: tzinfo | None = None) -> datetime:
    """Where a span that begins at an hour on the wall clock begins, in UTC.

    Of an hour shown twice the first; where the clocks skip it, the moment they would have shown it at.
    """
    plain = wall.replace(fold=0)
    both = (_read(wall.replace(fold=fold), zone) for fold in (0, 1))
    return min(moment for moment in both if _shown_at(moment, zone) >= plain)


def _read(wall: datetime, zone: tzinfo | None) -> datetime:
    return (wall.astimezone() if zone is None else wall.replace(tzinfo=zone)).astimezone(UTC)


def _shown_at(moment: datetime, zone: tzinfo | None) -> datetime:
    """What the clock shows at a moment."""
    return moment.astimezone(zone).replace(tzinfo=None, fold=0)
