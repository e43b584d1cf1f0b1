"""How much a combine's catches differ, by its own checks."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from chaffinch.book.checks.answer import answer
from chaffinch.book.checks.fields import field_summary
from chaffinch.book.checks.held import find_check
from chaffinch.book.checks.own_variation import own_variations, variation_said, with_learned
from chaffinch.book.checks.points import points_of
from chaffinch.book.pace.curves import curves
from chaffinch.book.season.ledger import ledger
from chaffinch.book.season.plain_data import as_json as ledger_json
from chaffinch.book.season.said import taken_said
from chaffinch.book.things import find_thing
from chaffinch.engine.estimate import Prior, estimate, range_of
from chaffinch.records.checkfile import check_from_table, check_to_table
from season_book import start


def of_old_bess(book):
    return own_variations(book.desk, find_thing(book.desk, "combine", "Old Bess"))


def test_eight_checks_of_even_pans_say_so(tmp_path):
    book = start(tmp_path / "larkhollow.chaffinch")
    for hour in range(7):
        book.check("Old Bess", 10, 8 + hour, machine_kg_ha=40.0)
    assert of_old_bess(book) == ()
    book.check("Old Bess", 11, 8, machine_kg_ha=40.0)
    (found,) = of_old_bess(book)

    assert found.taken == "narrow"
    assert found.checks == 8
    # The pans differ by about a tenth, where 0.40 is assumed.
    assert found.c0.high < 0.40
    assert found.c0.low < 0.15


def test_single_pans_say_nothing(tmp_path):
    book = start(tmp_path / "larkhollow.chaffinch")
    for hour in range(12):
        book.check("Old Bess", 10, 8 + hour, pans=1)

    assert of_old_bess(book) == ()


EVEN = "Pans narrower than the discharge differ by"


def with_even_pans(tmp_path, checks=9):
    book = start(tmp_path / "larkhollow.chaffinch")
    ids = [
        book.check("Old Bess", 10 + k // 8, 8 + k % 8, speed_kmh=5.0 + 0.2 * k, machine_kg_ha=40.0)
        for k in range(checks)
    ]
    return book, ids


def test_the_curve_the_field_and_the_season_go_by_what_was_learned_and_say_so(tmp_path):
    book, _ = with_even_pans(tmp_path)
    found = curves(book.desk, find_thing(book.desk, "combine", "Old Bess"), "canola")

    ((way, figure),) = found.own[0].logged.variation
    assert way == "narrow"
    assert figure == pytest.approx(of_old_bess(book)[0].c0.median, rel=0.06)
    assert all(c.variation == figure for p in found.own for c in p.ready.catches)
    (said,) = variation_said(p.logged for p in found.own)
    assert said.startswith(f"{EVEN} {100 * figure:.0f} % here")
    assert said.endswith("usual is 40 %.")
    summary = field_summary(book.desk, find_thing(book.desk, "field", "Long Hollow"))
    assert variation_said(summary.taught) == [said]
    season = ledger(book.desk, find_thing(book.desk, "season", "2026"))
    assert said in taken_said(season)
    assert ledger_json(season)["variation"] == {"narrow": [figure]}


def test_even_pans_narrow_a_check_within_a_sum_and_nothing_else(tmp_path):
    book, ids = with_even_pans(tmp_path)
    known = {one.id: one for one in (find_thing(book.desk, "combine", "Old Bess"),)}
    one = find_check(book.desk, ids[0])
    taught = with_learned(book.desk, [one])[0]

    def width(logged):
        (point,) = points_of([logged], known)
        r = range_of(estimate(point.evidence["machine"], Prior(40.0), 0.0))
        return math.log(r.high / r.low)

    # Pans that differ by a tenth to a sixth instead of 0.40.
    assert width(taught) < 0.7 * width(one)


def test_a_single_check_is_answered_alike_from_book_file_and_phone(tmp_path):
    """The phone and the file check know nothing of the book: what it learned must not reach them, nor any record."""
    book, ids = with_even_pans(tmp_path)
    one = find_check(book.desk, ids[0])

    assert one.variation == ()
    assert all(c.variation is None for c in one.check.catches)
    by_file = answer(check_from_table(check_to_table(one.check)))
    assert answer(one.check).judged_kg_ha == by_file.judged_kg_ha
    with_learned(book.desk, [one])
    assert all("variation" not in c for c in find_check(book.desk, ids[0]).body["check"]["catch"])
    (line, *_) = field_summary(book.desk, find_thing(book.desk, "field", "Long Hollow")).checks
    assert line.answer.judged_kg_ha == answer(line.logged.check).judged_kg_ha
    assert line.logged.variation == ()


def test_what_a_person_told_of_a_catch_stands(tmp_path):
    book, ids = with_even_pans(tmp_path)
    told = check_to_table(find_check(book.desk, ids[0]).check)
    for catch in told["catch"]:
        catch["variation"] = 0.6
    one = replace(find_check(book.desk, ids[0]), check=check_from_table(told))
    (same,) = with_learned(book.desk, [one])

    assert same.variation == ()
    assert {c.variation for c in same.check.catches} == {0.6}


def test_below_eight_checks_the_usual_figure_stands(tmp_path):
    book, ids = with_even_pans(tmp_path, checks=7)
    (one,) = with_learned(book.desk, [find_check(book.desk, ids[0])])

    assert one.variation == ()
    assert variation_said([one]) == []
