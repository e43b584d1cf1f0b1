"""Settings typed a line each: numbers as people write them, and none taken for a thousandth of itself."""

from __future__ import annotations

import pytest

from chaffinch.errors import InputError
from chaffinch.web.pages.settings_typed import settings_of


@pytest.mark.parametrize(
    ("typed", "value", "unit"),
    [
        ("600 rpm", 600.0, "rpm"),
        ("1100rpm", 1100.0, "rpm"),
        ("900 1/min", 900.0, "1/min"),
        ("1 100 1/min", 1100.0, "1/min"),
        ("3 2nd notch", 3.0, "2nd notch"),
        ("1 000,5 rpm", 1000.5, "rpm"),
        ("1 1/2 in", 1.5, "in"),
        ("1e3 rpm", 1000.0, "rpm"),
        ("1 100 rpm", 1100.0, "rpm"),
        ("1\u202f100 rpm", 1100.0, "rpm"),
        ("1,100.5 rpm", 1100.5, "rpm"),
        ("700,5 rpm", 700.5, "rpm"),
        ("0,125 in", 0.125, "in"),
        ("3/8 in", 0.375, "in"),
        ("-2 °", -2.0, "°"),
        ("3", 3.0, ""),
    ],
)
def test_a_number_is_read_as_everywhere_else(typed: str, value: float, unit: str) -> None:
    wanted = {"name": "rotor", "value": value} | ({"unit": unit} if unit else {})
    assert settings_of(f"rotor = {typed}", "settings") == [wanted]


@pytest.mark.parametrize(
    ("typed", "problem"), [("1,100 rpm", "in two ways"), ("rpm", "not a number"), ("nan", "not a number"), ("-", "not")]
)
def test_what_is_no_number_or_two_is_refused(typed: str, problem: str) -> None:
    with pytest.raises(InputError) as refused:
        settings_of(f"rotor = {typed}", "settings")
    assert problem in refused.value.problem
