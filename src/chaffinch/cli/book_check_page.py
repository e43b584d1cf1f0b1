"""One check of the book on the terminal and as data: what it is filed under, and its answer."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from chaffinch import units
from chaffinch.cli.book_figures import farm_of
from chaffinch.cli.book_times import local
from chaffinch.cli.book_which import print_json
from chaffinch.errors import InputError

if TYPE_CHECKING:
    from chaffinch.book.checks import LoggedCheck
    from chaffinch.book.desk import Desk
    from chaffinch.book.things import Thing
    from chaffinch.cli.page import Page
    from chaffinch.records.check import Check

CONDITION_WORDS = {
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


def show_one_check(desk: Desk, logged: LoggedCheck, page: Page, *, as_data: bool) -> None:
    """Print one check: what it is filed under, then its answer."""
    from chaffinch.book.check import answer
    from chaffinch.book.check_json import as_json
    from chaffinch.book.things import by_ids
    from chaffinch.cli.check_page import show as show_check

    body = logged.body
    here = by_ids(desk, [body.get(key) for key in ("season", "field", "combine", "operator")])
    filed = filed_under(body, here)
    farm = farm_of(desk)
    currency = "" if farm is None else str(farm.parts.get("currency", ""))
    check, taken = with_field(logged.check, here.get(str(body.get("field", ""))), currency)
    found = answer(check)
    if as_data:
        names = {key: getattr(filed, key) or None for key in ("season", "field", "combine", "operator")}
        own = {"taken_at": body["taken_at"], **names}
        more = {"settings": body.get("settings", []), "conditions": body.get("conditions", {})}
        data = {"id": logged.id, "versions": list(logged.versions.all), "filed": own, **more, "from_field": taken}
        print_json({**as_json(found), **data})
        return
    page.say()
    page.two_ends(f"check {logged.id[:8]}", local(body["taken_at"]))
    parts = (filed.field or "no field", filed.season, filed.combine, filed.operator)
    page.paragraph("filed under " + " · ".join(x for x in parts if x))
    for line in settings_told(body):
        page.paragraph(line)
    # Above stands what it is filed under; the answer's own head need not say it again.
    machine = None if check.combine is None else replace(check.combine, name="")
    plain = replace(check, field_name=filed.field, when="", combine=machine)
    show_check(replace(found, check=plain), page)
    if taken:
        page.paragraph(f"The field's {' and '.join(taken)} as the book has {'them' if len(taken) > 1 else 'it'} now.")
    if len(logged.versions.all) > 1:
        page.paragraph(f"Corrected: chaffinch book history {logged.id[:8]} shows every version.")
    if taken or len(logged.versions.all) > 1:
        page.say()
