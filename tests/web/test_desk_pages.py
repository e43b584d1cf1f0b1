"""Does each desk page show what the book says, in the units this person reads in?"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from desk_farm import COMMAND, PLACEHOLDER, Page, Visitor, desk_farm

from chaffinch.book.checks.answer import answer
from chaffinch.book.checks.entering import log_check, replace_check
from chaffinch.book.checks.fields import field_summary
from chaffinch.book.checks.held import find_check
from chaffinch.book.figures import range_words
from chaffinch.book.pace.best import PaceTerms, pace
from chaffinch.book.season.ledger import ledger
from chaffinch.book.things import add_thing, find_thing
from chaffinch.book.trials.trial import answer_trial, find_trial
from chaffinch.records.checkfile import check_from_table, check_to_table
from chaffinch.web.access import csrf_of
from chaffinch.web.pages.answers import Longer
from chaffinch.web.pages.frame import unbroken


@pytest.fixture(scope="module")
def desk(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Visitor]:
    with desk_farm(tmp_path_factory.mktemp("desk")) as visitor:
        yield visitor


@pytest.fixture
def fresh(tmp_path: Path) -> Iterator[Visitor]:
    """A farm of its own, for tests that write."""
    with desk_farm(tmp_path) as visitor:
        yield visitor


def every_path(desk: Visitor) -> dict[str, str]:
    ids = desk.book.ids
    return {
        "today": "/today",
        "checks": "/checks",
        "check": f"/check/{ids['checks']}",
        "correct": f"/check/{ids['checks']}/correct",
        "log": "/log",
        "seasons": "/seasons",
        "season": f"/season/{ids['2026']}?by=combine&source=machine",
        "field": f"/field/{ids['Long Hollow']}",
        "combines": "/combines",
        "combine": f"/combine/{ids['Old Bess']}?hour_cost=450+/h&now=6+km/h",
        "monitor": f"/combine/{ids['Young Bess']}",
        "bar": desk.get(f"/check/{ids['barred']}").tags.link("/bar/"),
        "day": "/day",
        "trials": "/trials",
        "trial": f"/trial/{ids['trial']}",
        "setup": "/setup",
        "new": "/setup/field/new",
        "thing": f"/thing/{ids['Old Bess']}",
        "import": "/import",
        "devices": "/devices",
    }


def test_every_page_is_whole(desk: Visitor) -> None:
    """200, closed tags, one heading of the first rank, no sentence with an empty place, and nothing from elsewhere."""
    for name, path in every_path(desk).items():
        page = desk.get(path)
        assert page.status == 200, (name, page.text[:400])
        assert page.tags.open == [], name
        assert [tag for tag, _ in page.tags.elements].count("h1") == 1, name
        assert not PLACEHOLDER.search(page.words), (name, PLACEHOLDER.search(page.words))
        assert not COMMAND.search(page.words), (name, COMMAND.search(page.words))
        ids = [given["id"] for _, given in page.tags.elements if "id" in given]
        assert len(ids) == len(set(ids)), name
        forms = sum(given.get("method") == "post" for _, given in page.tags.elements)
        secrets = [given["value"] for _, given in page.tags.elements if given.get("name") == "csrf"]
        assert secrets == [csrf_of(desk.secret)] * forms, name
        assert forms >= 1, "the choices of light and units are on every page"
        for tag, given in page.tags.elements:
            assert "style" not in given, (name, tag)
            assert not any(key.startswith("on") for key in given), (name, tag, given)
            for key in ("href", "src", "action"):
                assert not given.get(key, "/").startswith(("http", "//", "data:")), (name, given)


def test_a_check_shows_the_figures_of_the_book(desk: Visitor) -> None:
    logged = find_check(desk.book.desk, desk.book.ids["checks"])
    found = answer(logged.check)
    low, middle, high = range_words(found.judged_kg_ha)
    page = desk.get(f"/check/{logged.id}")
    assert f"{middle} kg/ha header and machine loss, likely {low} to {high}" in page.words
    for source in found.sources:
        row = range_words(found.sources[source].kg_ha)
        assert row[1] in page.words
    assert "Before anyone goes near the machine" in page.words
    assert page.text.count('role="img"') == 4  # a ruler and the sources, each in two widths


def test_a_person_reads_in_other_units(desk: Visitor) -> None:
    """The same loss in bushels an acre: 1 bu/ac of canola is 56.04 kg/ha (50 lb a bushel in the reference)."""
    logged = find_check(desk.book.desk, desk.book.ids["checks"])
    r = answer(logged.check).judged_kg_ha
    american = replace(desk, choices={"measures": "american"})
    words = american.get(f"/check/{logged.id}").words
    speeds = american.get(f"/combine/{desk.book.ids['Old Bess']}", hour_cost="450 /h", now="4 mph").words
    low, middle, high = range_words(r.times(1 / 56.04))
    assert f"{middle} bu/ac header and machine loss, likely {low} to {high}" in words
    assert "mph" in speeds
    assert "cost/ac" in speeds
    strange = replace(desk, choices={"measures": "nonsense", "look": "<b>"})
    assert "kg/ha" in strange.get(f"/check/{logged.id}").words


def test_a_field_shows_its_mean_and_what_is_missing(desk: Visitor) -> None:
    thing = find_thing(desk.book.desk, "field", "Far Common")
    found = field_summary(desk.book.desk, thing)
    assert found.mean_kg_ha is not None
    low, middle, high = range_words(found.mean_kg_ha)
    page = desk.get(f"/field/{thing.id}")
    assert f"{middle} kg/ha machine loss, mean over the field, likely {low} to {high}" in page.words
    assert "Header loss was measured in no check: it comes on top." in page.words
    assert f"5 checks on {40} ha" in page.words


def test_a_field_points_out_a_check_far_from_the_others(fresh: Visitor) -> None:
    for hour in range(8, 14):
        fresh.book.check("Old Bess", 21, hour, machine_kg_ha=30.0, field="Far Common")
    slip = fresh.book.check("Old Bess", 21, 15, machine_kg_ha=3_000.0, field="Far Common")
    found = field_summary(fresh.book.desk, find_thing(fresh.book.desk, "field", "Far Common"))
    assert found.doubted == (slip,)
    assert f"Check {slip[:8]} in Far Common is far from all others" in fresh.get(f"/field/{found.field.id}").words


def test_a_season_shows_its_sum_and_never_ranks(desk: Visitor) -> None:
    season = find_thing(desk.book.desk, "season", "2026")
    found = ledger(desk.book.desk, season)
    assert found.loss is not None
    assert found.loss.whole.judged is not None
    low, middle, high = range_words(found.loss.whole.judged.kg.times(0.001))
    page = desk.get(f"/season/{season.id}", by="operator", source="machine")
    assert f"{middle} t left on" in page.words
    assert f"likely {low} to {high}" in page.words
    assert "No difference can be claimed" in page.words
    assert "This is no insurance or legal record." in page.words


def test_a_season_compares_in_the_crop_with_most_checks_first(fresh: Visitor) -> None:
    desk = fresh.book.desk
    season = find_thing(desk, "season", "2026")
    add_thing(desk, "field", {"name": "Far Barley", "crop": "barley", "area": "20 ha", "season": season.id})
    page = fresh.get(f"/season/{season.id}")
    choice = re.search(r'<select[^>]*name="crop".*?</select>', page.text, re.DOTALL)
    assert choice is not None
    assert re.findall(r'value="([^"]+)"', choice[0]) == ["canola", "barley"]


def test_a_combine_shows_its_pace_and_its_points(desk: Visitor) -> None:
    machine = find_thing(desk.book.desk, "combine", "Old Bess")
    found = pace(desk.book.desk, machine, "canola", PaceTerms(hour_cost=450.0, today_kmh=6.0))
    page = desk.get(f"/combine/{machine.id}", hour_cost="450 /h", now="6 km/h", crop="canola")
    assert f"{found.pace.best_kmh:.1f} km/h best pace" in page.words
    # On the curve of the loss and on that of the cost, each wide and narrow, and each leads to its check.
    assert page.text.count('<circle class="dot"') == 4 * len(found.curves.own)
    paths = [path for path, _ in spots(page)]
    assert set(paths) == {f"/check/{point.logged.id}" for point in found.curves.own}
    assert len(paths) == 4 * len(found.curves.own)
    assert any(" $" in said and "/ha, likely" in said for _, said in spots(page))
    assert "best" in page.words
    assert "--" not in page.words, "no flag of the command line on a page"


def test_a_monitor_has_its_key(desk: Visitor) -> None:
    page = desk.get(f"/combine/{desk.book.ids['Young Bess']}")
    assert "The sensor does not see the header" in page.words
    assert "5 pairs of bar and check" in page.words
    assert "The bar counts hits per area" in page.words


def test_a_trial_shows_its_ratio_and_sides(desk: Visitor) -> None:
    found = answer_trial(desk.book.desk, find_trial(desk.book.desk, desk.book.ids["trial"]))
    page = desk.get(f"/trial/{desk.book.ids['trial']}")
    assert f"{found.answer.ratio.median:.2f} times the machine loss of A under B" in page.words
    assert "fan speed 900 rpm against 850 rpm" in page.words
    # Sides differ by shape, not by hue: two dots and two boxes, in two widths.
    assert page.text.count('<circle class="dot"') == 4
    assert page.text.count('class="dot hollow"') == 4
    header = desk.get(f"/trial/{desk.book.ids['trial']}", source="header")
    assert "no check of this trial saw header loss" in header.words


def test_today_tells_what_stands_open(fresh: Visitor) -> None:
    desk = fresh.book.desk
    table = check_to_table(find_check(desk, fresh.book.ids["checks"]).check)
    unfiled = log_check(desk, check_from_table({**table, "limit": "1 kg/ha"}), taken_at="2026-09-01T10:00:00Z")
    words = fresh.get("/today").words
    assert "Today" in words
    assert "Tuesday 1 September 2026" in words
    assert "is filed under no field" in words
    assert "over the limit" in words
    assert "Before anyone goes near the machine" in words
    first = find_check(desk, unfiled.id)
    replace_check(desk, [unfiled.id], first.check, reason="one")
    # Both corrections name the same record, as two phones without signal write them.
    other = desk.seal("check", {**first.body, "replaces": [unfiled.id], "reason": "two"})
    desk.keep([other])
    words = fresh.get("/today").words
    assert "two corrections disagree" in words
    page = fresh.get(f"/check/{unfiled.id}")
    assert "Two corrections disagree" in page.words
    assert "Settle it with a correction" in page.words
    assert "Why: two" in page.words


def test_an_empty_book_says_where_to_begin(tmp_path: Path) -> None:
    with desk_farm(tmp_path, filled=False) as desk:
        assert "Nothing was checked yet." in desk.get("/today").words
        for name, path in every_path_of_an_empty_book(desk).items():
            page = desk.get(path)
            assert page.status == 200, (name, page.text[:300])
            assert not PLACEHOLDER.search(page.words), name


def every_path_of_an_empty_book(desk: Visitor) -> dict[str, str]:
    ids = desk.book.ids
    return {
        "checks": "/checks",
        "log": "/log",
        "seasons": "/seasons",
        "season": f"/season/{ids['2026']}",
        "field": f"/field/{ids['Long Hollow']}",
        "combine": f"/combine/{ids['Old Bess']}",
        "combine asked": f"/combine/{ids['Old Bess']}?hour_cost=450",
        "day": "/day",
        "trials": "/trials",
    }


def test_what_is_not_there_is_said(desk: Visitor) -> None:
    nothing = "00000000-0000-4000-8000-000000000000"
    for path in (f"/check/{nothing}", f"/field/{nothing}", f"/season/{nothing}", f"/combine/{nothing}",
                 f"/trial/{nothing}", f"/thing/{nothing}", "/setup/dragon/new", "/check/%27%3B--",
                 f"/devices/{nothing}/revoke",
                 f"/field/{desk.book.ids['Old Bess']}"):  # fmt: skip
        page = desk.get(path)
        assert page.status in (404, 422), path
        assert "Traceback" not in page.text


def test_the_list_goes_on_and_narrows(fresh: Visitor) -> None:
    for day in (16, 17, 18, 19):
        for hour in range(6, 18):
            fresh.book.check("Old Bess", day, hour, machine_kg_ha=30.0)
    first = fresh.get("/checks")
    assert "1 to 40 of 70" in first.words
    second = fresh.get("/checks", **{"from": "40"})
    assert "41 to 70 of 70" in second.words
    assert fresh.get("/checks", **{"from": "9999999"}).status == 200
    narrow = fresh.get("/checks", combine=fresh.book.ids["Young Bess"])
    assert "1 to 5 of 5" in narrow.words
    assert fresh.get("/checks", combine="nobody").status == 200


def test_a_long_answer_shows_how_far_it_is(fresh: Visitor) -> None:
    fresh.app.state.longer = Longer(patience_s=0.0)
    page = fresh.get(f"/season/{fresh.book.ids['2026']}")
    assert page.status == 200
    assert "Being worked out" in page.words
    assert ("meta", {"http-equiv": "refresh", "content": "2"}) in page.tags.elements


def test_the_address_itself_leads_in(desk: Visitor) -> None:
    assert desk.get("/").to == "/today"
    assert desk.client.get("/", follow_redirects=False).headers["location"] == "/app/"
    assert desk.client.get("/today").status_code == 401


def test_readers_see_no_form_that_writes(desk: Visitor) -> None:
    reader = desk.as_role("reader")
    assert reader.get("/log").status == 403
    words = reader.get("/today").words
    assert "Log a check" not in words
    assert "Crew and devices" not in words
    assert "Correct this check" not in reader.get(f"/check/{desk.book.ids['checks']}").words
    assert "Save" not in reader.get(f"/thing/{desk.book.ids['Old Bess']}").words


def test_two_fields_of_one_day_have_tables_of_their_own_name(fresh: Visitor) -> None:
    """Who jumps from table to table by their names must be told which is which."""
    fresh.book.check("Old Bess", 28, 9)
    fresh.book.check("Old Bess", 28, 11, field="Far Common")
    regions = [given["aria-label"] for _, given in fresh.get("/today").tags.elements if given.get("role") == "region"]
    assert len(regions) == 2
    assert [name.startswith("Checks, ") for name in regions] == [True, True]
    assert len(set(regions)) == 2


def test_drawings_of_a_field_and_a_season_lead_on(desk: Visitor) -> None:
    """Each check of the field's days, and each field of the season, by its name and its figures."""
    field = find_thing(desk.book.desk, "field", "Far Common")
    found = field_summary(desk.book.desk, field)
    places = [(f"/check/{line.logged.id}", line.logged.body["taken_at"]) for line in found.checks]
    assert [path for path, _ in spots(desk.get(f"/field/{field.id}"))] == [path for path, _ in places] * 2
    of_season = spots(desk.get(f"/season/{desk.book.ids['2026']}"))
    assert {f"/field/{field.id}", f"/field/{desk.book.ids['Long Hollow']}"} <= {path for path, _ in of_season}
    assert all(" kg/ha, likely " in said for _, said in of_season)
    # A row and a tile, each drawn wide and narrow; the tile's number is the table's.
    assert [path for path, _ in of_season].count(f"/field/{field.id}") == 4
    assert any(said.startswith("Far Common · ") for _, said in of_season)
    season = desk.get(f"/season/{desk.book.ids['2026']}").text
    tile = re.search(r">(\d) Far", season)
    assert tile
    assert f'<th scope="row">{tile[1]} <a href="/field/{field.id}">' in season


def test_figures_stay_on_one_line_and_forms_as_they_were_typed() -> None:
    kept = '<p title="5 % of 1 160 −$2">90\u00a0% of 1\u202f160, 2026-08-14 16:40, −\u2060$2 or −2</p>'
    assert unbroken('<p title="5 % of 1 160 −$2">90 % of 1 160, 2026-08-14 16:40, −$2 or −2</p>') == kept
    for typed in ('<input value="5 %">', "<textarea>5 % of 1 160</textarea>", '<option value="5 %">5 %</option>'):
        assert unbroken(typed) == typed


def spots(page: Page) -> list[tuple[str, str]]:
    return [(given["href"], given["aria-label"]) for _, given in page.tags.elements if given.get("class") == "spot"]
