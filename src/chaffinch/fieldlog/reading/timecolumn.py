"""When was each row of a table made? Seconds since some start, ISO text, or date and time as people write them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

import numpy as np

from chaffinch.errors import InputError
from chaffinch.fieldlog.answers import Answers
from chaffinch.fieldlog.reading.meanings import Matched
from chaffinch.fieldlog.rows import Clock, FloatArray, Problem, Question

if TYPE_CHECKING:
    import polars as pl

GPS_EPOCH_S: Final = 315_964_800
"""1980-01-06, where GPS time starts, in seconds since 1970-01-01 [s] (memory)."""
GPS_LEAP_S: Final = 18
"""GPS time is ahead of UTC by this since 2017 [s] (memory)."""
DAY_S: Final = 86_400.0
ELAPSED_MOST_S: Final = 1e7
"""Seconds since the start of a log stay below this: four months [s]. Own figure."""
EPOCHS_LEAST_S: Final = 9e8
_DATES: Final = {
    "iso": ("%Y-%m-%d", "%Y/%m/%d", "%Y%m%d", "%d %b %Y", "%d-%b-%Y", "%d-%b-%y", "%b %d, %Y", "%b %d %Y"),
    "dmy": ("%d.%m.%y", "%d/%m/%y", "%d-%m-%y", "%d.%m.%Y", "%d/%m/%Y", "%d-%m-%Y"),
    "mdy": ("%m/%d/%y", "%m-%d-%y", "%m.%d.%y", "%m/%d/%Y", "%m-%d-%Y", "%m.%d.%Y"),
}
_CLOCKS: Final = (" %H:%M:%S%.f", "T%H:%M:%S%.f", " %I:%M:%S %p", " %H:%M", "T%H:%M")
STYLES: Final = tuple(_DATES)
YEARS: Final = (1980, 2100)
"""Years a log can be of: a date read as of the year 26 is read in the wrong style."""
FACE_LEAST: Final = 20
"""Times that must look like ``143005`` before they are taken for a clock's face [1]; own figure."""
_SAMPLE: Final = 2_000
ODD_SHARE: Final = 0.05
"""Share of cells that may be no time where the others show how times are written [0-1]; own figure: they are missing,
and told."""


@dataclass(frozen=True, slots=True)
class Times:
    """Times of the rows, what they count from, and what is open about them."""

    time_s: FloatArray | None = None
    clock: Clock = "none"
    questions: tuple[Question, ...] = ()
    problems: tuple[Problem, ...] = ()


def times(table: pl.DataFrame, by: Mapping[str, Matched], answers: Answers) -> Times:
    """Read the time column, with the date column where there is one.

    Raises
    ------
    InputError
        For a style of dates there is not.
    """
    import polars as pl

    if answers.dates and answers.dates not in _DATES:
        raise InputError("dates", answers.dates, "is no style", f"use {', '.join(_DATES)}")
    if "time_s" not in by:
        return Times(problems=(Problem("date without time", by["date"].header),) if "date" in by else ())
    column = by["time_s"]
    series = table[column.header]
    if series.dtype.is_temporal() and series.dtype not in (pl.Time, pl.Duration, pl.Date):
        zoned = getattr(series.dtype, "time_zone", None) is not None
        micro = series.cast(pl.Datetime("us", "UTC" if zoned else None)).dt.epoch("us")
        return Times(_seconds(micro), "utc" if zoned else "machine")
    day = _as_days(table[by["date"].header]) if "date" in by else None
    if series.dtype.is_numeric():
        values = series.cast(pl.Float64).to_numpy(allow_copy=True).astype(np.float64)
        if column.unit != "clock" and (column.unit or not on_a_face(values)):
            return _counted(values, column)
        return _faces(values, day, column, answers.dates)
    text = series.cast(pl.String).str.strip_chars()
    if day is None and _share(text, r"^\d{1,2}:\d\d(:\d\d(\.\d+)?)?( [AaPp][Mm])?$") >= 1.0 - ODD_SHARE:
        return _of_day(_written("1980-01-01 " + text, column, "iso"), column)
    return _written(text if day is None else day + " " + text, column, answers.dates)


def _as_days(series: pl.Series) -> pl.Series:
    """Days as text; 20260814 may have been read as a number."""
    import polars as pl

    if series.dtype.is_float() and (series.drop_nulls() % 1 == 0).all():
        series = series.cast(pl.Int64, strict=False)
    return series.cast(pl.String).str.strip_chars()


def on_a_face(values: FloatArray) -> bool:
    """Whether numbers are hours, minutes and seconds as a clock shows them, like ``143005``, and no count of seconds.

    A count passes 60 to 99 in every hundred; these never do, and reach the next minutes in small steps all the same.
    """
    known = values[np.isfinite(values)]
    if known.size < FACE_LEAST or not ((known >= 0) & (known < 240_000)).all():
        return False
    steps = np.diff(known)
    return bool(
        (known % 100 < 60).all()
        and (known // 100 % 100 < 60).all()
        and np.unique(known // 100).size > 2
        and (steps > 0).any()
        and np.median(steps[steps > 0]) < 60
    )


def _faces(values: FloatArray, day: pl.Series | None, column: Matched, dates: str) -> Times:
    """Times like ``143005.5``, of the day beside them, or of a day nobody tells."""
    known = np.isfinite(values)
    whole = np.floor(np.where(known, values, 0.0))
    second = np.where(known, whole // 10_000 * 3600 + whole // 100 % 100 * 60 + whole % 100 + values - whole, np.nan)
    if day is None:
        return _of_day(Times(second), column)
    at = _written(day + " 00:00:00", column, dates)
    return replace(at, time_s=None if at.time_s is None else at.time_s + second)


def _of_day(read: Times, column: Matched) -> Times:
    """Times of a day nobody tells: seconds since its midnight."""
    if read.time_s is None:
        return read
    told = Problem("time of day without a date", column.header)
    return Times(np.mod(read.time_s, DAY_S), "elapsed", read.questions, (*read.problems, told))


def _counted(values: FloatArray, column: Matched) -> Times:
    values = np.where(np.isfinite(values), values, np.nan)
    if np.isnan(values).all():
        return Times()
    middle = float(np.nanmedian(values))
    name = column.header.casefold()
    unit = column.unit
    if not unit:
        if "elapsed" in name or middle < ELAPSED_MOST_S:
            unit = "elapsed"
        elif "gps" in name and middle > EPOCHS_LEAST_S:
            unit = "gps"
        elif ("unix" in name or "epoch" in name) and middle > EPOCHS_LEAST_S:
            unit = "unix"
    if unit == "elapsed":
        return Times(values, "elapsed")
    if unit == "gps":
        return Times(values + GPS_EPOCH_S - GPS_LEAP_S, "utc")
    if unit == "unix":
        return Times(values, "utc")
    choices = tuple(f"time_s:{u}" for u in ("elapsed", "unix", "gps"))
    return Times(questions=(Question(column.header, "what the time counts from", choices),))


def _written(text: pl.Series, column: Matched, dates: str) -> Times:
    """Text as seconds: with an offset it is UTC, without one the machine's own clock."""

    text = text.set(text == "", None)
    sample = text.drop_nulls().head(_SAMPLE)
    if not sample.len():
        return Times(problems=(Problem("no time", column.header, text.len()),))
    odd = int(ODD_SHARE * sample.len())
    if _share(sample, r"[T ]\d{1,2}:\d\d.*(Z|[+-]\d\d(:?\d\d)?)$") >= 1.0 - ODD_SHARE:
        plain = text.str.replace(r"Z$", "+00:00").str.replace(r"([+-]\d\d)$", "$1:00")
        plain = plain.str.replace(" ", "T", literal=True)
        read = plain.str.to_datetime("%Y-%m-%dT%H:%M:%S%.f%:z", strict=False, time_unit="us")
        return _told(read, text, column, "utc")
    fitting: dict[str, pl.Series] = {}
    for style in [dates] if dates else _DATES:
        for form in (d + c for d in _DATES[style] for c in _CLOCKS):
            read = sample.str.to_datetime(form, strict=False, time_unit="us")
            if read.null_count() <= odd and YEARS[0] <= _middle_year(read) < YEARS[1]:
                fitting[style] = text.str.to_datetime(form, strict=False, time_unit="us")
                break
    styles = [s for s in fitting if fitting[s].null_count() == min(f.null_count() for f in fitting.values())]
    if not styles:
        return Times(problems=(Problem("no time", column.header, text.len(), str(sample[0])[:40]),))
    if len(styles) > 1:
        # 03/04/2026 in every row: as long as no day is above 12, both read alike.
        return Times(questions=(Question("dates", "day or month first", tuple(styles)),))
    return _told(fitting[styles[0]], text, column, "machine")


def _share(text: pl.Series, form: str) -> float:
    """Share of the first cells that are there and look so."""
    sample = text.drop_nulls().head(_SAMPLE)
    return float(sample.str.contains(form).mean() or 0.0)  # type: ignore[arg-type]


def _middle_year(read: pl.Series) -> float:
    return float(read.dt.year().median() or 0.0)  # type: ignore[arg-type]


def _told(read: pl.Series, text: pl.Series, column: Matched, clock: Clock) -> Times:
    unread = int(read.null_count()) - int(text.null_count())
    problems = (Problem("no time", column.header, unread),) if unread else ()
    return Times(_seconds(read.dt.epoch("us")), clock, (), problems)


def _seconds(micro: pl.Series) -> FloatArray:
    import polars as pl

    found: FloatArray = micro.cast(pl.Float64).to_numpy(allow_copy=True).astype(np.float64) / 1e6
    return found
