"""The shared input checks: what comes in goes out as float, everything else is refused by name."""

from __future__ import annotations

from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from chaffinch.engine.domain import between, finite, not_negative, positive, share, single
from chaffinch.errors import InputError

CHECKS = {
    "finite": finite,
    "single": single,
    "positive": positive,
    "not_negative": not_negative,
    "share": share,
    "between": lambda field, value: between(field, value, 0.0, 1.0),
}
EVERY_CHECK = pytest.mark.parametrize("check", CHECKS.values(), ids=CHECKS.keys())
NEVER = [
    float("nan"),
    float("inf"),
    -float("inf"),
    True,
    np.True_,
    "0.5",
    None,
    0.5j,
    [0.5],
    Fraction(1, 2),
    10**400,
    pytest.param(10**5000, id="more digits than Python writes"),
    2e50,
    np.array([True]),
    np.array(["0.5"]),
    np.array([0.5], dtype=object),
    np.array([0.5, np.nan]),
    np.ma.masked_array([0.5, 0.5], mask=[False, True]),
]


@EVERY_CHECK
@pytest.mark.parametrize("value", NEVER, ids=repr)
def test_refuses_what_is_no_finite_number(check, value):
    with pytest.raises(InputError) as caught:
        check("speed_kmh", value)

    assert caught.value.field.startswith("speed_kmh")
    assert caught.value.mend


@EVERY_CHECK
@pytest.mark.parametrize("value", [1, np.int64(1), np.float32(1.0), np.float64(1.0), 1.0])
def test_a_number_of_any_make_becomes_a_plain_float(check, value):
    result = check("width_m", value)

    assert result == 1.0
    assert type(result) is float


@pytest.mark.parametrize("check", [finite, positive, not_negative, share])
def test_an_array_becomes_a_float64_copy_of_the_same_shape(check):
    given_array = np.array([[1, 1], [1, 1]], dtype=np.int32)

    result = check("width_m", given_array)
    result[0, 0] = 7.0

    assert result.dtype == np.float64
    assert result.shape == (2, 2)
    assert given_array[0, 0] == 1


def test_single_refuses_an_array():
    with pytest.raises(InputError, match="must be one number"):
        single("price", np.array([1.0]))


@pytest.mark.parametrize(
    ("check", "value"),
    [
        (positive, 0.0),
        (positive, -1e-9),
        (positive, 1e-51),
        (positive, 5e-324),
        (not_negative, -5e-324),
        (share, 0.0),
        (share, 1.0000001),
        (share, 70.0),
        (CHECKS["between"], -1e-12),
        (CHECKS["between"], 1.0 + 1e-12),
    ],
)
def test_refuses_just_outside_the_domain(check, value):
    with pytest.raises(InputError):
        check("efficiency", value)


def test_edges_that_belong_are_accepted():
    assert not_negative("loss", 0.0) == 0.0
    assert share("efficiency", 1.0) == 1.0
    assert between("x", 0.0, 0.0, 1.0) == 0.0
    assert between("x", 1.0, 0.0, 1.0) == 1.0
    assert positive("mass_g", 1e-50) == 1e-50
    assert finite("offset_m", -1e50) == -1e50


@pytest.mark.parametrize(
    ("value", "where", "shown"),
    [
        (np.array([1.0, 2.0, -3.0, -4.0]), "speed_kmh[2]", -3.0),
        (np.array([[1.0, 2.0], [0.0, 3.0]]), "speed_kmh[1, 0]", 0.0),
        (np.array(-1.0), "speed_kmh", -1.0),
    ],
)
def test_names_the_first_offending_element(value, where, shown):
    with pytest.raises(InputError) as caught:
        positive("speed_kmh", value)

    assert caught.value.field == where
    assert caught.value.value == shown


def test_the_line_names_field_value_and_mend():
    with pytest.raises(InputError) as caught:
        share("efficiency", 70.0, "write 70 % as 0.70")

    assert str(caught.value) == "efficiency: must be at most 1 (got 70.0); write 70 % as 0.70"


@given(st.floats(allow_nan=True, allow_infinity=True))
def test_positive_accepts_exactly_the_finite_numbers_above_zero_of_a_sane_size(value):
    belongs = 1e-50 <= value <= 1e50

    if belongs:
        assert positive("x", value) == value
    else:
        with pytest.raises(InputError):
            positive("x", value)
