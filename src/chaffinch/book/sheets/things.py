"""Which of the book's things does a row of a spreadsheet name? Those found by name, or made from the sheet."""

from __future__ import annotations

import uuid
from collections.abc import Mapping, Sequence
from typing import Any, Final

from chaffinch.book.desk import Desk
from chaffinch.book.names import folded
from chaffinch.book.sheets.stops import ID_SPACE
from chaffinch.book.things import Thing, first_of_doubles, refuse_retired, several, things
from chaffinch.records.kinds import KINDS
from chaffinch.sync.envelope import Envelope, canonical, seal

DEVICE: Final = "spreadsheet"
"""Device that such records name: the same on every computer, so that one sheet gives one record."""


class Naming:
    """Finds the fields, combines, operators and seasons that a sheet names, or makes them.

    A thing that is retired is refused, and no second one is made beside it; of doubles that differ nobody can say which
    is meant.

    Parameters
    ----------
    desk : Desk
        The open book.
    country : str or None
        What was said for all rows; else the farm's.
    """

    def __init__(self, desk: Desk, country: str | None) -> None:
        self._desk = desk
        self._here: dict[str, list[Thing]] = {}
        self._by_name: dict[tuple[str, str], list[Thing]] = {}
        for thing in things(desk):
            self._take(thing)
        farm = next((f for f in self._here.get("farm", []) if f.parts.get("country")), None)
        self.country = country or (None if farm is None else str(farm.parts["country"]))
        self._ids = {thing.id: thing for of_kind in self._here.values() for thing in of_kind}
        self._new: dict[str, Envelope] = {}

    def _take(self, thing: Thing) -> None:
        self._here.setdefault(thing.kind, []).append(thing)
        self._by_name.setdefault((thing.kind, folded(thing.name)), []).append(thing)

    def brought(self, used: set[str]) -> list[Envelope]:
        """New things that are really used, seasons before the fields that name them."""
        return [one for key, one in sorted(self._new.items(), key=lambda i: i[1].kind != "season") if key in used]

    def season(self, date: str, taken_at: str) -> str:
        """The book's season on that date, or named after that year; else a new one."""
        seasons = [s for s in self._here.get("season", []) if not s.retired]
        for one in seasons:
            if one.parts.get("starts", "~") <= date <= one.parts.get("ends", ""):
                return one.id
        year = date[:4]
        named = [s for s in seasons if year in s.name.split() and "starts" not in s.parts]
        return named[0].id if named else self._made("season", {"name": year}, taken_at, year).id

    def field(self, name: str, season: str, crop: str, taken_at: str) -> Thing:
        """The field of that name in that season (or in none), or a new one."""
        named = self._by_name.get(("field", folded(name)), [])
        for wanted in (season, None):
            found = [f for f in named if f.parts.get("season") == wanted]
            in_use = [f for f in found if not f.retired]
            if in_use:
                return self._one(in_use)
            if found:
                refuse_retired(found[0])
        parts = {"name": name, "season": season, **({"crop": crop} if crop else {})}
        return self._made("field", parts, taken_at, name.casefold(), season)

    def combine(self, name: str, widths: Mapping[str, str], taken_at: str) -> Thing | None:
        """The combine of that name, or a new one; None when it is new and no cut width is known."""
        named = self._named("combine", name)
        if named:
            return self._one(named)
        if "cut_width" not in widths:
            return None
        return self._made("combine", {"name": name, **widths}, taken_at, name.casefold())

    def operator(self, name: str, taken_at: str) -> Thing:
        """Who drove, found by name or new."""
        named = self._named("operator", name)
        return self._one(named) if named else self._made("operator", {"name": name}, taken_at, name.casefold())

    def _one(self, found: Sequence[Thing]) -> Thing:
        """The only one, or of doubles after a merge the first; where they differ nobody can say which is meant."""
        one = first_of_doubles(self._desk, found)
        if one is None:
            raise several(found[0].kind, found[0].name, found)
        return one

    def _named(self, kind: str, name: str) -> list[Thing]:
        """Things in use of that name; one that is retired alone is not taken, and no second one is made beside it."""
        wanted = folded(name)
        here = self._by_name.get((kind, wanted), [])
        found = [t for t in here if not t.retired]
        if here and not found and kind != "field":
            refuse_retired(here[0])
        return found

    def _made(self, kind: str, parts: Mapping[str, Any], taken_at: str, *content: str) -> Thing:
        made_id = str(uuid.uuid5(ID_SPACE, canonical([kind, *content]).decode()))
        if made_id in self._ids:
            refuse_retired(self._ids[made_id])
            return self._ids[made_id]  # brought by an earlier sheet and renamed since
        self._new[made_id] = seal(made_id, kind, KINDS[kind].schema_of(parts), DEVICE, taken_at, parts)
        thing = Thing(made_id, kind, str(parts["name"]), parts, 0)
        self._ids[made_id] = thing
        self._take(thing)
        return thing
