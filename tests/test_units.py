"""What a grower writes, read to inside units and written back."""

from __future__ import annotations

import math
import subprocess
import sys
from pathlib import Path

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from chaffinch import units
from chaffinch.errors import InputError, UnitError

# One rounding of an exact ratio to a double, and one of the literal beside it: a few parts in 1e16.
ROUNDING = 1e-15

POUND_KG = 0.45359237  # exact; NIST SP 811 (2008) App. B, from memory
CANOLA_BU_KG = 50 * POUND_KG
WHEAT_BU_KG = 60 * POUND_KG


def close(expected: float, rel: float = ROUNDING) -> object:
    return pytest.approx(expected, rel=rel, abs=0)


# --- reading -----------------------------------------------------------------------------------------------

READ = [
    # text, kind, value, unit, written, step
    ("66 in", "length", 1.6764, "in", 66, 0.0254),
    ("66in", "length", 1.6764, "in", 66, 0.0254),
    ('66"', "length", 1.6764, "in", 66, 0.0254),
    ("66″", "length", 1.6764, "in", 66, 0.0254),
    ("66''", "length", 1.6764, "in", 66, 0.0254),
    ("66 in.", "length", 1.6764, "in", 66, 0.0254),
    ("66 Inches", "length", 1.6764, "in", 66, 0.0254),
    ("40 ft", "length", 12.192, "ft", 40, 0.3048),
    ("40'", "length", 12.192, "ft", 40, 0.3048),
    ("2 ft 6 in", "length", 0.762, "in", 30, 0.0254),
    ("2ft6in", "length", 0.762, "in", 30, 0.0254),
    ("2 feet, 6 inches", "length", 0.762, "in", 30, 0.0254),
    ("2 feet and 6 inches", "length", 0.762, "in", 30, 0.0254),
    ("2'6\"", "length", 0.762, "in", 30, 0.0254),
    ("5' 6\"", "length", 1.6764, "in", 66, 0.0254),
    ("5’ 6”", "length", 1.6764, "in", 66, 0.0254),
    ("-5' 6\"", "length", -1.6764, "in", -66, 0.0254),
    ("-0 ft 6 in", "length", -0.1524, "in", -6, 0.0254),
    ("5 ft 6.5 in", "length", 1.6891, "in", 66.5, 0.00254),
    ("5 ft 6 1/2 in", "length", 1.6891, "in", 66.5, 0.0127),
    ("1/2 in", "length", 0.0127, "in", 0.5, 0.0127),
    ("½ in", "length", 0.0127, "in", 0.5, 0.0127),
    ('½"', "length", 0.0127, "in", 0.5, 0.0127),
    ("2 1/2 in", "length", 0.0635, "in", 2.5, 0.0127),
    ("2-1/2 in", "length", 0.0635, "in", 2.5, 0.0127),
    ("2½ in", "length", 0.0635, "in", 2.5, 0.0127),
    ("2 ½ in", "length", 0.0635, "in", 2.5, 0.0127),
    ("2⅛ in", "length", 0.053975, "in", 2.125, 0.003175),
    ("1.85 m", "length", 1.85, "m", 1.85, 0.01),
    ("185 cm", "length", 1.85, "cm", 185, 0.01),
    ("1850 MM", "length", 1.85, "mm", 1850, 0.001),
    ("2 yards", "length", 1.8288, "yd", 2, 0.9144),
    ("4 ft2", "area", 0.37161216, "ft2", 4, 0.09290304),
    ("4 sq ft", "area", 0.37161216, "ft2", 4, 0.09290304),
    ("4 sq. ft.", "area", 0.37161216, "ft2", 4, 0.09290304),
    ("4 square feet", "area", 0.37161216, "ft2", 4, 0.09290304),
    ("4 ft^2", "area", 0.37161216, "ft2", 4, 0.09290304),
    ("4 ft²", "area", 0.37161216, "ft2", 4, 0.09290304),
    ("0.5 m²", "area", 0.5, "m2", 0.5, 0.1),
    ("0.5 ㎡", "area", 0.5, "m2", 0.5, 0.1),
    ("600 in2", "area", 0.3870960, "in2", 600, 0.00064516),
    ("120 cm2 flat", "flat_area", 120, "cm2 flat", 120, 1),
    ("20 in2 flat", "flat_area", 129.032, "in2 flat", 20, 6.4516),
    ("20 sq in, flat", "flat_area", 129.032, "in2 flat", 20, 6.4516),
    ("62 ha", "land", 62, "ha", 62, 1),
    ("160 ac", "land", 64.7497027584, "ac", 160, 0.40468564224),
    ("160 Acres", "land", 64.7497027584, "ac", 160, 0.40468564224),
    ("12.5 g", "mass", 12.5, "g", 12.5, 0.1),
    ("12.5g", "mass", 12.5, "g", 12.5, 0.1),
    ("12 g", "mass", 12, "g", 12, 1),
    ("12,5 g", "mass", 12.5, "g", 12.5, 0.1),
    ("12.50 g", "mass", 12.5, "g", 12.5, 0.01),
    (".5 g", "mass", 0.5, "g", 0.5, 0.1),
    ("0 g", "mass", 0, "g", 0, 1),
    ("-0 g", "mass", 0, "g", 0, 1),
    ("+3 g", "mass", 3, "g", 3, 1),
    ("−3 g", "mass", -3, "g", -3, 1),
    ("- 3 g", "mass", -3, "g", -3, 1),
    ("12.5\u00a0g", "mass", 12.5, "g", 12.5, 0.1),
    ("\ufeff 12.5 g\u200b ", "mass", 12.5, "g", 12.5, 0.1),
    ("１２．５ ｇ", "mass", 12.5, "g", 12.5, 0.1),
    ("٣٫٥ g", "mass", 3.5, "g", 3.5, 0.1),
    ("1.50 oz", "mass", 42.5242846875, "oz", 1.5, 0.28349523125),
    ("1/4 lb", "mass", 113.3980925, "lb", 0.25, 113.3980925),
    ("3/4 lb", "mass", 340.1942775, "lb", 0.75, 113.3980925),
    ("1 lb 3.5 oz", "mass", 552.8157009375, "oz", 19.5, 2.8349523125),
    ("0 lb 3 oz", "mass", 85.04856937500, "oz", 3, 28.349523125),
    ("2 KG", "mass", 2000, "kg", 2, 1000),
    ("2 ㎏", "mass", 2000, "kg", 2, 1000),
    ("350 mg", "mass", 0.35, "mg", 350, 0.001),
    ("1.2 t", "mass", 1_200_000, "t", 1.2, 100_000),
    ("1.2 MT", "mass", 1_200_000, "t", 1.2, 100_000),
    ("1,234.5 kg", "mass", 1_234_500, "kg", 1234.5, 100),
    ("1.234,5 kg", "mass", 1_234_500, "kg", 1234.5, 100),
    ("1 234.5 kg", "mass", 1_234_500, "kg", 1234.5, 100),
    ("1\u202f234,5 kg", "mass", 1_234_500, "kg", 1234.5, 100),
    ("1,234,567 g", "mass", 1_234_567, "g", 1234567, 1),
    ("1.234.567 g", "mass", 1_234_567, "g", 1234567, 1),
    ("1.234 kg", "mass", 1234, "kg", 1.234, 1),
    ("0,123 kg", "mass", 123, "kg", 0.123, 1),
    (",123 kg", "mass", 123, "kg", 0.123, 1),
    ("1,2345 kg", "mass", 1234.5, "kg", 1.2345, 0.1),
    ("1.5e3 g", "mass", 1500, "g", 1500, 100),
    ("2E-1 g", "mass", 0.2, "g", 0.2, 0.1),
    ("1e15 g", "mass", 1e15, "g", 1e15, 1e15),
    ("35 mL", "volume", 35, "mL", 35, 1),
    ("35 ml", "volume", 35, "mL", 35, 1),
    ("35 cc", "volume", 35, "mL", 35, 1),
    ("35 cm³", "volume", 35, "mL", 35, 1),
    ("1.5 dL", "volume", 150, "dL", 1.5, 10),
    ("0.5 L", "volume", 500, "L", 0.5, 100),
    ("0.5 l", "volume", 500, "L", 0.5, 100),
    ("2 US fl oz", "volume", 59.147059125, "US fl oz", 2, 29.5735295625),
    ("2 us fl. oz.", "volume", 59.147059125, "US fl oz", 2, 29.5735295625),
    ("2 imp fl oz", "volume", 56.826125, "imp fl oz", 2, 28.4130625),
    ("1/2 US cup", "volume", 118.29411825, "US cup", 0.5, 118.29411825),
    ("44 seeds", "seeds", 44, "seeds", 44, 1),
    ("1 seed", "seeds", 1, "seeds", 1, 1),
    ("0 kernels", "seeds", 0, "seeds", 0, 1),
    ("12 beans", "seeds", 12, "seeds", 12, 1),
    ("44.0 seeds", "seeds", 44, "seeds", 44, 1),
    ("1 234 seeds", "seeds", 1234, "seeds", 1234, 1),
    ("1e3 seeds", "seeds", 1000, "seeds", 1000, 1),
    ("7.5 km/h", "speed", 7.5, "km/h", 7.5, 0.1),
    ("7.5 kph", "speed", 7.5, "km/h", 7.5, 0.1),
    ("4 1/2 mph", "speed", 7.242048, "mph", 4.5, 0.804672),
    ("4.5 miles per hour", "speed", 7.242048, "mph", 4.5, 0.1609344),
    ("2 m/s", "speed", 7.2, "m/s", 2, 3.6),
    ("20 s", "time", 20, "s", 20, 1),
    ("1.5 min", "time", 90, "min", 1.5, 6),
    ("2 hours", "time", 7200, "h", 2, 3600),
    ("1 h 20 min", "time", 4800, "min", 80, 60),
    ("1min30s", "time", 90, "s", 90, 1),
    ("1,2 t/ha", "area_mass", 1200, "t/ha", 1.2, 100),
    ("35 kg/ha", "area_mass", 35, "kg/ha", 35, 1),
    ("35 kg per hectare", "area_mass", 35, "kg/ha", 35, 1),
    ("35 dt/ha", "area_mass", 3500, "dt/ha", 35, 100),
    ("3.5 g/m²", "area_mass", 35, "g/m2", 3.5, 1),
    ("6.5 ha/h", "rate_area", 6.5, "ha/h", 6.5, 0.1),
    ("15 ac/hr", "rate_area", 6.0702846336, "ac/h", 15, 0.40468564224),
    ("24 t/h", "throughput", 24, "t/h", 24, 1),
    ("6.5 kg/s", "throughput", 23.4, "kg/s", 6.5, 0.36),
    ("880 lb/min", "throughput", 23.949677136, "lb/min", 880, 0.0272155422),
    ("65 kg/hL", "density", 65, "kg/hL", 65, 1),
    ("65 KG/HL", "density", 65, "kg/hL", 65, 1),
    ("650 g/L", "density", 65, "g/L", 650, 0.1),
    ("650 kg/m3", "density", 65, "kg/m3", 650, 0.1),
    ("0.65 g/mL", "density", 65, "g/mL", 0.65, 1),
    ("0.65 g/cm3", "density", 65, "g/mL", 0.65, 1),
    ("1.12 g/cm3", "kernel_density", 1.12, "g/cm3", 1.12, 0.01),
    ("1120 kg/m3", "kernel_density", 1.12, "kg/m3", 1120, 0.001),
    ("12.5 %", "percent", 12.5, "%", 12.5, 0.1),
    ("12.5%", "percent", 12.5, "%", 12.5, 0.1),
    ("12.5 per cent", "percent", 12.5, "%", 12.5, 0.1),
    ("12,5 percent", "percent", 12.5, "%", 12.5, 0.1),
    ("0.25", "fraction", 0.25, "", 0.25, 0.01),
    ("1/4", "fraction", 0.25, "", 0.25, 0.25),
    ("¼", "fraction", 0.25, "", 0.25, 0.25),
    ("25 %", "fraction", 0.25, "%", 25, 0.01),
]


@pytest.mark.parametrize(("text", "kind", "value", "unit", "written", "step"), READ)
def test_reads(text: str, kind: str, value: float, *, unit: str, written: float, step: float) -> None:
    quantity = units.read(text, kind, field="amount")
    assert quantity.value == close(value)
    assert quantity.unit == unit
    assert quantity.written == close(written)
    assert quantity.step == close(step)
    assert (quantity.text, quantity.kind, quantity.currency) == (text, kind, "")


PRICES = [
    # text, kind, value, unit, currency
    ("14.50 /bu", "price", 14.50 * 1000 / CANOLA_BU_KG, "/bu", ""),
    ("$14.50/bu", "price", 14.50 * 1000 / CANOLA_BU_KG, "/bu", "$"),
    ("$ 14.50 per bushel", "price", 14.50 * 1000 / CANOLA_BU_KG, "/bu", "$"),
    ("14.50 CAD per bu", "price", 14.50 * 1000 / CANOLA_BU_KG, "/bu", "CAD"),
    ("620 /t", "price", 620, "/t", ""),
    ("620/t", "price", 620, "/t", ""),
    ("620 CAD/t", "price", 620, "/t", "CAD"),
    ("620 cad/t", "price", 620, "/t", "CAD"),
    ("CAD620/t", "price", 620, "/t", "CAD"),
    ("$620 CAD/t", "price", 620, "/t", "CAD"),
    ("US$620/MT", "price", 620, "/t", "US$"),
    ("C$ 620 / tonne", "price", 620, "/t", "C$"),
    ("EUR 430/t", "price", 430, "/t", "EUR"),
    ("€430/t", "price", 430, "/t", "€"),
    ("430 €/t", "price", 430, "/t", "€"),
    ("430,50 €/t", "price", 430.5, "/t", "€"),
    ("0.29 /lb", "price", 0.29 * 1000 / POUND_KG, "/lb", ""),
    ("29 /cwt", "price", 0.29 * 1000 / POUND_KG, "/cwt", ""),
    ("0.62 /kg", "price", 620, "/kg", ""),
    ("-$5/t", "price", -5, "/t", "$"),
    ("$-5/t", "price", -5, "/t", "$"),
    ("62 L/h", "fuel_rate", 62, "L/h", ""),
    ("16 US gal/h", "fuel_rate", 16 * 3.785411784, "US gal/h", ""),
    ("10 imp gal per hour", "fuel_rate", 45.4609, "imp gal/h", ""),
    ("$1.35/L", "fuel_price", 1.35, "/L", "$"),
    ("4.10 per US gallon", "fuel_price", 4.10 / 3.785411784, "/US gal", ""),
    ("500 /h", "money_rate", 500, "/h", ""),
    ("$500/h", "money_rate", 500, "/h", "$"),
    ("500 CAD per hour", "money_rate", 500, "/h", "CAD"),
]


@pytest.mark.parametrize(("text", "kind", "value", "unit", "currency"), PRICES)
def test_reads_money(text: str, kind: str, value: float, unit: str, currency: str) -> None:
    quantity = units.read(text, kind, field="price", bushel_kg=CANOLA_BU_KG)
    # The expected figures are products of two or three doubles.
    assert quantity.value == close(value, rel=1e-14)
    assert (quantity.unit, quantity.currency) == (unit, currency)


def test_a_price_per_bushel_keeps_its_step_in_money_per_tonne() -> None:
    cents = units.read("$14.50/bu", "price", field="price", bushel_kg=CANOLA_BU_KG)
    assert cents.step == close(0.01 * 1000 / CANOLA_BU_KG, rel=1e-14)
    assert cents.written == 14.5


# --- one of several kinds ----------------------------------------------------------------------------------

AMOUNT = ("mass", "volume", "seeds", "flat_area")


@pytest.mark.parametrize(
    ("text", "kind"),
    [
        ("12.5 g", "mass"),
        ("2 oz", "mass"),
        ("1 lb 2 oz", "mass"),
        ("35 mL", "volume"),
        ("2 US fl oz", "volume"),
        ("44 seeds", "seeds"),
        ("120 cm2 flat", "flat_area"),
    ],
)
def test_the_unit_chooses_the_kind(text: str, kind: str) -> None:
    assert units.read_any(text, AMOUNT, field="amount") == units.read(text, kind, field="amount")


def test_one_error_lists_the_units_of_all_kinds() -> None:
    with pytest.raises(UnitError) as caught:
        units.read_any("12.5 ha", AMOUNT, field="amount")
    for kind in AMOUNT:
        for name in units.accepted(kind):
            assert name in caught.value.mend
    assert "a mass, a volume, a count of seeds or the area of a flat layer" in caught.value.problem


def test_the_particular_mend_survives_among_several_kinds() -> None:
    for text, problem in (("2 cups", "says 'cup'"), ("120 cm2", "how the seed lies"), ("35 ML", "'ML'")):
        with pytest.raises(UnitError) as caught:
            units.read_any(text, AMOUNT, field="amount")
        assert problem in caught.value.problem
    with pytest.raises(InputError, match="whole number"):
        units.read_any("3.5 seeds", AMOUNT, field="amount")


def test_money_is_told_from_mass() -> None:
    limit = ("area_mass", "percent", "money_rate")
    assert units.read_any("35 kg/ha", limit, field="limit").kind == "area_mass"
    assert units.read_any("$35/h", limit, field="limit").currency == "$"
    with pytest.raises(UnitError):
        units.read_any("$35 kg/ha", limit, field="limit")


def test_kinds_that_share_a_unit_are_a_slip_of_the_program() -> None:
    for kinds in (("density", "kernel_density"), ("percent", "fraction"), ()):
        with pytest.raises(ValueError, match=r"belongs to|at least one"):
            units.read_any("12 %", kinds, field="amount")
    with pytest.raises(ValueError, match="no kind of quantity"):
        units.read("12 %", "colour", field="amount")


# --- numbers in and out ------------------------------------------------------------------------------------

EVERY_UNIT = [(kind, name) for kind in units.KINDS for name in units.accepted(kind)]


def test_every_kind_promised_is_there_with_its_inside_unit() -> None:
    assert {kind: units.inside_unit(kind) for kind in units.KINDS} == {
        "length": "m",
        "area": "m2",
        "flat_area": "cm2",
        "land": "ha",
        "mass": "g",
        "volume": "mL",
        "seeds": "seeds",
        "speed": "km/h",
        "time": "s",
        "area_mass": "kg/ha",
        "throughput": "t/h",
        "rate_area": "ha/h",
        "density": "kg/hL",
        "kernel_density": "g/cm3",
        "price": "money/t",
        "fuel_rate": "L/h",
        "fuel_price": "money/L",
        "money_rate": "money/h",
        "percent": "%",
        "fraction": "1",
    }


@pytest.mark.parametrize(("kind", "name"), EVERY_UNIT)
def test_every_canonical_spelling_reads_as_itself(kind: str, name: str) -> None:
    quantity = units.read(f"12 {name}", kind, field="x", bushel_kg=CANOLA_BU_KG)
    assert quantity.unit == name
    assert quantity.value == units.to_inside(12, name, kind, bushel_kg=CANOLA_BU_KG)


@pytest.mark.parametrize(("kind", "name"), EVERY_UNIT)
@settings(max_examples=30, deadline=None)
@given(number=st.floats(min_value=-1e9, max_value=1e9), bushel_kg=st.floats(min_value=5, max_value=50))
@example(number=0.1, bushel_kg=22.6796185)
def test_there_and_back(kind: str, name: str, number: float, bushel_kg: float) -> None:
    inside = units.to_inside(number, name, kind, bushel_kg=bushel_kg)
    back = units.write(inside, name, kind, bushel_kg=bushel_kg)
    # Two roundings. The absolute part is for numbers so small that doubles lose their digits (subnormals).
    assert back == pytest.approx(number, rel=1e-12, abs=1e-300)


@pytest.mark.parametrize(("kind", "name"), EVERY_UNIT)
@settings(max_examples=30, deadline=None)
@given(whole=st.integers(min_value=0, max_value=10**9), places=st.integers(min_value=0, max_value=6))
def test_what_is_read_is_written_back(kind: str, name: str, whole: int, places: int) -> None:
    if kind == "seeds":
        places = 0
    digits = str(whole).zfill(places + 1)
    text = f"{digits[: len(digits) - places]}.{digits[len(digits) - places :]}" if places else digits
    quantity = units.read(f"{text} {name}", kind, field="x", bushel_kg=WHEAT_BU_KG)
    assert quantity.written == float(text)
    assert units.write(quantity.value, name, kind, bushel_kg=WHEAT_BU_KG) == close(float(text), rel=1e-12)
    step = units.write(quantity.step, name, kind, bushel_kg=WHEAT_BU_KG)
    assert step == close(10.0**-places, rel=1e-12)


def test_decimal_figures_come_back_exactly() -> None:
    # 66 × 0.0254 in doubles is 1.6763999999999999; on exact ratios it is 1.6764, and 66 again back.
    assert units.to_inside(66, "in", "length") == 1.6764
    assert units.write(1.6764, "in", "length") == 66.0
    assert units.read("66 in", "length", field="drop width").value == 1.6764


def test_units_may_be_spelled_out_for_numbers_too() -> None:
    assert units.to_inside(1, "lbs per acre", "area_mass") == units.to_inside(1, "lb/ac", "area_mass")


@pytest.mark.parametrize("number", [math.nan, math.inf, -math.inf, "12", None, True, 10**400])
def test_numbers_must_be_finite(number: object) -> None:
    with pytest.raises(InputError, match="not a finite number") as caught:
        units.to_inside(number, "g", "mass", field="tare")  # type: ignore[arg-type]
    assert caught.value.field == "tare"
    with pytest.raises(InputError, match="not a finite number"):
        units.write(number, "g", "mass")  # type: ignore[arg-type]


def test_a_conversion_that_leaves_the_doubles_is_refused() -> None:
    with pytest.raises(InputError, match="too large"):
        units.to_inside(1e307, "t", "mass")
    with pytest.raises(InputError, match="too large"):
        units.write(1e307, "mg", "mass")


def test_wrong_units_for_numbers() -> None:
    with pytest.raises(UnitError, match="'ha', which is not a mass"):
        units.to_inside(1, "ha", "mass")
    with pytest.raises(UnitError, match="'ML'"):
        units.write(1, "ML", "volume")
    with pytest.raises(InputError, match="weight of a bushel"):
        units.write(1, "bu/ac", "area_mass")


def test_the_page_lists_every_kind_and_unit() -> None:
    page = Path(__file__).parents[1] / "docs" / "method" / "units.md"
    rows = {line.split("|")[1].strip(): line for line in page.read_text("utf-8").splitlines() if "|" in line}
    for kind in units.KINDS:
        _, _, inside, accepted, _ = rows[f"`{kind}`"].split("|")
        assert inside.strip() == units.inside_unit(kind)
        assert [name for name in units.accepted(kind) if name and f"`{name}`" not in accepted] == []


def test_importing_units_brings_no_numeric_library_along() -> None:
    code = "import sys, chaffinch.units; print(sorted({'numpy', 'scipy', 'pint', 'uncertainties'} & set(sys.modules)))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
