"""``chaffinch book import``: somebody's own spreadsheet of past checks."""

from __future__ import annotations

import pytest

pytestmark = pytest.mark.usefixtures("farm")

SHEET = """Date,Time,Paddock,Machine,Crop,Where,Tray (ft2),Weight (g),Bin
14/08/2025,16:40,Mill Field,Old Bess,canola,discharge,4,12.5,A
14/08/2025,16:40,Mill Field,Old Bess,canola,discharge,4,9.5,A
15/08/2025,10:00,Pond Field,Old Bess,canola,discharge,4,-3,B
"""


def test_a_spreadsheet_comes_in_and_bad_rows_are_listed(chaffinch, farm):
    """Columns are shown with what they were taken for; the bad row is named, the others come in, once."""
    (farm / "past.csv").write_text(SHEET, encoding="utf-8")

    dry = chaffinch("book", "import", "past.csv", "--dry-run", "--zone", "UTC")
    assert dry.status == 2  # a row was refused
    assert "Tray (ft2)   pan         ft2" in dry.out
    assert "row 4, Weight (g)" in dry.out
    assert chaffinch("book", "show", "checks", "--json").data["checks"] == []
    ran = chaffinch("book", "import", "past.csv", "--zone", "UTC", "--json")
    assert [c["rows"] for c in ran.data["checks"]] == [[2, 3]]
    assert ran.data["checks"][0]["taken_at"] == "2025-08-14T16:40:00Z"
    assert [r["number"] for r in ran.data["refused"]] == [4]
    assert chaffinch("book", "import", "past.csv", "--zone", "UTC", "--json").data["known"] == 1


def test_a_matching_can_be_changed_kept_and_used_again(chaffinch, farm):
    """--column and --fixed change what a column means; the matching kept in a file does the same the next time."""
    text = SHEET.replace("Where", "Spot").replace(",canola", "").replace(",Crop", "").replace(",-3,", ",3,")
    (farm / "past.csv").write_text(text, encoding="utf-8")
    more = ("--column", "Spot=place", "--fixed", "crop=canola", "--zone", "UTC")

    ran = chaffinch("book", "import", "past.csv", "--dry-run", *more, "--save-matching", "kept.toml")
    assert ran.status == 0, ran.err
    data = chaffinch("book", "import", "past.csv", "--matching", "kept.toml", "--json").data
    assert (data["refused"], len(data["checks"])) == ([], 2)
    assert chaffinch("book", "import", "past.csv", "--dry-run", *more, "--save-matching", "kept.toml").status == 2


def test_dates_that_could_be_read_two_ways_need_a_word(chaffinch, farm):
    """04/08/2025 is two days: refused without --dates, taken with it."""
    (farm / "past.csv").write_text(SHEET.replace("14/08", "04/08").replace("15/08", "05/08"), encoding="utf-8")

    ran = chaffinch("book", "import", "past.csv", "--json")
    assert ran.status == 2
    assert "dmy" in ran.err
    ran = chaffinch("book", "import", "past.csv", "--dates", "dmy", "--zone", "UTC", "--json")
    assert ran.data["checks"][0]["taken_at"] == "2025-08-04T16:40:00Z"
