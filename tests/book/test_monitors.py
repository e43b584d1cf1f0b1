"""Monitor keys of the book: which readings make a pair, and when the key still stands."""

from __future__ import annotations

import pytest

from chaffinch.book.monitors.key import monitor
from chaffinch.book.things import find_thing
from chaffinch.engine.monitor.stale import Conditions
from chaffinch.errors import InputError
from season_book import start


@pytest.fixture
def book(tmp_path):
    return start(tmp_path / "larkhollow.chaffinch")


def paired(book, losses=(10.0, 20.0, 30.0, 45.0, 60.0), *, day=10, per="area", kg_per_bar=5.0, speed_kmh=6.0):
    """Checks at several losses, each with a bar that shows loss ÷ ``kg_per_bar``."""
    for place, loss in enumerate(losses):
        check = book.check("Old Bess", day, 8 + place, machine_kg_ha=loss, speed_kmh=speed_kmh)
        shown = loss / kg_per_bar
        if per == "time":
            shown *= speed_kmh / 6.0
        book.bar("Old Bess", check, day, 8 + place, round(shown, 1), per)


def key_of(book, **more):
    return monitor(book.desk, find_thing(book.desk, "combine", "Old Bess"), "canola", **more)


def test_the_bar_is_read_in_kilograms(book):
    paired(book)
    found = key_of(book)
    told = found.key.loss_kg_ha(6.0)

    assert told.low < 30.0 < told.high
    assert "header not seen" in told.cautions
    assert found.key.reading_for(30.0).low < 6.0 < found.key.reading_for(30.0).high


def test_three_pairs_claim_nothing(book):
    paired(book, (10.0, 20.0, 40.0))
    found = key_of(book)

    assert found.key.missing
    with pytest.raises(InputError, match="too few"):
        found.key.loss_kg_ha(4.0)


def test_a_corrected_check_keeps_its_reading(book):
    from chaffinch.book.checks.entering import replace_check
    from chaffinch.book.checks.held import find_check

    paired(book)
    first = key_of(book).pairs[0].point.logged.id
    replace_check(book.desk, [first], find_check(book.desk, first).check, reason="typed twice")

    assert len(key_of(book).pairs) == 5


def test_readings_without_a_check_are_counted_not_used(book):
    paired(book)
    book.desk.write(
        "monitor",
        {"taken_at": "2026-08-10T20:00:00Z", "combine": book.ids["Old Bess"], "reading": 3.0, "per": "area"},
    )

    found = key_of(book)
    assert len(found.pairs) == 5
    assert found.left_out == {"stand beside no check": 1}


def test_a_bar_told_both_ways_is_refused(book):
    paired(book)
    paired(book, (15.0,), day=11, per="time")

    with pytest.raises(InputError, match="both ways"):
        key_of(book)


def test_a_machine_without_readings_says_how_to_get_some(book):
    book.check("Old Bess", 10, 8)

    with pytest.raises(InputError, match="no reading beside a check"):
        key_of(book)


def test_the_last_day_is_held_against_the_key_of_those_before(book):
    paired(book)
    paired(book, (12.0, 25.0, 50.0), day=11)
    agreeing = key_of(book).standing
    assert agreeing is not None
    assert not agreeing.stale
    paired(book, (12.0, 25.0, 50.0), day=12, kg_per_bar=40.0)
    off = key_of(book).standing

    assert off is not None
    assert off.stale
    assert off.triggers == ("pairs",)


def test_conditions_that_moved_call_for_a_check(book):
    paired(book)
    now = Conditions(time_h=1e6)
    found = key_of(book, now=now).standing

    assert found is not None
    assert "hours" in found.reminders


def test_whole_numbers_are_steps_of_one(book):
    paired(book, (10.0, 20.0, 30.0, 45.0), kg_per_bar=5.0)

    assert key_of(book).key.step == 1.0
