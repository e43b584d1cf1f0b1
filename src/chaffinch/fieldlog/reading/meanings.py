"""What does a column of somebody's table mean, by its name?

Names are those of the trade in English, with or without the unit behind them: ``Grain flow (lb/s)``, ``swath_width_m``,
``MOIST_PCT``. A name that means something near but else (dry yield, target rate, average) is left out.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from types import MappingProxyType
from typing import Final

from chaffinch.errors import InputError, one_of
from chaffinch.fieldlog.rows import loss_reading
from chaffinch.units.factors import ACRE_M2, FOOT_M, INCH_M, MILE_M, POUND_G

CUT_AT: Final = 10
"""A shapefile keeps this many characters of a name [1]."""
_LB_KG: Final = POUND_G / 1000
_PER_ACRE_T_HA: Final = Fraction(10_000) / ACRE_M2 / 1000  # kg/ac in t/ha

UNITS: Final[Mapping[str, Mapping[str, float]]] = MappingProxyType(
    {
        "speed": {"km/h": 1.0, "m/s": 3.6, "mph": float(MILE_M / 1000), "ft/s": float(FOOT_M * Fraction(36, 10))},
        "length": {"m": 1.0, "cm": 0.01, "mm": 0.001, "ft": float(FOOT_M), "in": float(INCH_M)},
        "time": {"s": 1.0, "ms": 0.001, "min": 60.0},
        "flow": {
            "kg/s": 1.0,
            "t/h": 1 / 3.6,
            "kg/h": 1 / 3600,
            "lb/s": float(_LB_KG),
            "lb/min": float(_LB_KG / 60),
        },
        "yield": {
            "t/ha": 1.0,
            "dt/ha": 0.1,
            "kg/ha": 0.001,
            "lb/ac": float(_LB_KG * _PER_ACRE_T_HA),
            "tonne/ac": float(1000 * _PER_ACRE_T_HA),
            "ton/ac": float(2000 * _LB_KG * _PER_ACRE_T_HA),  # of 2,000 lb; "t/ac" may be either and is asked
            "bu/ac": float(_PER_ACRE_T_HA),  # times the weight of a bushel [kg]
        },
        "area_mass": {"kg/ha": 1.0, "lb/ac": float(_LB_KG * _PER_ACRE_T_HA * 1000), "t/ha": 1000.0},
        "share": {"%": 1.0, "share": 100.0, "ppm": 1e-4},
        "angle": {"deg": 1.0},
        "clock": {"elapsed": 1.0, "unix": 1.0, "gps": 1.0, "clock": 1.0},
        # Readings of a loss sensor and volumes, under our own names alone: nothing holds between them and the others.
        "ml/m2": {"ml/m2": 1.0},
        "seeds/m2": {"seeds/m2": 1.0},
        "ml/s": {"ml/s": 1.0},
        "l/s": {"l/s": 1.0},
        "l/ha": {"l/ha": 1.0},
        "kg/l": {"kg/l": 1.0},
        "g/s": {"g/s": 1.0},
        "seeds/s": {"seeds/s": 1.0},
        "none": {},
    }
)
"""Units a column may be in, in the unit of our own column; exact, from the base constants of ``units``."""

_SPELLED: Final = {
    "kmh": "km/h", "kph": "km/h", "kmph": "km/h", "km hr": "km/h", "km hour": "km/h", "km per hour": "km/h",
    "mi hr": "mph", "mile hour": "mph", "miles hour": "mph", "miles per hour": "mph", "m sec": "m/s",
    "t hr": "t/h", "kg hr": "kg/h", "kg sec": "kg/s", "tonne h": "t/h", "tonnes h": "t/h",
    "tonne ha": "t/ha", "tonnes ha": "t/ha", "tonnes hectare": "t/ha", "mg ha": "t/ha", "q ha": "dt/ha",
    "tonnes ac": "tonne/ac", "tonne acre": "tonne/ac", "tonnes acre": "tonne/ac",
    "tons ac": "ton/ac", "ton acre": "ton/ac", "tons acre": "ton/ac", "short tons ac": "ton/ac",
    "km h": "km/h", "m s": "m/s", "mps": "m/s", "mi h": "mph", "ft s": "ft/s",
    "kg s": "kg/s", "kgs": "kg/s", "t h": "t/h", "kg h": "kg/h", "lb s": "lb/s", "lbs s": "lb/s", "lb sec": "lb/s",
    "t ha": "t/ha", "kg ha": "kg/ha", "dt ha": "dt/ha", "lb ac": "lb/ac", "lbs ac": "lb/ac", "lb acre": "lb/ac",
    "bu ac": "bu/ac", "bu acre": "bu/ac", "metre": "m", "meters": "m", "metres": "m", "feet": "ft", "inch": "in",
    "inches": "in", "pct": "%", "percent": "%", "degrees": "deg", "deg": "deg", "sec": "s", "seconds": "s",
    "fraction": "share", "lb min": "lb/min",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Meaning:
    """What a column can mean: kind of its unit, names it goes by, and where the middle of working records may lie.

    ``low`` and ``high`` are own figures, in the unit of our column, wide enough for forage and for a walking pace.
    """

    kind: str
    words: tuple[str, ...]
    low: float = 0.0
    high: float = 0.0


MEANINGS: Final[Mapping[str, Meaning]] = MappingProxyType(
    {
        "lon_deg": Meaning("angle", ("longitude", "lon", "long", "lng", "x", "easting", "gps longitude")),
        "lat_deg": Meaning("angle", ("latitude", "lat", "y", "northing", "gps latitude")),
        "time_s": Meaning(
            "clock",
            ("time", "gps time", "timestamp", "time stamp", "datetime", "date time", "utc", "utc time", "local time",
             "elapsed", "elapsed time", "clock", "unix time", "epoch", "gps seconds", "iso time",
             "time utc", "time machine"),
        ),
        "date": Meaning("none", ("date", "day", "local date", "harvest date")),
        "interval_s": Meaning(
            "time",
            ("interval", "logging interval", "duration", "cycle time", "log interval", "time interval", "seconds"),
            0.1, 120.0,
        ),
        "distance_m": Meaning("length", ("distance", "dist", "travel distance", "distance travelled"), 0.1, 50.0),
        "width_m": Meaning(
            "length",
            ("width", "swath width", "swath", "header width", "cut width", "working width", "swth width", "wdth",
             "cutting width", "swth wdth", "effective width"),
            3.0, 19.0,
        ),
        "flow_kg_s": Meaning(
            "flow",
            ("flow", "grain flow", "mass flow", "flow rate", "crop flow", "grain mass flow", "crop flow m", "wet flow"),
            0.2, 150.0,
        ),
        "moisture_pct": Meaning("share", ("moisture", "moist", "grain moisture", "crop moisture", "moisture content"),
                                2.0, 80.0),
        "yield_t_ha": Meaning(
            "yield",
            ("yield", "yield wet", "wet yield", "yield mass", "crop yield", "yield mass wet", "yld", "yld mass wet",
             "yield wet mass", "grain yield"),
            0.3, 120.0,
        ),
        "speed_kmh": Meaning("speed", ("speed", "ground speed", "velocity", "gps speed", "travel speed"), 0.8, 25.0),
        "heading_deg": Meaning("angle", ("heading", "track", "course", "direction", "bearing", "track angle")),
        "elevation_m": Meaning("length", ("elevation", "altitude", "alt", "elev", "height"), -450.0, 6000.0),
        "in_work": Meaning("none", ("in work", "work state", "working", "harvesting", "cutting", "header down",
                                    "area count")),
        "gnss_status": Meaning("none", ("gnss status", "gps status", "fix", "fix quality", "position status")),
        "section": Meaning("none", ("section", "section id", "section number")),
        "loss_kg_ha": Meaning("area_mass", ("loss", "grain loss", "crop loss"), 0.0, 1e5),
        "loss_share_pct": Meaning("share", ("loss share", "loss percent", "loss percentage"), 0.0, 100.0),
        "loss_ml_m2": Meaning("ml/m2", ("loss ml m2",), 0.0, 1e5),
        "loss_seeds_m2": Meaning("seeds/m2", ("loss seeds m2",), 0.0, 1e6),
        "loss_ml_s": Meaning("ml/s", ("loss ml s",), 0.0, 1e6),
        "loss_g_s": Meaning("g/s", ("loss g s",), 0.0, 1e6),
        "loss_seeds_s": Meaning("seeds/s", ("loss seeds s",), 0.0, 1e7),
        "volume_flow_l_s": Meaning("l/s", ("volume flow l s",), 0.0, 1e3),
        "volume_yield_l_ha": Meaning("l/ha", ("volume yield l ha",), 0.0, 1e6),
        "density_kg_l": Meaning("kg/l", ("density kg l",), 0.0, 3.0),
        "machine": Meaning("none", ("machine", "combine", "serial", "serial number", "machine id", "vehicle", "device",
                                    "machine name", "machine serial", "harvester")),
        "field": Meaning("none", ("field", "field id", "field name", "paddock", "block")),
        "part": Meaning("none", ("part", "part no", "log", "log no", "segment", "load", "load no", "file")),
    }
)  # fmt: skip
"""Everything a column can mean; the last three part the records, ``date`` completes a time."""

_SOMETHING_ELSE: Final = frozenset(
    (
        "dry", "corrected", "adjusted", "target", "max", "min", "maximum", "minimum", "average", "avg", "avgd",
        "total", "set", "setpoint", "estimated", "volume", "vol", "cross", "offset", "error", "raw", "count", "prev",
        "previous", "accumulated", "cumulative", "engine", "fuel", "rotor", "fan", "temperature", "cost", "price",
        "variance", "sd", "std", "rows",
    )
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Matched:
    """A column of a table: its header, what it means (empty: left out), and its unit (empty: not yet known)."""

    header: str
    meaning: str = ""
    unit: str = ""
    said: bool = False

    def written(self) -> str:
        """As a person writes it: ``flow_kg_s:lb/s``, ``field``, or ``-``."""
        return f"{self.meaning or '-'}{':' if self.unit else ''}{self.unit}"


def match(headers: Sequence[str], units_row: Sequence[str], said: Mapping[str, str]) -> list[Matched]:
    """What each column means; that of one of several loss sensors means nothing here, see :func:`sensors_of`.

    Parameters
    ----------
    headers : sequence of str
    units_row : sequence of str
        Units from a row below the headers; empty where there is none.
    said : mapping of str to str
        What a person said: ``{"Flow": "flow_kg_s:lb/s", "Bin": "-"}``; it goes before any guess.

    Raises
    ------
    InputError
        When a person names a column that is not there, or a meaning or unit there is not.
    """
    folded = {name.strip().casefold(): i for i, name in enumerate(headers)}
    found: dict[int, Matched] = {}
    for name, meant in said.items():
        at = folded.get(name.strip().casefold())
        if at is None:
            raise InputError("column", name, "is not in the table", one_of(headers[:40]))
        found[at] = Matched(headers[at], said=True) if is_sensor(meant.strip()) else _as_said(headers[at], meant)
    for i, name in enumerate(headers):
        if is_sensor(name) and i not in found:
            found[i] = Matched(name, said=True)
    taken = {m.meaning for m in found.values()}
    offers = []
    for i, name in enumerate(headers):
        if i in found:
            continue
        below = _unit(units_row[i]) if i < len(units_row) else ""
        for meaning, known in MEANINGS.items():
            score, unit = _likeness(name, known, below)
            if score > 0.0:
                offers.append((score, i, meaning, unit))
    for _, i, meaning, unit in sorted(offers, key=lambda o: (-o[0], o[1])):
        if i not in found and meaning not in taken:
            found[i] = Matched(headers[i], meaning, unit)
            taken.add(meaning)
    return [found.get(i, Matched(name)) for i, name in enumerate(headers)]


def is_sensor(meaning: str) -> bool:
    """Whether a name is that of a column of one of several loss sensors, like ``loss_left_sieve_g_s``."""
    reading = loss_reading(meaning)
    return reading is not None and reading[1] != ""


def sensors_of(headers: Sequence[str], said: Mapping[str, str]) -> dict[str, str]:
    """Columns of several loss sensors, by header: under our own names, or said to be such."""
    folded = {name.strip().casefold(): name for name in headers}
    told = {folded.get(name.strip().casefold(), ""): meant.strip() for name, meant in said.items()}
    own = {name: name for name in headers if is_sensor(name)}
    return {header: meant for header, meant in {**own, **told}.items() if header and is_sensor(meant)}


def _as_said(header: str, meant: str) -> Matched:
    meaning, _, unit = meant.strip().partition(":")
    meaning, unit = meaning.strip(), unit.strip()
    if meaning in ("-", ""):
        return Matched(header, said=True)
    if meaning not in MEANINGS:
        raise InputError(f"column {header}", meaning, "is nothing a column can mean", f"use -, {', '.join(MEANINGS)}")
    units = UNITS[MEANINGS[meaning].kind]
    if unit and unit not in units:
        way = f"use {', '.join(units)}" if units else f"write {meaning} alone"
        raise InputError(f"column {header}", unit, f"is no unit of {meaning}", way)
    return Matched(header, meaning, unit, said=True)


def _likeness(name: str, known: Meaning, below: str) -> tuple[float, str]:
    """How near a name is to a meaning (0: not at all), and the unit found in it or below it."""
    best = (0.4, "") if _cut(name, known.words) else (0.0, "")
    for words, found in _parted(name):
        unit = found
        if known.kind == "clock" and unit == "s":
            unit = ""  # seconds, from a start that the name does not tell
        if unit and unit not in UNITS[known.kind]:
            continue
        if not _SOMETHING_ELSE.isdisjoint(words) and " ".join(words) not in known.words:
            continue
        score = _nearness(words, known.words)
        if score:
            best = max(best, (score + (0.01 if unit else 0.0), unit))
    score, unit = best
    if score and below:
        return (score, below) if below in UNITS[known.kind] else (0.0, "")
    return best


def _cut(name: str, known: Sequence[str]) -> bool:
    """Whether a name is one of ours after a shapefile cut it to ten characters."""
    plain = re.sub(r"[\s_]+", "_", name.strip().casefold())
    return len(plain) == CUT_AT and any(k.replace(" ", "_")[:CUT_AT] == plain for k in known if len(k) > CUT_AT)


def _nearness(words: list[str], known: Sequence[str]) -> float:
    text = " ".join(words)
    if text in known:
        return 1.0 - 0.001 * known.index(text)
    mine = set(words)
    inside = [len(set(k.split())) / len(mine) for k in known if len(k) > 1 and set(k.split()) <= mine]
    share = max(inside, default=0.0)
    return 0.5 * share if share >= 0.5 else 0.0


def _parted(name: str) -> list[tuple[list[str], str]]:
    """Ways of parting a header into words and a unit."""
    brackets = [_unit(b) for b in re.findall(r"[(\[]([^()\[\]]*)[)\]]", name)]
    plain = re.sub(r"[(\[][^()\[\]]*[)\]]", " ", name)
    # What stands by what is a unit, if none that is known: it says nothing of the meaning.
    notes = [b for b in re.findall(r"[(\[]([^()\[\]]*)[)\]]", name) if not _unit(b) and "/" not in b]
    words = [w for w in re.split(r"[^\w%°]+|_", " ".join([plain, *notes]).casefold()) if w]
    unit = next((b for b in reversed(brackets) if b), "")
    if unit:
        return [(words, unit)]
    tails = [(words[:-n], _unit(" ".join(words[-n:]))) for n in (1, 2, 3) if len(words) > n]
    return [(words, ""), *((rest, tail) for rest, tail in tails if tail)]


def _unit(text: str) -> str:
    plain = " ".join(re.split(r"[\s_/]+", text.strip(" ()[]").casefold()))
    if plain in _SPELLED:
        return _SPELLED[plain]
    return next((u for units in UNITS.values() for u in units if plain == u.replace("/", " ") and plain), "")
