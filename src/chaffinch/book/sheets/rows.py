"""What does each row of somebody's own spreadsheet say, and which rows are one stop?

A row is one catch. Rows of the same date, time, field and combine are one check with several catches. A row that cannot
be read is listed with its number, column, value and the reason; the others go on.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import Any, Final

from chaffinch import units
from chaffinch.book.exchange.importing import Refused
from chaffinch.book.sheets.grid import Sheet, open_sheet
from chaffinch.book.sheets.marks import (
    date_order,
    decimal_mark,
    leading_number,
    moment,
    plain_number,
    time_of_day,
)
from chaffinch.book.sheets.meanings import MEANINGS, Matching
from chaffinch.book.sheets.stops import READINGS, BadCell, Stop, Stops, zone_of
from chaffinch.errors import InputError
from chaffinch.records.kinds import LONGEST_NAME
from chaffinch.reference import crop

_EVERY: Final = 500  # rows between two reports of progress
_MAY_BE_ZERO: Final = frozenset(READINGS)

PLACES_SAID: Final = {
    "standing": ("standing", "standing crop", "before harvest", "preharvest", "pre harvest", "in standing crop"),
    "header strip": ("header strip", "header", "cut strip", "after header"),
    "discharge": ("discharge", "in discharge", "in the discharge", "drop", "drop pan", "dropped pan", "pan"),
    "behind": ("behind", "behind combine", "behind the combine", "behind machine", "rear"),
    "whole cut": ("whole cut", "full width", "across cut", "across the cut", "whole width"),
    "windrow": ("windrow", "swath"),
    "leak": ("leak", "leaks"),
}
"""What people call the places where catches are taken."""
_PLACE_OF: Final = {word: place for place, words in PLACES_SAID.items() for word in words}
_FLAGS: Final = {
    **dict.fromkeys(("yes", "y", "on", "true", "1", "x"), True),
    **dict.fromkeys(("no", "n", "off", "false", "0"), False),
}


@dataclass(frozen=True, slots=True)
class Rows:
    """What a spreadsheet says.

    Attributes
    ----------
    good : tuple of Stop
        In the order of their first rows.
    bad : tuple of Refused
        By row number.
    notices : tuple of str
        What was decided on the way.
    headers : mapping of str to str
        The column of each meaning.
    fixed : mapping of str to str
        What was said for all rows and is no column: country, currency, report_in.
    """

    good: tuple[Stop, ...]
    bad: tuple[Refused, ...]
    notices: tuple[str, ...]
    headers: Mapping[str, str]
    fixed: Mapping[str, str]


def read_rows(data: bytes | Sheet, matching: Matching, *, progress: Callable[[int, int], None] | None = None) -> Rows:
    """Read every row of a spreadsheet by a matching of its columns; ``progress`` is called with (done, of) rows.

    Raises
    ------
    InputError
        When the file cannot be read, when what a check cannot do without has no column, or when a column leaves open
        which decimal mark, order of dates or unit it is in.
    """
    sheet = data if isinstance(data, Sheet) else open_sheet(data)
    if tuple(column.header for column in matching.columns) != sheet.header:
        raise InputError("matching", None, "is for other columns than the spreadsheet's", "match its columns anew")
    reader = _Reader(sheet, matching)
    stops = Stops()
    bad = list(sheet.bad)
    for done, (number, cells) in enumerate(sheet.rows, start=1):
        if progress is not None and (done % _EVERY == 0 or done == len(sheet.rows)):
            progress(done, len(sheet.rows))
        try:
            stops.add(number, reader.row(cells))
        except BadCell as error:
            header = error.header or reader.headers.get(error.meaning, error.meaning)
            bad.append(Refused(f"row {number}", number, header, error.value, error.why))
    zone, said = zone_of(matching.zone)
    times = {bool(one.time) for one in stops.all}
    notices = [*sheet.notices, *reader.notices]
    if True in times and said:
        notices.append(said)
    if False in times:
        notices.append("Rows without a time of day are filed at noon.")
    notices += _doubled(sheet)
    good = []
    for one in stops.all:
        try:
            good.append(one.finished(zone))
        except BadCell as error:
            header = reader.headers.get("time", reader.headers.get("date", "date"))
            bad += [Refused(f"row {number}", number, header, error.value, error.why) for number in one.rows]
    return Rows(
        tuple(good),
        tuple(sorted(bad, key=lambda b: b.number)),
        tuple(notices),
        reader.headers,
        {key: value for key, value in matching.fixed.items() if key not in MEANINGS},
    )


class _Reader:
    """Reads a row by what the whole sheet has decided for each column."""

    def __init__(self, sheet: Sheet, matching: Matching) -> None:
        self.matching = matching
        self.notices: list[str] = []
        self.at = {m: matching.of(m) for m in MEANINGS if matching.of(m)}
        for meaning, columns in self.at.items():
            if len(columns) > 1 and meaning != "note":
                names = " and ".join(sheet.header[i] for i in columns)
                raise InputError("columns", names, f"are both taken for {meaning}", 'leave one out: --column "NAME=-"')
            if meaning in matching.fixed:
                raise InputError(
                    f"fixed, {meaning}", matching.fixed[meaning], "is said beside a column of it", "keep one of them"
                )
        self.headers = {meaning: sheet.header[columns[0]] for meaning, columns in self.at.items()}
        self._must_have("date")
        self._must_have("place")
        self._must_have(*READINGS)
        self.marks: dict[str, str] = {}
        self.order = ""
        for meaning, columns in self.at.items():
            cells = [cells[columns[0]] for _, cells in sheet.rows if cells[columns[0]]]
            notice = ""
            if MEANINGS[meaning].kinds:
                self._must_have_unit(meaning, columns[0], cells)
                self.marks[meaning], notice = decimal_mark(
                    sheet.header[columns[0]], cells, matching.decimals, whole=meaning == "count"
                )
            elif meaning == "date":
                self.order, notice = date_order(sheet.header[columns[0]], cells, matching.dates)
            self.notices += [notice] if notice else []
        self.fixed = {meaning: value for meaning, value in matching.fixed.items() if meaning in MEANINGS}
        for meaning, text in self.fixed.items():
            try:
                self._value(meaning, text, fixed=True)
            except BadCell as error:
                problem, _, mend = error.why.partition("; ")
                raise InputError(f"fixed, {meaning}", text, problem, mend) from None

    def _must_have(self, *meanings: str) -> None:
        if not any(meaning in self.at or meaning in self.matching.fixed for meaning in meanings):
            one = meanings[0]
            raise InputError(
                "columns",
                None,
                f"none is taken for {' or '.join(meanings)}",
                f'say which: --column "NAME={one}", or for all rows: --fixed {one}=…',
            )

    def _must_have_unit(self, meaning: str, column: int, cells: list[str]) -> None:
        """Ask for a unit where neither the column nor any of its cells has one."""
        name = self.matching.columns[column].header
        if self.matching.columns[column].unit or not cells:
            return
        if not any(leading_number(_without_currency(cell))[1] for cell in cells):
            example = units.accepted(MEANINGS[meaning].kinds[0])[0]
            raise InputError(
                f"column {name}", cells[0], "has no unit", f'say it: --column "{name}={meaning}:{example}"'
            )

    def row(self, cells: tuple[str, ...]) -> dict[str, Any]:
        """Values of one row by meaning; quantities as text with a decimal point and their unit."""
        found: dict[str, Any] = {}
        for meaning in MEANINGS:
            text = self._text(meaning, cells)
            if text:
                found[meaning] = self._value(meaning, text, fixed=meaning in self.fixed)
        if "date" not in found:
            raise BadCell("date", "", "is missing; give the day")
        readings = [meaning for meaning in READINGS if meaning in found]
        if not readings:
            expected = next(m for m in READINGS if m in self.headers or m in self.fixed)
            raise BadCell(expected, "", "is missing; write 0 for an empty pan")
        if len(readings) > 1:
            raise BadCell(readings[1], self._text(readings[1], cells), f"stands beside {readings[0]}; keep one of them")
        if "place" not in found:
            raise BadCell("place", "", f"is missing; write one of {', '.join(PLACES_SAID)}")
        if "pan" in found and ("pan_width" in found or "pan_length" in found):
            raise BadCell("pan", found["pan"], "stands beside the pan's width or length; keep one of them")
        step = found.get("step")
        if (
            step
            and "step" in self.fixed
            and units.read_any(step, ("mass", "volume"), field="step").kind != _kind_of(found[readings[0]])
        ):
            del found["step"]  # said for all rows, it is meant for those read that way
        return found

    def _text(self, meaning: str, cells: tuple[str, ...]) -> str:
        if meaning in self.at:
            return "; ".join(cells[i] for i in self.at[meaning] if cells[i])
        return self.fixed.get(meaning, "")

    def _value(self, meaning: str, text: str, *, fixed: bool) -> Any:
        kinds = MEANINGS[meaning].kinds
        if kinds:
            unit = "" if fixed else self.matching.columns[self.at[meaning][0]].unit
            mark = "." if fixed else self.marks[meaning]
            return _quantity(meaning, text, unit, mark)
        match meaning:
            case "date":
                found = moment(text, self.order if not fixed else self.matching.dates)
                if found is None:
                    style = {"dmy": ", the day first", "mdy": ", the month first"}.get(self.order, "")
                    raise BadCell(meaning, text, f"is no date{style}; write it like 2026-08-21")
                return found
            case "time":
                time = time_of_day(text)
                if time is None:
                    raise BadCell(meaning, text, "is no time of day; write it like 15:40")
                return time
            case "place":
                return _place(text)
            case "spreading":
                flag = _FLAGS.get(text.casefold())
                if flag is None:
                    raise BadCell(meaning, text, "is neither yes nor no; write yes or no")
                return flag
            case "crop":
                return _crop(text)
            case "note":
                return text
        if len(text) > LONGEST_NAME or not text.isprintable():
            raise BadCell(meaning, text, f"is no name; write at most {LONGEST_NAME} plain characters on one line")
        return " ".join(text.split())


@lru_cache(maxsize=20_000)
def _quantity(meaning: str, text: str, unit: str, mark: str) -> str:
    """A cell as ``12.5 g``: one decimal point, no marks between thousands, and its unit."""
    kinds = MEANINGS[meaning].kinds
    bare = _without_currency(text)
    number, rest = leading_number(bare)
    if not number:
        raise BadCell(meaning, text, "is no number; write it like 12.5")
    if rest[:1] == "/" and rest[1:2].isdigit():
        whole = text if any(c.isalpha() for c in rest) else f"{text} {unit}"  # "2 1/2 ft", "1/4" of the column's unit
    else:
        plain = plain_number(number, mark)
        if not plain:
            word = {".": "point", ",": "comma"}[mark]
            raise BadCell(meaning, text, f"does not fit this column, whose decimal mark is a {word}")
        currency = text[: len(text) - len(bare)].strip() if bare != text else ""
        whole = f"{currency}{plain} {rest or unit}".strip()
    try:
        read = units.read_any if meaning in _MAY_BE_ZERO else _positive
        found = read(whole, kinds, field=meaning, bushel_kg=1.0)
    except InputError as error:
        raise BadCell(meaning, text, f"{error.problem}; {error.mend}") from None
    if found.value < 0:
        raise BadCell(meaning, text, "must not be below 0; write 0 for an empty pan")
    return whole


def _positive(text: str, kinds: tuple[str, ...], *, field: str, bushel_kg: float) -> units.Quantity:
    found = units.read_any(text, kinds, field=field, bushel_kg=bushel_kg)
    if not found.value > 0:
        raise InputError(field, text, "must be above 0", "correct it, or leave the cell empty")
    return found


def _kind_of(amount: str) -> str:
    return units.read_any(amount, MEANINGS["amount"].kinds, field="amount").kind


def _without_currency(text: str) -> str:
    """A price's cell from its number on; a minus sign stays with the number."""
    return text.lstrip("$€£ ") if text[:1] in "$€£" else text


@lru_cache(maxsize=500)
def _place(text: str) -> str:
    plain = " ".join(text.casefold().replace("_", " ").replace("-", " ").split())
    if plain not in _PLACE_OF:
        raise BadCell("place", text, f"is no place we know; write one of {', '.join(PLACES_SAID)}")
    return _PLACE_OF[plain]


@lru_cache(maxsize=500)
def _crop(text: str) -> str:
    try:
        return crop(text).key
    except InputError as error:
        raise BadCell("crop", text, f"{error.problem}; {error.mend}") from None


def _doubled(sheet: Sheet) -> list[str]:
    """A notice about rows that are the same in every cell: two like catches, or one pasted twice."""
    again = [cells for cells, count in Counter(cells for _, cells in sheet.rows).items() if count > 1]
    if not again:
        return []
    wanted = set(again[:3])
    numbers = [str(number) for number, cells in sheet.rows if cells in wanted][:6]
    what = "1 row stands" if len(again) == 1 else f"{len(again)} rows stand"
    return [f"{what} more than once, like rows {', '.join(numbers)}; each was taken as a catch."]
