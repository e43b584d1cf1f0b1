"""``chaffinch ledger`` and ``where --season`` as a person sees them."""

from __future__ import annotations

import json

import pytest

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
    assert "t left on 62 ha by header and machine" in text
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
    assert chaffinch("where", "--season", "2026", "--json").data["whole"]["sources"]["machine"]["area_ha"] == 62.0


@pytest.mark.usefixtures("harvest")
def test_the_comparison_shows_load_and_no_ranking(chaffinch):
    ran = chaffinch("ledger", "--compare", "combine")

    assert ran.status == 0, ran.err
    assert "Old Bess against Young Bess" in ran.out
    assert "Old Bess loses less" in ran.out
    assert "least, middle, greatest" in ran.out
    assert max(len(line) for line in ran.out.splitlines()) <= 80
    told = chaffinch("ledger", "--compare", "operator", "--json").data
    assert told["pairs"][0]["claim"] == "Ann"


@pytest.mark.usefixtures("harvest")
@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("ledger", "--season", "1999"), "--season"),
        (("ledger", "--crop", "canola"), "--crop: goes with --compare"),
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
