"""A log's own loss sensors, from task data of ISO 11783-10 over import to the key of the loss monitor."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from chaffinch.book.checks.bars import bars
from chaffinch.book.checks.looking import readings
from chaffinch.fieldlog.answers import Answers
from chaffinch.fieldlog.reading.door import read_log
from chaffinch.fieldlog.rows import joined
from chaffinch.fieldlog.writing.records import write_log
from heard_logs import HEARD, heard_folder, true_kg_ha
from season_book import start, with_speeds


@pytest.fixture
def book(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv("CHAFFINCH_BOOK", raising=False)
    book = start(tmp_path / "larkhollow.chaffinch")
    with_speeds(book, repeats=1)
    return book


def noted(book):
    """Readings by sensor, in order of the checks' times."""
    found = {}
    for bar in bars(book.desk):
        found.setdefault(bar.sensor, []).append(float(bar.kept.body["reading"]))
    return found


def test_from_task_data_over_import_to_the_key_of_each_sensor(book, chaffinch, tmp_path):
    folder = heard_folder(tmp_path / "TASKDATA", offset_h=-6.0)
    ran = chaffinch("fieldlog", "import", str(folder), "--zone", "-06:00", "--to", "log.parquet")
    assert ran.status == 0, ran.err
    assert readings(book.desk, "monitor") == [], "looking at a log notes nothing"

    shown = chaffinch("fieldlog", "bars", "log.parquet", "--combine", "Old Bess", "--dry-run")
    assert "Nothing was noted; 24 readings would be." in shown.out, shown.err
    assert readings(book.desk, "monitor") == []

    ran = chaffinch("fieldlog", "bars", "log.parquet", "--combine", "Old Bess")
    assert ran.status == 0, ran.err
    assert "24 readings noted beside their checks." in ran.out
    assert "left sieve (g/s)" in ran.out
    assert max(len(line) for line in ran.out.splitlines()) <= 80
    again = chaffinch("fieldlog", "bars", "log.parquet", "--combine", "Old Bess", "--json").data
    assert again["written"] == 0
    assert {one["standing"] for one in again["readings"]} == {"noted"}

    # Each sensor apart, each at the part of the truth it hears.
    kept = noted(book)
    assert set(kept) == set(HEARD)
    for sensor, part in HEARD.items():
        for reading, speed in zip(kept[sensor], (4.0, 5.0, 6.0, 7.0, 8.0, 9.0), strict=True):
            per_s = 1.0 if sensor == "loss_kg_ha" else speed / 3.6 * 12.0
            assert reading == pytest.approx(part * true_kg_ha(speed) * per_s, rel=0.1), (sensor, speed)
    for bar in bars(book.desk):
        assert bar.kept.body["note"] == f"Field log: {bar.sensor}"
        assert bar.per == ("area" if bar.sensor == "loss_kg_ha" else "time")

    ran = chaffinch("monitor", "--combine", "Old Bess", "--crop", "canola")
    assert ran.status == 2
    assert "--sensor loss_kg_ha" in ran.err
    for sensor, part in (("left sieve (g/s)", 0.04), ("loss_kg_ha", 0.3)):
        name = "loss_left_sieve_g_s" if part == 0.04 else sensor
        shown = part * true_kg_ha(6.0) * (6.0 / 3.6 * 12.0 if part == 0.04 else 1.0)
        told = chaffinch("monitor", "--combine", "Old Bess", "--crop", "canola", "--sensor", name, "--bar",
                         f"{shown:.2f}", "--speed", "6 km/h", "--json")  # fmt: skip
        assert told.status == 0, told.err
        assert told.data["sensor"] == name
        assert len(told.data["pairs"]) == 6
        loss = told.data["now"]["loss_kg_ha"]
        assert loss["low"] < 30.0 < loss["high"]
        assert loss["median"] == pytest.approx(30.0, rel=0.15)


def test_one_reading_is_corrected_or_taken_back_and_stays_so(book, chaffinch, tmp_path):
    folder = heard_folder(tmp_path / "TASKDATA")
    assert chaffinch("fieldlog", "bars", str(folder), "--zone", "UTC", "--combine", "Old Bess").status == 0
    mine = [bar for bar in bars(book.desk) if bar.sensor == "loss_kg_ha"]
    wrong, other = mine[0].kept.id, mine[1].kept.id
    ran = chaffinch("book", "replace", wrong[:13], "--take-back", "--reason", "the sieve was blocked")
    assert ran.status == 0, ran.err
    assert f"check: {mine[0].check} → –" in chaffinch("book", "history", wrong[:13]).out, "what differs has its name"
    assert chaffinch("book", "replace", other[:13], "--bar", "7.5", "--reason", "misread").status == 0
    assert chaffinch("book", "replace", mine[2].check[:13], "--take-back", "--reason", "x").status == 2

    again = chaffinch("fieldlog", "bars", str(folder), "--zone", "UTC", "--combine", "Old Bess", "--json").data
    assert again["written"] == 0
    standing = {
        one["check"]: (one["standing"], one["noted"]) for one in again["readings"] if one["sensor"] == "loss_kg_ha"
    }
    assert standing[mine[0].check] == ("taken back", None)
    assert standing[mine[1].check] == ("noted", 7.5)
    told = chaffinch("monitor", "--combine", "Old Bess", "--crop", "canola", "--sensor", "loss_kg_ha", "--json").data
    assert len(told["pairs"]) == 5
    assert told["left_out"] == {"stand beside no check": 1}
    assert chaffinch("book", "replace", wrong[:13], "--put-back", "--reason", "it was not").status == 0
    told = chaffinch("monitor", "--combine", "Old Bess", "--crop", "canola", "--sensor", "loss_kg_ha", "--json").data
    assert len(told["pairs"]) == 6


def test_the_bar_in_the_cab_keeps_its_own_key(book, chaffinch, tmp_path):
    folder = heard_folder(tmp_path / "TASKDATA")
    chaffinch("fieldlog", "bars", str(folder), "--zone", "UTC", "--combine", "Old Bess")
    first = bars(book.desk)[0].check
    ran = chaffinch("book", "replace", first[:13], "--bar", "40", "--bar-per", "area", "--reason", "read later")
    assert ran.status == 0, ran.err
    assert "replaces" not in ran.out, "the readings of the log beside it stay as they are"
    told = chaffinch("monitor", "--combine", "Old Bess", "--crop", "canola", "--json").data
    assert told["sensor"] is None
    assert [one["reading"] for one in told["pairs"]] == [40.0]
    assert told["other_sensors"] == sorted(HEARD)


@pytest.mark.usefixtures("book")
def test_what_holds_no_readings_or_checks_is_said(chaffinch, tmp_path):
    log = str(Path(__file__).resolve().parents[2] / "examples" / "larkhollow-log.csv")
    ran = chaffinch("fieldlog", "bars", log, "--zone", "-06:00", "--combine", "Old Bess")
    assert ran.status == 2
    assert "holds no readings of a loss sensor" in ran.err
    folder = heard_folder(tmp_path / "TASKDATA")
    ran = chaffinch("fieldlog", "bars", str(folder), "--zone", "UTC", "--combine", "Young Bess")
    assert ran.status == 0, ran.err
    assert "No check of this combine was taken while the log ran steadily." in ran.out
    assert "0 readings noted" in ran.out


def test_each_machine_of_a_log_has_its_own_checks(book, chaffinch, tmp_path):
    own = read_log(heard_folder(tmp_path / "TASKDATA"), Answers(zone="UTC")).rows
    far = {name: 2 * own.columns[name] for name in HEARD} | {"lon_deg": own.columns["lon_deg"] + 0.05}
    second = replace(own.with_columns(far), parts=(replace(own.parts[0], machine="Young Bess"),))
    write_log(tmp_path / "both.parquet", joined([own, second]))
    book.check("Young Bess", 10, 10, speed_kmh=6.0, machine_kg_ha=60.0)
    refused = chaffinch("fieldlog", "bars", "both.parquet", "--combine", "Old Bess")
    assert (refused.status, "several machines" in refused.err) == (2, True)
    assert "--machine-is" in chaffinch("fieldlog", "bars", "both.parquet").err
    told = chaffinch("fieldlog", "bars", "both.parquet", "--machine-is", "Larkhollow 1=Old Bess", "--json").data
    assert told["written"] == 7 * 4
    at = {(one["combine"], one["sensor"]): one["reading"] for one in told["readings"] if "T10:" in one["taken_at"]}
    for sensor in HEARD:
        assert at["Young Bess", sensor] == pytest.approx(2 * at["Old Bess", sensor], rel=1e-3)
    one = chaffinch("fieldlog", "bars", "both.parquet", "--machine", "Young Bess", "--json").data
    assert ([c["name"] for c in one["combines"]], one["written"]) == (["Young Bess"], 0)
