"""What is refused, and what the error says about mending it."""

from __future__ import annotations

import math

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from chaffinch import units
from chaffinch.errors import InputError, UnitError

CANOLA_BU_KG = 22.6796185  # 50 lb, exact
WHEAT_BU_KG = 27.2155422  # 60 lb, exact

# --- what is refused ---------------------------------------------------------------------------------------

# Bad numbers: InputError, but not for the unit.
BAD_NUMBERS = [
    ("", "mass", "is empty"),
    ("   ", "mass", "is empty"),
    ("\u200b", "mass", "is empty"),
    ("g", "mass", "does not start with a number"),
    ("g 12", "mass", "does not start with a number"),
    ("nan g", "mass", "does not start with a number"),
    ("NaN", "mass", "does not start with a number"),
    ("inf g", "mass", "does not start with a number"),
    ("-inf g", "mass", "does not start with a number"),
    ("--5 g", "mass", "does not start with a number"),
    ("±5 g", "mass", "does not start with a number"),
    ("~5 g", "mass", "does not start with a number"),
    ("<5 g", "mass", "does not start with a number"),
    (". g", "mass", "does not start with a number"),
    (", g", "mass", "does not start with a number"),
    ("$5 g", "mass", "does not start with a number"),
    ("about 5 g", "mass", "does not start with a number"),
    ("CTS 29/lb", "price", "does not start with a number"),
    ("1,234 kg", "mass", "read in two ways"),
    ("-1,234 kg", "mass", "read in two ways"),
    ("12,345 g", "mass", "read in two ways"),
    ("1234,567 g", "mass", "read in two ways"),
    ("1,234 seeds", "seeds", "read in two ways"),
    ("$1,234/t", "price", "read in two ways"),
    ("1,23,456 g", "mass", "do not make a number"),
    ("1.23.456 g", "mass", "do not make a number"),
    ("1,23.5 g", "mass", "do not make a number"),
    ("1.2,3.4 g", "mass", "do not make a number"),
    ("0,123.4 g", "mass", "do not make a number"),
    ("12..5 g", "mass", "do not make a number"),
    ("12.5.g", "mass", "do not make a number"),
    ("12. g", "mass", "that ends in"),
    ("12, g", "mass", "that ends in"),
    ("1 23 g", "mass", "split by spaces"),
    ("12 5 g", "mass", "split by spaces"),
    ("0 123 g", "mass", "split by spaces"),
    ("5, 6 g", "mass", "split by spaces"),
    ("1.5 1/2 in", "length", "split by spaces"),
    ("1e16 g", "mass", "too large"),
    ("9999999999999999 g", "mass", "too large"),
    ("1e31 g", "mass", "exponent"),
    ("1e-31 g", "mass", "exponent"),
    ("1e999999999999999999 g", "mass", "exponent"),
    ("1/0 in", "length", "fraction over 0"),
    ("1/1001 in", "length", "fraction over 1001"),
    ("1/99999999999999999999 in", "length", "fraction over"),
    ("12/5 g", "mass", "fraction 12/5"),
    ("2 4/4 in", "length", "fraction 4/4"),
    ("14 1/2 /bu", "price", "written as a fraction"),
    ("1/2 seeds", "seeds", "whole number"),
    ("3.5 seeds", "seeds", "whole number"),
    ("2 ft 14 in", "length", "12 or more"),
    ("2 ft 12 in", "length", "12 or more"),
    ("2.5 ft 6 in", "length", "parts of a ft"),
    ("1/2 ft 6 in", "length", "parts of a ft"),
    ("1 lb 16 oz", "mass", "16 or more"),
    ("1'234\"", "length", "12 or more"),
    ("10² g", "mass", "raised, lowered or ringed"),
    ("10₂ g", "mass", "raised, lowered or ringed"),
    ("⑫ g", "mass", "raised, lowered or ringed"),
    ("kg ha⁻¹", "area_mass", "raised, lowered or ringed"),
    ("1\t234 g", "mass", "cannot be printed"),
    ("12\n5 g", "mass", "cannot be printed"),
    ("12\x00 g", "mass", "cannot be printed"),
    ("12 \ud800 g", "mass", "cannot be printed"),
]

# Bad units: UnitError.
BAD_UNITS = [
    ("12.5", "mass", "has no unit"),
    ("12.5", "percent", "has no unit"),
    ("44", "seeds", "has no unit"),
    ("$14.50", "price", "has no unit"),
    ("14.50 CAD", "price", "has no unit"),
    ("12.5 ha", "mass", "'ha', which is not a mass"),
    ("12.5 gg", "mass", "'gg'"),
    ("12.5 g 3", "mass", "'g 3'"),
    ("12.5 g ± 1", "mass", "'g ± 1'"),
    ("12.5 g, 13 g", "mass", "'g, 13 g'"),
    ("5-6 in", "length", "'-6 in'"),
    ("5–6 in", "length", "'-6 in'"),
    ("1_000 g", "mass", "'_000 g'"),
    ("0x10 g", "mass", "'x10 g'"),
    ("1'234 g", "mass", '"\'234 g"'),
    ("1'234", "length", '"\'234"'),
    ("5'6", "length", '"\'6"'),
    ("4 ft2", "length", "'ft2', which is not a length"),
    ("4 ft 2", "area", "'ft 2'"),
    ("4 ft", "area", "'ft', which is not an area"),
    ("4 ^ft2", "area", "'^ft2'"),
    ("1/2/3 in", "length", "'/3 in'"),
    ("1/2.5 in", "length", "'/2.5 in'"),
    ("½½ in", "length", "'1/2 in'"),
    ("12.5 кг", "mass", "кг"),
    ("12.5 G", "mass", "'G'"),
    ("12.5 T", "mass", "'T'"),
    ("5 T/ha", "area_mass", "'T'"),
    ("5 Mg", "mass", "'Mg'"),
    ("5 MG", "mass", "'MG'"),
    ("35 ML", "volume", "'ML'"),
    ("35 Ml", "volume", "'Ml'"),
    ("5 ton", "mass", "says 'ton'"),
    ("5 Tons", "mass", "says 'ton'"),
    ("2 tons per acre", "area_mass", "says 'ton'"),
    ("$300/ton", "price", "says 'ton'"),
    ("2 cups", "volume", "says 'cup'"),
    ("2 fl oz", "volume", "says 'fl oz'"),
    ("2 fl. oz.", "volume", "says 'fl oz'"),
    ("2 oz", "volume", "'oz', which is not a volume"),
    ("50 lb/bu", "density", "says lb/bu"),
    ("50 pounds per bushel", "density", "says lb/bu"),
    ("120 cm2", "flat_area", "how the seed lies"),
    ("120 cm2 flat", "area", "'cm2 flat'"),
    ("120 flat", "flat_area", "'flat'"),
    ("3 bu", "mass", "'bu', which is not a mass"),
    ("14.50 bu", "price", "'bu', which is not a price"),
    ("14.50 $", "price", "has no unit"),
    ("29 cts/lb", "price", "'cts/lb'"),
    ("29 ¢/lb", "price", "'¢/lb'"),
    ("€5 CAD/t", "price", "two currencies"),
    ("EUR 5 CAD/t", "price", "two currencies"),
    ("$5 EUR/t", "price", "two currencies"),
    ("5 km", "speed", "'km'"),
    ("5 /km", "speed", "'/km'"),
    ("5 g/", "mass", "'g/'"),
    ("0.25 g", "fraction", "'g', which is not a fraction"),
]


@pytest.mark.parametrize(("text", "kind", "problem"), BAD_NUMBERS)
def test_refuses_bad_numbers(text: str, kind: str, problem: str) -> None:
    with pytest.raises(InputError) as caught:
        units.read(text, kind, field="catch 2, amount", bushel_kg=CANOLA_BU_KG)
    assert not isinstance(caught.value, UnitError)
    assert problem in caught.value.problem
    assert (caught.value.field, caught.value.value) == ("catch 2, amount", text)
    assert caught.value.mend
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(("text", "kind", "problem"), BAD_UNITS)
def test_refuses_bad_units(text: str, kind: str, problem: str) -> None:
    with pytest.raises(UnitError) as caught:
        units.read(text, kind, field="catch 2, amount", bushel_kg=CANOLA_BU_KG)
    assert problem in caught.value.problem
    assert (caught.value.field, caught.value.value) == ("catch 2, amount", text)
    assert caught.value.mend


def test_the_table_of_bad_texts_is_long_enough_to_mean_something() -> None:
    assert len({text for text, _, _ in BAD_NUMBERS + BAD_UNITS}) >= 60


@pytest.mark.parametrize(
    ("text", "kind", "mend"),
    [
        ("1,234 kg", "mass", "write 1234 or 1.234"),
        ("12,345 g", "mass", "write 12345 or 12.345"),
        ("5 tons", "mass", "write t for a tonne"),
        ("2 cups", "volume", "write US cup"),
        ("2 fl oz", "volume", "write US fl oz or imp fl oz"),
        ("50 lb/bu", "density", "write lb/bu US or lb/bu imp"),
        ("120 cm2", "flat_area", '"cm2 flat"'),
        ("35 ML", "volume", "write mL"),
        ("12.5", "mass", 'use g, mg, kg, oz, lb, t; for example "12.5 g"'),
        ("0.25 g", "fraction", "use no unit, %"),
    ],
)
def test_says_how_to_mend_it(text: str, kind: str, mend: str) -> None:
    with pytest.raises(InputError) as caught:
        units.read(text, kind, field="amount")
    assert mend in caught.value.mend


@pytest.mark.parametrize("given_value", [12.5, 12, None, True, b"12.5 g", ["12.5 g"], math.nan])
def test_refuses_what_is_not_text(given_value: object) -> None:
    with pytest.raises(InputError, match="is not text") as caught:
        units.read(given_value, "mass", field="amount")  # type: ignore[arg-type]
    assert caught.value.mend == 'write it as text with its unit, like "12.5 g"'


@pytest.mark.parametrize(
    "text",
    ["9" * 10_000 + " g", "1,234" * 2_000, " " * 10_000, "1 2/3 " * 2_000, "½" * 10_000, "'" * 5_000_000],
)
def test_refuses_very_long_text_by_its_length_alone(text: str) -> None:
    with pytest.raises(InputError, match="characters long") as caught:
        units.read(text, "length", field="cut width")
    assert len(str(caught.value)) < 300


@pytest.mark.parametrize("bad", ["-1 g", "-0.5 oz", "−2 kg"])
def test_callers_can_ask_for_a_sign(bad: str) -> None:
    assert units.read(bad, "mass", field="tare").value < 0
    with pytest.raises(InputError, match="must be above 0") as caught:
        units.read_positive(bad, "mass", field="tare")
    assert (caught.value.field, caught.value.value) == ("tare", bad)
    with pytest.raises(InputError, match="must not be below 0"):
        units.read_not_negative(bad, "mass", field="tare")


def test_zero_is_not_positive_and_not_negative() -> None:
    with pytest.raises(InputError, match="must be above 0"):
        units.read_positive("0 g", "mass", field="tare")
    assert units.read_not_negative("0 g", "mass", field="tare").value == 0
    assert units.read_positive("1 bu/ac", "area_mass", field="limit", bushel_kg=WHEAT_BU_KG).value > 67
    assert units.read_not_negative("1 bu/ac", "area_mass", field="limit", bushel_kg=WHEAT_BU_KG).value > 67


# --- anything at all ---------------------------------------------------------------------------------------

_SOUP = st.text(alphabet="0123456789.,/ '\"-+eEftingozlbacuhmsk²½%$€^()٣ \u00a0", max_size=80)


def _outcome(text: str, kind: str) -> units.Quantity | InputError:
    try:
        return units.read(text, kind, field="x", bushel_kg=CANOLA_BU_KG)
    except InputError as error:
        return error


@settings(max_examples=400, deadline=None)
@given(text=st.text(max_size=100) | _SOUP, kind=st.sampled_from(units.KINDS))
@example(text="1" * 40 + "/" * 40, kind="length")
@example(text="1 " * 40, kind="length")
@example(text="1,111" * 16, kind="mass")
@example(text="9" * 15 + "." + "9" * 64, kind="fraction")
def test_any_text_is_read_or_refused(text: str, kind: str) -> None:
    outcome = _outcome(text, kind)
    if isinstance(outcome, InputError):
        assert outcome.mend
        assert "\n" not in str(outcome)
    else:
        assert math.isfinite(outcome.value)
        assert math.isfinite(outcome.written)
        assert 0 < outcome.step < math.inf
        assert outcome.unit in units.accepted(kind)


def _number_and_unit(kind: str) -> st.SearchStrategy[str]:
    return st.builds("{} {}".format, st.text("0123456789., -/e½", min_size=1), st.sampled_from(units.accepted(kind)))


@settings(max_examples=400, deadline=None)
@given(data=st.data(), kind=st.sampled_from(units.KINDS))
def test_a_good_unit_never_hides_a_bad_number(data: st.DataObject, kind: str) -> None:
    text = data.draw(_number_and_unit(kind))
    outcome = _outcome(text, kind)
    if isinstance(outcome, units.Quantity):
        back = units.write(outcome.value, outcome.unit, kind, bushel_kg=CANOLA_BU_KG)
        assert back == pytest.approx(outcome.written, rel=1e-12, abs=0)


@pytest.mark.parametrize("text", ["2.000 seeds", "1.000 kernels", "12.000 seeds"])
def test_a_count_with_three_decimals_is_not_guessed(text: str) -> None:
    """2.000 seeds may be two or two thousand; neither is assumed."""
    with pytest.raises(InputError, match="2 or 2000"):
        units.read(text, "seeds", field="amount")
