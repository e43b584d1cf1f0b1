"""``chaffinch monitor``: what is said where the key is young, the speed untried, and the speeds alike."""

from __future__ import annotations

import pytest

from season_book import start


@pytest.fixture
def book(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv("CHAFFINCH_BOOK", raising=False)
    return start(tmp_path / "larkhollow.chaffinch")


def paired(book, count, per="time"):
    for k in range(count):
        check = book.check("Old Bess", 10, 8 + k, machine_kg_ha=10.0 * (k + 1))
        book.bar("Old Bess", check, 10, 8 + k, float(k + 1), per)


ASK = ("monitor", "--combine", "Old Bess", "--crop", "canola")


def test_a_young_key_answers_in_data_as_on_the_page(book, chaffinch):
    paired(book, 2)
    assert chaffinch(*ASK, "--bar", "2,5").out == chaffinch(*ASK, "--bar", "2.5").out
    assert "--bar: can be read in two ways" in chaffinch(*ASK, "--bar", "1,100").err
    page, data = chaffinch(*ASK, "--bar", "0"), chaffinch(*ASK, "--bar", "0", "--json")

    assert page.status == data.status == 0
    assert "Too little to claim anything yet" in page.out
    assert data.data["now"]["loss_kg_ha"] is None
    assert data.data["missing"]


def test_one_speed_is_one_column_and_another_is_called_untried(book, chaffinch):
    paired(book, 5)
    page = chaffinch(*ASK, "--bar", "3", "--speed", "12 km/h")

    assert page.status == 0, page.err
    assert "at 6.0 km/h  " not in page.out
    assert "No pair was taken near 12.0 km/h" in page.out
    assert "No pair was taken" not in chaffinch(*ASK, "--bar", "3", "--speed", "6 km/h").out
    assert chaffinch(*ASK, "--bar", "3", "--speed", "12 km/h", "--json").data["now"]["near_a_pair"] is False


def test_a_machine_without_readings_is_told_a_command_that_exists(book, chaffinch):
    book.check("Old Bess", 10, 8)
    assert "chaffinch book log … --bar NUMBER" in chaffinch(*ASK).err
    assert "chaffinch trial --start" in chaffinch("trial").out


def test_a_narrow_terminal_holds_the_tables(book, chaffinch, monkeypatch):
    for k, speed in enumerate((3.0, 5.0, 7.0, 9.0, 6.0)):
        check = book.check("Old Bess", 10, 8 + k, speed_kmh=speed, machine_kg_ha=20.0 * (k + 1))
        book.bar("Old Bess", check, 10, 8 + k, 2.0 * (k + 1), "time")
    monkeypatch.setenv("COLUMNS", "40")
    ran = chaffinch(*ASK)

    assert ran.status == 0, ran.err
    assert "at 3.0 km/h" in ran.out
    assert max(map(len, ran.out.splitlines())) <= 40
