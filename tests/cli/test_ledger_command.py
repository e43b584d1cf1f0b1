"""``chaffinch ledger`` and ``where --season`` as a person sees them."""

from __future__ import annotations

import json

import pytest

from chaffinch.book.things import edit_label, things
from season_book import start


@pytest.fixture
def harvest(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv("CHAFFINCH_BOOK", raising=False)
    book = start(tmp_path / "larkhollow.chaffinch")
    for day in (10, 11):
        for hour, loss in enumerate((28.0, 32.0, 30.0)):
            book.check("Old Bess", day, 8 + hour, machine_kg_ha=loss)
            book.check("Young Bess", day, 8 + hour, machine_kg_ha=3 * loss, operator="Tomas")
    return book


def test_the_page_keeps_measured_and_assumed_apart(chaffinch, harvest):
    ran = chaffinch("ledger")

    assert ran.status == 0, ran.err
    text = " ".join(ran.out.split())
    assert "t left on 62 ha by machine (header not measured)" in text
    assert "Measured area only: 62 ha of 102 ha" in text
    assert "an assumption, not a measurement" in text
    assert "Machine only: header loss was measured in none of these fields" in text
    assert "not measured" in text
    assert "no insurance or legal record" in text
    assert "$" in text
    assert max(len(line) for line in ran.out.splitlines()) <= 80
    json.dumps(chaffinch("ledger", "--json").data, allow_nan=False)
    assert harvest.ids


@pytest.mark.usefixtures("harvest")
def test_where_a_season_was_lost(chaffinch):
    ran = chaffinch("where", "--season", "2026")

    assert ran.status == 0, ran.err
    assert "lost at" in ran.out
    assert "canola" in ran.out
    assert "before harvest" not in ran.out
    assert "Machine only" in " ".join(ran.out.split())
    assert "Money at" not in ran.out
    told = chaffinch("where", "--season", "2026", "--json").data
    assert told["whole"]["sources"]["machine"]["area_ha"] == 62.0
    assert (told["machine_only"], told["header_only"]) == (True, False)


def test_what_is_in_no_sum_is_told_by_every_face(chaffinch, harvest):
    harvest.add("field", "No Papers", season=harvest.ids["2026"], crop="canola", price="600 /t")
    harvest.check("Old Bess", 12, 8, field="No Papers")
    body = chaffinch("where", "--season", "2026", "--json").data

    assert [(one["name"], one["checks"]) for one in body["fields_without_area"]] == [("No Papers", 1)]
    assert body["checks_filed_under_no_field"] == 0
    text = chaffinch("ledger").out
    (row,) = (line for line in text.splitlines() if line.startswith("  No Papers"))
    assert row.split()[-2:] == ["no", "area"]
    assert "No area, so in no sum: No Papers" in chaffinch("where", "--season", "2026").out


@pytest.mark.usefixtures("harvest")
@pytest.mark.parametrize("columns", [80, 60, 40])
@pytest.mark.parametrize(
    "words", [("ledger",), ("where", "--season", "2026"), ("ledger", "--compare", "combine")], ids=lambda w: w[0]
)
def test_no_line_is_wider_than_the_terminal(chaffinch, monkeypatch, words, columns):
    monkeypatch.setenv("COLUMNS", str(columns))
    ran = chaffinch(*words)

    assert ran.status == 0, ran.err
    assert max(len(line) for line in ran.out.splitlines()) <= columns


def test_one_check_is_told_in_the_singular(chaffinch, harvest):
    harvest.check("Old Bess", 12, 14, speed_kmh=None)
    ran = chaffinch("ledger", "--compare", "combine")

    assert "Left out: 1 check of those that tell no speed." in ran.out
    assert "1 checks" not in ran.out


@pytest.mark.usefixtures("harvest")
def test_the_comparison_shows_load_and_no_ranking(chaffinch):
    ran = chaffinch("ledger", "--compare", "combine")

    assert ran.status == 0, ran.err
    assert "Old Bess against Young Bess" in ran.out
    assert "Old Bess loses less" in ran.out
    assert "least, middle, greatest" in ran.out
    assert max(len(line) for line in ran.out.splitlines()) <= 80
    told = chaffinch("ledger", "--compare", "operator", "--json").data
    assert told["pairs"][0]["claim"] is None
    assert told["pairs"][0]["why_not"] == ["never drove the same machine"]
    assert (told["by"], told["source"], told["machine_only"]) == ("operator", "machine", True)
    assert "never under the same driver" in " ".join(ran.out.split())


@pytest.mark.usefixtures("harvest")
@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("ledger", "--season", "1999"), "--season"),
        (("ledger", "--crop", "canola"), "--crop: goes with --compare"),
        (("ledger", "--source", "machine"), "--source: goes with --compare"),
        (("ledger", "--compare", "combine", "--crop", "cannola"), "crop"),
        (("ledger", "--compare", "combine", "--source", "header"), "nothing to compare"),
        (("where",), "CHECK: is missing"),
        (("where", "abcd", "--season", "2026"), "is given together with --season"),
        (("where", "--season", "1999"), "--season"),
    ],
)
def test_one_line_for_what_cannot_be(chaffinch, arguments, said):
    ran = chaffinch(*arguments)

    assert ran.status == 2
    assert said in ran.err
    assert len(ran.err.strip().splitlines()) == 1


def test_areas_are_in_acres_where_losses_are_per_acre(chaffinch, harvest):
    farm = next(t for t in things(harvest.desk, "farm"))
    edit_label(harvest.desk, farm, "report_in", "bu/ac")

    text = " ".join(chaffinch("ledger").out.split())
    assert "left on 153 ac by machine" in text
    assert "Measured area only: 153 ac of 252 ac" in text
    assert "lost at lb/ac" in text
    where = " ".join(chaffinch("where", "--season", "2026").out.split())
    assert "lost at lb/ac" in where
    assert " ha" not in text + where
    field = " ".join(chaffinch("where", "--field", "Long Hollow").out.split())
    assert "canola · 153 ac" in field
    assert "checks on 153 ac." in field
