"""In which unit does a person read a loss, a speed and money? The farm's, or the one the person chose."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from chaffinch import units
from chaffinch.book.figures import plain_number, rounded
from chaffinch.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Sequence

    from chaffinch.book.desk import Desk
    from chaffinch.book.things import Thing


@dataclass(frozen=True, slots=True)
class Unit:
    """The unit losses are shown in.

    Attributes
    ----------
    name : str
        Like ``bu/ac``.
    factor : float
        kg/ha times this.
    land : str
        ``ac`` or ``ha``.
    currency : str
        Before money; may be empty.
    note : str
        Why it is not the farm's own unit; empty when it is.
    """

    name: str
    factor: float
    land: str
    currency: str
    note: str = ""


def farm_of(desk: Desk) -> Thing | None:
    """The book's farm: the only one in use, of doubles (after a merge) the first to arrive, or None."""
    from chaffinch.book.things import things

    farms = [t for t in things(desk, "farm") if not t.retired]
    for key in ("name", "country", "currency", "report_in"):
        if len({str(t.parts[key]).casefold() for t in farms if key in t.parts}) > 1:
            return None
    return min(farms, key=lambda t: t.seq, default=None)


def unit_for(desk: Desk, crop_name: str | None, bushels_kg: Sequence[float], *, report_in: str | None = None) -> Unit:
    """The farm's unit of loss for a crop, else kg/ha.

    Parameters
    ----------
    crop_name : str or None
        Whose bushel applies.
    bushels_kg : sequence of float
        Bushel weights the checks themselves used [kg]; taken when all agree.
    report_in : str or None
        The unit this person chose; None for the farm's.
    """
    farm = farm_of(desk)
    parts = {} if farm is None else farm.parts
    wanted = report_in or str(parts.get("report_in", "kg/ha"))
    currency = str(parts.get("currency", ""))
    bushel, note = None, ""
    if "bu" in wanted:
        bushel, note = _bushel(crop_name, parts.get("country"), bushels_kg)
        if bushel is None:
            wanted = "kg/ha"
    try:
        unit = units.read(f"1 {wanted}", "area_mass", field="farm, report_in", bushel_kg=bushel).unit
    except InputError:
        mend = "mend it: chaffinch book edit-label farm NAME report_in kg/ha"
        raise InputError("farm, report_in", wanted, "is not a unit of loss", mend) from None
    factor = units.write(1.0, unit, "area_mass", bushel_kg=bushel)
    return Unit(unit, factor, "ac" if unit.endswith("/ac") else "ha", currency, note)


def whole_unit(desk: Desk, report_in: str | None = None) -> Unit:
    """Unit of land of a whole season, where crops differ: of the farm, or as this person reads."""
    farm = farm_of(desk)
    wanted = report_in or str("kg/ha" if farm is None else farm.parts.get("report_in", "kg/ha"))
    return unit_for(desk, None, [], report_in="lb/ac" if "ac" in wanted else "kg/ha")


def area_said(area_ha: float, unit: Unit | None = None) -> str:
    """An area in acres where losses are per acre, else in hectares."""
    if unit is not None and unit.land == "ac":
        return f"{plain_number(units.write(area_ha, 'ac', 'land'))} ac"
    return f"{plain_number(area_ha)} ha"


def _bushel(crop_name: str | None, country: object, bushels_kg: Sequence[float]) -> tuple[float | None, str]:
    from chaffinch.reference import crop

    if crop_name is not None:
        try:
            return crop(crop_name).bushel_kg(None if country is None else str(country)), ""
        except InputError as error:
            if len(set(bushels_kg)) != 1:
                return None, f"In kg/ha: {error}."
    if len(set(bushels_kg)) == 1:
        return bushels_kg[0], ""
    return None, "In kg/ha: the field has no crop, so a bushel has no weight."


@dataclass(frozen=True, slots=True)
class PaceUnit:
    """Units of one page: loss and land from the farm's unit, speed to go with them."""

    loss: Unit
    bushel_kg: float | None
    speed: str
    kmh: float
    """Kilometres per hour in one of ``speed``."""
    ha: float
    """Hectares in one of the page's unit of land."""

    @property
    def step_kmh(self) -> float:
        """Half a kilometre or a quarter of a mile per hour [km/h]."""
        return 0.25 * self.kmh if self.speed == "mph" else 0.5

    def speeds(self, kmh: float) -> float:
        """A speed in the page's unit."""
        return kmh / self.kmh

    def money(self, per_ha: float) -> str:
        """Money per unit of land, to the cent below 10."""
        value = per_ha * self.ha
        sign = "−" if value < 0 else ""
        return f"{sign}{self.sign}{rounded(abs(value), 2 if abs(value) < 10 else 0)}"

    def in_currency(self, currency: str) -> PaceUnit:
        """The same units with the currency an answer is in, where the farm names none."""
        return self if self.loss.currency else replace(self, loss=replace(self.loss, currency=currency))

    @property
    def sign(self) -> str:
        """What stands before money."""
        return self.loss.currency + (" " if len(self.loss.currency) > 1 else "")


def unit_of(desk: Desk, crop: str, *, report_in: str | None = None) -> PaceUnit:
    """The farm's units for a crop, or those that go with the unit a person chose: acres go with miles."""
    from chaffinch.book.things import things
    from chaffinch.reference import crop as find_crop

    loss = unit_for(desk, crop, [], report_in=report_in)
    farms = [t for t in things(desk, "farm") if not t.retired]
    country = farms[0].parts.get("country") if len(farms) == 1 else None
    try:
        bushel = find_crop(crop).bushel_kg(None if country is None else str(country))
    except InputError:
        bushel = None
    speed = "mph" if loss.land == "ac" else "km/h"
    return PaceUnit(loss, bushel, speed, units.to_inside(1.0, speed, "speed"), units.to_inside(1.0, loss.land, "land"))
