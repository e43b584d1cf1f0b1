"""How is a text of columns laid out, and what stands in it? Comma, semicolon or tab; decimal point or comma."""

from __future__ import annotations

import csv
import io
import re
import warnings
import zlib
from collections import Counter
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from chaffinch.errors import InputError
from chaffinch.fieldlog.answers import Answers, Found
from chaffinch.fieldlog.reading.opened import MOST_BYTES
from chaffinch.fieldlog.reading.tabled import found_in_table
from chaffinch.fieldlog.rows import Problem

if TYPE_CHECKING:
    import polars as pl

PARTED_BY: Final = (";", "\t", "|", ",")
_MARKS: Final = tuple(mark.encode() for mark in PARTED_BY)
HEAD_BYTES: Final = 1 << 18
"""How much of a file its layout is judged on [bytes]."""
HEAD_LINES: Final = 400
_NUMBER: Final = re.compile(r"[-+]?(\d+([.,]\d*)?|[.,]\d+)([eE][-+]?\d+)?")
_COMMA: Final = re.compile(r"[-+]?(\d*|\d{1,3}(\.\d{3})+),\d+")
_SPACES: Final = " \u00a0\u202f'\u2019"
_BY_THOUSANDS: Final = {
    ".": rf"^[-+]?\d{{1,3}}([,{_SPACES}]\d{{3}})+(\.\d+)?$",
    ",": rf"^[-+]?\d{{1,3}}([.{_SPACES}]\d{{3}})+(,\d+)?$",
}
"""Numbers with a mark between thousands, by the decimal mark."""
_SHOWS_IT: Final = rf"[,.{_SPACES}]\d{{3}}[,.{_SPACES}]|[{_SPACES}]"
"""Two marks in a number, or one that is no decimal mark: then it parts thousands."""
_BLANK: Final = re.compile(rb"^[ \t,;|]*\r?\n", re.MULTILINE)
_NO_BEGINNING: Final = np.frombuffer(b"\n\r,;\t| ", np.uint8)
"""What a line may begin with in which nothing stands."""
_NOTHING: Final = frozenset(("", "na", "nan", "null", "none", "-", "n/a"))


@dataclass(frozen=True, slots=True)
class TextLayout:
    """How a text of columns is written.

    Parameters
    ----------
    parted_by, decimals : str
        Character between the cells, and decimal mark.
    above : int
        Lines above the first row: of a title, the header, units.
    headers : tuple of str
        Names made unique; ``column 1`` and on where there is no header.
    units_row : tuple of str
        Units below the header; empty without such a row.
    numeric : tuple of bool
        Which columns hold numbers.
    """

    parted_by: str
    decimals: str
    above: int
    headers: tuple[str, ...]
    units_row: tuple[str, ...]
    numeric: tuple[bool, ...]


def read_text(data: bytes, name: str, answers: Answers) -> Found:
    """Read a delimited text.

    Raises
    ------
    InputError
        When it is no text of columns, holds no records, or something in it must be told first.
    """
    plain, problems = _utf8(unpacked(data, name), name)
    plain = even_lines(plain)
    layout = layout_of_text(
        plain[:HEAD_BYTES].decode("utf-8", "ignore"), len(plain) > HEAD_BYTES, name, answers.decimals
    )
    table = table_of(plain, layout, name, quoted=plain.count(b'"') % 2 == 0, problems=problems)
    return found_in_table("text", name, table, answers, units_row=layout.units_row, problems=problems)


def table_of(data: bytes, layout: TextLayout, name: str, *, quoted: bool, problems: list[Problem]) -> pl.DataFrame:
    """The rows of a text, or of whole lines of one, and what of them cannot be read told in ``problems``.

    ``quoted`` says whether quotation marks hold cells together; an odd one somewhere (12" header) would swallow rows up
    to the next. Where an even number of them does so all the same, those without another in their line are left out.
    """
    table = None
    if quoted and b'"' in data:
        table = _unless_swallowed(data, layout, name)
        if table is None:
            lines = data.split(b"\n")
            odd = [number for number, line in enumerate(lines) if line.count(b'"') % 2]
            for number in odd:
                lines[number] = lines[number].replace(b'"', b"")
            problems += [Problem("odd quotation marks", name, len(odd))] if odd else []
            data = b"\n".join(lines)
            table = _unless_swallowed(data, layout, name)
            quoted = table is not None
    if table is None:
        table = _table(data, layout, name, layout.numeric, quoted=quoted)
    return _mended(data, layout, name, table, quoted=quoted, problems=problems)


def lone_returns(data: bytes) -> bool:
    """Whether lines end with a carriage return alone: what it parts are rows alike, and no note of two lines."""
    if b"\r" not in data or data.count(b"\r") <= data.count(b"\r\n") + data.endswith(b"\r"):
        return False
    lines = (line.rstrip(b"\r") for line in data[:HEAD_BYTES].split(b"\n"))
    marks = Counter(sum(map(row.count, _MARKS)) for line in lines if b"\r" in line for row in line.split(b"\r"))
    width, alike = marks.most_common(1)[0] if marks else (0, 0)
    return width > 0 and 2 * alike > marks.total()


def even_lines(data: bytes) -> bytes:
    """The text with its lines ended alike, and without lines in which nothing stands: these are no records."""
    if b"\r\r\n" in data:  # written twice over as text by Windows
        data = data.replace(b"\r\r\n", b"\n")
    if lone_returns(data):
        data = data.replace(b"\r\n", b"\n").replace(b"\r", b"\n")
    signs = np.frombuffer(data, np.uint8)
    begins = np.r_[signs[:1], signs[np.flatnonzero(signs[:-1] == ord("\n")) + 1]]
    return _BLANK.sub(b"", data) if np.isin(begins, _NO_BEGINNING).any() else data


def unpacked(data: bytes, name: str) -> bytes:
    """The bytes behind gzip, if they are packed so; bounded, since a small file can hold a huge one."""
    if not data.startswith(b"\x1f\x8b"):
        return data
    machine = zlib.decompressobj(wbits=31)
    try:
        plain = machine.decompress(data, MOST_BYTES + 1)
    except zlib.error as error:
        raise InputError(name, None, f"is damaged ({error})", "copy it anew") from None
    if len(plain) > MOST_BYTES:
        raise InputError(name, None, f"would unpack to more than {MOST_BYTES >> 20} MB", "unpack and split it")
    if not machine.eof:
        raise InputError(name, None, "is cut off", "copy it anew")
    return plain


def layout_of_text(head: str, cut: bool, name: str, decimals: str = "") -> TextLayout:
    """Judge how a text is laid out from its beginning.

    Parameters
    ----------
    head : str
        The beginning of the text.
    cut : bool
        Whether more follows, so that the last line may be half a line.
    name : str
        For errors.
    decimals : str
        Decimal mark if somebody told it.

    Raises
    ------
    InputError
        When it is empty or no table, or its decimal mark is open.
    """
    lines = list(io.StringIO(head, newline=""))
    lines = (lines[:-1] if cut and len(lines) > 1 else lines)[:HEAD_LINES]
    if not any(line.strip() for line in lines):
        raise InputError(name, None, "is empty", "export it anew, with its rows")
    if "\0" in head:
        raise InputError(name, None, "is no text", "name a .csv or .txt file, or the folder of task data")
    try:
        parted_by, width = _parted_by(lines, name)
        grid, ends = _rows_and_ends(lines, parted_by)
    except csv.Error as error:
        problem = f"cannot be read as a table ({error})"
        raise InputError(name, None, problem, "look for a quotation mark that is not closed") from None
    at = next(i for i, row in enumerate(grid) if len(row) >= width)
    has_header = not any(_NUMBER.fullmatch(cell.strip()) for cell in grid[at])
    first = [" ".join(cell.split()) for cell in grid[at]] if has_header else [f"column {i + 1}" for i in range(width)]
    headers = _unique(first)
    units_row: tuple[str, ...] = ()
    at += has_header
    if has_header and len(grid) > at + 1 and _is_units(grid[at], grid[at + 1]):
        units_row = tuple(cell.strip() for cell in grid[at])
        at += 1
    body = [row for row in grid[at:] if any(cell.strip() for cell in row)]
    columns = [[row[i].strip() for row in body if i < len(row)] for i in range(len(headers))]
    numeric = tuple(_is_numeric(cells) for cells in columns)
    marks = [_mark(cells) for cells, number in zip(columns, numeric, strict=True) if number]
    commas, points = marks.count(","), marks.count(".")
    if decimals and decimals not in (".", ","):
        raise InputError("decimals", decimals, "is no decimal mark", 'use "." or ","')
    if commas and points and not decimals:
        raise InputError(name, None, "has both decimal commas and decimal points", "say which one is the decimal mark")
    above = ends[at - 1] if at else 0
    return TextLayout(parted_by, decimals or ("," if commas else "."), above, headers, units_row, numeric)


def _utf8(data: bytes, name: str) -> tuple[bytes, list[Problem]]:
    """The text as UTF-8 without a mark, and whether letters had to be guessed."""
    if data.startswith(b"\xef\xbb\xbf"):
        data = data[3:]
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        try:
            return data.decode("utf-16").encode(), []
        except UnicodeDecodeError:
            raise InputError(name, None, "is no whole text", "save it again as UTF-8") from None
    try:
        data.decode("utf-8")
    except UnicodeDecodeError as error:
        # Western Windows: every byte means something, only names can be wrong.
        return data.decode("cp1252", "replace").encode(), [Problem("letters guessed", name, 0, hex(data[error.start]))]
    return data, []


def _rows_and_ends(lines: list[str], parted_by: str) -> tuple[list[list[str]], list[int]]:
    """Rows of cells, and how many lines lie above the end of each: a cell in quotation marks may hold line breaks."""
    reader = csv.reader(lines, delimiter=parted_by)
    rows, ends = [], []
    for row in reader:
        rows.append(row)
        ends.append(reader.line_num)
    return rows, ends


def _parted_by(lines: list[str], name: str) -> tuple[str, int]:
    best = (0.0, "", 0)
    for mark in PARTED_BY:
        counts = Counter(len(row) for row in csv.reader(lines, delimiter=mark) if row)
        width, agreeing = max(counts.items(), key=lambda c: (c[1] if c[0] > 1 else 0, c[0]))
        if width > 1:
            # Rows that agree decide; a decimal comma parts rows too, so a rarer mark comes first.
            best = max(best, (agreeing / sum(counts.values()), mark, width), key=lambda b: b[0])
    if not best[2]:
        raise InputError(name, lines[0][:40], "is no table of columns", "export it as comma or tab text")
    return best[1], best[2]


def _unique(names: list[str]) -> tuple[str, ...]:
    seen: Counter[str] = Counter()
    found = []
    for i, name in enumerate(names):
        plain = name or f"column {i + 1}"
        seen[plain] += 1
        found.append(plain if seen[plain] == 1 else f"{plain} ({seen[plain]})")
    return tuple(found)


def _is_units(row: list[str], following: list[str]) -> bool:
    """A row of texts without a number over a row with numbers."""
    cells = [cell.strip() for cell in row if cell.strip()]
    numbers = sum(bool(_NUMBER.fullmatch(cell.strip())) for cell in following)
    return bool(cells) and numbers > 1 and not any(_NUMBER.fullmatch(cell) or ":" in cell for cell in cells)


def _is_numeric(cells: list[str]) -> bool:
    filled = [cell for cell in cells if cell.casefold() not in _NOTHING]
    numbers = sum(bool(_NUMBER.fullmatch(cell)) or _by_thousands(cell) for cell in filled)
    return bool(filled) and numbers >= 0.9 * len(filled)


def _by_thousands(cell: str) -> bool:
    # Blanks alone part the name of a machine, too: 745 123.
    return ("," in cell or "." in cell) and any(re.match(form, cell) for form in _BY_THOUSANDS.values())


def _mark(cells: list[str]) -> str:
    commas = sum(bool(_COMMA.fullmatch(cell)) for cell in cells)
    points = sum("." in cell and not _COMMA.fullmatch(cell) for cell in cells)
    return "," if commas > points else "." if points else ""


def _mended(
    data: bytes, layout: TextLayout, name: str, table: pl.DataFrame, *, quoted: bool, problems: list[Problem]
) -> pl.DataFrame:
    """The table with numbers that have a mark between thousands; told is what stands where numbers do and is none."""
    gaps = [h for h, number in zip(layout.headers, layout.numeric, strict=True) if number and table[h].has_nulls()]
    if gaps:
        text = _table(data, layout, name, (False,) * len(layout.headers), quoted=quoted)
        for header in gaps:
            cells = text[header].str.strip_chars()
            filled = cells.is_not_null() & ~cells.str.to_lowercase().is_in(list(_NOTHING))
            unread = table[header].is_null() & filled
            if unread.any():
                table = table.with_columns(_thousands(table[header], cells, unread, layout.decimals))
            if count := int((table[header].is_null() & filled).sum()):
                problems.append(Problem("no number", header, count))
    if b'"' not in data:
        lines = data.split(b"\n", layout.above)
        beyond = lines[-1].count(layout.parted_by.encode()) - table.height * (len(layout.headers) - 1)
        if beyond > 0:
            problems.append(Problem("cells beyond the last column", name, beyond))
    return table


def _thousands(numbers: pl.Series, cells: pl.Series, unread: pl.Series, decimals: str) -> pl.Series:
    """The column with cells like ``1,034.5`` read, where it shows that the mark parts thousands.

    It shows by two marks in one number, or where every number without a mark is below a thousand.
    """
    marked = unread & cells.str.contains(_BY_THOUSANDS[decimals])
    short = numbers.drop_nulls().abs()
    if not marked.any() or not (
        cells.filter(marked).str.contains(_SHOWS_IT).any() or (short.len() and (short < 1000).all())
    ):
        return numbers
    plain = cells.str.replace_all(r"[^\d.,+-]", "").str.replace_all("." if decimals == "," else ",", "", literal=True)
    read = plain.str.replace(",", ".", literal=True).cast(numbers.dtype, strict=False)
    return read.zip_with(marked, numbers).alias(numbers.name)


def _unless_swallowed(data: bytes, layout: TextLayout, name: str) -> pl.DataFrame | None:
    """The rows by their quotation marks; None where a whole row is lost between two of them.

    A whole row is a line with as many cells as the header: what follows a line break inside a cell has fewer.
    """
    try:
        with warnings.catch_warnings():
            warnings.filterwarnings("ignore", "CSV malformed")  # looked at here
            table = _table(data, layout, name, layout.numeric, quoted=True)
    except InputError:
        return None
    above = layout.above
    if table.height >= data.count(b"\n") + (not data.endswith(b"\n")) - above:
        return table
    mark, most = layout.parted_by.encode(), len(layout.headers) - 1
    whole = sum(line.count(mark) >= most for line in data.split(b"\n")[above:])
    return table if table.height >= whole else None


def _table(data: bytes, layout: TextLayout, name: str, numeric: tuple[bool, ...], *, quoted: bool) -> pl.DataFrame:
    import polars as pl

    schema = {
        header: pl.Float64 if number else pl.String for header, number in zip(layout.headers, numeric, strict=True)
    }
    try:
        return pl.read_csv(
            io.BytesIO(data),
            separator=layout.parted_by,
            decimal_comma=layout.decimals == ",",
            has_header=False,
            skip_lines=layout.above,
            schema=schema,
            ignore_errors=True,
            extra_columns="ignore",
            missing_columns="insert",
            quote_char='"' if quoted else None,
            null_values=["NA", "NaN", "nan", "null", "NULL", "-", "n/a"],
        )
    except pl.exceptions.NoDataError:
        raise InputError(name, 0, "holds no records", "export it anew, with its rows") from None
    except (pl.exceptions.PolarsError, pl.exceptions.PanicException) as error:
        short = str(error).splitlines()[0][:100]
        raise InputError(name, None, f"cannot be read as a table ({short})", "export it anew as comma text") from None
