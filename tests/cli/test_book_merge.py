"""``chaffinch book merge``: two books become equal."""

from __future__ import annotations

import shutil

import pytest
from farm_book import BOOK, logged

pytestmark = pytest.mark.usefixtures("farm")


def test_merge_makes_two_books_equal(chaffinch):
    """What one has goes to the other, both ways; a second time nothing moves."""
    shutil.copy(BOOK, "phone.db")
    logged(chaffinch)
    ran = chaffinch("book", "--book", "phone.db", "log", "check.toml", "--at", "2026-08-15 10:00")
    assert ran.status == 0

    data = chaffinch("book", "merge", "phone.db", "--json").data
    assert (data["here"]["accepted"], data["there"]["accepted"]) == (1, 1)
    data = chaffinch("book", "merge", "phone.db", "--json").data
    assert (data["here"]["accepted"], data["there"]["accepted"]) == (0, 0)
    assert "0 came in" in chaffinch("book", "merge", "phone.db").out
    for book in (BOOK, "phone.db"):
        assert len(chaffinch("book", "--book", book, "show", "checks", "--json").data["checks"]) == 2


def test_conflicts_come_up_after_a_merge(chaffinch):
    """Two different records under one id: both kept, shown, and the overview says so."""
    from chaffinch.book.desk import open_desk

    assert chaffinch("book", "new", "phone.db", "--title", "Phone").status == 0
    for address, name in ((BOOK, "Mill"), ("phone.db", "Pond")):
        desk = open_desk(address)
        same_id = type(desk)(desk.store, desk.device, desk.now, lambda: "00000000-0000-4000-8000-000000000001")
        same_id.write("operator", {"name": name})

    ran = chaffinch("book", "merge", "phone.db")
    assert ran.status == 0
    assert "in conflict" in ran.out
    assert "00000000" in chaffinch("book", "show", "conflicts").out
    assert chaffinch("book", "show", "--json").data["conflicts"] == 1
