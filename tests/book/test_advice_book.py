"""Does the book's advice know its machine: air, load, slope, bar, trials and what people noted?"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from chaffinch.book.advice.advise import AdviceTerms, advise_check, advise_file, last_check, split_of
from chaffinch.book.advice.kept import (
    TAKEN_BACK,
    answers_kept,
    keep_answers,
    keep_tried,
    read_answers,
    read_tried,
    round_of,
    tried_after,
)
from chaffinch.book.advice.own import changes_tried, own_trials
from chaffinch.book.advice.plain_data import as_json
from chaffinch.book.advice.said import gain_said, held_said, own_said, standing_said, trial_command, trial_sides
from chaffinch.book.checks.answer import answer
from chaffinch.book.checks.held import find_check
from chaffinch.book.currency import read_told
from chaffinch.book.desk import open_desk
from chaffinch.book.exchange.merging import merge
from chaffinch.book.keeping import back_up
from chaffinch.book.things import find_thing, things
from chaffinch.book.trials.trial import start_trial
from chaffinch.engine.advice.causes import USUAL, usual_leads
from chaffinch.engine.advice.changes import LEAST_CAUSE
from chaffinch.engine.estimate import range_of
from chaffinch.errors import InputError
from chaffinch.records.checkfile import check_from_table
from chaffinch.reference.advice_read import advice_table
from season_book import SeasonBook, start

FAN = {"name": "fan", "value": 900, "unit": "rpm"}
BLOWN = {"found": "chaff", "chaff": "far"}
MONEY = {"stop_cost_per_h": 250.0, "area_left_ha": 40.0}


@pytest.fixture
def book(tmp_path: Path) -> SeasonBook:
    return start(tmp_path / "larkhollow.chaffinch")


def trial_of(book: SeasonBook, after: float, *, combine: str = "Old Bess") -> str:
    """A trial of a slower fan: A, B, B, A, with B's loss ``after`` times A's."""
    machine = find_thing(book.desk, "combine", combine)
    record = start_trial(book.desk, machine, [FAN], [{**FAN, "value": 850}])
    for hour, side in enumerate("ABBA", start=8):
        setting = [{**FAN, "value": 900 if side == "A" else 850}]
        factor = 1.0 if side == "A" else after
        book.check(
            combine, 12, hour, machine_kg_ha=90.0 * factor, settings=setting,
            where={"trial": record.id, "side": side},
        )  # fmt: skip
    return record.id


def test_a_split_has_the_ranges_of_its_check(book: SeasonBook) -> None:
    for ids in (book.check("Old Bess", 10, 8), book.check("Old Bess", 10, 9, header_kg_ha=40.0)):
        found = answer(find_check(book.desk, ids).check)
        split = split_of(found)
        assert set(split.loss_kg_ha) == set(found.sources)
        for source, draws in split.loss_kg_ha.items():
            order = np.argsort(draws)
            middle = draws[order][np.searchsorted(np.cumsum(split.weights[order]), 0.5)]
            # A step of the grid is 2 %.
            assert middle == pytest.approx(range_of(found.beliefs[source]).median, rel=0.03)


def test_a_check_file_is_advised_without_a_book() -> None:
    check = check_from_table(
        {"crop": "canola", "country": "CA", "yield": "2.5 t/ha", "price": "600 /t",
         "combine": {"cut_width": "12 m", "drop_width": "1.8 m"},
         "catch": [{"place": "discharge", "pan": "0.4 m2", "amount": "60 g", "step": "0.1 g"}]}
    )  # fmt: skip
    found = advise_file(check, AdviceTerms(answers=BLOWN, **MONEY))
    assert found.standing == "change"
    assert found.shown[0].change.key == "fan_down"
    assert found.assumed == ("header",)
    assert found.combine is None
    assert trial_command(found, found.shown[0].change) == ""
    assert trial_sides(found, found.shown[0].change) == ("fan speed=NOW", "fan speed=LESS")
    told = as_json(found)
    assert next(iter(told)) == "cautions"
    assert told["changes"][0]["net_per_ha"]["low"] < told["changes"][0]["expected_net_per_ha"]
    with pytest.raises(InputError, match="is none of ours"):
        advise_file(check, AdviceTerms(answers={"moon": "full"}))


def test_load_bar_and_slope_come_from_the_book(book: SeasonBook) -> None:
    ids = []
    for number, speed in enumerate((4.0, 5.0, 5.0, 6.0, 7.0, 8.0, 8.0, 9.0)):
        # Loss rises steeply with speed on this machine.
        ids.append(book.check("Old Bess", 10 + number, 8, speed_kmh=speed, machine_kg_ha=8.0 * (speed / 4.0) ** 2.5))
        book.bar("Old Bess", ids[-1], 10 + number, 8, 2.0 if number < 7 else 6.0)
    logged = find_check(book.desk, ids[-1])
    found = advise_check(book.desk, logged, AdviceTerms(answers={"when": "full"}, hour_cost=300.0, **MONEY))
    assert found.by_itself["load"] == "heavy"
    assert found.by_itself["slope"] == "rises"
    assert found.by_itself["bar"] == "high"
    assert "header_slope" not in found.by_itself
    assert found.belief.leading[0].key == "load"
    assert "slower" in [one.change.key for one in found.worth]
    without = advise_check(book.desk, logged, AdviceTerms(answers={"when": "full"}, **MONEY))
    assert "slower" not in [one.change.key for one in without.worth]
    assert [h.kept_back for h in without.held if h.change.key == "slower"] == ["no hour cost"]
    assert any("--hour-cost" in text for text in held_said(without))


def test_a_machine_whose_loss_does_not_rise_is_not_told_to_slow_down(book: SeasonBook) -> None:
    for number, speed in enumerate((4.0, 5.0, 6.0, 7.0, 8.0, 9.0)):
        last = book.check("Old Bess", 10 + number, 8, speed_kmh=speed, machine_kg_ha=90.0 * (4.0 / speed) ** 0.8)
    found = advise_check(
        book.desk, find_check(book.desk, last), AdviceTerms(answers={"when": "full", "seat": "heavy"}, hour_cost=1.0)
    )
    assert found.by_itself["slope"] == "flat"
    assert not {"slower", "slower_header"} & {one.change.key for one in found.worth}


def test_a_step_against_header_loss_is_held_back_by_the_header_curve_in_words_too(book: SeasonBook) -> None:
    """Machine loss rises with load and header loss does not: no page may mix them up."""
    for number, speed in enumerate((4.0, 5.0, 6.0, 7.0, 8.0, 9.0)):
        last = book.check(
            "Old Bess", 10 + number, 8, speed_kmh=speed, machine_kg_ha=8.0 * (speed / 4.0) ** 2.5,
            header_kg_ha=60.0 * (4.0 / speed) ** 0.5,
        )  # fmt: skip
    found = advise_check(book.desk, find_check(book.desk, last), AdviceTerms(hour_cost=1.0))
    assert (found.by_itself["slope"], found.by_itself["header_slope"]) == ("rises", "flat")
    why = {one["change"]: one["why"] for one in as_json(found)["held"]}
    assert why["slower_header"] == "this machine's own checks do not say that its header loss rises with speed"
    assert not [text for text in held_said(found) if "do not say that its loss" in text]


def test_air_and_settings_come_with_the_check(book: SeasonBook) -> None:
    from chaffinch.book.checks.entering import log_check

    table = {
        "crop": "canola", "country": "CA", "yield": "2.5 t/ha", "price": "600 /t",
        "combine": {"cut_width": "12 m", "drop_width": "1.8 m"},
        "catch": [{"place": "discharge", "pan": "0.4 m2", "amount": "60 g", "step": "0.1 g"}],
    }  # fmt: skip
    ids = log_check(
        book.desk, check_from_table(table), taken_at="2026-08-20T10:00:00Z", where={"combine": book.ids["Old Bess"]},
        settings=[FAN], conditions={"humidity_pct": 22.0},
    ).id  # fmt: skip
    found = advise_check(book.desk, find_check(book.desk, ids), AdviceTerms(answers=BLOWN, **MONEY))
    assert found.by_itself["air"] == "dry"
    # 5 % of 900 rpm is 45, to the ten below or above.
    assert trial_sides(found, advice_table().change("fan_down")) == ("fan=900 rpm", "fan=860 rpm")  # type: ignore[arg-type]
    assert '--a "fan=900 rpm" --b "fan=860 rpm"' in trial_command(found, found.shown[0].change)


def test_answers_are_kept_beside_the_check_and_a_later_note_stands_over_an_earlier(book: SeasonBook) -> None:
    ids = book.check("Old Bess", 10, 8)
    keep_answers(book.desk, ids, {"found": "straw", "when": "full"})
    keep_answers(book.desk, ids, {"found": "chaff"})
    assert answers_kept(book.desk, {ids}) == {"found": "chaff", "when": "full"}
    found = advise_check(book.desk, find_check(book.desk, ids), AdviceTerms(answers={"when": "thin"}))
    assert {k: found.situation.answers[k] for k in ("found", "when")} == {"found": "chaff", "when": "thin"}
    with pytest.raises(InputError, match="is no answer of ours"):
        keep_answers(book.desk, ids, {"found": "moon"})
    with pytest.raises(InputError, match="are none"):
        keep_answers(book.desk, ids, {})


def test_the_same_answers_are_kept_once_and_what_is_taken_back_counts_no_more(book: SeasonBook) -> None:
    ids = book.check("Old Bess", 10, 8)
    first = keep_answers(book.desk, ids, {"found": "straw", "when": "full"})
    again = keep_answers(book.desk, ids, {"when": "full", "found": "straw"})
    assert (first.how, again.how, again.note) == ("kept", "known", None)
    assert keep_answers(book.desk, ids, {"when": "full", "chaff": "far"}).how == "kept"
    assert keep_answers(book.desk, ids, {"chaff": TAKEN_BACK, "found": "chaff"}).how == "changed"
    assert keep_answers(book.desk, ids, {"chaff": TAKEN_BACK}).how == "known"
    assert answers_kept(book.desk, {ids}) == {"found": "chaff", "when": "full"}
    texts = [note.parts["text"] for note in things(book.desk, "note")]
    assert texts == [
        "Advice answers: found = straw; when = full",
        "Advice answers: chaff = far",
        "Advice answers: chaff = taken back; found = chaff; round = 2",
    ]
    # What was taken back and is answered again stands over the taking back.
    assert keep_answers(book.desk, ids, {"chaff": "none"}).how == "kept"
    assert answers_kept(book.desk, {ids}) == {"found": "chaff", "when": "full", "chaff": "none"}
    assert round_of(things(book.desk, "note")[-1].parts["text"]) == 3
    found = advise_check(book.desk, find_check(book.desk, ids), AdviceTerms(answers={"found": TAKEN_BACK}))
    assert "found" not in found.situation.answers
    assert found.situation.answers["when"] == "full"


def test_two_books_made_equal_hold_the_same_answers_whatever_order_notes_came_in(tmp_path: Path) -> None:
    """Two people answer the same question each in his own book; then one of them changes his mind."""
    home = start(tmp_path / "home.chaffinch")
    ids = home.check("Old Bess", 10, 8)
    back_up(home.desk, str(tmp_path / "field.chaffinch"))
    field = open_desk(str(tmp_path / "field.chaffinch"))
    for at, (one, other) in enumerate([("straw", "chaff"), ("chaff", "straw")]):
        keep_answers(home.desk, ids, {"found": one})
        keep_answers(field, ids, {"found": other})
        merge(home.desk, field)
        assert answers_kept(home.desk, {ids}) == answers_kept(field, {ids}), at
    changed = {"straw": "all", "chaff": "all"}[answers_kept(field, {ids})["found"]]
    keep_answers(field, ids, {"found": changed})
    merge(home.desk, field)
    assert answers_kept(home.desk, {ids}) == answers_kept(field, {ids}) == {"found": "all"}
    field.store.close()


def test_notes_of_people_are_left_alone() -> None:
    assert read_answers("The fan rattles: found = chaff") == {}
    assert read_answers("Advice answers: found = chaff; moon = full; when=") == {"found": "chaff"}
    assert read_tried("Advice tried: fan_down; helped") == ("fan_down", "helped")
    assert read_tried("Advice tried: fan_down; perhaps") is None
    assert read_tried("Advice tried: hammer; helped") is None


def test_a_trial_of_one_setting_is_the_change_it_made(book: SeasonBook) -> None:
    machine = find_thing(book.desk, "combine", "Old Bess")
    made = {
        "fan_down": ([FAN], [{**FAN, "value": 850}]),
        "fan_up": ([FAN], [{**FAN, "value": 950}]),
        "rotor_up": ([{"name": "Drum", "value": 500, "unit": "rpm"}], [{"name": "Drum", "value": 520, "unit": "rpm"}]),
        # Driving slower is a step against load and one against header loss; a trial of it speaks of both.
        "slower_header, slower": (
            [{"name": "speed", "value": 6, "unit": "km/h"}],
            [{"name": "speed", "value": 5.5, "unit": "km/h"}],
        ),
        "stripper_faster, keep_loaded": (
            [{"name": "speed", "value": 6, "unit": "km/h"}],
            [{"name": "speed", "value": 7, "unit": "km/h"}],
        ),
        "": ([FAN, {"name": "concave", "value": 20}], [{**FAN, "value": 850}, {"name": "concave", "value": 18}]),
    }
    for key, (a, b) in made.items():
        changes = changes_tried(start_trial(book.desk, machine, a, b))
        assert ", ".join(one.key for one in changes) == key


def test_own_trials_outweigh_the_table_and_two_idle_ones_drop_the_change(book: SeasonBook) -> None:
    terms = AdviceTerms(answers=BLOWN, **MONEY)
    worse = book.check("Old Bess", 10, 8, machine_kg_ha=90.0)
    before = advise_check(book.desk, find_check(book.desk, worse), terms)
    assert before.shown[0].change.key == "fan_down"
    trial_of(book, 1.0)
    machine = find_thing(book.desk, "combine", "Old Bess")
    found = own_trials(book.desk, machine, "canola")
    assert [(t.change, t.without_effect) for t in found] == [("fan_down", True)]
    once = advise_check(book.desk, find_check(book.desk, worse), terms)
    of = {o.change.key: o for o in once.worth}
    assert "fan_down" not in of or of["fan_down"].net < 0.5 * before.shown[0].net
    keep_tried(book.desk, worse, "fan_down", "without effect")
    assert [t.outcome for t in tried_after(book.desk, {worse})] == ["without effect"]
    twice = advise_check(book.desk, find_check(book.desk, worse), terms)
    assert "fan_down" not in [o.change.key for o in twice.worth]
    assert [h.kept_back for h in twice.held if h.change.key == "fan_down"] == ["tried twice without effect"]
    # Another machine's trials are its own.
    young = book.check("Young Bess", 10, 8, machine_kg_ha=90.0)
    assert advise_check(book.desk, find_check(book.desk, young), terms).shown[0].change.key == "fan_down"


def test_what_was_tried_must_be_a_change_with_an_outcome(book: SeasonBook) -> None:
    ids = book.check("Old Bess", 10, 8)
    with pytest.raises(InputError, match="hammer"):
        keep_tried(book.desk, ids, "hammer", "helped")
    with pytest.raises(InputError, match="outcome"):
        keep_tried(book.desk, ids, "fan_down", "perhaps")


def test_the_last_check_of_a_combine_is_found_by_crop(book: SeasonBook) -> None:
    machine = find_thing(book.desk, "combine", "Old Bess")
    with pytest.raises(InputError, match="has no check yet"):
        last_check(book.desk, machine, None)
    wheat = book.check("Old Bess", 10, 8, crop="wheat")
    canola = book.check("Old Bess", 11, 8)
    assert last_check(book.desk, machine, None).id == canola
    assert last_check(book.desk, machine, "wheat").id == wheat
    with pytest.raises(InputError, match="in pea yet"):
        last_check(book.desk, machine, "pea")


def test_letters_are_spelled_out() -> None:
    check = check_from_table(
        {"crop": "canola", "country": "CA", "yield": "2.5 t/ha", "price": "600 /t",
         "combine": {"cut_width": "12 m", "drop_width": "1.8 m"},
         "catch": [{"place": "discharge", "pan": "0.4 m2", "amount": "60 g", "step": "0.1 g"}]}
    )  # fmt: skip
    told = as_json(advise_file(check, AdviceTerms(answers={**BLOWN, "sieve": "bare"}, **MONEY)))
    letters = {one.partition(":")[0] for one in told["sources"]}
    cited = {s for c in told["changes"] for e in (*c["helps"], *c["spoils"]) for s in e["origin"]["sources"]}
    assert cited <= letters
    assert all(" (" in one for one in told["sources"])


def test_what_only_check_and_book_can_say_is_no_answer_of_a_person(book: SeasonBook) -> None:
    """Else anybody could open the gate of "slower", and the page would say that this machine's own checks did."""
    ids = book.check("Old Bess", 10, 8)
    logged = find_check(book.desk, ids)
    for key, told in (("slope", "rises"), ("header_slope", "rises"), ("load", "heavy"), ("bar", "high")):
        with pytest.raises(InputError, match=rf"question: is answered by check and book alone \(got '{key}'\)"):
            advise_check(book.desk, logged, AdviceTerms(answers={key: told}, hour_cost=1.0))
        with pytest.raises(InputError, match="check and book alone"):
            keep_answers(book.desk, ids, {"found": "chaff", key: told})
        assert read_answers(f"Advice answers: found = chaff; {key} = {told}") == {"found": "chaff"}
    assert answers_kept(book.desk, {ids}) == {}


def test_a_step_that_was_made_since_its_trial_is_no_reason_for_a_further_one(book: SeasonBook) -> None:
    machine = find_thing(book.desk, "combine", "Old Bess")
    trial_of(book, 0.4)
    before = own_trials(book.desk, machine, "canola")
    assert [(t.change, t.without_effect) for t in before] == [("fan_down", False)]
    for stands, counts in ((900, True), (860, True), (850, False), (820, False)):
        now = [{**FAN, "value": stands}]
        assert bool(own_trials(book.desk, machine, "canola", now=now)) is counts
    assert own_trials(book.desk, machine, "canola", now=[{"name": "fan", "value": 14, "unit": "/s"}]) == before


def test_a_trial_that_did_not_help_counts_wherever_the_setting_stands(book: SeasonBook) -> None:
    machine = find_thing(book.desk, "combine", "Old Bess")
    trial_of(book, 1.0)
    for stands in (900, 850, 800):
        (one,) = own_trials(book.desk, machine, "canola", now=[{**FAN, "value": stands}])
        assert one.without_effect


def test_what_trials_and_notes_of_a_step_say_is_told_and_a_note_is_no_figure(book: SeasonBook) -> None:
    ids = book.check("Old Bess", 10, 8, machine_kg_ha=90.0)
    terms = AdviceTerms(answers=BLOWN, **MONEY)
    first = advise_check(book.desk, find_check(book.desk, ids), terms).shown[0]
    assert own_said(first) == []
    keep_tried(book.desk, ids, "fan_down", "made it worse")
    noted = next(
        one for one in advise_check(book.desk, find_check(book.desk, ids), terms).worth if one.change.key == "fan_down"
    )
    assert (noted.own_trials, noted.own_notes, noted.net) == (0, 1, first.net)
    assert own_said(noted) == ["A note says that it did not help on this machine; a second one takes it off the list."]
    trial_of(book, 0.5)
    tried = advise_check(book.desk, find_check(book.desk, ids), terms).worth[0]
    assert own_said(tried)[0] == "1 trial of it on this machine is in these figures."


def test_no_step_is_proposed_whose_causes_are_unlikely() -> None:
    """A step without a price may gain by a cause of 7 % what the leading one's does not: that would be a guess."""
    split = {"crop": "canola", "country": "CA", "yield": "2.5 t/ha", "price": "600 /t",
             "combine": {"cut_width": "12 m", "drop_width": "1.8 m"},
             "catch": [{"place": "discharge", "pan": "0.4 m2", "amount": "30 g", "step": "0.1 g"}]}  # fmt: skip
    check, found_some = check_from_table(split), 0
    for answers in (
        {"found": "heads", "air": "middling", "returns": "heads", "when": "always"},
        {"seat": "none", "returns": "little", "straw": "tough", "tank": "green"},
        {"seat": "heavy", "chaff": "side", "sieve": "trash", "changed": "speed"},
        {"returns": "heads", "crop": "lodged", "sieve": "layer", "found": "heads"},
        {"chaff": "none", "tank": "heads", "sieve": "layer", "monitor": "straw"},
        {"when": "full", "harder": "not", "tank": "clean", "strip": "ragged"},
    ):
        for machine in ("rotor", "walker"):
            found = advise_file(check, AdviceTerms(answers=answers, machine=machine))
            assert all(one.p_cause >= LEAST_CAUSE for one in found.worth)
            found_some += len(found.shown)
    assert found_some


@pytest.mark.parametrize(
    ("change", "stands", "then"),
    [
        ("cut_higher", (20, "cm"), "cutting height=30 cm"),
        ("cut_higher", (8, "in"), "cutting height=12 in"),
        ("cut_higher", (200, "mm"), "cutting height=300 mm"),
        ("cut_lower", (20, "cm"), "cutting height=16 cm"),
        ("cut_lower", (8, "in"), "cutting height=6.5 in"),
    ],
)
def test_a_ready_made_trial_makes_the_step_that_is_told(
    book: SeasonBook, change: str, stands: tuple[float, str], then: str
) -> None:
    """The page said "a hand's breadth", and the trial beside it 2 cm."""
    setting = {"name": "cutting height", "value": stands[0], "unit": stands[1]}
    ids = book.check("Old Bess", 10, 8, settings=[setting])
    found = advise_check(book.desk, find_check(book.desk, ids), AdviceTerms())
    assert trial_sides(found, advice_table().change(change))[1] == then  # type: ignore[arg-type,index]


def test_the_reason_to_leave_the_settings_is_the_one_that_holds() -> None:
    """Where the usual leads with less than a half, steps may pay all the same: that none does would be untrue."""
    table = {
        "crop": "wheat",
        "yield": "4 t/ha",
        "price": "250 /t",
        "combine": {"cut_width": "12 m", "drop_width": "1.8 m"},
    }
    seen = set()
    for grams in (2, 4, 6, 8, 10, 14):
        catch = [{"place": "discharge", "pan": "0.4 m2", "amount": f"{grams} g", "step": "0.1 g"}] * 3
        for answers in (
            {},
            {"monitor": "quiet"},
            {"monitor": "quiet", "found": "all"},
            {"monitor": "quiet", "tank": "clean"},
        ):
            found = advise_file(check_from_table({**table, "catch": catch}), AdviceTerms(answers=answers))
            if found.standing != "nothing":
                continue
            leads = usual_leads(advice_table(), found.belief)
            assert ("usual in this crop" in standing_said(found)) is leads
            assert leads or not found.worth
            seen.add((leads, found.belief.of(USUAL) >= 0.5, bool(found.worth)))
            assert ("most likely" in standing_said(found)) is (leads and found.belief.of(USUAL) < 0.5)
    assert any(leads and not half for leads, half, _ in seen)


def test_a_check_file_in_one_currency_is_not_weighed_with_another() -> None:
    check = check_from_table(
        {"crop": "canola", "country": "CA", "yield": "2.5 t/ha", "price": "$600 /t",
         "combine": {"cut_width": "12 m", "drop_width": "1.8 m"},
         "catch": [{"place": "discharge", "pan": "0.4 m2", "amount": "60 g", "step": "0.1 g"}]}
    )  # fmt: skip
    stop = read_told("€250 /h", "money_rate", field="--stop-cost")
    with pytest.raises(InputError, match=r"--stop-cost: is in €, check, price in \$"):
        advise_file(check, AdviceTerms(money=[stop], **MONEY))
    dear = read_told("€550 /t", "price", field="--price")
    found = advise_file(check, AdviceTerms(price_per_t=550.0, money=[dear, stop], answers=BLOWN, **MONEY))
    assert (found.price_per_t, found.currency) == (550.0, "€")
    # A price in euros is not told with the dollars of the check's own.
    assert "expected €" in gain_said(found, found.shown[0])


def test_a_step_noted_twice_after_one_check_was_tried_once(book: SeasonBook) -> None:
    """A second press of a button takes no step off the list; a second check does."""
    ids = book.check("Old Bess", 10, 8, machine_kg_ha=90.0)
    machine = find_thing(book.desk, "combine", "Old Bess")
    first = keep_tried(book.desk, ids, "fan_down", "without effect")
    assert keep_tried(book.desk, ids, "fan_down", "without effect") == first
    assert len(things(book.desk, "note")) == 1
    keep_tried(book.desk, ids, "fan_down", "made it worse")
    assert [(t.change, t.without_effect) for t in own_trials(book.desk, machine, "canola")] == [("fan_down", True)]
    keep_tried(book.desk, ids, "fan_down", "helped")
    assert [t.without_effect for t in own_trials(book.desk, machine, "canola")] == [False]
    for number in (11, 12):
        keep_tried(book.desk, book.check("Old Bess", number, 8), "fan_down", "without effect")
    found = advise_check(book.desk, find_check(book.desk, ids), AdviceTerms(answers=BLOWN, **MONEY))
    assert [h.kept_back for h in found.held if h.change.key == "fan_down"] == ["tried twice without effect"]
