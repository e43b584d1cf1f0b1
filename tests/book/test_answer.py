"""Answers to whole checks: every place, every way of reading, and nothing that is not a number."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from chaffinch.book.checks.answer import answer
from chaffinch.book.checks.plain_data import as_json
from chaffinch.book.checks.said import next_step, sentence
from chaffinch.engine.estimate import Range
from chaffinch.errors import InputError, SamplerError
from chaffinch.records.checkfile import check_from_table

BASE: dict[str, Any] = {
    "crop": "canola",
    "yield": "2500 kg/ha",
    "price": "640 /t",
    "limit": "56 kg/ha",
    "speed": "7 km/h",
    "combine": {"cut_width": "12 m", "drop_width": "1.8 m", "spread_width": "11 m"},
    "spreading": False,
}


def solve(*catches: dict[str, Any], **other: Any):
    return answer(check_from_table({**BASE, **other, "catch": list(catches)}))


PLACES = [
    ({"place": "standing", "pan": "0.5 m2", "amount": "3 g"}, ("standing",), 60.0),
    ({"place": "header strip", "pan": "0.5 m2", "amount": "3 g"}, ("standing", "header"), 60.0),
    ({"place": "discharge", "pan": "0.5 m2", "amount": "12 g"}, ("machine",), 36.0),
    ({"place": "discharge", "width": "2 m", "length": "0.5 m", "amount": "30 g"}, ("machine",), 50.0),
    ({"place": "behind", "pan": "0.5 m2", "amount": "12 g"}, ("standing", "header", "machine"), 36.0),
    (
        {"place": "whole cut", "width": "12 m", "length": "0.1 m", "amount": "6 g"},
        ("standing", "header", "machine"),
        50.0,
    ),
    ({"place": "windrow", "length": "1 m", "amount": "60 g"}, ("machine",), 50.0),
    ({"place": "leak", "time": "36 s", "amount": "84 g"}, ("leak",), 1.0),
]


@pytest.mark.parametrize(("catch", "seen", "plain_total"), PLACES, ids=[str(p[0]["place"]) for p in PLACES])
def test_the_eight_places(catch, seen, plain_total):
    """Each place sees its sources, and its plain total is the hand-worked one (DESIGN §4.2)."""
    found = solve(catch)

    assert tuple(found.sources) == seen
    assert found.plain.total == pytest.approx(plain_total)
    assert found.total.kg_ha.low < found.total.kg_ha.median < found.total.kg_ha.high


def test_windrowed_crop_uses_the_windrower():
    """Windrower 9 m, header 4 m pick-up: the cut width is 9 m (trap 9)."""
    found = solve(
        {"place": "discharge", "pan": "0.5 m2", "amount": "12 g"},
        combine={"cut_width": "4 m", "drop_width": "1.5 m"},
        windrowed=True,
        windrower_width="9 m",
        spreading=False,
    )

    assert found.plain.machine == pytest.approx(240 * 1.5 / 9)
    assert {n.key for n in found.notices} >= {"machine-only-windrowed", "windrower-width-used"}


def test_spreading_uses_the_spread_width_and_warns_of_one_position():
    """With spreading on the ratio is cut over spread, and one spot is said to be weak (scenario a)."""
    found = solve({"place": "discharge", "pan": "0.5 m2", "amount": "2 g"}, spreading=True)
    off = solve({"place": "discharge", "pan": "0.5 m2", "amount": "12 g"})

    assert found.plain.machine == pytest.approx(40 * 11 / 12)
    assert "one-position-spreading" in {n.key for n in found.notices}
    assert _width(found.judged_kg_ha) > 1.3 * _width(off.judged_kg_ha)


def test_profile_of_pans_is_integrated_across_the_throw():
    """Three pans at −3, 0, 3 m over an 11 m throw: weights 4.25/…, worked by hand."""
    pans = [("-3 m", 1.0), ("0 m", 2.0), ("3 m", 1.5)]
    found = solve(
        *({"place": "discharge", "pan": "0.5 m2", "amount": f"{g} g", "offset": x} for x, g in pans), spreading=True
    )

    # trapezoid to zero at ± 5.5 m: (0 − −5.5)/2, (3 − −3)/2, (5.5 − 0)/2
    grams_per_m = 2.75 * 1.0 / 0.5 + 3.0 * 2.0 / 0.5 + 2.75 * 1.5 / 0.5
    assert found.plain.machine == pytest.approx(10 * grams_per_m / 12)
    assert "one-position-spreading" not in {n.key for n in found.notices}


def test_moisture_purity_and_subsample_scale_the_mass():
    """12 g at 15 % to 10 % market, 90 % clean, a quarter read: 12·(85/90)·0.9·4 g."""
    found = solve(
        {
            "place": "discharge",
            "pan": "0.5 m2",
            "amount": "12 g",
            "moisture": "15 %",
            "clean": 0.9,
            "subsample": "1/4",
        },
        market_moisture="10 %",
    )

    assert found.plain.machine == pytest.approx(36.0 * (85 / 90) * 0.9 * 4)


def test_unthreshed_heads_add_to_the_catch_and_are_shown():
    """Rubbed-out seed and counted heads both count, and their share is told."""
    rubbed = solve({"place": "behind", "pan": "0.5 m2", "amount": "6 g", "unthreshed": "2 g"}, crop="wheat")
    heads = solve(
        {"place": "behind", "pan": "0.5 m2", "amount": "100 seeds", "heads": 2, "seeds_per_head": 50}, crop="wheat"
    )

    assert rubbed.unthreshed_pct == pytest.approx(25.0)
    assert heads.unthreshed_pct == pytest.approx(50.0)
    assert heads.prepared.catches[0].reading.mass_g == pytest.approx(200 * 34.4 / 1000, rel=0.02)


def test_back_only_soybeans_say_machine_only():
    """A pan behind the header in soybeans misses most of the loss, and the answer says so (scenario b)."""
    found = solve({"place": "discharge", "pan": "0.5 m2", "amount": "12 g"}, crop="soybean", country="US")

    assert found.judged == ("machine",)
    assert "machine-only" in {n.key for n in found.notices}


def test_larger_baseline_than_catch_stays_negative_in_plain_only():
    """More seed in standing crop than in the strip: plain is negative, the estimate is not (scenario d)."""
    found = solve(
        {"place": "standing", "pan": "0.5 m2", "amount": "6 g"},
        {"place": "header strip", "pan": "0.5 m2", "amount": "3 g"},
    )

    assert found.plain.header == pytest.approx(-60.0)
    assert found.sources["header"].kg_ha.low > 0
    assert "negative-plain" in {n.key for n in found.notices}


def test_coarse_scale_is_told():
    """A 1 g scale and a 0.1 m² pan spread wide cannot see a small limit (scenario e)."""
    found = solve(
        {"place": "discharge", "pan": "0.1 m2", "amount": "1 g", "step": "1 g"}, spreading=True, limit="20 kg/ha"
    )

    assert "coarse-kit" in {n.key for n in found.notices}


def test_more_lost_than_harvested_is_handled():
    """390 kg/ha lost where 300 kg/ha was harvested is 56.5 % of the crop (job map 4.13 j; derived 390/690)."""
    found = solve({"place": "windrow", "length": "1 m", "amount": "468 g"}, **{"yield": "300 kg/ha"})

    assert found.plain.machine == pytest.approx(390.0)
    share = found.sources["machine"].share_pct
    assert share is not None
    assert share.low < 56.5 < share.high


def test_uneven_pans_are_pointed_out():
    """One pan 5.1 times another: the range is the message (scenario k)."""
    found = solve(
        {"place": "discharge", "pan": "0.5 m2", "amount": "5 g"},
        {"place": "discharge", "pan": "0.5 m2", "amount": "25.5 g"},
    )

    assert "uneven" in {n.key for n in found.notices}


def test_catches_that_were_all_empty_ask_for_one_more():
    pan, standing = {"place": "discharge", "pan": "0.5 m2"}, {"place": "standing", "pan": "0.5 m2"}
    both = solve({**pan, "amount": "0 g"}, {**pan, "amount": "0 g"}, {**standing, "amount": "0 g"})
    one_held = solve({**pan, "amount": "0 g"}, {**pan, "amount": "0.4 g"})

    assert [n.facts["place"] for n in both.notices if n.key == "all-empty"] == ["discharge"]
    assert "all-empty" not in {n.key for n in one_held.notices}


def test_standing_loss_is_never_held_against_the_combine():
    """Seed that fell before harvest moves the total but not what the limit is held against."""
    frames = [{"place": "header strip", "pan": "0.5 m2", "amount": "12 g"}] * 3
    clean = solve({"place": "standing", "pan": "0.5 m2", "amount": "0 g"}, *frames)
    shed = solve(*[{"place": "standing", "pan": "0.5 m2", "amount": "12 g"}] * 3, *frames)

    assert clean.verdict == "over"
    assert shed.p_over is not None
    assert clean.p_over is not None
    assert shed.p_over < clean.p_over - 0.3
    assert solve({"place": "standing", "pan": "0.5 m2", "amount": "12 g"}).verdict is None


def test_a_leak_comes_on_top_of_the_machine():
    """A leak catch is not averaged with the pans: 36 kg/ha from the pan and 1 kg/ha dripping make 37."""
    pan = {"place": "discharge", "pan": "0.5 m2", "amount": "12 g"}
    leak = {"place": "leak", "time": "36 s", "amount": "84 g"}
    found = solve(pan, leak)

    assert found.plain.machine == pytest.approx(36.0)
    assert found.plain.leak == pytest.approx(1.0)
    assert found.plain.total == pytest.approx(37.0)
    assert tuple(found.sources) == ("machine", "leak")
    assert found.sources["machine"].kg_ha.median == pytest.approx(solve(pan).sources["machine"].kg_ha.median, rel=0.03)
    assert found.judged == ("machine", "leak")


def test_a_known_leak_comes_off_what_frames_behind_show():
    """A frame behind sees the drip as well: 60 kg/ha less the 1 kg/ha of the leak."""
    found = solve(
        {"place": "header strip", "pan": "0.5 m2", "amount": "3 g"},
        {"place": "behind", "pan": "0.5 m2", "amount": "23 g"},
        {"place": "leak", "time": "36 s", "amount": "84 g"},
    )

    assert found.plain.machine == pytest.approx(59.0)


def test_a_leak_alone_gets_no_verdict():
    """A small leak says nothing about the machine, so nobody is told to leave the settings alone."""
    found = solve({"place": "leak", "time": "60 s", "amount": "5 g"})

    assert found.verdict is None
    assert "leak-only" in {n.key for n in found.notices}


def test_places_that_disagree_about_the_machine_are_pointed_out():
    """A windrow shaken out at 12 kg/ha and a pan at 45: the sum is shown, and the disagreement."""
    found = solve(
        {"place": "windrow", "length": "1 m", "amount": "14 g"},
        {"place": "discharge", "pan": "0.5 m2", "amount": "15 g"},
    )

    assert "places-disagree" in {n.key for n in found.notices}


def test_shares_sum_to_one_hundred():
    """Parts of the loss sum to 100 %, chances of being the largest to 1."""
    found = solve(
        {"place": "standing", "pan": "0.5 m2", "amount": "1 g"},
        {"place": "header strip", "pan": "0.5 m2", "amount": "3 g"},
        {"place": "discharge", "pan": "0.5 m2", "amount": "12 g"},
    )

    assert sum(loss.part_of_loss_pct for loss in found.sources.values()) == pytest.approx(100.0, abs=1e-9)
    assert sum(loss.p_largest for loss in found.sources.values()) == pytest.approx(1.0, abs=1e-9)


def test_a_catch_no_field_could_have_lost_is_refused():
    """15.6 kg in a quarter of a square metre is a slip, and it is said where."""
    with pytest.raises(InputError, match=r"catch 2: .*check amount"):
        solve(
            {"place": "header strip", "pan": "0.25 m2", "amount": "3 g"},
            {"place": "header strip", "pan": "0.25 m2", "amount": "15593 g"},
        )


def test_a_loss_beyond_the_grid_is_not_cut_off():
    """Near 4 t/ha, and at a drip of grams per hectare, the sampler answers: neither end of the grid shows."""
    large = solve(*[{"place": "standing", "pan": "0.5 m2", "amount": "199 g"}] * 3)
    drip = solve(*[{"place": "leak", "time": "60 s", "amount": "3 g", "step": "0.1 g"}] * 2, limit="0.04 kg/ha")

    assert large.beliefs["standing"].probability_above(5000.0) > 0.005
    # 3 g over 60 s · 7/3.6 m/s · 12 m at 0.1 g per kg/ha and m²: 0.0214 kg/ha, well inside a range of its own size
    assert drip.plain.leak == pytest.approx(3 / (0.1 * 60 * 7 / 3.6 * 12))
    assert drip.total.kg_ha.low < 0.0214 < drip.total.kg_ha.high < 0.05


def test_no_heads_is_no_doubt_and_heads_are_counted_exactly():
    """Zero unthreshed heads leave a reading as it was; a few add their seed, not a step of a whole head."""
    pan = {"place": "discharge", "pan": "0.5 m2", "amount": "20.0 g"}
    without = solve(pan, crop="corn", country="US").judged_kg_ha
    none = solve({**pan, "heads": 0, "seeds_per_head": 500}, crop="corn", country="US")
    some = solve({**pan, "heads": 1, "seeds_per_head": 20}, crop="corn", country="US")

    assert none.judged_kg_ha == without
    assert none.unthreshed_pct == 0.0
    assert "coarse-kit" not in {n.key for n in some.notices}
    assert some.plain.machine == pytest.approx((20.0 + 20 * 0.302) / (0.1 * 0.5 * 12 / 1.8), rel=0.01)


def test_a_run_of_pans_has_one_variation():
    """Two pans of one run with different variations are refused: neither may silently win."""
    one, two = ({"place": "discharge", "pan": "0.1 m2", "amount": "3 g", "offset": x} for x in ("-0.4 m", "0.4 m"))

    with pytest.raises(InputError, match="variation: differs within one run"):
        solve({**one, "variation": 0.05}, {**two, "variation": 1.5})


def _width(r: Range) -> float:
    return math.log(r.high / r.low)


amounts = st.one_of(
    st.floats(0, 300).map(lambda g: f"{g:.3f} g"),
    st.floats(0, 300).map(lambda v: f"{v:.1f} mL"),
    st.integers(0, 20_000).map(lambda n: f"{n} seeds"),
)
pans = st.floats(0.01, 2.0).map(lambda a: {"pan": f"{a:.4f} m2"})
extras = st.fixed_dictionaries(
    {},
    optional={
        "subsample": st.floats(0.01, 1.0),
        "variation": st.floats(0.02, 3.0),
        "unthreshed": st.integers(0, 500).map(lambda n: f"{n} seeds"),
    },
)


@st.composite
def checks(draw: st.DrawFn) -> dict[str, Any]:
    catches = []
    for _ in range(draw(st.integers(1, 5))):
        place = draw(st.sampled_from(["standing", "header strip", "discharge", "behind", "windrow", "leak"]))
        one: dict[str, Any] = {"place": place, "amount": draw(amounts), **draw(extras)}
        if place == "windrow":
            one["length"] = f"{draw(st.floats(0.2, 20)):.2f} m"
        elif place == "leak":
            one["time"] = f"{draw(st.floats(5, 600)):.1f} s"
        else:
            one |= draw(pans)
        catches.append(one)
    return {
        **BASE,
        "crop": draw(st.sampled_from(["canola", "wheat", "pea", "flax", "faba bean"])),
        "limit": f"{draw(st.floats(0.1, 2000)):.2f} kg/ha",
        "catch": catches,
    }


@given(checks())
@settings(max_examples=120, deadline=None, suppress_health_check=[HealthCheck.too_slow])
def test_no_valid_check_gives_nan_or_a_range_out_of_order(table):
    """Whatever a person writes within the schema: every number is finite, every range in order, every word said."""
    try:
        found = answer(check_from_table(table))
    except InputError as error:
        # The one refusal left after reading: a catch no field could have lost.
        if "beyond the 4,000" not in str(error):
            raise
        return
    except SamplerError as error:
        # Catches that flatly contradict each other (an empty pan beside half a kilogram) are refused aloud.
        if "check the readings" not in str(error):
            raise
        return
    text = json.dumps(as_json(found), allow_nan=False)

    assert "NaN" not in text
    for loss in (*found.sources.values(), found.total):
        assert 0 < loss.kg_ha.low <= loss.kg_ha.median <= loss.kg_ha.high < math.inf
        assert loss.share_pct is not None
        assert 0 < loss.share_pct.low <= loss.share_pct.high < 100
    assert found.verdict in ("over", "under", "unsettled", None)
    assert found.verdict is None or next_step(found)
    for notice in found.notices:
        assert sentence(notice, found.check)


@pytest.mark.parametrize(("chance", "said"), [(0.0, "<1 % chance"), (0.003, "<1 % chance"), (0.41, "41 % chance")])
def test_no_chance_of_more_catches_reads_as_certain(chance, said):
    found = solve({"place": "discharge", "pan": "0.5 m2", "amount": "16 g"})
    assert found.verdict == "unsettled"
    unlikely = replace(found, further=replace(found.further, catches=None, chance=chance))
    assert said in next_step(unlikely)
    assert "(<1 % chance)" in next_step(unlikely) or chance > 0.01
