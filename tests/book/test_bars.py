"""Readings of the loss monitor: whose they are, how they count, and how a slip is mended."""

from __future__ import annotations

import pytest

from chaffinch.book.checks.bars import (
    bars,
    bars_beside,
    counts_per,
    find_bar,
    mend_bar,
    mended_beside,
    put_back,
    take_back,
    write_beside,
)
from chaffinch.book.checks.entering import log_check, replace_check
from chaffinch.book.checks.held import find_check
from chaffinch.book.monitors.key import NO_SPEED, OTHER_WIDTH, SECOND, UNCOUNTED, monitor
from chaffinch.book.things import find_thing
from chaffinch.errors import InputError
from chaffinch.records.checkfile import check_from_table
from season_book import start


@pytest.fixture
def book(tmp_path):
    return start(tmp_path / "larkhollow.chaffinch")


def paired(book, count=5, *, per="area", combine="Old Bess", **more):
    """Checks an hour apart, each 10 kg/ha more than the one before, with a bar that shows a tenth of it."""
    checks = [book.check(combine, 10, 8 + k, machine_kg_ha=10.0 * (k + 1), **more) for k in range(count)]
    for k, check in enumerate(checks):
        book.bar(combine, check, 10, 8 + k, float(k + 1), per)
    return checks


def key_of(book, combine="Old Bess", crop="canola", **more):
    return monitor(book.desk, find_thing(book.desk, "combine", combine), crop, **more)


def newest(book):
    return bars(book.desk)[-1]


def test_a_slip_in_the_way_of_counting_is_named_and_mended(book):
    checks = paired(book)
    extra = book.check("Old Bess", 10, 14, machine_kg_ha=60.0)
    book.bar("Old Bess", extra, 10, 14, 6.0, "time")
    wrong = newest(book).kept
    with pytest.raises(InputError, match=f"both ways.*5 per area, 1 per time.*{wrong.id[:8]}.*--bar-per area"):
        key_of(book)

    found = find_bar(book.desk, wrong.id[:8])
    assert found is not None
    mend_bar(book.desk, found, {"per": "area"}, reason="slip")

    assert len(key_of(book).pairs) == len(checks) + 1
    # The first version's id still finds it, and a second correction replaces the first one.
    again = find_bar(book.desk, wrong.id[:8])
    assert again is not None
    mend_bar(book.desk, again, {"reading": 7.0}, reason="misread")
    assert key_of(book).pairs[-1].reading == 7.0
    assert len(bars(book.desk)) == 6


def test_a_reading_is_taken_back_and_put_back_and_stays_readable(book):
    checks = paired(book)
    wrong = bars_beside(book.desk, find_check(book.desk, checks[2]))[0]
    found = find_bar(book.desk, wrong.id)
    with pytest.raises(InputError, match="was not taken back"):
        put_back(book.desk, found, reason="slip")
    gone = take_back(book.desk, found, reason="read off the other machine")
    assert bars_beside(book.desk, find_check(book.desk, checks[2])) == []
    assert [pair.reading for pair in key_of(book).pairs] == [1.0, 2.0, 4.0, 5.0]
    now = find_bar(book.desk, wrong.id)
    assert (now.kept.id, now.kept.body["reading"], now.before["check"]) == (gone.id, 3.0, checks[2])
    with pytest.raises(InputError, match="says nothing already"):
        take_back(book.desk, now, reason="again")
    put_back(book.desk, now, reason="it was this one after all")
    assert [pair.reading for pair in key_of(book).pairs] == [1.0, 2.0, 3.0, 4.0, 5.0]
    assert find_bar(book.desk, wrong.id).before is None
    # The way of counting of a reading that was taken back is nobody's any more.
    for check in checks:
        (one,) = bars_beside(book.desk, find_check(book.desk, check))
        take_back(book.desk, find_bar(book.desk, one.id), reason="all of them")
    assert counts_per(book.desk, book.ids["Old Bess"]) is None


def test_a_bar_beside_a_check_is_corrected_or_added(book):
    first, second = paired(book, 2)
    logged = find_check(book.desk, first)
    bar = mended_beside(book.desk, logged, {"reading": 1.4}, combine=book.ids["Old Bess"], reason="misread")
    assert bar["per"] == "area"
    write_beside(book.desk, logged, bar)
    assert [one.body["reading"] for one in bars_beside(book.desk, logged)] == [1.4]

    third = find_check(book.desk, book.check("Old Bess", 10, 12, machine_kg_ha=30.0))
    with pytest.raises(InputError, match="no reading stands beside"):
        mended_beside(book.desk, third, {"per": "area"}, combine=book.ids["Old Bess"], reason="x")
    told = {"reading": 3.0, "per": "time"}
    with pytest.raises(InputError, match="counted per area"):
        mended_beside(book.desk, third, told, combine=book.ids["Old Bess"], reason="x")
    write_beside(
        book.desk, third, mended_beside(book.desk, third, {"reading": 3.0}, combine=book.ids["Old Bess"], reason="x")
    )
    assert [bar.kept.body["reading"] for bar in bars(book.desk)] == [1.4, 2.0, 3.0]
    assert second in {bar.check for bar in bars(book.desk)}


def test_a_check_and_its_bar_are_corrected_together(book):
    first = paired(book, 1)[0]
    logged = find_check(book.desk, first)
    bar = mended_beside(book.desk, logged, {"reading": 1.4}, combine=book.ids["Old Bess"], reason="both")
    replace_check(book.desk, [first], logged.check, reason="both", bar=bar)

    only = bars(book.desk)
    assert [one.kept.body["reading"] for one in only] == [1.4]
    assert only[0].check == find_check(book.desk, first).id != first


def test_a_check_corrected_to_another_combine_takes_its_bar_along(book):
    for check in paired(book):
        where = {"combine": book.ids["Young Bess"]}
        replace_check(book.desk, [check], find_check(book.desk, check).check, reason="wrong machine", where=where)

    assert len(key_of(book, "Young Bess").pairs) == 5
    assert counts_per(book.desk, book.ids["Young Bess"]) == "area"
    assert counts_per(book.desk, book.ids["Old Bess"]) is None
    with pytest.raises(InputError, match="no reading beside a check"):
        key_of(book)


def test_another_crop_machine_or_season_does_not_lock_the_key(book):
    paired(book)
    wheat = book.check("Old Bess", 10, 16, crop="wheat", machine_kg_ha=20.0)
    book.bar("Old Bess", wheat, 10, 16, 5.0, "time")
    other = book.check("Young Bess", 10, 17, machine_kg_ha=20.0)
    book.bar("Young Bess", other, 10, 17, 5.0, "time")
    book.add("season", "2025")
    earlier = book.check("Old Bess", 9, 8, machine_kg_ha=20.0, where={"season": book.ids["2025"]})
    book.bar("Old Bess", earlier, 9, 8, 5.0, "time")

    assert key_of(book, season=book.ids["2026"]).key.per == "area"
    assert counts_per(book.desk, book.ids["Old Bess"], "wheat") == "time"
    assert counts_per(book.desk, book.ids["Old Bess"], "canola") == "area"


def test_a_bar_that_counts_otherwise_than_before_is_refused_at_the_book_s_door(book):
    first = paired(book, 1)[0]
    check = find_check(book.desk, first).check
    where = {"combine": book.ids["Old Bess"]}
    at = "2026-08-11T08:00:00Z"
    with pytest.raises(InputError, match="counted per area"):
        log_check(book.desk, check, taken_at=at, where=where, bar={"reading": 4.0, "per": "time"})
    log_check(book.desk, check, taken_at=at, where=where, bar={"reading": 4.0, "per": "time"}, other_way=True)

    assert [one.per for one in bars(book.desk)] == ["area", "time"]


def test_a_second_reading_beside_a_check_is_called_that(book):
    checks = paired(book)
    book.bar("Old Bess", checks[0], 10, 20, 9.0)
    found = key_of(book)

    assert found.left_out == {SECOND: 1}
    assert found.pairs[-1].reading == 9.0
    assert len(found.pairs) == 5


def test_a_reading_beside_a_check_that_has_not_arrived_is_called_that(book):
    paired(book)
    book.bar("Old Bess", "0000ffff-0000-4000-8000-000000000001", 10, 20, 9.0)

    assert key_of(book).left_out == {UNCOUNTED: 1}


def test_one_pair_without_speed_or_of_another_width_is_left_out(book):
    paired(book, per="time")
    blind = book.check("Old Bess", 10, 15, speed_kmh=None, machine_kg_ha=30.0)
    book.bar("Old Bess", blind, 10, 15, 3.0, "time")
    part = find_check(book.desk, book.check("Old Bess", 10, 16, machine_kg_ha=30.0))
    table = {**part.body["check"], "combine": {**part.body["check"]["combine"], "cut_width": "6 m"}}
    replace_check(book.desk, [part.id], check_from_table(table), reason="part width")
    book.bar("Old Bess", part.id, 10, 16, 3.0, "time")
    found = key_of(book)

    assert found.left_out == {NO_SPEED: 1, OTHER_WIDTH: 1}
    assert len(found.pairs) == 5
    assert found.key.width_m == 12.0


def test_a_per_time_bar_with_no_speed_at_all_says_what_to_do(book):
    paired(book, 2, per="time", speed_kmh=None)
    with pytest.raises(InputError, match="is told by no pair"):
        key_of(book)


def test_a_day_of_pairs_ends_where_eight_hours_pass_not_at_midnight_utc(book):
    paired(book)
    for hour, day in ((21, 11), (23, 11), (1, 12)):
        check = book.check("Old Bess", day, hour, machine_kg_ha=30.0)
        book.bar("Old Bess", check, day, hour, 3.0)

    assert key_of(book).tested_on == 3


def test_speeds_that_read_alike_share_a_column(book):
    paired(book, per="time")
    assert key_of(book).speeds_kmh == (6.0,)
    assert key_of(book).near_a_pair(6.5)
    assert not key_of(book).near_a_pair(12.0)
