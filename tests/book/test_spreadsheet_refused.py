"""What a spreadsheet can have wrong with it: the whole file, a column, or a row; each is named with the mend."""

from __future__ import annotations

import contextlib
import random
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from chaffinch.book.desk import Desk, start_book
from chaffinch.book.sheets.grid import MOST_BYTES
from chaffinch.book.sheets.spreadsheet import Rows, import_spreadsheet, match_columns, open_sheet, read_rows
from chaffinch.errors import InputError
from chaffinch.store import records

HEAD = "Date,Field,Combine,Crop,Place,Pan (ft2),Weight (g),Cut width (ft),Drop width (in)"
ROW = "2025-08-21,Long Slough,Old Wren,canola,discharge,4,12.5,40,66"


@pytest.fixture
def desk(tmp_path: Path) -> Desk:
    return start_book(str(tmp_path / "farm.chaffinch"), title="Siskin Bend")


def rows_of(data: bytes) -> Rows:
    sheet = open_sheet(data)
    return read_rows(sheet, replace(match_columns(sheet.header, sheet.sample, sheet.units), zone="UTC"))


def spoilt(old: str, new: str) -> bytes:
    assert old in ROW
    return f"{HEAD}\n{ROW}\n{ROW.replace(old, new)}\n".encode()


# --- the whole file ---


@pytest.mark.parametrize(
    ("data", "problem"),
    [
        (b"", "is empty"),
        (b" \r\n\t\n", "is empty"),
        (b"Date,Field\n", "has a header and no rows"),
        (b"Date\n2025-08-21\n", "has one column only"),
        (b",,,\n,,\n", "has one column only"),
        (b"PK\x03\x04rest", "is a workbook, not CSV"),
        (b"\xd0\xcf\x11\xe0rest", "is a workbook, not CSV"),
        ("Date,Field\n".encode("utf-16"), "is written in UTF-16"),
        (b"\x89PNG\r\n\x1a\n\x00\x00", "is no text: byte 7 is 0x1a"),
        (random.Random(1).randbytes(5000), "is no text"),
        (b"Date,Field\n" + b"x,y\n" * 2000 + b"\x00,\n", "is no text: byte"),
        (b"Date,Field\n2025-08-21,\x81\x8d\n", "is neither UTF-8 nor Windows-1252"),
        (b"x" * (MOST_BYTES + 1), "is larger than 50 MB"),
        ((",".join(f"c{n}" for n in range(300)) + "\n" + "1," * 299 + "1\n").encode(), "is too wide"),
    ],
    ids=lambda value: None if isinstance(value, bytes) else value,
)
def test_a_file_that_is_no_sheet_is_refused(data: bytes, problem: str) -> None:
    with pytest.raises(InputError) as caught:
        open_sheet(data)
    assert caught.value.field == "spreadsheet"
    assert problem in caught.value.problem


# --- a column ---


@pytest.mark.parametrize(
    ("head", "row", "problem", "mend"),
    [
        (HEAD.replace("Date", "Bin"), ROW.replace("2025-08-21", "7"), "none is taken for date", "--column"),
        (HEAD.replace("Place", "Bin"), ROW, "none is taken for place", "--fixed place="),
        (HEAD.replace("Weight (g)", "Bin"), ROW, "none is taken for amount or count or volume", "--column"),
        (HEAD.replace("Weight (g)", "Weight"), ROW, "has no unit", "Weight=amount:g"),
        (HEAD.replace("Pan (ft2)", "Pan"), ROW, "has no unit", "Pan=pan:m2"),
        (HEAD, ROW.replace("12.5", "1.234"), "can be read in two ways", "--decimals"),
        (HEAD, ROW.replace("2025-08-21", "03/04/2025"), "can have the day or the month first", "--dates"),
    ],
)
def test_what_a_column_leaves_open_is_asked_for(head: str, row: str, problem: str, mend: str) -> None:
    with pytest.raises(InputError) as caught:
        rows_of(f"{head}\n{row}\n".encode())
    assert problem in caught.value.problem
    assert mend in caught.value.mend


def test_columns_in_each_others_way_are_refused() -> None:
    sheet = open_sheet(f"{HEAD}\n{ROW}\n".encode())
    matching = match_columns(sheet.header, sheet.sample)

    with pytest.raises(InputError, match="are both taken for field"):
        read_rows(sheet, matching.with_column("Combine=field"))
    with pytest.raises(InputError, match="is said beside a column of it"):
        read_rows(sheet, matching.with_fixed("crop", "pea"))
    with pytest.raises(InputError, match="fixed, moisture: is no number"):
        read_rows(sheet, matching.with_fixed("moisture", "wet"))
    with pytest.raises(InputError, match="is for other columns"):
        read_rows(sheet, match_columns(["Date"]))


def test_an_order_that_was_said_refuses_the_dates_that_break_it() -> None:
    sheet = open_sheet(
        "\n".join([HEAD, *(ROW.replace("2025-08-21", d) for d in ("21/08/2025", "08/22/2025"))]).encode()
    )

    rows = read_rows(sheet, replace(match_columns(sheet.header), dates="mdy", zone="UTC"))

    assert [stop.when for stop in rows.good] == ["2025-08-22"]
    assert [(b.number, b.column, b.value) for b in rows.bad] == [(2, "Date", "21/08/2025")]
    assert "the month first" in rows.bad[0].why


# --- a row ---


@pytest.mark.parametrize(
    ("old", "new", "column", "value", "why"),
    [
        ("2025-08-21", "", "Date", "", "is missing"),
        ("2025-08-21", "2025-02-30", "Date", "2025-02-30", "is no date"),
        ("canola", "canolla", "Crop", "canolla", "did you mean canola?"),
        ("discharge", "", "Place", "", "is missing"),
        ("discharge", "moon", "Place", "moon", "is no place we know"),
        ("12.5", "", "Weight (g)", "", "write 0 for an empty pan"),
        ("12.5", "lots", "Weight (g)", "lots", "is no number"),
        ("12.5", "-3", "Weight (g)", "-3", "must not be below 0"),
        ("12.5", "12.5 ft", "Weight (g)", "12.5 ft", "has the unit 'ft'"),
        ("12.5", "12.5.1", "Weight (g)", "12.5.1", "does not fit this column"),
        (",4,", ",0,", "Pan (ft2)", "0", "must be above 0"),
        (",4,", ",4 acres,", "Pan (ft2)", "4 acres", "has the unit 'acres'"),
        ("Long Slough", "x" * 201, "Field", "x" * 201, "is no name"),
        (",66", ",66,surplus", "", "", "has 10 cells, and the header has 9"),
    ],
)
def test_a_row_that_cannot_be_read_is_named_and_the_other_is_kept(
    old: str, new: str, column: str, value: str, why: str
) -> None:
    rows = rows_of(spoilt(old, new))

    assert [stop.rows for stop in rows.good] == [(2,)]
    (bad,) = rows.bad
    assert (bad.place, bad.number, bad.column, bad.value) == ("row 3", 3, column, value)
    assert why in bad.why


def test_a_day_ahead_of_the_clock_is_refused_as_by_hand(desk: Desk) -> None:
    """One digit of a year mistyped would found a season of 2052, and be the newest check for decades."""
    there = replace(desk, now=lambda: "2025-09-01T12:00:00Z")
    found = import_spreadsheet(there, rows_of(spoilt("2025-08-21", "2052-08-21")))

    assert [(r.number, r.column) for r in found.refused] == [(3, "Date")]
    assert "more than a day ahead" in found.refused[0].why
    assert [name for kind, name in found.added if kind == "season"] == ["2025"]


@pytest.mark.parametrize(
    ("old", "new", "column", "why"),
    [
        ("12.5", "9000", "Weight (g)", "stands for a loss of"),
        ("12.5", "60000", "Weight (g)", "beyond what can be meant"),
        (",4,", ",600,", "Pan (ft2)", "beyond what can be meant"),
        (",4,", ",,", "Pan (ft2)", "is missing; fill in Pan (ft2)"),
    ],
)
def test_a_catch_that_cannot_be_is_left_out_of_its_stop(desk: Desk, old: str, new: str, column: str, why: str) -> None:
    found = import_spreadsheet(desk, rows_of(spoilt(old, new)))

    assert [(r.number, r.column) for r in found.refused] == [(3, column)]
    assert why in found.refused[0].why
    assert [coming.rows for coming in found.coming] == [(2,)]
    again = import_spreadsheet(desk, rows_of(spoilt(old, new)))
    assert (again.known, again.kinds, [r.number for r in again.refused]) == (1, {}, [3])


@pytest.mark.parametrize(
    ("head", "row", "column", "why"),
    [
        (HEAD, ROW.replace(",40,66", ",4,66"), "Drop width (in)", "is wider than the cut_width"),
        (HEAD, ROW.replace(",66", ","), "Drop width (in)", "is missing"),
        (HEAD, ROW.replace(",40,", ",,"), "Combine", "is not in the book and has no cut width here"),
        (HEAD, ROW.replace(",canola,", ",,"), "Crop", "is missing"),
        (
            HEAD + ",Yield (bu/ac)",
            ROW.replace("canola", "oats") + ",90",
            "Yield (bu/ac)",
            "bushel weight of oats differs",
        ),
        (HEAD + ",Spreader", ROW + ",yes", "spread_width", "--fixed spread_width="),
    ],
)
def test_a_stop_that_makes_no_sense_is_refused_with_its_rows(
    desk: Desk, head: str, row: str, column: str, why: str
) -> None:
    found = import_spreadsheet(desk, rows_of(f"{head}\n{row}\n{row.replace('12.5', '8')}\n".encode()))

    assert [(r.number, r.column) for r in found.refused] == [(2, column), (3, column)]
    assert why in found.refused[0].why
    assert list(records.identities(desk.store)) == []


def test_a_quotation_mark_left_open_costs_one_row() -> None:
    rows = rows_of("\n".join([HEAD, ROW, ROW.replace("Long", '"Long'), ROW.replace("12.5", "8")]).encode())

    assert sorted(n for stop in rows.good for n in stop.rows) == [2, 3, 4]
    assert {stop.names["field"] for stop in rows.good} == {"Long Slough", '"Long Slough'}


def test_a_cell_as_long_as_a_book_costs_one_row() -> None:
    rows = rows_of("\n".join([HEAD, ROW, ROW.replace("Long", "L" * 200_000), ROW]).encode())

    assert [bad.number for bad in rows.bad] == [3]
    assert "characters" in rows.bad[0].why


cells = st.sampled_from(
    [
        "",
        "0",
        "12.5",
        "1,5",
        "-3",
        "1e9",
        "2025-08-21",
        "03/04/2025",
        "canola",
        "discharge",
        "4 ft2",
        '"',
        "=1+1",
        "½",
        "yes",
    ]
) | st.text(max_size=8)


MATCHED = replace(match_columns(HEAD.split(",")), zone="UTC")


@given(table=st.lists(st.lists(cells, min_size=1, max_size=10), max_size=6), separator=st.sampled_from(",;\t"))
@settings(max_examples=150, deadline=None)
def test_any_rows_are_read_or_refused(table: list[list[str]], separator: str) -> None:
    text = "\n".join([HEAD.replace(",", separator), ROW.replace(",", separator), *map(separator.join, table)])
    try:
        sheet = open_sheet(text.encode("utf-8", "replace"))
        rows = read_rows(sheet, replace(MATCHED, dates="dmy", decimals="."))
    except InputError:
        # A control character makes it no text; cells full of another separator make it another sheet.
        assert any(ord(c) < 32 for c in text.replace("\n", "")) or any(c in text for c in ",;\t".replace(separator, ""))
        return
    for bad in rows.bad:
        assert bad.why
    numbers = [n for stop in rows.good for n in stop.rows] + [bad.number for bad in rows.bad]
    assert len(set(numbers)) == len(numbers)


@given(st.binary(max_size=400))
@settings(max_examples=200, deadline=None)
def test_any_bytes_are_a_sheet_or_refused(data: bytes) -> None:
    with contextlib.suppress(InputError):
        sheet = open_sheet(data)
        assert all(len(row) == len(sheet.header) for _, row in sheet.rows)
        assert sheet.rows or sheet.bad
