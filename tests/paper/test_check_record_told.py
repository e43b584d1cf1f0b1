"""The catches of a record, as a person reads them: no digits that nobody wrote, no words of the program."""

from __future__ import annotations

from typing import Any

import pytest

from chaffinch.book.checks.answer import answer
from chaffinch.book.checks.said import sentence
from chaffinch.paper.check_record_told import catches_told, shown_amount
from chaffinch.records.checkfile import check_from_table, check_to_table


def told(**catch: Any) -> list[str]:
    one = {"place": "standing", "pan": "0.4 m2", **catch}
    (row,) = catches_told(check_from_table({"crop": "canola", "catch": [one]}), feet=False)
    return row


@pytest.mark.parametrize(
    ("catch", "amount", "rest"),
    [
        ({"amount": "16 g"}, "16 g", "step 1 g by the digits"),
        ({"amount": "18.0 g"}, "18.0 g", "step 0.1 g by the digits"),
        ({"amount": "18,0 g", "step": "0.5 g", "bag": "3"}, "18.0 g", "step 0.5 g, bag 3"),
        ({"amount": "0.75 oz", "step": "0.05 oz"}, "21.262 g", "step 1.4175 g"),
        ({"amount": "1000 g", "step": "100 g"}, "1000 g", "step 100 g"),
        ({"amount": "0 g", "step": "0.01 g"}, "0.00 g", "step 0.01 g"),
        ({"amount": "44 seeds"}, "44 seeds", ""),
        ({"amount": "20 mL"}, "20 mL", "step 1 mL by the digits"),
        ({"gross": "530.5 g", "tare": "512 g", "step": "0.5 g"}, "18.5 g", "step 0.5 g"),
    ],
)
def test_amount_and_step(catch: dict[str, Any], amount: str, rest: str) -> None:
    row = told(**catch)
    assert row[:2] == ["1", "standing"]
    assert row[3:] == [amount, rest]


def test_what_a_form_shows_is_a_reading_of_the_same_step() -> None:
    """Typed anew as it is shown, a reading has the step it had: 16 g never becomes 16.0 g."""
    for text in ("16 g", "18.0 g", "0.75 g", "20 mL", "12,50 g"):
        check = check_from_table({"crop": "canola", "catch": [{"place": "standing", "pan": "0.4 m2", "amount": text}]})
        shown = shown_amount(check_to_table(check)["catch"][0])
        again = {"place": "standing", "pan": "0.4 m2", "amount": shown}
        assert check_from_table({"crop": "canola", "catch": [again]}).catches == check.catches


def test_paper_and_phone_name_no_key_of_a_file() -> None:
    """A person at the field's edge, or with a sheet of paper, writes no ``widths_taped = true``."""
    found = answer(
        check_from_table(
            {"crop": "canola", "limit": "60 kg/ha", "combine": {"cut_width": "12 m", "drop_width": "1.7 m"},
             "catch": [{"place": "discharge", "pan": "0.4 m2", "amount": "21.5 g"}]}
        )
    )  # fmt: skip
    (said,) = [sentence(one, found.check) for one in found.notices if one.key == "width-guessed"]
    assert "widths_taped" not in said
    assert "tape it and say so where the widths stand for ± 2 %" in said
