"""Where do the records of a file larger than memory wait? On disk, part by part, a plain file for each column.

Records are put on the shelf as they are read and taken off field by field, as a whole or in pieces. A piece ends where
the machine was silent, or where a part ends, so that no pass and no stretch is ever cut.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Final

import numpy as np

from chaffinch.errors import InputError
from chaffinch.fieldlog.rows import FloatArray, Part, Rows

MOST_PARTS: Final = 5_000
"""Most parts one file is parted into [1]; more means that a column is a number of records. Own figure."""
RUN: Final = 1 << 18
"""Records of a column that are looked at together [1]; own figure."""
_FLOAT: Final = np.dtype(np.float64)


class Shelf:
    """Records on disk.

    Parameters
    ----------
    folder : Path
        An empty one.
    """

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._number: dict[tuple[str, str, str], int] = {}
        self.columns: tuple[str, ...] = ()
        self.parts: list[Part] = []
        self.counts: list[int] = []

    @property
    def records(self) -> int:
        """How many there are."""
        return sum(self.counts)

    def add(self, rows: Rows) -> None:
        """Put records behind those that are there; what was worked out and not read is left out.

        Raises
        ------
        InputError
            Where they would make too many parts.
        """
        read = [name for name in rows.columns if name not in rows.derived]
        fresh = [name for name in read if name not in self.columns]
        self.columns = (*self.columns, *fresh)
        for name in fresh:
            # A column that only now begins to tell something was missing before.
            for number, count in enumerate(self.counts):
                self._write(number, name, np.full(count, np.nan))
        for own, where in rows.part_slices():
            part = rows.parts[own]
            key = (part.field, part.machine, part.name)
            number = self._number.setdefault(key, len(self.parts))
            if number == len(self.parts):
                if number == MOST_PARTS:
                    problem = "would be parted into more parts than any log has"
                    raise InputError("log", number, problem, 'leave the parting column out, as in "part=-"')
                self.parts.append(part)
                self.counts.append(0)
            size = where.stop - where.start
            for name in self.columns:
                values = rows.columns[name][where] if name in read else np.full(size, np.nan)
                self._write(number, name, values)
            self.counts[number] += size

    def fields(self) -> list[ShelfField]:
        """The fields, by name, each with its parts in the order they began."""
        names = sorted({part.field for part in self.parts})
        return [ShelfField(self, [k for k, part in enumerate(self.parts) if part.field == name]) for name in names]

    def read(self, part: int, column: str, begin: int, end: int) -> FloatArray:
        """Some records of a column of a part."""
        where = self._path(part, column)
        return np.fromfile(where, _FLOAT, count=end - begin, offset=begin * _FLOAT.itemsize)

    def drop(self, part: int) -> None:
        """Forget the records of a part."""
        for column in self.columns:
            self._path(part, column).unlink(missing_ok=True)

    def _write(self, part: int, column: str, values: FloatArray) -> None:
        with self._path(part, column).open("ab") as file:
            file.write(np.ascontiguousarray(values, np.float64).data)

    def _path(self, part: int, column: str) -> Path:
        return self._folder / f"{part:05d}.{self.columns.index(column):03d}"


class ShelfField:
    """The records of one field, numbered from 0 through all its parts.

    Parameters
    ----------
    shelf : Shelf
    numbers : sequence of int
        Its parts.
    """

    def __init__(self, shelf: Shelf, numbers: Sequence[int]) -> None:
        self.shelf, self.numbers = shelf, tuple(numbers)
        self.starts = np.cumsum([0, *(shelf.counts[k] for k in self.numbers)])

    @property
    def records(self) -> int:
        """How many there are."""
        return int(self.starts[-1])

    def rows(self, begin: int, end: int) -> Rows:
        """Records from ``begin`` to before ``end``, as they were read."""
        spans = list(self._spans(begin, end))
        columns = {
            name: np.concatenate([self.shelf.read(part, name, a, b) for part, a, b in spans] or [np.zeros(0)])
            for name in self.shelf.columns
        }
        part = np.repeat([p for p, _, _ in spans], [b - a for _, a, b in spans]).astype(np.int64)
        return Rows(columns, part, tuple(self.shelf.parts))

    def walk(self, column: str, parts: Sequence[int] | None = None) -> Iterator[tuple[int, FloatArray]]:
        """A column part by part, in runs of at most ``RUN`` records: (part, values)."""
        for part in self.numbers if parts is None else parts:
            count = self.shelf.counts[part]
            for begin in range(0, count, RUN):
                yield part, self.shelf.read(part, column, begin, min(begin + RUN, count))

    def drop(self) -> None:
        """Forget all its records."""
        for part in self.numbers:
            self.shelf.drop(part)

    def _spans(self, begin: int, end: int) -> Iterator[tuple[int, int, int]]:
        for part, start, stop in zip(self.numbers, self.starts[:-1].tolist(), self.starts[1:].tolist(), strict=True):
            a, b = max(begin, start), min(end, stop)
            if a < b:
                yield part, a - start, b - start
