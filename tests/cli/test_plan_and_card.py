"""``chaffinch plan`` and ``card``: what they take from a file, what they print, what they compute."""

from __future__ import annotations

import pytest
from one_pan import ONE_PAN

COARSE = """
crop = "wheat"
limit = "40 kg/ha"
[combine]
cut_width = "9.1 m"
drop_width = "1.6 m"
[[catch]]
place = "discharge"
pan = "0.4 m2"
amount = "9 g"
step = "1 g"
"""


@pytest.mark.parametrize("scale", ['step = "1 g"', ""], ids=["stated", "from the digits"])
def test_the_step_of_the_file_counts(chaffinch, check_file, scale):
    """A 1 g kitchen scale in the file is a 1 g scale in plan and card: half a step is 2.2 kg/ha (worked by hand)."""
    name = check_file(COARSE.replace('step = "1 g"', scale))

    plan = chaffinch("plan", "--from", name, "--json").data
    card = chaffinch("card", "--from", name, "--json").data

    weigh = next(way for way in plan["ways"] if way["kind"] == "weighed")
    assert weigh["step"] == 1.0
    # 0.5 g over 0.4 m² · 9.1/1.6 at 0.1 g per kg/ha and m²
    assert weigh["smallest_kg_ha"] == pytest.approx(0.5 / (0.1 * 0.4 * 9.1 / 1.6))
    assert card["sides"][0]["smallest_kg_ha"] == pytest.approx(2.198, abs=0.001)


def test_an_option_beats_the_file(chaffinch, check_file):
    """--step says more than the file."""
    plan = chaffinch("plan", "--from", check_file(COARSE), "--step", "0.01 g", "--json").data

    assert next(way for way in plan["ways"] if way["kind"] == "weighed")["step"] == 0.01


def test_card_by_hand(chaffinch, check_file):
    """1 bu/ac of canola in 4 ft² at 40 ft : 66 in is 15.14 g (50 lb · 453.592 g · 4/43560 · 480/66; derived)."""
    card = chaffinch("card", "--from", check_file(ONE_PAN), "--json").data

    at_limit = next(row for row in card["sides"][0]["rows"] if row["loss_kg_ha"] == pytest.approx(card["limit_kg_ha"]))
    assert at_limit["mass_g"] == pytest.approx(50 * 453.59237 * 4 / 43560 * 480 / 66, rel=1e-9)
    assert card["sides"][0]["width_ratio"] == pytest.approx(480 / 66)


def test_card_shows_both_sides_and_marks_the_limit(chaffinch, check_file):
    """Spreading off and on stand side by side, and the limit's row is marked."""
    out = chaffinch("card", "--from", check_file(ONE_PAN), "--spread-width", "35 ft").out

    assert "g off" in out
    assert "g on" in out
    assert any(line.strip().startswith("▸ 1 ") for line in out.splitlines())
    assert "operator's manual" in out
    assert max(map(len, out.splitlines())) <= 80


def test_plan_only_advises_what_would_help(chaffinch):
    """No tape is advised where no width enters, or where it was taped."""
    strip = ("plan", "--crop", "pea", "--limit", "1 bu/ac", "--place", "header strip", "--pan", "10 ft2")
    taped = ("--crop", "pea", "--limit", "1 bu/ac", "--pan", "4 ft2", "--cut-width", "40 ft", "--drop-width", "66 in")

    assert "tape" not in chaffinch(*strip).out
    assert "a tape on the widths would" in " ".join(chaffinch("plan", *taped).out.split())
    assert "tape" not in chaffinch("plan", *taped, "--taped").out


def test_mends_name_the_option(chaffinch):
    """What is missing on the command line is mended on the command line."""
    for arguments, mend in [
        (("plan", "--crop", "wheat"), "--pan"),
        (("plan", "--crop", "wheat", "--pan", "4 ft2"), "--cut-width"),
        (("plan", "--crop", "wheat", "--pan", "4 ft2", "--cut-width", "9 m"), "--drop-width"),
    ]:
        ran = chaffinch(*arguments)
        assert ran.status == 2
        assert mend in ran.err.split(";")[-1]


def test_a_wished_precision_without_percent_is_asked_again(chaffinch, check_file):
    """10 is no precision; 10 % is."""
    ran = chaffinch("plan", "--from", check_file(ONE_PAN), "--precision", "10")

    assert ran.status == 2
    assert "25 %" in ran.err
