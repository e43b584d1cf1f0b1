"""What a field lost: sums over checks that saw different things."""

from __future__ import annotations

from pathlib import Path

import pytest

from chaffinch.book.checks.entering import log_check
from chaffinch.book.checks.field_checks import Filed, from_check, shared_names
from chaffinch.book.checks.fields import field_summary
from chaffinch.book.desk import Desk, start_book
from chaffinch.book.season.ledger import ledger
from chaffinch.book.things import add_thing, find_thing
from chaffinch.errors import InputError
from chaffinch.records.checkfile import check_from_table

BASE = {
    "crop": "canola",
    "yield": "2500 kg/ha",
    "combine": {"cut_width": "12 m", "drop_width": "1.8 m", "widths_taped": True},
    "spreading": False,
    "speed": "7 km/h",
}
STRIP = {"place": "header strip", "pan": "0.5 m2", "amount": "3 g"}
BEHIND = {"place": "behind", "pan": "0.5 m2", "amount": "23 g"}
PAN = {"place": "discharge", "pan": "0.5 m2", "amount": "16 g"}
LEAK = {"place": "leak", "time": "36 s", "amount": "840 g"}


@pytest.fixture
def desk(tmp_path: Path) -> Desk:
    """A book with one field of 60 ha."""
    desk = start_book(str(tmp_path / "farm.chaffinch"), title="Larkhollow", device="laptop")
    add_thing(desk, "field", {"name": "Long Hollow", "crop": "canola", "area": "60 ha", "price": "640 /t"})
    return desk


def log(desk: Desk, *catches: dict[str, str]) -> None:
    field = find_thing(desk, "field", "Long Hollow")
    check = check_from_table({**BASE, "catch": list(catches)})
    receipt = log_check(desk, check, taken_at="2026-08-14T16:00:00Z", where={"field": field.id})
    assert receipt.outcome == "accepted"


def summary(desk: Desk):
    return field_summary(desk, find_thing(desk, "field", "Long Hollow"))


def test_a_leak_caught_once_is_not_counted_on_top(desk):
    """Frames behind hold the leak already: one check with a leak catch must not lift the field above its checks."""
    for _ in range(3):
        log(desk, STRIP, BEHIND)
    alone = summary(desk).mean_kg_ha
    log(desk, STRIP, BEHIND, LEAK)

    found = summary(desk)

    assert found.sources["leak"][1] == 1
    # the fourth check is like the others; its leak is part of what its frames behind saw
    assert found.mean_kg_ha.median == pytest.approx(alone.median, rel=0.08)


def test_one_check_says_less_of_its_field_than_of_itself(desk):
    """59 of 60 ha were not looked at: the field's range holds how much places differ."""
    log(desk, PAN, PAN, PAN)

    found = summary(desk)
    own, field = found.checks[0].answer.judged_kg_ha, found.mean_kg_ha

    assert field.high / field.low > 1.5 * own.high / own.low
    assert field.low < own.median < field.high


def test_a_width_taped_once_is_wrong_once(desk):
    """Two checks of one combine share the error of the width written in both, and the pan's, by name."""
    for _ in range(2):
        log(desk, PAN)
    lines = summary(desk).checks
    names = {shared_names(Filed.of(line.logged), line.answer.prepared) for line in lines}

    assert len(names) == 1
    one = from_check(Filed.of(lines[0].logged), leak_with_machine=False, seed=1)
    assert one.shared["machine"] == {names.pop().width: 0.02, ("pan",): 0.01}


def test_a_field_of_unknown_area_has_a_mean_and_no_money(desk):
    """The mean per hectare does not hang on the area; what it comes to does."""
    add_thing(desk, "field", {"name": "Far Bank", "crop": "canola", "price": "640 /t"})
    far = find_thing(desk, "field", "Far Bank")
    log(desk, PAN)
    check = check_from_table({**BASE, "catch": [PAN]})
    log_check(desk, check, taken_at="2026-08-15T16:00:00Z", where={"field": far.id})

    found = field_summary(desk, far)

    assert found.area_ha is None
    assert found.money is None
    assert found.mean_kg_ha.median == pytest.approx(summary(desk).mean_kg_ha.median, rel=0.05)


def test_sources_from_different_checks_add_as_independent(desk):
    """A header from one stop and a machine from another: the sum is narrower than both ends at once."""
    log(desk, STRIP)
    log(desk, PAN)

    found = summary(desk)
    header, machine = found.sources["header"][0], found.sources["machine"][0]

    assert found.mean_kg_ha.low > 1.1 * (header.low + machine.low)
    assert found.mean_kg_ha.high < 0.95 * (header.high + machine.high)


def test_money_is_loss_times_area_times_price(desk):
    """60 ha at 640 per tonne."""
    log(desk, PAN)
    log(desk, PAN)

    found = summary(desk)

    assert found.money.median == pytest.approx(found.mean_kg_ha.median / 1000 * 640 * 60)
    assert len(found.checks) == 2


def test_a_check_that_cannot_be_answered_is_not_logged(desk):
    """The refusal comes while the person stands beside the pan, not at the end of the season."""
    slip = check_from_table({**BASE, "catch": [{**PAN, "amount": "40 kg"}]})

    with pytest.raises(InputError, match="stands for a loss of"):
        log_check(desk, slip)


def test_bushels_of_two_countries_are_not_guessed(desk):
    """Oats are 34 lb in Canada and 32 lb in the United States: with farms in both, kilograms are asked for."""
    add_thing(desk, "farm", {"name": "North", "country": "CA"})
    add_thing(desk, "farm", {"name": "South", "country": "US"})

    with pytest.raises(InputError, match="kg or t"):
        add_thing(desk, "field", {"name": "Oats", "crop": "oats", "yield_expected": "100 bu/ac"})


def test_the_currency_of_a_bushel_price_stays(desk):
    """CAD 14.50 a bushel stays Canadian dollars when it becomes a price per tonne."""
    add_thing(desk, "field", {"name": "Far", "crop": "canola", "price": "CAD 14.50 /bu"})

    assert str(find_thing(desk, "field", "Far").parts["price"]).startswith("CAD ")


def test_an_edit_that_does_not_suit_its_target_holds_nothing(desk):
    """A pan's area written into a field (by a merge or a phone) must not make the field's sum impossible."""
    log(desk, PAN)
    field = find_thing(desk, "field", "Long Hollow")

    desk.write("edit", {"target": field.id, "field": "area", "value": "4 ft2", "revision": 1})

    assert find_thing(desk, "field", "Long Hollow").parts["area"] == "60 ha"
    assert summary(desk).area_ha == pytest.approx(60.0)


def test_where_and_ledger_say_the_same_of_a_field_whose_yield_only_the_field_tells(tmp_path):
    """Checks from a sheet or a file often tell no yield: both go by the field's then, and print the same figures."""
    desk = start_book(str(tmp_path / "two.chaffinch"), title="Larkhollow", device="laptop")
    season = add_thing(desk, "season", {"name": "2026"})
    told = {"crop": "canola", "area": "60 ha", "price": "640 /t", "yield_expected": "1.2 t/ha", "season": season.id}
    field = add_thing(desk, "field", {"name": "Long Hollow", **told})
    for catches in ([PAN], [BEHIND, STRIP]):
        check = check_from_table({**{k: v for k, v in BASE.items() if k != "yield"}, "catch": catches})
        log_check(desk, check, taken_at="2026-08-14T16:00:00Z", where={"field": field.id, "season": season.id})
    here = field_summary(desk, find_thing(desk, "field", "Long Hollow"))
    there = ledger(desk, find_thing(desk, "season", "2026")).loss.fields[field.id]

    assert here.mean_kg_ha == there.judged.kg_ha
    assert {source: r for source, (r, _) in here.sources.items()} == {s: x.kg_ha for s, x in there.sources.items()}
