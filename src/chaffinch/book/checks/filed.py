"""What is a check filed under, what was set and what was the weather: names and texts for any face."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Final

from chaffinch import units
from chaffinch.errors import InputError

if TYPE_CHECKING:
    from chaffinch.book.things import Thing
    from chaffinch.records.check import Check

CONDITION_WORDS: Final = {
    "air_temperature_c": ("air", "°C"),
    "humidity_pct": ("humidity", "%"),
    "wind_kmh": ("wind", "km/h"),
    "grain_moisture_pct": ("grain moisture", "%"),
    "straw_moisture_pct": ("straw moisture", "%"),
}


@dataclass(frozen=True, slots=True)
class Filed:
    """What a check is filed under, by name; an empty text where it says nothing."""

    season: str
    field: str
    combine: str
    operator: str


def filed_under(body: Mapping[str, Any], here: Mapping[str, Thing]) -> Filed:
    """Names of the things that the record of a check names."""

    def name(key: str) -> str:
        thing = here.get(str(body.get(key, "")))
        return "" if thing is None else thing.name

    return Filed(name("season"), name("field"), name("combine"), name("operator"))


def settings_told(body: Mapping[str, Any]) -> list[str]:
    """Settings and conditions of a record, a line each; none where it has none."""
    lines = []
    if body.get("settings"):
        told = [f"{s['name']} {s['value']:g} {s.get('unit', '')}".strip() for s in body["settings"]]
        lines.append("settings: " + ", ".join(told))
    if body.get("conditions"):
        told = []
        for key, value in body["conditions"].items():
            word, unit = CONDITION_WORDS.get(key, (key, ""))
            told.append(f"{word} {value:g} {unit}".strip())
        lines.append("conditions: " + ", ".join(told))
    return lines


def with_field(check: Check, field: Thing | None, currency: str = "") -> tuple[Check, list[str]]:
    """The check with the area and price of its field where it has none of its own, and which of them were taken.

    A price is taken only where the crop is the field's; without a sign of its own it has the farm's ``currency``.
    """
    from chaffinch.reference import crop

    if field is None:
        return check, []
    taken = []
    if check.field_area_ha is None and "area" in field.parts:
        area = units.read_positive(field.parts["area"], "land", field="field, area").value
        check = replace(check, field_area_ha=area)
        taken.append("area")
    if check.price_per_t is None and "price" in field.parts and "crop" in field.parts:
        try:
            same = crop(str(field.parts["crop"])).key == check.crop
        except InputError:
            same = False  # A crop this program does not know has no price it could use.
        if same:
            price = units.read_positive(field.parts["price"], "price", field="field, price")
            check = replace(check, price_per_t=price.value, currency=price.currency or currency or check.currency)
            taken.append("price")
    return check, taken
