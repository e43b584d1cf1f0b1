"""The book commands on a book of an invented farm: each does what it says, and its JSON says the same."""

from __future__ import annotations

import json
import shutil
import sqlite3
import subprocess
import sys
from datetime import UTC, datetime

import pytest
from farm_book import CHECK, live_there, logged

BOOK = "larkhollow.chaffinch"


@pytest.fixture
def farm(chaffinch, tmp_path, monkeypatch):
    monkeypatch.setenv("TZ", "UTC")
    monkeypatch.setattr("chaffinch.cli.book_times.clock", lambda: datetime(2030, 1, 1, tzinfo=UTC))
    live_there(chaffinch, tmp_path, monkeypatch)
    return tmp_path


pytestmark = pytest.mark.usefixtures("farm")


# --- things -------------------------------------------------------------------------------------------------------


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


def test_things_are_listed_with_what_is_said_about_them(chaffinch):
    """A yield given in bushels comes back in bushels; a season by its name."""
    out = " ".join(chaffinch("book", "show", "fields").out.split())
    assert "Long Hollow: area 62 ha, crop canola, limit 1 bu/ac, price 14.5 /bu, season 2026" in out

    found = chaffinch("book", "show", "things", "--json").data["things"]
    assert [t["kind"] for t in found] == ["farm", "season", "combine", "field", "pan"]
    one = chaffinch("book", "show", "combine", "Old Bess").out
    assert "cut_width    40 ft" in one


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


# --- logging and correcting ---------------------------------------------------------------------------------------


def test_a_check_file_is_logged_and_filed_by_the_names_in_it(chaffinch):
    """Field, season and combine are found by name, the time in UTC; "saved" with the id."""
    ran = chaffinch("book", "log", "check.toml")

    assert ran.status == 0
    assert ran.out.startswith("saved ")
    assert ran.out.strip().endswith("canola, 1 catch · Long Hollow · Old Bess")
    one = chaffinch("book", "show", "checks", "--json").data["checks"][0]
    assert one["taken_at"] == "2026-08-14T16:40:00Z"
    assert None not in (one["field"], one["season"], one["combine"])


def test_a_stored_check_gives_the_same_answer_as_its_file(chaffinch):
    """Nothing is lost on the way into the book and out of it."""
    record = logged(chaffinch)

    from_book = chaffinch("check", "--book", BOOK, record[:8], "--json")
    assert from_book.status == 0
    assert from_book.data == chaffinch("check", "check.toml", "--json").data
    shown = chaffinch("book", "show", "check", record[:8], "--json").data
    plain = chaffinch("check", "check.toml", "--json").data
    assert {key: shown[key] for key in ("sources", "judged", "verdict")} == {
        key: plain[key] for key in ("sources", "judged", "verdict")
    }


def test_a_plain_check_waits_for_no_database(farm):
    """``check FILE`` imports no database library: the bar on its start counts every module."""
    code = (
        "import sys\nfrom chaffinch.cli.main import run\nassert run(['check', 'check.toml']) == 0\n"
        "found = [name for name in sys.modules if name.startswith(('sqlalchemy', 'sqlite3', 'chaffinch.store'))]\n"
        "assert not found, found"
    )
    subprocess.run([sys.executable, "-c", code], check=True, capture_output=True, cwd=farm)


def test_a_name_the_book_does_not_have_is_told_and_the_check_kept(chaffinch, farm):
    """A slip in the file's field name costs no check: it is saved, unfiled, with the nearest name."""
    (farm / "check.toml").write_text(CHECK.replace("Long Hollow", "Long Holow"), encoding="utf-8")

    ran = chaffinch("book", "log", "check.toml")

    assert ran.status == 0
    assert "did you mean Long Hollow?" in ran.err
    record = ran.out.split()[1]
    mended = chaffinch("book", "replace", record, "--field", "Long Hollow", "--reason", "filing")
    assert mended.status == 0, mended.err
    assert chaffinch("where", "--field", "Long Hollow", "--json").data["checks_on_it"] == 1


def test_flags_alone_make_a_check(chaffinch):
    """A script says everything by flags; settings and conditions are kept with it."""
    ran = chaffinch(
        *("book", "log", "--field", "Long Hollow", "--combine", "Old Bess", "--place", "discharge", "--pan", "tray"),
        *("--amount", "12.5 g", "--amount", "9.8 g", "--step", "0.1 g", "--at", "2026-08-14 16:40"),
        *("--setting", "rotor speed=600 rpm", "--condition", "humidity_pct=45", "--json"),
    )

    assert ran.status == 0, ran.err
    data = chaffinch("book", "history", ran.data["id"][:8], "--json").data
    body = data["versions"][0]["body"]
    assert body["settings"] == [{"name": "rotor speed", "value": 600, "unit": "rpm"}]
    assert body["conditions"] == {"humidity_pct": 45}
    assert [c["amount"] for c in body["check"]["catch"]] == ["12.5 g", "9.8 g"]
    assert body["taken_at"] == "2026-08-14T16:40:00Z"  # TZ is UTC here


def test_local_time_becomes_utc(chaffinch, monkeypatch):
    """A time without a zone is this computer's; one with a zone is taken at its word."""
    import time

    monkeypatch.setenv("TZ", "CST6CDT,M3.2.0,M11.1.0")
    time.tzset()
    try:
        logged(chaffinch, "--at", "2026-08-14 16:40")
        logged(chaffinch, "--at", "2026-08-14T16:40+02:00")
        found = {c["taken_at"] for c in chaffinch("book", "show", "checks", "--json").data["checks"]}
        page = chaffinch("book", "show", "checks").out
    finally:
        monkeypatch.undo()
        time.tzset()
    assert found == {"2026-08-14T21:40:00Z", "2026-08-14T14:40:00Z"}
    assert "in 2026" in page
    assert "08-14 16:40" in page


def test_replacing_keeps_both_versions(chaffinch, farm):
    """The correction counts, the first one is readable, what differs is listed, what was filed is taken over."""
    old = logged(chaffinch)
    (farm / "right.toml").write_text(CHECK.replace("12.5 g", "21.5 g"), encoding="utf-8")

    ran = chaffinch("book", "replace", old[:8], "right.toml", "--reason", "digits swapped")

    assert ran.status == 0, ran.err
    assert old[:8] in ran.out
    history = chaffinch("book", "history", old[:8])
    assert "reason: digits swapped" in history.out
    assert "catch 1, amount: 12.5 g → 21.5 g" in history.out
    data = chaffinch("book", "history", old[:8], "--json").data
    assert [v["counts"] for v in data["versions"]] == [False, True]
    listed = chaffinch("book", "show", "checks", "--json").data["checks"]
    assert [c["corrected"] for c in listed] == [True]
    assert listed[0]["field"] is not None


def test_a_check_corrected_into_another_field_counts_there(chaffinch):
    """Filed wrongly, corrected: the first field no longer shows it."""
    assert chaffinch("book", "add", "field", "Stone Corner", "--set", "crop=canola").status == 0
    old = logged(chaffinch)
    assert chaffinch("book", "replace", old[:8], "--field", "Stone Corner", "--reason", "wrong field").status == 0

    assert chaffinch("where", "--field", "Long Hollow", "--json").data["checks_on_it"] == 0
    assert chaffinch("where", "--field", "Stone Corner", "--json").data["checks_on_it"] == 1
    assert chaffinch("book", "show", "checks", "--field", "Long Hollow", "--json").data["checks"] == []


def test_corrections_that_disagree_are_shown_and_settled(chaffinch, farm):
    """Two books correct the same check; after the merge both say so, and --settle ends it."""
    old = logged(chaffinch)
    shutil.copy(BOOK, "partner.chaffinch")
    for book, amount in ((BOOK, "21.5 g"), ("partner.chaffinch", "25.1 g")):
        (farm / "right.toml").write_text(CHECK.replace("12.5 g", amount), encoding="utf-8")
        ran = chaffinch("book", "--book", book, "replace", old[:8], "right.toml", "--reason", "misread")
        assert ran.status == 0, ran.err
    assert chaffinch("book", "--book", BOOK, "merge", "partner.chaffinch").status == 0

    ran = chaffinch("book", "--book", BOOK, "show", "checks", "--json")
    assert [c["disagree"] for c in ran.data["checks"]] == [True]
    assert "disagree" in chaffinch("book", "--book", BOOK, "show", "checks").out
    listed = ran.data["checks"][0]["id"]
    refused = chaffinch("book", "--book", BOOK, "replace", listed, "right.toml", "--reason", "looked again")
    assert refused.status == 2
    assert "--settle" in refused.err
    assert chaffinch("book", "--book", BOOK, "replace", listed, "right.toml", "--reason", "x", "--settle").status == 0
    ran = chaffinch("book", "--book", BOOK, "show", "checks", "--json")
    assert [c["disagree"] for c in ran.data["checks"]] == [False]


def test_counted_pans_at_offsets_have_an_answer(chaffinch, farm):
    """Seeds counted in pans across the discharge: they resolve to one particle, which is not a step of 0."""
    head = CHECK[: CHECK.index("[[catch]]")].replace("1 bu/ac", "2 kg/ha")
    pans = "".join(
        f'[[catch]]\nplace = "discharge"\npan = "1 ft2"\namount = "{seeds} seeds"\noffset = "{offset} in"\n'
        for offset, seeds in ((-25, 30), (0, 44), (25, 28))
    )
    (farm / "check.toml").write_text(head + pans, encoding="utf-8")

    ran = chaffinch("check", "check.toml", "--json")
    assert ran.status == 0, ran.err
    assert ran.data["verdict"] == "unsettled"  # so that the outlook on further catches is asked too
    assert ran.data["more_catches_chance"] > 0


# --- showing ------------------------------------------------------------------------------------------------------


def test_checks_since(chaffinch):
    """A span back from now and a date both narrow the list."""
    logged(chaffinch, "--at", "2020-08-14 16:40")
    ran = chaffinch("book", "log", "check.toml", "--at", "2021-08-14 16:40")
    assert ran.status == 0

    assert len(chaffinch("book", "show", "checks", "--json").data["checks"]) == 2
    since = chaffinch("book", "show", "checks", "--since", "2021-01-01", "--json").data["checks"]
    assert [c["taken_at"][:4] for c in since] == ["2021"]
    assert chaffinch("book", "show", "checks", "--since", "7d", "--json").data["checks"] == []
    assert len(chaffinch("book", "show", "checks", "--since", "2000w", "--json").data["checks"]) == 2


def test_overview_and_last_checks(chaffinch, monkeypatch):
    """The overview counts things; the list of checks stops at the last ones and says so."""
    from chaffinch.cli import book_show

    monkeypatch.setattr(book_show, "LAST", 2)
    for day in (12, 13, 14):
        logged(chaffinch, "--at", f"2026-08-{day} 10:00")

    out = chaffinch("book", "show").out
    assert "Larkhollow" in out
    assert "1 field" in out
    assert "3 records of checks" in out
    out = chaffinch("book", "show", "checks").out
    assert "1 older" in out
    assert out.count("08-1") == 2
    assert chaffinch("book", "show", "checks", "--all").out.count("08-1") == 3


def test_a_check_without_an_estimate_does_not_hide_the_others(chaffinch, monkeypatch):
    """One check that cannot be answered is named with its reason; the rest of the list stands."""
    import chaffinch.book.check as answering
    from chaffinch.errors import SamplerError

    first = logged(chaffinch, "--at", "2026-08-12 10:00")
    logged(chaffinch, "--at", "2026-08-13 10:00")
    real, calls = answering.answer, []

    def fails_once(check, **more):
        calls.append(check)
        if len(calls) % 2:
            raise SamplerError("too few draws")
        return real(check, **more)

    monkeypatch.setattr(answering, "answer", fails_once)
    data = chaffinch("book", "show", "checks", "--json").data
    assert data["without_estimate"] == [{"id": first, "reason": "too few draws"}]
    assert len(data["checks"]) == 1
    page = chaffinch("book", "show", "checks").out
    assert f"{first[:8]}: no estimate: too few draws" in page
    assert "08-13 10:00" in page


def test_field_summary_in_the_farms_unit(chaffinch):
    """Mean by source with its range, checks and area, money; the same figures as JSON, in kg/ha too."""
    logged(chaffinch)
    logged(chaffinch, "--at", "2026-08-15 10:00")

    page = chaffinch("where", "--field", "Long Hollow").out
    assert "2 checks on 62 ha." in page
    assert "Header loss was measured in no check" in page
    assert "over the field (likely" in page
    assert page == chaffinch("book", "show", "field", "Long Hollow").out
    data = chaffinch("where", "--field", "Long Hollow", "--json").data
    mean = data["mean"]
    # 1 bu/ac of canola is 56.0426 kg/ha (50 lb, derived from exact factors).
    assert mean["kg_ha"]["median"] == pytest.approx(56.0426 * mean["trade"]["median"], rel=1e-5)
    assert data["sources"]["machine"]["checks"] == 2
    # Price 14.50 a bushel over 62 ha; 22.6796 kg a bushel.
    money = mean["kg_ha"]["median"] * 62 * 14.50 / 22.6796
    assert data["money"] == {"currency": "$", "over_field": pytest.approx(data["money"]["over_field"])}
    assert data["money"]["over_field"]["median"] == pytest.approx(money, rel=1e-5)


def test_field_summary_without_a_farm_is_in_kg_ha(chaffinch, monkeypatch):
    """No farm, no unit of its own: kg/ha; no area: said, and no money."""
    assert chaffinch("book", "new", "bare.db", "--title", "Bare").status == 0
    monkeypatch.setenv("CHAFFINCH_BOOK", "bare.db")
    assert chaffinch("book", "add", "field", "Long Hollow").status == 0
    empty = chaffinch("where", "--field", "Long Hollow")
    assert "No check has been filed" in empty.out
    logged(chaffinch)

    data = chaffinch("where", "--field", "Long Hollow", "--json").data
    assert data["mean"]["trade"]["unit"] == "kg/ha"
    assert data["mean"]["kg_ha"]["median"] == data["mean"]["trade"]["median"]
    assert data["money"]["over_field"] is None
    page = chaffinch("where", "--field", "Long Hollow").out
    assert "1 check on a field of unknown area" in page
    assert "No money: the field has no area and no price." in page


def test_where_of_one_check_names_the_largest_source(chaffinch, farm):
    """A check with a frame at the header: parts of the loss, and how sure the largest is."""
    more = '\n[[catch]]\nplace = "header strip"\npan = "4 ft2"\namount = "33 g"\n'
    (farm / "check.toml").write_text(CHECK + more, encoding="utf-8")
    record = logged(chaffinch)

    page = chaffinch("where", record[:8]).out
    assert "The header loss is the largest" in page
    data = chaffinch("where", record[:8], "--json").data
    assert data["id"] == record
    parts = [s["part_of_loss_percent"] for s in data["sources"].values()]
    assert sum(parts) == pytest.approx(100.0)


@pytest.mark.parametrize("columns", ["40", "60", "80", "200"])
def test_pages_fit_their_terminal(chaffinch, monkeypatch, columns):
    """No line of ours is wider than the page, 40 to 80 columns; no codes in a pipe."""
    logged(chaffinch)
    monkeypatch.setenv("COLUMNS", columns)
    for words in (("where", "--field", "Long Hollow"), ("book", "show"), ("book", "show", "checks")):
        out = chaffinch(*words).out
        assert max(map(len, out.splitlines())) <= min(80, int(columns)), words
        assert "\x1b" not in out


def test_plain_terminals_get_plain_characters(farm, chaffinch):
    """An output encoding without our strokes gets ASCII and no crash."""
    logged(chaffinch)
    import os

    env = os.environ | {"PYTHONIOENCODING": "ascii", "COLUMNS": "80"}
    words = [sys.executable, "-m", "chaffinch", "where", "--field", "Long Hollow"]
    ran = subprocess.run(words, capture_output=True, env=env, check=False, cwd=farm)
    assert ran.returncode == 0, ran.stderr
    assert "====" in ran.stdout.decode("ascii")


def test_other_readings_and_conflicts_have_their_lists(chaffinch):
    """Kinds without a record yet, and no conflicts, are said to be so."""
    assert "No monitor records" in chaffinch("book", "show", "monitor").out
    assert chaffinch("book", "show", "trials", "--json").data == {"trial": []}
    assert "No conflicts" in chaffinch("book", "show", "conflicts").out


def test_a_monitor_reading_is_listed_once_corrected(chaffinch):
    """Of a corrected reading the version that counts is listed, the other is not."""
    from chaffinch.book.desk import open_desk

    desk = open_desk(BOOK)
    combine = chaffinch("book", "show", "combines", "--json").data["things"][0]["id"]
    body = {"taken_at": "2026-08-14T16:40:00Z", "combine": combine, "reading": 3.5}
    first = desk.write("monitor", body)
    desk.write("monitor", {**body, "reading": 5.3, "replaces": [first.id], "reason": "misread"})

    found = chaffinch("book", "show", "monitor", "--json").data["monitor"]
    assert [one["reading"] for one in found] == [5.3]
    assert "reading 5.3" in chaffinch("book", "show", "monitor").out


# --- keeping and exchanging ---------------------------------------------------------------------------------------


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


def test_backup_and_restore(chaffinch):
    """A backup is a whole book; restored under a new name it holds the same records."""
    record = logged(chaffinch)
    ran = chaffinch("book", "backup", "safe.copy")
    assert ran.status == 0
    assert "verified: 6 records" in ran.out

    assert chaffinch("book", "restore", "safe.copy", "again.db").status == 0
    found = chaffinch("book", "--book", "again.db", "show", "checks", "--json").data["checks"]
    assert [c["id"] for c in found] == [record]
    assert chaffinch("book", "backup", "safe.copy").status == 2  # nothing is ever overwritten


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


def test_export_and_import_bring_every_record_over(chaffinch):
    """An export imported into an empty book gives the same records; again, all are known; a dry run writes nothing."""
    logged(chaffinch)
    data = chaffinch("book", "export", "taken-away", "--json").data
    assert data["records"] == 6
    assert chaffinch("book", "new", "copy.db", "--title", "Copy").status == 0

    dry = chaffinch("book", "--book", "copy.db", "import", "taken-away", "--dry-run", "--json").data
    assert (dry["accepted"], dry["dry_run"]) == (6, True)
    assert chaffinch("book", "--book", "copy.db", "show", "--json").data["check_records"] == 0
    assert chaffinch("book", "--book", "copy.db", "import", "taken-away", "--json").data["accepted"] == 6
    assert chaffinch("book", "--book", "copy.db", "import", "taken-away", "--json").data["known"] == 6
    assert "6 records" in chaffinch("book", "export", "again").out


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


# --- bars ---------------------------------------------------------------------------------------------------------


def test_a_bar_is_drawn_on_a_terminal_after_a_second_and_never_in_a_pipe(monkeypatch, capsys):
    """The first steps draw nothing; after a second a bar appears on stderr, only where that is a terminal."""
    from chaffinch.cli import book_which

    now = iter([0.0, 0.1, 2.0, 3.0, 4.0])
    monkeypatch.setattr(book_which.time, "monotonic", lambda: next(now))
    with book_which.progress("records") as step:
        step(1, 4)
    assert capsys.readouterr().err == ""

    monkeypatch.setattr(sys.stderr, "isatty", lambda: True)
    now = iter([0.0, 0.1, 2.0])
    monkeypatch.setattr(book_which.time, "monotonic", lambda: next(now, 9.0))
    with book_which.progress("records") as step:
        step(1, 4)
        assert capsys.readouterr().err == ""
        step(2, 4)
        step(3, 4)
        step(4, 4)
    captured = capsys.readouterr()
    assert "records" in captured.err
    assert "100%" in captured.err
    assert captured.out == ""


def test_show_json_is_json_with_names_of_any_script(chaffinch):
    """Names keep their letters."""
    assert chaffinch("book", "add", "operator", "Åse Ørsted").status == 0
    ran = chaffinch("book", "show", "operators", "--json")
    assert json.loads(ran.out)["things"][0]["name"] == "Åse Ørsted"
