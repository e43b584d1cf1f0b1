"""How much a combine's catches differ, by its own checks."""

from __future__ import annotations

from chaffinch.book.own_variation import own_variations
from chaffinch.book.things import find_thing
from season_book import start


def of_old_bess(book):
    return own_variations(book.desk, find_thing(book.desk, "combine", "Old Bess"))


def test_eight_checks_of_even_pans_say_so(tmp_path):
    book = start(tmp_path / "larkhollow.chaffinch")
    for hour in range(7):
        book.check("Old Bess", 10, 8 + hour, machine_kg_ha=40.0)
    assert of_old_bess(book) == ()
    book.check("Old Bess", 11, 8, machine_kg_ha=40.0)
    (found,) = of_old_bess(book)

    assert found.taken == "narrow"
    assert found.checks == 8
    # The pans differ by about a tenth, where 0.40 is assumed.
    assert found.c0.high < 0.40
    assert found.c0.low < 0.15


def test_single_pans_say_nothing(tmp_path):
    book = start(tmp_path / "larkhollow.chaffinch")
    for hour in range(12):
        book.check("Old Bess", 10, 8 + hour, pans=1)

    assert of_old_bess(book) == ()
