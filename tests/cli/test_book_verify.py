"""``chaffinch book verify`` and ``rebuild``: a whole book, a damaged one, an index made anew."""

from __future__ import annotations

import sqlite3

import pytest
from farm_book import BOOK, logged

pytestmark = pytest.mark.usefixtures("farm")


def test_verify_tells_a_whole_book_from_a_damaged_one(chaffinch):
    """Whole: counts and status 0. A changed body: the record named, status 1, in JSON too."""
    record = logged(chaffinch)
    ran = chaffinch("book", "verify")
    assert (ran.status, ran.out.startswith("whole: 6 records")) == (0, True)
    with sqlite3.connect(BOOK) as book:
        book.execute("UPDATE record SET body = replace(body, '12.5 g', '12.6 g') WHERE id = ?", (record,))

    ran = chaffinch("book", "verify")
    assert ran.status == 1
    assert record in " ".join(ran.out.split())
    assert ran.err.count("\n") == 1
    ran = chaffinch("book", "verify", "--json")
    assert ran.status == 1
    assert ran.data["whole"] is False


def test_rebuild_mends_an_index(chaffinch):
    """An index that lost a row fails to verify; rebuild brings it back from the records."""
    logged(chaffinch)
    with sqlite3.connect(BOOK) as book:
        book.execute("DELETE FROM catch_row")
    assert chaffinch("book", "verify").status == 1

    assert chaffinch("book", "rebuild").status == 0
    assert chaffinch("book", "verify").status == 0
