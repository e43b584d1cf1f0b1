"""``chaffinch worth``: minutes against money, as a person sees it."""

from __future__ import annotations

import re

import pytest

from chaffinch.book.checks.entering import log_check
from chaffinch.book.things import edit_label, things
from chaffinch.cli.worth import factor_words
from chaffinch.records.checkfile import check_from_table
from season_book import start


@pytest.fixture
def harvest(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("TZ", "UTC")
    monkeypatch.delenv("CHAFFINCH_BOOK", raising=False)
    book = start(tmp_path / "larkhollow.chaffinch")
    book.check("Old Bess", 10, 8, machine_kg_ha=20.0, pans=1)
    return book


def asked(chaffinch, *more: str):
    return chaffinch("worth", "--combine", "Old Bess", "--crop", "canola", "--stop-cost", "200 /h", *more)


@pytest.mark.usefixtures("harvest")
def test_more_area_left_makes_a_stop_worth_more(chaffinch):
    told = [asked(chaffinch, "--area-left", f"{ha} ha", "--hours-since", "4", "--json").data for ha in (3, 30, 300)]
    known = [one["stop"]["perfect"] for one in told]

    assert known[0] < known[1]
    assert told[0]["stop"]["worth_it"] is False
    assert told[0]["stop"]["now"] == "leave"
    assert told[2]["stop"]["now"] == "act"
    assert all(one["stop"]["saving"] <= one["stop"]["perfect"] + 1e-9 for one in told)


@pytest.mark.usefixtures("harvest")
def test_what_is_known_fades_with_the_hours(chaffinch):
    sds = [
        asked(chaffinch, "--area-left", "30 ha", "--hours-since", hours, "--json").data["stop"]["sd_log_today"]
        for hours in ("0", "4", "12")
    ]

    assert sds == sorted(sds)
    assert sds[0] < sds[2]


@pytest.mark.usefixtures("harvest")
def test_the_page_says_both_and_that_it_is_machine_only(chaffinch):
    ran = asked(chaffinch, "--area-left", "30 ha", "--hours-since", "4")

    assert ran.status == 0, ran.err
    text = " ".join(ran.out.split())
    assert "Last check 2026-08-10 08:00 (4 h ago)" in text
    assert "while you stand there" in text
    assert "Machine only" in text
    assert "own figure, no source" in text
    assert max(len(line) for line in ran.out.splitlines()) <= 80


@pytest.mark.usefixtures("harvest")
@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        ((), "--area-left"),
        (("--area-left", "30"), "--area-left"),
        (("--area-left", "0 ha"), "--area-left"),
        (("--area-left", "30 ha", "--saves", "lots"), "--saves"),
        (("--area-left", "30 ha", "--saves", "40 to 5 %"), "--saves"),
        (("--area-left", "30 ha", "--saves", "5 to 140 %"), "--saves"),
        (("--area-left", "30 ha", "--saves", "-140 to 5 %"), "--saves"),
        (("--area-left", "30 ha", "--goes-wrong", "100 %"), "goes_wrong"),
        (("--area-left", "30 ha", "--harm", "-2 kg/ha"), "--harm"),
        (("--area-left", "30 ha"), "hours since: the clock cannot tell"),
        (("--area-left", "30 ha", "--hours-since", "2", "--price", "600 €/t"), "--price: is in €"),
        (("--area-left", "30 ha", "--action-minutes", "-3"), "action_minutes"),
        (("--area-left", "30 ha", "--hours-since", "-3"), "hours_since"),
        (("--area-left", "30 ha", "--price", "-1 /t"), "--price"),
        (("--area-left", "30 ha", "--condition", "humidity_pct=400"), "humidity_pct"),
    ],
)
def test_one_line_for_what_cannot_be(chaffinch, arguments, said):
    ran = asked(chaffinch, *arguments)

    assert ran.status == 2
    assert said in ran.err
    assert len(ran.err.strip().splitlines()) == 1


@pytest.mark.usefixtures("harvest")
def test_a_check_of_long_ago_is_told_as_a_factor_and_comes_to_what_was_expected(chaffinch):
    ran = asked(chaffinch, "--area-left", "30 ha", "--hours-since", "168")
    text = " ".join(ran.out.split())

    assert "give or take" not in text
    assert re.search(r"about \d+ kg/ha, likely between 0\.\d+ and \d\.\d times that", text)
    told = asked(chaffinch, "--area-left", "30 ha", "--hours-since", "8000", "--json").data
    # 2 % of 2.5 t/ha.
    assert told["stop"]["median_kg_ha_today"] == pytest.approx(50.0, rel=1e-3)
    assert told["stop"]["sd_log_today"] == pytest.approx(1.3, rel=1e-3)


def test_a_spread_in_words():
    assert factor_words(2.0) == "between a half and twice"
    assert factor_words(4.0) == "between 0.25 and 4 times"


@pytest.mark.usefixtures("harvest")
def test_the_page_says_what_a_change_is_taken_to_do(chaffinch):
    usual = " ".join(asked(chaffinch, "--area-left", "30 ha", "--hours-since", "4").out.split())
    own = asked(
        chaffinch, "--area-left", "30 ha", "--hours-since", "4", "--saves", "-10 to 40 %", "--goes-wrong", "0 %"
    )

    assert "cut the loss by 5 to 40 % and to take 20 minutes; with 10 % it goes wrong and adds 20 kg/ha" in usual
    assert "Own figures, no source: --saves" in usual
    text = " ".join(own.out.split())
    assert "cut the loss by -10 to 40 %" in text
    assert "goes wrong and" not in text
    assert "Own figures" not in text


@pytest.mark.usefixtures("harvest")
def test_json_says_which_losses_it_is_about_and_in_which_money(chaffinch):
    told = asked(chaffinch, "--area-left", "30 ha", "--hours-since", "4", "--saves", "-10 to 40 %", "--json").data

    assert (told["machine_only"], told["header_only"], told["currency"]) == (True, False, "$")
    # By hand: ln(1/sqrt(0.66)) / (ln(1.1/0.6)/3.29) = 1.128 sd: 13 %; nine in ten of these, and the one in ten.
    assert told["p_harm"] == pytest.approx(0.1 + 0.9 * 0.1297, abs=0.002)


def test_a_header_only_check_says_so(chaffinch, harvest):
    header_only(harvest)
    ran = chaffinch(
        "worth", "--combine", "Young Bess", "--crop", "canola", "--stop-cost", "200 /h", "--area-left", "30 ha",
        "--hours-since", "1",
    )  # fmt: skip

    assert ran.status == 0, ran.err
    assert "Header only: what the machine loses is not in it" in " ".join(ran.out.split())
    assert "Machine only" not in ran.out


def header_only(book):
    """A stop of Young Bess with a strip cut ahead of the discharge and nothing behind."""
    catches = [
        {"place": "standing", "pan": "1 m2", "amount": "0.1 g", "step": "0.1 g"},
        {"place": "header strip", "pan": "1 m2", "amount": "3 g", "step": "0.1 g"},
    ]
    table = {"crop": "canola", "country": "CA", "price": "600 /t", "yield": "2.5 t/ha", "speed": "6 km/h"}
    where = {"season": book.ids["2026"], "field": book.ids["Long Hollow"], "combine": book.ids["Young Bess"]}
    log_check(book.desk, check_from_table({**table, "catch": catches}), taken_at="2026-08-27T08:00:00Z", where=where)


def test_a_last_check_priced_in_other_money_is_not_relabelled(chaffinch, harvest):
    table = {"crop": "canola", "country": "CA", "price": "500 €/t", "yield": "2.5 t/ha", "speed": "6 km/h"}
    catches = [{"place": "discharge", "pan": "0.4 m2", "amount": "8 g", "step": "0.1 g"}]
    table |= {"combine": {"cut_width": "12 m", "drop_width": "1.8 m"}, "catch": catches}
    where = {"season": harvest.ids["2026"], "field": harvest.ids["Long Hollow"], "combine": harvest.ids["Old Bess"]}
    log_check(harvest.desk, check_from_table(table), taken_at="2026-08-27T08:00:00Z", where=where)

    ran = asked(chaffinch, "--area-left", "30 ha", "--hours-since", "1")
    assert ran.status == 2
    assert "price: is in €, the farm's money in $: two currencies are never mixed" in ran.err
    assert asked(chaffinch, "--area-left", "30 ha", "--hours-since", "1", "--price", "600 /t").status == 0


@pytest.mark.usefixtures("harvest")
def test_a_combine_without_a_check_is_told_to_take_one(chaffinch):
    ran = chaffinch(
        "worth", "--combine", "Young Bess", "--crop", "canola", "--stop-cost", "200 /h", "--area-left", "30 ha"
    )

    assert ran.status == 2
    assert "take a first check" in ran.err


@pytest.mark.usefixtures("harvest")
def test_plain_numbers_take_a_comma_too(chaffinch):
    point, comma = (
        asked(chaffinch, "--area-left", "30 ha", "--hours-since", hours, "--action-minutes", minutes, "--json")
        for hours, minutes in (("1.5", "20.5"), ("1,5", "20,5"))
    )
    assert comma.status == 0, comma.err
    assert point.out == comma.out
    wrong = asked(chaffinch, "--area-left", "30 ha", "--hours-since", "a while")
    assert wrong.status == 2
    assert "--hours-since" in wrong.err
    assert "write it like 1.5" in wrong.err
    assert "float" not in wrong.err


def test_the_area_left_is_in_the_farms_own_measure(chaffinch, harvest):
    edit_label(harvest.desk, next(t for t in things(harvest.desk, "farm")), "report_in", "bu/ac")
    assert " 60 ac left" in asked(chaffinch, "--area-left", "60 ac", "--hours-since", "4").out
