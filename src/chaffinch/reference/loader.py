"""How is a reference file read, and what must be true of every figure in it?

A figure is a number that knows its unit, where it came from and how: ``printed`` (read in the source),
``memory`` (from memory, not confirmed in a source) or ``derived`` (our own arithmetic on the sources it
names). Only the file that is asked for is opened, and whatever breaks the rules raises
:class:`~chaffinch.errors.ReferenceDataError` naming the file and the key.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import TYPE_CHECKING, Any

from chaffinch.errors import ReferenceDataError

if TYPE_CHECKING:
    from importlib.resources.abc import Traversable

ORIGINS = ("printed", "memory", "derived")

_FIGURE_KEYS = {"value", "unit", "source", "origin", "note"}


@dataclass(frozen=True, slots=True)
class Figure:
    """One published, remembered or derived number.

    Parameters
    ----------
    value : float
        The number. [``unit``]
    unit : str
        Its unit as the trade writes it: ``"lb/bu"``, ``"kg/hL"``, ``"%"``; ``"1"`` for a pure number.
    source : str
        Source id, or several parted by commas when a derived figure rests on several; see :func:`source`.
    origin : str
        ``"printed"``, ``"memory"`` or ``"derived"``.
    note : str
        What a reader must know before using it; empty when there is nothing to say.
    """

    value: float
    unit: str
    source: str
    origin: str
    note: str = ""

    @property
    def source_ids(self) -> tuple[str, ...]:
        """The ids in ``source``, one by one."""
        return tuple(part.strip() for part in self.source.split(","))


class Table:
    """One table of a reference file, read key by key, that can say where it stands.

    Parameters
    ----------
    file : str
        The file's name inside the room, for error messages: ``"crops/canola.toml"``.
    rows : Mapping
        The table as parsed.
    where : str
        Dotted place of the table in the file; empty for the whole file.
    """

    def __init__(self, file: str, rows: Mapping[str, Any], where: str = "") -> None:
        self.file = file
        self.rows = rows
        self.where = where

    def damaged(self, key: str, problem: str) -> ReferenceDataError:
        """Return the error to raise for ``key``."""
        place = ".".join(part for part in (self.where, key) if part)
        return ReferenceDataError(f"{self.file}: {place}: {problem}" if place else f"{self.file}: {problem}")

    def allow(self, *keys: str) -> None:
        """Raise unless every key of the table is one of ``keys``: a mistyped key must not pass unread."""
        for key in self.rows:
            if key not in keys:
                raise self.damaged(key, f"is not one of {', '.join(keys)}")

    def text(self, key: str, default: str | None = None) -> str:
        """Return a non-empty string, or ``default`` where one is given and the key is absent."""
        value = self.rows.get(key, default)
        if not isinstance(value, str) or (default is None and not value.strip()):
            raise self.damaged(key, "must be a non-empty string")
        return value

    def texts(self, key: str) -> tuple[str, ...]:
        """Return a list of non-empty strings."""
        value = self.rows.get(key)
        if not isinstance(value, list) or not all(isinstance(item, str) and item.strip() for item in value):
            raise self.damaged(key, "must be a list of non-empty strings")
        return tuple(value)

    def flag(self, key: str, default: bool | None = None) -> bool:
        """Return true or false, or ``default`` where one is given and the key is absent."""
        value = self.rows.get(key, default)
        if not isinstance(value, bool):
            raise self.damaged(key, "must be true or false")
        return value

    def number(self, key: str, *, positive: bool = True) -> float:
        """Return a finite number, above 0 unless ``positive`` is false."""
        value = self.rows.get(key)
        if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
            raise self.damaged(key, "must be a finite number")
        if positive and value <= 0:
            raise self.damaged(key, f"must be above 0 (got {value})")
        return float(value)

    def table(self, key: str) -> Table:
        """Return the table under ``key``."""
        value = self.rows.get(key)
        if not isinstance(value, dict):
            raise self.damaged(key, "must be a table")
        return Table(self.file, value, f"{self.where}.{key}" if self.where else key)

    def tables(self, key: str) -> Iterator[Table]:
        """Yield the tables of an array of tables, numbered from 1 in messages."""
        value = self.rows.get(key)
        if not isinstance(value, list) or not all(isinstance(item, dict) for item in value):
            raise self.damaged(key, "must be an array of tables")
        for place, item in enumerate(value, start=1):
            yield Table(self.file, item, f"{self.where}, {key} {place}" if self.where else f"{key} {place}")

    def figure(self, key: str, unit: str | None, *, positive: bool = True) -> Figure:
        """Return the figure under ``key``.

        Parameters
        ----------
        key : str
            Its key.
        unit : str or None
            The unit it must be written in; None where the file is free to choose.
        positive : bool
            Whether it must be above 0.

        Raises
        ------
        ReferenceDataError
            A key missing or unknown, a value that is no finite number, another unit, an origin outside
            ``ORIGINS``, or a source that does not fit the origin.
        """
        table = self.table(key)
        table.allow(*sorted(_FIGURE_KEYS))
        figure = Figure(
            value=table.number("value", positive=positive),
            unit=table.text("unit"),
            source=table.text("source"),
            origin=table.text("origin"),
            note=table.text("note", default=""),
        )
        if unit is not None and figure.unit != unit:
            raise table.damaged("unit", f"must be {unit!r} (got {figure.unit!r})")
        if figure.origin not in ORIGINS:
            raise table.damaged("origin", f"must be one of {', '.join(ORIGINS)} (got {figure.origin!r})")
        if (figure.origin == "memory") != (figure.source == "memory"):
            raise table.damaged("source", "is 'memory' exactly when the origin is memory")
        if not all(figure.source_ids):
            raise table.damaged("source", "has an empty id between its commas")
        return figure

    def maybe_figure(self, key: str, unit: str) -> Figure | None:
        """Return the figure under ``key``, or None where the key is absent."""
        return self.figure(key, unit) if key in self.rows else None

    def figures(self, key: str, unit: str) -> Mapping[str, Figure]:
        """Return a read-only map of figures, one per country code; empty where the key is absent."""
        if key not in self.rows:
            return MappingProxyType({})
        table = self.table(key)
        return MappingProxyType({name: table.figure(name, unit) for name in table.rows})


def shelf() -> Traversable:
    """Return the folder of data files (a function so that tests can put a damaged copy in its place)."""
    from importlib.resources import files

    return files(__package__)


def read(file: str) -> Table:
    """Read one reference file.

    Parameters
    ----------
    file : str
        Its name inside the room, parted by slashes: ``"crops/canola.toml"``.

    Returns
    -------
    Table
        The whole file as a table.

    Raises
    ------
    ReferenceDataError
        The file is missing, is not UTF-8, or is not TOML.
    """
    import tomllib

    try:
        text = shelf().joinpath(*file.split("/")).read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise ReferenceDataError(f"{file}: cannot be read: {error}") from error
    try:
        return Table(file, tomllib.loads(text))
    except tomllib.TOMLDecodeError as error:
        raise ReferenceDataError(f"{file}: is not TOML: {error}") from error
