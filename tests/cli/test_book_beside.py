"""What is told beside a check: the trial it belongs to with its side, and the bar of the loss monitor."""

from __future__ import annotations

import re

import pytest

A, B = "fan speed=900 rpm", "fan speed=830 rpm"


@pytest.fixture
def trial(farm, chaffinch) -> str:  # noqa: ARG001 (the book must be there)
    ran = chaffinch("trial", "--start", "--combine", "Old Bess", "--a", A, "--b", B, "--field", "Long Hollow")
    assert ran.status == 0, ran.err
    found = re.search(r"saved trial (\w{8})", ran.out)
    assert found is not None
    return found[1]


def log(chaffinch, *more: str, at: str = "2026-08-14T16:40Z"):
    return chaffinch("book", "log", "check.toml", "--at", at, *more)


def shown(chaffinch) -> list[dict[str, object]]:
    found: list[dict[str, object]] = chaffinch("book", "show", "monitor", "--json").data["monitor"]
    return found


def test_a_check_is_filed_under_its_trial_and_takes_the_side_s_settings(chaffinch, trial):
    ran = log(chaffinch, "--trial", trial, "--side", "b")

    assert ran.status == 0, ran.err
    assert f"trial {trial}, side B" in ran.out
    check = chaffinch("book", "history", ran.out.split()[1], "--json").data["versions"][0]["body"]
    assert check["side"] == "B"
    assert check["settings"] == [{"name": "fan speed", "value": 830.0, "unit": "rpm"}]
    ran = log(chaffinch, "--trial", trial, "--side", "A", at="2026-08-14T17:40Z")
    assert chaffinch("trial", trial, "--json").data["stops"][1]["side"] == "A"


@pytest.mark.usefixtures("farm")
def test_a_bar_is_written_with_its_check_or_not_at_all(chaffinch):
    ran = log(chaffinch, "--bar", "40", "--bar-per", "time")
    assert ran.status == 0, ran.err
    assert "bar 40" in ran.out
    assert len(shown(chaffinch)) == 1
    # How it counts is remembered.
    assert log(chaffinch, "--bar", "35,5", at="2026-08-14T17:40Z").status == 0
    assert [one["reading"] for one in shown(chaffinch)] == [40.0, 35.5]


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("--side", "A"), "--trial: is missing"),
        (("--trial", "ffffffff", "--side", "A"), "is not in the book"),
        (("--bar-per", "time"), "--bar-per: goes with --bar"),
        (("--bar", "many", "--bar-per", "time"), "--bar: is not a number"),
        (("--bar", "-3", "--bar-per", "time"), "--bar: cannot be meant"),
        (("--bar", "nan", "--bar-per", "time"), "--bar: is not a number"),
        (("--bar", "1,100", "--bar-per", "time"), "--bar: can be read in two ways"),
        (("--setting", "rotor speed=1,100 rpm"), "--setting: can be read in two ways"),
        (("--setting", "rotor speed=fast"), "--setting: is not a number"),
        (("--condition", "humidity_pct=45 km"), "--condition: is not a number"),
        (("--bar", "40"), "--bar-per: is not told"),
        (("--bar", "40", "--bar-per", "hour"), "--bar-per: is neither"),
    ],
)
@pytest.mark.usefixtures("farm")
def test_what_cannot_be_is_refused_and_nothing_is_written(chaffinch, arguments, said):
    ran = log(chaffinch, *arguments)

    assert ran.status == 2
    assert said in ran.err
    assert chaffinch("book", "show", "checks", "--json").data["checks"] == []


def test_a_side_that_is_none_and_another_machine_s_trial_are_refused(chaffinch, trial):
    assert "--side: is no side" in log(chaffinch, "--trial", trial, "--side", "C").err
    assert chaffinch("book", "add", "combine", "Young Bess", "--set", "cut_width=40 ft").status == 0
    ran = log(chaffinch, "--trial", trial, "--side", "A", "--combine", "Young Bess")
    assert ran.status == 2
    assert "is a trial on Old Bess" in ran.err


@pytest.mark.usefixtures("farm")
def test_a_bar_is_corrected_with_its_check_alone_or_by_its_own_id(chaffinch):
    check = log(chaffinch, "--bar", "40", "--bar-per", "time").out.split()[1]
    ran = chaffinch("book", "replace", check, "check.toml", "--reason", "other pan", "--bar", "41")
    assert ran.status == 0, ran.err
    ran = chaffinch("book", "replace", check, "--reason", "misread", "--bar", "42", "--speed", "5 km/h")
    assert ran.status == 0, ran.err
    assert "bar 42 per time, which replaces" in ran.out
    only = shown(chaffinch)
    assert [one["reading"] for one in only] == [42.0]
    ran = chaffinch("book", "replace", str(only[0]["id"])[:8], "--reason", "slip", "--bar-per", "area")
    assert ran.status == 0, ran.err
    assert [(one["reading"], one["per"], one["speed"]) for one in shown(chaffinch)] == [(42.0, "area", "5 km/h")]
    assert len(chaffinch("book", "show", "checks", "--json").data["checks"]) == 1


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("--bar-per", "area"), "no reading stands beside this check"),
        (("--bar", "many"), "--bar: is not a number"),
        (("--bar", "3"), "is not told, and the book has no earlier bar"),
        (("--bar", "3", "--bar-per", "area", "--speed", "5 kg"), "--speed"),
    ],
)
@pytest.mark.usefixtures("farm")
def test_a_bar_that_cannot_be_is_not_added(chaffinch, arguments, said):
    check = log(chaffinch).out.split()[1]
    ran = chaffinch("book", "replace", check, "--reason", "x", *arguments)

    assert ran.status == 2
    assert said in ran.err
    assert shown(chaffinch) == []


@pytest.mark.usefixtures("farm")
def test_a_reading_takes_nothing_that_is_a_check_s(chaffinch):
    log(chaffinch, "--bar", "40", "--bar-per", "time")
    ran = chaffinch("book", "replace", str(shown(chaffinch)[0]["id"])[:8], "--reason", "x", "--field", "Long Hollow")

    assert ran.status == 2
    assert "is a reading of the loss monitor" in ran.err


@pytest.mark.usefixtures("farm")
def test_a_bar_that_counts_otherwise_than_before_needs_anyway(chaffinch):
    assert log(chaffinch, "--bar", "40", "--bar-per", "time").status == 0
    ran = log(chaffinch, "--bar", "41", "--bar-per", "area", at="2026-08-14T17:40Z")
    assert ran.status == 2
    assert "counted per time" in ran.err
    assert "--anyway" in ran.err
    assert log(chaffinch, "--bar", "41", "--bar-per", "area", "--anyway", at="2026-08-14T17:40Z").status == 0
    assert [one["per"] for one in shown(chaffinch)] == ["time", "area"]


def test_the_side_s_settings_join_those_told_and_a_contradiction_is_refused(chaffinch, trial):
    ran = log(chaffinch, "--trial", trial, "--side", "B", "--setting", "rotor speed=600 rpm", "--json")
    assert [s["name"] for s in ran.data["settings"]] == ["rotor speed", "fan speed"]
    assert ran.data["where"]["side"] == "B"
    wrong = log(chaffinch, "--trial", trial, "--side", "B", "--setting", "Fan speed=900 RPM", at="2026-08-14T17:40Z")
    assert wrong.status == 2
    assert "is not what side B of the trial is set to, 830 rpm" in wrong.err


@pytest.mark.usefixtures("farm")
def test_the_receipt_names_the_bar(chaffinch):
    assert log(chaffinch, "--bar", "40", "--bar-per", "time", "--json").data["bar"] == {"reading": 40.0, "per": "time"}
    assert log(chaffinch, "--json", at="2026-08-14T17:40Z").data["bar"] is None
