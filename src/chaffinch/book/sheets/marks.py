"""Which decimal mark does this column use, and in which order do its dates stand?

Decided for each column from all its cells. Cells that can be read one way only decide; the others follow. Where cells
speak for both ways, one must outnumber the other a hundred to one, or a person is asked; the few that speak against
are refused, each with its row. Where no cell speaks, a person is asked.
"""

from __future__ import annotations

import re
from calendar import monthrange
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final, Literal

from chaffinch.errors import InputError

OUTNUMBERS: Final = 100
"""How many cells of one way outweigh one of the other; own figure: a slip of the finger is rarer than that."""

_FIRST_YEAR, _LAST_YEAR = 1950, 2100

_NUMBER: Final = re.compile(r"[+-]?(?:\d|[.,]\d)[\d.,' \u00a0\u202f’]*")
_GROUPED: Final = re.compile(r"[+-]?[1-9]\d{0,2}([.,])\d{3}(\1\d{3})*")
_ISO: Final = re.compile(r"(\d{4})[-/.](\d{1,2})[-/.](\d{1,2})(?:[T ]+(.+))?")
_NUMERIC: Final = re.compile(r"(\d{1,2})[-/. ]+(\d{1,2})[-/. ]+(\d{4}|\d{2})\.?(?:[T ]+(.+))?")
_DAY_WORD: Final = re.compile(r"(\d{1,2})\.?[- ]*([a-z]{3,9})\.?[-, ]*(\d{4}|\d{2})(?: +(.+))?", re.IGNORECASE)
_WORD_DAY: Final = re.compile(r"([a-z]{3,9})\.?[- ]*(\d{1,2})[-, ]+(\d{4}|\d{2})(?: +(.+))?", re.IGNORECASE)
_TIME: Final = re.compile(r"(\d{1,2}):(\d{2})(?::(\d{2})(?:\.\d+)?)? ?(am|pm|a\.m\.|p\.m\.)?(Z)?", re.IGNORECASE)
_MONTHS: Final = (
    *("january", "february", "march", "april", "may", "june", "july", "august", "september"),
    *("october", "november", "december"),
)

Style = Literal["dmy", "mdy", ""]


def decimal_mark(header: str, cells: Iterable[str], said: str = "", *, whole: bool = False) -> tuple[str, str]:
    """The decimal mark of a column, and a notice where some cells speak against it.

    Parameters
    ----------
    header : str
        The column, for the question.
    cells : iterable of str
        All its cells.
    said : str
        What a person said: it settles a column whose cells leave it open.
    whole : bool
        The column counts something, so a mark before three digits can only part thousands.

    Raises
    ------
    InputError
        When the cells leave it open and nobody said.
    """
    points, commas, either = [], [], []
    for cell in cells:
        match _mark_of(cell):
            case ".":
                points.append(cell)
            case ",":
                commas.append(cell)
            case "?":
                either.append(cell)
    if points and commas:
        for mark, more, fewer in ((".", points, commas), (",", commas, points)):
            if len(more) >= OUTNUMBERS * len(fewer):
                word = {".": "point", ",": "comma"}[mark]
                return mark, f"{header}: {len(more)} cells have a decimal {word}; against it stands {fewer[0]!r}."
        if said:
            return said, ""
        raise InputError(
            f"column {header}",
            points[0],
            f"has decimal points, and decimal commas as in {commas[0]!r}",
            "say which: --decimals . or --decimals ,",
        )
    if points or commas:
        return ("." if points else ","), ""
    if whole and either and len({"," in cell for cell in either}) == 1:
        return ("." if "," in either[0] else ","), ""
    if either and not said:
        raise InputError(
            f"column {header}",
            either[0],
            "can be read in two ways, with a decimal mark or a mark between thousands",
            "say which: --decimals . or --decimals ,",
        )
    return said or ".", ""


def plain_number(number: str, mark: str) -> str:
    """A number as written, with a decimal point and no marks between thousands; empty when it breaks the rule."""
    other = "," if mark == "." else "."
    bare = re.sub(r"[' \u00a0\u202f’]", "", number)
    whole, found, decimals = bare.partition(mark)
    if mark in decimals or other in decimals:
        return ""
    if other in whole and not re.fullmatch(rf"[+-]?[1-9]\d{{0,2}}(\{other}\d{{3}})+", whole):
        return ""
    if re.search(r"[' \u00a0\u202f’]", number) and not re.fullmatch(
        r"[+-]?[1-9]\d{0,2}([' \u00a0\u202f’]\d{3})*", number.partition(mark)[0]
    ):
        return ""
    return whole.replace(other, "") + (f".{decimals}" if found and decimals else "")


def leading_number(cell: str) -> tuple[str, str]:
    """The number at the head of a cell and the rest; an empty number where there is none."""
    found = _NUMBER.match(cell)
    if found is None:
        return "", cell
    number = found[0].rstrip(" ,.'’\u00a0\u202f")
    return number, cell[len(number) :].strip()


def _mark_of(cell: str) -> str:
    """``.`` or ``,`` for a cell that tells, ``?`` for one that could be either, empty for one that says nothing."""
    number, rest = leading_number(cell.lstrip("$€£ "))
    if not number or rest[:1] in ("/", "-", ":"):
        return ""
    points, commas = number.count("."), number.count(",")
    if points and commas:
        return "." if number.rfind(".") > number.rfind(",") else ","
    if points + commas == 0:
        return ""
    grouped = _GROUPED.fullmatch(number)
    if points + commas > 1:
        return "" if grouped is None else ("," if points else ".")
    if grouped is not None:
        return "?"
    return "." if points else ","


@dataclass(frozen=True, slots=True)
class Moment:
    """A date ``2026-08-21`` and a time of day ``15:40:00``, the latter empty where none was written."""

    date: str
    time: str


def date_order(header: str, cells: Iterable[str], said: str = "") -> tuple[str, str]:
    """Whether a column's numeric dates have the day or the month first, and a notice where some cells speak against.

    Dates with the year first, and those with the month in letters, need no order. ``said`` settles a column whose
    cells leave it open; ``iso`` says that every date has its year first.

    Raises
    ------
    InputError
        When the cells leave it open and nobody said.
    """
    day_first, month_first, either = [], [], []
    for cell in cells:
        found = _NUMERIC.fullmatch(cell)
        if found is None or not _year(found[3]):
            continue
        one, two = int(found[1]), int(found[2])
        as_dmy, as_mdy = _exists(found[3], two, one), _exists(found[3], one, two)
        if as_dmy and as_mdy:
            if one != two:
                either.append(cell)
        elif as_dmy:
            day_first.append(cell)
        elif as_mdy:
            month_first.append(cell)
    if said:
        return said, ""
    if day_first and month_first:
        for order, more, fewer in (("dmy", day_first, month_first), ("mdy", month_first, day_first)):
            if len(more) >= OUTNUMBERS * len(fewer):
                first = {"dmy": "day", "mdy": "month"}[order]
                return order, f"{header}: {len(more)} dates have the {first} first; against it stands {fewer[0]!r}."
        raise InputError(
            f"column {header}",
            month_first[0],
            f"has the month first, and {day_first[0]!r} the day",
            "say which holds: --dates dmy or --dates mdy",
        )
    if day_first or month_first:
        return ("dmy" if day_first else "mdy"), ""
    if either:
        raise InputError(
            f"column {header}",
            either[0],
            "can have the day or the month first, as all its dates can",
            "say which: --dates dmy or --dates mdy",
        )
    return "", ""


def moment(cell: str, order: str) -> Moment | None:
    """The date in a cell, with the time if one stands there; None when it is none in that order."""
    if found := _ISO.fullmatch(cell):
        year, month, day, rest = found[1], int(found[2]), int(found[3]), found[4]
    elif found := _NUMERIC.fullmatch(cell):
        if order == "iso":
            return None
        one, two = int(found[1]), int(found[2])
        if one != two and order not in ("dmy", "mdy"):
            return None
        day, month = (one, two) if order == "dmy" else (two, one)
        year, rest = found[3], found[4]
    elif found := _DAY_WORD.fullmatch(cell):
        day, month, year, rest = int(found[1]), _month(found[2]), found[3], found[4]
    elif found := _WORD_DAY.fullmatch(cell):
        day, month, year, rest = int(found[2]), _month(found[1]), found[3], found[4]
    else:
        return None
    if not _exists(year, month, day):
        return None
    time = time_of_day(rest) if rest else ""
    return None if time is None else Moment(f"{_year(year):04}-{month:02}-{day:02}", time)


def time_of_day(cell: str) -> str | None:
    """The time in a cell as ``15:40:00``; None when it is none."""
    found = _TIME.fullmatch(cell.strip())
    if found is None or found[5]:
        return None
    hour, minute, second = int(found[1]), int(found[2]), int(found[3] or 0)
    if found[4]:
        if not 1 <= hour <= 12:
            return None
        hour = hour % 12 + (12 if found[4][0] in "pP" else 0)
    return f"{hour:02}:{minute:02}:{second:02}" if hour < 24 and minute < 60 and second < 60 else None


def _month(word: str) -> int:
    low = word.casefold()
    return next((i for i, name in enumerate(_MONTHS, start=1) if name.startswith(low) or low == f"{name[:3]}t"), 0)


def _year(written: str) -> int:
    """The year, two digits meaning 2000 to 2099; 0 beyond what can be meant."""
    year = int(written) + (2000 if len(written) == 2 else 0)
    return year if _FIRST_YEAR <= year <= _LAST_YEAR else 0


def _exists(year: str, month: int, day: int) -> bool:
    return bool(_year(year)) and 1 <= month <= 12 and 1 <= day <= monthrange(_year(year), month)[1]
