"""What will the air be like, hour by hour? A forecast as text, read into rows, or refused with the line at fault.

Pure: text in, rows out; who opens the file stands above. The shapes read are those of :mod:`.forecast_table`. Page:
``docs/day.md``.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from chaffinch.engine.air.moist import humidity_of_dew_point_pct
from chaffinch.errors import InputError
from chaffinch.records import forecast_times
from chaffinch.records.forecast_table import Rows, rows_in
from chaffinch.records.forecast_times import DAY_MIN, Moment

HOUR_MIN: Final = 60
LONGEST_STEP_MIN: Final = 180
"""Longest step between rows that is bridged [min]: many services go over to three hours after two days."""
HOTTEST_AIR_C, COLDEST_AIR_C = 50.0, -50.0
"""Air beyond these is asked about [°C]; own figures (the hottest ever measured was 56.7 °C, memory)."""
WARMEST_NIGHT_C, NIGHT_MIN = 35.0, 18 * HOUR_MIN
"""A forecast of this length that never falls to this is asked about [°C, min]; own figures: cool days read in °F."""
DRIEST_AIR_PCT: Final = 1.0
"""Humidity up to which a value is taken for a share among per cents [%]; own figure."""
FREEZING_F: Final = 32.0
_SCALES: Final = {"C": (0.0, 1.0), "F": (FREEZING_F, 1.8), "K": (273.15, 1.0)}
"""Where 0 °C lies on each scale, and its degrees in one of ours (exact)."""
TO_KMH: Final = {"km/h": 1.0, "m/s": 3.6, "mph": 1.609344, "kn": 1.852}
FASTEST_WIND_KMH: Final = 200.0
"""As in a record of conditions [km/h]."""


@dataclass(frozen=True, slots=True)
class ForecastHour:
    """The air at one full hour.

    Attributes
    ----------
    at : str
        Like ``2026-09-02T14:00``, of the forecast's own clock.
    minute : int
        Since the first of January 1970, of the same clock.
    temperature_c, humidity_pct : float
        [°C], [%]
    wind_kmh, cloud_pct : float or None
        [km/h], [%]; None where not told.
    """

    at: str
    minute: int
    temperature_c: float
    humidity_pct: float
    wind_kmh: float | None = None
    cloud_pct: float | None = None


@dataclass(frozen=True, slots=True)
class Forecast:
    """Hours in order, one after the other without a gap.

    Attributes
    ----------
    hours : tuple of ForecastHour
    zone_min : int or None
        How far its clock is ahead of UTC [min]; None where the text does not say.
    notes : tuple of str
        What was done to the rows, for people.
    """

    hours: tuple[ForecastHour, ...]
    zone_min: int | None
    notes: tuple[str, ...]


def read_forecast(text: str, *, day: str | None = None) -> Forecast:
    """Read a forecast.

    Parameters
    ----------
    text : str
        A table with a header, a saved JSON with hourly arrays, or typed lines.
    day : str or None
        Date of the first typed line, like ``2026-09-02``; typed lines need it.

    Raises
    ------
    InputError
        For a line, column or value that cannot be meant; it names field, value and mend.
    """
    rows = rows_in(text)
    moments = _typed_moments(rows, day) if rows.typed else _moments(rows)
    if "temperature" not in rows.columns:
        mend = "add a column like temperature (C)"
        raise InputError("forecast, header", None, "has no column of the temperature", mend)
    if "humidity" not in rows.columns and "dew" not in rows.columns:
        mend = "add a column like humidity (%) or dew point (C)"
        raise InputError("forecast, header", None, "has no column of the humidity", mend)
    notes: list[str] = []
    columns = {"temperature": _celsius(rows, "temperature")}
    if rows.units["temperature"] != "C":
        warm = [one for one in columns["temperature"] if one is not None]
        span = " to ".join(f"{one:.0f}".replace("-", "−") for one in (min(warm), max(warm)))
        notes.append(f"Temperatures are told in {'K' if rows.units['temperature'] == 'K' else '°F'}: {span} °C.")
    _has_a_night(rows, moments)
    if "humidity" in rows.columns:
        columns["humidity"] = _percent(rows, "humidity")
    else:
        columns["humidity"] = _humidity_of_dew(rows, columns["temperature"])
        notes.append("Humidity is worked out from the dew point.")
    for name in ("wind", "cloud"):
        if name in rows.columns:
            columns[name] = _wind(rows) if name == "wind" else _percent(rows, name)
    return _hourly(rows, moments, columns, notes)


# --- times ---------------------------------------------------------------------------------------------------------


def _moments(rows: Rows) -> list[Moment]:
    moments = []
    for text, place in zip(rows.times, rows.places, strict=True):
        one = forecast_times.read_stamp(text, f"forecast, {place}, time")
        if one.zone_min is None and rows.zone:
            one = forecast_times.read_stamp(f"{text}{rows.zone}", f"forecast, {place}, time")
        elif one.zone_min == 0 and rows.zone:
            # Times in UTC beside the place's distance from it: the moment is told, and so is the clock.
            one = Moment(one.minute, forecast_times.read_stamp(f"1970-01-01{rows.zone}", "forecast").zone_min)
        moments.append(one)
    if not moments:
        raise InputError("forecast", None, "has a header and no rows", "give at least two hours")
    zoned = [one.zone_min is not None for one in moments]
    if any(zoned) and not all(zoned):
        at = zoned.index(not zoned[0])
        problem = "has a zone and others have none" if zoned[at] else "has no zone and others have one"
        raise InputError(f"forecast, {rows.places[at]}, time", rows.times[at], problem, "give the zone to all or none")
    _in_order(rows, [one.minute for one in moments], zoned[0])
    return moments


def _in_order(rows: Rows, minutes: Sequence[int], zoned: bool) -> None:
    for k, (before, after) in enumerate(itertools.pairwise(minutes), start=1):
        field, shown = f"forecast, {rows.places[k]}, time", rows.times[k]
        if after == before:
            mend = "take one of the two rows out"
            if not zoned:
                mend += "; if the clocks go back that night, give times with their zone, like 2026-11-01T01:00-06:00"
            raise InputError(field, shown, "comes twice", mend)
        if after < before:
            back = not zoned and before - after <= HOUR_MIN
            mend = "sort the rows by time"
            if back:
                mend += "; if the clocks go back that night, give times with their zone"
            raise InputError(field, shown, f"stands after {rows.times[k - 1]} but is earlier", mend)
        if after - before > LONGEST_STEP_MIN:
            hours = (after - before) / 60
            problem = f"comes {hours:g} hours after the row before it"
            raise InputError(field, shown, problem, "fill the gap, or give the hours before and after it apart")


def _typed_moments(rows: Rows, day: str | None) -> list[Moment]:
    """Hours of the day; one that falls back is of the next day."""
    if day is None:
        raise InputError("day", None, "is not told, and typed lines have only hours", "say it like 2026-09-02")
    midnight = DAY_MIN * forecast_times.read_day(day, "day")
    moments: list[Moment] = []
    for text, place in zip(rows.times, rows.places, strict=True):
        field = f"forecast, {place}, hour"
        minute = midnight + forecast_times.read_clock(text, field)
        if moments and minute <= moments[-1].minute:
            minute += DAY_MIN
            midnight += DAY_MIN
        if moments and minute - moments[-1].minute > 12 * HOUR_MIN:
            mend = "write the hours in order; after midnight they may begin again at 0"
            raise InputError(field, text, "is more than twelve hours after the line before it", mend)
        moments.append(Moment(minute, None))
    for k, (one, other) in enumerate(itertools.pairwise(moments), start=1):
        if other.minute - one.minute > LONGEST_STEP_MIN:
            problem = f"comes {(other.minute - one.minute) / 60:g} hours after the line before it"
            raise InputError(f"forecast, {rows.places[k]}, hour", rows.times[k], problem, "fill the gap: three at most")
    return moments


# --- values --------------------------------------------------------------------------------------------------------


def _celsius(rows: Rows, name: str) -> list[float | None]:
    unit, values = rows.units[name], rows.columns[name]
    told = [one for one in values if one is not None]
    field = f"forecast, {name} ({rows.headers[name]})"
    if not told:
        raise InputError(field, None, "holds no value", "fill it in")
    if not unit:
        mend = "say it in the header, like temperature (C) or temperature (F)"
        raise InputError(field, None, "does not say whether it is °C or °F", mend)
    if unit == "C" and max(told) > HOTTEST_AIR_C:
        at = values.index(max(told))
        problem = "is called °C and looks like °F"
        mend = "if it is Fahrenheit, call the column temperature (F); if not, mend the value"
        raise InputError(f"forecast, {rows.places[at]}, {name}", max(told), problem, mend)
    if unit == "F" and max(told) < FREEZING_F:
        at = values.index(max(told))
        problem = "is called °F, and then it freezes all the time; it looks like °C"
        mend = "if it is Celsius, call the column temperature (C); if not, leave the frozen hours out"
        raise InputError(f"forecast, {rows.places[at]}, {name}", max(told), problem, mend)
    zero, one_degree = _SCALES[unit]
    found = [None if one is None else (one - zero) / one_degree for one in values]
    for k, one in enumerate(found):
        if one is not None and not COLDEST_AIR_C <= one <= HOTTEST_AIR_C:
            problem = f"is {one:.0f} °C, which no harvest sees"
            raise InputError(f"forecast, {rows.places[k]}, {name}", values[k], problem, "mend the value or the unit")
    return found


def _has_a_night(rows: Rows, moments: Sequence[Moment]) -> None:
    """A cool day in Fahrenheit passes for a hot one in Celsius; its night does not."""
    values = rows.columns["temperature"]
    told = [(one, moment.minute) for one, moment in zip(values, moments, strict=True) if one is not None]
    coldest = min(one for one, _ in told)
    if rows.units["temperature"] == "C" and told[-1][1] - told[0][1] >= NIGHT_MIN and coldest > WARMEST_NIGHT_C:
        problem = f"is called °C and never falls to {WARMEST_NIGHT_C:g}, day or night; it looks like °F"
        mend = "if it is Fahrenheit, call the column temperature (F); if not, give the hours of one day at a time"
        raise InputError(f"forecast, {rows.places[values.index(coldest)]}, temperature", coldest, problem, mend)


def _percent(rows: Rows, name: str) -> list[float | None]:
    unit, values = rows.units[name], rows.columns[name]
    told = [one for one in values if one is not None]
    field = f"forecast, {name} ({rows.headers[name]})"
    if name == "humidity" and not told:
        raise InputError(field, None, "holds no value", "fill it in")
    if name == "humidity" and unit != "share" and max(told) <= 1.0:
        problem = "is never above 1: it looks like a share and not like per cent"
        mend = "if it is a share, call the column humidity (share); if not, mend the values"
        raise InputError(field, max(told), problem, mend)
    if name == "humidity" and unit == "share" and max(told) > 1.5:
        problem = "is called a share and is above 1"
        raise InputError(field, max(told), problem, "call the column humidity (%), or mend the values")
    factor = 100.0 if unit == "share" else 1.0
    found = [None if one is None else factor * one for one in values]
    for k, one in enumerate(found):
        if one is not None and not 0.0 <= one <= 100.0:
            mend = "give 0 to 100 %"
            raise InputError(f"forecast, {rows.places[k]}, {name}", values[k], "is no share of a whole", mend)
        if name == "humidity" and unit != "share" and one is not None and one <= DRIEST_AIR_PCT:
            problem = "is drier than any air: it looks like a share among per cents"
            raise InputError(f"forecast, {rows.places[k]}, {name}", values[k], problem, "write it in per cent, like 55")
    return found


def _humidity_of_dew(rows: Rows, warm: Sequence[float | None]) -> list[float | None]:
    dew = _celsius(rows, "dew")
    found: list[float | None] = []
    for k, (air, point) in enumerate(zip(warm, dew, strict=True)):
        if air is None or point is None:
            found.append(None)
            continue
        # Services round both; a hair above the air is saturated air.
        if point > air + 0.5:
            problem = f"is above the air's {air:.1f} °C"
            raise InputError(
                f"forecast, {rows.places[k]}, dew point", rows.columns["dew"][k], problem, "mend the value"
            )
        found.append(float(humidity_of_dew_point_pct(air, min(air, point))))
    return found


def _wind(rows: Rows) -> list[float | None]:
    unit, values = rows.units["wind"], rows.columns["wind"]
    if not unit:
        mend = "say it in the header, like wind (km/h), wind (m/s) or wind (mph); or leave the column out"
        raise InputError(f"forecast, wind ({rows.headers['wind']})", None, "does not say its unit", mend)
    found = [None if one is None else TO_KMH[unit] * one for one in values]
    for k, one in enumerate(found):
        if one is not None and not 0.0 <= one <= FASTEST_WIND_KMH:
            mend = f"give 0 to {FASTEST_WIND_KMH:g} km/h"
            raise InputError(f"forecast, {rows.places[k]}, wind", values[k], "is no wind anybody works in", mend)
    return found


# --- full hours ----------------------------------------------------------------------------------------------------


def _hourly(
    rows: Rows, moments: Sequence[Moment], columns: dict[str, list[float | None]], notes: list[str]
) -> Forecast:
    """Rows on full hours: finer ones averaged, coarser ones bridged, both said."""
    zone = moments[0].zone_min
    shift = zone or 0
    local = np.array([one.minute + shift for one in moments], dtype=np.float64)
    known = {name: np.array([np.nan if v is None else v for v in col]) for name, col in columns.items()}
    holes = int(np.isnan(known["temperature"]).sum() + np.isnan(known["humidity"]).sum())
    if holes:
        _holes_bridged(rows, local, known)
        cells = "1 empty cell is" if holes == 1 else f"{holes} empty cells are"
        notes.append(f"{cells} bridged straight from the hours beside {'it' if holes == 1 else 'them'}.")
    if any(one.zone_min != zone for one in moments):
        notes.append("The clocks change in this forecast: all hours are told by the clock of its first row.")
    steps = np.diff(local)
    if steps.size and float(np.median(steps)) < HOUR_MIN:
        local, known = _averaged(local, known)
        notes.append(f"Rows every {float(np.median(steps)):g} minutes are averaged to hours.")
    if steps.size and steps.max() > HOUR_MIN:
        wide = int((steps > HOUR_MIN).sum())
        notes.append(
            f"{wide} {'step is' if wide == 1 else 'steps are'} longer than an hour and bridged straight (one hour "
            "missing at night may be the clocks going forward)."
        )
    first, last = int(np.ceil(local[0] / HOUR_MIN)), int(np.floor(local[-1] / HOUR_MIN))
    if last <= first:
        raise InputError("forecast", rows.times[0], "holds less than two full hours", "give at least two hours")
    full = HOUR_MIN * np.arange(first, last + 1)
    at = {name: _read_at(full, local, col) for name, col in known.items()}
    hours = tuple(
        ForecastHour(
            forecast_times.written(int(minute)),
            int(minute),
            float(at["temperature"][k]),
            float(at["humidity"][k]),
            _or_none(at.get("wind"), k),
            _or_none(at.get("cloud"), k),
        )
        for k, minute in enumerate(full.tolist())
    )
    return Forecast(hours, zone, tuple(notes))


def _holes_bridged(rows: Rows, local: np.ndarray, known: dict[str, np.ndarray]) -> None:
    """Refuse a hole in temperature or humidity that is longer than what is bridged, or at an end."""
    for name in ("temperature", "humidity"):
        there = np.nonzero(~np.isnan(known[name]))[0]
        missing = np.nonzero(np.isnan(known[name]))[0]
        if not missing.size:
            continue
        if not there.size or missing[0] < there[0] or missing[-1] > there[-1]:
            at = int(missing[0] if not there.size or missing[0] < there[0] else missing[-1])
            mend = "fill it in, or take the row out"
            raise InputError(f"forecast, {rows.places[at]}, {name}", None, "is empty at an end of the forecast", mend)
        gaps = np.diff(local[there])
        if gaps.max() > LONGEST_STEP_MIN:
            at = int(there[int(gaps.argmax())]) + 1
            problem = f"is empty for {gaps.max() / 60:g} hours"
            raise InputError(f"forecast, {rows.places[at]}, {name}", None, problem, "fill it in")


def _read_at(full: np.ndarray, local: np.ndarray, column: np.ndarray) -> np.ndarray:
    there = ~np.isnan(column)
    if not there.any():
        return np.full(full.size, np.nan)
    return np.asarray(np.interp(full, local[there], column[there]))


def _averaged(local: np.ndarray, known: dict[str, np.ndarray]) -> tuple[np.ndarray, dict[str, np.ndarray]]:
    """Means over the hour that begins at each full hour."""
    hour = np.floor(local / HOUR_MIN).astype(int)
    names, place = np.unique(hour, return_inverse=True)
    found = {}
    for name, column in known.items():
        there = ~np.isnan(column)
        total = np.bincount(place[there], weights=column[there], minlength=names.size)
        count = np.bincount(place[there], minlength=names.size)
        with np.errstate(invalid="ignore"):
            found[name] = np.where(count > 0, total / np.maximum(count, 1), np.nan)
    return HOUR_MIN * names.astype(np.float64), found


def _or_none(column: np.ndarray | None, k: int) -> float | None:
    return None if column is None or np.isnan(column[k]) else float(column[k])
