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
