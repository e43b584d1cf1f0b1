"""What is written is read again, in every format."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from made_tables import driven

from chaffinch.errors import InputError
from chaffinch.fieldlog.reading.door import read_log
from chaffinch.fieldlog.rows import LOSS_READINGS, Part, Rows
from chaffinch.fieldlog.writing.records import ENDINGS, write_log


def field(clock: str = "utc") -> Rows:
    made = driven(200)
    names = {"lon": "lon_deg", "lat": "lat_deg", "speed": "speed_kmh", "width": "width_m", "distance": "distance_m",
             "interval": "interval_s",
             "flow": "flow_kg_s", "yield": "yield_t_ha", "moisture": "moisture_pct"}  # fmt: skip
    columns = {names[k]: v.copy() for k, v in made.items() if k in names}
    columns["time_s"] = made["time"] + (0.25 if clock == "elapsed" else 1_786_701_600.25)
    columns["moisture_pct"][3] = np.nan
    columns["in_work"] = np.ones(200)
    for number, name in enumerate(LOSS_READINGS):
        columns[name] = np.linspace(0.0, 10.0 + number, 200)
    parts = (
        Part("log 1", "North quarter", "Larkhollow 1", clock),
        Part("log 2", "North quarter", "Larkhollow 1", clock),
    )
    return Rows(columns, np.repeat([0, 1], 100), parts)


@pytest.mark.parametrize("ending", ENDINGS)
@pytest.mark.parametrize("clock", ["utc", "machine", "elapsed"])
def test_what_is_written_is_read_again(tmp_path: Path, ending: str, clock: str) -> None:
    rows = field(clock)
    path = tmp_path / f"log{ending}"
    write_log(path, rows, beside={"flags": np.arange(200)})
    again = read_log(path)
    assert [q.what for q in again.questions] == (["zone"] if clock == "machine" else [])
    assert again.rows is not None
    for name, values in rows.columns.items():
        np.testing.assert_allclose(again.rows.column(name), values, rtol=1e-6, atol=1e-6, err_msg=name)
    assert [(p.field, p.machine, p.clock) for p in again.rows.parts] == [
        (p.field, p.machine, p.clock) for p in rows.parts
    ]
    assert again.rows.part.tolist() == rows.part.tolist()
    assert again.matched["flags"] == "-"


def test_a_file_that_is_there_stays_unless_it_may_go(tmp_path: Path) -> None:
    path = tmp_path / "log.csv"
    path.write_text("mine", encoding="utf-8")
    with pytest.raises(InputError, match="is there already"):
        write_log(path, field())
    assert path.read_text(encoding="utf-8") == "mine"
    write_log(path, field(), replace=True)
    assert len(read_log(path).rows) == 200


def test_a_map_needs_positions_and_an_ending_we_write(tmp_path: Path) -> None:
    rows = field()
    bare = Rows({"speed_kmh": rows.columns["speed_kmh"]}, rows.part, rows.parts)
    with pytest.raises(InputError, match="needs positions"):
        write_log(tmp_path / "log.gpkg", bare)
    write_log(tmp_path / "log.parquet", bare)
    with pytest.raises(InputError, match="ending we do not write"):
        write_log(tmp_path / "log.xlsx", rows)
    with pytest.raises(InputError, match="cannot be written"):
        write_log(tmp_path / "nowhere" / "log.csv", rows)
