"""Every crop of a season is held against itself, or is named with why it is not; many tables claim no more than one."""

from __future__ import annotations

import pytest
from paper_farm import DAY

from chaffinch.book.checks.held import checks_where, counting
from chaffinch.book.season.ledger import compare
from chaffinch.book.things import find_thing
from chaffinch.paper.season_fair import fair
from chaffinch.paper.wanted import Wanted
from season_book import SeasonBook


@pytest.fixture
def three_crops(empty: SeasonBook) -> SeasonBook:
    """Canola of two machines at the same hours; barley of two that never met; wheat of one."""
    book = empty
    for name, crop in (("Upper Marl", "barley"), ("Owl Bottom", "barley"), ("Kettle Field", "wheat")):
        book.add("field", name, season=book.ids["2026"], crop=crop, area="30 ha", price="300 /t")
    for hour in (8, 9, 10, 11, 12):
        book.check("Old Bess", 10, hour, machine_kg_ha=10.0)
        book.check("Young Bess", 10, hour, machine_kg_ha=90.0)
    for hour in (8, 9):
        book.check("Old Bess", 11, hour, field="Upper Marl", crop="barley")
        book.check("Young Bess", 11, hour, field="Owl Bottom", crop="barley", operator="Tomas")
        book.check("Old Bess", 12, hour, field="Kettle Field", crop="wheat")
    return book


@pytest.mark.parametrize("short", [False, True])
def test_every_crop_is_told_of(three_crops: SeasonBook, short: bool) -> None:
    desk, season = three_crops.desk, find_thing(three_crops.desk, "season", "2026")
    blocks = fair(desk, season, counting(desk, checks_where(desk)), Wanted(date=DAY, short=short))
    machines = blocks[: [one.get("text") for one in blocks].index("Drivers held against each other")]
    said = " | ".join(str(one.get("strong", "")) + str(one.get("text", "")) for one in machines)
    assert "wheat: not compared, all its checks are of Old Bess." in said
    verdicts = [one for one in machines if one["is"] == "verdict"]
    assert len(verdicts) == 1
    assert "Old Bess loses less" in verdicts[0]["strong"]
    assert "99 % sure" in verdicts[0]["text"]
    if short:
        assert "No difference is claimed in barley." in said
    else:
        assert "never in the same field on the same day" in said
        assert [one["is"] for one in machines].count("table") == 2
    drivers = " ".join(str(one.get("text", "")) for one in blocks[len(machines) :])
    assert "canola: not compared, Ann took all its checks." in drivers
    assert "wheat: not compared, Ann took all its checks." in drivers


def test_many_tables_ask_for_more_than_one(three_crops: SeasonBook) -> None:
    desk, season = three_crops.desk, find_thing(three_crops.desk, "season", "2026")
    _, alone, _ = compare(desk, season, by="combine", crop="canola")
    _, among, _ = compare(desk, season, by="combine", crop="canola", tables=10)
    assert [one.ratio for one in alone.pairs] == [one.ratio for one in among.pairs]
    assert 1.0 - among.needed == pytest.approx(0.05 / 20.0)
    assert alone.needed < among.needed


def test_without_a_check_nothing_is_claimed(empty: SeasonBook) -> None:
    season = find_thing(empty.desk, "season", "2026")
    said = [one["text"] for one in fair(empty.desk, season, [], Wanted(date=DAY))]
    assert said[1] == "No difference is claimed: the season has no check that names a combine."
    assert said[3] == "No difference is claimed: the season has no check that names a driver."
