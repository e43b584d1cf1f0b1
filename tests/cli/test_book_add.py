"""``chaffinch book add``: things with what is said about them."""

from __future__ import annotations

import pytest

pytestmark = pytest.mark.usefixtures("farm")


def test_flags_and_notes_are_added(chaffinch):
    """A flag is read as a flag, a note's text is its name, what it is about may be given by name."""
    assert (
        chaffinch("book", "add", "combine", "Young Bess", "--set", "cut_width=9 m", "--set", "widths_taped=yes").status
        == 0
    )
    assert chaffinch("book", "add", "note", "stones in the north corner", "--set", "of=Long Hollow").status == 0

    taped = chaffinch("book", "show", "combine", "Young Bess", "--json").data
    assert taped["widths_taped"] is True
    note = chaffinch("book", "show", "notes", "--json").data["things"][0]
    field = chaffinch("book", "show", "fields", "--json").data["things"][0]
    assert (note["text"], note["of"]) == ("stones in the north corner", field["id"])
