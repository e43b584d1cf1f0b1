"""Which hours of the coming day are worth combining? A forecast, the book's checks and the costs put together."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Final

import numpy as np

from chaffinch.book.checks.answer import KG_PER_T
from chaffinch.book.checks.points import CheckPoint, yield_of_field
from chaffinch.book.currency import one_currency
from chaffinch.book.day.air import beyond_isotherm, grain_over, limits_of, may_work, planned, toughness_over
from chaffinch.book.day.humidity import hours_of, readings_of
from chaffinch.book.desk import Desk
from chaffinch.book.hour_plausible import refuse_above_grain
from chaffinch.book.pace.best import (
    UNTESTED_KMH,
    PaceTerms,
    price_of_job,
    refuse_unmeant,
    round_speeds,
    tested_kmh,
    width_cut,
    yield_of_job,
)
from chaffinch.book.pace.curves import Curves, curves, seen_range
from chaffinch.book.pace.hour_costs import StoredHour, per_hour
from chaffinch.book.things import Thing
from chaffinch.engine.air.grain import Limits
from chaffinch.engine.air.lag import GRAIN_LAG_H, STRAW_LAG_H
from chaffinch.engine.day.hours import Day, Job, LastCheck, plan_day
from chaffinch.engine.day.losses import TOUGHNESS, AskedOf, DayLosses, Told, day_losses
from chaffinch.engine.domain import between, positive
from chaffinch.engine.work import COMBINE_FIELD_EFFICIENCY, COMBINE_SPEED_KMH, KM_M_PER_HA, HourCost, lost_time_h_ha
from chaffinch.errors import InputError
from chaffinch.how_far import Progress
from chaffinch.records.forecast import Forecast, ForecastHour
from chaffinch.reference.grain_air import IsothermFigures, isotherm_of

WORKING_HOURS: Final = (8, 23)
"""Hours of the clock between which people work where nobody tells; own figure."""
LAST_CHECK_H: Final = 48.0
"""How old a check may be to be the last one that the day is held against [h]; own figure."""


@dataclass(frozen=True, slots=True, kw_only=True)
class DayTerms:
    """What a day needs beside the checks and the forecast.

    Attributes
    ----------
    pace : PaceTerms
        Costs, price and what is known of today; its conditions are not used, the forecast tells them.
    area_ha : float or None
        What these hours are to finish [ha].
    wait_share_per_day : float
        Share of the crop's value that a day of standing costs [1], 0 to 1.
    most_moisture_pct : float or None
        Moisture above which grain is not taken in [%].
    grain_pct : float or None
        Moisture read just now [%]: it counts at the first hour planned.
    working_hours : tuple of int
        Hours of the clock between which people work, like (8, 23); the second may be after midnight, like (10, 2).
    grain_lag_h, straw_lag_h : float
        How slowly grain and straw follow the air [h].
    """

    pace: PaceTerms
    area_ha: float | None = None
    wait_share_per_day: float = 0.0
    most_moisture_pct: float | None = None
    grain_pct: float | None = None
    working_hours: tuple[int, int] = WORKING_HOURS
    grain_lag_h: float = GRAIN_LAG_H
    straw_lag_h: float = STRAW_LAG_H


@dataclass(frozen=True, slots=True)
class DayAnswer:
    """The plan of a day and what it rests on.

    Attributes
    ----------
    curves : Curves
        With toughness as their condition, where the checks tell it.
    hours : tuple of ForecastHour
        The air of each hour planned.
    started_at : str
        The first of them in UTC.
    plan : Day
        Hour by hour, as many as ``hours``.
    job : Job
        As used.
    last_check : CheckPoint or None
        The check that the day is held against.
    last_toughness : float or None
        Of the straw at it [share].
    isotherm : IsothermFigures or None
        Of the crop; None where none could be found.
    grain_left_out_pct : tuple of float
        Moistures of the last 24 hours that fit neither the air nor the others [%].
    grain_readings : int
        Moistures of the last 24 hours that count.
    limits : Limits or None
        Of delivery in the farm's country; None where none is listed.
    told_checks : int
        Checks that tell how humid it was.
    parts : HourCost or None
    stored : StoredHour or None
        The book's hour cost, where nobody told one.
    assumed, notes : tuple of str
        Keys of what nobody told (as of a pace, and "working hours", "cheapest hours", "humidity beyond isotherm",
        "cold beyond isotherm", "hours left out", "forecast over", "hours in UTC", "clock of this computer"), and what
        was done to the forecast.
    currency : str
    """

    curves: Curves
    hours: tuple[ForecastHour, ...]
    started_at: str
    plan: Day
    job: Job
    last_check: CheckPoint | None
    last_toughness: float | None
    isotherm: IsothermFigures | None
    grain_readings: int
    limits: Limits | None
    told_checks: int
    parts: HourCost | None
    assumed: tuple[str, ...]
    notes: tuple[str, ...] = field(default=())
    currency: str = ""
    stored: StoredHour | None = None
    grain_left_out_pct: tuple[float, ...] = ()


def day(
    desk: Desk,
    combine: Thing,
    crop: str,
    forecast: Forecast,
    terms: DayTerms,
    *,
    field: Thing | None = None,
    season: str | None = None,
    seed: int = 1,
    progress: Progress | None = None,
) -> DayAnswer:
    """Plan the hours of a forecast for a combine in a crop.

    Parameters
    ----------
    desk : Desk
        The open book.
    combine : Thing
        The combine.
    crop : str
        The crop, by name or key.
    forecast : Forecast
        From :func:`chaffinch.records.forecast.read_forecast`. Hours before now count as history.
    terms : DayTerms
        Costs, price and what is known of today.
    field : Thing or None
        The field to be cut: its yield and price where the terms give none.
    season : str or None
        Id of the season whose checks count; None for all.
    seed : int
        Same seed, same answer.
    progress : callable or None
        Called with (done, of) while checks are read.

    Raises
    ------
    InputError
        For a figure that is missing everywhere or out of its range, or two currencies.
    """
    told = terms.pace
    refuse_unmeant(told)
    read = readings_of(desk)
    found = curves(
        desk, combine, crop, season=season, among=(TOUGHNESS,), seed=seed, progress=progress,
        add=lambda point: read.conditions(point, lag_h=terms.straw_lag_h),
    )  # fmt: skip
    assumed: list[str] = []
    price, of_book = price_of_job(desk, told, field, found, assumed)
    stored = told.hour_cost if isinstance(told.hour_cost, StoredHour) else None
    currency = one_currency(desk, [*told.money, *([] if stored is None else [stored.money]), *of_book])
    width = width_cut(combine, found) if told.width_m is None else positive("width", told.width_m)
    yield_kg_ha = yield_of_job(told, field, found, assumed) if found.load_kind == "throughput" else None
    most = yield_kg_ha or told.yield_kg_ha or yield_of_field(field) or found.yield_kg_ha
    refuse_above_grain(per_hour(told.hour_cost), width_m=width, yield_kg_ha=most, price_per_t=price)
    job = Job(
        width_m=width,
        price_per_t=price,
        hour_cost_per_h=per_hour(told.hour_cost),
        lost_time_h_ha=_lost_time(told, width, assumed),
        area_left_ha=terms.area_ha,
        wait_per_ha_day=_waiting(terms, most, price),
        most_moisture_pct=terms.most_moisture_pct,
        fastest_kmh=told.fastest_kmh,
    )
    when = planned(desk, forecast)
    if len(when.every) < len(forecast.hours):
        assumed.append("hours left out")
    if when.is_over:
        assumed.append("forecast over")
    if when.clock != "told":
        assumed.append({"utc": "hours in UTC", "computer": "clock of this computer"}[when.clock])
    isotherm = isotherm_of(found.crop)
    grain, readings = None, 0
    left_out: tuple[float, ...] = ()
    if isotherm is not None:
        lag = terms.grain_lag_h
        grain, readings, left_out = grain_over(read, found.crop, isotherm, when, terms.grain_pct, lag_h=lag)
        assumed += [f"{what} beyond isotherm" for what in beyond_isotherm(when)]
    elif terms.most_moisture_pct is not None:
        problem = f"cannot be held: no isotherm of {found.crop} could be found, so its moisture is not foretold"
        raise InputError("most moisture", terms.most_moisture_pct, problem, "leave it out, and go by your meter")
    last = _last_check(found, when.begin_h)
    last_tough = None if last is None else last.conditions.get(TOUGHNESS)
    plan = plan_day(
        _losses(found, width, yield_kg_ha, most, told, last, seed),
        toughness_over(read, when, lag_h=terms.straw_lag_h),
        job,
        grain=grain,
        may_work=may_work(when.hours, terms.working_hours),
        last_check=None
        if last is None or last_tough is None or last.speed_kmh is None
        else LastCheck(seen_range(last, "machine"), last_tough, last.speed_kmh),
    )
    if terms.working_hours == WORKING_HOURS:
        assumed.append("working hours")
    if terms.area_ha is None:
        assumed.append("cheapest hours")
    if found.setup:
        assumed.append("setup of last check")
    return DayAnswer(
        curves=found,
        hours=when.hours,
        started_at=when.started_at,
        plan=plan,
        job=job,
        last_check=last,
        last_toughness=last_tough,
        isotherm=isotherm,
        grain_readings=readings,
        grain_left_out_pct=left_out,
        limits=limits_of(desk, found.crop),
        told_checks=sum(TOUGHNESS in p.conditions for p in found.points),
        parts=told.hour_cost if isinstance(told.hour_cost, HourCost) else None,
        assumed=tuple(assumed),
        notes=forecast.notes,
        currency=currency,
        stored=stored,
    )


def _losses(
    found: Curves,
    width: float,
    yield_kg_ha: float | None,
    most: float | None,
    told: PaceTerms,
    last: CheckPoint | None,
    seed: int,
) -> DayLosses:
    per_kmh = 1.0 if yield_kg_ha is None else width / KM_M_PER_HA * yield_kg_ha / KG_PER_T
    tested = tested_kmh(found, per_kmh)
    low, high = UNTESTED_KMH if tested is None else (0.9 * tested[0], 1.1 * tested[1])
    ends = [low, high, *([] if last is None or last.speed_kmh is None else [last.speed_kmh])]
    speeds = round_speeds(min(ends), max(ends), positive("step_kmh", told.step_kmh))
    machine = AskedOf(
        found.machine,
        per_kmh,
        _told(found.points, found.condition),
        combine=found.combine.id,
        setup=found.setup or None,
    )
    header = None
    if found.header is not None:
        header = AskedOf(
            found.header, 1.0, _told(found.header_points, found.header_condition), combine=found.combine.id
        )
    return day_losses(speeds, machine, header, tested_kmh=tested, yield_kg_ha=most, shared=found.shared, seed=seed)


def _told(points: Sequence[CheckPoint], condition: str | None) -> Told | None:
    """At which toughness the checks of a curve stood."""
    known = [p.conditions[TOUGHNESS] for p in points if TOUGHNESS in p.conditions]
    if not known:
        return None
    return Told(condition == TOUGHNESS, float(np.mean(known)), float(np.std(known)))


def _last_check(found: Curves, begin_h: float) -> CheckPoint | None:
    """This combine's newest check of the last two days before the first hour."""
    near = [p for p in found.own if begin_h - LAST_CHECK_H <= hours_of(str(p.logged.body["taken_at"])) <= begin_h + 1.0]
    return max(near, key=lambda p: str(p.logged.body["taken_at"]), default=None)


def _lost_time(told: PaceTerms, width: float, assumed: list[str]) -> float:
    if (told.efficiency is None) != (told.efficiency_at_kmh is None) and told.efficiency is None:
        raise InputError("efficiency", None, "is missing while its speed is given", 'add it, like "70 %"')
    if told.efficiency is None:
        assumed.append("efficiency")
    return lost_time_h_ha(
        COMBINE_FIELD_EFFICIENCY.typical if told.efficiency is None else told.efficiency,
        COMBINE_SPEED_KMH.typical if told.efficiency_at_kmh is None else told.efficiency_at_kmh,
        width,
    )


def _waiting(terms: DayTerms, yield_kg_ha: float | None, price: float) -> float:
    """What a hectare loses by standing a day longer [money/(ha·day)]."""
    share = between("waiting", terms.wait_share_per_day, 0.0, 1.0, "write 0.5 % of the value per day as 0.5 %")
    if share == 0.0:
        return 0.0
    if yield_kg_ha is None:
        raise InputError("yield", None, "is needed for what waiting costs", "add it")
    return share * yield_kg_ha / KG_PER_T * price
