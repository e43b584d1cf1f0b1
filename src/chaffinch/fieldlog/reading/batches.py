"""How is a file larger than memory read? By its beginning it is decided what the columns mean; the rest is read alike.

The beginning is read as any file is, with the same questions. What it decides (layout, columns, units, clock, order of
day and month) then holds for every batch. A file read whole judges three things by all its rows, where this judges by
the first: the order of day and month, whether longitude and latitude are swapped, and in which way a clock is written.
"""

from __future__ import annotations

import codecs
from collections import Counter
from collections.abc import Callable, Generator, Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from chaffinch.fieldlog.answers import Answers, Found
from chaffinch.fieldlog.plane import step_m
from chaffinch.fieldlog.reading.meanings import match
from chaffinch.fieldlog.reading.places import WILD_SHARE, Places, no_degrees, to_degrees
from chaffinch.fieldlog.reading.tabled import found_in_table
from chaffinch.fieldlog.reading.textfile import HEAD_BYTES, even_lines, layout_of_text, lone_returns, table_of
from chaffinch.fieldlog.reading.timecolumn import STYLES, on_a_face, times
from chaffinch.fieldlog.reading.vectorfile import parquet_table, points_of
from chaffinch.fieldlog.rows import FloatArray, Problem, Rows

if TYPE_CHECKING:
    import polars as pl

TEXT: Final = (".csv", ".txt", ".tsv", ".tab", ".dat")
PARQUET: Final = (".parquet", ".geoparquet")
BLOCK_BYTES: Final = 16 << 20
"""Text read at once [bytes]: some 150,000 records. Own figure."""
BATCH_ROWS: Final = 1 << 18
"""Rows of a Parquet file read at once [1]; own figure."""
LARGE_BYTES: Final = 128 << 20
LARGE_ROWS: Final = 1_500_000
"""From where on a text [bytes] and a Parquet file [records] are worked through in batches; own figures: some 600 MB of
memory when held as a whole."""
_OF_THE_WHOLE: Final = "disagrees"  # problems that are medians over a table, not counts

Points = tuple[FloatArray, FloatArray]
Batch = tuple["pl.DataFrame", Points | None, list[Problem]]
"""A table, the points of its geometries [deg] where it has any, and the problems met."""


@dataclass(frozen=True, slots=True)
class Batches:
    """A large file, and how its batches are read.

    Parameters
    ----------
    name : str
        Of the file without its ending.
    found : Found
        What its beginning says, with the rows of the beginning.
    answers : Answers
        With everything the beginning decided.
    records_about : int
        How many records there are, about.
    batches : callable
        Tables of the file one after the other, each with its positions where they are geometries, problems met, and
        how much of the file is done: (done, of).
    """

    name: str
    found: Found
    answers: Answers
    records_about: int
    batches: Callable[[], Iterator[tuple[Batch, tuple[int, int]]]]


def is_large(path: Path) -> bool:
    """Whether a log is one plain file of text or Parquet too large to be held at once."""
    ending = path.suffix.lower()
    if not path.is_file():
        return False
    if ending in TEXT:
        return path.stat().st_size > LARGE_BYTES
    if ending in PARQUET:
        import polars as pl

        try:
            return _rows_of(path) > LARGE_ROWS
        except (pl.exceptions.PolarsError, OSError):
            return False  # whoever reads it says what is wrong
    return False


def batches_of(path: Path, answers: Answers) -> Batches | None:
    """Decide by the beginning of a file how it is read; None for one that cannot be read in batches.

    Raises
    ------
    InputError
        As :func:`chaffinch.fieldlog.reading.door.read_log`.
    """
    return _of_parquet(path, answers) if path.suffix.lower() in PARQUET else _of_text(path, answers)


def read_batches(large: Batches, progress: Callable[[int, int], None] | None = None) -> Iterator[Rows | list[Problem]]:
    """The records batch by batch, and last the problems of all of them together.

    Raises
    ------
    InputError
        As :func:`chaffinch.fieldlog.reading.door.read_log`; for positions that are no degrees when all were seen.
    """
    head = large.found
    kind, clock = head.kind, _clock(head)
    counted: Counter[tuple[str, str, str]] = Counter()
    said = [p for p in head.problems if _OF_THE_WHOLE in p.kind and not p.kind.startswith("yield disagrees")]
    known = wild = 0
    odd: Points | None = None
    for (table, points, met), done in large.batches():
        if not table.height:
            continue
        at, crs = (_columns_of_points(table, large.answers), large.answers.crs) if points is None else (points, "")
        where = None
        if at is not None:
            where, strange = _places(*at, crs)
            known += int((~(np.isnan(at[0]) | np.isnan(at[1]))).sum())
            wild += int(strange.sum())
            if strange.any() and odd is None:
                odd = (at[0][strange], at[1][strange])
        one = found_in_table(kind, large.name, table, large.answers, points=where, problems=met)
        for problem in one.problems:
            if _OF_THE_WHOLE not in problem.kind:
                counted[problem.kind, problem.where, problem.detail] += problem.count
        if one.rows is not None:
            yield replace(one.rows, parts=tuple(replace(part, clock=clock) for part in one.rows.parts))
        if progress is not None:
            progress(*done)
    if odd is not None and wild > WILD_SHARE * known:
        raise no_degrees(*odd, large.name)
    yield [*(Problem(kind, where, n, detail) for (kind, where, detail), n in counted.items()), *said]


def _clock(head: Found) -> Any:
    return "none" if head.rows is None else head.rows.parts[0].clock


def _decided(found: Found, table: pl.DataFrame, answers: Answers) -> Answers:
    """The answers, with all that the beginning told put in."""
    import polars as pl

    columns = dict(found.matched)
    by = {one.meaning: one for one in match(table.columns, (), columns) if one.meaning}
    if "time_s" in by and table[by["time_s"].header].dtype.is_numeric() and not by["time_s"].unit:
        header = by["time_s"].header
        if on_a_face(table[header].cast(pl.Float64).to_numpy(allow_copy=True).astype(np.float64)):
            unit = "clock"
        elif _clock(found) == "elapsed":
            unit = "elapsed"
        else:
            unit = "gps" if "gps" in header.casefold() else "unix"
        columns[header] = f"time_s:{unit}"
    dates = answers.dates
    if "time_s" in by and not dates:
        read = {style: times(table, by, Answers(dates=style)).time_s for style in STYLES}
        lost = {style: int(np.isnan(time).sum()) for style, time in read.items() if time is not None}
        dates = min(lost, key=lambda style: lost[style]) if lost else ""
    return replace(answers, columns=columns, dates=dates)


def _columns_of_points(table: pl.DataFrame, answers: Answers) -> Points | None:
    """Positions that are columns of their own."""
    import polars as pl

    by = {one.meaning: one.header for one in match(table.columns, (), answers.columns) if one.meaning}
    if "lon_deg" not in by or "lat_deg" not in by:
        return None
    x, y = (
        table[by[name]].cast(pl.Float64, strict=False).to_numpy(allow_copy=True).astype(np.float64)
        for name in ("lon_deg", "lat_deg")
    )
    return np.where(np.isfinite(x), x, np.nan), np.where(np.isfinite(y), y, np.nan)


def _places(x: FloatArray, y: FloatArray, crs: str) -> tuple[Places, Any]:
    """Positions, and which of them are no degrees: they are missing, and judged when all were seen."""
    if crs.strip():
        x, y = to_degrees(x, y, crs)
    strange = (np.abs(x) > 180.0) | (np.abs(y) > 90.0)
    bad = strange | ((x == 0.0) & (y == 0.0)) | np.isnan(x) | np.isnan(y)
    lon, lat = np.where(bad & ~np.isnan(x), np.nan, x), np.where(bad & ~np.isnan(y), np.nan, y)
    return Places(lon, lat, step_m(lon, lat)), strange


def _of_text(path: Path, answers: Answers) -> Batches | None:
    """A text of columns; None where letters are in two bytes each, lines end in an old way, or it is packed."""
    name = path.name.split(".")[0]
    utf8, marks, size = _looked_through(path)
    with path.open("rb") as file:
        start = file.read(HEAD_BYTES + 4)
    if start.startswith((b"\xff\xfe", b"\xfe\xff", b"\x1f\x8b")) or lone_returns(start):
        return None
    quoted = marks % 2 == 0
    blocks = _blocks(path, utf8=utf8, quoted=quoted)
    first = next(blocks, b"")
    blocks.close()
    layout = layout_of_text(first[:HEAD_BYTES].decode("utf-8", "ignore"), size > HEAD_BYTES, name, answers.decimals)
    rest = replace(layout, above=0)
    guessed = [] if utf8 is None else [Problem("letters guessed", name, 0, hex(utf8))]
    problems: list[Problem] = []
    table = table_of(first, layout, name, quoted=quoted, problems=problems)
    found = found_in_table("text", name, table, answers, units_row=layout.units_row, problems=problems)

    def batches() -> Iterator[tuple[Batch, tuple[int, int]]]:
        done = 0
        for number, block in enumerate(_blocks(path, utf8=utf8, quoted=quoted)):
            done += len(block)
            met: list[Problem] = list(guessed) if number == 0 else []
            rows = table_of(block, rest if number else layout, name, quoted=quoted, problems=met)
            yield (rows, None, met), (min(done, size), size)

    about = int(size / max(len(first), 1) * table.height)
    return Batches(name, found, _decided(found, table, answers), about, batches)


def _looked_through(path: Path) -> tuple[int | None, int, int]:
    """The first byte that is not UTF-8 (None: all are), how many quotation marks there are, and the size [bytes]."""
    decoder = codecs.getincrementaldecoder("utf-8")()
    wrong: int | None = None
    marks = size = 0
    with path.open("rb") as file:
        while block := file.read(BLOCK_BYTES):
            marks += block.count(b'"')
            size += len(block)
            if wrong is None:
                try:
                    decoder.decode(block)
                except UnicodeDecodeError as error:
                    wrong = error.object[error.start]
    return wrong, marks, size


def _blocks(path: Path, *, utf8: int | None, quoted: bool) -> Generator[bytes]:
    """The text in whole lines, as UTF-8 without a mark; a line break inside quotation marks ends none."""
    left = b""
    with path.open("rb") as file:
        begins = True
        while block := file.read(BLOCK_BYTES):
            if begins:
                block = block.removeprefix(b"\xef\xbb\xbf")
                begins = False
            data = left + block
            end = data.rfind(b"\n") + 1
            while quoted and end and data[:end].count(b'"') % 2:
                end = data.rfind(b"\n", 0, end - 1) + 1
            whole, left = data[:end], data[end:]
            if whole:
                yield even_lines(whole if utf8 is None else whole.decode("cp1252", "replace").encode())
        if left:
            yield even_lines(left if utf8 is None else left.decode("cp1252", "replace").encode())


def _of_parquet(path: Path, answers: Answers) -> Batches | None:
    count = _rows_of(path)

    def batch(begin: int) -> Batch:
        met: list[Problem] = []
        read = parquet_table(path, path, (begin, BATCH_ROWS))
        points = None if read.wkb is None else points_of(read.wkb, read.crs or answers.crs, path.name, met)
        return read.table, points, [*read.problems, *met]

    def batches() -> Iterator[tuple[Batch, tuple[int, int]]]:
        for begin in range(0, count, BATCH_ROWS):
            yield batch(begin), (min(begin + BATCH_ROWS, count), count)

    table, points, problems = batch(0)
    where = None if points is None else _places(*points, "")[0]
    found = found_in_table("Parquet", path.stem, table, answers, points=where, problems=problems)
    return Batches(path.stem, found, _decided(found, table, answers), count, batches)


def _rows_of(path: Path) -> int:
    import polars as pl

    return int(pl.scan_parquet(path).select(pl.len()).collect().item())
