"""The sentences of the desk's page of the day; a table of :mod:`chaffinch.web.words.desk`."""

from __future__ import annotations

from types import MappingProxyType
from typing import Final

DAY: Final = MappingProxyType(
    {
        "nav.day": "Day",
        "day.title": "Day",
        "day.lead": (
            "Which hours of a forecast are worth combining, how fast, and when to check again. Nothing is fetched: "
            "bring the forecast yourself."
        ),
        "day.rest": "hours to work",
        "day.combine": "Combine",
        "day.crop": "Crop",
        "day.field": "Field",
        "day.forecast": "Forecast",
        "day.forecast.hint": (
            "A table with time, temperature and humidity (units in its head), a weather service's saved JSON, or lines "
            "like 14:00 24 °C 45 %."
        ),
        "day.file": "or a file with it",
        "day.date": "Day of the first typed line",
        "day.hour": "What one more hour costs",
        "day.area": "Area to finish",
        "day.moisture": "Grain moisture now",
        "day.more": "More figures",
        "day.waiting": "What a day of standing costs, of the value",
        "day.most_moisture": "Highest moisture taken in",
        "day.hours": "Hours of the clock you work",
        "day.grain_lag": "Hours in which grain follows the air",
        "day.straw_lag": "Hours in which straw follows the air",
        "day.fastest": "Speed not to pass",
        "day.width": "Width really cut",
        "day.efficiency": "Time spent cutting, of the time in the field",
        "day.efficiency_at": "The speed that was observed at",
        "day.yield": "Yield",
        "day.price": "Price",
        "day.show": "Plan the day",
        "day.curve": "Machine loss over the hours",
        "day.curve.about": (
            "Machine loss at each hour's best pace, between {low} and {high} {unit} in the middle, with its range; the "
            "cheapest working hour is {hour}."
        ),
        "day.cheapest": "cheapest",
        "day.table": "Hour by hour",
        "day.gone": "That forecast is no longer kept here; send it again.",
        "day.no_combine": "No combine is in the book yet.",
        "day.phones": "Phones paired with this book get these hours at their next contact, to look at without signal.",
    }
)
"""What the page of the day says and asks."""
