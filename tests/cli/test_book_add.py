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


@pytest.mark.parametrize(
    ("words", "fragment"),
    [
        (("field", "Long\nHollow"), "one line"),
        (("field", "a\tb"), "one line"),
        (("field", "Long\u200bHollow"), "one line"),
        (("pan", "4 ft2", "--set", "area=1 m2"), "reads like a size"),
        (("pan", "2 ft x 3 ft", "--set", "area=1 m2"), "reads like a size"),
        (("pan", "60 cm", "--set", "area=1 m2"), "reads like a size"),
    ],
)
def test_a_name_that_would_mislead_is_refused(chaffinch, words, fragment):
    """A line end nobody can type again; a pan called by another size than its own."""
    before = chaffinch("book", "verify", "--json").data["records"]
    ran = chaffinch("book", "add", *words)
    assert (ran.status, ran.out) == (2, "")
    assert fragment in ran.err
    assert chaffinch("book", "verify", "--json").data["records"] == before
    if words[0] == "pan":
        ran = chaffinch("book", "edit-label", "pan", "tray", "name", words[1])
        assert (ran.status, fragment in ran.err) == (2, True)
