"""Every figure on paper is the engine's: the text of the PDF against the answers that --json prints."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from paper_farm import DAY, plain, text_of

from chaffinch import cli
from chaffinch.book.checks.answer import answer
from chaffinch.book.checks.fields import field_summary
from chaffinch.book.checks.held import find_check
from chaffinch.book.checks.plain_data import as_json
from chaffinch.book.figures import kept_digits, percent, plain_number, range_words, rounded, seeds_text
from chaffinch.book.planning.card import card
from chaffinch.book.planning.plain_data import card_as_json
from chaffinch.book.season.ledger import ledger
from chaffinch.book.season.plain_data import as_json as ledger_json
from chaffinch.book.things import find_thing
from chaffinch.book.trials.plain_data import as_json as trial_json
from chaffinch.book.trials.trial import answer_trial, find_trial
from chaffinch.engine.estimate import Range
from chaffinch.paper.cab_card import cab_card, print_cards
from chaffinch.paper.changes import changes
from chaffinch.paper.check_report import check_file_report, check_report
from chaffinch.paper.field_report import field_report
from chaffinch.paper.season_report import season_report
from chaffinch.paper.trial_report import trial_report
from chaffinch.paper.wanted import Wanted, printed
from chaffinch.records.check import Check
from chaffinch.records.checkfile import read_check_file
from season_book import SeasonBook

DEMO = Path(cli.__file__).parent / "demo_day"


def demo(name: str) -> Check:
    return read_check_file((DEMO / name).read_bytes(), name=name)


def told(data: dict[str, float], factor: float = 1.0) -> list[str]:
    """A range of the JSON as it is written."""
    return list(range_words(Range(data["low"], data["median"], data["high"]).times(factor)))


def stands(text: str, *parts: str) -> None:
    for part in parts:
        assert plain(part) in text, part


@pytest.mark.parametrize("name", ["first-stop.toml", "third-stop.toml"])
def test_a_check(name: str) -> None:
    check = demo(name)
    data = as_json(answer(check))
    report = check_file_report(check, Wanted(date=DAY))
    assert report.figures == data
    text = text_of(printed(report).pdf)
    for loss in [*data["sources"].values(), *([data["total"]] if len(data["sources"]) > 1 else [])]:
        stands(text, " ".join(told(loss["trade"])))
        if loss["share_percent"] is not None:
            stands(text, told(loss["share_percent"])[1])
        if loss["money_per_area"] is not None:
            stands(text, told(loss["money_per_area"])[1])
    low, middle, high = told(data["money"]["per_field"])
    stands(text, f"${middle} over the field", f"(likely {low} to {high})")
    stands(text, *(one["text"] for one in [*data["warnings"], *data["assumed"]]))
    stands(text, f"{percent(data['p_over'])} % chance")


def test_a_check_in_other_units_is_the_same_loss() -> None:
    check = demo("first-stop.toml")
    data = as_json(answer(check))
    text = text_of(printed(check_file_report(check, Wanted(date=DAY, units="metric"))).pdf)
    low, middle, high = told(data["sources"]["machine"]["kg_ha"])
    stands(text, f"{middle} kg/ha", f"{low} {middle} {high}")


def test_a_field(season: SeasonBook) -> None:
    field = find_thing(season.desk, "field", "Long Hollow")
    found = field_summary(season.desk, field)
    report = field_report(season.desk, field, Wanted(date=DAY, hour_cost=400.0))
    text = text_of(printed(report).pdf)
    assert found.mean_kg_ha is not None
    assert found.money is not None
    assert report.figures["mean_kg_ha"] == {
        "low": found.mean_kg_ha.low, "median": found.mean_kg_ha.median, "high": found.mean_kg_ha.high,
    }  # fmt: skip
    low, middle, high = range_words(found.mean_kg_ha)
    stands(text, f"{middle} kg/ha", f"likely {low} to {high}")
    low, middle, high = range_words(found.money)
    stands(text, f"${middle} over the field", f"(likely {low} to {high})")
    for r, count in found.sources.values():
        stands(text, f"{' '.join(range_words(r))} {count}")
    for line in found.checks:
        low, middle, high = range_words(line.answer.judged_kg_ha)
        stands(text, f"{middle} {low} to {high}")
    assert [one["combine"]["name"] for one in report.figures["paces"]] == ["Old Bess", "Young Bess"]
    for one in report.figures["paces"]:
        band = [rounded(v, 1) for v in one["band_kmh"]]
        stands(text, f"{rounded(one['best_kmh'], 1)} km/h {band[0]} to {band[1]}")
    # The correction, its reason and what it changed; the trial's answer; the price with nothing told of its day.
    stands(text, "Tomas drove, not Ann", "operator: Ann to Tomas", "$600.00 per t", "day not told")
    ratio = answer_trial(season.desk, find_trial(season.desk, season.ids["trial"])).answer.ratio
    stands(text, f"{rounded(ratio.median, 2)} ({rounded(ratio.low, 2)} to {rounded(ratio.high, 2)})")
    stands(text, "This is no insurance or legal record.", "Chaffinch 0.1.0")


def test_a_trial_without_a_stop_is_told_as_paper_does(season: SeasonBook) -> None:
    record = replace(find_trial(season.desk, season.ids["trial"]), id="0" * 36)
    blocks, (figures,) = changes(season.desk, [record], None)
    assert "has no check yet" in figures["why"]
    assert "no stop yet" in str(blocks[1]["rows"])


def test_a_trial(season: SeasonBook) -> None:
    record = find_trial(season.desk, season.ids["trial"])
    data = trial_json(answer_trial(season.desk, record))
    report = trial_report(season.desk, record, Wanted(date=DAY))
    assert report.figures == data
    text = text_of(printed(report).pdf)
    ratio = [rounded(data["ratio"][key], 2) for key in ("low", "median", "high")]
    stands(text, f"{ratio[1]} times the machine loss", f"likely {ratio[0]} to {ratio[2]}")
    low, middle, high = told(data["gain_kg_ha"])
    stands(text, f"B leaves {low} to {high} kg/ha less on the ground than A (middle {middle}).")
    stands(text, *(one["check"][:8] for one in data["stops"]))


@pytest.fixture(scope="module")
def of_season(season: SeasonBook) -> tuple[str, dict[str, Any], dict[str, Any]]:
    thing = find_thing(season.desk, "season", "2026")
    report = season_report(season.desk, thing, Wanted(date=DAY))
    return text_of(printed(report).pdf), report.figures, ledger_json(ledger(season.desk, thing))


def test_a_season(of_season: tuple[str, dict[str, Any], dict[str, Any]]) -> None:
    text, figures, data = of_season
    assert {key: figures[key] for key in data} == data
    low, middle, high = told(data["whole"]["judged_on_measured_area"]["kg"], 0.001)
    stands(text, f"{middle} t left on", f"likely {low} to {high}")
    low, middle, high = told(data["whole"]["judged_on_measured_area"]["money"])
    stands(text, f"That is ${middle} (likely {low} to {high})")
    for field in data["fields"]:
        low, middle, high = told(field["loss"]["judged"]["kg_ha"])
        stands(text, f"{field['checks']} {middle} kg/ha {low} to {high} ${told(field['loss']['judged']['money'])[1]}")
        stands(text, f"{field['name']} ${rounded(field['price_per_t'], 2)} per t")
    for one in data["whole"]["sources"].values():
        low, middle, high = told(one["kg_ha"])
        stands(text, f"{middle} {low} to {high} {told(one['kg'], 0.001)[1]}")


def test_a_season_names_nobody_without_a_claim(of_season: tuple[str, dict[str, Any], dict[str, Any]]) -> None:
    text, _, _ = of_season
    stands(text, "Machines held against each other", "Drivers held against each other")
    stands(text, "No difference can be claimed")
    assert "loses less:" not in text


def test_a_cab_card() -> None:
    found = card(demo("first-stop.toml"))
    data = card_as_json(found)
    text = text_of(print_cards([cab_card(found, size="a5", date=DAY)]).pdf)
    for side in data["sides"]:
        stands(text, f"width ratio {side['width_ratio']:.1f}")
        for row in side["rows"]:
            stands(text, f"{plain_number(row['mass_g'])} {plain_number(row['volume_ml'])} {seeds_text(row['seeds'])}")
    stands(text, "your limit: 1 bu/ac", "Stop, brake on, engine off, key out")


def test_a_check_of_the_book_uses_its_fields_price(season: SeasonBook) -> None:
    logged = find_check(season.desk, season.ids["check 0"])
    report = check_report(season.desk, logged, Wanted(date=DAY))
    assert report.of == (logged.id,)
    assert report.price == "600.0 /t"
    stands(text_of(printed(report).pdf), "Long Hollow", "Old Bess", "driver Ann", f"check {logged.id[:8]}")


@pytest.mark.parametrize(
    ("value", "shown"),
    [(1.0, "1.0"), (0.97, "0.97"), (0.996, "1.0"), (12.3, "12"), (0.0, "0"), (104.0, "100"), (-1.04, "−1.0")],
)
def test_measured_numbers_of_a_column_keep_their_digits(value: float, shown: str) -> None:
    assert kept_digits(value) == shown
