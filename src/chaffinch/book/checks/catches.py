"""From a recorded check to what the mathematics sees: readings, exposures and the crop's figures."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from typing import Final

from chaffinch.engine import catch as seed
from chaffinch.engine import exposure
from chaffinch.engine.evidence import GRAMS_PER_KG_HA_M2, SOURCES, Catch, profile
from chaffinch.errors import InputError
from chaffinch.records import check as record
from chaffinch.reference import Crop, crop

MOST_LOSS_KG_HA: Final = 4000.0
"""A single catch that stands for more than this is taken for a slip [kg/ha]; own figure: the heaviest losses on record
here are below 1000 (Western Cape 2008, 767 kg/ha, derived), and the grid of losses ends at 5000."""


@dataclass(frozen=True, slots=True)
class CropFigures:
    """The crop's figures as this check uses them, and which of them came from the reference.

    ``assumed`` holds the names of figures nobody measured on this crop.
    """

    crop: Crop
    tkw_g: float
    tkw_measured: bool
    test_weight_kg_hl: float
    assumed: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Prepared:
    """A check made ready for the engine.

    Attributes
    ----------
    catches : tuple of Catch
        Pans at offsets of one run have become one catch.
    places : tuple of str
        Place of each catch.
    numbers : tuple of tuple of int
        Which catches of the record each one stands for.
    figures : CropFigures
    width_sd : float
        Sd of the log of the drop or spread width [1].
    cut_width_m, discharge_width_m : float or None
        Widths used [m].
    """

    catches: tuple[Catch, ...]
    places: tuple[str, ...]
    numbers: tuple[tuple[int, ...], ...]
    figures: CropFigures
    width_sd: float
    cut_width_m: float | None
    discharge_width_m: float | None


def prepare(check: record.Check) -> Prepared:
    """Turn a recorded check into engine catches.

    Raises
    ------
    InputError
        When a catch needs a width, speed or crop figure the check does not hold.
    """
    figures = crop_figures(check)
    machine = check.combine
    cut = cut_width_m(check)
    discharge = discharge_width_m(check)
    single: list[tuple[record.Catch, seed.Reading]] = []
    runs: dict[int, list[tuple[record.Catch, seed.Reading]]] = defaultdict(list)
    for one in check.catches:
        reading = _reading(one, check, figures)
        if one.offset_m is None:
            single.append((one, reading))
        else:
            runs[one.run].append((one, reading))
    catches: list[Catch] = []
    places: list[str] = []
    numbers: list[tuple[int, ...]] = []
    for one, reading in single:
        seen = _exposure(one, check, cut, discharge)
        catches.append(Catch(reading, seen, one.variation))
        places.append(one.place)
        numbers.append((one.number,))
    for members in runs.values():
        catches.append(_profile(members, cut, discharge))
        places.append("discharge")
        numbers.append(tuple(one.number for one, _ in members))
    for catch, own in zip(catches, numbers, strict=True):
        _refuse_absurd(catch, own[0])
    width_sd = exposure.WIDTH_SD["taped" if machine is not None and machine.widths_taped else "guessed"]
    return Prepared(tuple(catches), tuple(places), tuple(numbers), figures, width_sd, cut, discharge)


def _refuse_absurd(catch: Catch, number: int) -> None:
    """Refuse a catch that no field could have lost: it would otherwise run off the end of every range."""
    area = max(catch.exposure.area_m2(s) for s in SOURCES)
    loss = catch.reading.mass_g / (GRAMS_PER_KG_HA_M2 * area)
    if loss > MOST_LOSS_KG_HA:
        raise InputError(
            f"catch {number}",
            f"{catch.reading.mass_g:.0f} g of seed",
            f"stands for a loss of {loss:,.0f} kg/ha or more, beyond the {MOST_LOSS_KG_HA:,.0f} that can be meant",
            "check amount and unit, pan, widths and subsample",
        )


def crop_figures(check: record.Check) -> CropFigures:
    """The crop's figures with the person's own measurements in front of the reference's."""
    known = crop(check.crop)
    assumed = []
    kinds = {one.amount.kind for one in check.catches} | {
        one.unthreshed.kind for one in check.catches if one.unthreshed
    }
    if check.tkw_g is None and ("counted" in kinds or any(one.heads for one in check.catches)):
        assumed.append("tkw")
    if check.test_weight_kg_hl is None and "measured" in kinds:
        assumed.append("test-weight")
    if "flat" in kinds:
        assumed.append("seed-size")
    return CropFigures(
        known,
        known.tkw_g.value if check.tkw_g is None else check.tkw_g,
        check.tkw_g is not None,
        known.test_weight_kg_hl.value if check.test_weight_kg_hl is None else check.test_weight_kg_hl,
        tuple(assumed),
    )


def cut_width_m(check: record.Check) -> float | None:
    """Width of crop that ends up in one discharge strip [m]; the windrower's for windrowed crop."""
    if check.windrowed and check.windrower_width_m is not None:
        return check.windrower_width_m
    if check.working_width_m is not None:
        return check.working_width_m
    return None if check.combine is None else check.combine.cut_width_m


def discharge_width_m(check: record.Check) -> float | None:
    """Drop width, or spread width with spreading on [m]."""
    if check.combine is None:
        return None
    return check.combine.spread_width_m if check.spreading else check.combine.drop_width_m


def gram_per_unit(kind: str, figures: CropFigures) -> float:
    """Grams of seed per unit read: g, mL or cm² laid flat [g per unit]."""
    if kind == "measured":
        return seed.mass_of_volume_g(1.0, figures.test_weight_kg_hl)
    if kind == "flat":
        known = figures.crop
        if not known.round_seed or known.seed_diameter_mm is None or known.kernel_density_g_cm3 is None:
            raise InputError("amount", "flat", f"{known.name} is no round seed", "weigh, measure or count the catch")
        return seed.mass_of_flat_layer_g(1.0, known.seed_diameter_mm.value, known.kernel_density_g_cm3.value)
    return 1.0


def _reading(one: record.Catch, check: record.Check, figures: CropFigures) -> seed.Reading:
    def part(amount: record.Amount, clean: float, subsample: float) -> seed.Reading:
        moisture = 1.0
        if one.moisture_pct is not None and amount.kind != "counted":
            if check.market_moisture_pct is None:
                raise InputError(
                    f"catch {one.number}, moisture",
                    one.moisture_pct,
                    "needs the market moisture",
                    "add market_moisture",
                )
            moisture = seed.to_market_moisture_g(1.0, one.moisture_pct, check.market_moisture_pct)
        return seed.read(
            amount.kind,
            amount.value,
            amount.step,
            tkw_g=figures.tkw_g,
            tkw_measured=figures.tkw_measured,
            gram_per_unit=gram_per_unit(amount.kind, figures),
            moisture_factor=moisture,
            clean=clean,
            subsample=subsample,
        )

    try:
        readings, unthreshed = [part(one.amount, one.clean, one.subsample)], [False]
        if one.unthreshed is not None:
            # Heads are picked out of the whole catch and rubbed clean.
            readings.append(part(one.unthreshed, 1.0, 1.0))
            unthreshed.append(True)
        # No heads at all is good news, not a reading: it adds neither seed nor doubt.
        if one.heads and one.seeds_per_head is not None:
            readings.append(
                seed.heads_as_reading(
                    one.heads, one.seeds_per_head, tkw_g=figures.tkw_g, tkw_measured=figures.tkw_measured
                )
            )
            unthreshed.append(True)
        return seed.together(readings, unthreshed=unthreshed)
    except InputError as error:
        raise error.within(f"catch {one.number}") if not error.field.startswith("catch") else error from None


def _exposure(one: record.Catch, check: record.Check, cut: float | None, discharge: float | None) -> exposure.Exposure:
    field = f"catch {one.number}"
    if one.place in ("windrow", "leak"):
        if cut is None:
            raise InputError(field, one.place, "needs the cut width", "add [combine] cut_width")
        if one.place == "windrow":
            if one.length_m is None:
                raise InputError(f"{field}, length", None, "is missing", "give the metres of windrow shaken out")
            return exposure.in_windrow(one.length_m, cut)
        if one.seconds is None or check.speed_kmh is None:
            raise InputError(field, one.place, "needs time and speed", 'add time = "60 s" and speed = "5 km/h"')
        return exposure.leaking(one.seconds, check.speed_kmh, cut)
    if one.pan is None:
        raise InputError(f"{field}, pan", None, "is missing", 'add pan = "4 ft2", or width and length')
    if one.place == "standing":
        return exposure.in_standing_crop(one.pan.area_m2)
    if one.place == "header strip":
        return exposure.in_header_strip(one.pan.area_m2)
    if one.place == "whole cut":
        return exposure.across_whole_cut(one.pan.area_m2)
    if cut is None or discharge is None:
        raise InputError(field, one.place, "needs cut and discharge width", "add cut_width and drop_width to [combine]")
    spreading = bool(check.spreading)
    try:
        if one.place == "discharge":
            return exposure.in_discharge(
                one.pan.area_m2, cut, discharge, pan_width_m=one.pan.width_m, spreading=spreading
            )
        return exposure.behind(one.pan.area_m2, cut, discharge, frame_width_m=one.pan.width_m, spreading=spreading)
    except InputError as error:
        raise error.within(field) from None


def _profile(members: list[tuple[record.Catch, seed.Reading]], cut: float | None, discharge: float | None) -> Catch:
    first = members[0][0]
    field = f"catch {first.number}"
    if cut is None or discharge is None:
        raise InputError(field, "offset", "needs cut and discharge width", "add cut_width and drop_width to [combine]")
    pans = [one.pan for one, _ in members]
    areas = [pan.area_m2 for pan in pans if pan is not None]
    if len(areas) < len(pans):
        raise InputError(f"{field}, pan", None, "is missing", 'add pan = "4 ft2"')
    own = {one.variation for one, _ in members}
    if len(own) > 1:
        shown = ", ".join(sorted("none" if v is None else f"{v:g}" for v in own))
        raise InputError(
            f"{field}, variation", shown, "differs within one run", "give every pan of a run the same, or none"
        )
    offsets = [one.offset_m for one, _ in members if one.offset_m is not None]
    try:
        lengths = exposure.profile_lengths_m(offsets, discharge)
        return profile([r for _, r in members], areas, lengths, cut, variation=first.variation)
    except InputError as error:
        raise error.within(field) from None
