"""Moist air: against another program over its whole range, and by identities that need none."""

from __future__ import annotations

import math
import sys
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from chaffinch.engine.air import moist as air
from chaffinch.errors import InputError

sys.path.append(str(Path(__file__).parents[2] / "bench"))

MOST = {"°C": 1e-3, "Pa": 1e-6, "kg/kg": 1e-12, "kJ/kg": 1e-9, "m³/kg": 1e-12, "of it": 1e-12}
"""Wet bulb: PsychroLib halves until 0.001 °C is left; all else is rounding."""


def test_every_function_agrees_with_psychrolib_over_its_range() -> None:
    import air_oracle

    gaps = air_oracle.compare(step_c=5.0)
    assert sum(gap.asked for gap in gaps) > 5000
    for gap in gaps:
        assert gap.largest <= MOST[gap.unit], gap


def test_the_bench_prints_a_row_for_each(capsys: pytest.CaptureFixture[str]) -> None:
    import air_oracle

    air_oracle.main(["--step", "60"])
    assert capsys.readouterr().out.count("\n") == 2 + 3 + 5 * len(air_oracle.PRESSURES_PA)


@given(st.floats(-60, 80), st.floats(1, 100))
def test_dew_point_and_humidity_are_each_others_inverse(celsius: float, humidity: float) -> None:
    dew = air.dew_point_c(celsius, humidity)
    assert dew <= celsius
    # Across 0.01 °C ice and water meet to about a millionth.
    assert air.humidity_of_dew_point_pct(celsius, dew) == pytest.approx(humidity, rel=1e-6)


@given(st.floats(-30, 50), st.floats(2, 100))
def test_the_wet_bulb_lies_between_dew_point_and_air_and_gives_the_water_back(celsius: float, humidity: float) -> None:
    wet = air.wet_bulb_c(celsius, humidity)
    assert air.dew_point_c(celsius, humidity) - 1e-9 <= wet <= celsius + 1e-9
    if abs(wet) > 1e-6:  # eqs 33 and 35 leap at 0 °C, where the bulb itself freezes
        held = air.humidity_ratio_kg_kg(air.vapour_pressure_pa(celsius, humidity))
        back = air.humidity_ratio_of_wet_bulb_kg_kg(celsius, min(wet, celsius))
        assert back == pytest.approx(held, rel=1e-9, abs=1e-12)


def test_ice_and_water_meet_at_the_triple_point() -> None:
    below, above = (air.saturation_pressure_pa(0.01 + d) for d in (0.0, 1e-9))
    assert above == pytest.approx(below, rel=2e-5)
    assert below == pytest.approx(611.7, rel=2e-4)  # the triple point's own pressure, 611.657 Pa (memory)


def test_clausius_clapeyron_as_a_second_road() -> None:
    """d ln p/dT = L/(R T²): the latent heat that follows from eq. 6 is 2.45 MJ/kg at 20 °C (2.454, memory)."""
    h, kelvin = 1e-3, 293.15
    slope = (math.log(air.saturation_pressure_pa(20 + h)) - math.log(air.saturation_pressure_pa(20 - h))) / (2 * h)
    assert slope * 461.5 * kelvin**2 / 1e6 == pytest.approx(2.45, rel=0.005)


def test_arrays_answer_as_single_values_do_and_keep_their_shape() -> None:
    celsius = np.array([[-10.0, 5.0], [20.0, 35.0]])
    for one in (air.saturation_pressure_pa, lambda t: air.dew_point_c(t, 40.0), lambda t: air.wet_bulb_c(t, 40.0)):
        found = one(celsius)
        assert found.shape == celsius.shape
        assert found[1, 0] == pytest.approx(one(20.0), rel=1e-12)
        assert isinstance(one(20.0), float)


@pytest.mark.parametrize(
    ("ask", "field"),
    [
        (lambda: air.saturation_pressure_pa(201.0), "temperature_c"),
        (lambda: air.saturation_pressure_pa(np.array([0.0, -101.0])), "temperature_c[1]"),
        (lambda: air.saturation_pressure_pa(math.nan), "temperature_c"),
        (lambda: air.vapour_pressure_pa(20.0, 101.0), "humidity_pct"),
        (lambda: air.dew_point_c(20.0, 0.0), "humidity_pct"),
        (lambda: air.dew_point_c(-90.0, 1.0), "vapour_pa"),
        (lambda: air.humidity_of_dew_point_pct(20.0, 21.0), "dew_point"),
        (lambda: air.humidity_ratio_of_wet_bulb_kg_kg(20.0, 25.0), "wet_bulb"),
        (lambda: air.humidity_ratio_of_wet_bulb_kg_kg(40.0, 5.0), "wet_bulb"),
        (lambda: air.humidity_ratio_kg_kg(100_000.0, 90_000.0), "vapour_pa"),
        (lambda: air.wet_bulb_c(20.0, 50.0, 500.0), "pressure_pa"),
        (lambda: air.standard_pressure_pa(20_000.0), "altitude_m"),
        (lambda: air.enthalpy_kj_kg(20.0, -0.1), "humidity_ratio"),
        (lambda: air.volume_m3_kg(20.0, math.inf), "humidity_ratio"),
    ],
)
def test_what_no_air_can_be_is_refused_by_name(ask: object, field: str) -> None:
    with pytest.raises(InputError) as refused:
        ask()  # type: ignore[operator]
    assert refused.value.field == field
    assert refused.value.mend
