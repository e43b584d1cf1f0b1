"""What stands in each column of a forecast? A table with a header, a service's saved JSON, or lines typed by hand.

Columns are found by the words in their names, units by what stands in the header or behind the numbers. Nothing is
guessed: a temperature without a unit is asked about. The JSON is the plain shape many open services share: an object
``hourly`` with one array per quantity and one called ``time``, the units beside it in ``hourly_units``, and where the
times have no zone of their own ``utc_offset_seconds``.
"""

from __future__ import annotations

import csv
import json
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from chaffinch.errors import InputError, one_of

MOST_CHARACTERS: Final = 20_000_000
"""Largest forecast that is read [characters]; 20,000 rows take about 1 MB."""
MOST_ROWS: Final = 200_000
MOST_ABOVE: Final = 30
"""Lines among which a header is looked for that is not the first [1]; own figure."""
FORMS: Final = "2026-09-02T14:00-06:00"
LARGEST: Final = 1e6
"""Numbers of a saved JSON are below it; no quantity read here comes near."""
QUANTITIES: Final = ("temperature", "humidity", "dew", "wind", "cloud")

_WORDS: Final[Mapping[str, frozenset[str]]] = {
    "time": frozenset(("time", "datetime", "timestamp", "valid", "when")),
    "date": frozenset(("date", "day")),
    "hour": frozenset(("hour", "hr", "clock")),
    "temperature": frozenset(("temperature", "temp", "temperatur", "t2m", "tmp", "tair")),
    "humidity": frozenset(("humidity", "rh", "humid", "hum")),
    "dew": frozenset(("dew", "dewpoint", "td")),
    "wind": frozenset(("wind", "windspeed", "ws")),
    "cloud": frozenset(("cloud", "clouds", "cloudcover", "cloudiness")),
}
_OTHER: Final = frozenset(
    ("apparent", "feels", "soil", "wet", "wetbulb", "max", "min", "maximum", "minimum", "gust", "gusts", "direction",
     "dir", "low", "mid", "high", "sea", "water", "zone", "80m", "100m", "120m", "180m", "specific", "absolute")
)  # fmt: skip
"""Words that make a column another quantity than ours."""
UNITS: Final[Mapping[str, Mapping[str, str]]] = {
    "temperature": {"c": "C", "celsius": "C", "degc": "C", "f": "F", "fahrenheit": "F", "degf": "F", "k": "K",
                    "kelvin": "K"},
    "humidity": {"%": "%", "pct": "%", "percent": "%", "share": "share", "fraction": "share", "0-1": "share"},
    "wind": {"km/h": "km/h", "kmh": "km/h", "kph": "km/h", "m/s": "m/s", "ms": "m/s", "mps": "m/s", "mph": "mph",
             "mp/h": "mph", "kn": "kn", "kt": "kn", "kts": "kn", "knots": "kn"},
}  # fmt: skip
"""How each unit may be written; the dew point goes with temperature, cloud with humidity."""
LIKE: Final = {"temperature": "temperature", "dew": "temperature", "humidity": "humidity", "cloud": "humidity",
               "wind": "wind"}  # fmt: skip
_NUMBER = re.compile(r"([+\-−]?(?:\d+(?:[.,]\d+)?|[.,]\d+))(.*)")
"""A number and what follows; blanks are taken off elsewhere, for a search that may begin at each takes their square."""
_BRACKETED = re.compile(r"[(\[]([^)\]]{1,20})[)\]]\s*$")
"""What stands in brackets at the end of a column's name: its unit, or one of these words."""
_NO_UNITS: Final = frozenset(("rel", "relative", "avg", "average", "mean", "air", "outdoor", "outside", "2m", "10m"))
_DATED = re.compile(r"\s*\"?\d{4}-\d{1,2}-\d{1,2}")
_EMPTY: Final = frozenset(("", "-", "–", "na", "n/a", "nan", "null", "none"))


@dataclass(frozen=True, slots=True)
class Rows:
    """Columns as they stand in a forecast.

    Attributes
    ----------
    times : list of str
        Date and hour of each row, as written.
    places : list of str
        How an error names each row: "line 7" or "hourly 6".
    columns : mapping of str to list of (float or None)
        By quantity; None where nothing stands.
    units : mapping of str to str
        By quantity: C, F, K, %, share, km/h, m/s, mph, kn, or "" where none is told.
    headers : mapping of str to str
        What each quantity's column is called there.
    zone : str
        Zone of times without one, like ``-06:00``; "" where none is told.
    typed : bool
        Times are hours of the day, not dates.
    """

    times: list[str]
    places: list[str]
    columns: Mapping[str, list[float | None]]
    units: Mapping[str, str]
    headers: Mapping[str, str]
    zone: str = ""
    typed: bool = False


def rows_in(text: str) -> Rows:
    """Read the columns of a forecast, whichever of the three shapes it has.

    Raises
    ------
    InputError
        For a text that is empty, too long, or lacks a column; the line and the column are named.
    """
    if len(text) > MOST_CHARACTERS:
        raise InputError("forecast", None, "is longer than 20 million characters", "give the hours of a few days")
    plain = text.lstrip("\ufeff").strip()
    if not plain:
        raise InputError("forecast", None, "is empty", "give a table with time, temperature and humidity")
    if plain.startswith(("{", "[")):
        return _of_json(plain)
    lines = plain.splitlines()
    first = lines[0]
    if _is_header(first):
        return _of_table(lines)
    below = next((n for n, line in enumerate(lines[:MOST_ABOVE], start=1) if _is_table_header(line)), None)
    if below is not None:
        mend = f"take the lines above it out; where they tell a zone, give times with it, like {FORMS}"
        raise InputError("forecast, line 1", first, f"stands before the header, which is in line {below}", mend)
    if _DATED.match(first):
        mend = "begin with a line like time,temperature (C),humidity (%)"
        raise InputError("forecast, line 1", first, "is no header, and a table with dates needs one", mend)
    return _of_typed(lines)


def _is_header(line: str) -> bool:
    words = set(re.split(r"[^a-z0-9]+", line.casefold()))
    return bool(words & (_WORDS["time"] | _WORDS["date"] | _WORDS["hour"] | _WORDS["temperature"]))


def _is_table_header(line: str) -> bool:
    """Whether a line names times and temperatures, as the header of a table does."""
    words = set(re.split(r"[^a-z0-9]+", line.casefold()))
    return any(words & _WORDS[when] for when in ("time", "date", "hour")) and bool(words & _WORDS["temperature"])


# --- a table with a header -----------------------------------------------------------------------------------------


def _of_table(lines: Sequence[str]) -> Rows:
    sign = max(";\t,", key=lines[0].count)
    try:
        table = list(csv.reader(lines, delimiter=sign))
    except csv.Error as error:
        raise InputError("forecast", None, f"is no table ({error})", "save it as plain text with commas") from None
    head = [cell.strip() for cell in table[0]]
    found, units = _columns(head)
    when = [k for k, name in enumerate(head) if _meaning(name) in ("time", "date", "hour")]
    if not when:
        raise InputError("forecast, header", lines[0], "has no column of times", "call one time, or date and hour")
    times: list[str] = []
    places: list[str] = []
    columns: dict[str, list[float | None]] = {name: [] for name in found}
    told: dict[str, set[str]] = {name: set() for name in found}
    for number, row in enumerate(table[1:], start=2):
        if not any(cell.strip() for cell in row):
            continue
        if len(row) != len(head):
            problem = f"has {len(row)} cells and the header {len(head)}"
            raise InputError(f"forecast, line {number}", sign.join(row), problem, "give one cell for each column")
        if len(times) >= MOST_ROWS:
            raise InputError(f"forecast, line {number}", None, f"is beyond {MOST_ROWS:,} rows", "give fewer days")
        times.append(" ".join(row[k].strip() for k in when))
        places.append(f"line {number}")
        for name, k in found.items():
            value, unit = _cell(row[k], f"forecast, line {number}, {head[k]}")
            columns[name].append(value)
            if unit:
                told[name].add(unit)
    headers = {name: head[k] for name, k in found.items()}
    return Rows(times, places, columns, _with_told(units, told, headers), headers)


def _columns(head: Sequence[str]) -> tuple[dict[str, int], dict[str, str]]:
    """Column and unit of each quantity.

    Raises
    ------
    InputError
        Where two columns could be one quantity.
    """
    found: dict[str, int] = {}
    units: dict[str, str] = {}
    for k, name in enumerate(head):
        meaning = _meaning(name)
        if meaning not in QUANTITIES:
            continue
        if meaning in found:
            both = f"{head[found[meaning]]}, {name}"
            raise InputError("forecast, header", both, f"could both be the {meaning}", "leave one of them")
        found[meaning], units[meaning] = k, _unit_in_header(name, meaning)
        told = _BRACKETED.search(name)
        if not units[meaning] and told is not None and told[1].casefold().replace(" ", "") not in _NO_UNITS:
            _refuse_unit(meaning, name, told[1].strip())
    return found, units


def _refuse_unit(quantity: str, header: str, told: str) -> None:
    """A unit that is told and none of ours: the figures would be taken for another quantity."""
    use = one_of(sorted(set(UNITS[LIKE[quantity]].values())))
    raise InputError(f"forecast, {quantity} ({header})", told, "is no unit of it", f"{use}, or leave the column out")


def _meaning(name: str) -> str:
    words = [w for w in re.split(r"[^a-z0-9%]+", name.casefold()) if w]
    joined = set(words) | {"".join(words[:2])}
    if joined & _OTHER:
        return ""
    for meaning in ("dew", "temperature", "humidity", "wind", "cloud", "date", "hour", "time"):
        if joined & _WORDS[meaning]:
            return meaning
    return ""


def _unit_in_header(name: str, meaning: str) -> str:
    known = UNITS[LIKE[meaning]]
    plain = name.casefold().replace("°", " ").replace("º", " ")
    parts = [p for p in re.split(r"[\s_()\[\],;:]+", plain) if p]
    for part in reversed(parts):
        if part in known:
            return known[part]
    return ""


# --- a service's saved JSON ----------------------------------------------------------------------------------------


def _of_json(text: str) -> Rows:
    try:
        whole = json.loads(text)
    except (ValueError, RecursionError) as error:
        # A ValueError too is a number of thousands of digits.
        where = f" at line {error.lineno}" if isinstance(error, json.JSONDecodeError) else ""
        raise InputError("forecast", None, f"is no JSON{where}", "save the service's answer whole") from None
    hourly = whole.get("hourly") if isinstance(whole, dict) else None
    if not isinstance(hourly, dict) or not isinstance(hourly.get("time"), list):
        mend = "it needs an object hourly with an array time and one array per quantity"
        raise InputError("forecast, hourly", None, "is missing", mend)
    given = whole.get("hourly_units")
    names = [name for name in hourly if name != "time"]
    found, units = _columns(names)
    headers = {name: names[k] for name, k in found.items()}
    for name, header in headers.items():
        written = given.get(header) if isinstance(given, dict) else None
        plain = "" if written is None else str(written).casefold().replace("°", "").strip()
        if plain and plain not in UNITS[LIKE[name]]:
            _refuse_unit(name, header, str(written))
        units[name] = UNITS[LIKE[name]].get(plain, units[name])
    times = [str(one) for one in hourly["time"]]
    if len(times) > MOST_ROWS:
        raise InputError("forecast, hourly, time", len(times), f"is more than {MOST_ROWS:,}", "give fewer days")
    columns: dict[str, list[float | None]] = {}
    for name, header in headers.items():
        row = hourly[header]
        if not isinstance(row, list) or len(row) != len(times):
            problem = f"must have {len(times)} values, as time has"
            raise InputError(f"forecast, hourly, {header}", None, problem, "save the service's answer whole")
        columns[name] = [_json_number(one, f"forecast, hourly, {header} {k}") for k, one in enumerate(row, start=1)]
    places = [f"hourly {k}" for k in range(1, len(times) + 1)]
    return Rows(times, places, columns, units, headers, _offset(whole.get("utc_offset_seconds")))


def _json_number(value: Any, field: str) -> float | None:
    if value is None:
        return None
    if isinstance(value, bool) or not isinstance(value, int | float) or not abs(value) < LARGEST:
        raise InputError(field, value, "is no number", "save the service's answer whole")
    return float(value)


def _offset(seconds: Any) -> str:
    if seconds is None:
        return ""
    if isinstance(seconds, bool) or not isinstance(seconds, int) or abs(seconds) > 50_400 or seconds % 60:
        problem = "is no distance from UTC"
        raise InputError("forecast, utc_offset_seconds", seconds, problem, "write it in whole seconds, like -21600")
    sign, minutes = ("-" if seconds < 0 else "+"), abs(seconds) // 60
    return f"{sign}{minutes // 60:02d}:{minutes % 60:02d}"


# --- typed by hand -------------------------------------------------------------------------------------------------


def _of_typed(lines: Sequence[str]) -> Rows:
    """Lines like ``14:00  24 °C  45 %  12 km/h``: hour, temperature, humidity, and wind where known."""
    times: list[str] = []
    places: list[str] = []
    columns: dict[str, list[float | None]] = {"temperature": [], "humidity": [], "wind": []}
    told: dict[str, set[str]] = {name: set() for name in columns}
    for number, line in enumerate(lines, start=1):
        if not line.strip():
            continue
        field = f"forecast, line {number}"
        parts = _typed_parts(line)
        if not 3 <= len(parts) <= 4:
            mend = "write hour, temperature and humidity, like 14:00 24 °C 45 %"
            raise InputError(field, line.strip(), "is no hour of a forecast", mend)
        times.append(parts[0])
        places.append(f"line {number}")
        for name, part in zip(columns, [*parts[1:], ""][:3], strict=True):
            value, unit = _cell(part, f"{field}, {name}")
            columns[name].append(value)
            if unit:
                told[name].add(unit)
    if all(one is None for one in columns["wind"]):
        del columns["wind"]
    headers = dict.fromkeys(columns, "typed")
    units = _with_told(dict.fromkeys(columns, ""), told, headers)
    return Rows(times, places, columns, units, headers, typed=True)


def _typed_parts(line: str) -> list[str]:
    """Pieces that begin with a number: a unit stays with the number before it."""
    pieces: list[str] = []
    for word in re.split(r"[\s;]+|,(?=\s)", line.strip()):
        if pieces and not re.match(r"[+\-−]?[.,]?\d", word):
            pieces[-1] += f" {word}"
        elif word:
            pieces.append(word)
    return pieces


def _cell(text: str, field: str) -> tuple[float | None, str]:
    """A number, and the unit that stands behind it."""
    if text.strip().casefold() in _EMPTY:
        return None, ""
    match = _NUMBER.fullmatch(text.strip())
    if match is None:
        raise InputError(field, text.strip(), "is no number", "write it like 12.5; leave the cell empty if unknown")
    unit = match[2].casefold().replace("°", "").replace("º", "").strip()
    return float(match[1].replace(",", ".").replace("−", "-")), unit


def _with_told(units: Mapping[str, str], told: Mapping[str, set[str]], headers: Mapping[str, str]) -> dict[str, str]:
    """Units of the header, or those behind the numbers where all say the same.

    Raises
    ------
    InputError
        Where they differ, or are none we know.
    """
    found = dict(units)
    for name in units:
        written = told[name]
        known = {UNITS[LIKE[name]].get(one, one) for one in written} | ({units[name]} if units[name] else set())
        strange = known - set(UNITS[LIKE[name]].values())
        if len(known) > 1 or strange:
            shown = ", ".join(sorted(known))
            problem = "is no unit of it" if strange else "stand side by side"
            use = sorted(set(UNITS[LIKE[name]].values()))
            raise InputError(f"forecast, {name} ({headers[name]})", shown, problem, one_of(use))
        found[name] = next(iter(known), units[name])
    return found
