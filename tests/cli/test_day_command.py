"""``chaffinch day`` as a person sees it: the page, its JSON, what it says without checks, one line for bad input."""

from __future__ import annotations

import io
import re
import sys

import pytest

from chaffinch.book.things import edit_label, things
from day_book import day_book, forecast


@pytest.fixture(scope="module")
def book(tmp_path_factory):
    path = tmp_path_factory.mktemp("day") / "larkhollow.chaffinch"
    made = day_book(path, report_in="bu/ac")
    made.desk.store.close()
    return path


@pytest.fixture
def plan(chaffinch, book, tmp_path, monkeypatch):
    monkeypatch.setenv("TZ", "UTC")
    (tmp_path / "forecast.csv").write_text(forecast(), encoding="utf-8")

    def run(*more: str):
        return chaffinch("day", "--book", str(book), "--combine", "Old Bess", "--field", "Long Hollow", *more)

    run.file = str(tmp_path / "forecast.csv")
    return run


def test_the_page_says_hours_pace_losses_and_when_to_check(plan):
    ran = plan("--forecast", plan.file, "--hour-cost", "$400 /h", "--area", "70 ac", "--moisture", "10.4 %")
    assert ran.status == 0, ran.err
    assert "to work" in ran.out
    assert "The cheapest hours that finish 70 ac" in ran.out
    assert ran.out.index("key out") < ran.out.index("Check again at")
    assert "±" in ran.out
    assert "mph" in ran.out
    assert "ac/h" in ran.out
    assert "■" in ran.out
    assert "A guide" not in ran.out
    assert "▲" in ran.out
    assert max(len(line) for line in ran.out.splitlines()) <= 80


def test_typed_lines_are_read_from_standard_input(plan, monkeypatch):
    lines = "\n".join(f"{h}:00 {24 - abs(h - 15)} C {40 + 4 * abs(h - 15)} %" for h in range(9, 22))
    monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(lines.encode()), encoding="utf-8"))
    ran = plan("--forecast", "-", "--date", "2026-08-14", "--hour-cost", "400 /h", "--json")
    assert ran.status == 0, ran.err
    assert len(ran.data["hours"]) == 13
    assert ran.data["used"]["currency"] == "$"
    assert ran.data["assumed"].count("cheapest hours") == 1


@pytest.mark.parametrize(
    ("more", "field", "mend"),
    [
        (("--hour-cost", "400 /h"), "--forecast", "forecast.csv"),
        (("--forecast", "nowhere.csv", "--hour-cost", "400 /h"), "nowhere.csv", "check the name"),
        (("--forecast", "FILE"), "--hour-cost", "like --hour-cost"),
        (("--forecast", "FILE", "--hour-cost", "400 /h", "--hours", "noon"), "--hours", "9-22"),
        (("--forecast", "FILE", "--hour-cost", "400 /h", "--moisture", "112"), "--moisture", "12.5 %"),
        (("--forecast", "FILE", "--hour-cost", "400 /h", "--straw-lag", "soon"), "--straw-lag", "2.5"),
        (("--forecast", "FILE", "--hour-cost", "400 /h", "--area", "70"), "--area", "ha"),
        (("--forecast", "FILE", "--hour-cost", "400 /h", "--yield", "1e6 bu/ac"), "yield", "check number and unit"),
        (("--forecast", "FILE", "--hour-cost", "400 /h", "--width", "300 ft"), "width", "like 39 ft"),
        (("--forecast", "FILE", "--hour-cost", "400 /h", "--fastest", "300 km/h"), "fastest speed", "while cutting"),
        (("--forecast", "HOT", "--hour-cost", "400 /h"), "forecast, line 3, temperature", "temperature (F)"),
    ],
)
def test_bad_input_is_one_line_with_field_and_mend(plan, tmp_path, more, field, mend):
    hot = tmp_path / "hot.csv"
    hot.write_text("time,temp C,rh %\n2026-08-14 13:00,77,40\n2026-08-14 14:00,80,40\n", encoding="utf-8")
    given = [{"FILE": plan.file, "HOT": str(hot)}.get(one, one) for one in more]
    ran = plan(*given)
    assert ran.status == 2, ran.out
    assert field in ran.err
    assert mend in ran.err
    assert ran.err.count("\n") == 1


def test_hours_of_moist_grain_keep_their_line_where_only_dry_is_a_grade(chaffinch, tmp_path, monkeypatch):
    """In Australia nothing stands between dry and not dry; a longer word once broke the whole table up."""
    monkeypatch.setenv("TZ", "UTC")
    made = day_book(tmp_path / "larkhollow.chaffinch", report_in="bu/ac")
    edit_label(made.desk, next(t for t in things(made.desk, "farm")), "country", "AU")
    made.desk.store.close()
    (tmp_path / "forecast.csv").write_text(forecast(), encoding="utf-8")
    ran = chaffinch(
        "day", "--book", str(tmp_path / "larkhollow.chaffinch"), "--combine", "Old Bess", "--field", "Long Hollow",
        "--forecast", str(tmp_path / "forecast.csv"), "--hour-cost", "400 /h",
    )  # fmt: skip
    assert ran.status == 0, ran.err
    assert re.search(r"^  \d\d:00 .*\$\d+ +■, not dry$", ran.out, re.M), ran.out
    assert max(len(line) for line in ran.out.splitlines()) <= 80
