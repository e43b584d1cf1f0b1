"""Which rows of a spreadsheet are one stop, and when was it?

Rows of the same date, time, field and combine are one check with several catches. Without a time of day, another speed
or another crop is another stop of that day.
"""

from __future__ import annotations

import uuid
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta, timezone, tzinfo
from typing import Any, Final

from chaffinch.book.wallclock import utc_of
from chaffinch.errors import InputError
from chaffinch.sync.envelope import canonical

ID_SPACE: Final = uuid.uuid5(uuid.NAMESPACE_OID, "chaffinch spreadsheet 1")
"""Ids of what comes from a spreadsheet are made from its content within this space: the same rows, the same id."""

NOON: Final = "12:00:00"
"""Time of day under which a stop without one is filed."""

_NAMES: Final = ("field", "combine", "operator", "stop")
_OF_A_CATCH: Final = {
    "pan": "pan",
    "pan_width": "width",
    "pan_length": "length",
    "step": "step",
    "moisture": "moisture",
    "caught_for": "time",
    "note": "note",
}
"""Meanings that belong to one catch, with their keys in a check file."""
_OF_A_STOP: Final = ("yield", "price", "limit", "speed", "tkw", "cut_width", "drop_width", "spread_width")
READINGS: Final = ("amount", "count", "volume")


@dataclass(frozen=True, slots=True)
class Stop:
    """Rows that are one stop.

    Attributes
    ----------
    id : str
        Made from the content below, so that the same rows give the same id on every device.
    rows : tuple of int
        Their numbers, one for each catch.
    taken_at : str
        In UTC.
    when : str
        As the sheet has it: ``2026-08-21 15:40:00``, or the date alone.
    names : mapping
        ``field``, ``combine``, ``operator`` and ``stop``, where said.
    table : mapping
        What holds for the whole stop, by meaning; quantities with a decimal point and their unit.
    catches : tuple of mapping
        Keys and values of each catch as in a check file.
    """

    id: str
    rows: tuple[int, ...]
    taken_at: str
    when: str
    names: Mapping[str, str]
    table: Mapping[str, Any]
    catches: tuple[Mapping[str, Any], ...]

    def only(self, places: Sequence[int]) -> Stop:
        """The stop with only some of its rows (by place in ``rows``), and the id that goes with them."""
        catches = tuple(self.catches[i] for i in places)
        rows = tuple(self.rows[i] for i in places)
        return replace(self, id=_id_of(self.when, self.names, self.table, catches), rows=rows, catches=catches)


def _id_of(when: str, names: Mapping[str, str], table: Mapping[str, Any], catches: Sequence[Mapping[str, Any]]) -> str:
    """Id of a stop from its content: neither the file, nor the order of its rows, nor the book comes into it."""
    folded = {name: _folded(value) for name, value in names.items()}
    content = [when, folded, dict(table), sorted(canonical(catch).decode() for catch in catches)]
    return str(uuid.uuid5(ID_SPACE, canonical(content).decode()))


class BadCell(Exception):  # noqa: N818 (caught by read_rows, which lists it)
    """A cell that refuses its row."""

    def __init__(self, meaning: str, value: str, why: str, header: str = "") -> None:
        self.meaning, self.value, self.why, self.header = meaning, value, why, header
        super().__init__(why)


@dataclass
class _Open:
    """A stop that rows may still join."""

    date: str
    time: str
    names: dict[str, str]
    table: dict[str, Any] = field(default_factory=dict)
    rows: list[int] = field(default_factory=list)
    catches: list[dict[str, Any]] = field(default_factory=list)

    def disagrees(self, names: Mapping[str, str], table: Mapping[str, Any]) -> str:
        """The first meaning in which this stop and a row both say something, and not the same."""
        mine: dict[str, Any] = {**self.names, **self.table}
        other: dict[str, Any] = {**names, **table}
        return next((m for m, v in other.items() if m in mine and _folded(mine[m]) != _folded(v)), "")

    def finished(self, zone: tzinfo | None) -> Stop:
        """The stop as it is now known; a `BadCell` for an hour that its clocks skip, or show twice."""
        when = f"{self.date} {self.time}".strip()
        wall = datetime.fromisoformat(f"{self.date}T{self.time or NOON}")
        try:
            utc = utc_of(wall, zone, field="time", shown=when)
        except InputError as error:
            mend = "write another hour, or give all times in one offset from UTC: --zone -06:00"
            raise BadCell("time", when, f"{error.problem}; {mend}") from None
        return Stop(
            _id_of(when, self.names, self.table, self.catches),
            tuple(self.rows),
            utc.strftime("%Y-%m-%dT%H:%M:%SZ"),
            when,
            self.names,
            self.table,
            tuple(self.catches),
        )


class Stops:
    """Gathers rows into stops."""

    def __init__(self) -> None:
        self.all: list[_Open] = []
        self._by_key: dict[tuple[str, ...], list[_Open]] = {}

    def add(self, number: int, row: dict[str, Any]) -> None:
        """Put one row where it belongs; a `BadCell` when it contradicts the stop it names."""
        found = row["date"]
        if found.time and "time" in row:
            raise BadCell("time", row["time"], "stands beside a date that has a time; keep one of them")
        time = found.time or row.get("time", "")
        names: dict[str, str] = {name: row[name] for name in _NAMES if name in row}
        table: dict[str, Any] = {m: row[m] for m in (*_OF_A_STOP, "crop", "spreading") if m in row}
        catch: dict[str, Any] = {key: row[meaning] for meaning, key in _OF_A_CATCH.items() if meaning in row}
        catch |= {"place": row["place"], "amount": next(row[m] for m in READINGS if m in row)}
        key = (found.date, time, *(_folded(names.get(name, "")) for name in ("field", "combine", "stop")))
        here = self._by_key.setdefault(key, [])
        stop = next((one for one in reversed(here) if not one.disagrees(names, table)), None)
        if stop is None and here and (time or "stop" in names):
            other = here[-1]
            meaning = other.disagrees(names, table)
            raise BadCell(
                meaning,
                str({**names, **table}[meaning]),
                f"differs from row {other.rows[0]}, which is of the same stop; correct one, or give another time",
            )
        if stop is None:
            # Without a time of day, another speed or setting is another stop of that day.
            stop = _Open(found.date, time, {})
            self.all.append(stop)
            here.append(stop)
        stop.names |= {name: value for name, value in names.items() if name not in stop.names}
        stop.table |= table
        stop.rows.append(number)
        stop.catches.append(catch)


def _folded(value: Any) -> Any:
    return value.casefold() if isinstance(value, str) else value


def zone_of(said: str) -> tuple[tzinfo | None, str]:
    """The zone of the sheet's times; None for this computer's own, with a notice."""
    if not said or said == "local":
        return None, "Times of day were taken in this computer's own time zone; --zone says another."
    if said.upper() in ("UTC", "Z"):
        return UTC, ""
    sign, rest = said[:1], said[1:]
    hours, _, minutes = rest.partition(":")
    if sign in "+-" and hours.isdigit() and (minutes or "0").isdigit() and int(hours) <= 14 and int(minutes or 0) < 60:
        offset = timedelta(hours=int(hours), minutes=int(minutes or 0))
        return timezone(-offset if sign == "-" else offset), ""
    from zoneinfo import ZoneInfo

    try:
        return ZoneInfo(said), ""
    except (OSError, ValueError, LookupError):
        raise InputError("zone", said, "is no time zone this computer knows", "write an offset, like -06:00") from None
