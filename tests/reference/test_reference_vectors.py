"""The carried test vectors are whole: every record says where it came from and how closely it can be met."""

import json
import math
from pathlib import Path
from typing import Any

import pytest

VECTORS = Path(__file__).parents[1] / "vectors"
FILES = {
    name: json.loads((VECTORS / name).read_text(encoding="utf-8"))
    for name in ("published_loss.json", "published_econ.json")
}
RECORDS = [
    pytest.param(name, record, id=f"{name.removesuffix('.json')}-{record['id']}")
    for name, whole in FILES.items()
    for record in whole["records"]
]


def _gap(one: Any, other: Any) -> float:
    if isinstance(one, dict):
        assert one.keys() == other.keys()
        return max(_gap(one[key], other[key]) for key in one)
    if isinstance(one, list):
        return max(_gap(a, b) for a, b in zip(one, other, strict=True))
    return float(abs(one - other))


@pytest.mark.parametrize(("name", "count"), [("published_loss.json", 103), ("published_econ.json", 91)])
def test_no_record_is_lost_or_doubled(name: str, count: int) -> None:
    whole = FILES[name]
    ids = [record["id"] for record in whole["records"]]
    assert whole["about"]["records"] == count == len(ids) == len(set(ids))
    cited = {record["source"]["id"] for record in whole["records"]}
    assert cited == set(whole["sources"])
    for source in whole["sources"].values():
        assert set(source) == {"title", "org", "year", "number", "url"}
        assert source["title"]


@pytest.mark.parametrize(("name", "record"), RECORDS)
def test_every_record_has_origin_source_and_tolerance(name: str, record: dict[str, Any]) -> None:
    assert record["origin"] in {"printed", "memory", "derived"}
    assert record["source"]["id"] in FILES[name]["sources"]
    assert record["tolerance_why"].strip()
    assert record["inputs"] or record["expected"]
    tolerance = record["tolerance"]
    if isinstance(tolerance, dict):
        assert set(tolerance) <= set(record["expected"] or record["recomputed"])
        assert all(math.isfinite(value) and value > 0 for value in tolerance.values())
    elif tolerance is None:
        assert name == "published_econ.json"
        assert not record["recomputed"], "only a plain table goes without a tolerance"
    else:
        assert math.isfinite(tolerance)
        assert tolerance > 0


@pytest.mark.parametrize(("name", "record"), RECORDS)
def test_printed_and_recomputed_agree_within_the_tolerance_unless_misprinted(name: str, record: dict[str, Any]) -> None:
    misprints = set(record.get("misprint", []))
    both = set(record["expected"]) & set(record["recomputed"])
    assert misprints <= both, f"{name}: a misprint must have a recomputed value to differ from"
    for key in both:
        tolerance = record["tolerance"]
        allowed = tolerance[key] if isinstance(tolerance, dict) else tolerance
        gap = _gap(record["expected"][key], record["recomputed"][key])
        assert (gap > allowed + 1e-12) == (key in misprints), f"{key}: {gap} against {allowed}"
