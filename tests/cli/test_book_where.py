"""``chaffinch where``: what a field lost, and where a stop's grain was lost."""

from __future__ import annotations

import subprocess
import sys

import pytest
from farm_book import CHECK, logged

pytestmark = pytest.mark.usefixtures("farm")


def test_field_summary_in_the_farms_unit(chaffinch):
    """Mean by source with its range, checks and area, money; the same figures as JSON, in kg/ha too."""
    logged(chaffinch)
    logged(chaffinch, "--at", "2026-08-15 10:00")

    page = chaffinch("where", "--field", "Long Hollow").out
    assert "2 checks on 153 ac." in page
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
