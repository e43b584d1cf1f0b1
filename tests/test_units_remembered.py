"""A text read before is not read again: same answer, and a refusal still names the field it stands in."""

from __future__ import annotations

import pytest

from chaffinch import units
from chaffinch.errors import InputError
from chaffinch.units import quantity


def test_a_second_reading_is_the_first_one() -> None:
    quantity._remembered.cache_clear()
    first = units.read("12.192 m", "length", field="cut_width")
    again = units.read("12.192 m", "length", field="drop_width")
    assert again is first
    assert quantity._remembered.cache_info().hits == 1


def test_the_kind_and_the_bushel_are_part_of_what_is_remembered() -> None:
    canola = units.read("1 bu/ac", "area_mass", field="limit", bushel_kg=22.6796)
    wheat = units.read("1 bu/ac", "area_mass", field="limit", bushel_kg=27.2155)
    assert wheat.value / canola.value == pytest.approx(27.2155 / 22.6796, rel=1e-12)
    assert units.read("3 m", "length", field="a").kind == "length"
    with pytest.raises(InputError):
        units.read("3 m", "mass", field="a")


def test_a_refusal_names_its_own_field_each_time() -> None:
    for field in ("catch 1, amount", "catch 2, amount"):
        with pytest.raises(InputError) as refused:
            units.read("12.5 furlong", "mass", field=field)
        assert refused.value.field == field
    with pytest.raises(InputError) as no_text:
        units.read(["12 g"], "mass", field="amount")  # type: ignore[arg-type]
    assert no_text.value.field == "amount"
