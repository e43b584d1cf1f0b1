"""Does our moist air agree with another program's over its whole range?

    python bench/air_oracle.py [--step 1]

PsychroLib (test extra) works one value at a time; every function of both is asked on a lattice of temperature, humidity
and pressure, and the largest difference is printed. Both use the handbook's equations: this finds slips of ours, not
errors of the handbook.
"""

from __future__ import annotations

import argparse
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import psychrolib

from chaffinch.engine.air import moist as air

HUMIDITY_PCT = np.array([0.5, 1, 2, 5, 10, 20, 30, 40, 50, 60, 70, 80, 90, 95, 99, 100.0])
PRESSURES_PA = (60_000.0, 90_000.0, 101_325.0, 105_000.0)
BULB_C = (-60.0, 90.0)
"""Temperatures of the functions that need a pressure [°C]: above, vapour comes near the whole pressure."""
BULB_VAPOUR = 0.5
"""Share of the pressure that vapour may have in them [1]."""


@dataclass(frozen=True, slots=True)
class Gap:
    """The largest difference of one figure, and how many values were asked."""

    name: str
    unit: str
    asked: int
    largest: float


def compare(step_c: float) -> list[Gap]:
    """Ask both on lattices with that step of temperature [°C]."""
    psychrolib.SetUnitSystem(psychrolib.SI)
    every = np.arange(air.COLDEST_C, air.HOTTEST_C + 1e-9, step_c)
    gaps = [_relative("saturation pressure", every, air.saturation_pressure_pa, psychrolib.GetSatVapPres)]
    warm, humid = (one.ravel() for one in np.meshgrid(every, HUMIDITY_PCT))
    may = air.vapour_pressure_pa(warm, humid) > air.saturation_pressure_pa(air.COLDEST_C)
    warm, humid = warm[may], humid[may]
    dew = [psychrolib.GetTDewPointFromRelHum(t, h / 100.0) for t, h in zip(warm, humid, strict=True)]
    gaps.append(_absolute("dew point", "°C", air.dew_point_c(warm, humid), dew))
    for pressure in PRESSURES_PA:
        gaps += _at_pressure(pressure, step_c)
    height = np.linspace(-500.0, 9000.0, 96)
    gaps.append(_relative("standard pressure", height, air.standard_pressure_pa, psychrolib.GetStandardAtmPressure))
    return gaps


def _at_pressure(pressure: float, step_c: float) -> list[Gap]:
    warm, humid = (one.ravel() for one in np.meshgrid(np.arange(BULB_C[0], BULB_C[1] + 1e-9, step_c), HUMIDITY_PCT))
    vapour = air.vapour_pressure_pa(warm, humid)
    water = air.humidity_ratio_kg_kg(np.minimum(vapour, 0.9 * pressure), pressure)
    # The other program calls drier air 1e-7, which is a rule of its own and no physics.
    may = (vapour < BULB_VAPOUR * pressure) & (water > 1e-7) & (vapour > air.saturation_pressure_pa(air.COLDEST_C))
    warm, humid, vapour, water = warm[may], humid[may], vapour[may], water[may]
    rows = list(zip(warm, humid, water, strict=True))
    their_water = [psychrolib.GetHumRatioFromRelHum(t, h / 100.0, pressure) for t, h, _ in rows]
    wet = air.wet_bulb_c(warm, humid, pressure)
    their_wet = [psychrolib.GetTWetBulbFromRelHum(t, h / 100.0, pressure) for t, h, _ in rows]
    deficit = [psychrolib.GetVaporPressureDeficit(t, w, pressure) for t, _, w in rows]
    heat = [psychrolib.GetMoistAirEnthalpy(t, w) / 1000.0 for t, _, w in rows]
    volume = [psychrolib.GetMoistAirVolume(t, w, pressure) for t, _, w in rows]
    at = f", {pressure / 1000:g} kPa"
    return [
        _absolute(f"humidity ratio{at}", "kg/kg", water, their_water),
        _absolute(f"wet bulb{at}", "°C", wet, their_wet),
        _absolute(f"vapour deficit{at}", "Pa", air.vapour_deficit_pa(warm, humid), deficit),
        _absolute(f"enthalpy{at}", "kJ/kg", air.enthalpy_kj_kg(warm, water), heat),
        _absolute(f"volume{at}", "m³/kg", air.volume_m3_kg(warm, water, pressure), volume),
    ]


def _absolute(name: str, unit: str, ours: np.ndarray, theirs: Sequence[float]) -> Gap:
    return Gap(name, unit, len(theirs), float(np.max(np.abs(ours - np.array(theirs)))))


def _relative(
    name: str, asked: np.ndarray, ours: Callable[[np.ndarray], np.ndarray], theirs: Callable[[float], float]
) -> Gap:
    other = np.array([theirs(float(one)) for one in asked])
    return Gap(name, "of it", asked.size, float(np.max(np.abs(ours(asked) / other - 1.0))))


def main(arguments: list[str] | None = None) -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--step", type=float, default=1.0, help="Step of temperature, °C.")
    given = parser.parse_args(arguments)
    print("| figure | values asked | largest difference |")
    print("|---|---:|---:|")
    for gap in compare(given.step):
        print(f"| {gap.name} | {gap.asked:,} | {gap.largest:.1e} {gap.unit} |")


if __name__ == "__main__":
    main()
