"""Units found from what must hold between the columns, in every mixture of units somebody might export."""

from __future__ import annotations

import numpy as np
import pytest
from made_tables import driven

from chaffinch.fieldlog.plane import step_m
from chaffinch.fieldlog.reading.meanings import UNITS, match
from chaffinch.fieldlog.reading.units_found import factor, unit_sets
from chaffinch.units import to_inside

NAMES = {"speed": "speed_kmh", "distance": "distance_m", "interval": "interval_s", "width": "width_m",
         "flow": "flow_kg_s", "yield": "yield_t_ha", "moisture": "moisture_pct"}  # fmt: skip


def exported(units: dict[str, str], leave: tuple[str, ...] = ()) -> tuple[dict[str, np.ndarray], np.ndarray]:
    made = driven()
    raw = {NAMES[k]: v / factor(NAMES[k], units.get(k, ""), 27.2155422) for k, v in made.items() if k in NAMES}
    return {k: v for k, v in raw.items() if k not in leave}, step_m(made["lon"], made["lat"])


@pytest.mark.parametrize("flow", ["kg/s", "t/h", "lb/s", "kg/h"])
@pytest.mark.parametrize(("width", "distance"), [("m", "m"), ("ft", "in"), ("cm", "ft"), ("in", "cm")])
@pytest.mark.parametrize("crop", ["t/ha", "kg/ha", "lb/ac", "dt/ha"])
def test_the_one_set_of_units_is_found(flow: str, width: str, distance: str, crop: str) -> None:
    units = {"flow": flow, "width": width, "distance": distance, "yield": crop, "speed": "mph", "moisture": "%"}
    raw, way = exported(units)
    found = unit_sets(raw, {"interval_s": "s"}, way, None)
    true = {NAMES[k]: u for k, u in units.items()}
    assert [s for s in found.sets if s["yield_t_ha"] != "bu/ac"] == [true]
    # 40 dt/ha pass for 40 bu/ac of some grain with the flow in another unit: that is asked, not guessed.
    assert (len(found.sets) > 1) == (crop == "dt/ha" and flow in ("kg/s", "lb/s"))


def test_without_a_yield_pounds_and_kilograms_both_fit() -> None:
    raw, way = exported({}, leave=("yield_t_ha",))
    found = unit_sets(raw, {"interval_s": "s"}, way, None)
    assert {s["flow_kg_s"] for s in found.sets} >= {"kg/s", "lb/s"}
    assert {s["distance_m"] for s in found.sets} == {"m"}


def test_a_wrong_name_fits_nothing_and_says_by_how_much() -> None:
    raw, way = exported({})
    found = unit_sets(raw, {
        "interval_s": "s", "speed_kmh": "km/h", "distance_m": "m", "width_m": "m", "flow_kg_s": "lb/s",
        "yield_t_ha": "t/ha", "moisture_pct": "%"}, way, None)  # fmt: skip
    assert found.sets == ()
    assert np.exp(found.off["yield"]) == pytest.approx(0.45359237)


def test_bushels_need_their_weight() -> None:
    raw, way = exported({"yield": "bu/ac"})
    known = {"interval_s": "s", "width_m": "m", "flow_kg_s": "kg/s"}
    assert [s["yield_t_ha"] for s in unit_sets(raw, known, way, None).sets] == ["bu/ac"]
    assert [s["yield_t_ha"] for s in unit_sets(raw, known, way, 27.2155422).sets] == ["bu/ac"]
    assert unit_sets(raw, known, way, 15.0).sets == ()


def test_factors_agree_with_the_units_people_write() -> None:
    for unit, worth in UNITS["length"].items():
        assert worth == pytest.approx(to_inside(1.0, unit, "length"), rel=1e-14)
    for unit in ("km/h", "m/s", "mph"):
        assert UNITS["speed"][unit] == pytest.approx(to_inside(1.0, unit, "speed"), rel=1e-14)
    for unit in ("t/ha", "dt/ha", "kg/ha", "lb/ac"):
        assert UNITS["yield"][unit] == pytest.approx(to_inside(1.0, unit, "area_mass") / 1000, rel=1e-14)
    bushels = to_inside(1.0, "bu/ac", "area_mass", bushel_kg=25.0) / 1000
    assert factor("yield_t_ha", "bu/ac", 25.0) == pytest.approx(bushels, rel=1e-14)
    for unit in ("t/h", "kg/s", "lb/min"):
        assert UNITS["flow"][unit] == pytest.approx(to_inside(1.0, unit, "throughput") / 3.6, rel=1e-14)


@pytest.mark.parametrize(
    ("header", "written"),
    [
        ("Grain Flow (lb/s)", "flow_kg_s:lb/s"),
        ("grain_flow_kg_s", "flow_kg_s:kg/s"),
        ("SWATH WIDTH [ft]", "width_m:ft"),
        ("Distance (in)", "distance_m:in"),
        ("Duration (s)", "interval_s:s"),
        ("Speed(mph)", "speed_kmh:mph"),
        ("Yield (Wet) (lb/ac)", "yield_t_ha:lb/ac"),
        ("Yield (Dry) (lb/ac)", "-"),
        ("Target yield", "-"),
        ("moisture", "moisture_pct"),
        ("Avg moisture %", "-"),
        ("Longitude", "lon_deg"),
        ("Harvest machine serial", "machine"),
        ("Rotor speed", "-"),
        ("Engine load", "-"),
        ("Ground speed km/h", "speed_kmh:km/h"),
        ("Loss kg/ha", "loss_kg_ha:kg/ha"),
    ],
)
def test_headers_mean_what_the_trade_means_by_them(header: str, written: str) -> None:
    assert match([header], (), {})[0].written() == written


def test_a_unit_below_the_header_counts_and_one_that_cannot_be_ends_the_guess() -> None:
    found = match(["Flow", "Width", "Speed"], ("lb/s", "ft", "kg/s"), {})
    assert [c.written() for c in found] == ["flow_kg_s:lb/s", "width_m:ft", "-"]
