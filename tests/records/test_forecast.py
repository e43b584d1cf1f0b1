"""Forecasts: a table, a saved JSON, typed lines; and every way they can be wrong, each with its line."""

from __future__ import annotations

import contextlib
import datetime
import json
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from chaffinch.errors import InputError
from chaffinch.records import forecast_times
from chaffinch.records.forecast import read_forecast

HEAD = "time,temperature (C),humidity (%)"


def table(*rows: str, head: str = HEAD) -> str:
    return "\n".join((head, *rows))


def hourly(count: int, *, start: int = 0, minutes: int = 60) -> list[str]:
    begin = datetime.datetime(2026, 9, 2)
    step = datetime.timedelta(minutes=minutes)
    return [
        f"{begin + (start + k) * step:%Y-%m-%d %H:%M},{15 + 8 * math.sin(k / 4):.1f},{60 - 25 * math.sin(k / 4):.0f}"
        for k in range(count)
    ]


def test_a_plain_table() -> None:
    found = read_forecast(table("2026-09-02 13:00,24.5,41", "2026-09-02 14:00,25,39"))
    assert [h.at for h in found.hours] == ["2026-09-02T13:00", "2026-09-02T14:00"]
    assert (found.hours[0].temperature_c, found.hours[0].humidity_pct) == (24.5, 41.0)
    assert found.hours[0].wind_kmh is None
    assert found.zone_min is None
    assert found.notes == ()


@pytest.mark.parametrize(
    ("head", "row", "warm", "humid", "wind"),
    [
        ("Time;Temp [°C];RH [%];Wind [m/s]", "2026-09-02T1{};24,5;41;5", 24.5, 41, 18.0),
        ("date\tHour\tAir temperature F\thumidity (share)\twind mph", "2026-09-02\t1{}:00\t77\t0.41\t10", 25, 41,
         16.09),
        ("valid_time,temperature_2m (°F),relative_humidity_2m (%),cloud_cover (%)", "2026-09-02T1{}:00,77,41,20", 25,
         41, None),
        ("timestamp,wind direction (°),temp K,hum %,wind gusts,wind kn", "2026-09-02 1{}:00,270,298.15,41,99,10", 25,
         41, 18.52),
        ("datetime,temp,rh", "2026-09-02 1{}:00,77 °F,41 %", 25, 41, None),
    ],
)  # fmt: skip
def test_columns_are_found_by_name_and_unit(head: str, row: str, warm: float, humid: float, wind: float | None) -> None:
    found = read_forecast(table(row.format(3), row.format(4), head=head))
    hour = found.hours[0]
    assert hour.at == "2026-09-02T13:00"
    assert hour.temperature_c == pytest.approx(warm)
    assert hour.humidity_pct == pytest.approx(humid)
    assert hour.wind_kmh == (None if wind is None else pytest.approx(wind, abs=0.01))


def test_dew_point_stands_in_for_humidity() -> None:
    found = read_forecast(
        table("2026-09-02 13:00,25,13.86", "2026-09-02 14:00,25,13.86", head="time,temp (C),dew point (C)")
    )
    assert found.hours[0].humidity_pct == pytest.approx(50.0, abs=0.05)
    assert "dew point" in found.notes[0]


def test_a_services_json() -> None:
    whole = {
        "utc_offset_seconds": -21600,
        "hourly_units": {"temperature_2m": "°F", "relative_humidity_2m": "%", "wind_speed_10m": "km/h"},
        "hourly": {
            "time": ["2026-09-02T13:00", "2026-09-02T14:00", "2026-09-02T15:00"],
            "temperature_2m": [77, None, 81],
            "apparent_temperature": [1, 2, 3],
            "relative_humidity_2m": [41, 40, 39],
            "wind_speed_10m": [12, 13, 14],
        },
    }
    found = read_forecast(json.dumps(whole))
    assert found.zone_min == -360
    assert found.hours[0].at == "2026-09-02T13:00"
    assert found.hours[1].temperature_c == pytest.approx((79 - 32) / 1.8)
    assert found.hours[2].wind_kmh == 14.0
    assert found.notes == (
        "Temperatures are told in °F: 25 to 27 °C.", "1 empty cell is bridged straight from the hours beside it.",
    )  # fmt: skip


def test_typed_lines_go_over_midnight() -> None:
    text = "21:00 14 °C 80 %\n22 13C 85% 9 km/h\n\n23:00, 12 °C, 90 %, 9 km/h\n0:00 11 C 95 %\n1 11 C 97 %"
    found = read_forecast(text, day="2026-09-02")
    assert [h.at for h in found.hours][-2:] == ["2026-09-03T00:00", "2026-09-03T01:00"]
    assert found.hours[1].wind_kmh == 9.0
    assert found.hours[3].humidity_pct == 95.0


def test_zones_are_kept_and_the_clock_may_go_back() -> None:
    rows = [
        f"2026-11-01T{h}:00{z},5,90"
        for h, z in (("00", "-06:00"), ("01", "-06:00"), ("01", "-07:00"), ("02", "-07:00"))
    ]
    found = read_forecast(table(*rows))
    assert found.zone_min == -360
    assert len(found.hours) == 4
    assert found.hours[-1].minute - found.hours[0].minute == 180


def test_ten_minutes_are_averaged_and_said() -> None:
    found = read_forecast(table(*hourly(13, minutes=10)))
    assert len(found.hours) == 3
    assert found.notes == ("Rows every 10 minutes are averaged to hours.",)
    first = [15 + 8 * math.sin(k / 4) for k in range(6)]
    assert found.hours[0].temperature_c == pytest.approx(sum(first) / 6, abs=0.05)


def test_three_hours_are_bridged_and_said() -> None:
    found = read_forecast(table("2026-09-02 12:00,20,50", "2026-09-02 15:00,26,35", "2026-09-02 16:00,26,35"))
    assert [h.temperature_c for h in found.hours] == pytest.approx([20, 22, 24, 26, 26])
    assert "1 step is longer than an hour" in found.notes[0]


def test_twenty_thousand_rows_are_read() -> None:
    found = read_forecast(table(*hourly(20_000)))
    assert len(found.hours) == 20_000
    assert found.hours[-1].at == "2028-12-13T07:00"


@pytest.mark.parametrize(
    ("text", "field", "problem", "mend"),
    [
        (table("2026-09-02 13:00,24,41", "2026-09-02 18:00,25,39"), "line 3, time", "5 hours after", "fill the gap"),
        (table("2026-09-02 14:00,24,41", "2026-09-02 11:00,25,39"), "line 3, time", "but is earlier", "sort the rows"),
        (table("2026-11-01 01:00,4,90", "2026-11-01 01:00,4,90"), "line 3, time", "comes twice", "clocks go back"),
        (table("2026-11-01 01:30,4,90", "2026-11-01 01:00,4,90"), "line 3, time", "earlier", "clocks go back"),
        (table("2026-09-02 13:00,77,41", "2026-09-02 14:00,80,39"), "line 3, temperature", "looks like °F",
         "call the column temperature (F)"),
        (table("2026-09-02 13:00,20,41", "2026-09-02 14:00,22,39", head="time,temp F,rh %"), "line 3, temperature",
         "looks like °C", "call the column temperature (C)"),
        (table("2026-09-02 13:00,20,41", "2026-09-02 14:00,22,39", head="time,temperature,rh %"),
         "temperature (temperature)", "does not say whether", "temperature (C)"),
        (table(*(f"2026-09-02 {h:02d}:00,{42 + h % 5},41" for h in range(24))), "line 2, temperature",
         "never falls to 35, day or night; it looks like °F", "call the column temperature (F)"),
        (table("2026-09-02 13:00,20,41", "2026-09-02 14:00,22,0.39"), "line 3, humidity", "a share among per cents",
         "write it in per cent"),
        (table("2026-09-02 13:00,20,0.41", "2026-09-02 14:00,22,0.39"), "humidity (humidity (%))", "looks like a share",
         "humidity (share)"),
        (table("2026-09-02 13:00,20,41", "2026-09-02 14:00,22,39", head="time,temp C,humidity (share)"),
         "humidity (humidity (share))", "is above 1", "humidity (%)"),
        (table("2026-09-02 13:00,20,141", "2026-09-02 14:00,22,39"), "line 2, humidity", "no share of a whole",
         "0 to 100"),
        (table("2026-09-02 13:00,20,", "2026-09-02 14:00,22,39"), "line 2, humidity", "empty at an end", "fill it in"),
        (table("2026-09-02 13:00,20", "2026-09-02 14:00,22,39"), "line 2", "has 2 cells", "one cell for each column"),
        (table("2026-09-31 13:00,20,40", "2026-09-02 14:00,22,39"), "line 2, time", "no day that exists", "2026-09-02"),
        (table("02/09/2026 13:00,20,40", "2026-09-02 14:00,22,39"), "line 2, time", "no date and hour", "2026-09-02"),
        (table("2026-09-02 25:00,20,40", "2026-09-02 14:00,22,39"), "line 2, time", "no hour of the day", "0 to 23"),
        (table("2026-09-02 13:00,warm,40", "2026-09-02 14:00,22,39"), "line 2, temperature (C)", "no number", "12.5"),
        (table("2026-09-02 13:00Z,20,40", "2026-09-02 14:00,22,39"), "line 3, time", "has no zone", "zone to all"),
        (table("2026-09-02 13:00,20,40"), "forecast", "less than two full hours", "at least two hours"),
        (table("2026-09-02 13:00,20,40,5", "2026-09-02 14:00,22,39,5", head=HEAD + ",wind"), "wind (wind)",
         "does not say its unit", "km/h"),
        (table("2026-09-02 13:00,20,40,900", "2026-09-02 14:00,22,39,5", head=HEAD + ",wind km/h"), "line 2, wind",
         "no wind anybody", "200"),
        (table("2026-09-02 13:00,20,30", "2026-09-02 14:00,22,3", head="time,temp C,dew point C"), "line 2, dew point",
         "is above the air", "mend"),
        (table("2026-09-02 13:00,20,30", head="time,temp C,temperature C"), "header", "could both be", "leave one"),
        (table("2026-09-02 13:00,20", head="time,temp C"), "header", "no column of the humidity", "humidity (%)"),
        (table("2026-09-02 13:00,20", head="time,rh %"), "header", "no column of the temperature", "temperature (C)"),
        (table("1,20", head="temp C,rh %"), "header", "no column of times", "time"),
        (table("2026-09-02 13:00,20 °X,30", head="time,temp,rh"), "temperature (temp)", "no unit of it", "C, F, K"),
        (table("2026-09-02 13:00,20 C,30", "2026-09-02 14:00,70 F,30", head="time,temp,rh"), "temperature (temp)",
         "side by side", "C, F, K"),
        (table(), "forecast", "header and no rows", "two hours"),
        ("", "forecast", "is empty", "time, temperature and humidity"),
        ("2026-09-02 13:00,20,40", "line 1", "is no header", "temperature (C)"),
        ("{", "forecast", "is no JSON", "whole"),
        ('{"daily": {}}', "forecast, hourly", "is missing", "array time"),
        ('{"hourly": {"time": ["2026-09-02T13:00"], "temperature_2m": []}}', "hourly, temperature_2m", "must have 1",
         "whole"),
        ('{"hourly": {"time": [], "temperature_2m": []}, "utc_offset_seconds": 1e9}', "utc_offset_seconds",
         "no distance", "-21600"),
        (table("2026-09-02 13:00,x20,40", "2026-09-02 14:00,22,39"), "line 2, temperature (C)", "no number", "12.5"),
        (table("2026-09-02 13:00,20,/40", "2026-09-02 14:00,22,39"), "line 2, humidity (%)", "no number", "12.5"),
        ('{"hourly": {"time": ["2026-09-02T13:00"], "temperature_2m": [1%s]}}' % ("0" * 400),
         "hourly, temperature_2m 1", "is no number", "whole"),
        ('{"hourly": 1%s}' % ("0" * 5000), "forecast", "is no JSON", "whole"),
        ("14 warm", "line 1", "no hour of a forecast", "14:00 24 °C 45 %"),
        ("14 20 C 40 %\n19 20 C 40 %", "line 2, hour", "5 hours after", "fill the gap"),
        ("14 20 C 40 %\n8 20 C 40 %", "line 2, hour", "more than twelve hours", "in order"),
    ],
)  # fmt: skip
def test_what_cannot_be_meant_is_refused_with_field_value_and_mend(
    text: str, field: str, problem: str, mend: str
) -> None:
    with pytest.raises(InputError) as refused:
        read_forecast(text, day="2026-09-02")
    line = refused.value.line()
    assert field in refused.value.field, line
    assert problem in refused.value.problem, line
    assert mend in refused.value.mend, line
    assert "\n" not in line


@pytest.mark.parametrize(("cell", "warm"), [("\u22122.5", -2.5), ("+2", 2.0), (".5", 0.5), ("2 °C", 2.0)])
def test_a_number_may_have_a_sign_a_bare_point_or_its_unit(cell: str, warm: float) -> None:
    found = read_forecast(table(f"2026-09-02 13:00,{cell},40", "2026-09-02 14:00,4,39"))
    assert found.hours[0].temperature_c == warm


def test_a_cell_of_a_hundred_thousand_blanks_is_refused_at_once() -> None:
    """It took a minute of the server's only thread; a search by the square of the length would be noticed here."""
    with pytest.raises(InputError, match="no unit of it"):
        read_forecast(table(f"2026-09-02 13:00,1x{' ' * 100_000}y,40", "2026-09-02 14:00,22,39"))


@pytest.mark.parametrize("line", ["14 a24 C 40 %", "14 24 C x40 %", "[14 24 C 40 %", "14 24 C (40 %"])
def test_a_typed_number_with_something_before_it_is_refused(line: str) -> None:
    with pytest.raises(InputError):
        read_forecast(f"{line}\n15 20 C 40 %", day="2026-09-02")


def test_typed_lines_need_their_day() -> None:
    with pytest.raises(InputError, match="is not told"):
        read_forecast("14 20 C 40 %\n15 20 C 40 %")


@given(st.datetimes(min_value=datetime.datetime(1970, 1, 1), max_value=datetime.datetime(2999, 12, 31)))
def test_minutes_count_as_the_calendar_does(moment: datetime.datetime) -> None:
    moment = moment.replace(second=0, microsecond=0)
    text = moment.strftime("%Y-%m-%dT%H:%M")
    found = forecast_times.read_stamp(text, "x")
    epoch = datetime.datetime(1970, 1, 1)
    assert found.minute == (moment - epoch) // datetime.timedelta(minutes=1)
    assert forecast_times.written(found.minute) == text


@given(st.text(max_size=200))
def test_any_text_is_read_or_refused(text: str) -> None:
    """Nothing but an InputError ever comes out."""
    with contextlib.suppress(InputError):
        assert len(read_forecast(text, day="2026-09-02").hours) > 1


def test_hot_hours_without_a_night_are_believed() -> None:
    found = read_forecast(table(*(f"2026-09-02 {h:02d}:00,{38 + h % 4},20" for h in range(12, 20))))
    assert min(one.temperature_c for one in found.hours) == 38.0


@pytest.mark.parametrize(
    ("head", "told"),
    [
        ("time,temp C,humidity (g/m3)", "g/m3"),
        ("time,temp C,humidity [g/kg]", "g/kg"),
        ("time,temp C,dew point (hPa)", "hPa"),
        ("time,temp C,rh %,cloud (oktas)", "oktas"),
        ("time,temp C,rh %,wind (bft)", "bft"),
    ],
)
def test_a_unit_that_is_none_of_ours_is_never_taken_for_another(head: str, told: str) -> None:
    """Eight grams of vapour to the cubic metre are no air of 8 %."""
    more = ",5" * head.count(",")
    with pytest.raises(InputError) as refused:
        read_forecast(table(f"2026-09-02 13:00{more}", f"2026-09-02 14:00{more}", head=head))
    assert refused.value.value == told
    assert "is no unit of it" in refused.value.problem
    assert "leave the column out" in refused.value.mend
    assert read_forecast(table("2026-09-02 13:00,20,50", "2026-09-02 14:00,20,50", head="time,temp C,RH (mean)")).hours


def service(**more: object) -> str:
    hourly = {"time": ["2026-09-02T18:00", "2026-09-02T19:00", "2026-09-02T20:00"], "temperature_2m": [20, 21, 22],
              "relative_humidity_2m": [50, 49, 48]}  # fmt: skip
    units = {"temperature_2m": "°C", "relative_humidity_2m": "%"}
    return json.dumps({"hourly": hourly, "hourly_units": units, **more})


def test_a_saved_json_is_held_to_its_own_units_and_shape() -> None:
    with pytest.raises(InputError, match=r"relative_humidity_2m.*is no unit of it") as refused:
        read_forecast(service(hourly_units={"temperature_2m": "°C", "relative_humidity_2m": "g/kg"}))
    assert refused.value.value == "g/kg"
    with pytest.raises(InputError, match=r"hourly: is missing.*an object hourly"):
        read_forecast('[{"time": "2026-09-02T18:00", "temperature": 20}]')
    assert len(read_forecast(service()).hours) == 3


def test_times_in_utc_beside_the_places_offset_are_told_by_its_clock() -> None:
    stamps = [f"2026-09-02T{h}:00Z" for h in (18, 19, 20)]
    hourly = {"time": stamps, "temperature_2m": [20, 21, 22], "relative_humidity_2m": [50, 49, 48]}
    found = read_forecast(service(hourly=hourly, utc_offset_seconds=-34_200))
    assert found.zone_min == -570
    assert found.hours[0].at == "2026-09-02T09:00"
    assert found.hours[0].temperature_c == 20.5


@pytest.mark.parametrize("zone", ["+99:99", "+14:30", "-15:00", "+05:75"])
def test_a_zone_that_no_place_has_is_refused(zone: str) -> None:
    with pytest.raises(InputError, match=r"no place on earth.*14:00"):
        read_forecast(table(f"2026-09-02 13:00{zone},20,50", f"2026-09-02 14:00{zone},20,50"))
    assert read_forecast(table("2026-09-02 13:00+14:00,20,50", "2026-09-02 14:00+14:00,20,50")).zone_min == 840


def test_what_is_done_to_the_rows_is_said() -> None:
    fine = hourly(30, minutes=10)
    gap = read_forecast(table(*fine[:6], *fine[20:])).notes
    assert gap[0] == "Rows every 10 minutes are averaged to hours."
    assert gap[1].startswith("1 step is longer than an hour and bridged straight")
    hole = read_forecast(table("2026-09-02 13:00,20,50", "2026-09-02 14:00,,49", "2026-09-02 15:00,22,48")).notes
    assert hole == ("1 empty cell is bridged straight from the hours beside it.",)
    warm = read_forecast(table("2026-09-02 13:00,14,50", "2026-09-02 14:00,50,50", head="time,temp F,rh %")).notes
    assert warm == ("Temperatures are told in °F: −10 to 10 °C.",)
    zones = [f"2026-11-01 {h},5,80" for h in ("00:00-05:00", "01:00-05:00", "01:00-06:00", "02:00-06:00")]
    turned = read_forecast(table(*zones))
    assert [one.at[11:] for one in turned.hours] == ["00:00", "01:00", "02:00", "03:00"]
    assert turned.notes == ("The clocks change in this forecast: all hours are told by the clock of its first row.",)


def test_lines_above_the_header_are_named_with_its_line() -> None:
    """Stations and services write a place, a zone and a date above; a zone in them must not be lost unseen."""
    above = "latitude,longitude,utc_offset_seconds\n52.1,-106.6,-21600\n\n"
    with pytest.raises(InputError) as refused:
        read_forecast(above + table("2026-09-02 13:00,20,50", "2026-09-02 14:00,21,49"))
    assert refused.value.problem == "stands before the header, which is in line 4"
    assert "take the lines above it out" in refused.value.mend
    assert "where they tell a zone" in refused.value.mend
