"""``chaffinch worth``: minutes against money, as a person sees it."""

from __future__ import annotations

import pytest

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
def test_a_combine_without_a_check_is_told_to_take_one(chaffinch):
    ran = chaffinch(
        "worth", "--combine", "Young Bess", "--crop", "canola", "--stop-cost", "200 /h", "--area-left", "30 ha"
    )

    assert ran.status == 2
    assert "take a first check" in ran.err
