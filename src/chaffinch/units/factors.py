"""What is one of each unit worth?

Every factor is an exact ratio built from the base constants below, so no derived figure is ever typed. The
base constants are exact by definition: National Institute of Standards and Technology (NIST), Special
Publication 811 (2008), appendix B, and Handbook 44, appendix C. Origin: memory; the tests check them against
two independent libraries.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

# --- base constants, each typed once ---

FOOT_M = Fraction("0.3048")  # international foot [m]
POUND_G = Fraction("453.59237")  # avoirdupois pound [g]
US_BUSHEL_IN3 = Fraction("2150.42")  # US (Winchester) bushel [in3]
US_GALLON_IN3 = Fraction(231)  # US liquid gallon [in3]
IMPERIAL_GALLON_ML = Fraction("4546.09")  # imperial gallon [mL]

# --- what follows from them ---

INCH_M = FOOT_M / 12  # [m]
YARD_M = 3 * FOOT_M  # [m]
MILE_M = 5280 * FOOT_M  # [m]
ACRE_M2 = 43560 * FOOT_M**2  # international acre [m2]: 4046.8564224, not the US survey acre
OUNCE_G = POUND_G / 16  # [g]
HUNDREDWEIGHT_G = 100 * POUND_G  # short hundredweight, 100 lb [g]
CUBIC_INCH_ML = (100 * INCH_M) ** 3  # [mL]
US_BUSHEL_HL = US_BUSHEL_IN3 * CUBIC_INCH_ML / 100_000  # [hL]
IMPERIAL_BUSHEL_HL = 8 * IMPERIAL_GALLON_ML / 100_000  # [hL]
US_FLUID_OUNCE_ML = US_GALLON_IN3 * CUBIC_INCH_ML / 128  # [mL]
US_CUP_ML = US_GALLON_IN3 * CUBIC_INCH_ML / 16  # [mL]
IMPERIAL_FLUID_OUNCE_ML = IMPERIAL_GALLON_ML / 160  # [mL]

_HA_M2 = Fraction(10_000)  # hectare [m2]
_T_G = Fraction(1_000_000)  # tonne [g]
_KG_G = Fraction(1_000)  # kilogram [g]
_H_S = Fraction(3_600)  # hour [s]
_ONE = Fraction(1)


@dataclass(frozen=True, slots=True)
class Unit:
    """One unit of one kind.

    Parameters
    ----------
    name : str
        Canonical spelling: ``"lb/ac"``; empty for a plain number.
    factor : Fraction
        What one of this unit is worth in the inside unit of its kind; where a bushel is involved, before the
        weight of a bushel comes in.
    bushel_power : int
        Power of the bushel weight [kg] that ``factor`` still has to be multiplied by: 0, 1 or -1.
    also : tuple of str
        Other canonical forms that mean the same here: ``"g/cm3"`` beside ``"g/mL"``.
    """

    name: str
    factor: Fraction
    bushel_power: int = 0
    also: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Kind:
    """One kind of quantity: what it is called, how it is kept inside, and what people may write.

    Parameters
    ----------
    phrase : str
        The kind in a sentence: ``"a length"``.
    inside : str
        The inside unit, as text.
    example : str
        A well-written quantity, quoted in error messages.
    units : tuple of Unit
        The accepted units, in the order in which errors and pages list them.
    pairs : tuple of (str, str)
        Units that people write one after the other: ``("ft", "in")``.
    fractions : bool
        Whether ``"1/2"`` and ``"2 1/2"`` are read.
    money : bool
        Whether a currency may stand before or after the number.
    whole : bool
        Whether only whole numbers make sense.
    """

    phrase: str
    inside: str
    example: str
    units: tuple[Unit, ...]
    pairs: tuple[tuple[str, str], ...] = ()
    fractions: bool = True
    money: bool = False
    whole: bool = False


KINDS: dict[str, Kind] = {
    "length": Kind(
        "a length",
        "m",
        "66 in",
        (
            Unit("m", _ONE),
            Unit("cm", Fraction(1, 100)),
            Unit("mm", Fraction(1, 1000)),
            Unit("in", INCH_M),
            Unit("ft", FOOT_M),
            Unit("yd", YARD_M),
        ),
        pairs=(("ft", "in"),),
    ),
    "area": Kind(
        "an area",
        "m2",
        "4 ft2",
        (
            Unit("m2", _ONE),
            Unit("cm2", Fraction(1, 100) ** 2),
            Unit("mm2", Fraction(1, 1000) ** 2),
            Unit("ft2", FOOT_M**2),
            Unit("in2", INCH_M**2),
            Unit("yd2", YARD_M**2),
        ),
    ),
    "flat_area": Kind(
        "the area of a flat layer",
        "cm2",
        "120 cm2 flat",
        (Unit("cm2 flat", _ONE), Unit("in2 flat", (100 * INCH_M) ** 2)),
    ),
    "land": Kind("an area of land", "ha", "62 ha", (Unit("ha", _ONE), Unit("ac", ACRE_M2 / _HA_M2))),
    "mass": Kind(
        "a mass",
        "g",
        "12.5 g",
        (
            Unit("g", _ONE),
            Unit("mg", Fraction(1, 1000)),
            Unit("kg", _KG_G),
            Unit("oz", OUNCE_G),
            Unit("lb", POUND_G),
            Unit("t", _T_G),
        ),
        pairs=(("lb", "oz"),),
    ),
    "volume": Kind(
        "a volume",
        "mL",
        "35 mL",
        (
            Unit("mL", _ONE, also=("cm3",)),
            Unit("dL", Fraction(100)),
            Unit("L", Fraction(1000)),
            Unit("US fl oz", US_FLUID_OUNCE_ML),
            Unit("imp fl oz", IMPERIAL_FLUID_OUNCE_ML),
            Unit("US cup", US_CUP_ML),
        ),
    ),
    "seeds": Kind(
        "a count of seeds",
        "seeds",
        "44 seeds",
        (Unit("seeds", _ONE),),
        fractions=False,
        whole=True,
    ),
    "speed": Kind(
        "a speed",
        "km/h",
        "7.5 km/h",
        (
            Unit("km/h", _ONE),
            Unit("mph", MILE_M / 1000, also=("mi/h",)),
            Unit("m/s", _H_S / 1000),
        ),
    ),
    "time": Kind(
        "a length of time",
        "s",
        "20 min",
        (Unit("s", _ONE), Unit("min", Fraction(60)), Unit("h", _H_S)),
        pairs=(("h", "min"), ("min", "s")),
    ),
    "area_mass": Kind(
        "a mass per area of land",
        "kg/ha",
        "1.2 t/ha",
        (
            Unit("kg/ha", _ONE),
            Unit("dt/ha", Fraction(100)),
            Unit("t/ha", Fraction(1000)),
            Unit("g/m2", _HA_M2 / _KG_G),
            Unit("g/ft2", _HA_M2 / FOOT_M**2 / _KG_G),
            Unit("lb/ac", POUND_G / _KG_G * _HA_M2 / ACRE_M2),
            Unit("cwt/ac", HUNDREDWEIGHT_G / _KG_G * _HA_M2 / ACRE_M2),
            Unit("bu/ac", _HA_M2 / ACRE_M2, bushel_power=1),
        ),
    ),
    "throughput": Kind(
        "a throughput",
        "t/h",
        "24 t/h",
        (
            Unit("t/h", _ONE),
            Unit("kg/s", _H_S / 1000),
            Unit("lb/min", POUND_G / _T_G * 60),
            Unit("bu/h", Fraction(1, 1000), bushel_power=1),
        ),
    ),
    "rate_area": Kind("a work rate", "ha/h", "6.5 ha/h", (Unit("ha/h", _ONE), Unit("ac/h", ACRE_M2 / _HA_M2))),
    "density": Kind(
        "a bulk density",
        "kg/hL",
        "65 kg/hL",
        (
            Unit("kg/hL", _ONE),
            Unit("g/L", Fraction(1, 10)),
            Unit("kg/m3", Fraction(1, 10)),
            Unit("g/mL", Fraction(100), also=("g/cm3",)),
            Unit("lb/bu US", POUND_G / _KG_G / US_BUSHEL_HL, also=("lb/US bu",)),
            Unit("lb/bu imp", POUND_G / _KG_G / IMPERIAL_BUSHEL_HL, also=("lb/imp bu",)),
        ),
    ),
    "kernel_density": Kind(
        "the density of a kernel",
        "g/cm3",
        "1.12 g/cm3",
        (Unit("g/cm3", _ONE, also=("g/mL", "kg/L")), Unit("kg/m3", Fraction(1, 1000))),
    ),
    "price": Kind(
        "a price",
        "money/t",
        "14.50 /bu",
        (
            Unit("/t", _ONE),
            Unit("/kg", _T_G / _KG_G),
            Unit("/lb", _T_G / POUND_G),
            Unit("/cwt", _T_G / HUNDREDWEIGHT_G),
            Unit("/bu", Fraction(1000), bushel_power=-1),
        ),
        fractions=False,
        money=True,
    ),
    "fuel_rate": Kind(
        "a fuel rate",
        "L/h",
        "62 L/h",
        (
            Unit("L/h", _ONE),
            Unit("US gal/h", US_GALLON_IN3 * CUBIC_INCH_ML / 1000),
            Unit("imp gal/h", IMPERIAL_GALLON_ML / 1000),
        ),
    ),
    "fuel_price": Kind(
        "a price of fuel",
        "money/L",
        "1.35 /L",
        (
            Unit("/L", _ONE),
            Unit("/US gal", 1000 / (US_GALLON_IN3 * CUBIC_INCH_ML)),
            Unit("/imp gal", 1000 / IMPERIAL_GALLON_ML),
        ),
        fractions=False,
        money=True,
    ),
    "money_rate": Kind("a cost per hour", "money/h", "500 /h", (Unit("/h", _ONE),), fractions=False, money=True),
    "percent": Kind("a percentage", "%", "12.5 %", (Unit("%", _ONE),)),
    "fraction": Kind("a fraction", "1", "0.25", (Unit("", _ONE), Unit("%", Fraction(1, 100)))),
}


def kind_of(kind: str) -> Kind:
    """Return the kind of that name.

    Raises
    ------
    ValueError
        When there is no such kind: a slip in the program, not in what a person wrote.
    """
    try:
        return KINDS[kind]
    except KeyError:
        msg = f"no kind of quantity called {kind!r}; there are {', '.join(KINDS)}"
        raise ValueError(msg) from None
