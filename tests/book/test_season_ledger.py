"""A season of the book summed up: what stands in the sums, what does not, and who may be compared."""

from __future__ import annotations

import pytest

from chaffinch.book.checks.entering import log_check
from chaffinch.book.checks.fields import field_summary
from chaffinch.book.season.ledger import compare, ledger
from chaffinch.book.season.plain_data import as_json
from chaffinch.book.season.said import (
    HEADER_MISSING,
    HEADER_ONLY,
    LEAK_ONLY,
    MACHINE_ONLY,
    doubted_said,
    left_by,
    missing_said,
    other_crops_said,
    pair_said,
)
from chaffinch.book.things import edit_label, find_thing
from chaffinch.errors import InputError
from chaffinch.records.checkfile import check_from_table
from season_book import start


@pytest.fixture
def book(tmp_path):
    return start(tmp_path / "larkhollow.chaffinch")


def summed(book):
    return ledger(book.desk, find_thing(book.desk, "season", "2026"))


def checked(book, field="Long Hollow", *, losses=(28.0, 32.0, 30.0), **more):
    for hour, loss in enumerate(losses):
        book.check("Old Bess", 10, 8 + hour, machine_kg_ha=loss, field=field, **more)


def test_a_wild_check_is_pointed_out_and_hardly_counts(book):
    checked(book, losses=(28.0, 32.0, 30.0, 31.0))
    before = summed(book)
    wild = book.check("Old Bess", 11, 9, machine_kg_ha=3000.0)
    found = summed(book)

    assert doubted_said(before) == []
    assert [check.id for _, check in found.doubted] == [wild]
    told = doubted_said(found)
    assert len(told) == 1
    assert wild[:8] in told[0]
    assert "Long Hollow" in told[0]
    assert as_json(found)["doubted_checks"] == [{"id": wild, "field": book.ids["Long Hollow"]}]
    ours, theirs = found.loss.whole.judged.kg, before.loss.whole.judged.kg
    assert ours.median == pytest.approx(theirs.median, rel=0.08)
    assert ours.high < 1.3 * theirs.high
    # The field's own page knows it too.
    assert field_summary(book.desk, find_thing(book.desk, "field", "Long Hollow")).doubted == (wild,)


def test_two_fields_add_up_to_the_season(book):
    checked(book)
    checked(book, "Far Common", losses=(50.0, 55.0, 45.0))
    found = summed(book)

    assert found.loss is not None
    judged = found.loss.whole.judged
    assert judged is not None
    # 62 ha of about 30 and 40 ha of about 50 kg/ha.
    assert judged.kg.low < 62 * 30 + 40 * 50 < judged.kg.high
    assert judged.area_ha == pytest.approx(102.0)
    assert judged.money is not None
    assert judged.money.median == pytest.approx(judged.kg.median * 0.6)
    assert found.checks == 6


def test_a_field_nobody_checked_is_stated_not_extrapolated(book):
    checked(book)
    found = summed(book)

    assert found.loss is not None
    whole = found.loss.whole
    assert whole.unchecked_ha == pytest.approx(40.0)
    assert whole.judged is not None
    assert whole.judged.area_ha == pytest.approx(62.0)
    assert whole.assumed is not None
    assert whole.assumed.area_ha == pytest.approx(102.0)
    assert as_json(found)["whole"]["judged_on_measured_area"]["area_ha"] == pytest.approx(62.0)


def test_a_field_without_an_area_is_in_no_sum(book):
    book.add("field", "No Papers", season=book.ids["2026"], crop="canola")
    checked(book)
    checked(book, "No Papers")
    found = summed(book)

    assert [one.thing.name for one in found.without_area] == ["No Papers"]
    assert found.checks == 3


def test_checks_under_no_field_are_counted_as_such(book):
    checked(book)
    from chaffinch.book.checks.entering import log_check
    from chaffinch.book.checks.held import checks_where, counting

    check = counting(book.desk, checks_where(book.desk))[0].check
    log_check(book.desk, check, taken_at="2026-08-20T08:00:00Z", where={"season": book.ids["2026"]})

    assert summed(book).unfiled == 1


def test_a_later_price_moves_only_its_own_field(book):
    checked(book)
    checked(book, "Far Common")
    before = as_json(summed(book))
    edit_label(book.desk, find_thing(book.desk, "field", "Far Common"), "price", "900 /t")
    after = as_json(summed(book))
    money = [{f["name"]: f["loss"]["judged"]["money"]["median"] for f in told["fields"]} for told in (before, after)]

    assert money[1]["Long Hollow"] == money[0]["Long Hollow"]
    assert money[1]["Far Common"] == pytest.approx(1.5 * money[0]["Far Common"])
    assert before["program"]


def test_back_only_checks_are_machine_only(book):
    checked(book)
    found = summed(book)

    assert found.loss is not None
    assert found.loss.fields[book.ids["Long Hollow"]].coverage.missing == ("header",)


def test_a_check_of_another_crop_is_remarked_on(book):
    checked(book)
    book.check("Old Bess", 10, 15, crop="wheat")
    found = summed(book)

    assert [dict(one.other_crops) for one in found.fields] == [{"wheat": 1}, {}]
    (said,) = other_crops_said(found)
    assert said.startswith("Long Hollow: 1 check of wheat, the field is of canola")
    assert as_json(found)["checks_of_another_crop"] == {book.ids["Long Hollow"]: {"wheat": 1}}


def only(book, place, field="Long Hollow", **more):
    """A stop with one catch, and nothing of what other catches would show."""
    catch = {"place": place, "amount": "3 g", "step": "0.1 g", **more}
    table = {"crop": "canola", "country": "CA", "price": "600 /t", "yield": "2.5 t/ha", "speed": "6 km/h"}
    table |= {"combine": {"cut_width": "12 m", "drop_width": "1.8 m"}, "catch": [catch]}
    where = {"season": book.ids["2026"], "field": book.ids[field], "combine": book.ids["Old Bess"]}
    log_check(book.desk, check_from_table(table), taken_at="2026-08-27T08:00:00Z", where=where)


def test_the_headline_says_by_what_it_was_lost(book):
    checked(book)
    found = summed(book)
    assert left_by(found) == "machine (header not measured)"
    assert missing_said(found) == [MACHINE_ONLY]

    checked(book, "Far Common", header_kg_ha=20.0)
    found = summed(book)
    assert left_by(found) == "header and machine"
    assert missing_said(found) == [HEADER_MISSING.format(names="Long Hollow")]


def test_a_book_of_header_strips_only_says_so(book):
    only(book, "header strip", pan="1 m2")
    found = summed(book)

    assert left_by(found) == "header (machine not measured)"
    assert missing_said(found) == [HEADER_ONLY]
    told = as_json(found)
    assert (told["machine_only"], told["header_only"]) == (False, True)


def test_a_book_of_leak_catches_only_says_so(book):
    only(book, "leak", time="60 s")
    found = summed(book)

    assert left_by(found) == "a leak (header and machine not measured)"
    assert missing_said(found) == [LEAK_ONLY]
    told = as_json(found)
    assert (told["machine_only"], told["header_only"]) == (False, False)


def test_a_price_in_other_money_than_the_farms_is_not_relabelled(book):
    checked(book)
    edit_label(book.desk, find_thing(book.desk, "field", "Far Common"), "price", "600 €/t")

    with pytest.raises(InputError, match=r"field Far Common, price: is in €, the farm's money in \$"):
        summed(book)
    # Where it was lost is no question of money.
    found = ledger(book.desk, find_thing(book.desk, "season", "2026"), money=False)
    assert found.loss is not None
    assert found.loss.whole.judged is not None
    assert found.loss.whole.judged.money is None


def test_two_currencies_are_not_added(book):
    edit_label(book.desk, find_thing(book.desk, "field", "Far Common"), "price", "€500 /t")
    edit_label(book.desk, find_thing(book.desk, "field", "Long Hollow"), "price", "$600 /t")

    with pytest.raises(InputError, match="two currencies"):
        summed(book)


def test_a_season_without_fields_is_refused(book):
    book.add("season", "2027")

    with pytest.raises(InputError, match="has no field"):
        ledger(book.desk, find_thing(book.desk, "season", "2027"))


def side_by_side(book, *, second=1.0, days=(10, 11), tomas_speed=6.0):
    for day in days:
        for hour in (8, 10, 12):
            book.check("Old Bess", day, hour, machine_kg_ha=30.0, operator="Ann")
            book.check("Young Bess", day, hour, machine_kg_ha=30.0 * second, operator="Tomas", speed_kmh=tomas_speed)


def compared(book, by="combine", **more):
    return compare(book.desk, find_thing(book.desk, "season", "2026"), by=by, **more)


def test_no_difference_is_claimed_where_there_is_none(book):
    side_by_side(book)
    crop, found, left_out = compared(book)

    assert crop == "canola"
    assert left_out == {}
    assert [g.name for g in found.groups] == ["Old Bess", "Young Bess"]
    assert found.pairs[0].claim is None
    assert pair_said(found.pairs[0]).startswith("No difference can be claimed")


def test_a_large_difference_side_by_side_is_claimed(book):
    side_by_side(book, second=3.0)
    _, found, _ = compared(book)

    assert found.pairs[0].claim == "Old Bess"
    assert pair_said(found.pairs[0]).startswith("Old Bess loses less")


def test_more_loss_at_three_times_the_load_is_no_claim(book):
    side_by_side(book, second=3.0, tomas_speed=18.0)
    _, found, _ = compared(book, by="operator")

    assert found.pairs[0].claim is None
    assert "loads do not overlap" in found.pairs[0].why_not


def evening(book, *, ann=(20, 21, 22, 23), tomas=(0, 1, 2, 3)):
    """Ann before midnight of the book's UTC, Tomas after it, on one machine."""
    for hour in ann:
        book.check("Old Bess", 10, hour, machine_kg_ha=20.0, operator="Ann")
    for hour in tomas:
        book.check("Old Bess", 11, hour, machine_kg_ha=60.0, operator="Tomas")


def test_one_evening_is_one_day_whatever_the_zone(book):
    evening(book)
    _, found, _ = compared(book, by="operator")

    assert found.pairs[0].claim == "Ann"
    assert len(found.groups[0].blocks) == 1


def test_two_outings_of_one_utc_day_are_two(book):
    for hour, loss, who in ((0, 20.0, "Ann"), (1, 20.0, "Ann"), (2, 20.0, "Ann"), (18, 60.0, "Tomas"),
                            (19, 60.0, "Tomas"), (20, 60.0, "Tomas")):  # fmt: skip
        book.check("Old Bess", 11, hour, machine_kg_ha=loss, operator=who)
    _, found, _ = compared(book, by="operator")

    assert "never in the same field on the same day" in found.pairs[0].why_not


def test_a_driver_is_not_named_for_what_his_machine_did(book):
    side_by_side(book, second=3.0, days=(10, 11, 12))
    _, found, _ = compared(book, by="operator")

    assert found.pairs[0].claim is None
    assert "the machine's doing" in pair_said(found.pairs[0])
    _, machines, _ = compared(book, by="combine")
    assert machines.pairs[0].claim == "Old Bess"
    assert machines.pairs[0].drivers_apart


def test_never_side_by_side_is_no_claim(book):
    for hour in (8, 10, 12):
        book.check("Old Bess", 10, hour, machine_kg_ha=10.0)
        book.check("Young Bess", 12, hour, machine_kg_ha=60.0, operator="Tomas")
    _, found, _ = compared(book)

    assert found.pairs[0].claim is None
    assert "never in the same field on the same day" in found.pairs[0].why_not


def test_one_driver_alone_leaves_nothing_to_compare(book):
    checked(book)

    with pytest.raises(InputError, match="nothing to compare"):
        compared(book, by="operator")


def test_checks_without_speed_or_of_another_loss_are_counted_out(book):
    side_by_side(book)
    book.check("Old Bess", 10, 14, speed_kmh=None)
    _, _, left_out = compared(book)
    assert left_out == {"tell no speed": 1}

    with pytest.raises(InputError, match="13 that did not see header loss") as refused:
        compared(book, source="header")
    assert "got ''" not in str(refused.value)


def test_after_a_new_check_only_its_field_is_summed_anew(book, monkeypatch):
    """What is kept in memory is what would come out without it; another price or area is another question."""
    from chaffinch.book.checks import field_checks

    checked(book)
    checked(book, "Far Common")
    summed(book)
    plain, names = field_checks.field_loss, []

    def counted(entry, *, seed):
        names.append(entry.name)
        return plain(entry, seed=seed)

    monkeypatch.setattr(field_checks, "field_loss", counted)
    told = []
    ledger(book.desk, find_thing(book.desk, "season", "2026"), progress=lambda *step: told.append(step))
    assert names == []
    assert told[-1] == (6, 6)
    book.check("Old Bess", 12, 9, machine_kg_ha=33.0, field="Far Common")
    found = summed(book)
    assert names == [book.ids["Far Common"]]
    edit_label(book.desk, find_thing(book.desk, "field", "Long Hollow"), "area", "40 ha")
    dearer = summed(book)
    assert names == [book.ids["Far Common"], book.ids["Long Hollow"]]
    assert dearer.loss.whole.judged.area_ha != found.loss.whole.judged.area_ha
    field_checks.summed.cache_clear()
    field_checks.from_check.cache_clear()
    assert summed(book).loss.whole.judged == dearer.loss.whole.judged
