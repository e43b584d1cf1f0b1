"""A backup becomes a book on a server: the same book, whole, or the database stays empty."""

from __future__ import annotations

import shutil
import sqlite3
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing
from pathlib import Path

import pytest
import sqlalchemy as sa
from farm_records import again, begin, check, clock, farm, full, identities, problems, put
from make_old_books import EVERY, path_of, records_of

from chaffinch.book import keeping
from chaffinch.book.desk import Desk
from chaffinch.book.exchange import merging
from chaffinch.errors import BookError, InputError
from chaffinch.store import records
from chaffinch.store.address import engine_for
from chaffinch.store.migrations import NEWEST, ran
from chaffinch.store.opening import Store
from postgres_server import PASSWORD, Server


def rows_of(store: Store, *tables: str) -> dict[str, list[str]]:
    with store.reading() as connection:
        return {t: sorted(map(repr, connection.execute(sa.text(f"SELECT * FROM {t}")))) for t in tables}


def nothing_there(address: str) -> bool:
    """Whether the schema holds no table at all."""
    engine = engine_for(address, must_exist=True)
    with engine.connect() as connection:
        found = sa.inspect(connection).get_table_names()
    engine.dispose()
    return found == []


@pytest.mark.parametrize("step", EVERY)
def test_a_backup_of_each_step_becomes_the_same_book(postgres: Server, tmp_path: Path, step: int) -> None:
    """Id, order of arrival, hours, index rows and steps are those of the file, or of the file brought up to date."""
    backup, address = tmp_path / "farm.copy", postgres.new_book()
    shutil.copyfile(path_of(step), backup)
    before = backup.read_bytes()
    seen: list[tuple[int, int]] = []
    found = keeping.restore(str(backup), address, progress=lambda *at: seen.append(at))
    assert (found.problems, found.records + found.conflicts) == ((), len(records_of(step)))
    assert seen == sorted(seen)
    assert seen[-1] == (1000, 1000)
    assert backup.read_bytes() == before
    assert [p.name for p in tmp_path.iterdir()] == ["farm.copy"]

    beside = str(tmp_path / "beside.chaffinch")
    keeping.restore(str(backup), beside)
    on_server, in_file = again(address), again(beside)
    assert records.facts(on_server) == records.facts(in_file)
    assert rows_of(on_server, "record", "conflict", "correction", "label", "check_row", "catch_row") == rows_of(
        in_file, "record", "conflict", "correction", "label", "check_row", "catch_row"
    )
    assert problems(on_server) == ()
    with on_server.reading() as connection:
        assert ran(connection) == NEWEST


@pytest.mark.parametrize("kind", ["sqlite", "postgresql"])
def test_whoever_had_read_further_than_the_backup_misses_nothing(postgres: Server, tmp_path: Path, kind: str) -> None:
    """A place given out after the backup is not given out again; merged with the lost book nothing comes twice."""
    book = begin(str(tmp_path / "farm.chaffinch"), full())
    desk = Desk(book, "desk", clock)
    keeping.back_up(desk, str(tmp_path / "copy"))
    assert put(book, [check(71), check(72)]) == ["accepted", "accepted"]
    read_up_to = max(one.seq for one in records.every(book))
    address = postgres.new_book() if kind == "postgresql" else str(tmp_path / "again.chaffinch")
    keeping.restore(str(tmp_path / "copy"), address)
    restored = again(address)
    assert put(restored, [check(77)]) == ["accepted"]
    assert [one.envelope.id for one in records.every(restored, after=read_up_to)] == [check(77).id]
    came, went = merging.merge(Desk(restored, "again", clock), desk)
    assert (came.accepted, came.conflicts, went.accepted, went.conflicts) == (2, 0, 1, 0)
    assert identities(restored) == identities(book)
    assert problems(restored) == problems(book) == ()


def test_an_empty_book_is_restored_too(postgres: Server, tmp_path: Path) -> None:
    begin(str(tmp_path / "farm.chaffinch"), [])
    address = postgres.new_book()
    assert keeping.restore(str(tmp_path / "farm.chaffinch"), address).records == 0
    assert put(again(address), farm()) == ["accepted"] * len(farm())


def test_nothing_is_restored_over_a_book_or_anything_else(postgres: Server, tmp_path: Path) -> None:
    source = str(tmp_path / "farm.chaffinch")
    begin(source, full())
    taken, strange = postgres.new_book(), postgres.new_book()
    other = begin(taken, farm())
    held = identities(other)
    engine = engine_for(strange, must_exist=True)
    with engine.begin() as connection:
        connection.execute(sa.text("CREATE TABLE letters (text TEXT)"))
    engine.dispose()
    for address, word in ((taken, "holds a book already"), (strange, r"holds other tables \(letters\)")):
        with pytest.raises(InputError, match=word) as caught:
            keeping.restore(source, address)
        assert PASSWORD not in str(caught.value)
    assert identities(again(taken)) == held
    with pytest.raises(InputError, match="is a book on a server") as caught:
        keeping.restore(taken, postgres.new_book())
    assert PASSWORD not in str(caught.value)


def spoil_a_record(path: Path) -> None:
    with closing(sqlite3.connect(path)) as raw:
        raw.execute("UPDATE record SET body = replace(body, 'canola', 'canary') WHERE kind = 'check'")
        raw.commit()


def lose_an_index_row(path: Path) -> None:
    with closing(sqlite3.connect(path)) as raw:
        raw.execute("DELETE FROM catch_row")
        raw.commit()


def tear_the_file(path: Path) -> None:
    whole = path.read_bytes()
    path.write_bytes(whole[: len(whole) // 2])


@pytest.mark.parametrize("spoil", [spoil_a_record, lose_an_index_row, tear_the_file])
def test_a_backup_that_is_not_whole_leaves_the_database_empty(
    postgres: Server, tmp_path: Path, spoil: Callable[[Path], None]
) -> None:
    path, address = tmp_path / "farm.copy", postgres.new_book()
    keeping.back_up(Desk(begin(str(tmp_path / "farm.chaffinch"), full()), "desk", clock), str(path))
    spoil(path)
    with pytest.raises(BookError, match=r"farm\.copy"):
        keeping.restore(str(path), address)
    assert nothing_there(address)
    keeping.restore(str(tmp_path / "farm.chaffinch"), address)  # the place is as good as before
    assert problems(again(address)) == ()


def test_stopped_in_the_middle_nothing_stays(postgres: Server, tmp_path: Path) -> None:
    source, address = str(tmp_path / "farm.chaffinch"), postgres.new_book()
    begin(source, full())

    def stop(done: int, of: int) -> None:
        if done > of // 10:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        keeping.restore(source, address, progress=stop)
    assert nothing_there(address)


def test_of_two_who_restore_at_once_one_does_and_one_is_told(postgres: Server, tmp_path: Path) -> None:
    source, address = str(tmp_path / "farm.chaffinch"), postgres.new_book()
    begin(source, full())

    def attempt(_: int) -> str:
        try:
            return f"{keeping.restore(source, address).records} records"
        except InputError as error:
            return error.problem

    with ThreadPoolExecutor(2) as both:
        said = sorted(both.map(attempt, range(2)))
    assert said == ["13 records", "holds a book already"]
    assert problems(again(address)) == ()
