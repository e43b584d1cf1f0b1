"""Which unit did they mean?

A unit is read piece by piece: ``"bushels per acre"`` falls into two pieces, each piece has one canonical
form, and the form put together, ``"bu/ac"``, must be a unit of the kind asked for. Capitals are forgiven
except where a capital means something else. Words with more than one meaning are refused with the ways out.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from chaffinch.errors import UnitError
from chaffinch.units.factors import Kind, Unit, kind_of

_LENGTHS: dict[str, tuple[str, ...]] = {
    "m": ("m", "metre", "metres", "meter", "meters"),
    "cm": ("cm", "centimetre", "centimetres", "centimeter", "centimeters"),
    "mm": ("mm", "millimetre", "millimetres", "millimeter", "millimeters"),
    "in": ("in", "inch", "inches"),
    "ft": ("ft", "foot", "feet"),
    "yd": ("yd", "yds", "yard", "yards"),
}

_PIECES: dict[str, tuple[str, ...]] = {
    "g": ("g", "gm", "gram", "grams", "gramme", "grammes"),
    "mg": ("mg", "milligram", "milligrams"),
    "kg": ("kg", "kgs", "kilo", "kilos", "kilogram", "kilograms", "kilogramme", "kilogrammes"),
    "dt": ("dt", "decitonne", "decitonnes"),
    "t": ("t", "mt", "tonne", "tonnes", "metric ton", "metric tons", "metric tonne", "metric tonnes"),
    "oz": ("oz", "ounce", "ounces"),
    "lb": ("lb", "lbs", "pound", "pounds"),
    "cwt": ("cwt", "hundredweight", "hundredweights"),
    "bu": ("bu", "bus", "bushel", "bushels"),
    "bu US": ("bu us", "bushel us"),
    "US bu": ("us bu", "us bushel", "winchester bushel"),
    "bu imp": ("bu imp", "bu imperial", "bushel imp", "bushel imperial"),
    "imp bu": ("imp bu", "imp bushel", "imperial bu", "imperial bushel"),
    "ha": ("ha", "hectare", "hectares"),
    "ac": ("ac", "acre", "acres"),
    "mL": ("ml", "millilitre", "millilitres", "milliliter", "milliliters"),
    "dL": ("dl", "decilitre", "decilitres", "deciliter", "deciliters"),
    "L": ("l", "litre", "litres", "liter", "liters"),
    "hL": ("hl", "hectolitre", "hectolitres", "hectoliter", "hectoliters"),
    "cm3": (
        "cm3",
        "cc",
        "ccm",
        "cu cm",
        "cubic cm",
        "cubic centimetre",
        "cubic centimetres",
        "cubic centimeters",
    ),
    "m3": ("m3", "cu m", "cubic m", "cubic metre", "cubic metres", "cubic meter", "cubic meters"),
    "US fl oz": ("us fl oz", "us fluid ounce", "us fluid ounces", "fl oz us"),
    "imp fl oz": (
        *("imp fl oz", "imp fluid ounce", "imp fluid ounces", "imperial fl oz", "imperial fluid ounce"),
        *("imperial fluid ounces", "fl oz imp", "uk fl oz"),
    ),
    "US gal": ("us gal", "us gallon", "us gallons", "gal us"),
    "imp gal": ("imp gal", "imp gallon", "imp gallons", "imperial gallon", "imperial gallons", "gal imp", "uk gal"),
    "US cup": ("us cup", "us cups", "cup us", "cups us"),
    "seeds": ("seeds", "seed", "kernels", "kernel", "beans", "bean"),
    "km": ("km", "kilometre", "kilometres", "kilometer", "kilometers"),
    "mi": ("mi", "mile", "miles"),
    "km/h": ("kph", "kmh", "kmph"),
    "mph": ("mph",),
    "s": ("s", "sec", "secs", "second", "seconds"),
    "min": ("min", "mins", "minute", "minutes"),
    "h": ("h", "hr", "hrs", "hour", "hours"),
    "%": ("%", "percent", "per cent", "pct"),
    "": ("",),
}


def _spellings() -> dict[str, str]:
    spelled = {way: name for name, ways in {**_LENGTHS, **_PIECES}.items() for way in ways}
    for name, ways in _LENGTHS.items():
        for way in ways:
            for squared in (f"{way}2", f"sq {way}", f"sq{way}", f"square {way}"):
                spelled[squared] = f"{name}2"
    spelled |= {"'": "ft", '"': "in"}
    return spelled


_CANONICAL = _spellings()

# Pieces whose capitals change the meaning: what the capital form would be, and what to write instead.
_CAPITALS = {
    "G": ("a thousand million", "g for grams"),
    "T": ("a US short ton", "t for a tonne of 1000 kg"),
    "Mg": ("a tonne", "mg or t"),
    "MG": ("a tonne", "mg or t"),
    "ML": ("a million litres", "mL"),
    "Ml": ("a million litres", "mL"),
}


@dataclass(frozen=True, slots=True)
class _TwoMeanings:
    kinds: tuple[str, ...]
    why: str
    mend: str


_TON = _TwoMeanings(
    ("mass", "area_mass", "throughput", "price"),
    "says 'ton', which is 1000 kg, 2000 lb or 2240 lb",
    "write t for a tonne of 1000 kg, or use kg or lb",
)
_CUP = _TwoMeanings(
    ("volume",),
    "says 'cup', which differs by country",
    "write US cup, or give it in mL",
)
_FLUID_OUNCE = _TwoMeanings(
    ("volume",),
    "says 'fl oz', and the US and the imperial fluid ounce differ by 4 %",
    "write US fl oz or imp fl oz",
)
_GALLON = _TwoMeanings(
    ("fuel_rate", "fuel_price"),
    "says 'gal', and the imperial gallon is a fifth larger than the US one",
    "write US gal or imp gal",
)
_POUNDS_PER_BUSHEL = _TwoMeanings(
    ("density",),
    "says lb/bu, and the US and the imperial bushel measure differ by 3 %",
    "write lb/bu US or lb/bu imp",
)
_TWO_MEANINGS = {
    **dict.fromkeys(("ton", "tons"), _TON),
    **dict.fromkeys(("cup", "cups"), _CUP),
    **dict.fromkeys(("fl oz", "floz", "fluid ounce", "fluid ounces"), _FLUID_OUNCE),
    **dict.fromkeys(("gal", "gals", "gallon", "gallons"), _GALLON),
    "lb/bu": _POUNDS_PER_BUSHEL,
}

_SLASH = re.compile(r" ?/ ?")
_PER = re.compile(r"(?:^| )per (?!cent\b)", re.IGNORECASE)
_STOP_AFTER_WORD = re.compile(r"(?<=[A-Za-z])\.(?=[ /)]|$)|(?<=[A-Za-z])\.(?=[A-Za-z])")


def _pieces(written: str) -> list[str]:
    """Split a unit as written at its slashes, keeping capitals: ``"Lbs. per ac"`` gives ``["Lbs", "ac"]``."""
    bare = _STOP_AFTER_WORD.sub(" ", written)
    for mark, plain in (("^2", "2"), ("^3", "3"), ("(", " "), (")", " ")):
        bare = bare.replace(mark, plain)
    return [" ".join(piece.split()) for piece in _SLASH.split(_PER.sub("/", bare))]


def _known(piece: str) -> str | None:
    """Return the canonical form of one piece, ``flat`` included."""
    low = piece.casefold()
    if low.endswith(" flat"):
        form = _CANONICAL.get(low.removesuffix(" flat").rstrip(", "))
        return None if form is None else f"{form} flat"
    return _CANONICAL.get(low)


def _form(written: str) -> str | None:
    known = [_known(piece) for piece in _pieces(written)]
    return None if None in known else "/".join(piece for piece in known if piece is not None)


def find(written: str, kind: str) -> Unit | None:
    """Return the unit of that kind which a person wrote, or None when there is none.

    Capitals that mean something else are not judged here: see `complain_of_capitals`.
    """
    form = _form(written)
    if form is None:
        return None
    for unit in kind_of(kind).units:
        if form == unit.name or form in unit.also:
            return unit
    return None


def complain_of_capitals(written: str, field: str, text: object) -> None:
    """Raise when a piece of the unit means something else for its capitals.

    Raises
    ------
    UnitError
        For ``G``, ``T``, ``Mg``, ``ML`` and the like.
    """
    for piece in _pieces(written):
        if piece in _CAPITALS:
            meaning, mend = _CAPITALS[piece]
            raise UnitError(field, text, f"has the unit {piece!r}, which can be {meaning}", f"write {mend}")


def refusal(written: str, kinds: tuple[str, ...], field: str, text: object) -> UnitError:
    """Return the error for a unit that none of the kinds has, with the units that would do."""
    pieces = _pieces(written)
    form = _form(written)
    for word in (*pieces, form):
        double = _TWO_MEANINGS.get((word or "").casefold())
        if double is not None and not set(double.kinds).isdisjoint(kinds):
            return UnitError(field, text, double.why, double.mend)
    if "flat_area" in kinds and "area" not in kinds and form in ("cm2", "in2"):
        return UnitError(
            field,
            text,
            "is an area that does not say how the seed lies",
            f'write "{form} flat" when it covers that area in one layer',
        )
    found = [kind_of(kind) for kind in kinds]
    problem = f"has the unit {written!r}, which is not {_either(found)}" if written else "has no unit"
    names = ", ".join(dict.fromkeys(unit.name or "no unit" for kind in found for unit in kind.units))
    return UnitError(field, text, problem, f'use {names}; for example "{found[0].example}"')


def _either(kinds: list[Kind]) -> str:
    phrases = [kind.phrase for kind in kinds]
    return phrases[0] if len(phrases) == 1 else ", ".join(phrases[:-1]) + " or " + phrases[-1]


def leading(name: str) -> re.Pattern[str]:
    """Return a pattern for the first unit of a pair, up to the digits of the second.

    ``leading("ft")`` matches the ``ft`` of ``"ft 6 in"`` and the ``'`` of ``"'6\""``.
    """
    ways = sorted((way for way, form in _CANONICAL.items() if form == name), key=len, reverse=True)
    return re.compile(rf"(?:{'|'.join(map(re.escape, ways))})\.? ?,? ?(?:and )?(?=[0-9])", re.IGNORECASE)
