"""Two open logs as published, imported without editing, and a plain numpy road to the same totals."""

from __future__ import annotations

import csv
import gzip

import numpy as np
import pytest
from open_logs import open_log

from chaffinch.fieldlog.cleaning.clean import clean
from chaffinch.fieldlog.derive import recomputed_over_recorded
from chaffinch.fieldlog.reading.door import read_log


def plain(name: str) -> dict[str, np.ndarray]:
    """The second road: Python's own reader, column by column."""
    with gzip.open(open_log(name), "rt", encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    return {k: np.array([float(r[k]) for r in rows]) for k in rows[0] if k != "field_id"}


def test_the_wheat_log_imports_and_its_yield_agrees() -> None:
    found = read_log(open_log("wheat_log.csv.gz"))
    assert found.questions == found.problems == ()
    rows = found.rows
    assert len(rows) == 31_276
    assert np.bincount(rows.part).tolist() == [11_171, 10_373, 9_732]
    ratio = recomputed_over_recorded(rows)
    # As its description has it: 0.99945 to 1.00063, median 0.999995.
    assert [round(float(q), 5) for q in np.quantile(ratio, [0, 1])] == [0.99945, 1.00063]
    assert np.median(ratio) == pytest.approx(0.999995, abs=1e-6)
    for number, (tonnes, hectares) in enumerate(((106.87, 26.548), (83.09, 25.028), (76.45, 23.035))):
        mine = rows.where(rows.part == number)
        assert round(float((mine.column("flow_kg_s") * mine.column("interval_s")).sum()) / 1000, 2) == tonnes
        assert round(float(mine.area_m2().sum()) / 10_000, 3) == hectares
    other = plain("wheat_log.csv.gz")
    assert float((other["grain_flow_kg_s"] * other["interval_s"]).sum()) == pytest.approx(
        float((rows.column("flow_kg_s") * rows.column("interval_s")).sum()), rel=1e-12
    )


@pytest.mark.parametrize(("name", "most"), [("wheat_log.csv.gz", 0.15), ("corn_log.csv.gz", 0.12)])
def test_cleaning_an_open_log_warns_of_nothing(name: str, most: float) -> None:
    cleaned = clean(read_log(open_log(name)).rows)
    assert 0.03 < cleaned.share_flagged < most  # reviews print 10 to 50 % of raw records; these were picked over before
    assert cleaned.too_much() == ()


def test_the_corn_log_gets_its_speed_and_yield() -> None:
    found = read_log(open_log("corn_log.csv.gz"))
    assert found.questions == found.problems == ()
    rows = found.rows
    assert len(rows) == 4_949
    assert set(rows.derived) == {"speed_kmh", "yield_t_ha"}
    assert float((rows.column("flow_kg_s") * rows.column("interval_s")).sum()) / 1000 == pytest.approx(
        232.94, abs=0.005
    )
    assert float((rows.column("distance_m") * 9.144).sum()) / 10_000 == pytest.approx(27.37, abs=0.005)
    # Its description: 8.588 t/ha at the middle with the recorded width, after moisture above 15.5 % is taken off.
    moisture = rows.column("moisture_pct")
    market = rows.column("yield_t_ha") * np.minimum((100 - moisture) / (100 - 15.5), np.inf)
    assert float(np.median(market)) == pytest.approx(8.588, abs=0.001)
