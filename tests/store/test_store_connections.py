"""Connections: kept where that harms nothing, given back, never shared with a child, never leading to another file."""

from __future__ import annotations

import gc
import os
import shutil
import sqlite3
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import pytest
import sqlalchemy as sa
from farm_records import again, begin, check, farm, identities, problems, put

from chaffinch.errors import BookError
from chaffinch.store import address as addresses
from postgres_server import Server

NewAddress = Callable[[], str]


def backends(server: Server, book: str) -> int:
    """Connections that the server has open for a book's schema, told by the option that names it."""
    with server.connect() as connection:
        query = "SELECT COUNT(*) FROM pg_stat_activity WHERE datname = 'books' AND pid <> pg_backend_pid()"
        row = connection.execute(query).fetchone()
    assert row is not None, book
    return int(row[0])


def connections_made(engine: sa.Engine) -> list[object]:
    made: list[object] = []
    sa.event.listen(engine, "connect", lambda connection, _: made.append(connection))
    return made


def test_a_server_is_not_asked_for_a_new_connection_each_time(postgres: Server) -> None:
    store = begin(postgres.new_book(), farm())
    made = connections_made(store.engine)
    for number in range(100, 110):
        assert put(store, [check(number)]) == ["accepted"]
        identities(store)
    assert made == []


def test_connections_go_back_when_nobody_holds_the_book(postgres: Server) -> None:
    gc.collect()
    before = backends(postgres, "before")
    store = begin(postgres.new_book(), farm())
    assert backends(postgres, "while") > before
    del store
    for _ in range(100):
        if backends(postgres, "after") == before:
            return
    pytest.fail("a connection stayed")


def test_a_line_that_was_cut_costs_no_write(postgres: Server) -> None:
    store = begin(postgres.new_book(), farm())
    with postgres.connect() as connection:
        connection.execute(
            "SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE datname = 'books' AND pid <> pg_backend_pid()"
        )
    assert put(store, [check(10)]) == ["accepted"]


def test_too_many_at_once_is_told(postgres: Server, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(addresses, "BUSY_SECONDS", 0.05)
    store = begin(postgres.new_book(), farm())
    held = [store.engine.connect() for _ in range(addresses.MOST_CONNECTIONS)]
    with pytest.raises(BookError, match="too many questions"):
        identities(store)
    for one in held:
        one.close()
    assert len(identities(store)) == 4


def test_a_child_leaves_its_parents_connections_alone(new_address: NewAddress) -> None:
    store = begin(new_address(), farm())
    child = os.fork()
    if child == 0:
        status = 1
        try:
            status = 0 if put(store, [check(10)]) == ["accepted"] else 2
            store.close()
        finally:
            os._exit(status)
    assert os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]) == 0
    made = connections_made(store.engine)
    assert put(store, [check(10), check(11)]) == ["known", "accepted"]
    assert store.is_file or made == [], "the parent's own connection still serves"
    assert problems(store) == ()


def test_a_file_stands_alone_in_between(tmp_path: Path) -> None:
    path = tmp_path / "farm.chaffinch"
    store = begin(str(path), farm())
    for number in range(100, 103):
        put(store, [check(number)])
        identities(store)
        assert [p.name for p in tmp_path.iterdir()] == [path.name]


def test_kept_open_writes_into_the_file_all_the_same(tmp_path: Path) -> None:
    """What is confirmed is in the file, copied by hand without the log; afterwards the file stands alone."""
    path, carried = tmp_path / "farm.chaffinch", tmp_path / "carried"
    store = begin(str(path), farm())
    with store.kept_open():
        for number in range(100, 105):
            put(store, [check(number)])
            shutil.copyfile(path, carried)
            with closing(sqlite3.connect(f"{carried.as_uri()}?immutable=1", uri=True)) as copy:
                assert copy.execute("SELECT COUNT(*) FROM record").fetchone() == (number - 95,)
        assert Path(f"{path}-wal").exists()
        assert put(again(str(path)), [check(200)]) == ["accepted"], "nobody is locked out"
    assert sorted(p.name for p in tmp_path.iterdir()) == ["carried", path.name]
    assert problems(store) == ()


def test_kept_open_on_a_server_changes_nothing(postgres: Server) -> None:
    store = begin(postgres.new_book(), farm())
    with store.kept_open():
        assert put(store, [check(10)]) == ["accepted"]


def test_another_book_copied_over_an_idle_one_is_that_other_book(tmp_path: Path) -> None:
    """Why no connection to a file is kept: a log left by a program that was killed would be read into the other."""
    path, other = tmp_path / "farm.chaffinch", tmp_path / "other.chaffinch"
    store = begin(str(path), [*farm(), *(check(n) for n in range(100, 140))])
    begin(str(other), [*farm(), check(10)])
    shutil.copyfile(other, path)
    assert identities(store) == identities(again(str(other)))
    assert put(store, [check(11)]) == ["accepted"]
    assert problems(store) == ()


@pytest.mark.parametrize("how", ["moved away", "replaced"])
def test_a_book_that_is_moved_is_not_written_elsewhere(tmp_path: Path, how: str) -> None:
    """Confirmed means in the file of the book's name: none is made anew in its place, none is written under another."""
    path, away = tmp_path / "farm.chaffinch", tmp_path / "away"
    store = begin(str(path), farm())
    path.rename(away)
    if how == "replaced":
        begin(str(path), farm()[:2])
        assert put(store, [check(10)]) == ["accepted"]
        assert len(identities(again(str(path)))) == 3
    else:
        with pytest.raises(BookError, match="unable to open"):
            put(store, [check(10)])
        assert not path.exists()
    assert len(identities(again(str(away)))) == 4
