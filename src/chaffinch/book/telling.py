"""How is a field of a thing told to a person, and what may stand in it? Shared by every face that shows one."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any, Final

from chaffinch import units

if TYPE_CHECKING:
    from chaffinch.book.desk import Desk
    from chaffinch.book.shown_unit import Unit
    from chaffinch.records.kinds import Kind


class Teller:
    """Writes the fields of things as a page shows them: seasons by name, figures in the farm's own unit.

    Parameters
    ----------
    desk : Desk
        The open book.
    """

    def __init__(self, desk: Desk) -> None:
        self.desk = desk
        self._names: dict[str, str] | None = None
        self._known: dict[str, str] = {}
        self._units: dict[object, Unit] = {}

    @property
    def names(self) -> dict[str, str]:
        """Names of all things by id, read when they are first asked for."""
        if self._names is None:
            from chaffinch.book.things import things

            self._names = {t.id: t.title for t in things(self.desk)}
        return self._names

    def said(self, kind: Kind, key: str, value: object, parts: Mapping[str, Any]) -> str:
        """One field's value; ``parts`` are the thing's others, for the bushel of its crop."""
        part = kind.part(key)
        if value is None:
            return "–"
        if isinstance(value, bool):
            return "yes" if value else "no"
        text = str(value)
        if part is None or part.holds in ("name", "text", "date", "crop"):
            return text
        if part.holds == "id":
            return self._name_of(text)
        if part.holds in ("area_mass", "price"):
            return self._of_crop(part.holds, text, parts)
        return _short(text)

    def _name_of(self, record_id: str) -> str:
        from chaffinch.book.things import by_ids

        if self._names is not None:
            return self._names.get(record_id) or record_id[:8]
        if record_id not in self._known:
            found = by_ids(self.desk, [record_id]).get(record_id)
            self._known[record_id] = record_id[:8] if found is None else found.title
        return self._known[record_id]

    def _of_crop(self, holds: str, text: str, parts: Mapping[str, Any]) -> str:
        """A yield, limit or price as the farm speaks of it: bushels were turned to kilograms to be stored."""
        from chaffinch.book.shown_unit import unit_for

        crop = parts.get("crop")
        unit = self._units.get(crop)
        if unit is None:
            unit = self._units[crop] = unit_for(self.desk, crop, [])
        if not unit.name.startswith("bu"):
            return _short(text)
        kg_ha_per_unit = 1.0 / unit.factor
        if holds == "area_mass":
            return f"{units.read(text, holds, field='yield').value * unit.factor:.5g} {unit.name}"
        price = units.read(text, holds, field="price")
        # bu/ac over kg/ha is a bushel's weight once the acre is taken out.
        bushel_kg = kg_ha_per_unit * units.to_inside(1.0, unit.land, "land")
        return f"{price.currency}{' ' if price.currency else ''}{price.value * bushel_kg / 1000.0:.5g} /bu"


def _short(text: str) -> str:
    """A quantity of a record with at most five significant digits: ``2521.9135 kg/ha`` → ``2521.9 kg/ha``."""
    number, blank, unit = text.partition(" ")
    try:
        return f"{float(number):.5g}{blank}{unit}"
    except ValueError:
        return text


_EXAMPLES: Final = {
    "length": "40 ft", "area": "4 ft2", "land": "62 ha", "mass": "0.1 g", "area_mass": "45 bu/ac", "price": "14.50 /bu",
    "money_rate": "450 /h",
    "flag": "true", "date": "2026-08-14", "crop": "canola", "text": "remark",
}  # fmt: skip
_EXAMPLES_OF: Final = {
    "country": "CA", "currency": "$", "report_in": "bu/ac", "season": "2026", "drop_width": "66 in", "limit": "1 bu/ac",
    "overlap": "1 ft", "width": "2 ft", "spread_width": "35 ft", "tare": "120 g", "of": "3f2a9c1b",
}  # fmt: skip


def example_of(key: str, holds: str) -> str:
    """What may stand in a field; empty where there is nothing to show."""
    one_of = holds.removeprefix("one of ").partition(",")[0] if holds.startswith("one of ") else ""
    return _EXAMPLES_OF.get(key) or _EXAMPLES.get(holds) or one_of
