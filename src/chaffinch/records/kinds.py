"""Which kinds of record a book holds, and what the body of each may say.

A body is JSON. *Things* (farm, combine, field …) have a name and more; what is said about them later comes as ``edit``
records, field by field. *Readings* (check, monitor, weather, photo) are facts: a correction is a new record of the same
kind whose body names what it replaces. Quantities stand as people write them, number and unit, and are read by
:mod:`chaffinch.units`; the tables below say which kind of quantity each is.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final

CHECK: Final = "check"
MONITOR: Final = "monitor"
EDIT: Final = "edit"

LONGEST_NAME: Final = 200  # [characters]
LONGEST_TEXT: Final = 10_000  # [characters]


@dataclass(frozen=True, slots=True)
class Part:
    """One key of a body.

    Attributes
    ----------
    name : str
        The key.
    holds : str
        ``name``, ``text``, ``flag``, ``whole``, ``number``, ``id``, ``ids``, ``utc``, ``date``, ``sha256``,
        ``settings``, ``conditions``, ``check``, ``json``, ``crop``, ``one of …`` or a kind of quantity.
    about : str
        What it says, in one clause.
    must : bool
        Whether the body is incomplete without it.
    since : int
        Version of the kind's body that brought it.
    """

    name: str
    holds: str
    about: str
    must: bool = False
    since: int = 1


@dataclass(frozen=True, slots=True)
class Kind:
    """One kind of record.

    Attributes
    ----------
    name : str
        As in the envelope.
    schema : int
        Newest version of its body.
    about : str
        What it is, in one clause.
    parts : tuple of Part
    thing : bool
        A thing with labels that may be edited field by field.
    reading : bool
        A fact that may be corrected by a new record.
    """

    name: str
    schema: int
    about: str
    parts: tuple[Part, ...]
    thing: bool = False
    reading: bool = False

    def part(self, name: str) -> Part | None:
        """The part of that name, or None."""
        return next((p for p in self.parts if p.name == name), None)

    def schema_of(self, body: Mapping[str, object]) -> int:
        """The version that a body needs: an older program takes whatever does not use what came after it.

        The same content is so sealed under one hash by every version of the program.
        """
        return max((p.since for p in self.parts if p.name in body), default=1)


_NAME: Final = Part("name", "name", "what the farm calls it", must=True)
_NOTE: Final = Part("note", "text", "anything else")
_RETIRED: Final = Part("retired", "flag", "no longer in use; its records stay")
_TAKEN: Final = Part("taken_at", "utc", "when, in UTC", must=True)
_CORRECTS: Final = (
    Part("replaces", "ids", "records of which this one is the correction"),
    Part("reason", "text", "why it was corrected"),
)
_WHERE: Final = (
    Part("season", "id", "the season"),
    Part("field", "id", "the field"),
    Part("combine", "id", "the combine"),
    Part("operator", "id", "who drove"),
)

_ALL: Final = (
    Kind(
        "farm",
        2,
        "a farm",
        (
            _NAME,
            Part("country", "name", "two letters: whose bushels and market moistures apply"),
            Part("currency", "name", "sign or letters put before money"),
            Part("report_in", "name", "unit that losses are shown in"),
            Part("hour_cost", "money_rate", "what one more hour of combining costs", since=2),
            _NOTE,
            _RETIRED,
        ),
        thing=True,
    ),
    Kind(
        "season",
        1,
        "a harvest",
        (
            _NAME,
            Part("starts", "date", "first day"),
            Part("ends", "date", "last day"),
            _NOTE,
            _RETIRED,
        ),
        thing=True,
    ),
    Kind("operator", 1, "somebody who drives a combine", (_NAME, _NOTE, _RETIRED), thing=True),
    Kind(
        "combine",
        2,
        "a combine with its widths",
        (
            _NAME,
            Part("cut_width", "length", "cut width: of the crop that ends up in one discharge strip", must=True),
            Part("overlap", "length", "width of the cut usually lost to overlap"),
            Part("drop_width", "length", "width of the discharge with spreading off"),
            Part("spread_width", "length", "width of the throw with spreading on"),
            Part("widths_taped", "flag", "drop and spread width were measured with a tape"),
            Part("header", "one of draper, auger, stripper, pick-up, corn, other", "kind of header"),
            Part("separation", "one of rotor, walker, hybrid, other", "how straw and grain are parted"),
            Part("hour_cost", "money_rate", "what one more hour of this combine costs, where not the farm's", since=2),
            _NOTE,
            _RETIRED,
        ),
        thing=True,
    ),
    Kind(
        "pan",
        1,
        "a pan or frame",
        (
            _NAME,
            Part("area", "area", "area"),
            Part("width", "length", "width across travel"),
            Part("length", "length", "length along travel"),
            Part("tare", "mass", "empty weight"),
            _NOTE,
            _RETIRED,
        ),
        thing=True,
    ),
    Kind(
        "scale",
        1,
        "a scale",
        (_NAME, Part("step", "mass", "smallest division", must=True), _NOTE, _RETIRED),
        thing=True,
    ),
    Kind(
        "field",
        1,
        "a field in one season",
        (
            _NAME,
            Part("season", "id", "the season"),
            Part("crop", "crop", "the crop"),
            Part("area", "land", "area"),
            Part("yield_expected", "area_mass", "yield expected"),
            Part("yield_actual", "area_mass", "yield delivered"),
            Part("price", "price", "price of the crop"),
            Part("price_date", "date", "the day of that price"),
            Part("windrowed", "flag", "cut by a windrower first"),
            Part("limit", "area_mass", "loss above which acting pays"),
            _NOTE,
            _RETIRED,
        ),
        thing=True,
    ),
    Kind(
        CHECK,
        1,
        "the catches of one stop",
        (
            _TAKEN,
            Part("check", "check", "the check as in a check file, schema 1", must=True),
            *_WHERE,
            Part("trial", "id", "the trial it belongs to"),
            Part("side", "one of A, B", "which side of the trial"),
            Part("settings", "settings", "settings of the combine, named numbers with units"),
            Part("conditions", "conditions", "air, grain and straw"),
            *_CORRECTS,
        ),
        reading=True,
    ),
    Kind(
        MONITOR,
        1,
        "a reading of the loss monitor",
        (
            _TAKEN,
            Part("combine", "id", "the combine", must=True),
            Part("reading", "number", "what it showed, in its own units", must=True),
            Part("per", "one of time, area", "whether it counts hits per time or per area"),
            Part("check", "id", "the check taken at the same stop"),
            Part("speed", "speed", "ground speed"),
            _NOTE,
            *_CORRECTS,
        ),
        reading=True,
    ),
    Kind(
        "trial",
        1,
        "one setting tried against another",
        (
            _TAKEN,
            Part("combine", "id", "the combine", must=True),
            Part("field", "id", "the field"),
            Part("a", "settings", "settings of side A", must=True),
            Part("b", "settings", "settings of side B", must=True),
            _NOTE,
            *_CORRECTS,
        ),
        reading=True,
    ),
    Kind(
        "weather",
        1,
        "conditions at one time",
        (
            _TAKEN,
            Part("field", "id", "the field"),
            Part("conditions", "conditions", "what was read", must=True),
            *_CORRECTS,
        ),
        reading=True,
    ),
    Kind(
        "photo",
        1,
        "a picture, kept as a file beside the book",
        (
            _TAKEN,
            Part("of", "id", "the record it shows", must=True),
            Part("file", "name", "file name", must=True),
            Part("sha256", "sha256", "hash of the file", must=True),
            Part("bytes", "whole", "size of the file", must=True),
            _NOTE,
            *_CORRECTS,
        ),
        reading=True,
    ),
    Kind(
        "note",
        1,
        "a remark",
        (Part("text", "text", "the remark", must=True), Part("of", "id", "what it is about")),
        thing=True,
    ),
    Kind(
        "report",
        1,
        "a report that was issued, frozen as it was",
        (
            Part("issued_at", "utc", "when, in UTC", must=True),
            Part("title", "name", "its title", must=True),
            Part("of", "ids", "records it rests on"),
            Part("program", "name", "program version that computed it", must=True),
            Part("price", "price", "price used"),
            Part("result", "json", "the figures as issued", must=True),
        ),
    ),
    Kind(
        EDIT,
        1,
        "a change of one field of one thing",
        (
            Part("target", "id", "the thing", must=True),
            Part("field", "name", "which of its fields", must=True),
            Part("value", "json", "the new value; null clears it", must=True),
            Part("revision", "whole", "one more than the highest its author had seen", must=True),
        ),
    ),
)

KINDS: Final = MappingProxyType({kind.name: kind for kind in _ALL})
"""Every kind, in the order a book is best read."""
