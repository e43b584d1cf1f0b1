"""Text of columns as people export it: every style, and every way it goes wrong."""

from __future__ import annotations

import gzip
from collections.abc import Callable
from datetime import UTC, datetime

import numpy as np
import pytest
from made_tables import ACRE, FOOT, POUND, driven, text

from chaffinch.errors import InputError
from chaffinch.fieldlog.answers import Answers, Found
from chaffinch.fieldlog.reading.textfile import read_text

NAMED = {"time": "Elapsed (s)", "lon": "Longitude", "lat": "Latitude", "speed": "Speed (km/h)", "width": "Width (m)",
         "distance": "Distance (m)", "interval": "Interval (s)", "flow": "Flow (kg/s)", "yield": "Yield (t/ha)",
         "moisture": "Moisture (%)"}  # fmt: skip


def named(made: dict[str, np.ndarray] | None = None, leave: tuple[str, ...] = ()) -> dict[str, np.ndarray]:
    made = driven() if made is None else made
    return {NAMED[k]: v for k, v in made.items() if k not in leave}


def read(data: bytes, **answers) -> Found:
    return read_text(data, "log", Answers(**answers))


@pytest.mark.parametrize(("parted_by", "decimals"), [(",", "."), (";", ","), (";", "."), ("\t", ","), ("|", ".")])
@pytest.mark.parametrize(
    "packed", [bytes, gzip.compress, lambda b: b"\xef\xbb\xbf" + b, lambda b: b.decode().encode("utf-16")]
)
def test_every_style_reads_alike(parted_by: str, decimals: str, packed: Callable[[bytes], bytes]) -> None:
    found = read(packed(text(named(), parted_by, decimals)))
    made = driven()
    assert found.questions == found.problems == ()
    assert found.rows.parts[0].clock == "elapsed"
    for name, column in (("flow", "flow_kg_s"), ("lat", "lat_deg"), ("yield", "yield_t_ha"), ("time", "time_s")):
        np.testing.assert_allclose(found.rows.column(column), made[name], rtol=1e-8)


def test_a_decimal_comma_between_commas_is_read_where_cells_are_quoted() -> None:
    rows = [["Speed (km/h)", "Width (m)"], *([f"{5 + i / 10:.1f}".replace(".", ","), "9,1"] for i in range(30))]
    data = "\n".join(",".join(f'"{cell}"' for cell in row) for row in rows).encode()
    assert read(data).rows.column("speed_kmh")[3] == 5.3


def test_mixed_decimal_marks_are_refused() -> None:
    with pytest.raises(InputError, match="both decimal commas and decimal points"):
        read(b"Speed (km/h);Width (m)\n" + b"5,5;9.1\n" * 9)
    assert read(b"Speed (km/h);Width (m)\n" + b"5,5;9.1\n" * 9, decimals=",").rows.column("speed_kmh")[0] == 5.5


@pytest.mark.parametrize(
    "changed",
    [
        "\r".join,
        "\r\r\n".join,
        lambda lines: "\n\n".join(lines) + "\n\n",
        lambda lines: "\n".join([*lines, ",,,,,,,", ", ,,,,,,"]) + "\n",
        lambda lines: "".join(line + "\n\r"[number % 2] for number, line in enumerate(lines)),
        lambda lines: "\n".join([lines[0].replace("Moisture (%)", '"Moisture\n(%)"'), "", *lines[1:]]),
    ],
)
def test_however_lines_end_each_row_is_one_record(changed: Callable[[list[str]], str]) -> None:
    plain = text(named()).decode().splitlines()
    found, rows = read(changed(plain).encode()), read("\n".join(plain).encode()).rows
    assert found.questions == found.problems == ()
    assert len(found.rows) == len(rows)
    for name in rows.columns:
        np.testing.assert_array_equal(found.rows.column(name), rows.column(name))


def test_a_note_of_two_lines_is_no_row_of_its_own() -> None:
    notes = np.full(400, "so dry that it fell out")
    notes[::9] = "wet\rthen dry"
    assert len(read(text({**named(), "Note": notes})).rows) == 400


@pytest.mark.parametrize("decimals", [".", ","])
def test_a_mark_between_thousands_is_read_where_it_shows(decimals: str) -> None:
    made = named(leave=("yield",))
    cells = [f"{v:,.1f}" for v in 1000.0 * driven()["yield"]]
    other = str.maketrans(",.", ".,")
    made["Yield (kg/ha)"] = np.array([c if decimals == "." else c.translate(other) for c in cells])
    found = read(text(made, ";", decimals))
    assert found.questions == found.problems == ()
    np.testing.assert_allclose(found.rows.column("yield_t_ha"), driven()["yield"], atol=1e-4)


def test_the_name_of_a_machine_keeps_its_blanks() -> None:
    found = read(text({"Speed (km/h)": np.full(30, 5.0), "Machine": np.array(["745 123"] * 30)}))
    assert [part.machine for part in found.rows.parts] == ["745 123"]


def test_what_may_be_a_decimal_mark_is_not_taken_for_another() -> None:
    data = b"Speed (km/h);Yield (kg/ha)\n" + b"5.5;1,204\n" * 9
    found = read(data, decimals=".")
    assert np.isnan(found.rows.column("yield_t_ha")).all()
    assert [(p.kind, p.count) for p in found.problems] == [("no number", 9)]
    shown = read(data + b"5.5;960\n", decimals=".")
    assert shown.rows.column("yield_t_ha")[0] == 1.204


@pytest.mark.parametrize("marks", [('"12 ft', '"14 ft'), ('"12" header"', '14"'), ('"12" header', '"14" header')])
def test_no_row_is_lost_between_two_quotation_marks(marks: tuple[str, str]) -> None:
    """A header of 12" is written so in two rows: all between them would be one cell."""
    notes = np.full(400, '"wet, then dry"', dtype=object)
    notes[100], notes[300] = marks
    notes[200] = '"on two\nlines"'
    found = read(text({**named(), "Note": notes.astype(str)}))
    assert 400 <= len(found.rows) <= 401
    np.testing.assert_allclose(found.rows.column("flow_kg_s")[:200], driven()["flow"][:200], rtol=1e-8)
    whole = read(text({**named(), "Note": np.where(np.arange(400) % 2, '"on two\nlines"', '"wet, ""then"" dry"')}))
    assert (len(whole.rows), whole.problems) == (400, ())


def test_units_are_found_and_said() -> None:
    made = driven()
    table = {"lon": made["lon"], "lat": made["lat"], "speed": made["speed"], "swath": made["width"] / FOOT,
             "dist": made["distance"] / FOOT * 12, "interval": made["interval"], "flow": made["flow"] / POUND,
             "yield": made["yield"], "moisture": made["moisture"] / 100}  # fmt: skip
    found = read(text(table))
    assert found.questions == ()
    assert found.matched["flow"] == "flow_kg_s:lb/s"
    assert found.matched["swath"] == "width_m:ft"
    assert found.matched["dist"] == "distance_m:in"
    assert found.matched["moisture"] == "moisture_pct:share"
    np.testing.assert_allclose(found.rows.column("flow_kg_s"), made["flow"], rtol=1e-8)


@pytest.mark.parametrize(
    ("header", "t_ha"),
    [
        ("Yield (tons/ac)", 2000 * POUND * 10 / ACRE),
        ("Yield [tonnes/ac]", 10_000 / ACRE),
        ("Yield (tonne/ha)", 1.0),
        ("Yield_q_ha", 0.1),
        ("Yield (t/ac)", None),
    ],
)
def test_a_yield_by_the_ton_is_read_by_its_label_or_asked(header: str, t_ha: float | None) -> None:
    """A ton by the acre is two and a half by the hectare: never one taken for the other because both are possible."""
    made = {"Speed (km/h)": driven()["speed"], "Width (m)": driven()["width"], header: np.full(400, 2.5)}
    found = read(text(made))
    if t_ha is None:
        (question,) = found.questions
        assert {"yield_t_ha:t/ha", "yield_t_ha:tonne/ac", "yield_t_ha:ton/ac"} <= set(question.choices)
        return
    assert found.questions == ()
    np.testing.assert_allclose(found.rows.column("yield_t_ha"), 2.5 * t_ha, rtol=1e-9)


@pytest.mark.parametrize("unit", ["mi/hr", "miles/hour", "miles per hour", "mph"])
def test_miles_an_hour_however_they_are_spelled(unit: str) -> None:
    made = {f"Speed ({unit})": np.full(30, 3.0), "Width (m)": np.full(30, 9.0)}
    np.testing.assert_allclose(read(text(made)).rows.column("speed_kmh"), 3.0 * 1.609344)


@pytest.mark.parametrize(("each", "unit"), [(2000.0, "ms"), (2.0, "s"), (1 / 30, "min")])
def test_an_interval_without_a_unit_is_in_the_one_it_can_be_in(each: float, unit: str) -> None:
    found = read(text({"Grain flow (kg/s)": np.full(30, 5.0), "Interval": np.full(30, each)}, digits=12))
    assert found.matched["Interval"] == f"interval_s:{unit}"
    np.testing.assert_allclose(found.rows.column("interval_s"), 2.0)


def test_a_number_of_rows_is_no_width() -> None:
    found = read(text({"Speed (km/h)": np.full(30, 5.0), "Swath rows": np.full(30, 8.0)}))
    assert "width_m" not in found.rows


def test_two_fitting_units_are_asked_and_the_answer_settles_it() -> None:
    made = {k: v for k, v in named(leave=("yield",)).items() if not k.startswith("Flow")} | {"Flow": driven()["flow"]}
    found = read(text(made))
    assert [q.what for q in found.questions] == ["Flow"]
    assert found.questions[0].why == "several units fit"
    assert {"flow_kg_s:kg/s", "flow_kg_s:lb/s"} <= set(found.questions[0].choices)
    assert "flow_kg_s" not in found.rows  # open: missing, not guessed
    answered = read(text(made), columns={"Flow": "flow_kg_s:kg/s"})
    assert answered.questions == ()
    np.testing.assert_allclose(answered.rows.column("yield_t_ha"), driven()["yield"], rtol=1e-7)
    assert answered.rows.derived["yield_t_ha"] == "flow × interval ÷ (distance × width)"


def test_a_missing_speed_is_worked_out_and_said() -> None:
    found = read(text(named(leave=("speed",))))
    np.testing.assert_allclose(found.rows.column("speed_kmh"), driven()["speed"], rtol=1e-8)
    assert found.rows.derived == {"speed_kmh": "distance ÷ interval"}


def test_a_column_without_a_value_is_one_that_was_not_recorded() -> None:
    table = {**named(), "Speed": np.full(400, ""), "Interval (s)": np.full(400, "nan"), "Swath": np.full(400, "")}
    found = read(text({k: v for k, v in table.items() if k not in ("Speed (km/h)", "Width (m)")}))
    np.testing.assert_allclose(found.rows.column("speed_kmh")[:-1], driven()["speed"][:-1], rtol=1e-8)
    assert found.rows.derived == {"interval_s": "time to the next record", "speed_kmh": "distance ÷ interval"}
    assert found.questions == (), "the unit of what nobody recorded is no question"
    assert "width_m" not in found.rows.columns


def test_missing_interval_and_distance_follow_from_clock_and_speed() -> None:
    found = read(text(named(leave=("interval", "distance"))))
    made = driven()
    np.testing.assert_allclose(found.rows.column("distance_m")[:-1], made["distance"][:-1], rtol=1e-8)
    assert np.isnan(found.rows.column("interval_s")[-1])  # nobody knows how long the last one lasts
    assert set(found.rows.derived) == {"interval_s", "distance_m"}


def test_a_wrong_unit_in_a_name_is_told() -> None:
    table = named()
    table["Flow (lb/s)"] = table.pop("Flow (kg/s)")
    assert [(p.kind, p.detail) for p in read(text(table)).problems] == [("yield disagrees", "0.454")]


def test_two_machines_and_two_fields_in_one_file_are_parted() -> None:
    made = named()
    n = 400
    made["Machine"] = np.where(np.arange(n) % 2, "Larkhollow 2", "Larkhollow 1")
    made["Field"] = np.where(np.arange(n) < 300, "North quarter", "River field")
    rows = read(text(made)).rows
    assert [(p.field, p.machine) for p in rows.parts] == [
        ("North quarter", "Larkhollow 1"), ("North quarter", "Larkhollow 2"),
        ("River field", "Larkhollow 1"), ("River field", "Larkhollow 2")]  # fmt: skip
    assert np.bincount(rows.part).tolist() == [150, 150, 50, 50]
    assert rows.column("time_s")[:3].tolist() == [0, 2, 4]  # the order of each stays


def test_projected_numbers_are_refused_until_their_system_is_told() -> None:
    from pyproj import Transformer

    made = driven()
    x, y = Transformer.from_crs("OGC:CRS84", "EPSG:32613", always_xy=True).transform(made["lon"], made["lat"])
    table = named(leave=("lon", "lat")) | {"X": x, "Y": y}
    with pytest.raises(InputError, match=r"projected.*EPSG:32612"):
        read(text(table, digits=12))
    rows = read(text(table, digits=12), crs="EPSG:32613").rows
    np.testing.assert_allclose(rows.column("lon_deg"), made["lon"], atol=1e-8)
    with pytest.raises(InputError, match="no coordinate system"):
        read(text(table, digits=12), crs="EPSG:0")


def test_longitude_and_latitude_the_wrong_way_round() -> None:
    made = named()
    made["Longitude"], made["Latitude"] = made["Latitude"], made["Longitude"]
    with pytest.raises(InputError, match="longitude and latitude are swapped"):
        read(text(made))  # -104 is no latitude
    assert read(text(made), columns={"Longitude": "lat_deg", "Latitude": "lon_deg"}).rows.column("lat_deg")[0] > 50
    # Where both could be either, the way between positions tells.
    near = named(driven(lat0=48.0, lon0=16.0))
    near["Longitude"], near["Latitude"] = near["Latitude"], near["Longitude"]
    by_speed = {header: values for header, values in near.items() if header not in ("Distance (m)", "Interval (s)")}
    for recorded in (near, by_speed):
        found = read(text(recorded, digits=12))
        assert [q.why for q in found.questions] == ["longitude and latitude swapped"]
    assert read(text(named(driven(lat0=48.0, lon0=16.0)), digits=12)).questions == ()


def test_a_position_here_and_there_may_be_rubbish_without_moving_the_rest() -> None:
    made = named()
    made["Latitude"] = made["Latitude"].copy()
    made["Latitude"][[5, 6]] = [400.0, 0.0]
    made["Longitude"] = made["Longitude"].copy()
    made["Longitude"][6] = 0.0
    lat = read(text(made)).rows.column("lat_deg")
    assert np.isnan(lat).nonzero()[0].tolist() == [5, 6]


@pytest.mark.parametrize(
    ("stamps", "clock", "first"),
    [
        (["2026-08-14T10:00:0{}Z"], "utc", 1_786_701_600.0),
        (["2026-08-14 10:00:0{}-06:00"], "utc", 1_786_723_200.0),
        (["2026-08-14 10:00:0{}"], "machine", 1_786_701_600.0),
        (["14.08.2026 10:00:0{}"], "machine", 1_786_701_600.0),
        (["8/14/2026 10:00:0{}"], "machine", 1_786_701_600.0),
        (["8/14/2026 10:00:0{} AM"], "machine", 1_786_701_600.0),
        (["2026-08-14T10:00:0{}-06"], "utc", 1_786_723_200.0),
    ],
)
def test_times_as_people_write_them(stamps: list[str], clock: str, first: float) -> None:
    table = {"Time": [stamps[0].format(i) for i in range(9)], "Speed (km/h)": np.full(9, 5.0)}
    found = read(text(table))
    assert found.rows.parts[0].clock == clock
    assert found.rows.column("time_s").tolist() == [first + i for i in range(9)]
    assert [q.what for q in found.questions] == (["zone"] if clock == "machine" else [])
    told = read(text(table), zone="+02:00")
    assert told.questions == ()
    assert told.rows.column("time_s")[0] == (first - 7200 if clock == "machine" else first)


@pytest.mark.parametrize("stamp", ["2026-08-14 15:{}:{:02d}", "2026-08-14T15:{}:{:02d}Z", "8/14/2026 3:{}:{:02d} PM"])
def test_a_cell_that_is_no_time_takes_no_other_with_it(stamp: str) -> None:
    stamps = [stamp.format(10 + k // 60, k % 60) for k in range(400)]
    stamps[7], stamps[8] = "####", "15:10"
    found = read(text({**named(leave=("time",)), "Time": np.array(stamps)}), zone="UTC")
    time = found.rows.column("time_s")
    assert np.flatnonzero(np.isnan(time)).tolist() == [7, 8]
    assert time[399] - time[0] == 399
    assert [(p.kind, p.count) for p in found.problems] == [("no time", 2)]


def test_records_in_no_order_of_time_are_refused() -> None:
    made = named(leave=("interval", "distance"))
    shuffled = np.random.default_rng(1).permutation(400)
    for order in (np.arange(400)[::-1], shuffled):
        with pytest.raises(InputError, match=r"stand in no order of time: \d+ of 399 steps go back; sort the rows"):
            read(text({header: values[order] for header, values in made.items()}))
    # A clock that starts anew with each pass goes back, and seldom.
    made["Elapsed (s)"] = made["Elapsed (s)"] % 100
    assert not read(text(made)).problems


def test_an_hour_that_the_clock_passes_twice_is_told() -> None:
    table = {k: v for k, v in named(leave=("interval", "distance")).items() if k != "Elapsed (s)"}
    table["Time"] = np.array([f"2026-10-25 02:{k // 60:02d}:{k % 60:02d}" for k in range(400)])
    (told,) = read(text(table), zone="Europe/Berlin").problems
    assert (told.kind, told.count) == ("hour passed twice", 400)
    for clear in ("UTC", "+01:00", "America/Regina"):
        assert not read(text(table), zone=clear).problems


def test_day_or_month_first_is_asked() -> None:
    table = {"Date": ["04/03/2026"] * 5, "Time": [f"10:00:0{i}" for i in range(5)], "Speed (km/h)": np.full(5, 5.0)}
    found = read(text(table), zone="utc")
    assert [(q.what, q.choices) for q in found.questions] == [("dates", ("dmy", "mdy"))]
    month, day = (read(text(table), zone="utc", dates=style).rows.column("time_s")[0] for style in ("mdy", "dmy"))
    # 4 March against 3 April.
    assert month - day == 30 * 86_400


@pytest.mark.parametrize(
    "day", [["20260814"], ["14.08.26"], ["08/14/26"], ["14-Aug-2026"], ["Aug 14 2026"], ["2026-08-14"], None]
)
def test_a_clocks_face_written_as_one_number(day: list[str] | None) -> None:
    second = 14 * 3600 + 58 * 60 + np.arange(0.0, 300.0, 2.5)
    face = [f"{t // 3600:.0f}{t // 60 % 60:02.0f}{t % 60:04.1f}" for t in second.tolist()]
    table = {"Time": face, "Speed (km/h)": np.full(120, 5.0)} | ({} if day is None else {"Date": day * 120})
    found = read(text(table), zone="-06:00")
    midnight = 0.0 if day is None else datetime(2026, 8, 14, 6, tzinfo=UTC).timestamp()
    np.testing.assert_allclose(found.rows.column("time_s"), midnight + second, rtol=0, atol=1e-6)
    assert found.rows.parts[0].clock == ("elapsed" if day is None else "utc")
    assert [p.kind for p in found.problems] == ([] if day else ["time of day without a date"])


def test_a_count_of_seconds_is_no_clocks_face() -> None:
    for count in (np.arange(0.0, 1200.0), np.arange(0.0, 6000.0, 100.0), 100.0 + np.arange(50.0)):
        table = {"Time": count, "Speed (km/h)": np.full(count.size, 5.0)}
        np.testing.assert_array_equal(read(text(table)).rows.column("time_s"), count)


def test_a_time_of_day_without_a_date_counts_from_midnight() -> None:
    found = read(text({"Time": [f"2:30:{k:02d} PM" for k in range(30)], "Speed (km/h)": np.full(30, 5.0)}))
    np.testing.assert_array_equal(found.rows.column("time_s"), 14.5 * 3600 + np.arange(30.0))
    assert found.rows.parts[0].clock == "elapsed"
    assert [p.kind for p in found.problems] == ["time of day without a date"]


def test_machines_that_stand_mixed_are_parted_before_anything_is_worked_out() -> None:
    """Ways and times from record to record are those of one machine: units are found, and nothing disagrees."""
    made = named(leave=("interval", "distance"))
    made["Flow"] = made.pop(NAMED["flow"])
    mixed = {k: np.repeat(v, 2) for k, v in made.items()}
    mixed[NAMED["lat"]] = mixed[NAMED["lat"]] + np.tile([0.0, 0.02], 400)
    mixed["Machine"] = np.array(["Larkhollow 1", "Larkhollow 2"] * 400)
    found = read(text(mixed))
    assert found.questions == found.problems == ()
    alone = read(text(made)).rows
    assert [part.machine for part in found.rows.parts] == ["Larkhollow 1", "Larkhollow 2"]
    for name in ("flow_kg_s", "interval_s", "distance_m"):
        np.testing.assert_array_equal(found.rows.column(name), np.tile(alone.column(name), 2))


@pytest.mark.parametrize(
    ("header", "value", "clock", "first"),
    [
        ("GPS seconds", 1_470_736_818.0, "utc", 1_470_736_818.0 + 315_964_800 - 18),
        ("Unix time", 1_786_701_600.0, "utc", 1_786_701_600.0),
        ("Time", 12.0, "elapsed", 12.0),
    ],
)
def test_counted_times(header: str, value: float, clock: str, first: float) -> None:
    rows = read(text({header: value + np.arange(9.0), "Speed (km/h)": np.full(9, 5.0)}, digits=13)).rows
    assert (rows.parts[0].clock, rows.column("time_s")[0]) == (clock, first)


def test_a_count_from_nobody_knows_where_is_asked() -> None:
    table = {"Time": 1_470_736_818.0 + np.arange(9.0), "Speed (km/h)": np.full(9, 5.0)}
    found = read(text(table, digits=13))
    assert found.questions[0].choices == ("time_s:elapsed", "time_s:unix", "time_s:gps")
    assert read(text(table, digits=13), columns={"Time": "time_s:unix"}).rows.column("time_s")[0] == 1_470_736_818.0


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (b"", "is empty"),
        (b"\n\n \n", "is empty"),
        (b"Speed (km/h),Width (m)\n", "holds no records"),
        (b"just a sentence\nand another\n", "no table of columns"),
        (b"PK\x03\x04\0\0\0\0", "is no text"),
        (b"a,b,c\n" + b"x,y,z\n" * 30, "no column that is known"),
        (gzip.compress(b"Speed (km/h),Width (m)\n" * 50, mtime=0)[:40], "is cut off"),
        (b'a,b\n"' + b"x" * 140_000 + b",1\n" * 50_000, "cannot be read as a table"),
        (b"\x1f\x8b\x08\x00rubbish that is no gzip", "is damaged"),
    ],
)
def test_what_is_no_table_is_refused(data: bytes, said: str) -> None:
    with pytest.raises(InputError, match=said):
        read(data)


def test_a_gzip_bomb_is_stopped(monkeypatch: pytest.MonkeyPatch) -> None:
    from chaffinch.fieldlog.reading import textfile

    monkeypatch.setattr(textfile, "MOST_BYTES", 1000)
    with pytest.raises(InputError, match="would unpack"):
        read(gzip.compress(bytes(100_000)))


def test_lines_above_units_below_and_ragged_rows() -> None:
    data = (
        "Exported 14 August\nLarkhollow\nSpeed,Width,Moisture,Note\nkm/h,m,%,\n"
        + "5.5,9.1,13.0,dusty\n" * 30
        + "5.5\n5.5,9.1,n/a,x,y,z\nfast,9.1,13.0,\n"
    )
    found = read(data.encode())
    assert found.rows.column("speed_kmh").size == 33
    told = {(p.kind, p.where): p.count for p in found.problems}
    assert told[("no number", "Speed")] == 1  # "fast"; n/a is a gap and no mistake
    assert ("no number", "Moisture") not in told
    # 32 rows of four and two longer or shorter ones: one cell too many is hidden by the short row before it.
    assert ("cells beyond the last column", "log") not in told
    assert found.matched == {"Speed": "speed_kmh:km/h", "Width": "width_m:m", "Moisture": "moisture_pct:%", "Note": "-"}
    assert np.isnan(found.rows.column("speed_kmh")[-1])


def test_without_a_header_somebody_says_what_the_columns_are() -> None:
    data = b"5.5,9.1\n" * 30
    with pytest.raises(InputError, match="column 1, column 2"):
        read(data)
    said = {"column 1": "speed_kmh:km/h", "column 2": "width_m:m"}
    assert len(read(data, columns=said).rows) == 30
    for bad, why in (({"column 9": "-"}, "is not in the table"), ({"column 1": "pace"}, "is nothing"),
                     ({"column 1": "speed_kmh:kg"}, "is no unit")):  # fmt: skip
        with pytest.raises(InputError, match=why):
            read(data, columns=bad)


def test_bushels_ask_for_their_weight_and_words_tell_what_works() -> None:
    made = named(leave=("yield",))
    made["Yield (bu/ac)"] = driven()["yield"] / (27.2155422 / (ACRE / 10_000) / 1000)
    made["In work"] = np.where(np.arange(400) < 390, "Down", np.where(np.arange(400) < 395, "up", "?"))
    found = read(text(made))
    assert [(q.what, q.why) for q in found.questions] == [("Yield (bu/ac)", "weight of a bushel")]
    told = read(text(made), bushel_kg=27.2155422)
    assert told.questions == told.problems == ()
    np.testing.assert_allclose(told.rows.column("yield_t_ha"), driven()["yield"], rtol=1e-7)
    assert np.bincount(np.nan_to_num(told.rows.column("in_work"), nan=2).astype(int)).tolist() == [5, 390, 5]


def test_cells_that_are_no_numbers_are_missing_and_a_number_of_rows_is_no_part() -> None:
    made = named()
    made["Part"] = np.arange(400)
    assert len(read(text(made)).rows.parts) == 400
    wild = named()
    wild["Moisture (%)"] = np.where(np.arange(400) % 5 == 0, "wet", "13.0")
    found = read(text(wild))
    assert [(p.kind, p.count) for p in found.problems] == [("no number", 80)]
    assert np.isnan(found.rows.column("moisture_pct")).sum() == 80


def test_a_number_without_end_is_missing_and_told() -> None:
    flow = driven()["flow"].copy()
    flow[::4] = np.inf
    found = read(text({**named(leave=("flow",)), NAMED["flow"]: flow}))
    assert [(p.kind, p.where, p.count) for p in found.problems] == [("no number", NAMED["flow"], 100)]


def test_rows_longer_than_the_header_are_told() -> None:
    data = b"Speed (km/h),Width (m)\n" + b"5.5,9.1\n" * 30 + b"5.5,9,1\n" * 3
    assert [(p.kind, p.count) for p in read(data).problems] == [("cells beyond the last column", 3)]
    assert read(b"Speed (km/h),Width (m)\n" + b"5.5,9.1\n" * 30).problems == ()
