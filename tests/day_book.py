"""A book with a history for the tests of the day: checks at dry and tough hours, humidity on the hour, a forecast.

The true machine of this book loses 1.4 times as much (in ln) in soaked straw as in bone-dry straw, and its header 0.9
times less. Time is UTC; the newest check is taken on 13 August at 20:00.
"""

from __future__ import annotations

import math
from pathlib import Path
from typing import Final

import numpy as np

from chaffinch.engine.air.lag import toughness
from season_book import SeasonBook, start

MACHINE_GAMMA, HEADER_GAMMA = 1.4, -0.9
DAYS: Final = (10, 11, 12, 13)


def humidity_at(hour: float) -> float:
    """Relative humidity of every day [%]: dew at night, dry at 15:00."""
    return 62.0 - 30.0 * math.cos(2.0 * math.pi * (hour - 15.0) / 24.0)


def temperature_at(hour: float) -> float:
    """[°C]"""
    return 17.0 + 7.5 * math.cos(2.0 * math.pi * (hour - 15.0) / 24.0)


def day_book(path: Path, *, report_in: str = "kg/ha", checks: bool = True) -> SeasonBook:
    """The book; ``checks`` False: weather alone."""
    book = start(path, report_in=report_in)
    for day in DAYS:
        for hour in range(24):
            book.desk.write(
                "weather",
                {
                    "taken_at": f"2026-08-{day:02d}T{hour:02d}:00:00Z",
                    "field": book.ids["Long Hollow"],
                    "conditions": {
                        "humidity_pct": round(humidity_at(hour)),
                        "air_temperature_c": round(temperature_at(hour), 1),
                        **({"grain_moisture_pct": 9.5} if hour == 20 else {}),
                    },
                },
            )
    if not checks:
        return book
    hours = np.arange(0.0, 24.0)
    index = toughness(hours, np.array([round(humidity_at(h)) for h in hours], dtype=float))
    for number, (day, hour) in enumerate([(d, h) for d in DAYS for h in (0, 4, 10, 15, 20)]):
        speed, tough = (4.5, 6.0, 8.0)[number % 3], float(index[hour]) - 0.5
        book.check(
            "Old Bess", day, hour, speed_kmh=speed,
            machine_kg_ha=30.0 * (speed / 6.0) ** 1.6 * math.exp(MACHINE_GAMMA * tough),
            header_kg_ha=20.0 * math.exp(HEADER_GAMMA * tough),
        )  # fmt: skip
    return book


def forecast(day: int = 14, first: int = 0, hours: int = 30) -> str:
    """A table like a service's, in UTC."""
    rows = ["time,temperature (C),humidity (%)"]
    for k in range(first, first + hours):
        at = f"2026-08-{day + k // 24:02d}T{k % 24:02d}:00Z"
        rows.append(f"{at},{temperature_at(k % 24):.1f},{humidity_at(k % 24):.0f}")
    return "\n".join(rows) + "\n"
