"""What cells does somebody's own spreadsheet hold?

Bytes → text → cells. The encoding (UTF-8 or Windows-1252), the separator (comma, semicolon or tab), the row of headers
and a row of units below it are recognised; everything decided on the way is said in a notice.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

from chaffinch import units
from chaffinch.book.exchange.importing import Refused
from chaffinch.book.names import nfc
from chaffinch.errors import InputError

MOST_BYTES: Final = 50_000_000
"""Largest spreadsheet that is read [bytes]; 200,000 rows take about half of it."""
LONGEST_CELL: Final = 5_000  # [characters]
MOST_COLUMNS: Final = 200

_SEPARATORS: Final = {"\t": "tab", ";": "semicolon", ",": "comma"}
_LOOKED_AT: Final = 200  # rows that the separator is judged by
_LINE_END: Final = re.compile(r"\r\n|\n|\r")
_LONGEST_LINE: Final = 100_000  # [characters], below what the standard reader takes for one cell
_WORKBOOKS: Final = (b"PK\x03\x04", b"\xd0\xcf\x11\xe0")
_DATE_PATTERN: Final = re.compile(r"[ymdh:/. -]+", re.IGNORECASE)
_SAVE_AS: Final = "save the sheet as CSV, in UTF-8"


@dataclass(frozen=True, slots=True)
class Sheet:
    """The cells of a spreadsheet.

    Attributes
    ----------
    header : tuple of str
        Names of the columns; an empty one is called ``column 5``, a second of the same name ``Weight (2)``.
    units : tuple of str
        Units from a row of units below the header, empty texts without one.
    rows : tuple of (int, tuple of str)
        Row number as a spreadsheet shows it (the first row is 1), and a trimmed cell for every column.
    bad : tuple of Refused
        Rows that do not fit the header.
    notices : tuple of str
        What was decided.
    """

    header: tuple[str, ...]
    units: tuple[str, ...]
    rows: tuple[tuple[int, tuple[str, ...]], ...]
    bad: tuple[Refused, ...]
    notices: tuple[str, ...]

    @property
    def sample(self) -> tuple[tuple[str, ...], ...]:
        """The first rows, for matching columns by."""
        return tuple(cells for _, cells in self.rows[:_LOOKED_AT])


def open_sheet(data: bytes) -> Sheet:
    """Read the cells of a CSV file.

    Raises
    ------
    InputError
        For a file that is empty, too large, no text, of one column, or without a header.
    """
    text, notices = _decoded(data)
    text = nfc(text)  # the same rows give the same ids, however a device writes its accents
    separator = _separator(text)
    lines = _parsed(text, separator)
    first = next((i for i, (_, cells) in enumerate(lines) if sum(map(bool, cells)) >= 2), None)
    if first is None:
        raise InputError("spreadsheet", None, "has no row with two or more filled cells", "give a header and rows")
    if first:
        notices.append(f"The rows above the header (row {lines[first][0]}) were left out.")
    header = _unique(lines[first][1])
    if len(header) > MOST_COLUMNS:
        raise InputError("spreadsheet", f"{len(header)} columns", "is too wide", f"keep at most {MOST_COLUMNS}")
    rows: list[tuple[int, tuple[str, ...]]] = []
    bad: list[Refused] = []
    for number, cells in lines[first + 1 :]:
        if not any(cells):
            continue
        problem = _misfit(cells, len(header), separator)
        if problem:
            bad.append(Refused(f"row {number}", number, "", "", problem))
        else:
            rows.append((number, (*cells, *[""] * (len(header) - len(cells)))))
    below = ("",) * len(header)
    if rows and _is_units(rows[0][1]):
        number, below = rows.pop(0)
        notices.append(f"Row {number} was read as units.")
    if separator != ",":
        notices.append(f"Cells are parted by a {_SEPARATORS[separator]}.")
    if not rows and not bad:
        raise InputError("spreadsheet", None, "has a header and no rows", "add a row for each catch")
    return Sheet(header, below, tuple(rows), tuple(bad), tuple(notices))


def _decoded(data: bytes) -> tuple[str, list[str]]:
    if len(data) > MOST_BYTES:
        raise InputError(
            "spreadsheet", f"{len(data) / 1e6:.0f} MB", f"is larger than {MOST_BYTES // 1_000_000} MB", "split it"
        )
    if not data.strip():
        raise InputError("spreadsheet", None, "is empty", "give a header and rows")
    if data.startswith(_WORKBOOKS):
        raise InputError("spreadsheet", None, "is a workbook, not CSV", _SAVE_AS)
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        raise InputError("spreadsheet", None, "is written in UTF-16", _SAVE_AS)
    control = next((i for i, byte in enumerate(data[:4096]) if byte < 32 and byte not in b"\t\r\n"), None)
    if control is None and b"\x00" in data:
        control = data.index(b"\x00")
    if control is not None:
        raise InputError("spreadsheet", None, f"is no text: byte {control + 1} is 0x{data[control]:02x}", _SAVE_AS)
    try:
        return data.decode("utf-8-sig"), []
    except UnicodeDecodeError:
        pass  # not UTF-8; the other encoding that spreadsheets save CSV in is tried, and said
    try:
        return data.decode("cp1252"), ["The file was read as Windows-1252, for it is not UTF-8."]
    except UnicodeDecodeError as error:
        byte = f"byte {error.start + 1} is 0x{data[error.start]:02x}"
        raise InputError("spreadsheet", None, f"is neither UTF-8 nor Windows-1252: {byte}", _SAVE_AS) from None


def _separator(text: str) -> str:
    """The separator that gives the most rows as many cells as the first."""
    head = "\n".join(line for line in _LINE_END.split(text[:400_000])[: _LOOKED_AT * 2] if line.strip())
    best: tuple[float, int, str] | None = None
    for separator in _SEPARATORS:
        widths = [sum(map(bool, cells)) and len(cells) for _, cells in _parsed(head, separator)[:_LOOKED_AT]]
        wide = [width for width in widths if width > 1]
        if wide:
            usual = max(set(wide), key=lambda width: (wide.count(width), width))
            score = (wide.count(usual) / len(widths), usual, separator)
            # Of equals the one named first stays: a tab is never typed inside a cell, a comma often is.
            if best is None or score[:2] > best[:2]:
                best = score
    if best is None:
        raise InputError(
            "spreadsheet", None, "has one column only", "part the cells by commas, semicolons or tabs, with a header"
        )
    return best[2]


def _parsed(text: str, separator: str) -> list[tuple[int, tuple[str, ...]]]:
    """Rows with their numbers; where a quotation mark is never closed, line by line, so that one slip costs one row."""
    try:
        return list(_cells(csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True)))
    except csv.Error:
        pass  # some quotation mark is open; below, each line is read by itself
    rows: list[tuple[int, tuple[str, ...]]] = []
    for number, line in enumerate(_LINE_END.split(text), start=1):
        if len(line) > _LONGEST_LINE:
            rows.append((number, (line[: LONGEST_CELL + 1],)))
            continue
        try:
            found = next(csv.reader([line], delimiter=separator, strict=True), [])
        except csv.Error:
            # Read without quotation marks, it keeps its number and is judged by its cells like any other row.
            found = next(csv.reader([line], delimiter=separator, quoting=csv.QUOTE_NONE), [])
        rows.append((number, _trimmed(found)))
    return rows


def _cells(reader: Iterator[list[str]]) -> Iterator[tuple[int, tuple[str, ...]]]:
    for number, found in enumerate(reader, start=1):
        yield number, _trimmed(found)


def _trimmed(found: list[str]) -> tuple[str, ...]:
    cells = [cell.strip().strip("\ufeff") for cell in found]
    while cells and not cells[-1]:
        cells.pop()
    return tuple(cells)


def _unique(names: tuple[str, ...]) -> tuple[str, ...]:
    found: list[str] = []
    for number, name in enumerate(names, start=1):
        plain = " ".join(name.split())[:80] or f"column {number}"
        again, count = plain, 1
        while again in found:
            count += 1
            again = f"{plain} ({count})"
        found.append(again)
    return tuple(found)


def _misfit(cells: tuple[str, ...], width: int, separator: str) -> str:
    if len(cells) > width:
        hint = "; a decimal comma or a comma in a note needs quotation marks" if separator == "," else ""
        return f"has {len(cells)} cells, and the header has {width}{hint}"
    if any(len(cell) > LONGEST_CELL for cell in cells):
        return f"has a cell of more than {LONGEST_CELL} characters; close its quotation mark"
    return ""


def _is_units(cells: tuple[str, ...]) -> bool:
    filled = [cell for cell in cells if cell and cell != "-"]
    return (
        bool(filled)
        and all(unit_kinds(cell) or _DATE_PATTERN.fullmatch(cell) for cell in filled)
        and any(unit_kinds(cell) for cell in filled)
    )


def unit_kinds(written: str) -> tuple[str, ...]:
    """Kinds of quantity that have a unit of that spelling, brackets around it forgiven."""
    plain = written.strip("()[] ")
    if not plain or plain[0].isdigit() or len(plain) > 20:
        return ()
    found = []
    for kind in units.KINDS:
        try:
            units.read(f"1 {plain}", kind, field="unit", bushel_kg=1.0)
        except InputError:
            continue
        found.append(kind)
    return tuple(found)
