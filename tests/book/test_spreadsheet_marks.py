"""Decimal marks and the order of dates are decided by a column's cells, or asked for; never guessed."""

from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from chaffinch.book.sheets.marks import date_order, decimal_mark, leading_number, moment, plain_number, time_of_day
from chaffinch.errors import InputError


@pytest.mark.parametrize(
    ("cells", "mark"),
    [
        (["12.5", "3"], "."),
        (["12,5", "3"], ","),
        (["1,234.5"], "."),
        (["1.234,5"], ","),
        (["0,125"], ","),
        (["1,234", "12.5"], "."),
        (["1,234", "12,5"], ","),
        (["1,234,567"], "."),
        (["1 234,5 g"], ","),
        (["12.5 g", "9 g"], "."),
        (["$14.50", "12"], "."),
        (["3", "4"], "."),
        (["abc", "1/2", ""], "."),
    ],
)
def test_cells_decide_the_decimal_mark(cells: list[str], mark: str) -> None:
    assert decimal_mark("Weight", cells) == (mark, "")


@pytest.mark.parametrize("cells", [["1,234"], ["1.234", "5.678"], ["12.5", "12,5"], ["12.5"] * 99 + ["12,5"]])
def test_an_open_decimal_mark_is_asked_for(cells: list[str]) -> None:
    with pytest.raises(InputError, match="--decimals") as caught:
        decimal_mark("Weight", cells)
    assert caught.value.field == "column Weight"
    assert decimal_mark("Weight", cells, ",")[0] == ","


def test_one_in_a_hundred_is_a_slip_and_is_said() -> None:
    mark, notice = decimal_mark("Weight", [*["12.5"] * 100, "12,5"])

    assert mark == "."
    assert "'12,5'" in notice


def test_a_mark_before_three_digits_of_a_count_parts_thousands() -> None:
    assert decimal_mark("Seeds", ["1,234", "17"], whole=True) == (".", "")
    assert decimal_mark("Seeds", ["1.234", "17"], whole=True) == (",", "")
    with pytest.raises(InputError):
        decimal_mark("Seeds", ["1.234", "1,234"], whole=True)


@pytest.mark.parametrize(
    ("number", "mark", "plain"),
    [
        ("12,5", ",", "12.5"),
        ("1.234,50", ",", "1234.50"),
        ("1 234,5", ",", "1234.5"),
        ("1'234.5", ".", "1234.5"),
        ("1,234", ".", "1234"),
        ("-3.5", ".", "-3.5"),
        (".5", ".", ".5"),
        ("12,5", ".", ""),
        ("12.5", ",", ""),
        ("1.2.3", ".", ""),
        ("12 5", ".", ""),
        ("12,34,567", ".", ""),
    ],
)
def test_numbers_follow_their_column_or_are_refused(number: str, mark: str, plain: str) -> None:
    assert plain_number(number, mark) == plain


@given(st.integers(0, 10**9), st.integers(0, 3), st.sampled_from(".,"), st.booleans())
def test_a_number_written_in_any_way_keeps_its_value(digits: int, places: int, mark: str, grouped: bool) -> None:
    whole, part = divmod(digits, 10**places)
    thousands = "," if mark == "." else "."
    text = f"{whole:,}".replace(",", thousands) if grouped else str(whole)
    text += f"{mark}{part:0{places}}" if places else ""

    assert Fraction(plain_number(text, mark)) == Fraction(digits, 10**places)


def test_the_rest_of_a_cell_is_its_unit() -> None:
    assert leading_number("12,5 g") == ("12,5", "g")
    assert leading_number("4ft2") == ("4", "ft2")
    assert leading_number("n/a") == ("", "n/a")


@pytest.mark.parametrize(
    ("cells", "order"),
    [
        (["2025-08-21", "2025/8/3"], ""),
        (["21.08.2025", "03.04.2025"], "dmy"),
        (["08/21/2025", "03/04/2025"], "mdy"),
        (["8/21/25"], "mdy"),
        (["21 Aug 2025", "Aug 3, 2025"], ""),
        (["04/04/2025"], ""),
        (["2025-08-21", "21/08/2025 15:40"], "dmy"),
        (["31/31/2025", "n/a", "30/02/2025", "21/08/2025"], "dmy"),
    ],
)
def test_cells_decide_the_order_of_dates(cells: list[str], order: str) -> None:
    assert date_order("Date", cells) == (order, "")


@pytest.mark.parametrize("cells", [["03/04/2025", "05/06/2025"], ["21/08/2025", "08/21/2025"]])
def test_an_open_order_is_asked_for(cells: list[str]) -> None:
    with pytest.raises(InputError, match="--dates dmy or --dates mdy") as caught:
        date_order("Date", cells)
    assert caught.value.field == "column Date"
    assert date_order("Date", cells, "mdy") == ("mdy", "")


def test_a_date_in_a_hundred_is_a_slip_and_is_said() -> None:
    order, notice = date_order("Date", [*["21/08/2025"] * 100, "08/22/2025"])

    assert order == "dmy"
    assert "'08/22/2025'" in notice


@pytest.mark.parametrize(
    ("cell", "order", "date", "time"),
    [
        ("2025-08-03", "", "2025-08-03", ""),
        ("2025-08-03T15:40", "mdy", "2025-08-03", "15:40:00"),
        ("3.8.2025", "dmy", "2025-08-03", ""),
        ("03/08/25", "dmy", "2025-08-03", ""),
        ("8/3/2025 3:40 PM", "mdy", "2025-08-03", "15:40:00"),
        ("04/04/2025", "", "2025-04-04", ""),
        ("3 Aug 2025", "", "2025-08-03", ""),
        ("3-Sept-25", "", "2025-09-03", ""),
        ("August 3, 2025", "dmy", "2025-08-03", ""),
    ],
)
def test_dates_in_all_styles(cell: str, order: str, date: str, time: str) -> None:
    found = moment(cell, order)

    assert found is not None
    assert (found.date, found.time) == (date, time)


@pytest.mark.parametrize(
    ("cell", "order"),
    [
        ("08/21/2025", "dmy"),
        ("21/08/2025", "mdy"),
        ("03/04/2025", "iso"),
        ("30.02.2025", "dmy"),
        ("2025-13-01", ""),
        ("45890", ""),
        ("yesterday", ""),
        ("3 Foo 2025", ""),
        ("21.08.1725", "dmy"),
        ("2025-08-03 25:00", ""),
    ],
)
def test_what_is_no_date_is_none(cell: str, order: str) -> None:
    assert moment(cell, order) is None


@pytest.mark.parametrize(
    ("cell", "time"),
    [
        ("15:40", "15:40:00"),
        ("3:05 pm", "15:05:00"),
        ("12:00 am", "00:00:00"),
        ("12:30 PM", "12:30:00"),
        ("9:05:07", "09:05:07"),
        ("24:00", None),
        ("13:00 pm", None),
        ("0.65", None),
        ("15:40Z", None),
    ],
)
def test_times_of_day(cell: str, time: str | None) -> None:
    assert time_of_day(cell) == time
