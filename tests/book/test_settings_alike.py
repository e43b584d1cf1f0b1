"""When two settings are the same: names, units and numbers as people write them."""

from __future__ import annotations

import pytest

from chaffinch.book.settings_alike import comparable, differing, otherwise, said, spellings, with_side
from chaffinch.errors import InputError


def one(name: str, value: float, unit: str | None = None) -> dict[str, object]:
    return {"name": name, "value": value} | ({} if unit is None else {"unit": unit})


@pytest.mark.parametrize(
    ("here", "there"),
    [
        (one("fan speed", 900, "rpm"), one("Fan  Speed", 900.0, "RPM")),
        (one("upper sieve", 18, "mm"), one("upper sieve", 1.8, "cm")),
        (one("upper sieve", 1, "in"), one("upper sieve", 25.4, "mm")),
        (one("reel speed", 3.6, "km/h"), one("reel speed", 1, "m/s")),
        (one("gap", 3), one("GAP", 3.0)),
    ],
)
def test_one_setting_written_in_two_ways_is_one(here, there):
    assert differing([here], [there]) == set()


@pytest.mark.parametrize(
    ("here", "there"),
    [
        (one("fan speed", 900, "rpm"), one("fan speed", 901, "rpm")),
        (one("upper sieve", 18, "mm"), one("upper sieve", 18, "cm")),
        (one("upper sieve", 18, "mm"), one("upper sieve", 18)),
        (one("fan speed", 900, "rpm"), one("rotor speed", 900, "rpm")),
        (one("concave", 3, "notches"), one("concave", 3, "mm")),
    ],
)
def test_what_differs_is_named(here, there):
    assert differing([here], [there]) == set(comparable([here])) | set(comparable([there]))


def test_a_name_is_spelled_as_it_was_first():
    a, b = [one("Fan speed", 900, "rpm")], [one("fan speed", 830, "rpm")]
    assert said(b, spelled=spellings(a)) == {"Fan speed": "830 rpm"}
    assert spellings(a, b) == {"fan speed": "Fan speed"}


SIDES = {
    "A": [one("fan speed", 900, "rpm"), one("rotor speed", 600, "rpm")],
    "B": [one("fan speed", 830, "rpm"), one("rotor speed", 600, "rpm")],
}


def test_a_stop_has_its_side_s_settings_and_what_was_told_besides():
    found = with_side([one("Fan speed", 830, "RPM"), one("gap", 3)], SIDES, "B", called="--setting")
    assert found == [one("Fan speed", 830, "RPM"), one("gap", 3), one("rotor speed", 600, "rpm")]
    assert with_side([], SIDES, "A", called="--setting") == SIDES["A"]


def test_a_setting_that_is_not_its_side_s_is_refused():
    with pytest.raises(InputError, match=r"--setting: is not what side B of the trial is set to, 830 rpm"):
        with_side([one("fan speed", 900, "rpm")], SIDES, "B", called="--setting")
    # What the trial does not change may have moved; that is said of it, not refused.
    assert otherwise([one("rotor speed", 700, "rpm")], SIDES, "B") is None
