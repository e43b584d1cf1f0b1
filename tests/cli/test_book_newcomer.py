"""What somebody new to the book runs into: the same id again, doubles after a merge, the same file twice."""

from __future__ import annotations

import shutil

import pytest
from farm_book import BOOK, CHECK, logged, set_up

pytestmark = pytest.mark.usefixtures("farm")


def checks(chaffinch, *more):
    return chaffinch("book", *more, "show", "checks", "--json").data["checks"]


# --- correcting by an older id ------------------------------------------------------------------------------------


def test_an_older_versions_id_corrects_the_newest(chaffinch):
    """Two corrections with the id of the first record: the second follows the first, and is said to."""
    old = logged(chaffinch)
    ran = chaffinch("book", "replace", old[:8], "check.toml", "--reason", "again")
    newer = ran.out.split()[1].rstrip(",")

    ran = chaffinch("book", "replace", old[:8], "check.toml", "--at", "2026-08-14 17:00", "--reason", "the hour")

    assert ran.status == 0, ran.err
    assert f"{old[:8]} was corrected before: correcting its newest version {newer}" in ran.out
    found = checks(chaffinch)
    assert [(c["taken_at"], c["disagree"]) for c in found] == [("2026-08-14T17:00:00Z", False)]
    assert len(chaffinch("book", "history", old[:8], "--json").data["versions"]) == 3


def test_the_newest_id_is_corrected_without_a_word(chaffinch):
    """Nothing is said about earlier corrections when the version named is the newest."""
    ran = chaffinch("book", "replace", logged(chaffinch)[:8], "check.toml", "--reason", "again")
    assert (ran.status, ran.out.startswith("saved ")) == (0, True)


# --- which book ---------------------------------------------------------------------------------------------------


def test_copies_of_an_older_step_are_not_the_book(chaffinch):
    """What an update laid beside the book is not taken for one."""
    shutil.copy(BOOK, f"{BOOK}.before-step-2-20260814.chaffinch")
    assert chaffinch("book", "show").status == 0


def test_the_other_book_of_a_merge_is_not_the_one_meant(chaffinch):
    """merge OTHER beside the only other book needs no --book; with a third one it does, and none is suggested."""
    shutil.copy(BOOK, "a-partner.chaffinch")
    logged_in = chaffinch("book", "--book", "a-partner.chaffinch", "log", "check.toml")
    assert logged_in.status == 0, logged_in.err
    ran = chaffinch("book", "merge", "a-partner.chaffinch", "--json")
    assert ran.status == 0, ran.err
    assert ran.data["here"]["accepted"] == 1

    shutil.copy(BOOK, "b-third.chaffinch")
    ran = chaffinch("book", "merge", "a-partner.chaffinch")
    assert ran.status == 2
    assert f"b-third.chaffinch, {BOOK}; say which: --book FILE" in ran.err


# --- doubles after a merge ----------------------------------------------------------------------------------------


@pytest.fixture
def merged(chaffinch, farm, monkeypatch):
    """The farm's book after a merge with one that was set up the same way."""
    (farm / "phone").mkdir()
    monkeypatch.chdir(farm / "phone")
    set_up(chaffinch, farm / "phone")
    monkeypatch.chdir(farm)
    shutil.move("phone/larkhollow.chaffinch", "phone.db")
    own = chaffinch("book", "show", "fields", "--json").data["things"][0]["id"]
    assert chaffinch("book", "merge", "phone.db").status == 0
    found = chaffinch("book", "show", "fields", "--json").data["things"]
    assert len(found) == 2
    return own, next(t["id"] for t in found if t["id"] != own)


def test_of_doubles_the_one_that_was_here_first_is_meant(chaffinch, merged):
    """Field, combine and season by name work on, each book with its own, and it is said which was meant."""
    own, other = merged
    ran = chaffinch("book", "log", "check.toml")
    assert ran.status == 0, ran.err
    assert f"{own[:8]} is meant, not {other[:8]}" in ran.err
    assert checks(chaffinch)[0]["field"] == own
    assert checks(chaffinch)[0]["combine"] is not None
    ran = chaffinch("where", "--field", "Long Hollow", "--season", "2026", "--json")
    assert (ran.data["field"]["id"], ran.data["checks_on_it"]) == (own, 1)
    assert ran.data["mean"]["trade"]["unit"] == "bu/ac"  # the farm is there twice too, alike
    there = chaffinch("where", "--book", "phone.db", "--field", "Long Hollow", "--json").data
    assert there["field"]["id"] == other


def test_doubles_that_differ_are_told_apart_by_id(chaffinch, merged):
    """An area of its own makes it another field: refused by name, taken by the beginning of its id."""
    _, other = merged
    assert chaffinch("book", "edit-label", "field", other[:6], "area", "70 ha").status == 0
    ran = chaffinch("where", "--field", "Long Hollow")
    assert ran.status == 2
    assert other[:8] in ran.err
    assert "; or its season: --season" in ran.err
    words = ("worth", "--field", "Long Hollow", "--area-left", "9 ha", "--stop-cost", "1 /h")
    assert "--season" not in chaffinch(*words).err, "a command that has none does not name it"
    assert chaffinch("where", "--field", other[:6], "--json").data["area_ha"] == 70.0


def test_a_double_is_retired_by_its_id(chaffinch, merged):
    """edit-label does not choose among doubles; by id one is retired, and then the name is clear."""
    own, other = merged
    ran = chaffinch("book", "edit-label", "field", "Long Hollow", "retired", "true")
    assert (ran.status, "several" in ran.err) == (2, True)
    assert chaffinch("book", "edit-label", "field", own[:8], "retired", "true").status == 0
    ran = chaffinch("where", "--field", "Long Hollow", "--season", "2026", "--json")
    assert ran.data["field"]["id"] == other
    assert "field Long Hollow" not in ran.err


# --- doubts before a check is written -----------------------------------------------------------------------------


def test_the_same_file_twice_is_refused_unless_again(chaffinch, farm):
    """Same time, field, combine and catches: refused with the id; another amount or --again goes in."""
    first = logged(chaffinch)
    ran = chaffinch("book", "log", "check.toml")
    assert (ran.status, ran.out) == (2, "")
    assert first[:8] in ran.err
    assert "--again" in ran.err
    assert chaffinch("book", "log", "check.toml", "--again").status == 0
    (farm / "other.toml").write_text(CHECK.replace("12.5 g", "13.5 g"), encoding="utf-8")
    assert chaffinch("book", "log", "other.toml").status == 0
    assert len(checks(chaffinch)) == 3


def test_the_same_file_after_a_correction_is_still_the_same(chaffinch, farm):
    """A check that was corrected since does not come back by its old file."""
    old = logged(chaffinch)
    (farm / "right.toml").write_text(CHECK.replace("12.5 g", "21.5 g"), encoding="utf-8")
    assert chaffinch("book", "replace", old[:8], "right.toml", "--reason", "digits swapped").status == 0
    assert chaffinch("book", "log", "check.toml").status == 2
    assert chaffinch("book", "log", "right.toml").status == 2


def test_another_crop_than_the_fields_is_refused_unless_anyway(chaffinch, farm):
    """Wheat in a field of canola: a slip in one of them, and the line says how to mend either."""
    text = CHECK.replace('"canola"', '"wheat"').replace("1 bu/ac", "60 kg/ha")
    (farm / "check.toml").write_text(text, encoding="utf-8")
    ran = chaffinch("book", "log", "check.toml")
    assert ran.status == 2
    assert "is not the crop of Long Hollow, which is canola" in ran.err
    assert checks(chaffinch) == []
    assert chaffinch("book", "log", "check.toml", "--anyway").status == 0


def test_an_hour_ahead_of_the_clock_is_refused(chaffinch):
    """More than a day ahead: the clock is named. Less than a day may be a zone."""
    ran = chaffinch("book", "log", "check.toml", "--at", "2030-01-02T00:01Z")
    assert ran.status == 2
    assert "clock, which says 2030-01-01 00:00" in ran.err
    assert chaffinch("book", "log", "check.toml", "--at", "2030-01-01T23:59Z").status == 0


def test_a_check_under_no_field_is_saved_and_said_to_be(chaffinch, farm):
    """Without a field: saved, and the line that files it works as it stands."""
    (farm / "check.toml").write_text(CHECK.replace('[field]\nname = "Long Hollow"\n', ""), encoding="utf-8")
    ran = chaffinch("book", "log", "check.toml")
    assert ran.status == 0
    record = ran.out.split()[1]
    told = " ".join(ran.out.split())
    assert f'chaffinch book replace {record} --field NAME --reason "filing" files it' in told
    assert chaffinch("book", "replace", record, "--field", "Long Hollow", "--reason", "filing").status == 0
    assert chaffinch("where", "--field", "Long Hollow", "--json").data["checks_on_it"] == 1


# --- showing ------------------------------------------------------------------------------------------------------


def test_a_check_shows_what_it_is_filed_under_and_its_settings(chaffinch):
    """Time, field, combine, driver, settings, conditions; money over the field by the field's own area."""
    assert chaffinch("book", "add", "operator", "Ines").status == 0
    record = logged(
        chaffinch,
        *("--operator", "Ines", "--setting", "rotor speed=600 rpm", "--condition", "humidity_pct=45"),
        *("--at", "2026-08-14 18:00"),
    )
    page = chaffinch("book", "show", "check", record[:8]).out
    assert "2026-08-14 18:00" in page
    assert "16:40" not in page  # the file's own time was overruled
    assert "filed under Long Hollow · 2026 · Old Bess · Ines" in page
    assert "settings: rotor speed 600 rpm" in page
    assert "conditions: humidity 45 %" in page
    assert "over the field (Long Hollow)" in page
    assert "The field's area as the book has it now." in page
    data = chaffinch("book", "show", "check", record[:8], "--json").data
    assert data["settings"] == [{"name": "rotor speed", "value": 600, "unit": "rpm"}]
    assert data["conditions"] == {"humidity_pct": 45}
    assert data["filed"] == {
        "taken_at": "2026-08-14T18:00:00Z",
        "season": "2026",
        "field": "Long Hollow",
        "combine": "Old Bess",
        "operator": "Ines",
    }
    assert data["from_field"] == ["area"]  # the file has a price
    page = chaffinch("book", "history", record[:8]).out
    assert "settings: rotor speed 600 rpm" in page


def test_a_price_of_the_field_is_taken_where_the_check_has_none(chaffinch, farm):
    """With the farm's sign before it, and the same money the check's own price would give."""
    own = logged(chaffinch)
    (farm / "check.toml").write_text(CHECK.replace('price = "14.50 /bu"\n', ""), encoding="utf-8")
    bare = logged(chaffinch, "--again")

    def money(record):
        page = chaffinch("book", "show", "check", record[:8]).out
        return next(line for line in page.splitlines() if "over the field" in line)

    assert money(bare).strip().startswith("That is $")
    assert money(bare).replace("$", "") == money(own).replace("$", "")


def test_history_takes_the_beginning_of_an_id_and_tells_feet(chaffinch, farm):
    """Four characters name a check or a thing; a pan changed on a farm of acres is told in square feet."""
    old = logged(chaffinch)
    (farm / "right.toml").write_text(CHECK.replace("4 ft2", "2 ft2"), encoding="utf-8")
    assert chaffinch("book", "replace", old[:4], "right.toml", "--reason", "the pan").status == 0
    assert "catch 1, pan: 4 ft2 → 2 ft2" in chaffinch("book", "history", old[:4]).out
    combine = chaffinch("book", "show", "combines", "--json").data["things"][0]["id"]
    assert "added" in chaffinch("book", "history", combine[:5]).out
    assert chaffinch("book", "history", "combine", combine[:5], "--json").data["thing"] == combine


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ("0.37161216 m2", "1 m2", "4 ft2 → 10.76 ft2"),
        ("1.6764 m", "2 m", "5.5 ft → 6.562 ft"),
        ("3 g", "4 g", "3 g → 4 g"),
    ],
)
def test_quantities_of_a_correction_in_feet(old, new, told):
    """Metres become feet on such a farm, grams stay. 4 ft2 = 0.37161216 m2, 5.5 ft = 1.6764 m (exact)."""
    from chaffinch.cli.book.history import differences

    assert differences({"a": old}, {"a": new}, {}, feet=True) == [f"a: {told}"]
    assert differences({"a": old}, {"a": new}, {}) == [f"a: {old} → {new}"]


def test_what_the_checks_warn_of_stands_on_the_fields_page(chaffinch, farm):
    """A frame in the header strip and none in standing crop: said for the field as for the check."""
    logged(chaffinch)
    more = '\n[[catch]]\nplace = "header strip"\npan = "4 ft2"\namount = "33 g"\n'
    (farm / "check.toml").write_text(CHECK + more, encoding="utf-8")
    logged(chaffinch)
    page = " ".join(chaffinch("where", "--field", "Long Hollow").out.split())
    assert "n 1 of 2 checks no frame lay in standing crop" in page
    data = chaffinch("where", "--field", "Long Hollow", "--json").data
    assert data["warnings"]["standing-left-in"] == 1


def test_the_overview_says_that_there_are_more_checks(chaffinch, monkeypatch):
    """Corrections are no checks of their own: 2 of 3 are shown of four records."""
    from chaffinch.cli.book import show as book_show

    monkeypatch.setattr(book_show, "IN_OVERVIEW", 2)
    for day in (12, 13):
        last = logged(chaffinch, "--at", f"2026-08-{day} 10:00")
    assert chaffinch("book", "replace", last[:8], "check.toml", "--reason", "again").status == 0
    assert "The last" not in chaffinch("book", "show").out
    logged(chaffinch, "--at", "2026-08-14 10:00")
    assert "The last 2 of 3 checks; chaffinch book show checks lists all." in chaffinch("book", "show").out


# --- adding -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("kind", ["farm", "season", "operator", "combine", "pan", "scale", "field", "note"])
def test_keys_of_a_kind_are_printed_and_their_examples_are_taken(chaffinch, kind):
    """Every key is listed, and what stands after it as an example is accepted as it is."""
    import re
    import shlex

    from chaffinch.records.kinds import KINDS

    ran = chaffinch("book", "add", kind, "--keys")
    assert ran.status == 0
    assert max(map(len, ran.out.splitlines())) <= 80
    told = " ".join(ran.out.split())
    given = re.findall(r"--set (\w+=(?:\"[^\"]*\"|'[^']*'|\S+))", told)
    keys = [p.name for p in KINDS[kind].parts if p.name not in ("name", "text")]
    assert [one.partition("=")[0] for one in given] == keys
    words = [w for one in given for w in ("--set", *shlex.split(one)) if not one.startswith("of=")]
    assert chaffinch("book", "add", kind, "Another", *words).status == 0


def test_a_missing_key_is_named_with_how_to_give_it(chaffinch):
    """The line can be copied."""
    ran = chaffinch("book", "add", "combine", "Young")
    assert ran.status == 2
    assert ran.err.strip().endswith('--set cut_width="40 ft"')
    ran = chaffinch("book", "add", "combine")
    assert (ran.status, "--keys" in ran.err) == (2, True)


def test_the_import_shown_in_the_docs_runs(chaffinch):
    """The line on the page about the book, on the file it names: nothing is refused."""
    import shlex
    from pathlib import Path

    root = Path(__file__).resolve().parents[2]
    text = (root / "docs" / "book.md").read_text(encoding="utf-8")
    line = next(x for x in text.splitlines() if x.startswith("chaffinch book import examples/"))
    words = shlex.split(line.replace("examples/", f"{root}/examples/"))[1:]
    ran = chaffinch(*words, "--dry-run", "--json")
    assert ran.status == 0, ran.err
    assert ran.data["refused"] == []
    assert len(ran.data["checks"]) == 5
    assert chaffinch(*words).status == 0
