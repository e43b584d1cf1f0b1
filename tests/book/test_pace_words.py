"""What a pace says of its own ground: nothing beyond what this machine has shown, and no two alike chances."""

from __future__ import annotations

import pytest

from chaffinch.book.pace.best import PaceTerms, pace
from chaffinch.book.pace.said import advice_said, apart, limit_said, remarks_said
from chaffinch.book.shown_unit import PaceUnit, Unit
from chaffinch.book.things import find_thing
from season_book import start, with_speeds


@pytest.fixture
def book(tmp_path):
    return start(tmp_path / "larkhollow.chaffinch")


def best(book, combine="Old Bess", *, hour_cost=400.0, today_kmh=None):
    thing = find_thing(book.desk, "combine", combine)
    return pace(book.desk, thing, "canola", PaceTerms(hour_cost=hour_cost, today_kmh=today_kmh))


@pytest.mark.parametrize(("less", "more", "said"), [
    (0.936, 0.944, ("93.6", "94.4")), (0.85, 0.94, ("85", "94")), (0.94381, 0.94386, ("94.38", "94.39")),
    (0.9915, 0.993, ("99.2", "99.3")),
])  # fmt: skip
def test_two_chances_are_told_apart_in_print(less, more, said):
    assert apart(less, more) == said


def test_what_own_checks_say_in_part_is_not_said_to_come_from_others_alone(book):
    """Six checks from 4 to 9 km/h lean to slower, not clearly enough: two more speeds are not what is missing."""
    with_speeds(book, slope=1.5, repeats=1)
    found = best(book, today_kmh=8.5, hour_cost=300.0)
    unit = PaceUnit(Unit("kg/ha", 1.0, "ha", "$"), None, "km/h", 1.0, 1.0)

    assert (found.pace.advice, "slope not learned" in found.pace.remarks) == ("not settled", True)
    told = " ".join([advice_said(found, unit), *remarks_said(found)])
    assert "not yet clearly enough by what this machine itself has shown" in told
    assert "Two checks at clearly different speeds" not in told
    assert "slower pace pays" not in limit_said(found, unit)


def test_no_limit_is_told_that_only_machines_in_general_stand_behind(book):
    """Eight checks at one load: that losing more asks for a slower pace is not what this one showed."""
    unit = PaceUnit(Unit("kg/ha", 1.0, "ha", "$"), None, "km/h", 1.0, 1.0)
    with_speeds(book, speeds=(6.0,), repeats=8)
    alike = best(book, hour_cost=170.0)
    with_speeds(book, "Young Bess", slope=2.0)
    steep = best(book, "Young Bess")

    assert alike.pace.limit_that_pays_kg_ha is not None
    assert alike.curves.machine.p_rises(alike.curves.combine.id) > 0.8
    assert (alike.p_rises, limit_said(alike, unit)) == (None, "")
    assert "Losing clearly more than that, a slower pace pays" in limit_said(steep, unit)
