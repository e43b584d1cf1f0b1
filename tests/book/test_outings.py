"""Stops belong together by the gaps between them, not by anybody's midnight."""

from __future__ import annotations

import itertools

from chaffinch.book.outings import outings


def test_an_evening_past_midnight_is_one_outing():
    assert outings(["2026-08-10T21:00:00Z", "2026-08-10T23:30:00Z", "2026-08-11T02:00:00Z"]) == [0, 0, 0]


def test_a_night_of_rest_begins_another():
    assert outings(["2026-08-11T00:00:00Z", "2026-08-11T03:00:00Z", "2026-08-11T18:00:00Z"]) == [0, 0, 1]


def test_eight_hours_are_a_gap_and_a_second_less_is_none():
    assert outings(["2026-08-11T08:00:00Z", "2026-08-11T16:00:00Z"]) == [0, 1]
    assert outings(["2026-08-11T08:00:00Z", "2026-08-11T15:59:59Z"]) == [0, 0]


def test_order_does_not_matter():
    times = ["2026-08-10T20:00:00Z", "2026-08-11T02:00:00Z", "2026-08-11T12:00:00Z", "2026-08-12T08:00:00Z"]
    usual = dict(zip(times, outings(times), strict=True))

    assert list(usual.values()) == [0, 0, 1, 2]
    assert all(outings(p) == [usual[t] for t in p] for p in itertools.permutations(times))
    assert outings([]) == []
