"""Trials of the book: which checks belong to one, what is compared, what is refused."""

from __future__ import annotations

import pytest

from chaffinch.book.checks.entering import replace_check
from chaffinch.book.things import things
from chaffinch.book.trials.plain_data import as_json
from chaffinch.book.trials.said import DRAWN, about_settings, about_stops, next_step
from chaffinch.book.trials.trial import answer_trial, find_trial, start_trial, trials
from chaffinch.errors import InputError
from season_book import start

USUAL = [{"name": "rotor speed", "value": 600, "unit": "rpm"}, {"name": "fan speed", "value": 900, "unit": "rpm"}]
SLOWER_FAN = [{"name": "rotor speed", "value": 600, "unit": "rpm"}, {"name": "fan speed", "value": 800, "unit": "rpm"}]
BOTH = [{"name": "rotor speed", "value": 500, "unit": "rpm"}, {"name": "fan speed", "value": 800, "unit": "rpm"}]


@pytest.fixture
def book(tmp_path):
    return start(tmp_path / "larkhollow.chaffinch")


def tried(book, b=SLOWER_FAN, *, order="ABBAAB", effect=0.5, header=None, **more):
    """A trial with its stops an hour apart; B leaves ``effect`` times the machine loss of A."""
    body = {
        "taken_at": "2026-08-12T08:00:00Z",
        "combine": book.ids["Old Bess"],
        "field": book.ids["Long Hollow"],
        "a": USUAL,
        "b": b,
    }
    trial = book.desk.write("trial", body).id
    for place, side in enumerate(order):
        book.check(
            "Old Bess",
            12,
            9 + place,
            machine_kg_ha=40.0 * (effect if side == "B" else 1.0),
            header_kg_ha=header,
            where={"trial": trial, "side": side},
            settings=b if side == "B" else USUAL,
            **more,
        )
    return find_trial(book.desk, trial[:8])


def test_half_the_loss_is_kept(book):
    found = answer_trial(book.desk, tried(book, order="ABBAABBA"))

    assert found.answer.ratio.low < 0.5 < found.answer.ratio.high
    assert found.answer.verdict == "keep B"
    assert found.answer.gain_kg_ha.median == pytest.approx(20.0, abs=5.0)
    # 600 per t: 20 kg are 12.
    assert found.answer.gain_money_per_ha is not None
    assert found.answer.gain_money_per_ha.median == pytest.approx(0.6 * found.answer.gain_kg_ha.median)
    assert found.load_kind == "throughput"
    assert as_json(found)["separable"] is True


def test_twice_the_loss_goes_back(book):
    found = answer_trial(book.desk, tried(book, order="ABBAABBA", effect=2.0))

    assert found.answer.verdict == "go back"
    assert next_step(found).startswith("set A again")


def test_no_difference_is_not_settled(book):
    found = answer_trial(book.desk, tried(book, effect=1.0))

    assert found.answer.verdict == "not settled"
    assert found.answer.ratio.low < 1.0 < found.answer.ratio.high


def test_several_settings_at_once_cannot_be_told_apart(book):
    found = answer_trial(book.desk, tried(book, BOTH))

    assert found.record.changed.names == ("fan speed", "rotor speed")
    assert "fan speed, rotor speed" in about_settings(found)[0]
    assert as_json(found)["separable"] is False


def test_a_setting_that_moved_beside_the_trials_is_named(book):
    record = tried(book)
    book.check(
        "Old Bess",
        12,
        18,
        where={"trial": record.id, "side": "A"},
        settings=[{"name": "rotor speed", "value": 700, "unit": "rpm"}, USUAL[1]],
    )
    found = answer_trial(book.desk, record)

    assert found.other_settings == ("rotor speed",)
    assert any("rotor speed" in text for text in about_settings(found))


def test_sides_at_different_speeds_get_no_verdict(book):
    record = tried(book, order="AAA")
    for hour in (13, 14, 15):
        book.check(
            "Old Bess", 12, hour, speed_kmh=9.0, machine_kg_ha=10.0, where={"trial": record.id, "side": "B"},
            settings=SLOWER_FAN,
        )  # fmt: skip
    found = answer_trial(book.desk, record)

    assert "loads differ" in found.answer.cautions
    assert found.answer.verdict == "not settled"


def test_header_and_the_sum_can_be_compared_where_they_were_seen(book):
    record = tried(book, order="ABBA", header=25.0)

    header = answer_trial(book.desk, record, source="header")
    assert header.answer.ratio.low < 1.0 < header.answer.ratio.high
    both = answer_trial(book.desk, record, source="judged")
    machine = answer_trial(book.desk, record)
    # 25 + 40 against 25 + 20: 0.69, between no change and the machine's half.
    assert machine.answer.ratio.median < both.answer.ratio.median < 0.95
    assert both.left_out == 0


def test_a_loss_no_check_saw_is_refused(book):
    record = tried(book, order="AB")

    with pytest.raises(InputError, match="header"):
        answer_trial(book.desk, record, source="header")
    with pytest.raises(InputError, match="both header and machine"):
        answer_trial(book.desk, record, source="judged")


def test_a_trial_without_checks_says_how_to_log_them(book):
    record = tried(book, order="")

    with pytest.raises(InputError, match=r"no check yet.*--trial"):
        answer_trial(book.desk, record)


def test_one_side_only_is_said(book):
    found = answer_trial(book.desk, tried(book, order="AA"))

    assert "one side only" in found.answer.cautions
    assert found.answer.verdict == "not settled"


def test_trials_are_listed_and_found_by_the_beginning_of_their_id(book):
    record = tried(book, order="AB")

    assert [t.id for t in trials(book.desk)] == [record.id]
    assert trials(book.desk, combine=book.ids["Young Bess"]) == []
    assert record.combine is not None
    assert record.combine.name == "Old Bess"
    for wanted, match in (("abc", "too short"), ("ffffffff", "not in the book")):
        with pytest.raises(InputError, match=match):
            find_trial(book.desk, wanted)


def test_stops_corrected_to_another_combine_or_crop_leave_the_trial(book):
    record = tried(book, order="ABBAAB")
    stops = answer_trial(book.desk, record).points
    moved = stops[0].logged
    replace_check(book.desk, [moved.id], moved.check, reason="wrong machine", where={"combine": book.ids["Young Bess"]})
    other = book.check("Old Bess", 12, 19, crop="wheat", where={"trial": record.id, "side": "A"})
    found = answer_trial(book.desk, record)

    assert found.set_aside == {"another combine": 1, "another crop": 1}
    assert len(found.points) == 5
    assert other not in {p.logged.id for p in found.points}
    said = " ".join(about_stops(found))
    assert "1 stop is filed under another combine" in said
    assert "1 stop is of another crop" in said
    assert as_json(found)["set_aside"] == {"another combine": 1, "another crop": 1}


def test_a_stop_recorded_otherwise_than_its_side_is_left_out(book):
    # Written by a phone that did not ask: both sides at 900 rpm.
    record = tried(book, order="ABBA")
    for point in answer_trial(book.desk, record).points:
        if point.logged.body["side"] == "B":
            replace_check(book.desk, [point.logged.id], point.logged.check, reason="as it was", settings=USUAL)
    found = answer_trial(book.desk, record)

    assert found.set_aside == {"set otherwise": 2}
    assert found.sides == ("A", "A")
    assert found.answer.verdict == "not settled"
    assert any("not their side's" in text for text in about_stops(found))


def test_a_trial_with_no_stop_of_its_own_left_says_why(book):
    record = tried(book, order="A")
    stop = answer_trial(book.desk, record).points[0].logged
    replace_check(book.desk, [stop.id], stop.check, reason="x", where={"combine": book.ids["Young Bess"]})

    with pytest.raises(InputError, match="has no check left: 1 another combine"):
        answer_trial(book.desk, record)


def test_a_stop_moved_to_the_other_side_gets_that_side_s_settings(book):
    record = tried(book, order="A")
    stop = answer_trial(book.desk, record).points[0].logged
    replace_check(book.desk, [stop.id], stop.check, reason="x", where={"trial": record.id, "side": "B"})

    moved = answer_trial(book.desk, record).points[0].logged
    assert {s["name"]: s["value"] for s in moved.body["settings"]} == {"fan speed": 800, "rotor speed": 600}


def test_the_same_setting_in_other_words_is_no_change(book):
    combine = next(t for t in things(book.desk, "combine") if t.name == "Old Bess")
    same = [{"name": "Rotor speed", "value": 600, "unit": "RPM"}, {"name": "Fan speed", "value": 900, "unit": "rpm"}]
    with pytest.raises(InputError, match="is set as A"):
        start_trial(book.desk, combine, USUAL, same)
    one = start_trial(book.desk, combine, USUAL, [same[0], {"name": "Fan speed", "value": 800, "unit": "rpm"}])
    assert one.changed.names == ("fan speed",)
    assert one.b["fan speed"] == "800 rpm"


def test_time_and_few_stops_are_named_before_likeness(book):
    in_time = answer_trial(book.desk, tried(book, order="AABB", effect=0.1))
    assert in_time.answer.verdict == "not settled"
    assert "both ends" in next_step(in_time)
    few = answer_trial(book.desk, tried(book, order="ABA", effect=0.1))
    assert "at least two stops on each side" in next_step(few)
    for found in (in_time, few):
        assert "alike" not in next_step(found)
        assert DRAWN in about_stops(found)
