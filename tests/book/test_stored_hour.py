"""What the book stores of an hour's cost: who it goes for, that it is said, and that what is told wins."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from chaffinch.book.advice.advise import AdviceTerms, advise_check, last_check
from chaffinch.book.advice.plain_data import as_json as advice_json
from chaffinch.book.advice.said import hour_said as hour_of_advice
from chaffinch.book.currency import read_told
from chaffinch.book.day.hours import DayTerms, day
from chaffinch.book.day.plain_data import as_json as day_json
from chaffinch.book.day.said import taken
from chaffinch.book.for_phones import setup
from chaffinch.book.pace.best import PaceAnswer, PaceTerms, pace
from chaffinch.book.pace.hour_costs import StoredHour, hour_cost, per_hour, stored_hour
from chaffinch.book.pace.plain_data import as_json
from chaffinch.book.pace.said import hour_said
from chaffinch.book.shown_unit import unit_of
from chaffinch.book.things import Thing, add_thing, edit_label, edits_of, find_thing
from chaffinch.errors import InputError
from chaffinch.paper.field_report import field_report
from chaffinch.paper.season_report import season_report
from chaffinch.paper.wanted import Wanted, made
from chaffinch.records.bodies import validate
from chaffinch.records.forecast import read_forecast
from chaffinch.records.kinds import KINDS
from chaffinch.sync.labels import next_revision
from day_book import day_book, forecast
from season_book import SeasonBook, start, with_speeds

TOLD = {"hour_cost": "300 /h"}


@pytest.fixture
def book(tmp_path: Path) -> Iterator[SeasonBook]:
    made_here = start(tmp_path / "larkhollow.chaffinch")
    yield made_here
    made_here.desk.store.close()


@pytest.fixture(scope="module")
def season(tmp_path_factory: pytest.TempPathFactory) -> Iterator[SeasonBook]:
    """Two combines with checks; the farm stores 400 an hour, Young Bess 250 of her own."""
    made_here = start(tmp_path_factory.mktemp("stored") / "larkhollow.chaffinch")
    with_speeds(made_here, slope=2.0, repeats=1)
    with_speeds(made_here, "Young Bess", repeats=1, speeds=(4.0, 6.0, 8.0))
    store(made_here, "farm", "Larkhollow", "400 /h")
    store(made_here, "combine", "Young Bess", "$250 /h")
    yield made_here
    made_here.desk.store.close()


def thing(book: SeasonBook, kind: str, name: str) -> Thing:
    return find_thing(book.desk, kind, name)


def store(book: SeasonBook, kind: str, name: str, cost: str | None) -> None:
    edit_label(book.desk, thing(book, kind, name), "hour_cost", cost)


def stored_by_an_earlier_program(book: SeasonBook, kind: str, name: str, cost: str) -> None:
    """As a book may hold it: this program refuses to store it."""
    there = thing(book, kind, name)
    body = {"target": there.id, "field": "hour_cost", "value": cost}
    book.desk.write("edit", {**body, "revision": next_revision(edits_of(book.desk, there.id), there.id, "hour_cost")})


def cost_of(book: SeasonBook, combine: str, told: dict[str, str] | None = None) -> Any:
    stored = stored_hour(book.desk, thing(book, "combine", combine))
    return hour_cost(told or {}, yield_kg_ha=None, price_per_t=None, called=lambda name: f"--{name}", stored=stored)


def paced(book: SeasonBook, combine: str, told: dict[str, str] | None = None) -> PaceAnswer:
    terms = PaceTerms(hour_cost=cost_of(book, combine, told))
    return pace(book.desk, thing(book, "combine", combine), "canola", terms)


def test_without_one_nothing_is_assumed(book: SeasonBook) -> None:
    assert stored_hour(book.desk, None) is None
    with pytest.raises(InputError, match=r"--hour-cost: is not told.*or store one with the farm"):
        cost_of(book, "Old Bess")
    assert setup(book.desk)["farm"]["hour_cost"] is None


def test_the_farms_goes_for_every_combine_without_its_own(season: SeasonBook) -> None:
    old, young = cost_of(season, "Old Bess"), cost_of(season, "Young Bess")

    assert (old.per_h, old.of, young.per_h, young.of) == (400.0, "farm", 250.0, "combine")
    assert per_hour(old) == 400.0
    assert old.money.text == "400 /h"


@pytest.mark.parametrize("told", [TOLD, {"wage": "100 /h", "wear": "180 /h"}])
def test_what_is_told_wins(season: SeasonBook, told: dict[str, str]) -> None:
    cost = cost_of(season, "Young Bess", told)

    assert not isinstance(cost, StoredHour)
    assert per_hour(cost) == pytest.approx(300.0)  # a driver is paid 1.2 hours an hour


def test_a_pace_by_it_is_the_pace_of_that_figure_and_says_so(season: SeasonBook) -> None:
    by_store, by_hand = paced(season, "Old Bess"), paced(season, "Old Bess", {"hour_cost": "400 /h"})
    unit = unit_of(season.desk, "canola").in_currency(by_store.currency)

    assert by_store.pace == by_hand.pace
    assert hour_said(by_store, unit) == "Stored hour cost $400/h, the farm's."
    assert hour_said(by_hand, unit) == "One more hour costs $400 per hour."
    assert as_json(by_store)["used"]["hour_cost_per_h"] == 400.0
    assert as_json(by_store)["used"]["hour_cost_stored_with"] == "farm"
    assert as_json(by_hand)["used"]["hour_cost_stored_with"] is None
    own = paced(season, "Young Bess")
    assert hour_said(own, unit) == "Stored hour cost $250/h, this combine's own."
    assert as_json(own)["used"]["hour_cost_stored_with"] == "combine"


def test_a_day_by_it_says_so(tmp_path: Path) -> None:
    book = day_book(tmp_path / "day.chaffinch")
    store(book, "farm", "Larkhollow", "400 /h")
    hours = read_forecast(forecast(hours=12), day=None)

    def planned(told: dict[str, str]) -> Any:
        terms = DayTerms(pace=PaceTerms(hour_cost=cost_of(book, "Old Bess", told)))
        return day(book.desk, thing(book, "combine", "Old Bess"), "canola", hours, terms)

    by_store, by_hand = planned({}), planned({"hour_cost": "400 /h"})
    unit = unit_of(book.desk, "canola").in_currency(by_store.currency)
    assert by_store.plan.hours == by_hand.plan.hours
    assert taken(by_store, unit)[0] == "Stored hour cost $400/h, the farm's."
    assert taken(by_hand, unit)[0] == "One more hour costs $400."
    assert day_json(by_store, unit)["used"]["hour_cost_stored_with"] == "farm"
    assert day_json(by_hand, unit)["used"]["hour_cost_stored_with"] is None
    assert "Stored hour cost $400/h, the farm's." in day_json(by_store, unit)["said"]  # what a phone shows
    assert not any("hour cost" in one for one in day_json(by_hand, unit)["said"])
    book.desk.store.close()


def test_advice_weighs_time_by_it_and_says_so(season: SeasonBook) -> None:
    def advised(combine: str, **told: Any) -> Any:
        logged = last_check(season.desk, thing(season, "combine", combine), None)
        return advise_check(season.desk, logged, AdviceTerms(**told))

    by_store, by_hand = advised("Old Bess"), advised("Old Bess", hour_cost=400.0)
    assert hour_of_advice(by_store) == ["Stored hour cost $400/h, the farm's."]
    assert hour_of_advice(by_hand) == []
    assert by_store.worth == by_hand.worth
    assert by_store.held == by_hand.held
    assert advice_json(by_store)["hour_cost_stored_with"] == "farm"
    assert advice_json(by_hand)["hour_cost_stored_with"] is None
    assert advice_json(advised("Young Bess"))["hour_cost_stored_with"] == "combine"


@pytest.mark.parametrize("short", [False, True])
def test_paper_tells_paces_by_it(season: SeasonBook, short: bool) -> None:
    wanted = Wanted(date="2026-09-01", short=short)
    report = season_report(season.desk, thing(season, "season", "2026"), wanted)
    said = [one["text"] for one in report.blocks if "text" in one]

    assert "Stored hour cost $400/h, the farm's." in said
    assert "Young Bess: Stored hour cost $250/h, this combine's own." in said
    assert [one["used"]["hour_cost_per_h"] for one in report.figures["paces"]] == [400.0, 250.0]
    assert made(report)[1].pdf.startswith(b"%PDF")


def test_paper_names_the_combine_that_has_none(tmp_path: Path) -> None:
    book = start(tmp_path / "own.chaffinch")
    for combine in ("Old Bess", "Young Bess"):
        book.check(combine, 10, 9)
    wanted = Wanted(date="2026-09-01")
    field = thing(book, "field", "Long Hollow")
    untold = "No pace: it needs what one more hour of combining costs, which nobody told or stored."
    assert untold in [one.get("text") for one in field_report(book.desk, field, wanted).blocks]

    store(book, "combine", "Young Bess", "250 /h")
    report = field_report(book.desk, field, wanted)
    said = " ".join(str(one.get("text")) for one in report.blocks)
    assert [one["combine"]["name"] for one in report.figures["paces"]] == ["Young Bess"]
    assert "Old Bess" in said
    assert "what an hour of it costs is neither told nor stored" in said
    assert untold not in said
    book.desk.store.close()


def test_phones_get_it_as_it_was_written(season: SeasonBook) -> None:
    told = setup(season.desk)

    assert told["farm"]["hour_cost"] == "400 /h"
    costs = {one["name"]: one["parts"].get("hour_cost") for one in told["combines"]}
    assert costs == {"Old Bess": None, "Young Bess": "$250 /h"}


def test_it_can_be_taken_back(book: SeasonBook) -> None:
    store(book, "farm", "Larkhollow", "400 /h")
    store(book, "farm", "Larkhollow", None)

    assert stored_hour(book.desk, None) is None


def test_of_two_farms_that_differ_none_is_chosen(book: SeasonBook) -> None:
    store(book, "farm", "Larkhollow", "400 /h")
    book.add("farm", "Siskin Bank", hour_cost="400 /h")
    assert stored_hour(book.desk, None) is not None

    store(book, "farm", "Siskin Bank", "380 /h")
    assert stored_hour(book.desk, thing(book, "combine", "Old Bess")) is None
    edit_label(book.desk, thing(book, "farm", "Siskin Bank"), "retired", True)
    assert stored_hour(book.desk, None) is not None


def test_another_currency_than_the_farms_is_refused_and_never_relabelled(book: SeasonBook) -> None:
    with_speeds(book, repeats=1)
    stored_by_an_earlier_program(book, "combine", "Old Bess", "€450 /h")

    with pytest.raises(InputError, match="combine Old Bess, hour_cost: is in €, the farm's money in"):
        paced(book, "Old Bess")
    assert paced(book, "Old Bess", TOLD).hour_cost_per_h == 300.0


def test_a_stored_cost_in_another_currency_keeps_no_advice_back_and_that_is_said(book: SeasonBook) -> None:
    with_speeds(book, repeats=1)
    logged = last_check(book.desk, thing(book, "combine", "Old Bess"), None)
    without = advise_check(book.desk, logged, AdviceTerms())
    stored_by_an_earlier_program(book, "farm", "Larkhollow", "€450 /h")
    found = advise_check(book.desk, logged, AdviceTerms())

    assert [one.change.key for one in found.worth] == [one.change.key for one in without.worth]
    assert found.stored is None
    (said,) = hour_of_advice(found)
    assert said.startswith("The stored hour cost is left out: farm Larkhollow, hour_cost: is in €, the farm's money in")
    assert advice_json(found)["hour_cost_left_out"] in said
    assert hour_of_advice(without) == []
    money = [read_told("€450 /h", "money_rate", field="--hour-cost")]
    with pytest.raises(InputError, match="--hour-cost: is in €"):
        advise_check(book.desk, logged, AdviceTerms(hour_cost=450.0, money=money))


def test_foreign_money_is_refused_where_it_would_be_stored(book: SeasonBook) -> None:
    for kind, name in (("farm", "Larkhollow"), ("combine", "Old Bess")):
        with pytest.raises(InputError, match=rf"{kind}, hour_cost: is in €, the farm's money in \$.*write it in \$"):
            store(book, kind, name, "€450 /h")
        for same in ("$450 /h", "450 /h", "450 CAD/h"):
            store(book, kind, name, same)
    with pytest.raises(InputError, match="farm, hour_cost: is in €"):
        add_thing(book.desk, "farm", {"name": "Siskin Bank", "currency": "$", "hour_cost": "€450 /h"})
    with pytest.raises(InputError, match="combine, hour_cost: is in €"):
        add_thing(book.desk, "combine", {"name": "New", "cut_width": "12 m", "hour_cost": "€450 /h"})


def test_a_farms_new_currency_is_held_against_the_hour_costs_stored_in_the_old_one(book: SeasonBook) -> None:
    store(book, "farm", "Larkhollow", "$450 /h")
    with pytest.raises(InputError, match=r"farm, hour_cost: is in \$, the farm's money in EUR"):
        edit_label(book.desk, thing(book, "farm", "Larkhollow"), "currency", "EUR")
    store(book, "farm", "Larkhollow", "450 /h")
    store(book, "combine", "Old Bess", "$250 /h")
    with pytest.raises(InputError, match="farm, currency: is not the money of the hour cost stored with Old Bess"):
        edit_label(book.desk, thing(book, "farm", "Larkhollow"), "currency", "EUR")
    store(book, "combine", "Old Bess", None)
    edit_label(book.desk, thing(book, "farm", "Larkhollow"), "currency", "EUR")


def test_an_hour_cost_that_none_can_be_is_refused_wherever_it_is_told(book: SeasonBook) -> None:
    for kind, name in (("farm", "Larkhollow"), ("combine", "Old Bess")):
        with pytest.raises(InputError, match=f"{kind}, hour_cost: is more than an hour of any combine.*450 /h"):
            store(book, kind, name, "1e12 /h")
    for told in ({"hour_cost": "1e12 /h"}, {"wage": "1e12 /h"}, {"helpers": "1e12 /h"}):
        with pytest.raises(InputError, match="is more than an hour of any combine"):
            cost_of(book, "Old Bess", told)
    assert per_hour(cost_of(book, "Old Bess", {"hour_cost": "270000000 IRR/h"})) == 2.7e8


@pytest.mark.parametrize("cost", ["1e12 /h", "40000 /h"])
def test_an_hour_above_all_its_grain_is_refused_in_an_answer_and_left_out_of_advice(
    book: SeasonBook, cost: str
) -> None:
    with_speeds(book, repeats=1)
    per_h = float(cost.removesuffix(" /h"))
    with pytest.raises(InputError, match="hour cost: is more than"):
        pace(
            book.desk,
            thing(book, "combine", "Old Bess"),
            "canola",
            PaceTerms(hour_cost=per_h),
        )
    stored_by_an_earlier_program(book, "farm", "Larkhollow", cost)
    with pytest.raises(InputError, match="is more than"):
        paced(book, "Old Bess")
    logged = last_check(book.desk, thing(book, "combine", "Old Bess"), None)
    found = advise_check(book.desk, logged, AdviceTerms())
    assert found.stored is None
    (said,) = hour_of_advice(found)
    assert "left out: farm Larkhollow, hour_cost: is more than" in said
    with pytest.raises(InputError, match="hour cost: is more than"):
        advise_check(book.desk, logged, AdviceTerms(hour_cost=per_h))
    with pytest.raises(InputError, match="stop cost: is more than"):
        advise_check(book.desk, logged, AdviceTerms(stop_cost_per_h=1e12))


@pytest.mark.parametrize("wrong", ["0 /h", "-5 /h", "450", "soon", "12 kg", "450 /ha", "nan /h"])
@pytest.mark.parametrize("kind", ["farm", "combine"])
def test_what_is_no_cost_of_an_hour_is_not_stored(book: SeasonBook, kind: str, wrong: str) -> None:
    must = {"cut_width": "12 m"} if kind == "combine" else {}
    with pytest.raises(InputError, match="hour_cost"):
        add_thing(book.desk, kind, {"name": "New", "hour_cost": wrong, **must})
    name = "Larkhollow" if kind == "farm" else "Old Bess"
    with pytest.raises(InputError, match="hour_cost"):
        store(book, kind, name, wrong)
    assert stored_hour(book.desk, thing(book, "combine", "Old Bess")) is None


def test_only_what_uses_the_second_version_asks_for_it(book: SeasonBook) -> None:
    """A program of the first version takes farms and combines without it, and refuses by its number what it misses."""
    farm = KINDS["farm"]
    assert farm.schema_of({"name": "Larkhollow"}) == 1
    assert farm.schema_of({"name": "Larkhollow", "hour_cost": "400 /h"}) == 2 == farm.schema
    assert book.desk.seal("farm", {"name": "A"}).schema == 1
    sealed = book.desk.seal("combine", {"name": "A", "cut_width": "12 m", "hour_cost": "400 /h"})
    assert sealed.schema == 2
    assert {kind.name for kind in KINDS.values() if kind.schema != 1} == {"farm", "combine"}
    assert all(max(p.since for p in kind.parts) == kind.schema for kind in KINDS.values())
    with pytest.raises(InputError, match="schema"):
        validate("farm", 3, {"name": "A"})
