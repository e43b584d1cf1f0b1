"""Grain in equilibrium with air, grades at delivery, and how long it keeps."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from chaffinch.engine.air import grain as grain_air
from chaffinch.engine.air.grain import Limits
from chaffinch.errors import InputError, ReferenceDataError
from chaffinch.reference import crop, crop_keys
from chaffinch.reference.grain_air import isotherm_of, isotherms, storage_days


@pytest.mark.parametrize("key", sorted(isotherms()))
@given(celsius=st.floats(-10, 60), humidity=st.floats(10, 90))
def test_moisture_and_humidity_are_each_others_inverse(key: str, celsius: float, humidity: float) -> None:
    isotherm = isotherms()[key]
    wet = grain_air.equilibrium_pct(isotherm, celsius, humidity)
    assert 0.5 < wet < 35.0
    assert grain_air.humidity_of_grain_pct(isotherm, celsius, wet) == pytest.approx(humidity, rel=1e-9)


@pytest.mark.parametrize("key", sorted(isotherms()))
def test_grain_is_moister_in_damper_and_in_colder_air(key: str) -> None:
    isotherm = isotherms()[key]
    over_humidity = grain_air.equilibrium_pct(isotherm, 20.0, np.linspace(10.0, 90.0, 81))
    over_warmth = grain_air.equilibrium_pct(isotherm, np.linspace(-10.0, 60.0, 71), 60.0)
    assert (np.diff(over_humidity) > 0).all()
    assert (np.diff(over_warmth) < 0).all()


def test_henderson_as_it_is_printed_for_one_point() -> None:
    """Canola, 20 °C, 50 %: derived in the method sheet as 6.8 % wet basis."""
    canola = isotherm_of("canola")
    assert canola is not None
    for celsius, row in {10: (7.6, 8.9, 10.5, 12.3), 20: (6.8, 8.0, 9.4, 11.1), 25: (6.5, 7.7, 9.0, 10.6)}.items():
        for humidity, printed in zip((50, 60, 70, 80), row, strict=True):
            found = grain_air.equilibrium_pct(canola, float(celsius), float(humidity))
            assert found == pytest.approx(printed, abs=0.051), (celsius, humidity)


def test_which_crops_have_an_isotherm() -> None:
    have = {key for key in crop_keys() if isotherm_of(key) is not None}
    assert have == {"barley", "canola", "corn", "durum", "flax", "malting-barley", "oats", "soybean", "wheat"}


@pytest.mark.parametrize(
    ("moisture", "found"),
    [(10.0, "dry"), (10.04, "dry"), (10.05, "tough"), (10.1, "tough"), (12.5, "tough"), (12.6, "damp")],
)
def test_grades_of_canola_in_canada(moisture: float, found: str) -> None:
    canola = crop("canola")
    limits = Limits(
        canola.market_moisture("CA").value, canola.tough_from_pct["CA"].value, canola.damp_above_pct["CA"].value
    )
    assert grain_air.grade(moisture, limits) == found


def test_where_no_classes_are_listed_it_is_over() -> None:
    assert grain_air.grade(9.2, Limits(9.0)) == "over"
    assert grain_air.grade(9.0, Limits(9.0)) == "dry"


def test_days_between_the_rows_lie_between_them() -> None:
    cereal = storage_days()["cereal"]
    assert grain_air.keeps_days(cereal, 16.0, 60.0) == pytest.approx(120.0)
    between = grain_air.keeps_days(cereal, 16.5, 65.0)
    assert between is not None
    assert 45 < between < 120
    assert grain_air.keeps_days(cereal, 14.0, 40.0) is None


@pytest.mark.parametrize(
    ("ask", "field"),
    [
        (lambda: grain_air.equilibrium_pct(isotherms()["canola"], 20.0, 95.0), "humidity_pct"),
        (lambda: grain_air.equilibrium_pct(isotherms()["canola"], 70.0, 50.0), "temperature_c"),
        (lambda: grain_air.humidity_of_grain_pct(isotherms()["canola"], 20.0, 0.0), "moisture_pct"),
        (lambda: grain_air.equilibrium_of_oil_seed_pct(0.43, 30.0, 60.0), "temperature_c"),
        (lambda: grain_air.equilibrium_of_oil_seed_pct(43.0, 20.0, 60.0), "oil_share_db"),
        (lambda: grain_air.keeps_days(storage_days()["cereal"], 13.0, 60.0), "moisture_pct"),
        (lambda: grain_air.keeps_days(storage_days()["cereal"], 16.0, 90.0), "temperature_f"),
        (lambda: grain_air.cooling_h(15.0, 0.0), "airflow_cfm_bu"),
    ],
)
def test_what_lies_outside_the_figures_is_refused(ask: object, field: str) -> None:
    with pytest.raises(InputError) as refused:
        ask()  # type: ignore[operator]
    assert refused.value.field == field


def test_a_damaged_file_of_ours_says_where() -> None:
    from chaffinch.reference import grain_air as room
    from chaffinch.reference.loader import Table

    figure = {"value": 1.0, "unit": "%", "source": "memory", "origin": "memory"}
    rows = {"crops": ["canola"], "model": "unheard-of", "a": figure, "b": figure, "c": figure, "plus_minus": figure}
    with pytest.raises(ReferenceDataError, match="model"):
        room._isotherm("x", Table("isotherms.toml", rows, "x"))
    small = Table("isotherms.toml", rows | {"model": "halsey", "plus_minus": figure | {"value": 0.01}}, "x")
    with pytest.raises(ReferenceDataError, match="too small"):
        room._isotherm("x", small)
