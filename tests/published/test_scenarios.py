"""Scenarios from the field that concern one check: what the answer warns of, refuses and shows.

Scenarios (f) to (i) concern several phones, several machines, speed and the season, and come with those. All numbers
are invented unless a source is named.
"""

from __future__ import annotations

import math

import pytest
from one_stop import ask, frame, warned

from chaffinch.book.checks.answer import CheckAnswer
from chaffinch.book.checks.said import sentence
from chaffinch.engine.estimate import default_prior, share_pct

COMBINE = {"cut_width": "12 m", "drop_width": "2 m", "spread_width": "11 m"}
PAN = {"place": "discharge", "pan": "0.36 m2"}


def _width(found: CheckAnswer) -> float:
    """How many times the top of the range is its bottom."""
    return found.total.kg_ha.high / found.total.kg_ha.low


def _sentence(found: CheckAnswer, key: str) -> str:
    notice = next(notice for notice in found.notices if notice.key == key)
    return sentence(notice, found.check)


def test_scenario_a_one_pan_with_the_chopper_on_is_a_range_not_a_point() -> None:
    """The same plain loss from one pan is far less certain behind a chopper, and the answer says why."""
    on = ask("canola", {**PAN, "amount": "2.0 g"}, combine=COMBINE, spreading=True, limit="60 kg/ha")
    off = ask("canola", {**PAN, "amount": "11.0 g"}, combine=COMBINE, spreading=False, limit="60 kg/ha")
    assert on.plain.machine == pytest.approx(off.plain.machine, rel=1e-12)
    assert on.plain.machine is not None
    assert on.plain.machine < 60
    assert on.verdict == "unsettled"
    assert on.further is not None
    assert "one-position-spreading" in warned(on)
    assert "one-position-spreading" not in warned(off)
    # Published residue behind spreaders varied 1.4 to 5.1 fold (Allmaras et al. 1985): one pan has to span that.
    assert _width(on) > 5.1
    assert _width(on) > 1.4 * _width(off)
    several = ask(
        "canola",
        *({**PAN, "amount": "2.0 g", "offset": f"{x} m"} for x in (-4, -1.5, 1.5, 4)),
        combine=COMBINE,
        spreading=True,
    )
    assert "one-position-spreading" not in warned(several)
    assert _width(several) < _width(on)


def test_scenario_b_soybean_behind_only_is_machine_only() -> None:
    """80 to 90 % of soybean loss is at the header (printed): a pan behind must not pass for the whole."""
    found = ask(
        "soybean",
        frame("discharge", 40, "4 ft2"),
        country="US",
        limit="1 bu/ac",
        combine={"cut_width": "30 ft", "drop_width": "6 ft"},
        **{"yield": "50 bu/ac"},
    )
    assert list(found.sources) == ["machine"]
    assert found.judged == ("machine",)
    assert found.plain.header is None
    assert _sentence(found, "machine-only").startswith("Machine only: header loss was not measured.")


def test_scenario_c_swath_mode_uses_the_nine_metres_of_the_swather() -> None:
    """Swather 9 m, pick-up 4 m: the factor is 9 over the drop, said to the person."""
    combine = {"cut_width": "4 m", "drop_width": "1.8 m"}
    found = ask("canola", {**PAN, "amount": "12 g"}, windrowed=True, windrower_width="9 m", combine=combine)
    assert found.prepared.cut_width_m == 9.0
    # 12 g on 0.36 m² is 333.3 kg/ha of strip; exact.
    assert found.plain.machine == pytest.approx(12 / 0.036 * 1.8 / 9, rel=1e-12)
    assert "(9 m)" in _sentence(found, "windrower-width-used")
    assert "machine-only-windrowed" in warned(found)


def test_scenario_d_more_before_harvest_than_behind_the_header_is_shown_as_measured() -> None:
    """60 and 52 kernels standing, 38 in the strip: −6.7 kg/ha plain, an estimate down to nearly nothing, a re-check."""
    found = ask(
        "wheat",
        frame("standing", 60),
        frame("standing", 52),
        frame("header strip", 38),
        country="US",
        tkw="34.4 g",
        report_in="kg/ha",
        limit="1 bu/ac",
    )
    # (38 − 56) kernels of 34.4 mg on 0.929 m²: −6.67 kg/ha, shown to 0.01.
    assert found.plain.header == pytest.approx(-6.67, abs=0.005)
    header = found.sources["header"].kg_ha
    before_any_catch = default_prior("header", None)
    expected_low = before_any_catch.median_kg_ha * math.exp(-1.645 * before_any_catch.sd_log)
    assert 0 < header.low < expected_low
    assert header.median < before_any_catch.median_kg_ha
    assert found.verdict == "under"
    said = _sentence(found, "negative-plain")
    assert "-6.7 kg/ha" in said
    assert "More frames would settle it." in said


def test_scenario_e_a_one_gram_scale_and_a_small_pan_cannot_see_one_per_cent() -> None:
    """1 g on 0.1 m² is a step of 100 kg/ha on the ground (derived); half of it against a limit of 20 is too coarse."""
    small = {"place": "header strip", "pan": "0.1 m2", "amount": "1 g", "step": "1 g"}
    crop = {"limit": "20 kg/ha", "yield": "2 t/ha"}
    found = ask("canola", small, **crop)
    notice = next(notice for notice in found.notices if notice.key == "coarse-kit")
    assert notice.facts["smallest_kg_ha"] == pytest.approx(50.0, rel=1e-12)
    assert "50 kg/ha" in _sentence(found, "coarse-kit")
    # A tenth of a gram on 1 m² stands for 0.5 kg/ha in half a step: a quarter of 20 allows up to 5.
    fine = ask("canola", {**small, "pan": "1 m2", "amount": "2.0 g", "step": "0.1 g"}, **crop)
    assert "coarse-kit" not in warned(fine)


def test_scenario_j_more_lost_than_harvested_is_still_answered() -> None:
    """Lupin, 0.3 t/ha harvested and 390 kg/ha lost (printed): 56.5 % of both (derived, to 0.1)."""
    grams = {"place": "whole cut", "pan": "1 m2", "amount": "39 g"}
    found = ask("lupin", grams, grams, combine={"cut_width": "9 m"}, limit="30 kg/ha", **{"yield": "0.3 t/ha"})
    assert found.plain.total == pytest.approx(390.0, rel=1e-12)
    assert share_pct(found.plain.total, found.plain.total, 300.0) == pytest.approx(56.5, abs=0.05)
    assert found.verdict == "over"
    share = found.total.share_pct
    assert share is not None
    assert share.low < 56.5 < share.high < 100


def test_scenario_k_one_pan_five_times_another_is_said() -> None:
    """2.0 and 10.2 g, 5.1-fold (the most of Allmaras et al. 1985): the range widens and the ratio is named."""

    def two(first: str, second: str) -> CheckAnswer:
        pans = ({**PAN, "amount": amount} for amount in (first, second))
        return ask("canola", *pans, combine=COMBINE, spreading=True, limit="60 kg/ha")

    uneven, even = two("2.0 g", "10.2 g"), two("6.1 g", "6.1 g")
    assert uneven.plain.machine == pytest.approx(even.plain.machine, rel=1e-12)
    notice = next(notice for notice in uneven.notices if notice.key == "uneven")
    assert notice.facts["ratio"] == pytest.approx(5.1, rel=1e-12)
    assert "5.1-fold" in _sentence(uneven, "uneven")
    assert "uneven" not in warned(even)
    assert _width(uneven) > 1.2 * _width(even)
