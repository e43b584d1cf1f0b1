"""``chaffinch book log`` with a file or flags: the check is in the book, filed where it belongs."""

from __future__ import annotations

import sqlite3
import subprocess
import sys
import tomllib

import pytest
from farm_book import BOOK, CHECK, logged

PAST = CHECK.replace("2026-08-14", "2024-08-14")
"""An hour that lies behind the clock of any computer: the real one runs in a process of its own."""

pytestmark = pytest.mark.usefixtures("farm")


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


def test_the_same_stop_under_no_field_or_another_is_the_same(chaffinch, farm):
    """One machine is in one field at a time: the same hour and catches are not counted under a second one."""
    logged(chaffinch)
    assert chaffinch("book", "add", "field", "Stone Corner", "--set", "crop=canola").status == 0
    (farm / "bare.toml").write_text(CHECK.replace('[field]\nname = "Long Hollow"\n', ""), encoding="utf-8")
    for words in (("bare.toml",), ("check.toml", "--field", "Stone Corner")):
        ran = chaffinch("book", "log", *words)
        assert (ran.status, "has this check already" in ran.err) == (2, True), words
    assert chaffinch("book", "add", "combine", "Young Bess", "--set", "cut_width=40 ft").status == 0
    assert chaffinch("book", "log", "check.toml", "--combine", "Young Bess").status == 0


@pytest.mark.parametrize("flag", [("--field", "Nowhere"), ("--at", "then"), ("--condition", "humidity_pct=450"), ()])
def test_what_came_through_a_pipe_is_given_back_when_it_is_refused(farm, flag):
    """A check that stands nowhere else is printed, with the hour that was meant, whatever the refusal."""
    first = subprocess.run(
        [sys.executable, "-m", "chaffinch", "book", "log", "-"],
        input=PAST,
        capture_output=True,
        text=True,
        check=True,
        cwd=farm,
    )
    assert first.stdout.startswith("saved ")
    words = [sys.executable, "-m", "chaffinch", "book", "log", "-", *flag]
    ran = subprocess.run(words, input=PAST, capture_output=True, text=True, check=False, cwd=farm)
    assert ran.returncode == 2
    assert "!!! NOT SAVED" in ran.stderr
    kept = tomllib.loads(ran.stdout)
    assert kept["catch"][0]["amount"] == "12.5 g"
    assert kept["when"].startswith("2024-08-14")


def test_what_could_not_be_kept_is_given_back_with_the_hour_that_was_meant(farm):
    """--at outranks the file's own hour in what is printed, as it would have in the book."""
    words = [sys.executable, "-m", "chaffinch", "book", "log", "-", "--at", "2024-08-13T09:05Z"]
    with sqlite3.connect(BOOK) as book:
        book.execute("CREATE TRIGGER full BEFORE INSERT ON record BEGIN SELECT RAISE(ABORT, 'disk is full'); END")
    ran = subprocess.run(words, input=PAST, capture_output=True, text=True, check=False, cwd=farm)
    assert ran.returncode == 1
    assert tomllib.loads(ran.stdout)["when"] == "2024-08-13T09:05:00Z"


def test_a_retired_pan_is_no_pan_to_log_with(chaffinch):
    """Its name is not taken for a size nobody knows: it is said to be retired."""
    assert chaffinch("book", "edit-label", "pan", "tray", "--retire").status == 0
    words = ("--field", "Long Hollow", "--combine", "Old Bess", "--place", "discharge", "--amount", "12.5 g")
    ran = chaffinch("book", "log", *words, "--pan", "Tray")
    assert (ran.status, ran.out) == (2, "")
    assert "is retired" in ran.err
