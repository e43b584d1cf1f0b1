"""Loss sensors of a log: each apart by its name, read in the steady time before a check, as late as the flow."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from made_timelogs import LOSS, folder, straight

from chaffinch.fieldlog.cleaning.clean import clean
from chaffinch.fieldlog.cleaning.lag import Lag
from chaffinch.fieldlog.derive import completed
from chaffinch.fieldlog.loss.sensor import at_moments, sensors
from chaffinch.fieldlog.reading.door import read_log
from chaffinch.fieldlog.rows import LOSS_READINGS, Part, Rows, joined, loss_reading, sensor_column
from chaffinch.fieldlog.writing.records import write_log

GRAMS_S = 0x60


def a_log(**more: np.ndarray) -> Rows:
    n = 200
    columns = {
        "time_s": 1e9 + np.arange(n),
        "lon_deg": np.full(n, -104.6),
        "lat_deg": 50.4 + np.arange(n) * 1.5e-5,
        "speed_kmh": np.full(n, 6.0),
        "width_m": np.full(n, 12.0),
        "flow_kg_s": np.full(n, 5.0),
        **more,
    }
    return completed(Rows(columns, np.zeros(n, np.int64), (Part("log", "f", "Old Bess", "utc"),)))


def test_names_of_sensors_come_back_out_of_their_columns() -> None:
    for reading in LOSS_READINGS:
        for name, plain in (("Left sieve", "left_sieve"), ("Сито 2", "сито_2"), ("rotor/grate", "rotor_grate")):
            assert loss_reading(sensor_column(reading, name)) == (reading, plain)
        assert sensor_column(reading, " – ") == reading
        assert loss_reading(reading) == (reading, "")
    for other in ("flow_kg_s", "loss", "loss_left", "loss_Left_g_s", "loss__g_s", "speed_g_s"):
        assert loss_reading(other) is None


def test_the_window_is_the_steady_one_shifted_by_the_lag() -> None:
    shown = np.zeros(200)
    shown[100:140] = 3.0  # heard from second 100 to 139
    cleaned = clean(a_log(loss_g_s=shown))
    steady = replace(cleaned, flags=np.zeros(200, np.uint16), lags={"Old Bess": Lag(0.0, 0.5, 100, True)})
    at = np.array([1e9 + 160.0, 1e9 + 170.0, 1e9 + 150.0, 1e9 + 500.0])
    assert at_moments(steady, shown, at)[:3].tolist() == [3.0, 3.0, 3.0]
    assert np.isnan(at_moments(steady, shown, at)[3])
    # Cut 60 to 20 s before second 160 and heard 30 s late would be past the catch: 20 s is the most that is put back.
    for lag_s, first, last in ((0.0, 100, 139), (10.0, 110, 149), (30.0, 120, 159), (-5.0, 100, 139)):
        late = replace(steady, lags={"Old Bess": Lag(lag_s, 0.5, 100, True)})
        mark = np.zeros(200)
        mark[first : last + 1] = 1.0
        assert at_moments(late, mark, at[:1]).tolist() == [1.0]
        assert at_moments(late, 1.0 - mark, at[:1]).tolist() == [0.0]


def test_records_that_are_no_cutting_are_left_out() -> None:
    shown = np.full(200, 2.0)
    shown[110:130] = 90.0
    cleaned = clean(a_log(loss_g_s=shown, in_work=np.where(shown > 50, 0.0, 1.0)))
    assert at_moments(cleaned, shown, np.array([1e9 + 160.0])).tolist() == [2.0]


def test_several_sensors_stay_apart_through_files(tmp_path: Path) -> None:
    n = 200
    rows = a_log(
        loss_left_g_s=np.full(n, 2.0), loss_right_g_s=np.full(n, 3.0), loss_kg_ha=np.full(n, 4.0),
        loss_empty_g_s=np.zeros(n),
    )  # fmt: skip
    names = ["loss_kg_ha", "loss_left_g_s", "loss_right_g_s"]
    for ending in (".parquet", ".gpkg", ".geojson", ".csv"):
        path = tmp_path / f"log{ending}"
        write_log(path, rows)
        found = read_log(path)
        assert not found.questions
        assert found.rows is not None
        heard = sensors(clean(completed(found.rows)))
        assert [one.column for one in heard] == names
        assert [float(one.shown[0]) for one in heard] == [4.0, 2.0, 3.0]
        assert [one.per for one in heard] == ["area", "time", "time"]
    one, other = rows, a_log(loss_left_g_s=np.ones(n))
    both = joined([one, other])
    assert np.isnan(both.columns["loss_right_g_s"][n:]).all()
    assert both.columns["loss_left_g_s"][n] == 1.0


@pytest.mark.parametrize(
    ("elements", "dlvs", "wanted"),
    [
        ([("DET-1", 1)], ["DET-1"], {"loss_kg_ha"}),
        ([("DET-1", 1), ("DET-2", 2, "Shoe")], ["DET-2"], {"loss_shoe_kg_ha"}),
        ([("DET-1", 1), ("DET-2", 2)], ["DET-2"], {"loss_kg_ha"}),
        ([("DET-1", 1), ("DET-2", 2, "Shoe")], ["DET-1", "DET-2"], {"loss_kg_ha", "loss_shoe_kg_ha"}),
        ([("DET-2", 2, "Shoe"), ("DET-3", 2, "Shoe")], ["DET-2", "DET-3"], {"loss_shoe_kg_ha", "loss_det_3_kg_ha"}),
        ([("DET-2", 2), ("DET-3", 2)], ["DET-2", "DET-3"], {"loss_det_2_kg_ha", "loss_det_3_kg_ha"}),
        ([("DET-1", 1)], ["DET-7", "DET-8"], {"loss_det_7_kg_ha", "loss_det_8_kg_ha"}),
    ],
)
def test_sensors_of_task_data_go_by_the_name_of_their_part(
    tmp_path: Path, elements: list, dlvs: list[str], wanted: set[str]
) -> None:
    records = straight(5, values=[(k, 1000 + 500 * k) for k in range(len(dlvs))])
    where = folder(tmp_path / "t", records, [(LOSS, det) for det in dlvs], elements=elements)
    found = read_log(where)
    assert found.rows is not None
    assert {name for name in found.rows.columns if name.startswith("loss_")} == wanted
    assert [question.what for question in found.questions] == ["zone"]
    for k, det in enumerate(dlvs):
        name = next((n for n in wanted if det.lower().replace("-", "_") in n), None)
        if name is not None:
            assert found.rows.columns[name].tolist() == [10.0 + 5.0 * k] * 5


def test_a_table_of_others_may_say_which_sensor_a_column_is(tmp_path: Path) -> None:
    from chaffinch.fieldlog.answers import Answers

    path = tmp_path / "log.csv"
    path.write_text("Speed (km/h),Loss L,Loss R\n" + "5,1.5,2.5\n" * 20, encoding="utf-8")
    said = {"Loss L": "loss_left_g_s", "Loss R": "loss_right_g_s"}
    found = read_log(path, Answers(columns=said))
    assert found.rows is not None
    assert found.rows.columns["loss_left_g_s"][0] == 1.5
    assert {name: found.matched[name] for name in said} == said


def test_flow_of_sections_is_still_added_up(tmp_path: Path) -> None:
    records = straight(5, values=[(0, 2000), (1, 3000)])
    elements = [("DET-2", 4, "Left"), ("DET-3", 4, "Right")]
    where = folder(tmp_path / "t", records, [(GRAMS_S, "DET-2"), (GRAMS_S, "DET-3")], elements=elements)
    rows = read_log(where).rows
    assert rows is not None
    told = {name: float(rows.columns[name][0]) for name in rows.columns if name.startswith("loss_")}
    assert told == {"loss_g_s": 5.0, "loss_left_g_s": 2.0, "loss_right_g_s": 3.0}
