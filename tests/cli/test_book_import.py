"""``chaffinch book import``: somebody's own spreadsheet of past checks."""

from __future__ import annotations

import json
import sqlite3
import subprocess
import sys
import time

import pytest
from farm_book import BOOK, logged

from chaffinch.book.desk import open_desk
from chaffinch.sync.envelope import canonical, seal

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


# --- dates, pastes, doubles ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("first", "second", "flags"),
    [
        ("2025-08-14", "2025-08-15", ()),
        ("14/08/2025", "15/08/2025", ()),
        ("08/14/2025", "08/15/2025", ()),
        ("14.08.2025", "15.08.2025", ()),
        ("14 Aug 2025", "August 15, 2025", ()),
        ("04/08/2025", "05/08/2025", ("--dates", "dmy")),
        ("08/04/2025", "08/05/2025", ("--dates", "mdy")),
    ],
)
def test_dates_in_each_style(chaffinch, farm, first, second, flags):
    """Year first, day first, month first, the month in letters: the same two days in August."""
    day = 4 if flags else 14
    text = SHEET.replace("14/08/2025", f'"{first}"').replace("15/08/2025", f'"{second}"').replace(",-3,", ",3,")
    (farm / "past.csv").write_text(text, encoding="utf-8")

    data = chaffinch("book", "import", "past.csv", "--zone", "UTC", "--json", *flags).data

    assert [c["taken_at"] for c in data["checks"]] == [f"2025-08-{day:02}T16:40:00Z", f"2025-08-{day + 1:02}T10:00:00Z"]


def test_a_paste_of_many_rows_with_a_few_bad_ones(farm):
    """Through standard input: the bad rows are listed with their reasons, the others come in; mended, they follow."""
    rows = [
        f"2025-08-{n % 28 + 1:02},F{n % 9},Old Bess,canola,discharge,4,{5 + n % 301 / 10:.1f},{3 + n / 10_000:.4f}"
        for n in range(800)
    ]
    spoilt = {7: rows[5].replace("discharge", "moon"), 90: rows[88] + ",extra", 400: rows[398].replace(",4,", ",,")}
    good = list(rows)
    for number, row in spoilt.items():
        rows[number - 2] = row
    head = "Date,Field,Combine,Crop,Place,Pan (ft2),Weight (g),Speed (mph)"

    def paste(lines: list[str]) -> subprocess.CompletedProcess[str]:
        words = [sys.executable, "-m", "chaffinch", "book", "import", "-", "--zone", "UTC", "--fixed", "country=CA"]
        return subprocess.run(
            words, input="\n".join([head, *lines]), capture_output=True, text=True, check=False, cwd=farm
        )

    first = paste(rows)
    assert first.returncode == 2
    for number in spoilt:
        assert f"◆ row {number}" in first.stdout
    assert "3 refused" in first.stdout
    again = paste(good)
    assert again.returncode == 0, again.stderr
    with sqlite3.connect(BOOK) as book:
        assert book.execute("SELECT COUNT(*) FROM catch_row").fetchone() == (800,)


def test_the_same_stop_with_other_terms_is_not_counted_twice(chaffinch, farm):
    """Brought in again with a price, or after the combine's width was mended: refused with what corrects the first."""
    (farm / "past.csv").write_text(SHEET.replace(",-3,", ",3,"), encoding="utf-8")
    words = ("book", "import", "past.csv", "--zone", "UTC", "--json")
    assert chaffinch(*words).status == 0
    for more in (("--fixed", "price=600 /t"), ("--fixed", "limit=60 kg/ha")):
        ran = chaffinch(*words, *more)
        assert (ran.status, ran.data["accepted"]) == (2, 0)
        assert "chaffinch book replace" in ran.data["refused"][0]["why"]
    assert chaffinch("book", "edit-label", "combine", "Old Bess", "drop_width", "70 in").status == 0
    more = "14/08/2025,16:40,Mill Field,Old Bess,canola,discharge,4,3.5,A\n15/08"
    (farm / "past.csv").write_text(SHEET.replace(",-3,", ",3,").replace("15/08", more), encoding="utf-8")
    ran = chaffinch(*words)
    assert [r["number"] for r in ran.data["refused"]] == [2, 3, 4]
    assert len(chaffinch("book", "show", "checks", "--json").data["checks"]) == 2


def test_an_hour_the_clocks_show_twice_refuses_its_rows(chaffinch, farm, monkeypatch):
    """A stop in the night the clocks go back: its rows are listed, the others come in; an offset settles it."""
    text = SHEET.replace("14/08/2025,16:40", "02/11/2025,01:30").replace("15/08", "15/10").replace(",-3,", ",3,")
    (farm / "past.csv").write_text(text, encoding="utf-8")
    with monkeypatch.context() as prairie:
        prairie.setenv("TZ", "CST6CDT,M3.2.0,M11.1.0")
        time.tzset()
        data = chaffinch("book", "import", "past.csv", "--json").data
    time.tzset()
    assert [(r["number"], r["column"]) for r in data["refused"]] == [(2, "Time"), (3, "Time")]
    assert "twice" in data["refused"][0]["why"]
    assert [c["rows"] for c in data["checks"]] == [[4]]
    assert chaffinch("book", "import", "past.csv", "--zone", "-06:00", "--json").data["accepted"] == 2


def test_an_id_that_is_there_twice_is_set_aside_and_told(chaffinch, farm):
    """A second record under a known id: both kept, neither counted, and the import says one is in conflict."""
    logged(chaffinch)
    assert chaffinch("book", "export", "taken", "--json").status == 0
    assert chaffinch("book", "new", "copy.db", "--title", "Copy").status == 0
    lines = (farm / "taken/records.jsonl").read_text(encoding="utf-8").splitlines()
    one = json.loads(next(line for line in lines if '"kind":"check"' in line))
    other = seal(one["id"], "check", 1, "other phone", one["device_time"], {**one["body"], "reason": "another"})
    with (farm / "taken/records.jsonl").open("ab") as file:
        file.write(canonical(other.as_dict()) + b"\n")

    damaged = chaffinch("book", "--book", "copy.db", "import", "taken")
    assert (damaged.status, "--salvage" in damaged.err or "salvaged" in damaged.err) == (2, True)
    data = chaffinch("book", "--book", "copy.db", "import", "taken", "--salvage", "--json").data

    assert (data["accepted"], data["conflicts"], data["refused"]) == (6, 1, [])
    assert chaffinch("book", "--book", "copy.db", "show", "checks", "--json").data["checks"] == []
    assert chaffinch("book", "--book", "copy.db", "show", "--json").data["conflicts"] == 1


def test_a_sheet_of_another_crop_than_the_books_field_is_refused(chaffinch, farm):
    """As when a check is logged: a row of wheat does not go under a field of canola of that season."""
    head = "Date,Field,Combine,Crop,Place,Pan (ft2),Weight (g)\n"
    rows = (
        "2026-08-21,Long Hollow,Old Bess,wheat,discharge,4,12.5\n2026-08-22,Long Hollow,Old Bess,canola,discharge,4,9\n"
    )
    (farm / "past.csv").write_text(head + rows, encoding="utf-8")
    ran = chaffinch("book", "import", "past.csv", "--json")
    assert [(r["number"], r["value"]) for r in ran.data["refused"]] == [(2, "wheat")]
    assert "is not the crop of Long Hollow, which is canola" in ran.data["refused"][0]["why"]
    assert chaffinch("where", "--field", "Long Hollow", "--json").data["checks_on_it"] == 1


def test_doubles_in_the_book_get_no_third_from_a_sheet(chaffinch, farm):
    """Alike, the first is meant, and no field is added; once they differ the row is refused with both ids."""
    desk = open_desk(BOOK)
    field = chaffinch("book", "show", "fields", "--json").data["things"][0]
    double = desk.write("field", {"name": "long hollow", "season": field["season"], "crop": "canola"})
    head = "Date,Field,Combine,Crop,Place,Pan (ft2),Weight (g)\n"
    (farm / "past.csv").write_text(head + "2026-08-21,Long Hollow,Old Bess,canola,discharge,4,12.5\n", encoding="utf-8")

    assert chaffinch("book", "import", "past.csv", "--json").data["added"] == []
    assert chaffinch("where", "--field", field["id"], "--json").data["checks_on_it"] == 1
    assert chaffinch("book", "edit-label", "field", double.id[:8], "area", "9 ha").status == 0
    (farm / "past.csv").write_text(head + "2026-08-21,Long Hollow,Old Bess,canola,discharge,4,13\n", encoding="utf-8")
    ran = chaffinch("book", "import", "past.csv", "--json")
    assert ran.status == 2
    assert double.id[:8] in ran.data["refused"][0]["why"]
    assert len(chaffinch("book", "show", "fields", "--json").data["things"]) == 2
