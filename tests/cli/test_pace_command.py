"""``chaffinch pace``, ``trial`` and ``monitor`` as a person sees them: pages, JSON, one line for bad input."""

from __future__ import annotations

import json
import re

import pytest

from season_book import start, with_speeds

USUAL, TRIED = "fan speed=900 rpm", "fan speed=830 rpm"


@pytest.fixture
def harvest(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("TZ", "UTC")
    monkeypatch.delenv("CHAFFINCH_BOOK", raising=False)
    return start(tmp_path / "larkhollow.chaffinch")


def paced(chaffinch, *more: str):
    return chaffinch("pace", "--combine", "Old Bess", "--crop", "canola", *more)


def test_the_page_says_pace_band_limit_table_and_chart(chaffinch, harvest):
    with_speeds(harvest, slope=2.0)
    ran = paced(chaffinch, "--hour-cost", "$400 /h", "--now", "6 km/h")

    assert ran.status == 0, ran.err
    assert re.search(r"^ +\d\.\d km/h +best pace; anything from \d\.\d to \d\.\d costs about the same$", ran.out, re.M)
    assert "The limit that pays: " in ran.out
    assert "kg/ha of machine loss" in ran.out
    assert re.search(r"\$\d+–\$\d+ +best$", ran.out, re.M)
    assert "●" in ran.out
    assert "Machine only: header loss was not measured" in ran.out
    assert max(len(line) for line in ran.out.splitlines()) <= 80
    assert not re.search(r"slower|faster", ran.out.split("Taken as given")[1])


def test_bushels_and_miles_go_together(chaffinch, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    with_speeds(start(tmp_path / "larkhollow.chaffinch", report_in="bu/ac"))
    ran = paced(chaffinch, "--hour-cost", "400 /h", "--now", "4 mph")

    assert ran.status == 0, ran.err
    assert "mph  best pace" in ran.out
    assert "bu/ac of machine loss" in ran.out
    assert "per ac" in ran.out


def test_json_holds_what_the_page_shows(chaffinch, harvest):
    with_speeds(harvest, header_slope=-0.5)
    ran = paced(chaffinch, "--hour-cost", "400 /h", "--now", "6 km/h", "--json")
    told = ran.data

    assert told["machine_only"] is False
    assert told["band_kmh"][0] <= told["best_kmh"] <= told["band_kmh"][1]
    assert told["checks"]["own"] == 12
    assert told["checks"]["own_header"] == 12
    assert len(told["table"]) >= 12
    assert told["today"]["speed_kmh"] == 6.0
    json.dumps(told, allow_nan=False)


def test_a_stored_hour_cost_goes_where_none_is_told_and_is_said(chaffinch, harvest):
    with_speeds(harvest, repeats=1)
    assert chaffinch("book", "edit-label", "farm", "Larkhollow", "hour_cost", "$400 /h").status == 0

    page = " ".join(paced(chaffinch).out.split())
    assert "Stored hour cost $400/h, the farm's." in page
    used = paced(chaffinch, "--json").data["used"]
    assert (used["hour_cost_per_h"], used["hour_cost_stored_with"]) == (400.0, "farm")
    told = paced(chaffinch, "--hour-cost", "300 /h", "--json").data["used"]
    assert (told["hour_cost_per_h"], told["hour_cost_stored_with"]) == (300.0, None)

    for wrong, why in (("€400 /h", "is in €, the farm's money in $"), ("1e12 /h", "is more than an hour of any")):
        refused = chaffinch("book", "edit-label", "farm", "Larkhollow", "hour_cost", wrong)
        assert refused.status == 2
        assert f"farm, hour_cost: {why}" in refused.err
    assert paced(chaffinch).status == 0


def test_an_hour_cost_in_parts_is_said_in_parts(chaffinch, harvest):
    with_speeds(harvest, repeats=1)
    ran = paced(
        chaffinch,
        *("--wage", "32 /h", "--fuel", "62 L/h", "--fuel-price", "1.35 /L", "--wear", "60 /h", "--helpers", "90 /h"),
        *("--price", "600 /t", "--yield", "2.5 t/ha", "--area-left", "300 ha", "--loss-per-day", "0.5 %"),
        *("--hours-per-day", "9", "--fit-days", "60 %", "--json"),
    )

    # 32·1.2 + 62·1.35·1.15 + 60 + 90 + 0.005·300·2.5·600/(2·9·0.6), by hand.
    assert ran.data["used"]["hour_cost_per_h"] == pytest.approx(38.4 + 96.255 + 60 + 90 + 208.333, abs=0.01)


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        ((), "--hour-cost: is not told"),
        (("--hour-cost", "-5 /h"), "--hour-cost"),
        (("--hour-cost", "400"), "--hour-cost"),
        (("--hour-cost", "400 /h", "--wage", "30 /h"), "--wage: is given together with --hour-cost"),
        (("--fuel", "60 L/h"), "--fuel-price: is missing beside --fuel"),
        (("--fuel", "16 gal/h", "--fuel-price", "1 /L"), "US gal or imp gal"),
        (("--wage", "30 /h", "--weather", "20 /h", "--area-left", "9 ha"), "--area-left"),
        (("--wage", "30 /h", "--area-left", "9 ha"), "--loss-per-day: is missing"),
        (("--hour-cost", "400 /h", "--price", "-3 /t"), "--price"),
        (("--hour-cost", "400 $/h", "--price", "600 €/t"), "--price: is in €, the farm's money in $"),
        (("--wage", "€30 /h"), "--wage: is in €, the farm's money in $"),
        (("--hour-cost", "400 /h", "--now", "6"), "--now"),
        (("--hour-cost", "400 /h", "--now", "400 km/h"), "today's speed"),
        (("--hour-cost", "400 /h", "--fastest", "0.6 km/h"), "fastest"),
        (("--hour-cost", "400 /h", "--efficiency", "140 %"), "efficiency"),
        (("--hour-cost", "400 /h", "--condition", "humidity_pct=145"), "humidity_pct"),
        (("--hour-cost", "400 /h", "--condition", "humid=45"), "humid"),
        (("--hour-cost", "400 /h", "--season", "1999"), "--season"),
        (("--hour-cost", "400 /h", "--field", "Nowhere"), "--field"),
    ],
)
def test_one_clear_line_for_what_cannot_be(chaffinch, harvest, arguments, said):
    with_speeds(harvest, repeats=1)
    ran = paced(chaffinch, *arguments)

    assert ran.status == 2
    assert said in ran.err
    assert len(ran.err.strip().splitlines()) == 1
    assert ran.out == ""


@pytest.mark.usefixtures("harvest")
def test_a_book_with_two_combines_asks_which(chaffinch):
    ran = chaffinch("pace", "--crop", "canola", "--hour-cost", "400 /h")

    assert ran.status == 2
    assert "Old Bess, Young Bess" in ran.err
    ran = chaffinch("pace", "--combine", "Old Bess", "--hour-cost", "400 /h")
    assert "--crop" in ran.err


def test_zero_spread_in_speed_is_shown_and_no_crash(chaffinch, harvest):
    with_speeds(harvest, speeds=(6.0,), repeats=3)
    ran = paced(chaffinch, "--hour-cost", "400 /h", "--now", "6 km/h")

    assert ran.status == 0, ran.err
    assert "Go slower" not in ran.out


def test_all_checks_empty_still_has_an_answer(chaffinch, harvest):
    for hour, speed in enumerate((4.0, 6.0, 8.0)):
        harvest.check("Old Bess", 10, 8 + hour, speed_kmh=speed, machine_kg_ha=0.0)
    ran = paced(chaffinch, "--hour-cost", "400 /h", "--now", "6 km/h")

    assert ran.status == 0, ran.err
    assert "Go slower" not in ran.out


def test_a_trial_from_start_to_answer(chaffinch, harvest):
    ran = chaffinch("trial", "--start", "--combine", "Old Bess", "--a", USUAL, "--b", TRIED, "--field", "Long Hollow")
    assert ran.status == 0, ran.err
    assert "engine off, key out" in ran.out
    trial = re.search(r"saved trial (\w{8})", ran.out)
    assert trial is not None
    whole = chaffinch("trial", "--json").data[0]
    assert whole["id"].startswith(trial[1])
    assert whole["changed"] == ["fan speed"]
    for place, side in enumerate("ABBA"):
        harvest.check(
            "Old Bess", 12, 9 + place, machine_kg_ha=40.0 if side == "A" else 18.0,
            where={"trial": whole["id"], "side": side},
        )  # fmt: skip
    ran = chaffinch("trial", trial[1], "--area-per-day", "50 ha")

    assert ran.status == 0, ran.err
    assert "fan speed 900 rpm against 830 rpm" in ran.out
    assert re.search(r"0\.\d\d times +the machine loss of A under B, likely 0\.\d\d to \d\.\d\d", ran.out)
    assert "Machine only" in ran.out
    assert "a day" in ran.out
    assert chaffinch("trial", trial[1], "--json").data["verdict"] in ("keep B", "go back", "not settled")


@pytest.mark.usefixtures("harvest")
@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("ffffffff",), "is not in the book"),
        (("abc",), "too short"),
        (("--a", USUAL), "--a: goes with --start"),
        (("--start", "--combine", "Old Bess", "--a", USUAL), "trial, b: has no setting"),
        (("--start", "--combine", "Old Bess", "--a", USUAL, "--b", USUAL), "is set as A"),
        (("--start", "--combine", "Old Bess", "--a", "fan speed", "--b", TRIED), "--a"),
        (("--start", "--combine", "Old Bess", "--a", USUAL, "--a", USUAL, "--b", TRIED), "is given twice"),
        (("--start", "--a", USUAL, "--b", TRIED), "--combine"),
        (("abcd", "--start"), "TRIAL"),
    ],
)
def test_trials_that_cannot_be(chaffinch, arguments, said):
    ran = chaffinch("trial", *arguments)

    assert ran.status == 2
    assert said in ran.err
    assert len(ran.err.strip().splitlines()) == 1


def test_the_monitor_page_reads_the_bar_both_ways(chaffinch, harvest):
    for place, loss in enumerate((10.0, 20.0, 30.0, 45.0, 60.0)):
        check = harvest.check("Old Bess", 10, 8 + place, machine_kg_ha=loss)
        harvest.bar("Old Bess", check, 10, 8 + place, loss / 5.0)
    ran = chaffinch("monitor", "--combine", "Old Bess", "--crop", "canola", "--bar", "6")

    assert ran.status == 0, ran.err
    assert "The sensor does not see the header" in " ".join(ran.out.split())
    assert "where the bar shows 6" in ran.out
    assert "any speed" in ran.out
    assert chaffinch("monitor", "--combine", "Old Bess", "--crop", "canola", "--json").data["machine_only"] is True
    far = chaffinch("monitor", "--combine", "Old Bess", "--crop", "canola", "--bar", "90")
    assert far.status == 2
    assert far.out == ""
    assert "lies beyond the" in far.err


def test_a_monitor_with_too_few_pairs_says_what_is_missing(chaffinch, harvest):
    check = harvest.check("Old Bess", 10, 8)
    harvest.bar("Old Bess", check, 10, 8, 5.0)
    ran = chaffinch("monitor", "--combine", "Old Bess", "--crop", "canola", "--bar", "5")

    assert ran.status == 0, ran.err
    assert "Too little to claim anything yet" in ran.out


def test_a_trial_stays_within_the_terminal_and_in_one_money(chaffinch, harvest, monkeypatch):
    begin = ("trial", "--start", "--combine", "Old Bess", "--a", USUAL, "--b", TRIED, "--field", "Long Hollow")
    trial = chaffinch(*begin, "--json").data["id"]
    for place, side in enumerate("ABBA"):
        loss = 40.0 if side == "A" else 18.0
        harvest.check("Old Bess", 12, 9 + place, machine_kg_ha=loss, where={"trial": trial, "side": side})
    for columns in (80, 40):
        monkeypatch.setenv("COLUMNS", str(columns))
        ran = chaffinch("trial", trial[:8], "--price", "$10 /t")
        assert ran.status == 0, ran.err
        assert max(len(line) for line in ran.out.splitlines()) <= columns

    ran = chaffinch("trial", trial[:8], "--price", "10 €/t")
    assert ran.status == 2
    assert "--price: is in €, the farm's money in $" in ran.err
