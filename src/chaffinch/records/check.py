"""What one stop in the field put on record: the machine's widths, the catches, the crop and the terms.

Plain frozen dataclasses in inside units (metres, grams, kg/ha). They hold what a person observed or decided
and compute nothing; :mod:`chaffinch.records.checkfile` makes them from a file and does the validating.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Place = Literal["standing", "header strip", "discharge", "behind", "whole cut", "windrow", "leak"]
"""Where a catch was taken. See the glossary for each word."""

PLACES: tuple[Place, ...] = (
    "standing",
    "header strip",
    "discharge",
    "behind",
    "whole cut",
    "windrow",
    "leak",
)

ReadingKind = Literal["weighed", "measured", "counted", "flat"]
"""How the seed was quantified: on a scale [g], in a cup [mL], by number, or as a flat layer [cm²]."""


@dataclass(frozen=True, slots=True)
class Combine:
    """A combine's widths as the check used them.

    Attributes
    ----------
    cut_width_m : float
        Width of crop that ends up in one discharge strip [m].
    drop_width_m : float or None
        Width of the discharge with spreading off [m].
    spread_width_m : float or None
        Width over which residue lands with spreading on [m]; may exceed the cut.
    widths_taped : bool
        True when drop and spread widths were measured with a tape (2 %), False when guessed (8 %).
    name : str
        The farm's own name for the machine, may be empty.
    """

    cut_width_m: float
    drop_width_m: float | None = None
    spread_width_m: float | None = None
    widths_taped: bool = False
    name: str = ""


@dataclass(frozen=True, slots=True)
class Pan:
    """A pan or frame: its area [m²] and, when given, width across travel and length along travel [m]."""

    area_m2: float
    width_m: float | None = None
    length_m: float | None = None


@dataclass(frozen=True, slots=True)
class Amount:
    """One reading: kind, value in that kind's unit (g, mL, seeds or cm²) and smallest division.

    ``step_inferred`` is True when the step was taken from the digits written, not stated.
    """

    kind: ReadingKind
    value: float
    step: float
    step_inferred: bool = False


@dataclass(frozen=True, slots=True)
class Catch:
    """What one pan or frame held, once.

    Attributes
    ----------
    number : int
        1-based position in the check, for messages.
    place : Place
        Where it was taken.
    amount : Amount
        The reading; of the subsample when ``subsample`` is below 1.
    pan : Pan or None
        None only for ``windrow`` and ``leak``.
    subsample : float
        Fraction of the catch that was read, 0 < f ≤ 1.
    clean : float
        Fraction of the reading that is seed, 0 < p ≤ 1.
    moisture_pct : float or None
        Wet-basis moisture of the seed as read [%]; None means taken as it is.
    unthreshed : Amount or None
        Seed rubbed out of unthreshed heads or pods of the whole catch, read separately.
    heads, seeds_per_head : float or None
        Unthreshed heads counted, and seeds in one of them.
    offset_m : float or None
        Distance of the pan's middle from the middle of the discharge [m], + to the right.
    run : int
        Which pass the pan belongs to when several pans at offsets make one profile.
    length_m : float or None
        Metres of windrow or straw shaken out (``windrow``).
    seconds : float or None
        Time caught [s] (``leak``).
    variation : float or None
        The person's own coefficient of variation between catches like this one.
    note : str
        Free text.
    bag : str
        What is written on the bag the catch went into, when it is read later; may be empty.
    """

    number: int
    place: Place
    amount: Amount
    pan: Pan | None = None
    subsample: float = 1.0
    clean: float = 1.0
    moisture_pct: float | None = None
    unthreshed: Amount | None = None
    heads: float | None = None
    seeds_per_head: float | None = None
    offset_m: float | None = None
    run: int = 1
    length_m: float | None = None
    seconds: float | None = None
    variation: float | None = None
    note: str = ""
    bag: str = ""


@dataclass(frozen=True, slots=True)
class Check:
    """The catches taken at one stop, with what is needed to turn them into loss and money.

    Attributes
    ----------
    crop : str
        Key of the crop in the reference.
    catches : tuple of Catch
        At least one.
    trade_unit : str
        Unit of loss the person reads in: ``bu/ac``, ``lb/ac``, ``kg/ha``, ``t/ha`` …
    bushel_kg : float or None
        Weight of the bushel used [kg]; None when no bushel was needed and none is known.
    country : str or None
        Two-letter code that picks bushel weight and market moisture.
    yield_kg_ha, price_per_t, limit_kg_ha : float or None
        Harvested yield expected [kg/ha], price [money/t], the user's limit [kg/ha].
    currency : str
        Sign or letters put before money, may be empty.
    tkw_g : float or None
        Measured thousand-kernel weight [g]; None means the reference value.
    test_weight_kg_hl : float or None
        Measured test weight [kg/hL]; None means the reference value.
    market_moisture_pct : float or None
        Moisture that loss is reported at [%]; None when no catch needs it.
    combine : Combine or None
        None only when no catch sees machine loss.
    spreading : bool or None
        Spreader or chopper on during the catch; None when no catch depends on it.
    windrowed, windrower_width_m
        For windrowed crop the windrower's width is the cut width [m].
    working_width_m : float or None
        Width actually cut when the pass was narrower than the header [m].
    speed_kmh : float or None
        Ground speed [km/h].
    field_name, field_area_ha, when, operator, note
        For the record; area turns loss per hectare into money per field.
    schema : int
        Version of the check-file schema.
    """

    crop: str
    catches: tuple[Catch, ...]
    trade_unit: str
    bushel_kg: float | None = None
    country: str | None = None
    yield_kg_ha: float | None = None
    price_per_t: float | None = None
    limit_kg_ha: float | None = None
    currency: str = ""
    tkw_g: float | None = None
    test_weight_kg_hl: float | None = None
    market_moisture_pct: float | None = None
    combine: Combine | None = None
    spreading: bool | None = None
    windrowed: bool = False
    windrower_width_m: float | None = None
    working_width_m: float | None = None
    speed_kmh: float | None = None
    field_name: str = ""
    field_area_ha: float | None = None
    when: str = ""
    operator: str = ""
    note: str = ""
    schema: int = 1
