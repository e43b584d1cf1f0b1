"""A day as plain data: for --json, the API and the phone."""

from __future__ import annotations

from typing import Any

from chaffinch.book.checks.plain_data import as_range
from chaffinch.book.day.hours import DayAnswer
from chaffinch.book.day.said import (
    check_again,
    grain_said,
    headline,
    hour_grade,
    hour_said,
    remarks,
    sends_out,
    what_it_does,
)
from chaffinch.book.shown_unit import PaceUnit
from chaffinch.book.wording import CAUTION


def as_json(found: DayAnswer, unit: PaceUnit) -> dict[str, Any]:
    """Everything the page shows, in inside units: km/h, kg/ha, money/ha, ha/h; sentences in the person's units."""
    job = found.job
    return {
        "combine": {"id": found.curves.combine.id, "name": found.curves.combine.name},
        "crop": found.curves.crop,
        "started_at": found.started_at,
        "hours_to_work": headline(found),
        "caution": CAUTION if sends_out(found) else "",
        "said": [
            *(what_it_does(found, unit), check_again(found), grain_said(found), *remarks(found)),
            # A phone shows these, and nothing else of what was taken as given.
            *([] if found.stored is None else [hour_said(found, unit)]),
        ],
        "a_guide": found.plan.is_a_guide or not found.curves.own,
        "checks": {"own": len(found.curves.own), "all": len(found.curves.points), "with_humidity": found.told_checks},
        "check_again": None if found.plan.check_again is None else found.hours[found.plan.check_again].at,
        "done_ha": found.plan.done_ha,
        "hours": [
            {
                "at": air.at,
                "temperature_c": air.temperature_c,
                "humidity_pct": air.humidity_pct,
                "wind_kmh": air.wind_kmh,
                "cloud_pct": air.cloud_pct,
                "toughness": hour.toughness,
                "grain_pct": as_range(hour.grain_pct),
                "grade": hour_grade(found, hour),
                "best_kmh": hour.best_kmh,
                "band_kmh": list(hour.band_kmh),
                "at_edge": hour.at_edge,
                "machine_kg_ha": as_range(hour.machine_kg_ha),
                "header_kg_ha": as_range(hour.header_kg_ha),
                "loss_kg_ha": as_range(hour.loss_kg_ha),
                "ha_h": hour.ha_h,
                "cost_per_ha": as_range(hour.cost_per_ha),
                "loss_per_ha": hour.loss_per_ha,
                "time_per_ha": hour.time_per_ha,
                "wait_per_ha": hour.wait_per_ha,
                "why_not": hour.why_not,
                "worked": hour.worked,
            }
            for air, hour in zip(found.hours, found.plan.hours, strict=True)
        ],
        "used": {
            "hour_cost_per_h": job.hour_cost_per_h,
            "hour_cost_stored_with": None if found.stored is None else found.stored.of,
            "price_per_t": job.price_per_t,
            "currency": found.currency,
            "width_m": job.width_m,
            "lost_time_h_ha": job.lost_time_h_ha,
            "area_ha": job.area_left_ha,
            "wait_per_ha_day": job.wait_per_ha_day,
            "most_moisture_pct": job.most_moisture_pct,
            "isotherm": None if found.isotherm is None else found.isotherm.key,
            "isotherm_plus_minus": None if found.isotherm is None else found.isotherm.plus_minus.value,
            "grain_readings": found.grain_readings,
            "grain_left_out_pct": list(found.grain_left_out_pct),
        },
        "assumed": list(found.assumed),
    }
