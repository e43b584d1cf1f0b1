"""How humid has it been, by the book? Readings of weather and checks in order, and the toughness of straw they make.

A farm is taken to lie under one air: readings of all its fields count, those of one minute as their mean.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections import defaultdict
from dataclasses import dataclass
from datetime import datetime
from typing import Final

import numpy as np

from chaffinch.book.checks.held import checks_where, counting
from chaffinch.book.checks.looking import readings
from chaffinch.book.checks.points import CheckPoint
from chaffinch.book.desk import Desk
from chaffinch.book.things import things
from chaffinch.engine.air.lag import STRAW_LAG_H, toughness
from chaffinch.engine.day.losses import TOUGHNESS
from chaffinch.errors import InputError
from chaffinch.reference import crop as find_crop

LOOKED_BACK_H: Final = 24.0
"""How far back a humidity still bears on straw [h]: twelve of its lags; own figure."""
NEAR_H: Final = 2.0
"""How old the newest humidity may be for a toughness to be told [h]; own figure: one lag."""


@dataclass(frozen=True, slots=True)
class Readings:
    """What a book has read, by time [h since 1970, UTC], rising.

    Attributes
    ----------
    humidity_h, humidity_pct : tuple of float
    air : tuple of (float, float, float)
        Time [h], temperature [°C] and humidity [%] where both were read.
    grain : tuple of (float, str, float)
        Time [h], key of the crop, moisture of the grain [%].
    """

    humidity_h: tuple[float, ...]
    humidity_pct: tuple[float, ...]
    air: tuple[tuple[float, float, float], ...]
    grain: tuple[tuple[float, str, float], ...]

    def before(self, at_h: float) -> tuple[list[float], list[float]]:
        """Times and humidities of the 24 hours up to a moment."""
        first, last = bisect_left(self.humidity_h, at_h - LOOKED_BACK_H), bisect_right(self.humidity_h, at_h)
        return list(self.humidity_h[first:last]), list(self.humidity_pct[first:last])

    def toughness_at(self, at_h: float, *, lag_h: float = STRAW_LAG_H) -> float | None:
        """Toughness of straw at a moment [share]; None where no humidity was read in the two hours before it."""
        times, humidity = self.before(at_h)
        if not times or at_h - times[-1] > NEAR_H:
            return None
        if times[-1] < at_h:
            times.append(at_h)
            humidity.append(humidity[-1])
        return float(toughness(np.array(times), np.array(humidity), lag_h=lag_h)[-1])

    def air_before(self, at_h: float) -> list[tuple[float, float, float]]:
        """Time, temperature and humidity of the 24 hours before a moment."""
        return [one for one in self.air if at_h - LOOKED_BACK_H <= one[0] < at_h]

    def grain_of(self, crop: str, since_h: float, until_h: float) -> list[tuple[float, float]]:
        """Moistures read of a crop between two moments, with their times."""
        return [(at, pct) for at, key, pct in self.grain if key == crop and since_h <= at <= until_h]

    def conditions(self, point: CheckPoint, *, lag_h: float = STRAW_LAG_H) -> dict[str, float]:
        """The toughness at a check, as a condition; nothing where none is known."""
        found = self.toughness_at(hours_of(str(point.logged.body["taken_at"])), lag_h=lag_h)
        return {} if found is None else {TOUGHNESS: found}


def readings_of(desk: Desk) -> Readings:
    """Everything the book has read of humidity and of grain moisture."""
    crops = {one.id: _key(one.parts.get("crop")) for one in things(desk, "field")}
    humid: dict[float, list[float]] = defaultdict(list)
    warm: dict[float, list[float]] = defaultdict(list)
    grain: list[tuple[float, str, float]] = []
    told = [
        (kept.body["taken_at"], kept.body.get("conditions"), crops.get(str(kept.body.get("field")), ""))
        for kept in readings(desk, "weather")
    ]
    told += [
        (one.body["taken_at"], one.body.get("conditions"), _key(one.check.crop))
        for one in counting(desk, checks_where(desk))
    ]
    for taken_at, conditions, crop in told:
        at = hours_of(str(taken_at))
        known = conditions or {}
        if "humidity_pct" in known:
            humid[at].append(float(known["humidity_pct"]))
            if "air_temperature_c" in known:
                warm[at].append(float(known["air_temperature_c"]))
        if crop and "grain_moisture_pct" in known:
            grain.append((at, crop, float(known["grain_moisture_pct"])))
    times = sorted(humid)
    mean = {at: float(np.mean(humid[at])) for at in times}
    air = [(at, float(np.mean(warm[at])), mean[at]) for at in times if at in warm]
    return Readings(tuple(times), tuple(mean[at] for at in times), tuple(air), tuple(sorted(grain)))


def hours_of(utc: str) -> float:
    """A time of the book in hours since 1970."""
    return datetime.fromisoformat(utc).timestamp() / 3600.0


def _key(crop: object) -> str:
    try:
        return find_crop(str(crop)).key
    except InputError:
        return ""
