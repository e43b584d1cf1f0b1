"""Dew in the morning, heat in the afternoon: air, grain and straw hour by hour.

The air swings around the day's mean with its peak at 15:00; the dew point stays for the day; humidity follows from both
(Magnus form). Straw and grain run after the humidity with a lag of their own.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import Final

import numpy as np

from simulated_world.farm import CROPS, stream

DAYS: Final = 62
"""Days simulated from the first of August."""
GRAIN_LAG_H, STRAW_LAG_H = 8.0, 2.0
STRAW_MIDDLE_PCT, STRAW_SPREAD_PCT = 14.0, 4.0
"""z is the straw's moisture from this middle, in units of this spread."""


@dataclass(frozen=True, slots=True)
class Air:
    """Conditions at one time, as they truly are."""

    air_temperature_c: float
    humidity_pct: float
    wind_kmh: float
    straw_moisture_pct: float
    grain_moisture_pct: Mapping[str, float]

    @property
    def z(self) -> float:
        """Straw toughness on the scale the losses answer to [1]."""
        return (self.straw_moisture_pct - STRAW_MIDDLE_PCT) / STRAW_SPREAD_PCT


def air_at(seed: int, season: str, day: int, hour: float) -> Air:
    """Conditions on a day after the first of August, at an hour of local time."""
    hours = _season(seed, season)
    left = int(np.floor(day * 24 + hour))
    part = float(day * 24 + hour - left)
    low, high = hours[left], hours[left + 1]
    mixed = {name: float((1 - part) * low[name] + part * high[name]) for name in low}
    return Air(
        mixed["air"],
        mixed["humidity"],
        mixed["wind"],
        mixed["straw"],
        {crop: mixed[crop] for crop in CROPS},
    )


def read_off(air: Air, crop: str, chance: np.random.Generator) -> dict[str, float]:
    """What the crew's instruments show: rounded, the moistures with an error of their own."""
    grain, straw = chance.standard_normal(2)
    return {
        "air_temperature_c": round(air.air_temperature_c * 2) / 2,
        "humidity_pct": float(round(air.humidity_pct)),
        "wind_kmh": float(round(air.wind_kmh)),
        "grain_moisture_pct": round(air.grain_moisture_pct[crop] + 0.2 * float(grain), 1),
        "straw_moisture_pct": round((air.straw_moisture_pct + 0.5 * float(straw)) * 2) / 2,
    }


def _vapour_hpa(celsius: float) -> float:
    """Saturation pressure over water, Magnus form [hPa] (coefficients from memory)."""
    return float(6.112 * np.exp(17.62 * celsius / (243.12 + celsius)))


@lru_cache(maxsize=8)
def _season(seed: int, season: str) -> list[dict[str, float]]:
    chance = stream(seed, "weather", season)
    found: list[dict[str, float]] = []
    drift, straw = 0.0, STRAW_MIDDLE_PCT
    grain = {name: crop.market_moisture_pct - 1.5 for name, crop in CROPS.items()}
    for day in range(DAYS + 1):
        drift = 0.7 * drift + 2.0 * float(chance.standard_normal())
        mean = 19.0 - 0.09 * day + drift
        swing, above = chance.uniform(5.5, 8.5), chance.uniform(0.0, 2.5)
        dew_point, calm = mean - swing + above, chance.gamma(4.0, 3.0)
        for hour in range(24):
            wave = float(np.cos(2 * np.pi * (hour - 15) / 24))
            air = float(mean + swing * wave)
            humidity = min(100.0, 100.0 * _vapour_hpa(float(dew_point)) / _vapour_hpa(air))
            straw += (9.0 + 0.22 * (humidity - 40.0) - straw) / STRAW_LAG_H
            for name, crop in CROPS.items():
                aim = crop.market_moisture_pct - 3.0 + 0.07 * (humidity - 40.0)
                grain[name] += (aim - grain[name]) / GRAIN_LAG_H
            wind = float(calm * (1.0 + 0.4 * wave))
            found.append({"air": air, "humidity": humidity, "wind": wind, "straw": float(straw), **grain})
    return found
