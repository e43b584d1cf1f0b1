"""``chaffinch book edit-label``: what is said about a thing changes, and its history keeps the old."""

from __future__ import annotations

import pytest
from farm_book import CHECK, logged

pytestmark = pytest.mark.usefixtures("farm")


def test_a_label_is_edited_cleared_and_its_history_kept(chaffinch):
    """The new value holds, the old one stays in the history, a cleared one is gone."""
    ran = chaffinch("book", "edit-label", "field", "Long Hollow", "area", "64 ha")
    assert "area 64 ha (was 62 ha)" in ran.out
    assert chaffinch("book", "edit-label", "field", "Long Hollow", "limit", "--clear").status == 0

    field = chaffinch("book", "show", "fields", "--json").data["things"][0]
    assert field["area"] == "64 ha"
    assert "limit" not in field
    data = chaffinch("book", "history", "Long Hollow", "--json").data
    assert data["first"]["area"] == "62 ha"
    assert [(e["field"], e["value"], e["holds"]) for e in data["edits"]] == [
        ("area", "64 ha", True),
        ("limit", None, True),
    ]
    page = chaffinch("book", "history", "field", "Long Hollow").out
    assert "area: 62 ha" in page
    assert "area 64 ha (holds)" in page


# --- retired ------------------------------------------------------------------------------------------------------


@pytest.fixture
def retired(chaffinch, farm):  # noqa: ARG001 - the book comes first
    """A check under Long Hollow, which was then retired; its id."""
    record = logged(chaffinch)
    assert chaffinch("book", "edit-label", "field", "Long Hollow", "--retire").status == 0
    return record


def test_a_retired_thing_is_shown_by_name_and_marked(chaffinch, retired):
    """Its page, its history, its checks and its sum are there; each page says it is retired."""
    assert "Long Hollow (retired)" in chaffinch("book", "show", "fields").out
    page = chaffinch("book", "show", "field", "long hollow")
    assert page.status == 0, page.err
    assert "Long Hollow (retired)" in page.out
    history = chaffinch("book", "history", "Long Hollow")
    assert history.status == 0, history.err
    assert "Long Hollow (retired)" in history.out
    assert "retired yes (holds)" in history.out
    assert chaffinch("where", "--field", "Long Hollow", "--json").data["checks_on_it"] == 1
    listed = chaffinch("book", "show", "checks", "--field", "Long Hollow", "--json").data["checks"]
    assert [c["id"] for c in listed] == [retired]


@pytest.mark.usefixtures("retired")
def test_it_comes_back_by_name(chaffinch):
    """--un-retire finds it, and then it can be filed under again."""
    ran = chaffinch("book", "edit-label", "field", "Long Hollow", "--un-retire")
    assert ran.status == 0, ran.err
    assert "retired no (was yes)" in ran.out
    assert chaffinch("book", "log", "check.toml", "--again").status == 0
    assert chaffinch("where", "--field", "Long Hollow", "--json").data["checks_on_it"] == 2


@pytest.mark.usefixtures("retired")
def test_no_new_check_is_filed_under_it(chaffinch, farm):
    """By flag, by its id, and by the name in the file: refused with the mend, which works as it stands."""
    field = chaffinch("book", "show", "fields", "--json").data["things"][0]["id"]
    before = chaffinch("book", "verify", "--json").data["records"]
    for words in (("--field", "Long Hollow"), ("--field", field[:8]), ()):
        ran = chaffinch("book", "log", "check.toml", "--again", *words)
        assert (ran.status, ran.out) == (2, ""), words
        assert "is retired" in ran.err
        assert 'chaffinch book edit-label field "Long Hollow" --un-retire' in ran.err
    assert chaffinch("book", "verify", "--json").data["records"] == before
    (farm / "check.toml").write_text(CHECK.replace('name = "Long Hollow"', 'name = "Old"'), encoding="utf-8")
    assert chaffinch("book", "log", "check.toml", "--again").status == 0  # another name is not in its way


def test_a_correction_may_stay_where_it_was_but_not_move_there(chaffinch, retired):
    """The old check of a field no longer in use can be corrected; another one cannot be moved into it."""
    ran = chaffinch("book", "replace", retired[:8], "check.toml", "--reason", "looked again")
    assert ran.status == 0, ran.err
    assert chaffinch("book", "add", "field", "Stone Corner", "--set", "crop=canola").status == 0
    other = logged(chaffinch, "--again", "--field", "Stone Corner")
    ran = chaffinch("book", "replace", other[:8], "--field", "Long Hollow", "--reason", "wrong field")
    assert (ran.status, "is retired" in ran.err) == (2, True)


def test_a_sheet_makes_no_second_thing_beside_a_retired_one(chaffinch, farm):
    """Rows that name it are refused with the mend; they come in once it is back."""
    head = "Date,Field,Combine,Crop,Place,Pan (ft2),Weight (g)\n"
    (farm / "past.csv").write_text(head + "2025-08-21,Mill,Old Bess,canola,discharge,4,12.5\n", encoding="utf-8")
    assert chaffinch("book", "edit-label", "combine", "Old Bess", "--retire").status == 0

    ran = chaffinch("book", "import", "past.csv", "--json")

    assert ran.status == 2
    assert "is retired" in ran.data["refused"][0]["why"]
    assert ran.data["added"] == []
    assert chaffinch("book", "edit-label", "combine", "Old Bess", "--un-retire").status == 0
    assert chaffinch("book", "import", "past.csv", "--json").data["kinds"]["check"] == 1
    assert len(chaffinch("book", "show", "combines", "--json").data["things"]) == 1


# --- taken names --------------------------------------------------------------------------------------------------


def test_a_name_that_is_taken_is_refused(chaffinch):
    """As when a thing is added, capitals or not; its own name in other capitals is its to take."""
    assert chaffinch("book", "add", "combine", "Young Bess", "--set", "cut_width=9 m").status == 0
    for name in ("Old Bess", "OLD  bess"):
        ran = chaffinch("book", "edit-label", "combine", "Young Bess", "name", name)
        assert (ran.status, ran.out) == (2, ""), ran
        assert "taken" in ran.err
        assert chaffinch("book", "add", "combine", name, "--set", "cut_width=9 m").status == 2
    assert chaffinch("book", "edit-label", "combine", "Old Bess", "name", "OLD BESS").status == 0
    names = [t["name"] for t in chaffinch("book", "show", "combines", "--json").data["things"]]
    assert names == ["OLD BESS", "Young Bess"]


def test_a_season_or_a_return_that_makes_a_twin_is_refused(chaffinch):
    """A field moved into the season of its namesake, a retired one brought back beside it: neither."""
    assert chaffinch("book", "add", "season", "2027").status == 0
    assert chaffinch("book", "add", "field", "Long Hollow", "--set", "season=2027").status == 0
    second = chaffinch("book", "show", "fields", "--json").data["things"][1]["id"][:8]
    ran = chaffinch("book", "edit-label", "field", second, "season", "2026")
    assert (ran.status, "taken" in ran.err) == (2, True)
    assert chaffinch("book", "edit-label", "combine", "Old Bess", "--retire").status == 0
    old = chaffinch("book", "show", "combines", "--json").data["things"][0]["id"][:8]
    assert chaffinch("book", "add", "combine", "Old Bess", "--set", "cut_width=9 m").status == 0
    ran = chaffinch("book", "edit-label", "combine", old, "--un-retire")
    assert (ran.status, "taken" in ran.err) == (2, True)


@pytest.mark.parametrize(
    ("words", "fragment"),
    [
        (("Long Hollow",), "--retire"),
        (("Long Hollow", "area", "62 ha", "--retire"), "--retire"),
        (("Long Hollow", "--un-retire", "--clear"), "--un-retire"),
    ],
)
def test_retire_goes_alone(chaffinch, words, fragment):
    ran = chaffinch("book", "edit-label", "field", *words)
    assert (ran.status, ran.out, fragment in ran.err) == (2, "", True)
