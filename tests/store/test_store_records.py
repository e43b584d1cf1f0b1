"""The same store tests on SQLite and on PostgreSQL: putting records in, getting them out."""

from __future__ import annotations

import json
from collections.abc import Callable
from itertools import permutations

import pytest
import sqlalchemy as sa
from farm_records import (
    FIELD,
    NOW,
    again,
    begin,
    check,
    clock,
    correction,
    edit,
    farm,
    full,
    identities,
    problems,
    put,
    sealed,
    uid,
)

from chaffinch.book import things
from chaffinch.book.checks import held as checks
from chaffinch.book.desk import Desk
from chaffinch.errors import BookError, InputError
from chaffinch.store import opening, records
from chaffinch.store.migrations import MIGRATIONS, NEWEST
from chaffinch.sync.accept import Receipt, confirms, open_batch
from chaffinch.sync.envelope import Envelope, seal

NewAddress = Callable[[], str]
NewBook = Callable[[list[Envelope]], opening.Store]


def labels(store: opening.Store) -> dict[tuple[str, str], object]:
    with store.reading() as connection:
        rows = connection.execute(sa.text("SELECT target, field, value FROM label")).all()
    return {(row.target, row.field): json.loads(row.value) for row in rows}


def test_a_new_book_is_empty_and_whole(new_address: NewAddress) -> None:
    address = new_address()
    begin(address)
    store = again(address)
    assert records.facts(store) == {"id": uid(999), "title": "Larkhollow", "started": NOW}
    assert identities(store) == []
    assert records.conflicts(store) == []
    assert problems(store) == ()


def test_every_step_is_noted_once(new_address: NewAddress) -> None:
    address = new_address()
    begin(address)
    again(address)
    with again(address).reading() as connection:
        noted = connection.execute(sa.text("SELECT number, name, program FROM migration ORDER BY number")).all()
    assert [tuple(row) for row in noted] == [(m.number, m.name, "test") for m in MIGRATIONS]
    assert noted[-1].number == NEWEST


def test_a_book_is_not_started_where_one_is(new_address: NewAddress) -> None:
    address = new_address()
    store = begin(address, farm())
    before = identities(store)
    with pytest.raises(InputError, match="already"):
        begin(address)
    assert identities(again(address)) == before


def test_what_was_put_in_comes_out_in_order(new_address: NewAddress) -> None:
    address = new_address()
    items = farm() + [check(n, mass_g=n / 10) for n in range(100, 120)]
    store = begin(address)
    receipts = records.append(store, items)
    assert receipts == [Receipt(e.id, e.hash, "accepted") for e in items]
    assert all(confirms(r, e) for r, e in zip(receipts, items, strict=True))
    found = list(records.every(again(address), batch=7))
    assert [s.envelope for s in found] == items
    assert [s.seq for s in found] == sorted({s.seq for s in found})
    assert {s.arrived for s in found} == {NOW}


def test_reading_by_id_kind_and_place(new_book: NewBook) -> None:
    store = new_book(full())
    one = records.read(store, uid(10))
    assert one is not None
    assert one.envelope == check(10, mass_g=12.5, hour=9)
    assert records.read(store, uid(404)) is None
    several = records.read_many(store, [uid(10), uid(404), uid(13), uid(10)])
    assert sorted(several) == [uid(10), uid(13)]
    assert [s.envelope.id for s in records.every(store, kind="edit")] == [uid(20), uid(21), uid(22)]
    later = [s.envelope.id for s in records.every(store, after=one.seq, kind="check")]
    assert later == [uid(11), uid(12), uid(13)]


def test_more_ids_than_one_query_takes(new_book: NewBook) -> None:
    many = [sealed(n, "note", {"text": f"remark {n}"}) for n in range(1000, 1000 + 2 * records.AT_ONCE + 3)]
    store = new_book(many)
    assert set(put(store, many)) == {"known"}
    assert len(records.read_many(store, [e.id for e in many])) == len(many)
    assert len(identities(store)) == len(many)


def test_delivered_twice_is_kept_once(new_book: NewBook) -> None:
    store = new_book(farm())
    one = check(10)
    assert put(store, [one]) == ["accepted"]
    assert put(store, [one]) == ["known"]
    assert put(store, [one, one]) == ["known", "known"]
    assert put(store, [check(11), check(11)]) == ["accepted", "known"]
    assert [i for i, _ in identities(store)] == [*(uid(n) for n in range(1, 5)), uid(10), uid(11)]
    assert problems(store) == ()


def test_same_id_other_content_keeps_both_and_counts_neither(new_book: NewBook) -> None:
    store = new_book(farm())
    first, second, third = check(10, mass_g=1.0), check(10, mass_g=2.0), check(10, mass_g=3.0)
    assert put(store, [first]) == ["accepted"]
    receipt = records.append(store, [second])[0]
    assert receipt.outcome == "conflict"
    assert not confirms(receipt, second)
    assert put(store, [third, first, second]) == ["conflict", "known", "known"]
    kept = records.read(store, uid(10))
    assert kept is not None
    assert kept.envelope == first
    assert {s.envelope.hash for s in records.conflicts(store)} == {second.hash, third.hash}
    assert checks.counting(Desk(store, "desk"), [uid(10)]) == []
    assert problems(store) == ()


def test_conflict_within_one_batch(new_book: NewBook) -> None:
    store = new_book(farm())
    assert put(store, [check(10, mass_g=1.0), check(10, mass_g=2.0)]) == ["accepted", "conflict"]
    assert problems(store) == ()


def test_one_bad_record_does_not_stop_the_others(new_book: NewBook) -> None:
    store = new_book(farm())
    bad = seal(uid(11), "check", 1, "phone", NOW, {"taken_at": "yesterday", "check": {"crop": "canola"}})
    torn = check(12).as_dict() | {"device": "another"}
    newer = seal(uid(13), "check", 2, "phone", NOW, dict(check(13).body))
    unknown = seal(uid(14), "tractor", 1, "phone", NOW, {"name": "x"})
    batch = open_batch([check(10).as_dict(), bad.as_dict(), torn, "nonsense", newer.as_dict(), unknown.as_dict()])
    batch += [check(15)]
    receipts = records.append(store, batch)
    assert [r.outcome for r in receipts] == ["accepted", *["refused"] * 5, "accepted"]
    assert [r.id for r in receipts] == [uid(10), uid(11), uid(12), "", uid(13), uid(14), uid(15)]
    for receipt, word in zip(receipts[1:6], ["time in UTC", "does not fit", "no table", "newer", "kind"], strict=True):
        assert word in receipt.reason
    assert [i for i, _ in identities(store)][4:] == [uid(10), uid(15)]
    assert problems(store) == ()


def test_text_a_database_cannot_hold_is_refused_alone(new_book: NewBook) -> None:
    store = new_book(farm())
    sound = check(10).as_dict()
    unsealed = {k: sound[k] for k in sound if k != "hash"} | {"id": uid(11), "device": "pho\x00ne"}
    from chaffinch.sync.envelope import content_hash

    torn = unsealed | {"hash": content_hash(unsealed)}
    receipts = records.append(store, open_batch([sound, torn, check(12).as_dict()]))
    assert [r.outcome for r in receipts] == ["accepted", "refused", "accepted"]


def test_numbers_keep_their_value_and_hash(new_book: NewBook) -> None:
    """A number that JSON writes without a point comes back as a whole one; the hash must not care."""
    values = [1.0, -0.0, 0.1 + 0.2, 1e16, 1e20, 1e21, 5e-324, 2**53 - 1, 123456789012345680000.0]
    body = {
        "taken_at": NOW,
        "combine": uid(3),
        "a": [{"name": f"n{i}", "value": v} for i, v in enumerate(values)],
        "b": [],
    }
    store = new_book(farm())
    assert put(store, [sealed(10, "trial", body)]) == ["accepted"]
    found = records.read(store, uid(10))
    assert found is not None
    assert [float(s["value"]) for s in found.envelope.body["a"]] == values
    assert problems(store) == ()
    assert [type(i) for i in open_batch([found.envelope.as_dict()])] == [Envelope]


def test_text_of_every_script_survives(new_book: NewBook) -> None:
    text = "Größe 小麦 \U0001f33e \u2028 e\u0301 \\ \" ' ; -- {} %s :name \t\n/"
    store = new_book([*farm(), edit(20, text, 1), sealed(21, "note", {"text": text, "of": uid(FIELD)})])
    assert labels(store) == {(uid(FIELD), "note"): text}
    found = records.read(store, uid(21))
    assert found is not None
    assert found.envelope.body["text"] == text
    assert problems(store) == ()


EDITS = [
    edit(20, "first", 1),
    edit(21, "second", 2),
    edit(22, "also second, greater id", 2),
    edit(23, None, 1, field="area"),
]


@pytest.mark.parametrize("order", list(permutations(range(4)))[::5])
def test_the_label_that_holds_does_not_depend_on_arrival(new_book: NewBook, order: tuple[int, ...]) -> None:
    wanted = {(uid(FIELD), "note"): "also second, greater id", (uid(FIELD), "area"): None}
    at_once, one_by_one = new_book(farm()), new_book(farm())
    put(at_once, [EDITS[i] for i in order])
    for i in order:
        put(one_by_one, [EDITS[i]])
    assert labels(at_once) == wanted
    assert labels(one_by_one) == wanted
    assert problems(at_once) == ()


def test_correction_before_its_original(new_book: NewBook) -> None:
    store = new_book(farm())
    put(store, [correction(11, [10])])
    desk = Desk(store, "desk")
    assert [c.id for c in checks.counting(desk, [uid(11)])] == [uid(11)]
    put(store, [check(10)])
    for asked in (10, 11):
        (one,) = checks.counting(desk, [uid(asked)])
        assert one.id == uid(11)
        assert one.versions.root == uid(10)
    assert problems(store) == ()


def test_two_corrections_of_one_check_disagree_until_a_third(new_book: NewBook) -> None:
    store = new_book([*farm(), check(10), correction(12, [10]), correction(11, [10], mass_g=8.0)])
    desk = Desk(store, "desk")
    (one,) = checks.counting(desk, [uid(10)])
    assert one.id == uid(12)
    assert one.versions.disagree
    put(store, [correction(13, [11, 12], mass_g=10.0)])
    (one,) = checks.counting(desk, [uid(10), uid(11), uid(12)])
    assert one.id == uid(13)
    assert not one.versions.disagree


def test_a_check_is_found_by_the_beginning_of_its_id(new_book: NewBook) -> None:
    """Also where the server sorts text as people do, not byte by byte."""
    numbers = (0xABCD0001, 0xABCE0001, 0xABCE0002, 0x12345678)
    desk = Desk(new_book([*farm(), *map(check, numbers)]), "desk")
    assert checks.find_check(desk, "abcd").id == uid(0xABCD0001)
    assert checks.find_check(desk, "123456").id == uid(0x12345678)
    assert checks.find_check(desk, uid(0xABCE0002)).id == uid(0xABCE0002)
    with pytest.raises(InputError, match="several"):
        checks.find_check(desk, "abce")
    for none in ("abcf", "abc~", "%%%%", "abcd0001-1"):
        with pytest.raises(InputError, match="not in the book"):
            checks.find_check(desk, none)


def test_a_record_of_another_kind_does_not_replace_a_check(new_book: NewBook) -> None:
    stray = sealed(
        11, "weather", {"taken_at": NOW, "conditions": {"humidity_pct": 60}, "replaces": [uid(10)], "reason": "slip"}
    )
    store = new_book([*farm(), check(10), stray])
    assert [c.id for c in checks.counting(Desk(store, "desk"), [uid(10)])] == [uid(10)]


def test_conflicting_edits_hold_on_neither_book(new_book: NewBook) -> None:
    one, other = edit(20, "here", 3), edit(20, "there", 3)
    under = edit(19, "agreed", 2)
    for order in ([under, one, other], [other, one, under], [one, under, other]):
        store = new_book(farm())
        for item in order:
            put(store, [item])
        assert labels(store) == {(uid(FIELD), "note"): "agreed"}
        assert problems(store) == ()


def test_conflicting_corrections_count_on_neither_book(new_book: NewBook) -> None:
    replaces, does_not = correction(11, [10]), check(11, mass_g=3.0)
    for order in ([check(10), replaces, does_not], [does_not, replaces, check(10)]):
        store = new_book(farm())
        for item in order:
            put(store, [item])
        assert [c.id for c in checks.counting(Desk(store, "desk"), [uid(10), uid(11)])] == [uid(10)]
        assert problems(store) == ()


def test_conflicting_things_look_the_same_on_both_books(new_book: NewBook) -> None:
    here, there = (sealed(50, "operator", {"name": n}) for n in ("Wren", "Robin"))
    one, other = new_book([here, there]), new_book([there, here])
    seen = [[(t.id, t.name) for t in things.things(Desk(s, "desk"), "operator")] for s in (one, other)]
    assert seen[0] == seen[1]


def test_a_failed_write_leaves_nothing(new_address: NewAddress, monkeypatch: pytest.MonkeyPatch) -> None:
    address = new_address()
    store = begin(address, farm())
    before = identities(store)
    add = records.indexes.add

    def break_late(connection: sa.Connection, *rest: object) -> None:
        add(connection, *rest)
        connection.execute(sa.text("INSERT INTO correction (new_id, old_id) VALUES ('nowhere', 'nothing')"))

    monkeypatch.setattr(records.indexes, "add", break_late)
    with pytest.raises(BookError, match=r"(?i)foreign key"):
        records.append(store, [check(10), check(11)])
    monkeypatch.undo()
    assert identities(again(address)) == before
    assert problems(store) == ()
    assert opening.open_book(address, clock=clock, program="test").is_file == (not address.startswith("postgresql"))
