"""How much water does the air hold, and how much more would it take? Psychrometrics of moist air.

Saturation pressure is that of ASHRAE Fundamentals 2017, ch. 1, eqs 5 (ice) and 6 (water); dew point and wet bulb are
solved from it by halving. Every function takes floats or float64 arrays (of one shape, or one array among floats) and
answers alike. Units: °C, Pa, % relative humidity, kg of water per kg of dry air. Method page: ``docs/method/air.md``.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

import numpy as np
from numpy.typing import NDArray

from chaffinch.engine.domain import FloatArray, Num, between, positive
from chaffinch.errors import InputError

COLDEST_C, HOTTEST_C = -100.0, 200.0
"""Where eqs 5 and 6 are stated to hold [°C]."""
STANDARD_PRESSURE_PA: Final = 101325.0
"""Standard pressure at sea level [Pa] (exact)."""
LOWEST_PRESSURE_PA, HIGHEST_PRESSURE_PA = 20_000.0, 120_000.0
"""Pressures taken [Pa]: from 11 km up to far below the sea; own figures."""

_KELVIN: Final = 273.15
_TRIPLE_POINT_C: Final = 0.01
"""Switch from ice to water [°C]. The handbook says 0 °C, where the two leap by 0.01 %; at the triple point they meet
(derived)."""
_ICE: Final = (-5674.5359, 6.3925247, -9.677843e-3, 6.2215701e-7, 2.0747825e-9, -9.484024e-13, 4.1635019)
_WATER: Final = (-5800.2206, 1.3914993, -4.8640239e-2, 4.1764768e-5, -1.4452093e-8, 0.0, 6.5459673)
"""C1 … C13 of eqs 5 and 6 for Pa and K (printed)."""
_MASS_RATIO: Final = 0.621945
"""Molar mass of water over that of dry air [1], eq. 20 (printed)."""
_HALVINGS: Final = 60
"""300 °C halved so often is far below the last digit of a float."""


def saturation_pressure_pa(temperature_c: Num) -> Num:
    """Return the pressure of saturated vapour [Pa], over ice up to 0.01 °C and over water above: eqs 5 and 6.

    ``temperature_c`` [°C], −100 to 200; InputError beyond.
    """
    celsius = between("temperature_c", temperature_c, COLDEST_C, HOTTEST_C)
    return _like(celsius, _saturation(np.asarray(celsius, dtype=np.float64)))


def standard_pressure_pa(altitude_m: Num) -> Num:
    """Return the standard pressure of the atmosphere at a height [Pa], eq. 3; ``altitude_m`` −500 to 9000 m."""
    height = between("altitude_m", altitude_m, -500.0, 9000.0, "give the height above sea level in metres")
    found: Num = STANDARD_PRESSURE_PA * (1.0 - 2.25577e-5 * height) ** 5.2559
    return found


def vapour_pressure_pa(temperature_c: Num, humidity_pct: Num) -> Num:
    """Return the pressure of the vapour in the air [Pa], eq. 22: φ · p_ws.

    ``temperature_c`` [°C], −100 to 200; ``humidity_pct`` relative humidity [%], 0 to 100.
    """
    return _humidity(humidity_pct) / 100.0 * saturation_pressure_pa(temperature_c)


def vapour_deficit_pa(temperature_c: Num, humidity_pct: Num) -> Num:
    """Return how much more vapour the air would take [Pa]: p_ws − p_w, the vapour pressure deficit.

    Parameters as in :func:`vapour_pressure_pa`.
    """
    return (1.0 - _humidity(humidity_pct) / 100.0) * saturation_pressure_pa(temperature_c)


def dew_point_of_vapour_c(vapour_pa: Num) -> Num:
    """Return the temperature at which vapour of that pressure is saturated [°C], eqs 5 and 6 solved.

    ``vapour_pa`` [Pa] from that of −100 °C (1.4 mPa) to that of 200 °C; below 0.01 °C it is the frost point.
    """
    vapour = positive("vapour_pa", vapour_pa, "air without any vapour has no dew point")
    low, high = (float(_saturation(np.array(end))) for end in (COLDEST_C, HOTTEST_C))
    vapour = between("vapour_pa", vapour, low, high)
    wanted = np.asarray(vapour, dtype=np.float64)

    def below(celsius: FloatArray) -> NDArray[np.bool_]:
        return np.asarray(_saturation(celsius) < wanted)

    return _like(vapour, _halved(below, np.full(wanted.shape, COLDEST_C), np.full(wanted.shape, HOTTEST_C)))


def dew_point_c(temperature_c: Num, humidity_pct: Num) -> Num:
    """Return the temperature to which the air must cool for dew or frost [°C].

    ``temperature_c`` [°C], −100 to 200; ``humidity_pct`` [%], above 0 to 100.
    """
    positive("humidity_pct", humidity_pct, "air without any vapour has no dew point")
    # At 100 % it is the temperature itself; halving may end a hair above it.
    found = dew_point_of_vapour_c(vapour_pressure_pa(temperature_c, humidity_pct))
    celsius: Num = np.minimum(found, temperature_c) if isinstance(found, np.ndarray) else min(found, temperature_c)
    return celsius


def humidity_of_dew_point_pct(temperature_c: Num, dew_point: Num) -> Num:
    """Return the relative humidity [%] of air with that dew point: p_ws(t_d)/p_ws(t).

    ``dew_point`` [°C], not above ``temperature_c`` [°C].
    """
    _not_above("dew_point", dew_point, temperature_c, "air cannot hold more than saturation; swap the two if mixed up")
    return 100.0 * saturation_pressure_pa(dew_point) / saturation_pressure_pa(temperature_c)


def humidity_ratio_kg_kg(vapour_pa: Num, pressure_pa: float = STANDARD_PRESSURE_PA) -> Num:
    """Return kg of water per kg of dry air, eq. 20: 0.621945 p_w/(p − p_w).

    ``vapour_pa`` [Pa], 0 to below the pressure ``pressure_pa`` [Pa], 20,000 to 120,000.
    """
    pressure = _pressure(pressure_pa)
    vapour = between("vapour_pa", vapour_pa, 0.0, 0.99 * pressure, "vapour near the whole pressure is boiling water")
    return _MASS_RATIO * vapour / (pressure - vapour)


def humidity_ratio_of_wet_bulb_kg_kg(
    temperature_c: Num, wet_bulb: Num, pressure_pa: float = STANDARD_PRESSURE_PA
) -> Num:
    """Return kg of water per kg of dry air from both bulbs, eqs 33 (water) and 35 (ice).

    ``wet_bulb`` [°C], not above ``temperature_c`` [°C]; ``pressure_pa`` [Pa]. Raises InputError where the wet bulb is
    colder than any vapour in the air could leave it.
    """
    _not_above("wet_bulb", wet_bulb, temperature_c, "evaporation only cools; swap the two if they are mixed up")
    dry, wet = np.asarray(temperature_c, dtype=np.float64), np.asarray(wet_bulb, dtype=np.float64)
    saturated = humidity_ratio_kg_kg(np.asarray(saturation_pressure_pa(wet)), pressure_pa)
    found = _of_bulbs(dry, wet, saturated)
    if (found < 0.0).any():
        problem = "is colder than even dry air would cool it"
        raise InputError("wet_bulb", float(np.min(wet)), problem, "check the readings of both bulbs")
    like = temperature_c if isinstance(temperature_c, np.ndarray) else wet_bulb
    return _like(like, found)


def wet_bulb_c(temperature_c: Num, humidity_pct: Num, pressure_pa: float = STANDARD_PRESSURE_PA) -> Num:
    """Return the wet bulb temperature [°C]: eqs 33 and 35 solved between dew point and dry bulb.

    ``temperature_c`` [°C], −100 to 200 and not boiling at ``pressure_pa`` [Pa]; ``humidity_pct`` [%], above 0 to 100.
    """
    dew = dew_point_c(temperature_c, humidity_pct)
    vapour = vapour_pressure_pa(temperature_c, humidity_pct)
    held = np.asarray(humidity_ratio_kg_kg(vapour, pressure_pa), dtype=np.float64)
    dry = np.broadcast_to(np.asarray(temperature_c, dtype=np.float64), held.shape)
    pressure = _pressure(pressure_pa)

    def below(celsius: FloatArray) -> NDArray[np.bool_]:
        vapour_there = _saturation(celsius)
        # Above the boiling point the bulb is surely too warm.
        boiling = vapour_there >= 0.99 * pressure
        saturated = _MASS_RATIO * vapour_there / np.where(boiling, pressure, pressure - vapour_there)
        return np.asarray(~boiling & (_of_bulbs(dry, celsius, saturated) <= held))

    low = np.broadcast_to(np.asarray(dew, dtype=np.float64), held.shape).copy()
    return _like(vapour, _halved(below, low, dry.copy()))


def enthalpy_kj_kg(temperature_c: Num, humidity_ratio: Num) -> Num:
    """Return the heat in moist air per kg of dry air [kJ/kg], eq. 30; ``humidity_ratio`` [kg/kg], 0 or more."""
    water = between("humidity_ratio", humidity_ratio, 0.0, 10.0)
    celsius = between("temperature_c", temperature_c, COLDEST_C, HOTTEST_C)
    return 1.006 * celsius + water * (2501.0 + 1.86 * celsius)


def volume_m3_kg(temperature_c: Num, humidity_ratio: Num, pressure_pa: float = STANDARD_PRESSURE_PA) -> Num:
    """Return the volume of moist air per kg of dry air [m³/kg], eq. 26; ``humidity_ratio`` [kg/kg], 0 or more."""
    water = between("humidity_ratio", humidity_ratio, 0.0, 10.0)
    celsius = between("temperature_c", temperature_c, COLDEST_C, HOTTEST_C)
    # 287.042 J/(kg·K) is the gas constant of dry air, eq. 1 (printed).
    return 287.042 * (celsius + _KELVIN) * (1.0 + 1.607858 * water) / _pressure(pressure_pa)


def _saturation(celsius: FloatArray) -> FloatArray:
    kelvin = celsius + _KELVIN
    logs = [
        c0 / kelvin + c1 + kelvin * (c2 + kelvin * (c3 + kelvin * (c4 + kelvin * c5))) + c6 * np.log(kelvin)
        for c0, c1, c2, c3, c4, c5, c6 in (_ICE, _WATER)
    ]
    result: FloatArray = np.exp(np.where(celsius <= _TRIPLE_POINT_C, logs[0], logs[1]))
    return result


def _of_bulbs(dry: FloatArray, wet: FloatArray, saturated: FloatArray) -> FloatArray:
    over_water = ((2501.0 - 2.326 * wet) * saturated - 1.006 * (dry - wet)) / (2501.0 + 1.86 * dry - 4.186 * wet)
    over_ice = ((2830.0 - 0.24 * wet) * saturated - 1.006 * (dry - wet)) / (2830.0 + 1.86 * dry - 2.1 * wet)
    result: FloatArray = np.where(wet >= 0.0, over_water, over_ice)
    return result


def _halved(below: Callable[[FloatArray], NDArray[np.bool_]], low: FloatArray, high: FloatArray) -> FloatArray:
    """Where a rising function passes its mark, between two ends, element by element."""
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + high)
        under = below(middle)
        low, high = np.where(under, middle, low), np.where(under, high, middle)
    result: FloatArray = 0.5 * (low + high)
    return result


def _humidity(humidity_pct: Num) -> Num:
    return between("humidity_pct", humidity_pct, 0.0, 100.0, "write 45 % as 45")


def _pressure(pressure_pa: float) -> float:
    return between("pressure_pa", pressure_pa, LOWEST_PRESSURE_PA, HIGHEST_PRESSURE_PA, "give pascals, like 95000")


def _not_above(field: str, value: Num, most: Num, mend: str) -> None:
    if np.any(np.asarray(value) > np.asarray(most)):
        worst = int(np.argmax(np.ravel(np.asarray(value, dtype=np.float64) - np.asarray(most, dtype=np.float64))))
        shown = float(np.ravel(np.asarray(value, dtype=np.float64))[worst if np.size(value) > 1 else 0])
        raise InputError(field, shown, "is above the temperature of the air", mend)


def _like(given: Num, found: FloatArray) -> Num:
    """The answer as a float where a float was given."""
    return found if isinstance(given, np.ndarray) else float(found)
