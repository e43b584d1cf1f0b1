"""``chaffinch check`` end to end: what it prints, what it returns, how it behaves in a pipe."""

from __future__ import annotations

import json
import subprocess
import sys

import pytest
from one_pan import ONE_PAN


def test_json_has_the_shape_of_the_design(chaffinch, check_file):
    """The keys promised to machines are there and every range is ordered."""
    ran = chaffinch("check", check_file(ONE_PAN), "--json")

    assert ran.status == 0
    machine = ran.data["sources"]["machine"]
    assert list(ran.data["sources"]) == ["machine"]
    for key in ("kg_ha", "share_percent", "money_per_area", "trade"):
        r = machine[key]
        assert r["low"] < r["median"] < r["high"]
    assert machine["trade"]["unit"] == "bu/ac"
    assert machine["money_per_area"]["unit"] == "/ac"
    assert ran.data["verdict"] == "unsettled"
    assert 0.2 < ran.data["p_over"] < 0.8
    assert {w["key"] for w in ran.data["warnings"]} == {"machine-only"}
    assert set(ran.data["total"]) == set(machine)


def test_trade_unit_is_kg_ha_times_the_bushel(chaffinch, check_file):
    """1 bu/ac of canola is 56.0426 kg/ha (50 lb, derived from exact factors)."""
    machine = chaffinch("check", check_file(ONE_PAN), "--json").data["sources"]["machine"]

    assert machine["kg_ha"]["median"] == pytest.approx(56.0426 * machine["trade"]["median"], rel=1e-5)
    # 14.50 a bushel: money per acre is bushels per acre times that.
    assert machine["money_per_area"]["median"] == pytest.approx(14.5 * machine["trade"]["median"], rel=1e-9)


def test_same_file_same_bytes(chaffinch, check_file):
    """The answer is a function of the file and the seed."""
    name = check_file(ONE_PAN)

    assert chaffinch("check", name, "--json").out == chaffinch("check", name, "--json").out
    assert chaffinch("check", name).out == chaffinch("check", name).out


def test_json_file_and_toml_file_agree(chaffinch, check_file):
    """The schema is one; the two spellings give the same answer."""
    import tomllib

    toml = chaffinch("check", check_file(ONE_PAN), "--json").out
    as_json = chaffinch("check", check_file(json.dumps(tomllib.loads(ONE_PAN)), "check.json"), "--json").out

    assert toml == as_json


def test_page_fits_80_columns_and_has_no_colour_in_a_pipe(chaffinch, check_file):
    """A terminal of 80 columns holds every line; a pipe gets no escape codes."""
    out = chaffinch("check", check_file(ONE_PAN)).out

    assert max(map(len, out.splitlines())) <= 80
    assert "\x1b" not in out
    assert "Can't tell yet" in out
    assert "operator's manual" in out


@pytest.mark.parametrize("columns", ["40", "60", "200"])
def test_other_widths_do_not_break(chaffinch, check_file, monkeypatch, columns):
    """Narrow terminals wrap, wide ones stay at 80."""
    monkeypatch.setenv("COLUMNS", columns)

    ran = chaffinch("check", check_file(ONE_PAN))

    assert ran.status == 0
    assert max(map(len, ran.out.splitlines())) <= 80


def test_no_colour_is_respected_and_colour_only_decorates(monkeypatch):
    """With NO_COLOR nothing is styled; without it the text is the same once the codes are taken out."""
    import re

    from chaffinch.cli.terminal.page import Page

    styled, plain = Page(80, True, True), Page(80, False, True)
    assert re.sub(r"\x1b\[[0-9;]*m", "", styled.strong("x") + styled.plum("y") + styled.soft("z")) == "xyz"
    assert plain.strong("x") + plain.plum("y") + plain.soft("z") == "xyz"
    monkeypatch.setattr("sys.stdout.isatty", lambda: True, raising=False)
    monkeypatch.setenv("NO_COLOR", "1")
    assert Page.here().colour is False


def test_ascii_terminal_gets_ascii(check_file):
    """An output encoding without box-drawing characters gets plain ones and no crash."""
    name = check_file(ONE_PAN)
    env = {"PYTHONIOENCODING": "ascii", "COLUMNS": "80", "PATH": "", "PYTHONWARNINGS": "ignore"}

    ran = subprocess.run([sys.executable, "-m", "chaffinch", "check", name], capture_output=True, env=env, check=False)

    assert ran.returncode == 0, ran.stderr
    text = ran.stdout.decode("ascii")
    assert "---v---" in text
    assert "====" in text


def test_standard_input_is_read():
    """``-`` reads the check from a pipe."""
    ran = subprocess.run(
        [sys.executable, "-m", "chaffinch", "check", "-", "--json"],
        input=ONE_PAN.encode(),
        capture_output=True,
        check=False,
    )

    assert ran.returncode == 0, ran.stderr
    assert json.loads(ran.stdout)["crop"] == "canola"


def test_over_and_under_are_said_with_a_shape(chaffinch, check_file):
    """Verdicts are words and a shape, not a hue."""
    over = chaffinch("check", check_file(ONE_PAN.replace("12.5 g", "60 g"))).out
    under = chaffinch("check", check_file(ONE_PAN.replace("12.5 g", "2 g"))).out

    assert "▲ Over your limit of 1 bu/ac" in over
    assert "▼ Under your limit of 1 bu/ac" in under
    assert "leave the settings alone" in under
    assert "operator's manual" in under  # the remarks below may send somebody to the machine


def test_without_a_limit_there_is_no_verdict_and_it_says_so(chaffinch, check_file):
    """No limit, no verdict, no silent default."""
    ran = chaffinch("check", check_file(ONE_PAN.replace('limit = "1 bu/ac"', "")), "--json")

    assert ran.data["verdict"] is None
    assert ran.data["p_over"] is None
    assert "no-limit" in {n["key"] for n in ran.data["assumed"]}


def test_seed_changes_sampled_answers_only_within_their_noise(chaffinch, check_file):
    """Another seed moves a sampled answer by much less than its range."""
    text = ONE_PAN + '\n[[catch]]\nplace = "header strip"\npan = "4 ft2"\namount = "3.0 g"\n'
    name = check_file(text)

    a = chaffinch("check", name, "--json").data["total"]["kg_ha"]
    b = chaffinch("check", name, "--json", "--seed", "7").data["total"]["kg_ha"]

    assert a != b
    # ESS of 400 or more puts the noise of a median below 0.06 sd; a range is 3.3 sd wide.
    for key in ("low", "median", "high"):
        assert abs(a[key] - b[key]) < 0.06 * (a["high"] - a["low"])


def test_one_spot_behind_a_spreader_gets_no_headline_middle(chaffinch, check_file):
    """One position with spreading on: the page leads with a range, not with a point (scenario a)."""
    text = ONE_PAN.replace('drop_width = "66 in"', 'spread_width = "38 ft"')

    out = chaffinch("check", check_file(text)).out

    headline = next(line for line in out.splitlines() if "machine loss" in line)
    assert " to " in headline
    assert "likely" not in headline


def test_forty_columns_hold_every_line(chaffinch, monkeypatch):
    """A very narrow terminal drops columns, never wraps a table or runs over."""
    monkeypatch.setenv("COLUMNS", "44")

    out = chaffinch("check", "examples/where-it-was-lost.toml").out

    assert max(map(len, out.splitlines())) <= 44
    assert "header" in out


def test_an_answer_that_cannot_be_written_is_no_success(check_file):
    """A full disk behind the redirection gives one line and status 1, not a traceback."""
    import os

    if not os.path.exists("/dev/full"):
        pytest.skip("no /dev/full here")
    name = check_file(ONE_PAN)
    with open("/dev/full", "w") as full:
        ran = subprocess.run(
            [sys.executable, "-m", "chaffinch", "check", name],
            stdout=full,
            stderr=subprocess.PIPE,
            text=True,
            check=False,
        )

    assert ran.returncode == 1
    assert "Traceback" not in ran.stderr
