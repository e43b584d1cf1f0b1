"""Verify finds what was planted; rebuild mends what follows from the records, and only that."""

from __future__ import annotations

import contextlib
import json
from collections.abc import Callable

import pytest
import sqlalchemy as sa
from farm_records import FIELD, again, begin, edit, full, identities, problems, uid

from chaffinch.book import keeping
from chaffinch.book.desk import Desk
from chaffinch.errors import ChaffinchError
from chaffinch.store.migrations import NEWEST
from chaffinch.store.verify import verify

NewAddress = Callable[[], str]


def plant(address: str, *statements: str, **values: object) -> None:
    """Damage a book past the program's rules; SQLite is told not to look at foreign keys."""
    store = again(address)
    with store.engine.connect() as connection:
        if connection.dialect.name == "sqlite":
            connection.exec_driver_sql("ROLLBACK")
            connection.exec_driver_sql("PRAGMA foreign_keys = OFF")
            connection.exec_driver_sql("BEGIN IMMEDIATE")
        for statement in statements:
            assert connection.execute(sa.text(statement), values).rowcount != 0, "nothing was damaged"
        connection.commit()


def test_counts_what_is_there(new_address: NewAddress) -> None:
    found = verify(begin(new_address(), full()))
    assert found.problems == ()
    assert (found.records, found.conflicts) == (13, 1)
    assert found.kinds == {
        "farm": 1, "season": 1, "combine": 1, "field": 1, "check": 4, "edit": 3, "monitor": 1, "weather": 1,
    }  # fmt: skip


OF_RECORDS = {
    "a body edited": ("UPDATE record SET body = replace(body, '9.8 g', '8.9 g') WHERE id = :check", "does not fit"),
    "a hash edited": (f"UPDATE record SET hash = '{'0' * 64}' WHERE id = :check", "does not fit its hash"),
    "a time edited": ("UPDATE record SET device_time = '2025-01-01T00:00:00Z' WHERE id = :note", "does not fit"),
    "a kind edited": ("UPDATE record SET kind = 'weather' WHERE id = :check", "does not fit"),
    "a body that is no JSON": ("UPDATE record SET body = '{\"text' WHERE id = :check", uid(11)),
    "a body that is no table": ("UPDATE record SET body = '3' WHERE id = :check", uid(11)),
    "a body with a number JSON does not know": ("UPDATE record SET body = '{\"a\": NaN}' WHERE id = :check", uid(11)),
    "a conflict edited": ("UPDATE conflict SET body = replace(body, '98.0 g', '97.0 g')", "conflict"),
    "a conflict that is no JSON": ("UPDATE conflict SET body = 'x'", "conflict"),
}


@pytest.mark.parametrize("damage", OF_RECORDS, ids=lambda d: d.replace(" ", "-"))
def test_a_damaged_record_is_found_and_named(new_address: NewAddress, damage: str) -> None:
    address = new_address()
    begin(address, full())
    statement, word = OF_RECORDS[damage]
    names = {name: uid(number) for name, number in {"check": 11, "note": 20}.items() if f":{name}" in statement}
    plant(address, statement, **names)
    found = problems(again(address))
    assert any(word in line for line in found), found
    assert all("\n" not in line for line in found)
    # An index cannot mend a record: the damage is still told after a rebuild, if one is possible at all.
    with contextlib.suppress(ChaffinchError):
        keeping.rebuild(Desk(again(address), "desk"))
    assert any(word in line for line in problems(again(address)))


OF_INDEXES = {
    "a correction gone": ("DELETE FROM correction", "correction"),
    "a correction too many": (f"INSERT INTO correction VALUES ('{uid(10)}', '{uid(11)}')", "correction"),
    "a label gone": (f"DELETE FROM label WHERE target = '{uid(FIELD)}' AND field = 'note'", "label"),
    "a label with another value": ("UPDATE label SET value = '7' WHERE field = 'note'", "label"),
    "a label held by the wrong edit": (f"UPDATE label SET edit_id = '{uid(20)}' WHERE field = 'note'", "label"),
    "a label with the wrong revision": ("UPDATE label SET revision = 7 WHERE field = 'note'", "label"),
    "a check row gone": (
        f"DELETE FROM catch_row WHERE check_id = '{uid(10)}'; DELETE FROM check_row WHERE id = '{uid(10)}'",
        "check_row",
    ),
    "a check row in another field": (f"UPDATE check_row SET field = 'x' WHERE id = '{uid(10)}'", "check_row"),
    "a catch row gone": (f"DELETE FROM catch_row WHERE check_id = '{uid(10)}'", "catch_row"),
    "a catch row of another amount": (f"UPDATE catch_row SET amount = '1 g' WHERE check_id = '{uid(10)}'", "catch_row"),
}  # fmt: skip


@pytest.mark.parametrize("damage", OF_INDEXES, ids=lambda d: d.replace(" ", "-"))
def test_a_damaged_index_is_found_and_mended(new_address: NewAddress, damage: str) -> None:
    address = new_address()
    store = begin(address, full())
    before = identities(store)
    statements, table = OF_INDEXES[damage]
    plant(address, *statements.split("; "))
    found = problems(again(address))
    assert any(f"index {table}" in line for line in found), found
    keeping.rebuild(Desk(again(address), "desk"))
    assert problems(again(address)) == ()
    assert identities(again(address)) == before


def test_a_wrong_step_is_found(new_address: NewAddress) -> None:
    address = new_address()
    store = begin(address, full())
    plant(address, f"DELETE FROM migration WHERE number = {NEWEST}")
    assert any(f"step {NEWEST - 1}" in line for line in problems(store))


def test_a_lost_record_leaves_its_rows_behind_and_is_missed(new_address: NewAddress) -> None:
    address = new_address()
    store = begin(address, full())
    if not store.is_file:
        with pytest.raises(sa.exc.IntegrityError):
            plant(address, f"DELETE FROM record WHERE id = '{uid(10)}'")
        return
    plant(address, f"DELETE FROM record WHERE id = '{uid(10)}'")
    found = problems(again(address))
    assert any("points at a record that is not there" in line for line in found), found
    assert any("index check_row" in line for line in found), found


def test_a_record_that_is_also_a_conflict_is_found(new_address: NewAddress) -> None:
    """Each record is there exactly once: the same id and hash in both tables is once too many."""
    address = new_address()
    begin(address, full())
    columns = "id, kind, schema, device, device_time, body, hash, arrived"
    plant(address, f"INSERT INTO conflict ({columns}) SELECT {columns} FROM record WHERE id = '{uid(11)}'")
    assert any(uid(11) in line for line in problems(again(address)))


def test_a_rebuild_gives_the_rows_that_were_there(new_address: NewAddress) -> None:
    store = begin(new_address(), [*full(), edit(25, "wet", 2), edit(25, "dry", 2)])
    tables = {"correction": "new_id, old_id", "label": "target, field, value, revision, edit_id",
              "check_row": "id, taken_at, season, field, combine, operator, crop, catches, trial",
              "catch_row": "check_id, number, place, amount"}  # fmt: skip

    def rows() -> dict[str, list[str]]:
        with store.reading() as connection:
            return {
                t: sorted(json.dumps(list(r)) for r in connection.execute(sa.text(f"SELECT {c} FROM {t}")))
                for t, c in tables.items()
            }

    before = rows()
    assert all(before.values())
    keeping.rebuild(Desk(store, "desk"))
    assert rows() == before
    assert problems(store) == ()
