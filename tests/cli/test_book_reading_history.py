"""``chaffinch book history`` of a reading that is no check: every version, who, when and what differs."""

from __future__ import annotations

import pytest
from farm_book import BOOK, logged

from chaffinch.book.checks.looking import reading_history
from chaffinch.book.desk import open_desk

pytestmark = pytest.mark.usefixtures("farm")


def a_bar(chaffinch) -> str:
    """A check with a bar beside it; the id of the reading."""
    logged(chaffinch, "--bar", "12", "--bar-per", "area")
    return str(chaffinch("book", "show", "monitor", "--json").data["monitor"][0]["id"])


def corrected(chaffinch, reading: str, bar: str, reason: str, book: str = BOOK) -> None:
    ran = chaffinch("book", "--book", book, "replace", reading[:8], "--bar", bar, "--reason", reason)
    assert ran.status == 0, ran.err


def test_a_reading_and_its_corrections_in_order(chaffinch):
    """The first as it was written, each correction with its reason and what differs; any version's id will do."""
    reading = a_bar(chaffinch)
    corrected(chaffinch, reading, "21", "digits swapped")
    corrected(chaffinch, reading, "20", "looked again")
    told = chaffinch("book", "history", reading[:8])
    assert told.status == 0, told.err
    lines = [" ".join(line.split()) for line in told.out.splitlines() if line.strip()]
    assert lines[0] == f"monitor {reading[:8]} 3 versions"
    order = [
        f"{reading[:8]} replaced", "· combine Old Bess", "· per area", "· reading 12",
        "reason: digits swapped", "· reading: 12 → 21", "reason: looked again", "· reading: 21 → 20",
    ]  # fmt: skip
    places = [lines.index(line) for line in order]
    assert places == sorted(places)
    assert sum("written by" in line and "arrived" in line for line in lines) == 3
    assert sum(line.endswith("counts") for line in lines) == 1

    data = chaffinch("book", "history", "monitor", reading[:8], "--json").data
    assert [one["counts"] for one in data["versions"]] == [False, False, True]
    assert [one["body"]["reading"] for one in data["versions"]] == [12, 21, 20]
    assert data["reading"] == {"kind": "monitor", "id": data["versions"][2]["id"], "disagree": False}
    assert all(one["device"] and one["arrived"] and one["hash"] for one in data["versions"])
    newest = data["versions"][2]["id"]
    assert chaffinch("book", "history", newest[:8], "--json").data == data


def test_two_corrections_that_disagree_stand_beside_each_other(chaffinch):
    """Both kept, one of them counts, and it is said until a further correction settles it."""
    reading = a_bar(chaffinch)
    assert chaffinch("book", "backup", "partner.db").status == 0
    corrected(chaffinch, reading, "21", "here")
    corrected(chaffinch, reading, "15", "there", "partner.db")
    assert chaffinch("book", "--book", BOOK, "merge", "partner.db").status == 0
    told = chaffinch("book", "history", reading[:8]).out
    assert "counts, disagrees" in told
    assert "Two corrections disagree" in told
    assert "reason: here" in told
    assert "reason: there" in told
    corrected(chaffinch, reading, "16", "settled")
    after = chaffinch("book", "history", reading[:8])
    assert "disagree" not in after.out
    assert after.out.count("reading:") == 3


def test_a_trial_has_a_history_too(chaffinch):
    """By its kind, in one or several, or by the beginning of its id alone."""
    ran = chaffinch("trial", "--start", "--a", "rotor speed=600 rpm", "--b", "rotor speed=650 rpm", "--json")
    trial = ran.data["id"]
    for words in (("trial", trial[:8]), ("trials", trial), (trial[:8],)):
        told = chaffinch("book", "history", *words)
        assert told.status == 0, told.err
        assert "1 version" in told.out
        assert "a: rotor speed 600 rpm" in told.out


def test_what_is_no_reading_is_refused_with_where_to_look(chaffinch):
    """A kind with an id of another kind, an unknown id, a beginning that is too short."""
    reading = a_bar(chaffinch)
    for words, mend in (
        (("trial", reading[:8]), "show trials"),
        (("monitor", "ffff"), "show monitor"),
        (("weather", "12"), "show weather"),
        (("ffffffff",), "show checks"),
    ):
        ran = chaffinch("book", "history", *words)
        assert (ran.status, ran.out, ran.err.count("\n")) == (2, "", 1), ran
        assert mend in ran.err
    desk = open_desk(BOOK)
    assert reading_history(desk, reading[:3]) is None
    assert reading_history(desk, reading, "check") is None
    desk.store.close()
