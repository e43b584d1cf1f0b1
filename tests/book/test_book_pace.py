"""The best pace from a book: what the checks say, what is assumed, and what is never said."""

from __future__ import annotations

import math

import pytest

from chaffinch.book.checks.entering import log_check
from chaffinch.book.checks.points import shared_sd
from chaffinch.book.pace.best import PaceTerms, pace
from chaffinch.book.pace.plain_data import as_json
from chaffinch.book.pace.said import REMARK, advice_said, points_left_out, remarks_said, today_said
from chaffinch.book.pace.worth import WorthTerms, worth
from chaffinch.book.shown_unit import PaceUnit, Unit
from chaffinch.book.things import find_thing
from chaffinch.engine.pace.best import Remark
from chaffinch.errors import InputError
from chaffinch.records.checkfile import check_from_table
from season_book import start, with_speeds


@pytest.fixture
def book(tmp_path):
    return start(tmp_path / "larkhollow.chaffinch")


def best(book, combine="Old Bess", *, crop="canola", field=None, **terms):
    told = {"hour_cost": 400.0, **terms}
    thing = find_thing(book.desk, "combine", combine)
    place = None if field is None else find_thing(book.desk, "field", field)
    return pace(book.desk, thing, crop, PaceTerms(**told), field=place)


def test_a_steep_curve_is_driven_slower_than_a_flat_one(book, tmp_path):
    with_speeds(book, slope=2.5)
    flat = start(tmp_path / "other.chaffinch")
    with_speeds(flat, slope=0.6)

    assert best(book).pace.best_kmh < best(flat).pace.best_kmh - 1.0


def test_the_best_pace_is_where_the_known_law_has_it(book):
    # Loss 30 (v/6)² kg/ha at 600/t, 400/h, 12 m: cost 18 (v/6)² + 400·10/(12 v) is least where 2·18 (v/6)² = 333.3/v,
    # v³ = 333.3·36/36: 6.93 km/h; lost time does not move it.
    with_speeds(book, slope=2.0)
    found = best(book)

    assert found.pace.own_best_kmh.low < 6.93 < found.pace.own_best_kmh.high
    assert found.pace.best_kmh == pytest.approx(6.93, abs=0.8)
    limit = found.pace.limit_that_pays_kg_ha
    assert limit is not None
    assert limit.low < 30 * (6.93 / 6) ** 2 < limit.high


def test_without_header_frames_it_is_machine_only_everywhere(book):
    with_speeds(book)
    found = best(book)

    assert found.curves.header is None
    assert found.pace.machine_only
    assert "header not measured" in found.pace.remarks
    assert as_json(found)["machine_only"] is True


def test_a_table_s_error_is_not_worn_down_by_many_checks(book):
    """Pans weighed, strips counted with a TKW from the table (8 %): no range of header loss is narrower than that."""
    strips = [{"place": "header strip", "pan": "1 m2", "amount": "735 seeds"}] * 4
    frames = [{"place": "standing", "pan": "0.25 m2", "amount": "1 seeds"}] * 2
    for k in range(16):
        book.check("Old Bess", 10 + k // 8, 8 + k % 8, speed_kmh=5.0 + 0.2 * k, more_catches=strips + frames)
    found = best(book)

    assert shared_sd(found.curves.header_points, "header") == pytest.approx(math.hypot(0.08, 0.01))
    assert shared_sd(found.curves.points) == pytest.approx(math.hypot(0.02, 0.01))
    # 3.29 sd from 5 to 95 %; 4,096 draws know it to 3 %.
    for row in found.pace.table:
        assert math.log(row.header_kg_ha.high / row.header_kg_ha.low) > 3.29 * 0.08 * 0.97


def test_header_and_machine_have_curves_of_their_own(book):
    with_speeds(book, slope=1.5, header_slope=-0.8)
    found = best(book)

    assert found.curves.header is not None
    assert found.curves.header.p_rises(found.curves.combine.id) < 0.2
    assert found.curves.machine.p_rises(found.curves.combine.id) > 0.8
    assert not found.pace.machine_only


def test_where_faster_is_better_nobody_is_told_to_slow_down(book):
    # Machine loss hardly rises, header loss falls steeply with speed.
    with_speeds(book, slope=0.1, header_slope=-1.5)
    found = best(book, today_kmh=7.0)

    assert found.pace.advice == "faster"
    assert found.pace.best_kmh > 7.0


def test_the_prior_alone_never_says_slower(book):
    # One speed only: that loss rises with speed is what machines do in general, not what this one has shown.
    with_speeds(book, speeds=(8.0,), repeats=4)
    found = best(book, today_kmh=8.5, hour_cost=60.0)

    assert found.pace.advice != "slower"


def test_no_check_at_all_is_said_to_be_expectation(book):
    found = best(book, price_per_t=600.0, today_kmh=6.0)

    assert found.curves.points == ()
    assert "not tested" in found.pace.remarks
    assert found.pace.advice == "not settled"


def test_a_combine_without_checks_borrows_from_the_others_and_says_so(book):
    with_speeds(book, "Young Bess")
    found = best(book, "Old Bess")

    assert found.curves.own == ()
    assert len(found.curves.points) == 12
    assert "not tested" in found.pace.remarks


def test_one_check_without_a_yield_moves_the_curve_to_speed(book):
    with_speeds(book)
    assert best(book).curves.load_kind == "throughput"
    other = book.add("field", "No Papers", season=book.ids["2026"], crop="canola")
    assert other
    book.check("Old Bess", 14, 9, field="No Papers", tell_yield=False)

    assert best(book).curves.load_kind == "speed"


def test_checks_that_cannot_stand_on_the_curve_are_counted(book):
    with_speeds(book)
    book.check("Old Bess", 14, 9, speed_kmh=None)

    found = best(book)
    assert found.curves.left_out == {"tell no speed": 1}
    assert points_left_out(found.curves) == "Left out: 1 check of those that tell no speed."


def test_a_price_that_only_a_check_without_speed_tells_is_asked_for(book):
    book.check("Old Bess", 14, 9, speed_kmh=None)
    with pytest.raises(InputError, match="nor by a check that tells its speed"):
        best(book)


def test_a_crop_three_times_as_heavy_loses_no_more_than_itself(book):
    with_speeds(book, header_slope=1.0)
    found = best(book, today_kmh=9.0, yield_kg_ha=8000.0)

    assert max(row.loss_kg_ha.high for row in found.pace.table) <= 8000.0 + 1e-6
    # All of 8 t at 600/t, whatever the speed.
    assert found.pace.today.extra_per_ha.high < 4800.0
    assert found.pace.advice == "not settled"
    assert "more than the crop" in found.pace.remarks


def test_a_speed_nobody_drove_is_no_ground_for_advice(book):
    with_speeds(book, slope=2.5)
    found = best(book, today_kmh=24.0)

    assert found.pace.advice == "not settled"
    assert "today far from tested" in found.pace.remarks
    assert max(row.loss_kg_ha.high for row in found.pace.table) <= 2500.0 + 1e-6


def test_other_crops_do_not_count(book):
    with_speeds(book)
    book.check("Old Bess", 14, 9, machine_kg_ha=400.0, crop="wheat")

    assert len(best(book).curves.points) == 12
    with pytest.raises(InputError, match="crop"):
        best(book, crop="cannola")


def test_what_the_field_tells_comes_before_what_the_checks_tell(book):
    with_speeds(book)
    found = best(book, field="Far Common")

    assert {"price from field", "yield from field"} <= set(found.assumed)
    assert found.price_per_t == pytest.approx(600.0)
    told = best(book, price_per_t=450.0, yield_kg_ha=2000.0)
    assert told.price_per_t == 450.0
    assert not {"price from field", "price from checks", "yield from checks"} & set(told.assumed)


def test_a_thin_crop_may_be_driven_faster(book):
    # The curve stands over throughput: half the yield is half the load at a speed.
    with_speeds(book, slope=2.0)
    thick, thin = best(book, yield_kg_ha=2500.0), best(book, yield_kg_ha=1800.0)

    assert thin.pace.best_kmh > thick.pace.best_kmh


def test_no_pace_far_beyond_the_speeds_tried(book):
    with_speeds(book, slope=0.2, speeds=(4.0, 5.0, 6.0))
    found = best(book, hour_cost=2000.0)

    assert found.pace.best_kmh <= 6.0 * 1.1 + 1e-6
    assert found.pace.at_edge == "fastest tested"


def test_one_wild_check_moves_the_pace_by_little(book):
    with_speeds(book, slope=1.5)
    calm = best(book).pace.best_kmh
    for day, loss in ((14, 900.0), (15, 3000.0)):
        book.check("Old Bess", day, 9, speed_kmh=6.0, machine_kg_ha=loss)
        assert best(book).pace.best_kmh == pytest.approx(calm, abs=0.9)


@pytest.mark.parametrize(
    ("terms", "match"),
    [
        ({"hour_cost": -1.0}, "hour_cost"),
        ({"price_per_t": -3.0}, "price"),
        ({"today_kmh": 400.0}, "today's speed"),
        ({"fastest_kmh": 0.1}, "fastest speed"),
        ({"yield_kg_ha": 5.6e7}, "yield"),
        ({"width_m": 91.4}, "width"),
        ({"fastest_kmh": 1.0}, "fastest"),
        ({"width_m": 0.0}, "width"),
        ({"yield_kg_ha": 0.0}, "yield"),
        ({"efficiency": 1.4}, "efficiency"),
        ({"efficiency_at_kmh": 5.0}, "efficiency"),
    ],
)
def test_bad_terms_are_refused_by_name(book, terms, match):
    with_speeds(book, repeats=1)

    with pytest.raises(InputError, match=match):
        best(book, **terms)


def test_an_hour_that_costs_nothing_is_explained(book):
    with_speeds(book, repeats=1)
    found = best(book, hour_cost=0.0, today_kmh=6.0)

    assert "time costs nothing" in found.pace.remarks
    assert found.pace.advice == "not settled"


def test_what_others_have_shown_slows_nobody_down(book):
    # The neighbour's loss rises steeply; this machine was checked once, or has shown that faster loses no more.
    with_speeds(book, "Young Bess", slope=3.0)
    book.check("Old Bess", 12, 8, speed_kmh=8.0, machine_kg_ha=80.0)
    terms = {"today_kmh": 8.5, "hour_cost": 100.0}
    assert best(book, **terms).pace.advice != "slower"
    for hour, (speed, loss) in enumerate(((7.0, 80.0), (8.0, 79.0), (9.0, 75.0)), start=9):
        book.check("Old Bess", 12, hour, speed_kmh=speed, machine_kg_ha=loss)

    found = best(book, **terms)
    assert found.pace.advice != "slower"
    assert as_json(found)["slope_learned"] == found.curves.slope_learned


def test_a_steep_machine_of_its_own_is_told_to_go_slower(book):
    with_speeds(book, slope=3.0, speeds=(5.0, 7.0, 9.0), repeats=3)
    found = best(book, today_kmh=9.0, hour_cost=100.0)

    assert found.pace.advice == "slower"
    assert found.p_own is not None
    assert found.p_own >= 0.8


def test_another_machines_header_is_no_ground_for_slower(book):
    # Old Bess: flat machine loss, header never measured. Young Bess: header loss that rises steeply.
    with_speeds(book, "Young Bess", slope=0.0, header_slope=3.0)
    with_speeds(book, "Old Bess", slope=0.0, repeats=3)
    found = best(book, today_kmh=9.0, hour_cost=60.0)

    assert found.pace.advice != "slower"


def test_overlap_counts_once(book):
    from chaffinch.book.things import edit_label

    edit_label(book.desk, find_thing(book.desk, "combine", "Old Bess"), "overlap", "2 m")
    with_speeds(book)
    found = best(book)

    assert found.width_m == pytest.approx(10.0)
    assert found.loss.tested_kmh == pytest.approx((4.0, 9.0))
    assert found.pace.best_kmh <= 9.9 + 1e-6


def test_windrowed_crop_is_reckoned_with_the_windrowers_width(book):
    with_speeds(book, windrower_m=18.0)
    found = best(book)

    assert found.width_m == pytest.approx(18.0)
    assert found.loss.tested_kmh == pytest.approx((4.0, 9.0))


def test_a_crop_far_from_those_checked_gets_no_advice(book):
    with_speeds(book)
    for yield_kg_ha in (600.0, 9000.0):
        found = best(book, yield_kg_ha=yield_kg_ha, today_kmh=6.0)
        assert found.pace.advice == "not settled"
        assert "load and speed apart" in found.assumed


def test_a_thinner_crop_stays_within_the_ground_speeds_tried(book):
    with_speeds(book, slope=0.2)
    found = best(book, yield_kg_ha=1500.0, hour_cost=3000.0)

    assert found.pace.best_kmh <= 9.0 * 1.1 + 1e-6


def test_a_check_tells_its_own_yield_until_the_field_has_delivered(book):
    from chaffinch.book.things import edit_label

    with_speeds(book, speeds=(6.0,))
    point = best(book).curves.own[0]
    assert point.yield_kg_ha == 2500.0
    edit_label(book.desk, find_thing(book.desk, "field", "Long Hollow"), "yield_expected", "4 t/ha")
    assert best(book).curves.own[0].yield_kg_ha == 2500.0
    edit_label(book.desk, find_thing(book.desk, "field", "Long Hollow"), "yield_actual", "3 t/ha")
    assert best(book).curves.own[0].yield_kg_ha == 3000.0


def test_a_whole_number_is_an_hour_cost_too(book):
    with_speeds(book, repeats=1)

    assert best(book, hour_cost=400).hour_cost_per_h == 400.0


def said(found):
    unit = PaceUnit(Unit("kg/ha", 1.0, "ha", "$"), None, "km/h", 1.0, 1.0)
    return advice_said(found, unit), today_said(found, unit)


def test_far_from_every_check_no_chance_is_told(book):
    """ "Not settled" beside "more than 99 % sure" would contradict itself: out there nothing is known."""
    with_speeds(book, slope=2.5)
    far = best(book, today_kmh=16.0)
    near = best(book, today_kmh=6.0)

    assert far.pace.today.p_saves > 0.99
    advice, against = said(far)
    assert advice.startswith("Not settled: no check was taken near 16.0 km/h")
    assert "sure" not in against
    assert "expected" in against
    assert "% sure that changing saves anything" in said(near)[1]


def test_without_a_check_there_is_neither_advice_nor_a_chance(book):
    found = best(book, today_kmh=6.0, price_per_t=600.0, yield_kg_ha=2500.0)
    advice, against = said(found)

    assert advice == ""
    assert "sure" not in against
    (told,) = [text for text in remarks_said(found) if "no check in this crop" in text]
    assert "Taken is a machine loss of 40 kg/ha at 5 km/h" in told
    assert found.pace.table[6].machine_kg_ha.median == pytest.approx(40.0, rel=0.1)
    assert found.pace.table[6].speed_kmh == pytest.approx(5.0)


def test_every_remark_is_worded():
    assert set(REMARK) == set(Remark.__args__)


def test_a_price_may_stand_at_the_field_of_the_last_check(book):
    """Checks from a phone, a sheet or a file tell no price; the field they lie in does."""
    desk, grams = book.desk, 0.1 * 30.0 * 0.4 * 12.0 / 1.8
    table = {
        "crop": "canola", "country": "CA", "yield": "2.5 t/ha", "speed": "6 km/h",
        "combine": {"cut_width": "12 m", "drop_width": "1.8 m", "widths_taped": True},
        "catch": [{"place": "discharge", "pan": "0.4 m2", "amount": f"{grams:.1f} g", "step": "0.1 g"}],
    }  # fmt: skip
    where = {kind: book.ids[name] for kind, name in (("combine", "Old Bess"), ("season", "2026"))}
    log_check(desk, check_from_table(table), taken_at="2026-08-12T10:00:00Z", where=where)
    with pytest.raises(InputError, match="nor by a field"):
        best(book)
    combine, left = find_thing(desk, "combine", "Old Bess"), {"area_left_ha": 60.0, "stop_cost_per_h": 200.0}
    with pytest.raises(InputError, match="or its field"):
        worth(desk, combine, "canola", WorthTerms(hours_since=1.0, **left))
    where["field"] = book.ids["Long Hollow"]
    log_check(desk, check_from_table(table), taken_at="2026-08-12T11:00:00Z", where=where)
    found = best(book)

    assert (found.price_per_t, found.currency) == (pytest.approx(600.0), "$")
    assert "price from their field" in found.assumed
    assert worth(desk, combine, "canola", WorthTerms(hours_since=1.0, **left)).price_per_t == pytest.approx(600.0)
