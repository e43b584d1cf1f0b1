"""Which keys may a check file hold, and which one did they mean?

The one schema of a check file, version 1: every table, every key, what it holds, and the span in which its value
can be meant. The page ``docs/check-file.md`` shows these same rows; a test compares the two.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final

from chaffinch.errors import UnknownKeyError, one_of

SCHEMA: Final = 1
"""The version of the check-file schema this program reads and writes."""

MOST_CATCHES: Final = 500
"""More catches than this at one stop are refused: a slip of a program, not an afternoon's work."""

_LONGEST_SHOWN_KEY = 40  # [characters]


@dataclass(frozen=True, slots=True)
class Span:
    """From where to where a value can be meant, ends included, in the inside unit.

    The spans are our own: wide enough for every real field, narrow enough to catch a slipped unit or decimal
    mark. One that starts at 0 admits 0.
    """

    low: float
    high: float
    unit: str = ""

    def __str__(self) -> str:
        return f"{_plain(self.low)} to {_plain(self.high)} {self.unit}".strip()

    def end(self, value: float) -> str:
        """Return the end of the span that ``value`` lies beyond, as text; empty when it lies within."""
        if self.low <= value <= self.high:
            return ""
        return f"{_plain(self.low if value < self.low else self.high)} {self.unit}".strip()


@dataclass(frozen=True, slots=True)
class Key:
    """One key of one table.

    Parameters
    ----------
    name : str
        As written in the file.
    holds : str
        What the value is: the name of a kind of quantity (``"length"``), or another word of ``HOLDS``.
    about : str
        What it says, in one clause.
    span : Span or None
        Where its value can lie; None for text and flags, and where another room judges it.
    must : bool
        Whether the table is incomplete without it.
    """

    name: str
    holds: str
    about: str
    span: Span | None = None
    must: bool = False


HOLDS: Final = MappingProxyType(
    {
        "length": 'length, like "66 in"',
        "area": 'area, like "4 ft2"',
        "land": 'land, like "62 ha"',
        "mass": 'mass, like "12.5 g"',
        "speed": 'speed, like "7.5 km/h"',
        "time": 'time, like "60 s"',
        "area_mass": 'mass per land, like "45 bu/ac"',
        "price": 'price, like "14.50 /bu"',
        "density": 'test weight, like "65 kg/hL"',
        "percent": 'percent, like "9.5 %"',
        "fraction": 'part of 1, like "1/4", "25 %" or 0.25',
        "amount": 'reading, like "12.5 g" or "44 seeds"',
        "text": "text",
        "note": "text, several lines if you like",
        "flag": "true or false",
        "number": "number, like 12",
        "whole": "whole number",
        "date": "text, or a TOML date",
        "table": "table",
        "tables": "list of tables",
    }
)
"""What a key can hold, in the words of the documentation page."""

_CUT = Span(0.3, 30.0, "m")
_DISCHARGE = Span(0.1, 60.0, "m")
_SIDE = Span(0.01, 60.0, "m")
_YIELD = Span(1.0, 30_000.0, "kg/ha")
_WET = Span(1.0, 60.0, "%")
_PART = Span(0.0001, 1.0)
_POT = Span(0.0, 100_000.0, "g")

PAN_AREA: Final = Span(0.0001, 50.0, "m2")
"""Span of a pan's area, also of one given as width and length."""

AMOUNTS: Final = MappingProxyType(
    {
        "mass": Span(0.0, 50_000.0, "g"),
        "volume": Span(0.0, 100_000.0, "mL"),
        "seeds": Span(0.0, 10_000_000.0, "seeds"),
        "flat_area": Span(0.0, 500_000.0, "cm2 flat"),
    }
)
"""Span of one reading, by kind of quantity."""

STEPS: Final = MappingProxyType(
    {
        "mass": Span(0.00001, 50_000.0, "g"),
        "volume": Span(0.00001, 100_000.0, "mL"),
        "flat_area": Span(0.00001, 500_000.0, "cm2 flat"),
    }
)
"""Span of a smallest division, stated or read off the digits. Nothing in a cab shows less than 0.01 mg."""

TABLES: Final = MappingProxyType(
    {
        "": (
            Key("schema", "whole", "version of this layout: 1; 1 when absent"),
            Key("crop", "text", "the crop, by any of its names", must=True),
            Key("country", "text", "CA, US, AU or GB: picks bushel weight and market moisture"),
            Key("yield", "area_mass", "harvested yield expected", _YIELD),
            Key("price", "price", "price of the crop", Span(0.01, 1_000_000.0, "/t")),
            Key("limit", "area_mass", "loss above which you would act", Span(0.01, 30_000.0, "kg/ha")),
            Key("currency", "text", "sign or letters put before money; those of the price when absent"),
            Key("tkw", "mass", "measured weight of 1000 kernels; usual when absent", Span(0.1, 2000.0, "g")),
            Key("test_weight", "density", "measured test weight; usual when absent", Span(10.0, 120.0, "kg/hL")),
            Key("market_moisture", "percent", "moisture loss is reported at; the trade's when absent", _WET),
            Key("moisture", "percent", "wet-basis moisture of the seed, where a catch has none", _WET),
            Key("bushel", "mass", "weight of a bushel; the crop's own when absent", Span(2000.0, 50_000.0, "g")),
            Key("report_in", "text", "unit of loss; that of limit, else of yield, else kg/ha, when absent"),
            Key("spreading", "flag", "spreader or chopper was on"),
            Key("windrowed", "flag", "the crop lay in windrows; false when absent"),
            Key("windrower_width", "length", "width the windrower cut", _CUT),
            Key("working_width", "length", "width really cut, in a pass narrower than the header", _CUT),
            Key("speed", "speed", "ground speed", Span(0.1, 40.0, "km/h")),
            Key("when", "date", "when the catches were taken"),
            Key("operator", "text", "who drove"),
            Key("note", "note", "anything else"),
            Key("combine", "table", "the machine's widths"),
            Key("field", "table", "the field"),
            Key("pan", "table", "the pan, where a catch has none of its own"),
            Key("scale", "table", "the scale, where a weighed catch has no step of its own"),
            Key("catch", "tables", "the catches, 1 to 500", must=True),
        ),
        "combine": (
            Key("name", "text", "the farm's own name for it"),
            Key("cut_width", "length", "cut width: of the crop that ends up in one discharge strip", _CUT, must=True),
            Key("drop_width", "length", "width of the discharge with spreading off", _DISCHARGE),
            Key("spread_width", "length", "width the residue lands on with spreading on", _DISCHARGE),
            Key("widths_taped", "flag", "drop and spread width were taped, not guessed; false when absent"),
        ),
        "field": (
            Key("name", "text", "the farm's own name for it"),
            Key("area", "land", "its area", Span(0.001, 100_000.0, "ha")),
        ),
        "pan": (
            Key("area", "area", "its area; or give width and length", PAN_AREA),
            Key("width", "length", "its width across travel", _SIDE),
            Key("length", "length", "its length along travel", _SIDE),
        ),
        "scale": (Key("step", "mass", "smallest division it shows", STEPS["mass"], must=True),),
        "catch": (
            Key("place", "text", "where it was taken: one of the seven places", must=True),
            Key("pan", "area", "the pan's area; or give width and length", PAN_AREA),
            Key("width", "length", "the pan's width across travel", _SIDE),
            Key(
                "length", "length", "the pan's length along travel; windrow: metres shaken out", Span(0.01, 1000.0, "m")
            ),
            Key("amount", "amount", "the reading; 0 is a reading too"),
            Key("gross", "mass", "instead of amount: seed and container together", _POT),
            Key("tare", "mass", "with gross: the container alone", _POT),
            Key("step", "amount", "smallest division read; taken from the digits when absent"),
            Key("step_inferred", "flag", "written by the program: step was taken from the digits"),
            Key("subsample", "fraction", "part of the catch that was read; 1 when absent", _PART),
            Key("clean", "fraction", "part of the reading that is seed; 1 when absent", _PART),
            Key("moisture", "percent", "wet-basis moisture of the seed as read", _WET),
            Key("unthreshed", "amount", "seed rubbed out of unthreshed heads or pods"),
            Key("unthreshed_step", "amount", "its smallest division, where step is of another kind"),
            Key("unthreshed_step_inferred", "flag", "written by the program: as step_inferred"),
            Key("heads", "number", "unthreshed heads or pods, counted and not rubbed out", Span(0.0, 1_000_000.0)),
            Key("seeds_per_head", "number", "with heads: seeds in one of them", Span(0.01, 10_000.0)),
            Key("offset", "length", "pan's middle from the discharge's middle: − left, + right"),
            Key("run", "whole", "pass the pan belongs to, for pans at offsets; 1 when absent", Span(1.0, 1_000_000.0)),
            Key("time", "time", "of a leak: time caught", Span(0.1, 86_400.0, "s")),
            Key("variation", "number", "your own coefficient of variation between such catches", Span(0.02, 3.0)),
            Key("bag", "text", "what is written on its bag"),
            Key("note", "note", "anything else"),
        ),
    }
)
"""Every table of a check file with its keys, in the order they are written; ``""`` is the top of the file."""

# What people call a thing → the key we have for it. Trade words only; spelling slips are left to difflib.
_OTHER_WORDS = MappingProxyType(
    {
        "header_width": "cut_width",
        "swath_width": "cut_width",
        "discharge_width": "drop_width",
        "windrow_width": "drop_width",
        "chopper": "spreading",
        "spreader": "spreading",
        "swathed": "windrowed",
        "thousand_kernel_weight": "tkw",
        "tgw": "tkw",
        "tsw": "tkw",
        "bushel_weight": "bushel",
        "weight": "amount",
        "mass": "amount",
        "count": "amount",
        "seeds": "amount",
        "volume": "amount",
        "tray": "pan",
        "frame": "pan",
        "seconds": "time",
        "purity": "clean",
        "position": "offset",
        "driver": "operator",
        "date": "when",
        "unit": "report_in",
        "units": "report_in",
        "catches": "catch",
    }
)


def key_of(table: str, name: str) -> Key:
    """Return the key of that name in that table; KeyError when there is none: a slip in the program."""
    for key in TABLES[table]:
        if key.name == name:
            return key
    raise KeyError(table, name)


def header(table: str) -> str:
    """Return how a table is opened in a file: ``"[combine]"``, ``"[[catch]]"``."""
    if not table:
        return "the top of the file"
    return f"[[{table}]]" if table == "catch" else f"[{table}]"


def refuse_unknown(names: Iterable[object], table: str, where: str) -> None:
    """Raise for the first name the table does not have, with the nearest key or the table it belongs to.

    Parameters
    ----------
    names : iterable
        The keys as found.
    table : str
        The table they stand in, as named in ``TABLES``.
    where : str
        How messages name that table: ``"catch 2"``; empty for the top.

    Raises
    ------
    UnknownKeyError
        For a name that is not text too.
    """
    known = [key.name for key in TABLES[table]]
    for name in names:
        if isinstance(name, str) and name in known:
            continue
        shown = _shown(name)
        field = f"{where}, {shown}" if where else shown
        raise UnknownKeyError(
            field, None, f"is not a key of {header(table)}", _mend(name if isinstance(name, str) else "", table, known)
        )


def _mend(name: str, table: str, known: list[str]) -> str:
    plain = "_".join(name[:_LONGEST_SHOWN_KEY].strip().casefold().replace("-", " ").split())
    if plain in known:
        return f"write it as {plain}"
    meant = _OTHER_WORDS.get(plain, plain)
    if meant in known:
        return f"write it as {meant}"
    homes = [other for other in TABLES if any(key.name == meant for key in TABLES[other])]
    if homes:
        return f"{meant} belongs {' or '.join(_home(other) for other in homes)}"

    from difflib import get_close_matches

    others = {key.name: other for other in TABLES for key in TABLES[other]} | dict.fromkeys(known, table)
    # A close match anywhere, else a fair one here, else a fairly close one elsewhere.
    for pool, cutoff in ((others, 0.8), (known, 0.6), (others, 0.75)):
        if near := get_close_matches(plain, pool, n=1, cutoff=cutoff):
            home = others[near[0]]
            return f"did you mean {near[0]}{'' if home == table else f', which belongs {_home(home)}'}?"
    return f"leave it out, or {one_of(known)}"


def _plain(number: float) -> str:
    return f"{number:.10f}".rstrip("0").rstrip(".")


def _home(table: str) -> str:
    return f"under {header(table)}" if table else "at the top of the file, before the first [table]"


def _shown(name: object) -> str:
    """Return a key as it can stand in a one-line message."""
    text = str(name)[: _LONGEST_SHOWN_KEY + 1] if isinstance(name, str) else f"a key of type {type(name).__name__}"
    if not text.isprintable() or not text.strip():
        text = ascii(text)
    return text if len(text) <= _LONGEST_SHOWN_KEY else text[: _LONGEST_SHOWN_KEY - 1] + "…"
