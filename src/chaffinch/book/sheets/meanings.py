"""What does each column of somebody's own spreadsheet mean, and in which unit is it?

A meaning is proposed for each column by how near its name is to plain words of the trade; a person changes what is
wrong, and the matching is kept as a small TOML file for the next time.
"""

from __future__ import annotations

import json
import re
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from difflib import SequenceMatcher, get_close_matches
from types import MappingProxyType
from typing import Any, Final

from chaffinch import units
from chaffinch.book.names import folded, nfc
from chaffinch.book.sheets.grid import unit_kinds
from chaffinch.errors import InputError, one_of

FORMAT: Final = 1
"""Version of the matching file's layout."""

SURE: Final = 0.78
"""How near a column's name must be to a word before its meaning is proposed [1]; own figure."""

DATE_STYLES: Final = ("iso", "dmy", "mdy")
DECIMALS: Final = (".", ",")
_LEFT_OUT: Final = "-"
_SOMETHING_ELSE: Final = frozenset(
    (
        *("air", "cylinder", "fan", "loss", "losses", "reel", "rotor", "sieve", "straw"),
        *("temp", "temperature", "wind", "country", "currency"),
    )
)
"""Words that make a speed, moisture or width another one than ours, or a result; and a country, which is no count."""


@dataclass(frozen=True, slots=True)
class Meaning:
    """What a column can mean.

    Attributes
    ----------
    kinds : tuple of str
        Kinds of quantity it can be; empty for text.
    words : tuple of str
        What people call it.
    unit : str
        Unit that goes without saying; empty where one must be said.
    about : str
        What it is, in one clause.
    """

    kinds: tuple[str, ...]
    words: tuple[str, ...]
    about: str
    unit: str = ""


_READINGS: Final = ("mass", "volume", "seeds", "flat_area")

MEANINGS: Final[Mapping[str, Meaning]] = MappingProxyType(
    {
        "date": Meaning((), ("date", "day", "when", "date and time", "taken on", "sampled on"), "day of the check"),
        "time": Meaning((), ("time", "hour", "clock", "time of day"), "local time of day"),
        "stop": Meaning(
            (),
            ("stop", "stop no", "stop number", "check no", "check number", "check id"),
            "your own number for the stop; its rows are one check",
        ),
        "field": Meaning((), ("field", "field name", "paddock", "block", "parcel", "quarter"), "name of the field"),
        "combine": Meaning((), ("combine", "combine name", "machine", "harvester"), "name of the combine"),
        "operator": Meaning((), ("operator", "driver", "operator name", "who drove"), "who drove"),
        "crop": Meaning((), ("crop", "grain", "commodity", "crop type"), "the crop"),
        "place": Meaning(
            (), ("place", "where", "position", "location", "where taken", "sample place"), "where the catch was taken"
        ),
        "pan": Meaning(
            ("area",),
            ("pan", "pan size", "pan area", "tray", "tray area", "tray size", "frame", "frame area", "frame size"),
            "area of pan or frame",
        ),
        "pan_width": Meaning(
            ("length",), ("pan width", "tray width", "frame width"), "width of the pan, across travel"
        ),
        "pan_length": Meaning(
            ("length",),
            ("pan length", "tray length", "frame length", "windrow length"),
            "length of the pan along travel, or of windrow shaken out",
        ),
        "amount": Meaning(
            _READINGS,
            ("amount", "weight", "mass", "catch", "seed", "sample weight", "catch weight", "seed weight", "reading"),
            "what the pan held",
        ),
        "count": Meaning(
            ("seeds",),
            ("count", "seeds", "seed count", "kernels", "kernel count", "number of seeds", "no of seeds", "beans"),
            "seeds counted",
            "seeds",
        ),
        "volume": Meaning(("volume",), ("volume", "seed volume", "cup", "measured"), "seed measured in a cup"),
        "step": Meaning(
            ("mass", "volume"), ("step", "scale step", "smallest division", "resolution"), "smallest division read"
        ),
        "cut_width": Meaning(
            ("length",), ("cut width", "header width", "cutting width", "header", "cut"), "width of the cut"
        ),
        "drop_width": Meaning(
            ("length",),
            ("drop width", "discharge width", "windrow width", "drop", "width of discharge"),
            "width of the discharge, spreading off",
        ),
        "spread_width": Meaning(
            ("length",), ("spread width", "spreading width", "throw", "width of spread"), "width of the spread"
        ),
        "spreading": Meaning(
            (), ("spreading", "spreader", "chopper", "chopping", "spreader on", "chopper on"), "spreading on: yes or no"
        ),
        "yield": Meaning(("area_mass",), ("yield", "crop yield", "expected yield", "field yield"), "yield expected"),
        "price": Meaning(("price",), ("price", "crop price", "grain price", "value"), "price of the crop"),
        "limit": Meaning(
            ("area_mass",), ("limit", "loss limit", "target", "target loss", "acceptable loss"), "loss to act above"
        ),
        "speed": Meaning(("speed",), ("speed", "ground speed", "travel speed", "forward speed"), "ground speed"),
        "moisture": Meaning(
            ("percent",), ("moisture", "grain moisture", "seed moisture", "moisture content"), "seed moisture", "%"
        ),
        "tkw": Meaning(
            ("mass",), ("tkw", "thousand kernel weight", "thousand seed weight"), "measured thousand-kernel weight"
        ),
        "caught_for": Meaning(("time",), ("caught for", "seconds caught", "time caught"), "how long a leak was caught"),
        "note": Meaning((), ("note", "notes", "remark", "remarks", "comment", "comments"), "anything else"),
    }
)
"""Everything a column can mean, by the name a person writes."""

FIXED: Final = (*(m for m in MEANINGS if m not in ("time", "stop")), "country", "currency", "report_in")
"""What can be said once for the whole sheet."""


@dataclass(frozen=True, slots=True)
class Column:
    """One column: its name, what it means (None: left out), and its unit (empty where the cells carry theirs)."""

    header: str
    meaning: str | None = None
    unit: str = ""

    def written(self) -> str:
        """The meaning as a person writes it: ``pan:ft2``, ``note``, or ``-`` for a column left out."""
        return f"{self.meaning or _LEFT_OUT}{':' if self.unit else ''}{self.unit}"


@dataclass(frozen=True, slots=True)
class Matching:
    """What every column of a spreadsheet means.

    Attributes
    ----------
    columns : tuple of Column
        In the order of the sheet.
    fixed : mapping of str to str
        What holds for every row: ``{"crop": "canola", "pan": "4 ft2"}``.
    dates : str
        ``iso``, ``dmy`` or ``mdy`` where the cells leave it open; empty to ask.
    decimals : str
        ``.`` or ``,`` where a column's cells leave it open; empty to ask.
    zone : str
        Offset from UTC of the times in the sheet, like ``-06:00``, or the name of a time zone.
    """

    columns: tuple[Column, ...]
    fixed: Mapping[str, str] = field(default_factory=dict)
    dates: str = ""
    decimals: str = ""
    zone: str = ""

    def of(self, meaning: str) -> list[int]:
        """Positions of the columns of that meaning."""
        return [i for i, column in enumerate(self.columns) if column.meaning == meaning]

    def with_column(self, change: str) -> Matching:
        """The matching with one column changed, as in ``"Pan size=pan:ft2"`` or ``"Bin=-"``.

        Raises
        ------
        InputError
            For a column that is not there, an unknown meaning, or a unit it cannot be in.
        """
        header, equals, meant = change.rpartition("=")
        header = header.strip()
        if not equals or not header:
            raise InputError("column", change, "is not understood", 'write it like "Pan size=pan:ft2"')
        names = [column.header for column in self.columns]
        found = next((i for i, name in enumerate(names) if folded(name) == folded(header)), None)
        if found is None:
            near = get_close_matches(header, names, n=1)
            mend = f"did you mean {near[0]}?" if near else one_of(names)
            raise InputError("column", header, "is not in the spreadsheet", mend)
        columns = list(self.columns)
        columns[found] = _column(names[found], meant)
        return replace(self, columns=tuple(columns))

    def with_fixed(self, meaning: str, value: str) -> Matching:
        """The matching with something said for every row, as in ``with_fixed("crop", "canola")``."""
        if meaning not in FIXED:
            near = get_close_matches(meaning, FIXED, n=1)
            mend = f"did you mean {near[0]}?" if near else f"use one of {', '.join(FIXED)}"
            raise InputError("fixed", meaning, "cannot be said for every row", mend)
        if not value.strip():
            raise InputError(f"fixed, {meaning}", value, "is empty", "give a value, or leave it out")
        return replace(self, fixed={**self.fixed, meaning: nfc(value.strip())})

    def as_toml(self) -> str:
        """The matching as a small TOML file."""
        lines = [f"format = {FORMAT}"]
        for key in ("dates", "decimals", "zone"):
            lines += [f"{key} = {_quoted(getattr(self, key))}"] if getattr(self, key) else []
        lines += ["", "[columns]"]
        lines += [f"{_quoted(column.header)} = {_quoted(column.written())}" for column in self.columns]
        if self.fixed:
            lines += ["", "[fixed]", *(f"{key} = {_quoted(value)}" for key, value in self.fixed.items())]
        return "\n".join(lines) + "\n"


def matching_from_toml(text: str, header: Sequence[str]) -> Matching:
    """A kept matching, applied to a sheet's header.

    Raises
    ------
    InputError
        When it is no matching, or the sheet has a column that it does not name, or lacks one that it uses.
    """
    try:
        table: dict[str, Any] = tomllib.loads(nfc(text))
    except (tomllib.TOMLDecodeError, RecursionError) as error:
        raise InputError("matching", None, f"is no TOML ({error})", "save it anew from a dry run") from None
    if table.get("format") != FORMAT:
        raise InputError("matching, format", table.get("format"), f"is not {FORMAT}", "save it anew from a dry run")
    unknown = set(table) - {"format", "dates", "decimals", "zone", "columns", "fixed"}
    if unknown:
        raise InputError("matching", ", ".join(sorted(unknown)), "is not a key of it", "leave it out")
    said = {key: table.get(key, {}) for key in ("columns", "fixed")}
    for key, value in said.items():
        if not isinstance(value, dict) or not all(isinstance(v, str) for v in value.values()):
            raise InputError(f"matching, {key}", None, "is no table of texts", 'write it like "Pan size" = "pan:ft2"')
    missing = [name for name, meant in said["columns"].items() if name not in header and meant != _LEFT_OUT]
    if missing:
        raise InputError("matching, columns", missing[0], "is not in the spreadsheet", "match this sheet anew")
    strangers = [name for name in header if name not in said["columns"]]
    if strangers:
        raise InputError(
            "matching, columns",
            strangers[0],
            "is a column it does not name",
            f'add "{strangers[0]}" = "-" or a meaning',
        )
    found = Matching(tuple(_column(name, said["columns"][name]) for name in header))
    for key, value in said["fixed"].items():
        found = found.with_fixed(key, value)
    styles = {key: table.get(key, "") for key in ("dates", "decimals", "zone")}
    if not all(isinstance(value, str) for value in styles.values()):
        raise InputError("matching", None, "holds a style that is not text", 'write it like dates = "dmy"')
    return with_styles(found, **styles)


def with_styles(matching: Matching, *, dates: str = "", decimals: str = "", zone: str = "") -> Matching:
    """The matching with styles said by a person where they say one."""
    if dates and dates not in DATE_STYLES:
        raise InputError("dates", dates, "is no style", f"use {', '.join(DATE_STYLES)}")
    if decimals and decimals not in DECIMALS:
        raise InputError("decimals", decimals, "is no decimal mark", 'use "." or ","')
    return replace(
        matching,
        dates=dates or matching.dates,
        decimals=decimals or matching.decimals,
        zone=zone or matching.zone,
    )


def match_columns(header: Sequence[str], sample: Sequence[Sequence[str]] = (), below: Sequence[str] = ()) -> Matching:
    """Propose a meaning for each column.

    Parameters
    ----------
    header : sequence of str
        Names of the columns.
    sample : sequence of rows
        Some rows: a column without a telling name may have telling cells.
    below : sequence of str
        Units from a row of units, if there is one.

    Returns
    -------
    Matching
        Each meaning at most once, but for notes. A column that resembles nothing is left out.
    """
    scores: list[tuple[float, int, str, str]] = []
    for i, name in enumerate(header):
        given = below[i].strip("()[] ") if i < len(below) else ""
        for meaning in MEANINGS:
            score, unit = _likeness(name, meaning, given)
            if score >= SURE:
                scores.append((score, i, meaning, unit))
    found: dict[int, Column] = {}
    taken: set[str] = set()
    for _, i, meaning, unit in sorted(scores, key=lambda s: (-s[0], s[1])):
        if i not in found and (meaning not in taken or meaning == "note"):
            found[i] = Column(header[i], meaning, unit or MEANINGS[meaning].unit)
            taken.add(meaning)
    if "date" not in taken:
        for i in range(len(header)):
            cells = [row[i] for row in sample if i < len(row) and row[i]]
            if i not in found and cells and all(_LOOKS_LIKE_A_DATE.fullmatch(cell) for cell in cells):
                found[i] = Column(header[i], "date")
                break
    return Matching(tuple(found.get(i, Column(name)) for i, name in enumerate(header)))


_LOOKS_LIKE_A_DATE: Final = re.compile(r"\d{1,4}[-/.]\d{1,2}[-/.]\d{2,4}([ T].*)?")
_LONGEST_HEAD: Final = 200
"""Characters of a column's name in which a unit in brackets is looked for; own figure."""
_IN_BRACKETS: Final = re.compile(r"^(.*?)\s*[(\[]\s*([^()\[\]]+?)\s*[)\]]\s*(.*)$")


def _likeness(name: str, meaning: str, given: str) -> tuple[float, str]:
    """How near a column's name is to a meaning (0 to 1), and the unit found in the name or below it."""
    known = MEANINGS[meaning]
    best = (_nearness(name, known.words), given if set(unit_kinds(given)) & set(known.kinds) else "")
    for words, unit in _with_unit(name):
        if set(unit_kinds(unit)) & set(known.kinds):
            best = max(best, (_nearness(words, known.words), unit))
    if given and known.kinds and not best[1]:
        return 0.0, ""  # a unit stands below it, and this meaning cannot be in that unit
    return best


def _with_unit(name: str) -> list[tuple[str, str]]:
    """Ways of parting a name into words and a unit: ``"pan (ft2)"``, ``"pan, ft2"``, ``"pan ft2"``."""
    found = []
    # Blanks in a row would be searched by the cube of their number, so that a long head kept everybody waiting.
    bracketed = _IN_BRACKETS.match(" ".join(name.split())) if len(name) <= _LONGEST_HEAD else None
    if bracketed:
        found.append((f"{bracketed[1]} {bracketed[3]}", bracketed[2]))
        name = f"{bracketed[1]} {bracketed[3]}"
    words = re.split(r"[\s,_]+", name.strip())
    found += [(" ".join(words[:-n]), " ".join(words[-n:])) for n in (1, 2, 3) if len(words) > n]
    return found


def _nearness(name: str, words: Sequence[str]) -> float:
    plain = " ".join(re.sub(r"[^\w\s]", " ", name.replace("_", " ")).casefold().split())
    if not plain:
        return 0.0
    if plain in words:
        return 1.0
    if not _SOMETHING_ELSE.isdisjoint(plain.split()):
        return 0.0
    # A word of ours inside a longer name counts for less the more else there is: "weight of seed in pan".
    mine = set(plain.split())
    inside = max((len(set(w.split())) / len(mine) for w in words if set(w.split()) <= mine), default=0.0)
    alike = max(SequenceMatcher(None, plain, word).ratio() for word in words) if len(plain) <= 60 else 0.0
    return max(alike * 0.98, 0.6 + 0.38 * inside if inside >= 0.5 else 0.0)


def _column(header: str, meant: str) -> Column:
    meaning, _, unit = meant.strip().partition(":")
    meaning, unit = meaning.strip(), unit.strip()
    if meaning in ("", _LEFT_OUT):
        return Column(header)
    known = MEANINGS.get(meaning)
    if known is None:
        near = get_close_matches(meaning, MEANINGS, n=1)
        mend = f"did you mean {near[0]}?" if near else f"use {_LEFT_OUT} to leave it out, or {', '.join(MEANINGS)}"
        raise InputError(f"column {header}", meaning, "is nothing a column can mean", mend)
    if unit and not set(unit_kinds(unit)) & set(known.kinds):
        ways = dict.fromkeys(way for kind in known.kinds for way in units.accepted(kind))
        mend = f"use {', '.join(ways)}" if ways else f"write {meaning} alone: it has no unit"
        raise InputError(f"column {header}", unit, f"is no unit of {meaning}", mend)
    return Column(header, meaning, unit or known.unit)


def _quoted(text: str) -> str:
    """A basic string of TOML; JSON's escapes are among TOML's, but for the one character TOML forbids too."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")
