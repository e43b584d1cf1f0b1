"""One name, however it was typed: accents as one sign or two, capitals, blanks; a season that a field is not in."""

from __future__ import annotations

import unicodedata

import pytest
from farm_book import BOOK, CHECK

from chaffinch.book.desk import open_desk

pytestmark = pytest.mark.usefixtures("farm")

ONE_SIGN = unicodedata.normalize("NFC", "Pré d'Été")
TWO_SIGNS = unicodedata.normalize("NFD", "Pré d'Été")


def test_accents_typed_on_two_devices_are_one_name(chaffinch, farm):
    """Added with e and an accent, found with é and the other way round, stored in one form, refused as taken."""
    assert ONE_SIGN != TWO_SIGNS
    assert chaffinch("book", "add", "field", TWO_SIGNS, "--set", "crop=canola").status == 0
    names = [t["name"] for t in chaffinch("book", "show", "fields", "--json").data["things"]]
    assert names[-1] == ONE_SIGN
    for name in (ONE_SIGN, TWO_SIGNS, ONE_SIGN.upper()):
        assert chaffinch("book", "show", "field", name).status == 0, name
        assert chaffinch("book", "history", name).status == 0, name
        ran = chaffinch("book", "add", "field", name)
        assert (ran.status, "taken" in ran.err) == (2, True), name
    (farm / "check.toml").write_text(CHECK.replace("Long Hollow", TWO_SIGNS), encoding="utf-8")
    ran = chaffinch("book", "log", "check.toml")
    assert (ran.status, ran.err) == (0, "")
    stored = chaffinch("book", "history", ran.out.split()[1], "--json").data["versions"][0]["body"]
    assert stored["check"]["field"]["name"] == ONE_SIGN
    assert chaffinch("where", "--field", TWO_SIGNS, "--json").data["checks_on_it"] == 1


def test_a_name_stored_in_the_other_form_is_still_found(chaffinch):
    """As an older book or another device has sealed it: found by either form, its twin refused."""
    open_desk(BOOK).write("field", {"name": TWO_SIGNS})

    for name in (ONE_SIGN, TWO_SIGNS):
        assert chaffinch("book", "show", "field", name).status == 0
        assert chaffinch("book", "add", "field", name).status == 2
    assert chaffinch("book", "edit-label", "field", ONE_SIGN, "name", "Mill").status == 0
    assert chaffinch("book", "edit-label", "field", "Mill", "name", TWO_SIGNS).status == 0
    assert [t["name"] for t in chaffinch("book", "show", "fields", "--json").data["things"]][-1] == ONE_SIGN


def test_a_sheet_in_the_other_form_comes_in_once(chaffinch, farm):
    """The same rows, the names with two signs: known, and no second field, combine or driver."""
    head = "Date,Field,Combine,Operator,Crop,Place,Pan (ft2),Weight (g),Cut width (ft),Drop width (in)\n"
    row = f"2025-08-21,{ONE_SIGN},Aïda,Zoé,canola,discharge,4,12.5,40,66\n"
    (farm / "one.csv").write_text(head + row, encoding="utf-8")
    (farm / "two.csv").write_text(unicodedata.normalize("NFD", head + row), encoding="utf-8")

    assert chaffinch("book", "import", "one.csv", "--json").data["kinds"]["check"] == 1
    again = chaffinch("book", "import", "two.csv", "--json").data
    assert (again["accepted"], again["known"], again["added"]) == (0, 1, [])


def test_a_field_that_is_not_in_the_season_named_is_not_taken_from_another(chaffinch):
    """Long Hollow is a field of 2026 alone: 2027 is refused for looking and for logging, and its season is named."""
    assert chaffinch("book", "add", "season", "2027").status == 0
    for words in (
        ("where", "--field", "Long Hollow", "--season", "2027"),
        ("book", "log", "check.toml", "--field", "Long Hollow", "--season", "2027"),
        ("book", "show", "field", "Long Hollow", "--season", "2027"),
    ):
        ran = chaffinch(*words)
        assert (ran.status, ran.out) == (2, ""), words
        assert "not in season 2027" in ran.err
        assert "2026" in ran.err


def test_what_may_be_said_once_is_refused_twice(chaffinch):
    """A condition, a setting, a flag, a column, something for all rows: the last one does not win in silence."""
    before = chaffinch("book", "verify", "--json").data["records"]
    for words, name in (
        (("log", "check.toml", "--condition", "humidity_pct=45", "--condition", "humidity_pct=54"), "humidity_pct"),
        (("log", "check.toml", "--setting", "rotor speed=600 rpm", "--setting", "Rotor  speed=660 rpm"), "otor"),
        (("log", "check.toml", "--at", "2026-08-14 16:40", "--at", "2026-08-14 17:40"), "--at"),
        (("log", "check.toml", "--field", "Long Hollow", "--field", "Mill"), "--field"),
        (("log", "--crop", "canola", "--crop", "wheat", "--amount", "3 g"), "--crop"),
        (("replace", "3f2a9c1b", "check.toml", "--reason", "a", "--reason", "b"), "--reason"),
        (("import", "past.csv", "--fixed", "crop=canola", "--fixed", "crop=wheat"), "crop"),
        (("import", "past.csv", "--column", "Where=place", "--column", "where=-"), "here"),
    ):
        with open("past.csv", "w", encoding="utf-8") as file:
            file.write("Date,Where,Weight (g)\n2025-08-21,discharge,12.5\n")
        ran = chaffinch("book", *words, *(("--json",) if words[0] == "import" else ()))
        assert (ran.status, ran.out) == (2, ""), words
        assert "twice" in ran.err, ran.err
        assert name in ran.err
    assert chaffinch("book", "verify", "--json").data["records"] == before


def test_settings_beyond_what_a_record_holds_are_refused_before_anything_else(chaffinch):
    """No number, none that is one: one line, before the file is even looked at for doubles."""
    for words in (("--setting", "fan=nan rpm"), ("--condition", "humidity_pct=inf"), ("--setting", f"{'x' * 61}=1")):
        ran = chaffinch("book", "log", "check.toml", *words)
        assert (ran.status, ran.out, ran.err.count("\n")) == (2, "", 1), ran
