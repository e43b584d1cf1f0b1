"""What does it cost to own and run a combine: by the year, by the hour, by the hectare?

Remaining value, capital recovery, taxes-insurance-housing, repair, fuel, lubricant, labour, and the whole
of it. Which parts change with one more hour is for ``work.HourCost``: marginal repair, marginal
depreciation, fuel, lubricant and labour do; the rest is spent anyway. Equations, sources, limits and a
worked example: ``docs/method/work.md``.

The first argument of a function may be a float64 array unless its docstring says otherwise. Every input is
checked; InputError names the parameter, the value and the mend. Money is in the currency of the prices.
Rates and shares are fractions: 8 % is 0.08. Published constants are given to be passed in, never applied
silently.

Sources: [1] *Machinery Cost Equations*, page of a university-type cost program citing ASAE Standards 2000
(printed). [2] ASAE D497.4 FEB03 / ASABE D497.7 MAR2011, *Agricultural Machinery Management Data* (from
memory). [3] Iowa State A3-29, *Estimating Farm Machinery Costs* (printed). [4] *How Much Will That Tractor
Cost? Part 2*, Growing Produce, re-using A3-29 (printed). [5] J. Molenhuis, *Crunching your machinery costs*
(printed). [6] ASAE EP496.2 FEB03 (from memory).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from fractions import Fraction

import numpy as np

from chaffinch.engine.domain import Num, between, finite, not_negative, positive, single
from chaffinch.errors import InputError
from chaffinch.units.factors import CUBIC_INCH_ML, FOOT_M, POUND_G, US_GALLON_IN3

L_PER_US_GALLON = float(US_GALLON_IN3 * CUBIC_INCH_ML / 1000)
"""Litres in one US gallon [L]. Exact."""

STANDARD_GRAVITY_M_S2 = Fraction("9.80665")
"""Standard gravity [m/s²]. Exact by definition (3rd General Conference on Weights and Measures, 1901)."""

KW_PER_HP = float(550 * FOOT_M * (POUND_G / 1000) * STANDARD_GRAVITY_M_S2 / 1000)
"""Kilowatts in one mechanical horsepower [kW]: 550 ft·lbf/s. Exact by definition."""

DIESEL_YEAR_ROUND_L_KWH = 0.044 * L_PER_US_GALLON / KW_PER_HP
"""Diesel per kWh of maximum PTO power, mean over a year's work [L/kWh]: 0.044 US gal/h per hp, printed in
[4]; = 0.2234, and 0.223 is the SI value of [6] (origin: memory)."""

DIESEL_NEAR_FULL_LOAD_L_KWH = 0.244 / KW_PER_HP
"""Diesel per kWh near full load [L/kWh]: 0.244 L/h per hp, printed in [5]; = 0.327. It is 1.46 times the
year-round mean: by our reading a combine at work is nearer this one, a season with road and idling nearer
the other. Never mix them."""

LUBRICANT_SHARE_OF_FUEL = 0.15
"""Lubricant cost over fuel cost [share]. Printed in [1] and [4]."""

LABOUR_MULTIPLIER_TRACTOR = 1.1
LABOUR_MULTIPLIER_OTHER_POWER_UNIT = 1.2
"""Hours paid per machine hour [-]: servicing, moving, waiting. 1.2 for combines. Printed in [1]."""

HOURS_PER_YEAR_MOST = 8784.0
"""Hours in a leap year [h/year]: no machine runs longer."""

MACHINE_HOURS_MOST = 1e6
"""Bound on machine hours [h], 114 years without a stop: what lies beyond is a slip of the keyboard."""


@dataclass(frozen=True, slots=True)
class RemainingValueFactors:
    """C1, C2, C3 [-] of the remaining-value formula; C1 above 0, the others 0 or more."""

    c1: float
    c2: float
    c3: float

    def __post_init__(self) -> None:
        positive("c1", self.c1)
        not_negative("c2", self.c2)
        not_negative("c3", self.c3)


@dataclass(frozen=True, slots=True)
class RepairFactors:
    """RF1 [-, 0 or more] and RF2 [-, 1 to 5] of the repair formula.

    RF2 below 1 would have a new machine break down more than an old one; published values are 1.3 to 2.3
    (from memory, source [2]).
    """

    rf1: float
    rf2: float

    def __post_init__(self) -> None:
        not_negative("rf1", self.rf1)
        between("rf2", self.rf2, 1.0, 5.0)


COMBINE_REMAINING_VALUE = RemainingValueFactors(1.132, 0.165, 0.0079)
"""Self-propelled combine [-], source [2]. Origin: memory; gives 22.4 % at 10 y and 300 h/y, where 22 % is
printed in a textbook exercise. Rests on old auction data."""

COMBINE_REPAIR = RepairFactors(0.04, 2.1)
"""Self-propelled combine [-], source [2]. Origin: memory; 40.2 % of list in 3000 h, where the row says 40."""

PULL_TYPE_COMBINE_REPAIR = RepairFactors(0.12, 2.3)
"""Pull-type combine [-], source [2]. Origin: memory; 59.1 % of list in 2000 h, where the row says 60."""


def remaining_value_percent(age_years: Num, annual_use_h: float, factors: RemainingValueFactors) -> Num:
    """Return the remaining value as percent of list price [%]: 100·(C1 − C2·√n − C3·√h)², source [2].

    ``age_years`` n [year], 1 or more (the formula is no guide to the first months); ``annual_use_h`` h, the
    mean use [h/year], 0 to 8784. Raises InputError where the bracket leaves [0, 1]: past its zero the square
    would make an old machine dearer again.
    """
    return 100.0 * _value_root(age_years, annual_use_h, factors) ** 2


def salvage_value(list_price: Num, remaining_value_percent: float) -> Num:
    """Return the value at the end [money]: list price × remaining value [%, 0-100] ÷ 100."""
    part = between("remaining_value_percent", remaining_value_percent, 0.0, 100.0) / 100.0
    return positive("list_price", list_price) * part


def total_depreciation(purchase_price: float, salvage_value: float) -> float:
    """Return price paid less salvage value [money]; salvage from 0 to the price paid. Scalars only."""
    price = positive("purchase_price", single("purchase_price", purchase_price))
    salvage = not_negative("salvage_value", single("salvage_value", salvage_value))
    if salvage > price:
        mend = "give at most the purchase price; are the two swapped?"
        raise InputError("salvage_value", salvage, f"is above the purchase price {price:g}", mend)
    return price - salvage


def depreciation_per_h(purchase_price: float, salvage_value: float, life_years: float, annual_use_h: float) -> float:
    """Return straight-line depreciation [money/h]: (price − salvage)/(years·h), source [1]."""
    hours = _life(life_years) * _annual_use(annual_use_h)
    return total_depreciation(purchase_price, salvage_value) / hours


def interest_per_h(purchase_price: float, salvage_value: float, interest_rate: float, annual_use_h: float) -> float:
    """Return interest on the mean value [money/h]: (price + salvage)·i/(2h), source [1]."""
    total_depreciation(purchase_price, salvage_value)
    mean_value = (float(purchase_price) + float(salvage_value)) / 2.0
    return mean_value * _rate("interest_rate", interest_rate) / _annual_use(annual_use_h)


def real_interest_rate(nominal_rate: float, inflation_rate: float) -> float:
    """Return interest less inflation [1/year], the plain difference printed in [3].

    8 % less 3 % is 5 %; the exact quotient 1.08/1.03 − 1 would be 4.85 %. May come out negative.
    """
    return _rate("nominal_rate", nominal_rate) - _rate("inflation_rate", inflation_rate)


def capital_recovery_factor(interest_rate: float, life_years: float) -> float:
    """Return the capital recovery factor [1/year]: i/(1 − (1+i)⁻ⁿ), and its limit 1/n at i = 0.

    ``interest_rate`` i [1/year], −0.5 to 1; ``life_years`` n [year], above 0 to 100. Source [3].
    """
    rate, years = _rate("interest_rate", interest_rate), _life(life_years)
    if abs(rate) < 1e-15:  # for any n to 100 the limit is then right to 1e-13 of itself
        return 1.0 / years
    # expm1 and log1p keep every digit at rates near 0, where 1 − (1+i)⁻ⁿ loses them.
    return rate / -math.expm1(-years * math.log1p(rate))


def capital_recovery_per_year(
    purchase_price: float, salvage_value: float, interest_rate: float, life_years: float
) -> float:
    """Return depreciation and interest as one yearly sum [money/year]: (price − salvage)·CRF + salvage·i."""
    spent = total_depreciation(purchase_price, salvage_value)
    rate = _rate("interest_rate", interest_rate)
    return spent * capital_recovery_factor(rate, life_years) + float(salvage_value) * rate


def tih_per_year(start_value: float, end_value: float, tih_rate: float) -> float:
    """Return taxes, insurance and housing [money/year]: rate × mean of start and end value, sources [1, 3].

    ``tih_rate`` [share of mean value per year, 0-1]; 0.01 is what the A3-29 spreadsheet works out to.
    """
    mean_value = (positive("start_value", start_value) + not_negative("end_value", end_value)) / 2.0
    return mean_value * between("tih_rate", tih_rate, 0.0, 1.0, "write 1 % of the mean value as 0.01")


def accumulated_repair(total_h: Num, list_price: float, factors: RepairFactors) -> Num:
    """Return all repairs since new [money]: list·RF1·(h/1000)^RF2, source [1].

    ``total_h`` machine hours since new [h], 0 to a million; ``list_price`` [money], above 0.
    """
    thousands: Num = _machine_hours(total_h) / 1000.0
    grown: Num = thousands**factors.rf2
    return grown * (positive("list_price", list_price) * factors.rf1)


def marginal_repair_per_h(total_h: Num, list_price: float, factors: RepairFactors) -> Num:
    """Return what one more hour adds in repairs [money/h]: list·RF1·RF2·(h/1000)^(RF2−1)/1000.

    The derivative of ``accumulated_repair`` by ``total_h`` (derived): hour-based wear.
    """
    thousands: Num = _machine_hours(total_h) / 1000.0
    grown: Num = thousands ** (factors.rf2 - 1.0)
    return grown * (positive("list_price", list_price) * factors.rf1 * factors.rf2 / 1000.0)


def mean_repair_per_h(total_h: Num, list_price: float, factors: RepairFactors) -> Num:
    """Return all repairs since new per machine hour [money/h]; ``total_h`` above 0."""
    return accumulated_repair(positive("total_h", total_h), list_price, factors) / total_h


def marginal_depreciation_per_h(
    age_years: Num, annual_use_h: float, list_price: float, factors: RemainingValueFactors
) -> Num:
    """Return the value at the end that one more hour of use takes [money/h].

    The derivative of list × remaining value by the total hours n·h at fixed age (derived from source [2]):
    list·(C1 − C2·√n − C3·√h)·C3/(√h·n). The rest of depreciation is age and goes on in the shed.
    ``annual_use_h`` [h/year], above 0 to 8784; the other limits as in ``remaining_value_percent``.
    """
    use = _annual_use(annual_use_h)
    per_root_hour = positive("list_price", list_price) * factors.c3 / math.sqrt(use)
    return _value_root(age_years, use, factors) * per_root_hour / positive("age_years", age_years)


def fuel_rate_l_h(power_kw: Num, fuel_l_kwh: float) -> Num:
    """Return the fuel rate [L/h]: maximum PTO power [kW] × litres per kWh of it.

    ``fuel_l_kwh``: ``DIESEL_YEAR_ROUND_L_KWH`` or ``DIESEL_NEAR_FULL_LOAD_L_KWH``; read both before choosing.
    Self-propelled machines have no PTO and the sources no equation for them: engine power put in its place
    makes the answer rough. Litres per hectare from the field are better: ``fuel_rate_from_area_l_h``.
    """
    return positive("power_kw", power_kw) * positive("fuel_l_kwh", fuel_l_kwh)


def fuel_rate_from_area_l_h(fuel_l_ha: Num, capacity_ha_h: float) -> Num:
    """Return the fuel rate [L/h] from litres per hectare [L/ha] and the field capacity [ha/h]."""
    return not_negative("fuel_l_ha", fuel_l_ha) * positive("capacity_ha_h", capacity_ha_h)


def fuel_cost_per_h(fuel_l_h: Num, fuel_price_per_l: float) -> Num:
    """Return the fuel cost [money/h]: rate [L/h, 0 or more] × price [money/L, 0 or more]."""
    return not_negative("fuel_l_h", fuel_l_h) * not_negative("fuel_price_per_l", fuel_price_per_l)


def lubricant_cost_per_h(fuel_cost_per_h: Num, lubricant_share: float) -> Num:
    """Return the lubricant cost [money/h]: fuel cost × share [0-1], ``LUBRICANT_SHARE_OF_FUEL``."""
    part = between("lubricant_share", lubricant_share, 0.0, 1.0, "write 15 % as 0.15")
    return not_negative("fuel_cost_per_h", fuel_cost_per_h) * part


def labour_cost_per_h(wage_per_h: Num, labour_multiplier: float) -> Num:
    """Return the labour cost of a machine hour [money/h]: wage × hours paid per machine hour.

    ``labour_multiplier`` [-], 1 to 10: ``LABOUR_MULTIPLIER_OTHER_POWER_UNIT`` for a combine.
    """
    multiplier = between("labour_multiplier", labour_multiplier, 1.0, 10.0)
    return not_negative("wage_per_h", wage_per_h) * multiplier


@dataclass(frozen=True, slots=True, kw_only=True)
class MachineCost:
    """What a machine costs in a year [money/year], with the hours and capacity that share it out."""

    capital_recovery_per_year: float
    tih_per_year: float
    repair_per_year: float
    fuel_per_year: float
    lubricant_per_year: float
    labour_per_year: float
    annual_use_h: float
    capacity_ha_h: float

    @property
    def ownership_per_year(self) -> float:
        """Capital recovery, taxes, insurance and housing [money/year]: spent whether it works or not."""
        return self.capital_recovery_per_year + self.tih_per_year

    @property
    def operating_per_year(self) -> float:
        """Repair, fuel, lubricant and labour [money/year]."""
        return self.repair_per_year + self.fuel_per_year + self.lubricant_per_year + self.labour_per_year

    @property
    def total_per_year(self) -> float:
        """Everything [money/year]."""
        return self.ownership_per_year + self.operating_per_year

    @property
    def total_per_h(self) -> float:
        """Everything [money/h]. Not the hour cost: most of it does not change with one more hour."""
        return self.total_per_year / self.annual_use_h

    @property
    def total_per_ha(self) -> float:
        """Everything [money/ha] at the capacity given."""
        return self.total_per_h / self.capacity_ha_h


def machine_cost(
    *,
    list_price: float,
    purchase_price: float,
    salvage_value: float,
    life_years: float,
    annual_use_h: float,
    hours_at_purchase: float,
    interest_rate: float,
    tih_rate: float,
    repair: RepairFactors,
    fuel_l_h: float,
    fuel_price_per_l: float,
    lubricant_share: float,
    wage_per_h: float,
    labour_multiplier: float,
    capacity_ha_h: float,
) -> MachineCost:
    """Return the whole cost of a machine, a mean year of the years it is kept.

    Parameters
    ----------
    list_price, purchase_price, salvage_value : float
        New list price, price paid, value when it goes [money]; salvage at most the price paid.
    life_years, annual_use_h : float
        Years it is kept [year], above 0 to 100, and hours a year [h/year], above 0 to 8784.
    hours_at_purchase : float
        Hours on it when bought [h], 0 (new) to 100 000; repairs before that are not counted.
    interest_rate, tih_rate : float
        Interest [1/year, −0.5 to 1]; taxes, insurance and housing [share of mean value per year, 0-1].
    repair : RepairFactors
        For a combine ``COMBINE_REPAIR``.
    fuel_l_h, fuel_price_per_l, lubricant_share : float
        Fuel rate [L/h], price [money/L], lubricant cost over fuel cost [share, 0-1].
    wage_per_h, labour_multiplier : float
        Pay [money/h] and hours paid per machine hour [-, 1 to 10].
    capacity_ha_h : float
        Field capacity [ha/h], above 0.

    Raises
    ------
    InputError
        For any of them out of its range.
    """
    years, use = _life(life_years), _annual_use(annual_use_h)
    bought_at = between("hours_at_purchase", single("hours_at_purchase", hours_at_purchase), 0.0, 1e5)
    repairs = accumulated_repair(bought_at + years * use, list_price, repair)
    fuel_per_h = fuel_cost_per_h(fuel_l_h, fuel_price_per_l)
    return MachineCost(
        capital_recovery_per_year=capital_recovery_per_year(purchase_price, salvage_value, interest_rate, years),
        tih_per_year=tih_per_year(purchase_price, salvage_value, tih_rate),
        repair_per_year=(repairs - accumulated_repair(bought_at, list_price, repair)) / years,
        fuel_per_year=fuel_per_h * use,
        lubricant_per_year=lubricant_cost_per_h(fuel_per_h, lubricant_share) * use,
        labour_per_year=labour_cost_per_h(wage_per_h, labour_multiplier) * use,
        annual_use_h=use,
        capacity_ha_h=positive("capacity_ha_h", capacity_ha_h),
    )


def _value_root(age_years: Num, annual_use_h: float, factors: RemainingValueFactors) -> Num:
    age = finite("age_years", age_years)
    if np.any(np.less(age, 1.0)):
        mend = "give 1 or more; for a younger machine type its value"
        raise InputError("age_years", age_years, "must be at least 1", mend)
    use = between("annual_use_h", single("annual_use_h", annual_use_h), 0.0, HOURS_PER_YEAR_MOST)
    root: Num = factors.c1 - factors.c2 * age**0.5 - factors.c3 * math.sqrt(use)
    if np.any(np.less(root, 0.0) | np.greater(root, 1.0)):
        problem = f"with {use:g} h a year is outside what the remaining-value formula can say"
        raise InputError("age_years", age_years, problem, "type the value of the machine instead")
    return root


def _life(life_years: float) -> float:
    mend = "give the years the machine is kept, at most 100"
    years = positive("life_years", single("life_years", life_years, mend), mend)
    return between("life_years", years, 0.0, 100.0, mend)


def _annual_use(annual_use_h: float) -> float:
    mend = "give the hours of work in a year, at most 8784"
    use = positive("annual_use_h", single("annual_use_h", annual_use_h, mend), mend)
    return between("annual_use_h", use, 0.0, HOURS_PER_YEAR_MOST, mend)


def _machine_hours(total_h: Num) -> Num:
    return between("total_h", total_h, 0.0, MACHINE_HOURS_MOST, "give the machine hours since new")


def _rate(field: str, rate: float) -> float:
    return between(field, single(field, rate), -0.5, 1.0, "write 8 % a year as 0.08")
