"""The one table of field logs: what is missing stays missing, and parts stay apart."""

from __future__ import annotations

import numpy as np
import pytest

from chaffinch.errors import InputError
from chaffinch.fieldlog.rows import COLUMNS, Part, Rows, joined, out_of_range


def rows(parts: int = 1, **columns: list[float]) -> Rows:
    arrays = {name: np.array(values, float) for name, values in columns.items()}
    n = len(next(iter(arrays.values())))
    part = np.sort(np.arange(n) % parts)
    return Rows(arrays, part, tuple(Part(f"p{i}", field=f"f{i}") for i in range(parts)))


def test_every_column_carries_its_unit() -> None:
    for name, column in COLUMNS.items():
        ending = {"m2": "m2", "1/m2": "seeds_m2", "1/s": "seeds_s", "%": "pct", "km/h": "kmh"}.get(column.unit)
        ending = ending or column.unit.replace("/", "_")
        assert name.endswith(ending), name
        assert column.low < column.high


def test_a_missing_column_is_nan_and_stays_absent() -> None:
    table = rows(speed_kmh=[1.0, 2.0])
    assert np.isnan(table.column("yield_t_ha")).all()
    assert "yield_t_ha" not in table
    with pytest.raises(InputError, match="speed_mph"):
        table.column("speed_mph")


def test_throughput_is_the_flow_and_else_speed_width_and_yield() -> None:
    by_flow = rows(flow_kg_s=[10.0, np.nan], speed_kmh=[5.0, 5.0], width_m=[12.0, 12.0], yield_t_ha=[4.0, 4.0])
    assert by_flow.throughput_t_h() == pytest.approx([36.0, 24.0])  # 10 · 3.6; 5 · 12 · 4 / 10
    assert np.isnan(rows(speed_kmh=[5.0]).throughput_t_h()).all()


def test_joined_tables_keep_parts_and_gaps() -> None:
    both = joined([rows(2, speed_kmh=[1.0, 2.0]), rows(width_m=[9.0])])
    assert both.part.tolist() == [0, 1, 2]
    assert [p.name for p in both.parts] == ["p0", "p1", "p0"]
    np.testing.assert_array_equal(both.column("width_m"), [np.nan, np.nan, 9.0])
    assert both.part_slices() == [(0, slice(0, 1)), (1, slice(1, 2)), (2, slice(2, 3))]
    assert {k: len(v) for k, v in both.by_field().items()} == {"f0": 2, "f1": 1}


def test_what_no_record_can_hold_is_missing_and_counted() -> None:
    kept, counts = out_of_range({"moisture_pct": np.array([12.0, -1.0, 400.0, np.nan])})
    np.testing.assert_array_equal(kept["moisture_pct"], [12.0, np.nan, np.nan, np.nan])
    assert counts == {"moisture_pct": 2}


@pytest.mark.parametrize(
    ("columns", "part", "said"),
    [
        ({"speed_kmh": np.zeros(2)}, np.zeros(1, np.int64), "another length"),
        ({"speed": np.zeros(1)}, np.zeros(1, np.int64), "no column"),
        ({"speed_kmh": np.zeros(1)}, np.ones(1, np.int64), "not among the parts"),
    ],
)
def test_a_table_that_does_not_hold_together_is_refused(columns: dict, part: np.ndarray, said: str) -> None:
    with pytest.raises(InputError, match=said):
        Rows(columns, part, (Part("p"),))
