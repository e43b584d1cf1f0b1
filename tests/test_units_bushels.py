"""Bushels, acres and test weights against the figures printed for growers."""

from __future__ import annotations

import math

import pytest

from chaffinch import units
from chaffinch.errors import InputError

POUND_KG = 0.45359237  # exact; NIST SP 811 (2008) App. B, from memory
WHEAT_BU_KG = 60 * POUND_KG


# "Bushel / Tonne Converter", Alberta Agriculture (archived), 2002, values credited to the Canada Grains
# Council 1999 Statistical Handbook. Bushels per tonne as printed; pounds per bushel derived from them.
BUSHELS_PER_TONNE = [
    ("wheat", 60, 36.744),
    ("oats", 34, 64.842),
    ("barley", 48, 45.930),
    ("rye, flax, corn", 56, 39.368),
    ("canola, mustard", 50, 44.092),
    ("sunflower", 30, 73.487),
    ("triticale", 52, 42.396),
]


@pytest.mark.parametrize(("crop", "pounds", "bushels"), BUSHELS_PER_TONNE)
def test_bushels_in_a_tonne_agree_with_the_printed_table(crop: str, pounds: float, bushels: float) -> None:
    # A price of 1 per tonne is 1/bushels per bushel. The table prints three decimals and is itself off by up
    # to 0.0006 (triticale), so 0.003 is allowed.
    per_bushel = units.write(1.0, "/bu", "price", bushel_kg=pounds * POUND_KG)
    assert 1 / per_bushel == pytest.approx(bushels, abs=0.003), crop


# Derived from the exact pound and the international acre (NIST SP 811 App. B, Handbook 44 App. C, memory);
# printed to four decimals, so half of the last one is allowed.
@pytest.mark.parametrize(("pounds", "kg_ha"), [(60, 67.2511), (56, 62.7677), (50, 56.0426), (48, 53.8009)])
def test_a_bushel_per_acre_in_kg_ha(pounds: float, kg_ha: float) -> None:
    quantity = units.read("1 bu/ac", "area_mass", field="limit", bushel_kg=pounds * POUND_KG)
    assert quantity.value == pytest.approx(kg_ha, abs=5e-5)


def test_a_pound_per_acre_in_kg_ha() -> None:
    # 1.12085116 from the same base constants, to eight decimals.
    assert units.to_inside(1, "lb/ac", "area_mass") == pytest.approx(1.12085116, abs=5e-9)
    assert units.to_inside(1, "cwt/ac", "area_mass") == pytest.approx(112.085116, abs=5e-7)


def test_a_gram_per_square_foot() -> None:
    # The loss sample of the trade: 96.0334 lb/ac per g/ft2; derived as above, to four decimals.
    kg_ha = units.to_inside(1, "g/ft2", "area_mass")
    assert units.write(kg_ha, "lb/ac", "area_mass") == pytest.approx(96.0334, abs=5e-5)
    assert units.to_inside(1, "g/m2", "area_mass") == 10.0


def test_the_acre_is_the_international_one() -> None:
    # 43560 square feet of 0.3048 m; NIST SP 811 App. B, from memory.
    assert units.to_inside(1, "ac", "land") == pytest.approx(0.40468564224, rel=1e-15)


def test_a_test_weight_in_pounds_per_imperial_bushel() -> None:
    # "Test weight conversion charts for Canadian grains", Canadian Grain Commission: 1.247 as printed, so
    # half of the last digit is allowed.
    assert units.read("1 lb/bu imp", "density", field="test weight").value == pytest.approx(1.247, abs=5e-4)
    # With the US bushel of 2150.42 in3 it is 1.2872 (derived).
    assert units.read("1 lb/bu US", "density", field="test weight").value == pytest.approx(1.2872, abs=5e-5)
    assert units.read("1 lb/imperial bushel", "density", field="test weight").unit == "lb/bu imp"


def test_bushels_per_hour() -> None:
    quantity = units.read("1000 bu/h", "throughput", field="capacity", bushel_kg=WHEAT_BU_KG)
    assert quantity.value == pytest.approx(27.2155422, rel=1e-15)


def test_bushels_want_the_weight_of_a_bushel() -> None:
    for text, kind in (("1 bu/ac", "area_mass"), ("14.50 /bu", "price"), ("900 bu/h", "throughput")):
        with pytest.raises(InputError, match="weight of a bushel of this crop is not known") as caught:
            units.read(text, kind, field="limit")
        assert caught.value.field == "limit"
        assert "give the weight of a bushel" in caught.value.mend


@pytest.mark.parametrize("weight", [0, -22.7, math.nan, math.inf, "22.7", True])
def test_a_bushel_weight_must_be_a_number_above_zero(weight: object) -> None:
    with pytest.raises(InputError, match="bushel weight"):
        units.read("1 bu/ac", "area_mass", field="limit", bushel_kg=weight)  # type: ignore[arg-type]


def test_a_bushel_weight_is_not_wanted_where_no_bushel_is_written() -> None:
    assert units.read("35 kg/ha", "area_mass", field="limit", bushel_kg=None).value == 35
