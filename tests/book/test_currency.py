"""Money of two currencies is refused, whoever told it; money without a sign is the farm's."""

from __future__ import annotations

import pytest

from chaffinch.book.currency import one_currency, price_told, read_told
from chaffinch.book.pace.hour_costs import money_of
from chaffinch.book.things import edit_label, find_thing
from chaffinch.errors import InputError
from chaffinch.units.money import same_currency
from season_book import start


@pytest.fixture
def book(tmp_path):
    return start(tmp_path / "larkhollow.chaffinch")


def price(text, field="price"):
    return read_told(text, "price", field=field)


@pytest.mark.parametrize(
    ("first", "second", "same"),
    [
        ("$", "$", True), ("€", "EUR", True), ("eur", "€", True), ("$", "CAD", True), ("USD", "US$", True),
        ("¥", "JPY", True), ("$", "€", False), ("USD", "CAD", False), ("£", "EUR", False), ("¥", "$", False),
    ],
)  # fmt: skip
def test_which_names_can_mean_one_currency(first, second, same):
    assert same_currency(first, second) is same
    assert same_currency(second, first) is same


def test_no_sign_is_the_farms(book):
    assert one_currency(book.desk, [price("600 /t"), price("$600 /t")]) == "$"
    assert one_currency(book.desk, []) == "$"
    assert one_currency(book.desk, [price("600 CAD/t")]) == "$"


def test_another_currency_than_the_farms_is_refused_and_named(book):
    with pytest.raises(InputError, match=r"--price: is in €, the farm's money in \$.*write it in \$"):
        one_currency(book.desk, [price("600 /t"), price("600 €/t", "--price")])


def test_two_that_each_go_with_the_farms_need_not_go_together(book):
    with pytest.raises(InputError, match="hour cost: is in USD, price in CAD"):
        one_currency(book.desk, [price("600 CAD/t"), price("600 USD/t", "hour cost")])


def test_a_farm_without_money_takes_the_first_told(book):
    edit_label(book.desk, find_thing(book.desk, "farm", "Larkhollow"), "currency", None)

    assert one_currency(book.desk, [price("600 /t")]) == ""
    assert one_currency(book.desk, [price("600 €/t"), price("5 /t")]) == "€"
    with pytest.raises(InputError, match="two currencies"):
        one_currency(book.desk, [price("600 €/t"), price("600 $/t")])


def test_the_price_of_a_field(book):
    assert price_told(None) is None
    field = find_thing(book.desk, "field", "Far Common")
    told = price_told(field)
    assert told is not None
    assert (told.field, told.currency) == ("field Far Common, price", "")


def test_the_parts_of_an_hour_are_all_heard():
    given = {"wage": "32 €/h", "fuel": "62 L/h", "fuel_price": "$1.35 /L", "wear": None, "area_left": "300 ha"}
    told = money_of(given, called=lambda name: f"--{name}")

    assert {one.field: one.currency for one in told} == {"--wage": "€", "--fuel-price": "$"}
