"""Folders and zips of task data: what becomes a record, what is told, what is asked, what is refused."""

from __future__ import annotations

import zipfile
from pathlib import Path

import numpy as np
import pytest
from made_timelogs import (
    FLOW,
    LOSS,
    MOISTURE,
    SPEED,
    TOTAL,
    WIDTH,
    WORK,
    YIELD,
    Record,
    folder,
    straight,
    taskdata_xml,
    tlg_bin,
    tlg_xml,
)

from chaffinch.book.fieldlogs.one_log import inspect_log
from chaffinch.errors import InputError
from chaffinch.fieldlog.answers import Answers, Found
from chaffinch.fieldlog.reading.isoxml import is_task_data, read_task_data
from chaffinch.fieldlog.reading.opened import opened
from chaffinch.reference.fieldlogs import entries

DLVS = [(k, "DET-1") for k in (WIDTH, YIELD, FLOW, TOTAL, MOISTURE, WORK, SPEED, LOSS)]
START = 315_532_800 + 17_027 * 86_400 + 36_000


def read(path: Path, **answers) -> Found:
    return read_task_data(opened(path), Answers(**answers))


def kinds(found: Found) -> list[str]:
    return [p.kind for p in found.problems]


def test_a_log_becomes_records_in_our_units(tmp_path: Path) -> None:
    records = straight(3)
    records[0].values = [(0, 9144), (1, 420_000), (2, 7_500_000), (3, 12), (4, 135_000), (5, 1), (6, 1944), (7, 6_000)]
    records[2].values = [(5, 3)]
    found = read(folder(tmp_path / "a", records, DLVS), zone="-06:00")
    rows = found.rows
    assert found.questions == found.problems == ()
    first = {name: float(rows.column(name)[0]) for name in rows.columns}
    # 9144 mm; 420,000 mg/m2; 7.5e6 mg/s; 135,000 ppm; 1944 mm/s; 6,000 mg/m2 (the resolutions of the dictionary).
    assert first == pytest.approx(
        {"time_s": START + 6 * 3600, "lat_deg": 50.0, "lon_deg": -100.0, "gnss_status": 2.0, "width_m": 9.144,
         "yield_t_ha": 4.2, "flow_kg_s": 7.5, "total_kg": 12.0, "moisture_pct": 13.5, "in_work": 1.0,
         "speed_kmh": 6.9984, "loss_kg_ha": 60.0}
    )  # fmt: skip
    assert np.isnan(rows.column("in_work")[2])  # 3 is "not available"
    part = rows.parts[0]
    assert (part.name, part.field, part.machine, part.clock) == ("TLG00001", "North quarter", "Larkhollow 1", "utc")


def test_the_machines_clock_asks_for_its_zone_and_gps_time_does_not(tmp_path: Path) -> None:
    found = read(folder(tmp_path / "a", straight(3), DLVS))
    assert [q.what for q in found.questions] == ["zone"]
    assert found.rows.parts[0].clock == "machine"
    assert found.rows.column("time_s")[0] == START
    records = [Record(36_000_000, position={"H": 57_600_000, "I": 17_027}) for _ in range(3)]
    gps = read(folder(tmp_path / "b", records, DLVS, "ABHI"))
    assert (gps.questions, gps.rows.parts[0].clock) == ((), "utc")
    assert gps.rows.column("time_s")[0] == START + 6 * 3600
    with pytest.raises(InputError, match="is no time zone"):
        read(tmp_path / "a", zone="Saskatchewan time")


@pytest.mark.parametrize("zone", ["+05:30", "America/Regina", "utc", "-0600"])
def test_zones_are_written_as_people_write_them(tmp_path: Path, zone: str) -> None:
    shift = {"+05:30": -19_800, "utc": 0}.get(zone, 21_600)
    assert read(folder(tmp_path / "a", straight(1), DLVS), zone=zone).rows.column("time_s")[0] == START + shift


def test_the_whole_machine_comes_before_its_pieces_and_pieces_are_added_up(tmp_path: Path) -> None:
    elements = (("DET-1", 1), ("DET-2", 4), ("DET-3", 4))
    dlvs = [(WIDTH, "DET-2"), (WIDTH, "DET-3"), (FLOW, "DET-2"), (FLOW, "DET-1"), (FLOW, "DET-3")]
    records = straight(3, values=[(0, 4000), (1, 5000), (2, 1), (3, 8_000_000), (4, 2)])
    records[0].values = [(0, 4000), (3, 8_000_000)]
    rows = read(folder(tmp_path / "a", records, dlvs, elements=elements)).rows
    assert rows.column("width_m").tolist() == [4.0, 9.0, 9.0]
    assert rows.column("flow_kg_s").tolist() == [8.0, 8.0, 8.0]


def test_two_elements_that_disagree_are_asked_about(tmp_path: Path) -> None:
    elements = (("DET-1", 2), ("DET-2", 2))
    dlvs = [(YIELD, "DET-1"), (YIELD, "DET-2"), (MOISTURE, "DET-1"), (MOISTURE, "DET-2")]
    values = [(0, 400_000), (1, 410_000), (2, 130_000), (3, 130_000)]
    path = folder(tmp_path / "a", straight(3, values=values), dlvs, elements=elements)
    found = read(path, zone="utc")
    assert [(q.what, q.choices) for q in found.questions] == [("element yield_t_ha", ("DET-1", "DET-2"))]
    assert "yield_t_ha" not in found.rows
    assert found.rows.column("moisture_pct")[0] == 13.0  # alike: nothing to ask
    told = read(path, zone="utc", elements={"yield_t_ha": "DET-2"})
    assert told.questions == ()
    assert told.rows.column("yield_t_ha")[0] == pytest.approx(4.1)
    with pytest.raises(InputError, match="DET-1, DET-2"):
        read(path, elements={"yield_t_ha": "DET-9"})


def own_channel(raw: int, unit: str = "km/h") -> tuple[list[tuple[int, str]], list[Record], str]:
    quantities = (
        f'<DPD A="9" B="EA7E" C="1" D="1" E="Geschwindigkeit" F="7"/><DVP A="7" B="0" C="0.1" D="1" E="{unit}"/>'
    )
    return [(0xEA7E, "DET-1")], straight(60, values=[(0, raw)]), quantities


def test_a_makers_own_speed_is_taken_where_positions_bear_it_out(tmp_path: Path) -> None:
    dlvs, records, quantities = own_channel(56)  # 140 · 1e-7 degrees of latitude a second are 5.6 km/h
    rows = read(folder(tmp_path / "a", records, dlvs, quantities=quantities)).rows
    assert rows.column("speed_kmh")[5] == pytest.approx(5.6)
    assert rows.derived["speed_kmh"].startswith("Geschwindigkeit: 0 %")
    for raw, unit in ((80, "km/h"), (56, "UPM")):
        dlvs, records, quantities = own_channel(raw, unit)
        assert "speed_kmh" not in read(folder(tmp_path / unit / str(raw), records, dlvs, quantities=quantities)).rows


def test_no_fix_is_no_place_in_the_gulf_of_guinea(tmp_path: Path) -> None:
    records = straight(4)
    records[1].position = {"A": 0, "B": 0, "D": 0}
    records[2].position = {"A": 0x7FFFFFFF, "B": 0x7FFFFFFF, "D": 15}
    rows = read(folder(tmp_path / "a", records, DLVS)).rows
    assert np.isnan(rows.column("lat_deg")).tolist() == [False, True, True, False]


def test_a_wrong_first_date_is_missing_and_told(tmp_path: Path) -> None:
    records = straight(5)
    records[0].day = 0
    found = read(folder(tmp_path / "a", records, DLVS))
    assert np.isnan(found.rows.column("time_s")).tolist() == [True, False, False, False, False]
    assert kinds(found) == ["first dates wrong"]


def test_a_broken_folder_gives_what_is_good_and_tells_the_rest(tmp_path: Path) -> None:
    where = folder(tmp_path / "a", straight(5), DLVS)
    logs = ("TLG00001", "TLG00002", "TLG00003", "TLG00004", "TLG00005")
    (where / "TASKDATA.XML").write_text(taskdata_xml(logs, inside='<XFR A="PFD00001" B="1"/>'), encoding="utf-8")
    (where / "tlg00002.xml").write_text(tlg_xml(DLVS)[:-20], encoding="utf-8")
    (where / "tlg00002.bin").write_bytes(tlg_bin(straight(2)))
    (where / "TLG00003.XML").write_text(tlg_xml(DLVS), encoding="utf-8")
    (where / "TLG00005.XML").write_text(tlg_xml(DLVS), encoding="utf-8")
    (where / "TLG00005.BIN").write_bytes(b"")
    (where / "TLG00009.bin").write_bytes(b"x")
    found = read(where, zone="utc")
    assert len(found.rows) == 5
    assert [(p.kind, p.where) for p in found.problems] == [
        ("file missing", "PFD00001"),
        ("not readable", "TLG00002"),
        ("log missing", "TLG00003"),
        ("log missing", "TLG00004"),
        ("empty log", "TLG00005"),
        ("log of no task", "TLG00009"),
    ]


def test_a_field_in_a_file_of_its_own_is_found(tmp_path: Path) -> None:
    where = folder(tmp_path / "a", straight(2), DLVS, inside='<XFR A="PFD00001" B="1"/>')
    text = (where / "TASKDATA.XML").read_text(encoding="utf-8").replace('E="PFD1"', 'E="PFD7"')
    (where / "TASKDATA.XML").write_text(text, encoding="utf-8")
    (where / "PFD00001.XML").write_text('<XFC><PFD A="PFD7" C="River field" D="1"/></XFC>', encoding="utf-8")
    assert read(where).rows.parts[0].field == "River field"


def test_totals_belong_to_logs_only_where_there_are_as_many(tmp_path: Path) -> None:
    one = '<TIM A="2026-08-14T10:00:00" D="4"><DLV A="005A" B="2500" C="DET-1"/></TIM>'
    assert read(folder(tmp_path / "a", straight(2), DLVS, totals=one)).rows.parts[0].total_kg == 2500.0
    assert np.isnan(read(folder(tmp_path / "b", straight(2), DLVS, totals=one * 2)).rows.parts[0].total_kg)


@pytest.mark.parametrize("version", [3, 4])
def test_zips_are_read_wherever_the_folder_lies(tmp_path: Path, version: int) -> None:
    where = folder(tmp_path / "a", straight(7), DLVS, version=version)
    for n, top in enumerate(("", "TASKDATA/", "card/2026/TASKDATA/")):
        path = tmp_path / f"{n}.zip"
        with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as box:
            for file in where.iterdir():
                box.write(file, top + file.name)
                box.writestr(f"__MACOSX/{top}._{file.name}", b"\0\5\26\7")
        assert is_task_data(opened(path))
        found = read(path)
        assert (len(found.rows), kinds(found)) == (7, [])


def test_the_same_folder_twice_in_a_zip_counts_once_and_another_counts(tmp_path: Path) -> None:
    one, other = folder(tmp_path / "a", straight(7), DLVS), folder(tmp_path / "b", straight(4), DLVS)
    path = tmp_path / "c.zip"
    with zipfile.ZipFile(path, "w") as box:
        for top, where in (("TASKDATA/", one), ("copy/TASKDATA/", one), ("other/TASKDATA/", other)):
            for file in where.iterdir():
                box.write(file, top + file.name)
    found = read(path)
    assert len(found.rows) == 11
    assert kinds(found) == ["same folder twice"]
    assert len({p.name for p in found.rows.parts}) == 2


def test_a_log_that_is_named_twice_counts_once(tmp_path: Path) -> None:
    where = folder(tmp_path / "TASKDATA", straight(30), DLVS)
    described = where / "TASKDATA.XML"
    again = '<TSK A="TSK2" B="u" E="PFD1" G="4"><TLG A="TLG00001" C="1"/></TSK></ISO11783_TaskData>'
    described.write_text(described.read_text(encoding="utf-8").replace("</ISO11783_TaskData>", again), encoding="utf-8")
    found = read(where)
    assert len(found.rows) == 30
    assert [(p.kind, p.where, p.detail) for p in found.problems] == [("log named twice", "TLG00001", "TSK2")]


def test_a_counter_that_was_carried_on_counts_what_it_went_up(tmp_path: Path) -> None:
    # The second log of a task: its counter starts where the first one's ended, and the task states where it ended.
    records = straight(3)
    for record, total in zip(records, (10_227, 10_300, 12_727), strict=True):
        record.values = [(0, total)]
    stated = '<TIM A="2026-08-14T10:00:00" D="4"><DLV A="005A" B="12727"/><DLV A="0074" B="52000"/></TIM>'
    (part,) = inspect_log(folder(tmp_path / "a", records, [(TOTAL, "DET-1")], totals=stated)).parts
    assert part.stated_t == 2.5
    assert part.stated_ha == 5.2  # no counter of its own: as stated


def test_grain_by_volume_is_weighed_by_the_density_recorded_or_a_bushel_told(tmp_path: Path) -> None:
    # 5,000 ml/s at 0.77 kg/l; 650 ml/m2 = 6,500 l/ha; the bushel of wheat, 60 lb, is 0.7723 kg/l.
    values = [(0, 9000), (1, 650), (2, 5000)]
    dlvs = [(WIDTH, "DET-1"), (0x53, "DET-1"), (0x56, "DET-1")]
    with_density = folder(tmp_path / "a", straight(5, values=[*values, (3, 770_000)]), [*dlvs, (0x79, "DET-1")])
    rows = read(with_density, zone="utc").rows
    np.testing.assert_allclose(rows.column("flow_kg_s"), 3.85)
    np.testing.assert_allclose(rows.column("yield_t_ha"), 5.005)
    assert rows.derived["flow_kg_s"] == "volume × density recorded"
    bare = folder(tmp_path / "b", straight(5, values=values), dlvs)
    assert [q.why for q in read(bare, zone="utc").questions] == ["weight of a volume"]
    rows = read(bare, zone="utc", bushel_kg=60 * 0.45359237).rows
    np.testing.assert_allclose(rows.column("yield_t_ha"), 6500 * 60 * 0.45359237 / 35.23907016688 / 1000)
    # A mass that was recorded needs no volume.
    both = folder(tmp_path / "c", straight(5, values=[*values, (3, 4_000_000)]), [*dlvs, (FLOW, "DET-1")])
    found = read(both, zone="utc")
    assert found.questions == ()
    np.testing.assert_allclose(found.rows.column("flow_kg_s"), 4.0)
    assert "flow_kg_s" not in found.rows.derived


def test_dictionary_entries_are_those_printed() -> None:
    assert {e.column: e.ddi for e in entries().values()} == {
        "volume_yield_l_ha": 83, "volume_flow_l_s": 86, "density_kg_l": 121,
        "width_m": 67, "yield_t_ha": 84, "flow_kg_s": 87, "total_kg": 90, "loss_ml_m2": 92, "loss_kg_ha": 93,
        "loss_seeds_m2": 94, "loss_ml_s": 95, "loss_g_s": 96, "loss_seeds_s": 97, "loss_share_pct": 98,
        "moisture_pct": 99, "total_area_m2": 116, "in_work": 141, "speed_kmh": 397,
    }  # fmt: skip


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "is not whole XML"),
        ("<ISO11783_TaskData><TSK", "is not whole XML"),
        ("<kml/>", "is no ISO 11783 task data"),
        ('<!DOCTYPE a [<!ENTITY b "c">]><ISO11783_TaskData A="&b;"/>', "holds entities"),
        ("<ISO11783_TaskData/>", "no time log"),
    ],
)
def test_what_is_no_task_data_is_refused_with_its_reason(tmp_path: Path, text: str, said: str) -> None:
    (tmp_path / "TASKDATA.XML").write_text(text, encoding="utf-8")
    with pytest.raises(InputError, match=said):
        read(tmp_path)
