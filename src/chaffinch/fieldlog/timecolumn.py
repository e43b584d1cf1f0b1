"""When was each row of a table made? Seconds since some start, ISO text, or date and time as people write them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from chaffinch.errors import InputError
from chaffinch.fieldlog.answers import Answers
from chaffinch.fieldlog.meanings import Matched
from chaffinch.fieldlog.rows import Clock, FloatArray, Problem, Question

if TYPE_CHECKING:
    import polars as pl

GPS_EPOCH_S: Final = 315_964_800
"""1980-01-06, where GPS time starts, in seconds since 1970-01-01 [s] (memory)."""
GPS_LEAP_S: Final = 18
"""GPS time is ahead of UTC by this since 2017 [s] (memory)."""
ELAPSED_MOST_S: Final = 1e7
"""Seconds since the start of a log stay below this: four months [s]. Own figure."""
EPOCHS_LEAST_S: Final = 9e8
_DATES: Final = {
    "iso": ("%Y-%m-%d", "%Y/%m/%d", "%Y%m%d"),
    "dmy": ("%d.%m.%Y", "%d/%m/%Y", "%d-%m-%Y"),
    "mdy": ("%m/%d/%Y", "%m-%d-%Y", "%m.%d.%Y"),
}
_CLOCKS: Final = (" %H:%M:%S%.f", "T%H:%M:%S%.f", " %I:%M:%S %p", " %H:%M", "T%H:%M")
STYLES: Final = tuple(_DATES)
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
    if series.dtype.is_numeric():
        return _counted(series.cast(pl.Float64).to_numpy(allow_copy=True).astype(np.float64), column)
    text = series.cast(pl.String).str.strip_chars()
    if "date" in by:
        text = table[by["date"].header].cast(pl.String).str.strip_chars() + " " + text
    return _written(text, column, answers.dates)


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
    if int((~sample.str.contains(r"[T ]\d{1,2}:\d\d.*(Z|[+-]\d\d:?\d\d)$")).sum()) <= odd:
        plain = text.str.replace(r"Z$", "+00:00").str.replace(" ", "T", literal=True)
        read = plain.str.to_datetime("%Y-%m-%dT%H:%M:%S%.f%:z", strict=False, time_unit="us")
        return _told(read, text, column, "utc")
    fitting: dict[str, pl.Series] = {}
    for style in [dates] if dates else _DATES:
        for form in (d + c for d in _DATES[style] for c in _CLOCKS):
            read = sample.str.to_datetime(form, strict=False, time_unit="us")
            if read.null_count() <= odd:
                fitting[style] = text.str.to_datetime(form, strict=False, time_unit="us")
                break
    styles = [s for s in fitting if fitting[s].null_count() == min(f.null_count() for f in fitting.values())]
    if not styles:
        return Times(problems=(Problem("no time", column.header, text.len(), str(sample[0])[:40]),))
    if len(styles) > 1:
        # 03/04/2026 in every row: as long as no day is above 12, both read alike.
        return Times(questions=(Question("dates", "day or month first", tuple(styles)),))
    return _told(fitting[styles[0]], text, column, "machine")


def _told(read: pl.Series, text: pl.Series, column: Matched, clock: Clock) -> Times:
    unread = int(read.null_count()) - int(text.null_count())
    problems = (Problem("no time", column.header, unread),) if unread else ()
    return Times(_seconds(read.dt.epoch("us")), clock, (), problems)


def _seconds(micro: pl.Series) -> FloatArray:
    import polars as pl

    found: FloatArray = micro.cast(pl.Float64).to_numpy(allow_copy=True).astype(np.float64) / 1e6
    return found
