"""``chaffinch book replace``: a correction counts, and the first reading stays readable."""

from __future__ import annotations

import shutil

import pytest
from farm_book import BOOK, CHECK, logged

pytestmark = pytest.mark.usefixtures("farm")


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


# --- the hour -----------------------------------------------------------------------------------------------------


def taken(chaffinch) -> list[str]:
    return [c["taken_at"] for c in chaffinch("book", "show", "checks", "--json").data["checks"]]


@pytest.mark.parametrize(
    ("when", "flags", "hour"),
    [
        ("2026-08-13T09:05Z", (), "2026-08-13T09:05:00Z"),
        ("2026-08-13T09:05Z", ("--at", "2026-08-12 11:00"), "2026-08-12T11:00:00Z"),
        ("", (), "2026-08-14T16:40:00Z"),
        ("", ("--at", "2026-08-12 11:00"), "2026-08-12T11:00:00Z"),
    ],
)
def test_the_hour_of_the_file_or_the_flag_is_taken_over(chaffinch, farm, when, flags, hour):
    """``--at`` outranks the file's own ``when``; with neither the hour stays, and a new hour is told."""
    old = logged(chaffinch)
    line = f'when = "{when}"\n' if when else ""
    (farm / "right.toml").write_text(CHECK.replace('when = "2026-08-14T16:40Z"\n', line), encoding="utf-8")

    ran = chaffinch("book", "replace", old[:8], "right.toml", "--reason", "the hour", *flags)

    assert ran.status == 0, ran.err
    assert taken(chaffinch) == [hour]
    told = f"taken {hour[:10]} {hour[11:16]}, no longer 2026-08-14 16:40"
    assert (told in ran.out) == (hour != "2026-08-14T16:40:00Z")


def test_an_hour_in_the_file_that_cannot_be_read_corrects_nothing(chaffinch, farm):
    """As when it is logged: the person says it with --at, and nothing is guessed."""
    old = logged(chaffinch)
    (farm / "right.toml").write_text(CHECK.replace("2026-08-14T16:40Z", "after lunch"), encoding="utf-8")
    words = ("book", "replace", old[:8], "right.toml", "--reason", "x")

    ran = chaffinch(*words)

    assert (ran.status, ran.out) == (2, "")
    assert "after lunch" in ran.err
    assert len(chaffinch("book", "history", old[:8], "--json").data["versions"]) == 1
    assert chaffinch(*words, "--at", "2026-08-14 17:00").status == 0
    assert taken(chaffinch) == ["2026-08-14T17:00:00Z"]


def test_settings_are_replaced_and_conditions_stay(chaffinch):
    """What is not given is taken over, what is given takes the place of all of its kind."""
    old = logged(chaffinch, "--setting", "rotor speed=600 rpm", "--condition", "humidity_pct=45")

    ran = chaffinch("book", "replace", old[:8], "--setting", "fan speed=900 rpm", "--reason", "misread")

    assert ran.status == 0, ran.err
    body = chaffinch("book", "history", old[:8], "--json").data["versions"][-1]["body"]
    assert body["settings"] == [{"name": "fan speed", "value": 900, "unit": "rpm"}]
    assert body["conditions"] == {"humidity_pct": 45}


def test_a_correction_to_another_crop_than_the_fields_is_refused(chaffinch, farm):
    """By its file, or by moving it: as when it is logged. --anyway says it is meant, and later corrections may stay."""
    old = logged(chaffinch)
    wheat = CHECK.replace('"canola"', '"wheat"').replace("1 bu/ac", "60 kg/ha")
    (farm / "wheat.toml").write_text(wheat, encoding="utf-8")
    assert chaffinch("book", "add", "field", "Stone Corner", "--set", "crop=wheat").status == 0

    for words in (("wheat.toml",), ("--field", "Stone Corner")):
        ran = chaffinch("book", "replace", old[:8], *words, "--reason", "x")
        assert (ran.status, ran.out) == (2, ""), words
        assert "is not the crop of" in ran.err
    assert chaffinch("book", "replace", old[:8], "wheat.toml", "--reason", "x", "--anyway").status == 0
    assert chaffinch("book", "replace", old[:8], "wheat.toml", "--reason", "looked again").status == 0
    page = " ".join(chaffinch("where", "--field", "Long Hollow").out.split())
    assert "In kg/ha: its checks are of wheat, the field is of canola." in page


def test_both_ways_of_correcting_take_the_farm_no_further_than_one_version(chaffinch):
    """Twice the same correction: two versions more, one check that counts."""
    old = logged(chaffinch)
    for _ in range(2):
        assert chaffinch("book", "replace", old[:8], "check.toml", "--reason", "again").status == 0
    assert len(chaffinch("book", "show", "checks", "--json").data["checks"]) == 1
    assert chaffinch("where", "--field", "Long Hollow", "--json").data["checks_on_it"] == 1
