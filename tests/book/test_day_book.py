"""A day from a book: what its checks taught, when it is a guide, which history counts, and how it is told."""

from __future__ import annotations

import dataclasses
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from chaffinch.book.day import air as day_air
from chaffinch.book.day import said as day_said
from chaffinch.book.day.hours import DayAnswer, DayTerms, day
from chaffinch.book.day.humidity import hours_of, readings_of
from chaffinch.book.day.plain_data import as_json
from chaffinch.book.day.table import table_rows
from chaffinch.book.pace.best import PaceTerms
from chaffinch.book.shown_unit import unit_of
from chaffinch.book.things import find_thing
from chaffinch.engine.estimate import Range
from chaffinch.errors import InputError
from chaffinch.records.forecast import read_forecast
from day_book import HEADER_GAMMA, MACHINE_GAMMA, day_book, forecast
from season_book import SeasonBook

TERMS = DayTerms(pace=PaceTerms(hour_cost=400.0), area_ha=30.0)


@pytest.fixture(scope="module")
def taught(tmp_path_factory: pytest.TempPathFactory) -> Iterator[SeasonBook]:
    book = day_book(tmp_path_factory.mktemp("day") / "larkhollow.chaffinch")
    yield book
    book.desk.store.close()


def planned(book: SeasonBook, terms: DayTerms = TERMS, *, text: str = "", crop: str = "canola") -> DayAnswer:
    combine = find_thing(book.desk, "combine", "Old Bess")
    field = find_thing(book.desk, "field", "Long Hollow")
    return day(book.desk, combine, crop, read_forecast(text or forecast()), terms, field=field)


@pytest.fixture(scope="module")
def found(taught: SeasonBook) -> DayAnswer:
    return planned(taught)


def test_twenty_checks_with_humidity_teach_which_way_losses_move(found: DayAnswer) -> None:
    assert (found.told_checks, len(found.curves.own), len(found.curves.own_header)) == (20, 20, 20)
    assert not found.plan.is_a_guide
    tough = max(found.plan.hours, key=lambda h: h.toughness)
    dry = min(found.plan.hours, key=lambda h: h.toughness)
    assert tough.toughness - dry.toughness > 0.4
    assert tough.best_kmh < dry.best_kmh
    assert tough.header_kg_ha is not None
    assert dry.header_kg_ha is not None
    assert tough.header_kg_ha.median < dry.header_kg_ha.median
    assert MACHINE_GAMMA > 0 > HEADER_GAMMA
    assert "header loss falls" in day_said.moving(found)
    assert day_said.GUIDE not in day_said.remarks(found)
    assert day_said.remarks(found)[0] == day_said.OVER


def test_the_cheapest_hours_finish_the_area_in_the_dry_of_the_day(found: DayAnswer) -> None:
    assert found.plan.done_ha == pytest.approx(30.0)
    worked = [found.hours[k].minute // 60 % 24 for k, h in enumerate(found.plan.hours) if h.worked > 0]
    assert worked
    assert all(12 <= clock <= 21 for clock in worked)
    assert all(h.why_not == "not a working hour" for h, air in zip(found.plan.hours, found.hours, strict=True)
               if air.minute // 60 % 24 < 8)  # fmt: skip


def test_the_last_check_says_when_to_check_again(found: DayAnswer) -> None:
    assert found.last_check is not None
    assert found.last_toughness is not None
    assert len(found.plan.shift) == len(found.hours)
    again = found.plan.check_again
    assert again is not None
    assert found.plan.hours[again].toughness - found.last_toughness > 0.1
    assert "more machine loss" in day_said.check_again(found)
    assert day_said.sends_out(found)


def test_readings_of_grain_draw_the_course_in(taught: SeasonBook, found: DayAnswer) -> None:
    assert found.grain_readings == 1
    assert found.isotherm is not None
    read, when = readings_of(taught.desk), day_air.planned(taught.desk, read_forecast(forecast()))
    wetter, count, left_out = day_air.grain_over(read, "canola", found.isotherm, when, 12.0, lag_h=6.0)
    assert (count, left_out) == (2, ())
    for k, hour in enumerate(found.plan.hours[:6]):
        assert hour.grain_pct is not None
        assert wetter.mean_pct[k] > hour.grain_pct.median
    assert found.limits is not None
    assert (found.limits.dry_up_to, found.limits.tough_from, found.limits.damp_above) == (10.0, 10.1, 12.5)
    assert "± 1 points" in day_said.grain_said(found)


def test_what_was_read_before_the_forecast_is_its_history(taught: SeasonBook) -> None:
    read = readings_of(taught.desk)
    at = hours_of("2026-08-13T20:00:00Z")
    times, humidity = read.before(at)
    assert len(times) == len(humidity) == 25
    assert read.toughness_at(at) is not None
    assert read.toughness_at(at + 72.0) is None
    next_noon, much_later = (
        day_air.planned(taught.desk, read_forecast(forecast(day=d, first=12, hours=12))) for d in (14, 18)
    )
    fresh = day_air.toughness_over(read, much_later, lag_h=2.0)
    late = day_air.toughness_over(read, next_noon, lag_h=2.0)
    # Four days on nothing is remembered: the straw begins where the first hour's air would have it.
    assert fresh[0] == pytest.approx(much_later.hours[0].humidity_pct / 100.0)
    assert late[0] > fresh[0]


def test_hours_that_are_over_become_history(taught: SeasonBook) -> None:
    now = dataclasses.replace(taught.desk, now=lambda: "2026-08-14T09:30:00Z")
    when = day_air.planned(now, read_forecast(forecast()))
    assert when.hours[0].at == "2026-08-14T09:00"
    assert len(when.before) == 9
    assert when.started_at == "2026-08-14T09:00:00Z"
    assert not when.is_over
    assert day_air.planned(taught.desk, read_forecast(forecast())).is_over
    ahead = day_air.planned(now, read_forecast(forecast(day=16)))
    assert not ahead.is_over
    assert ahead.before == ()
    long = day_air.planned(taught.desk, read_forecast(forecast(hours=240)))
    assert len(long.hours) == day_air.MOST_HOURS


def test_without_a_check_it_is_a_guide_with_wide_ranges(tmp_path: Path) -> None:
    book = day_book(tmp_path / "bare.chaffinch", checks=False)
    found = planned(book)
    assert found.plan.is_a_guide
    assert day_said.NO_CHECKS in day_said.remarks(found)
    assert found.last_check is None
    assert "take one before you start" in day_said.check_again(found)
    assert day_said.sends_out(found)
    assert all(h.machine_kg_ha.high > 15 * h.machine_kg_ha.low for h in found.plan.hours)
    told = as_json(found, unit_of(book.desk, "canola"))
    assert told["a_guide"] is True
    assert told["hours"][0]["header_kg_ha"] is None
    book.desk.store.close()


def test_json_and_table_tell_every_hour(taught: SeasonBook, found: DayAnswer) -> None:
    unit = unit_of(taught.desk, "canola")
    told = as_json(found, unit)
    assert len(told["hours"]) == len(found.hours) == 30
    assert told["hours"][15]["at"] == "2026-08-14T15:00"
    assert sum(h["worked"] * h["ha_h"] for h in told["hours"]) == pytest.approx(told["done_ha"])
    rows = table_rows(found, unit)
    assert len(rows) - 1 == sum(h.why_not is None for h in found.plan.hours)
    assert any("■" in row[-1] for row in rows)


def test_waiting_and_moisture_limit_change_the_hours(taught: SeasonBook) -> None:
    pressed = planned(taught, dataclasses.replace(TERMS, most_moisture_pct=8.0, wait_share_per_day=0.05))
    assert any(h.why_not == "grain too moist" for h in pressed.plan.hours)
    assert pressed.job.wait_per_ha_day == pytest.approx(0.05 * 2.5 * 600.0)
    assert pressed.plan.hours[-1].wait_per_ha > 0.0


def test_a_crop_without_an_isotherm_gets_no_moisture_and_no_limit_by_it(taught: SeasonBook) -> None:
    pea = planned(taught, crop="pea")
    assert pea.isotherm is None
    assert pea.plan.hours[0].grain_pct is None
    assert "use your meter" in day_said.grain_said(pea)
    with pytest.raises(InputError, match="no isotherm"):
        planned(taught, dataclasses.replace(TERMS, most_moisture_pct=12.0), crop="pea")


@pytest.mark.parametrize(
    ("upper_pct", "warm_f", "said"),
    [
        (16.0, 60.0, "up to 16.0 % and 16 °C (60 °F), keeps about 120 days"),  # cells of the printed table
        (20.0, 80.0, "keeps about 7 days"),
        (20.0, 95.0, "keeps less than 7 days"),
        (35.0, 80.0, "keeps less than 1 day"),
        (15.0, 40.0, "keeps more than 300 days"),
        (13.0, 80.0, ""),
    ],
)
def test_a_day_says_how_long_its_moistest_grain_keeps(
    taught: SeasonBook, upper_pct: float, warm_f: float, said: str
) -> None:
    wheat = planned(taught, crop="wheat")
    first = next(k for k, hour in enumerate(wheat.plan.hours) if hour.worked > 0.0)
    hours = [dataclasses.replace(hour, worked=float(k == first)) for k, hour in enumerate(wheat.plan.hours)]
    hours[first] = dataclasses.replace(hours[first], grain_pct=Range(upper_pct - 3, upper_pct - 1, upper_pct))
    air = list(wheat.hours)
    air[first] = dataclasses.replace(air[first], temperature_c=(warm_f - 32.0) / 1.8)
    plan = dataclasses.replace(wheat.plan, hours=tuple(hours))
    told = day_said.grain_said(dataclasses.replace(wheat, plan=plan, hours=tuple(air)))
    assert "13.5 % or less" in told
    assert ("keeps" in told) == bool(said)
    assert said in told


def test_hours_that_are_no_span_are_refused() -> None:
    with pytest.raises(InputError, match="no span of the clock"):
        day_air.may_work([], (9, 9))


def test_in_the_last_hour_of_a_forecast_what_is_over_is_not_planned_as_if_it_came(taught: SeasonBook) -> None:
    last = dataclasses.replace(taught.desk, now=lambda: "2026-08-15T05:40:00Z")
    when = day_air.planned(last, read_forecast(forecast(hours=30)))
    assert [one.at for one in when.hours] == ["2026-08-15T05:00"]
    assert not when.is_over
    terms = dataclasses.replace(TERMS, working_hours=(0, 24))
    plan = day(
        last, find_thing(last, "combine", "Old Bess"), "canola", read_forecast(forecast(hours=30)), terms,
        field=find_thing(last, "field", "Long Hollow"),
    )  # fmt: skip
    assert day_said.headline(plan) == "05:00–06:00"


@pytest.mark.parametrize(
    ("zone", "first", "worked"),
    [
        ("CST6", "2026-08-13T18:00", range(8, 23)),
        # The far ends of the clock, one of them on the half hour.
        ("<+13>-13", "2026-08-14T13:00", range(8, 23)),
        ("<-0930>9:30", "2026-08-13T14:30", range(8, 23)),
    ],
)
def test_a_forecast_in_utc_is_told_and_worked_by_the_clock_people_work_by(
    taught: SeasonBook, monkeypatch: pytest.MonkeyPatch, zone: str, first: str, worked: range
) -> None:
    in_utc = planned(taught)
    assert in_utc.hours[0].at == "2026-08-14T00:00"
    unit = unit_of(taught.desk, "canola")
    assert day_said.ASSUMED["hours in UTC"] in day_said.taken(in_utc, unit)
    try:
        monkeypatch.setenv("TZ", zone)
        time.tzset()
        here = planned(taught)
    finally:
        monkeypatch.undo()
        time.tzset()
    assert here.hours[0].at == first
    assert here.started_at == in_utc.started_at
    able = {
        air.minute // 60 % 24 for h, air in zip(here.plan.hours, here.hours, strict=True) if h.why_not is None
    }  # fmt: skip
    assert able == set(worked)
    assert day_said.ASSUMED["clock of this computer"] in day_said.taken(here, unit)
    # The air and what it does are the same; only the clock is another.
    assert [h.toughness for h in here.plan.hours] == [h.toughness for h in in_utc.plan.hours]


def test_a_forecast_with_a_zone_of_its_own_keeps_its_clock(taught: SeasonBook) -> None:
    text = forecast().replace("Z,", "-06:00,")
    found = planned(taught, text=text)
    assert found.hours[0].at == "2026-08-14T00:00"
    assert not {"hours in UTC", "clock of this computer"} & set(found.assumed)


def test_what_is_not_reckoned_with_is_said_on_every_face(found: DayAnswer, taught: SeasonBook) -> None:
    """The cheapest hours may be hours of rain, or those of a hot, dry and windy afternoon under a harvest ban."""
    assert day_said.remarks(found)[-1] == day_said.NOT_IN_IT
    assert "follow local harvest bans" in day_said.NOT_IN_IT
    assert day_said.NOT_IN_IT in as_json(found, unit_of(taught.desk, "canola"))["said"]


def test_air_colder_than_an_isotherm_holds_is_said(taught: SeasonBook, found: DayAnswer) -> None:
    rows = (f"2026-08-14T{h:02d}:00Z,{-16 + h / 2},70" for h in range(24))
    frost = planned(taught, text="\n".join(["time,temperature (C),humidity (%)", *rows]))
    assert "cold beyond isotherm" in frost.assumed
    assert day_said.ASSUMED["cold beyond isotherm"] in day_said.taken(frost, unit_of(taught.desk, "canola"))
    assert "cold beyond isotherm" not in found.assumed


@pytest.mark.parametrize("wild", [30.0, 2.0, 20.0])
def test_a_moisture_out_of_line_is_asked_about_and_bends_no_day(taught: SeasonBook, wild: float) -> None:
    """One of 30 % at 08:00 made grain of 5 % in the evening and of 28 % the next morning, each within a point."""
    with pytest.raises(
        InputError, match=f"moisture: lies far from what the air.*got '{wild:g} %'.*meter set to the crop"
    ):
        planned(taught, dataclasses.replace(TERMS, grain_pct=wild))


def test_a_moisture_out_of_line_in_the_book_is_left_out_and_said(tmp_path: Path) -> None:
    book = day_book(tmp_path / "wild.chaffinch", checks=False)
    before = planned(book)
    book.desk.write("weather", {"taken_at": "2026-08-13T21:00:00Z", "field": book.ids["Long Hollow"],
                                "conditions": {"humidity_pct": 61, "grain_moisture_pct": 31.0}})  # fmt: skip
    found = planned(book)
    assert (found.grain_readings, found.grain_left_out_pct) == (before.grain_readings, (31.0,))
    said = day_said.remarks(found)
    assert any(text.startswith("Grain moisture of 31 % was read") and "go by your meter" in text for text in said)
    assert as_json(found, unit_of(book.desk, "canola"))["used"]["grain_left_out_pct"] == [31.0]
    for hour, as_before in zip(found.plan.hours, before.plan.hours, strict=True):
        assert hour.grain_pct is not None
        assert as_before.grain_pct is not None
        assert hour.grain_pct.median == pytest.approx(as_before.grain_pct.median, abs=0.2)
    book.desk.store.close()
