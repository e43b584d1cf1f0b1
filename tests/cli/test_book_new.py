"""``chaffinch book new``: a new, empty book."""

from __future__ import annotations

import pytest

pytestmark = pytest.mark.usefixtures("farm")


def test_new_book_is_empty_and_named(chaffinch):
    """``book new`` makes one file with that title and nothing in it."""
    ran = chaffinch("book", "new", "other.chaffinch", "--title", "Stonefold")

    assert ran.status == 0
    data = chaffinch("book", "--book", "other.chaffinch", "show", "--json").data
    assert (data["title"], data["things"], data["check_records"]) == ("Stonefold", {}, 0)


def test_a_book_that_is_not_found_by_itself_is_said_to_be_so(chaffinch, tmp_path):
    """A name without our suffix is allowed, and the consequence told."""
    ran = chaffinch("book", "new", str(tmp_path / "farm.db"), "--title", "Larkhollow")
    assert "--book" in ran.out
