"""Hours as people write them: what is no hour, or two, is refused; a date stands for the beginning of its day."""

from __future__ import annotations

import time
from datetime import UTC, datetime

import pytest
from farm_book import CHECK, logged

from chaffinch.book.times import read_since, read_time
from chaffinch.errors import InputError

# Rules of a prairie clock as POSIX writes them: forward on the second Sunday of March, back on the first of November.
PRAIRIE = "CST6CDT,M3.2.0,M11.1.0"
# Forward at midnight, so that the day itself begins at one.
MIDNIGHT = "AAA3BBB,M10.3.0/0,M2.3.0/0"


@pytest.fixture
def clock_of(monkeypatch):
    def use(rules: str) -> None:
        monkeypatch.setenv("TZ", rules)
        time.tzset()

    yield use
    monkeypatch.undo()
    time.tzset()


def test_an_hour_the_clocks_skip_is_refused(clock_of):
    """2:30 on 8 March 2026 is on no clock there; 3:30 is, and so is 2:30 a day later."""
    clock_of(PRAIRIE)
    with pytest.raises(InputError) as refused:
        read_time("2026-03-08 02:30", "--at")
    assert "skip" in refused.value.problem
    assert "2026-03-08T07:30Z or 2026-03-08T08:30Z" in refused.value.mend
    assert read_time("2026-03-08 03:30", "--at") == "2026-03-08T08:30:00Z"
    assert read_time("2026-03-08 01:30", "--at") == "2026-03-08T07:30:00Z"
    assert read_time("2026-03-09 02:30", "--at") == "2026-03-09T07:30:00Z"


def test_an_hour_that_comes_twice_is_asked_about_with_both_readings(clock_of):
    """1:30 on 1 November 2026 is 6:30 and 7:30 UTC; said in UTC, either is taken."""
    clock_of(PRAIRIE)
    with pytest.raises(InputError) as refused:
        read_time("2026-11-01 01:30", "--at")
    assert "twice" in refused.value.problem
    assert "2026-11-01T06:30Z (the first) or 2026-11-01T07:30Z (the second)" in refused.value.mend
    assert read_time("2026-11-01T06:30Z", "--at") == "2026-11-01T06:30:00Z"
    assert read_time("2026-11-01T01:30-06:00", "--at") == "2026-11-01T07:30:00Z"
    assert read_time("2026-11-01 00:59", "--at") == "2026-11-01T05:59:00Z"
    assert read_time("2026-11-01 02:00", "--at") == "2026-11-01T08:00:00Z"


def test_a_date_is_the_beginning_of_its_day_whatever_the_clocks_do(clock_of):
    """--since with a date is never refused: a day without a midnight begins at one, a day with two at the first."""
    clock_of(MIDNIGHT)
    now = "2026-12-01T00:00:00Z"
    assert read_since("2026-10-18", now) == "2026-10-18T03:00:00Z"
    assert read_since("2026-02-15", now) == "2026-02-15T03:00:00Z"
    assert read_since("2026-06-01", now) == "2026-06-01T03:00:00Z"
    with pytest.raises(InputError, match="no day that exists"):
        read_since("2026-02-30", now)


@pytest.mark.usefixtures("farm")
@pytest.mark.parametrize("command", ["log", "replace"])
def test_neither_flag_nor_file_can_hold_such_an_hour(chaffinch, farm, clock_of, command):
    """One line, status 2, and nothing in the book that was not there."""
    old = logged(chaffinch)
    clock_of(PRAIRIE)
    (farm / "night.toml").write_text(CHECK.replace("2026-08-14T16:40Z", "2026-11-01 01:30"), encoding="utf-8")
    more = (old[:8],) if command == "replace" else ()
    why = ("--reason", "x") if command == "replace" else ()

    for words in (("night.toml",), ("check.toml", "--at", "2026-03-08 02:30")):
        ran = chaffinch("book", command, *more, *words, *why)
        assert (ran.status, ran.out, ran.err.count("\n")) == (2, "", 1), ran
    assert len(chaffinch("book", "history", old[:8], "--json").data["versions"]) == 1
    assert len(chaffinch("book", "show", "checks", "--json").data["checks"]) == 1


@pytest.mark.usefixtures("farm")
def test_an_hour_in_the_file_ahead_of_the_clock_is_refused(chaffinch, monkeypatch):
    """As with --at: the file or the clock is wrong, and the book must not choose."""
    monkeypatch.setattr("chaffinch.cli.options.times.clock", lambda: datetime(2026, 8, 12, tzinfo=UTC))
    ran = chaffinch("book", "log", "check.toml")
    assert ran.status == 2
    assert "more than a day ahead" in ran.err
