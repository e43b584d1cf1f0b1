"""A thing is found by name, id or the beginning of one, on both databases, and without reading all the others."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from chaffinch.book.checks.entering import log_check
from chaffinch.book.desk import Desk, start_book
from chaffinch.book.things import add_thing, by_ids, edit_label, edits_of, find_thing, named, things, which_thing
from chaffinch.errors import BookError, InputError
from chaffinch.records.checkfile import check_from_table
from chaffinch.store import records
from chaffinch.sync.envelope import seal


@pytest.fixture
def desk(new_address: Callable[[], str]) -> Desk:
    return start_book(new_address(), title="Siskin Bend")


def field(desk: Desk, name: str, **more: str) -> str:
    return add_thing(desk, "field", {"name": name, **more}).id


def test_names_as_they_stand_now(desk: Desk) -> None:
    """The new name finds it, the old one no longer does; the short road agrees with the list of all."""
    ids = [field(desk, f"F{n}") for n in range(30)]
    edit_label(desk, find_thing(desk, "field", "F7"), "name", "Ålesund Mark")
    edit_label(desk, find_thing(desk, "field", "F8"), "name", "F7")

    assert find_thing(desk, "field", "ÅLESUND  mark").id == ids[7]
    assert find_thing(desk, "field", "f7").id == ids[8]
    with pytest.raises(InputError, match="is not in the book"):
        find_thing(desk, "field", "F8")
    for one in things(desk):
        assert named(desk, one.name, "field") == [one]
        assert named(desk, one.name) == [one]
        assert by_ids(desk, [one.id, "nobody", None]) == {one.id: one}
        assert find_thing(desk, "field", one.id) == one
        assert which_thing(desk, None, one.id[:8].upper()).thing == one
    assert [e.value for e in edits_of(desk, ids[7])] == ["Ålesund Mark"]


def test_a_look_up_reads_no_list_of_all(desk: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
    """Finding, editing and adding by name never walk through every record of a kind."""
    for n in range(5):
        field(desk, f"F{n}")
    wanted = find_thing(desk, "field", "F3")

    def walks(*_: object, **__: object) -> None:
        raise AssertionError("walked through all records")

    monkeypatch.setattr(records, "every", walks)
    monkeypatch.setattr(records, "conflicts", walks)
    assert find_thing(desk, "field", "F3").id == wanted.id
    edit_label(desk, wanted, "area", "62 ha")
    assert find_thing(desk, "field", wanted.id[:6]).parts["area"] == "62 ha"
    field(desk, "F9")
    with pytest.raises(InputError, match="is taken"):
        field(desk, "F9")


def test_a_thing_whose_id_is_in_conflict_is_found_as_all_books_show_it(desk: Desk) -> None:
    """Of two records under one id the one with the smaller hash is meant, by its own name alone."""
    first = records.read(desk.store, field(desk, "Mill"))
    assert first is not None
    one = first.envelope
    other = seal(one.id, "field", 1, "phone", one.device_time, {"name": "Pond"})
    assert records.append(desk.store, [other])[0].outcome == "conflict"
    shown, hidden = sorted([one, other], key=lambda e: e.hash)

    assert [t.id for t in named(desk, shown.body["name"], "field")] == [one.id]
    assert named(desk, hidden.body["name"], "field") == []
    assert find_thing(desk, "field", one.id[:8]).name == shown.body["name"]


def test_beginnings_of_ids(desk: Desk) -> None:
    """Four characters do; three, signs that are no digits and what fits several do not."""
    for n in range(3):
        body = {"name": f"F{n}"}
        records.append(desk.store, [seal(f"aaaa{n:04x}-0000-4000-8000-000000000001", "field", 1, "x", "now", body)])
    assert find_thing(desk, "field", "aaaa0001").name == "F1"
    with pytest.raises(InputError, match="several"):
        find_thing(desk, "field", "aaaa")
    for wanted in ("aaa", "aaa%", "zzzz", "____", "aaaa0001-0000-4000-8000-0000000000011"):
        with pytest.raises(InputError, match="is not in the book"):
            find_thing(desk, "field", wanted)
    with pytest.raises(InputError, match="is not in the book"):
        find_thing(desk, "combine", "aaaa0001")


def test_a_damaged_thing_is_named_and_not_passed_over(desk: Desk) -> None:
    """A record that is no JSON any more must not let its name be given away."""
    record = field(desk, "Mill")
    with desk.store.engine.begin() as connection:
        connection.exec_driver_sql(f"UPDATE record SET body = 'rubbish' WHERE id = '{record}'")
    with pytest.raises(BookError, match=record):
        find_thing(desk, "field", "Mill")


def test_a_check_is_filed_under_what_it_is_said_to_be(desk: Desk) -> None:
    """A combine's id for a field, a retired field: refused. A field that has not arrived yet may come."""
    check = check_from_table(
        {
            "crop": "canola",
            "combine": {"cut_width": "12 m", "drop_width": "1.7 m"},
            "catch": [{"place": "discharge", "pan": "0.4 m2", "amount": "12.5 g"}],
        }
    )
    combine = add_thing(desk, "combine", {"name": "Old Wren", "cut_width": "12 m"}).id
    mill = field(desk, "Mill")
    with pytest.raises(InputError, match="is a combine"):
        log_check(desk, check, where={"field": combine})
    edit_label(desk, find_thing(desk, "field", "Mill"), "retired", True)
    with pytest.raises(InputError, match="is retired"):
        log_check(desk, check, where={"field": mill})
    absent = "00000000-0000-4000-8000-000000000009"
    assert log_check(desk, check, where={"field": absent, "combine": combine}).outcome == "accepted"
