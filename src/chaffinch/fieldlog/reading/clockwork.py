"""When was a record made, in UTC? And how is a time on paper read?"""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta, timezone, tzinfo
from typing import Final

import numpy as np

from chaffinch.errors import InputError
from chaffinch.fieldlog.answers import zone_of
from chaffinch.fieldlog.rows import FloatArray, Question, Rows

_HOUR_S: Final = 3600.0
_EPOCH: Final = datetime(1970, 1, 1)  # a clock face, not a moment


def in_utc(rows: Rows, zone: str) -> tuple[Rows, Question | None]:
    """The rows with machine clocks turned into UTC, or the question which zone they ran in.

    A clock hour that a zone passes twice is taken as the first time, one it skips as if it had not been skipped: a
    machine's clock that is set by hand cannot be asked.

    Raises
    ------
    InputError
        When ``zone`` is no zone.
    """
    there = {int(i) for i in np.flatnonzero(np.bincount(rows.part))}
    if not any(part.clock == "machine" for i, part in enumerate(rows.parts) if i in there):
        return rows, None
    if not zone.strip():
        return rows, Question("zone", "machine clock")
    ours = zone_of(zone)
    time = rows.column("time_s").copy()
    parts = list(rows.parts)
    for i, where in rows.part_slices():
        if parts[i].clock == "machine":
            time[where] = shifted(time[where], ours)
    parts = [replace(p, clock="utc") if p.clock == "machine" else p for p in parts]
    return replace(rows.with_columns({"time_s": time}), parts=tuple(parts)), None


def passed_twice(rows: Rows, zone: str) -> int:
    """How many records of machine clocks lie in an hour that a zone passes twice; see :func:`in_utc`."""
    if not zone.strip():
        return 0
    ours, count = zone_of(zone), 0
    if isinstance(ours, timezone):
        return 0
    for i, where in rows.part_slices():
        if rows.parts[i].clock == "machine":
            clock = rows.column("time_s")[where]
            hours, times = np.unique(np.floor(clock[~np.isnan(clock)] / _HOUR_S), return_counts=True)
            twice = [_offset_s(h * _HOUR_S, ours) > _offset_s(h * _HOUR_S, ours, fold=1) for h in hours.tolist()]
            count += int(times[twice].sum())
    return count


def shifted(clock_s: FloatArray, zone: tzinfo) -> FloatArray:
    """UTC seconds of a clock that shows ``clock_s`` seconds since 1970 in ``zone``; NaN stays NaN."""
    utc = np.full(clock_s.shape, np.nan)
    known = ~np.isnan(clock_s)
    if not known.any():
        return utc
    if isinstance(zone, timezone):
        return clock_s - _offset_s(0.0, zone)
    # A zone's offset changes at full hours at the earliest: it is asked once for each hour of the log.
    hours, back = np.unique(np.floor(clock_s[known] / _HOUR_S), return_inverse=True)
    offsets = np.array([_offset_s(float(h) * _HOUR_S, zone) for h in hours])
    utc[known] = clock_s[known] - offsets[back]
    return utc


def _offset_s(clock_s: float, zone: tzinfo, *, fold: int = 0) -> float:
    try:
        face = (_EPOCH + timedelta(seconds=clock_s)).replace(tzinfo=zone, fold=fold)
        offset = face.utcoffset()
    except (OverflowError, ValueError):
        raise InputError("time", clock_s, "is no time a clock shows", "check the time column") from None
    return 0.0 if offset is None else offset.total_seconds()


def as_text(time_s: float) -> str:
    """A moment as people write it in UTC: ``2026-08-14 15:04:05``; empty where it is missing."""
    if not np.isfinite(time_s):
        return ""
    return datetime.fromtimestamp(time_s, UTC).strftime("%Y-%m-%d %H:%M:%S")
