"""Three open folders of task data of a forage harvester, as published: counts, totals and checks of their description.

The figures come from the description that lies beside the files; they were found there with another reader.
"""

from __future__ import annotations

import numpy as np
import pytest
from open_logs import open_log

from chaffinch.fieldlog.answers import Answers, Found
from chaffinch.fieldlog.reading.isoxml import read_task_data
from chaffinch.fieldlog.reading.opened import opened

# records, flow over time [kg], counter [kg], first and last time, share at rest, share in work [%], long steps
LOGS = {
    "TLG00001": (4716, 259_542, 259_605, "2020-01-02 17:30:20", "2020-01-02 19:10:53", 27.2, 58.8, 1106),
    "TLG00003": (1599, 92_059, 91_885, "2020-01-02 20:58:32", "2020-01-02 21:33:13", 6.5, 65.6, 400),
    "TLG00006": (187, 10_166, 10_177, "2020-01-03 00:00:11", "2020-01-03 00:03:49", 8.0, 67.4, 32),
    "TLG00007": (3883, 224_841, 224_877, "2020-01-03 00:20:28", "2020-01-03 01:43:14", 10.7, 66.9, 908),
}


BOXES = {
    "TLG00001": [10.20685, 54.58070, 10.21199, 54.58308],
    "TLG00003": [10.21327, 54.56778, 10.21543, 54.56931],
    "TLG00006": [10.18611, 54.57340, 10.18923, 54.57405],
    "TLG00007": [10.18587, 54.57199, 10.19109, 54.57399],
}


def read(name: str) -> Found:
    return read_task_data(opened(open_log(name)), Answers(zone="utc"))


@pytest.fixture(scope="module")
def valid() -> Found:
    return read("isoxml_valid")


def test_the_sound_folder_has_every_record(valid: Found) -> None:
    assert len(valid.rows) == 10_385
    assert [p.kind for p in valid.problems] == ["beyond any record"] * 3  # yields of above 1000 t/ha
    assert valid.questions == ()


@pytest.mark.parametrize("name", LOGS)
def test_each_log_is_as_described(valid: Found, name: str) -> None:
    from chaffinch.fieldlog.reading.clockwork import as_text

    count, flow_kg, counter_kg, first, last, rest, work, long = LOGS[name]
    number = [p.name for p in valid.rows.parts].index(name)
    rows = valid.rows.where(valid.rows.part == number)
    time, flow, speed = (rows.column(k) for k in ("time_s", "flow_kg_s", "speed_kmh"))
    assert len(rows) == count
    assert (as_text(time[0]), as_text(time[-1])) == (first, last)
    assert round(float(np.nansum(flow[:-1] * np.diff(time)))) == flow_kg
    counter = rows.column("total_kg")
    assert counter[-1] - np.nanmin(counter) == counter_kg  # the second log of a task carries its counter on
    assert round(100 * float((speed == 0).mean()), 1) == rest
    assert round(100 * float((rows.column("in_work") == 1).mean()), 1) == work
    assert int((np.diff(time) > 1.5).sum()) == long
    assert (rows.column("gnss_status") == 15).all()
    lon, lat = rows.column("lon_deg"), rows.column("lat_deg")
    box = [np.nanmin(lon), np.nanmin(lat), np.nanmax(lon), np.nanmax(lat)]
    assert [round(float(edge), 5) for edge in box] == pytest.approx(BOXES[name], abs=1.1e-5)
    moving = (speed > 0) & (rows.column("yield_t_ha") > 0) & (rows.column("width_m") > 0)
    # kg/s over t/ha · m · km/h: 1 t/ha · 1 m · 1 km/h is 1/36 kg/s.
    identity = 36 * flow[moving] / (rows.column("yield_t_ha") * rows.column("width_m") * speed)[moving]
    low, high = np.quantile(identity, [0.05, 0.95])
    assert 0.9995 < low < high < 1.0025
    if name in ("TLG00001", "TLG00003"):
        part = rows.parts[number]
        assert (part.total_kg, part.total_area_m2) == {"TLG00001": (259_605, 48_300), "TLG00003": (91_885, 19_500)}[
            name
        ]


@pytest.mark.parametrize(
    ("folder", "records", "told"),
    [
        ("isoxml_broken", 2769, {("not readable", "TLG00003")}),
        ("isoxml_missing", 4867, {("log missing", f"TLG000{n}") for n in ("03", "06", "25")}),
    ],
)
def test_what_is_sound_in_a_damaged_folder_is_read(folder: str, records: int, told: set) -> None:
    found = read(folder)
    assert len(found.rows) == records
    assert {(p.kind, p.where) for p in found.problems if p.kind != "beyond any record"} == told


def test_speed_is_the_makers_own_and_says_so(valid: Found) -> None:
    assert "from positions" in valid.rows.derived["speed_kmh"]
