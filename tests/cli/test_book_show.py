"""``chaffinch book show``: lists, one thing, the overview."""

from __future__ import annotations

import json

import pytest
from farm_book import BOOK, logged

pytestmark = pytest.mark.usefixtures("farm")


def test_things_are_listed_with_what_is_said_about_them(chaffinch):
    """A yield given in bushels comes back in bushels; a season by its name."""
    out = " ".join(chaffinch("book", "show", "fields").out.split())
    assert "Long Hollow: area 62 ha, crop canola, limit 1 bu/ac, price 14.5 /bu, season 2026" in out

    found = chaffinch("book", "show", "things", "--json").data["things"]
    assert [t["kind"] for t in found] == ["farm", "season", "combine", "field", "pan"]
    one = chaffinch("book", "show", "combine", "Old Bess").out
    assert "cut_width    40 ft" in one


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
    from chaffinch.cli.book import show as book_show

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
    import chaffinch.book.checks.answer as answering
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


def test_show_json_is_json_with_names_of_any_script(chaffinch):
    """Names keep their letters."""
    assert chaffinch("book", "add", "operator", "Åse Ørsted").status == 0
    ran = chaffinch("book", "show", "operators", "--json")
    assert json.loads(ran.out)["things"][0]["name"] == "Åse Ørsted"
