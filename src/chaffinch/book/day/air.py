"""How tough will the straw be and how moist the grain, hour by hour? A forecast with what the book read before it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from typing import Final, Literal

import numpy as np

from chaffinch.book.day.humidity import LOOKED_BACK_H, Readings, hours_of
from chaffinch.book.desk import Desk
from chaffinch.book.shown_unit import farm_of
from chaffinch.book.wallclock import utc_of
from chaffinch.engine.air import grain as grain_air
from chaffinch.engine.air.grain import Limits
from chaffinch.engine.air.lag import GrainCourse, grain_course, out_of_line, toughness
from chaffinch.engine.domain import FloatArray, between
from chaffinch.errors import InputError
from chaffinch.records.forecast import Forecast, ForecastHour
from chaffinch.records.forecast_times import written
from chaffinch.reference import crop as find_crop
from chaffinch.reference.grain_air import IsothermFigures

MOST_HOURS: Final = 72
"""Hours planned [h]: three days; farther out a forecast is none for a combine. Own figure."""

NEAR_AIR_H: Final = 3.0
"""How long before the first air known a reading of grain may stand [h]; own figure: half a lag of the grain."""


Clock = Literal["told", "utc", "computer"]


@dataclass(frozen=True, slots=True)
class Planned:
    """The hours of a forecast that are planned, and those before them.

    Attributes
    ----------
    hours : tuple of ForecastHour
        Those planned.
    before : tuple of ForecastHour
        Hours of the forecast that are over: history.
    begin_h : float
        The first hour planned, in hours since 1970 UTC.
    is_over : bool
        All hours of the forecast lie in the past.
    clock : {"told", "utc", "computer"}
        Whose clock the hours are told by: the forecast's own; UTC, which is the forecast's and this computer's; or this
        computer's, for a forecast in UTC, by which nobody works.
    """

    hours: tuple[ForecastHour, ...]
    before: tuple[ForecastHour, ...]
    begin_h: float
    is_over: bool
    clock: Clock = "told"

    @property
    def start_h(self) -> float:
        """The first hour of the forecast, in hours since 1970 UTC."""
        return self.begin_h - len(self.before)

    @property
    def every(self) -> tuple[ForecastHour, ...]:
        """History and plan together."""
        return self.before + self.hours

    @property
    def started_at(self) -> str:
        """The first hour planned in UTC, as the book writes times."""
        moment = datetime(1970, 1, 1, tzinfo=UTC) + timedelta(hours=self.begin_h)
        return moment.strftime("%Y-%m-%dT%H:%M:%SZ")


def planned(desk: Desk, forecast: Forecast) -> Planned:
    """The hours from now on where now lies within the forecast, else all of them; at most 72."""
    first = forecast.hours[0]
    if forecast.zone_min is not None:
        start_h = (first.minute - forecast.zone_min) / 60.0
    else:
        wall = datetime.fromisoformat(first.at)
        start_h = utc_of(wall, None, field="forecast, first hour", shown=first.at).timestamp() / 3600.0
    now_h = hours_of(desk.now())
    end_h = start_h + len(forecast.hours)
    # In its last hour too: what is over is never planned anew as if it came.
    gone = int(np.floor(now_h - start_h)) if start_h <= now_h < end_h else 0
    hours, clock = _by_a_clock(forecast, start_h + gone)
    return Planned(hours[gone : gone + MOST_HOURS], hours[:gone], start_h + gone, now_h >= end_h, clock)


def _by_a_clock(forecast: Forecast, begin_h: float) -> tuple[tuple[ForecastHour, ...], Clock]:
    """The hours as people at work read them: those of a forecast in UTC by this computer's clock."""
    if forecast.zone_min != 0:
        return forecast.hours, "told"
    there = (datetime(1970, 1, 1, tzinfo=UTC) + timedelta(hours=begin_h)).astimezone().utcoffset()
    ahead = 0 if there is None else int(there.total_seconds()) // 60
    if ahead == 0:
        return forecast.hours, "utc"
    moved = (replace(one, minute=one.minute + ahead, at=written(one.minute + ahead)) for one in forecast.hours)
    return tuple(moved), "computer"


def toughness_over(read: Readings, when: Planned, *, lag_h: float) -> FloatArray:
    """Toughness at each hour planned [share]: the book's readings before the forecast belong to its history."""
    times, humidity = read.before(when.start_h)
    # A reading at the first hour itself would stand there twice.
    before = [(t, h) for t, h in zip(times, humidity, strict=True) if t < when.start_h]
    every = [t for t, _ in before] + [when.start_h + k for k in range(len(when.every))]
    air = [h for _, h in before] + [one.humidity_pct for one in when.every]
    return toughness(np.array(every), np.array(air), lag_h=lag_h)[-len(when.hours) :]


def beyond_isotherm(when: Planned) -> list[str]:
    """In what some hour lies beyond an isotherm, "humidity" or "cold": it is then asked at its end."""
    (dry, humid), (cold, hot) = grain_air.HUMIDITY_SPAN_PCT, grain_air.TEMPERATURE_SPAN_C
    by_air = any(not dry <= one.humidity_pct <= humid for one in when.every)
    by_warmth = any(not cold <= one.temperature_c <= hot for one in when.every)
    return [name for name, is_so in (("humidity", by_air), ("cold", by_warmth)) if is_so]


def grain_over(
    read: Readings, crop: str, isotherm: IsothermFigures, when: Planned, grain_pct: float | None, *, lag_h: float
) -> tuple[GrainCourse, int, tuple[float, ...]]:
    """Moisture of the grain at each hour planned, how many readings of the last 24 hours it rests on, and those it does
    not: kept ones that fit neither the air nor the others [%].

    Parameters
    ----------
    read : Readings
    crop : str
        Its key.
    isotherm : IsothermFigures
    when : Planned
    grain_pct : float or None
        Read just now [%]: it counts at the first hour planned.
    lag_h : float
        [h]

    Raises
    ------
    InputError
        For a reading told just now that fits neither the air nor what else was read.
    """
    air = read.air_before(when.start_h)
    air += [(when.start_h + k, one.temperature_c, one.humidity_pct) for k, one in enumerate(when.every)]
    times, celsius, humidity = (np.array(column) for column in zip(*air, strict=True))
    aim = grain_air.equilibrium_pct(
        isotherm, np.clip(celsius, *grain_air.TEMPERATURE_SPAN_C), np.clip(humidity, *grain_air.HUMIDITY_SPAN_PCT)
    )
    # Of air long before the first hour known nothing can be said, so neither what a reading there means.
    known = read.grain_of(crop, max(when.begin_h - LOOKED_BACK_H, float(times[0]) - NEAR_AIR_H), when.begin_h)
    if grain_pct is not None:
        known.append((when.begin_h, between("moisture", grain_pct, 0.1, 60.0, "write it like 11.2 %")))
    off = out_of_line(times, aim, isotherm.plus_minus.value, known, lag_h=lag_h)
    fitting = [one for k, one in enumerate(known) if k not in off]
    course = grain_course(times, aim, isotherm.plus_minus.value, fitting, lag_h=lag_h)
    if grain_pct is not None and len(known) - 1 in off:
        there = course.mean_pct[-len(when.hours)]
        problem = f"lies far from what the air and all else that was read give, {there:.1f} %"
        mend = (
            "read it again, the meter set to the crop; unripe or rained-on grain does not follow the air: leave it out"
        )
        raise InputError("moisture", f"{grain_pct:g} %", problem, mend)
    some = slice(-len(when.hours), None)
    left_out = tuple(known[k][1] for k in sorted(off))
    return GrainCourse(course.mean_pct[some], course.sd_pct[some]), len(fitting), left_out


def may_work(hours: Sequence[ForecastHour], working_hours: tuple[int, int]) -> list[bool]:
    """Whether people work at each hour; a last hour before the first one is after midnight."""
    first, last = working_hours
    if first == last or not (0 <= first <= 23 and 0 <= last <= 24):
        shown = f"{first} to {last}"
        raise InputError("working hours", shown, "are no span of the clock", "write them like 8 to 23, or 10 to 2")
    clocks = [one.minute // 60 % 24 for one in hours]
    return [first <= c < last if first < last else c >= first or c < last for c in clocks]


def limits_of(desk: Desk, crop: str) -> Limits | None:
    """Delivery limits in the farm's country; None where none is listed, or countries differ and none is told."""
    farm = farm_of(desk)
    country = None if farm is None else farm.parts.get("country")
    known = find_crop(crop)
    try:
        dry = known.market_moisture(None if country is None else str(country))
    except InputError:
        return None
    code = next((c for c, figure in known.market_moisture_pct.items() if figure is dry), "")
    tough, damp = known.tough_from_pct.get(code), known.damp_above_pct.get(code)
    return Limits(dry.value, None if tough is None else tough.value, None if damp is None else damp.value)
