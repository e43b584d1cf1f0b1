"""A book of every earlier step opens after a backup and gives the answers of a book of today."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest
import sqlalchemy as sa
from farm_records import NOW, again, begin, check, clock, full, identities, problems, put
from make_old_books import EARLIER, fill, path_of

from chaffinch.book.desk import Desk
from chaffinch.book.fields import field_summary
from chaffinch.book.keeping import restore
from chaffinch.book.things import find_thing
from chaffinch.store import opening, records
from chaffinch.store.migrations import MIGRATIONS, NEWEST, ran
from chaffinch.store.opening import Store
from postgres_server import Server


def answers(store: Store) -> tuple[object, ...]:
    """What a person asks: the things as they stand, and what the field lost."""
    desk = Desk(store, "desk", clock)
    field = find_thing(desk, "field", "Siskin Bend")
    summary = field_summary(desk, field)
    return (
        dict(field.parts),
        [line.logged.id for line in summary.checks],
        summary.mean_kg_ha,
        summary.money,
        {source: count for source, (_, count) in summary.sources.items()},
    )


@pytest.fixture(scope="module")
def of_today(tmp_path_factory: pytest.TempPathFactory) -> tuple[list[tuple[str, str]], tuple[object, ...]]:
    store = begin(str(tmp_path_factory.mktemp("today") / "book.chaffinch"), full())
    return identities(store), answers(store)


def test_there_is_a_file_of_each_earlier_step() -> None:
    assert [m.number for m in MIGRATIONS] == list(range(1, NEWEST + 1))
    assert [path_of(step).exists() for step in EARLIER] == [True] * (NEWEST - 1)


@pytest.mark.parametrize("step", EARLIER)
def test_an_older_file_opens_and_answers_as_one_of_today(
    tmp_path: Path, step: int, of_today: tuple[list[tuple[str, str]], tuple[object, ...]]
) -> None:
    path = tmp_path / "farm.chaffinch"
    shutil.copyfile(path_of(step), path)
    store = again(str(path))
    assert (identities(store), answers(store)) == of_today
    assert problems(store) == ()
    assert put(store, [check(77)]) == ["accepted"]
    (kept,) = (p for p in tmp_path.iterdir() if p.name.startswith("farm.chaffinch.before"))
    assert kept.name == f"farm.chaffinch.before-step-{step + 1}-20260814T164000Z"
    with again(str(path)).reading() as connection:
        noted = connection.execute(sa.text("SELECT number, program FROM migration ORDER BY number")).all()
    assert [tuple(row) for row in noted] == [(n, "of that day" if n <= step else "test") for n in range(1, NEWEST + 1)]


@pytest.mark.parametrize("step", EARLIER)
def test_the_backup_made_before_is_the_book_as_it_was(tmp_path: Path, step: int) -> None:
    path = tmp_path / "farm.chaffinch"
    shutil.copyfile(path_of(step), path)
    again(str(path))
    (kept,) = tmp_path.glob("farm.chaffinch.before-*")
    old = opening.Store(str(kept), opening.engine_for(str(kept), must_exist=True), clock)
    with old.reading() as connection:
        assert ran(connection) == step
    found = restore(str(kept), str(tmp_path / "again.chaffinch"))
    assert found.problems == ()
    assert found.records + found.conflicts == len(full())
    with old.reading() as connection:
        assert ran(connection) == step, "a backup is not changed by being used"
    assert sorted(p.name for p in tmp_path.iterdir()) == sorted(["again.chaffinch", "farm.chaffinch", kept.name])


@pytest.mark.parametrize("step", EARLIER)
def test_an_older_book_on_a_server_is_migrated_too(
    postgres: Server, step: int, of_today: tuple[list[tuple[str, str]], tuple[object, ...]]
) -> None:
    address = postgres.new_book()
    with opening.engine_for(address, must_exist=True).begin() as connection:
        fill(connection, step, full())
    store = again(address)
    assert (identities(store), answers(store)) == of_today
    assert problems(store) == ()


def test_opened_twice_within_a_second_keeps_two_backups(tmp_path: Path) -> None:
    path = tmp_path / "farm.chaffinch"
    for _ in range(2):
        shutil.copyfile(path_of(1), path)
        again(str(path))
    assert len(list(tmp_path.glob("farm.chaffinch.before-*"))) == 2


def test_a_step_that_fails_is_undone_whole_and_tried_again(
    new_address: object, monkeypatch: pytest.MonkeyPatch, of_today: tuple[list[tuple[str, str]], tuple[object, ...]]
) -> None:
    address = new_address()  # type: ignore[operator]
    with opening.engine_for(address, must_exist=False).begin() as connection:
        fill(connection, 1, full())
    sound = opening.apply

    def breaks_at_three(connection: sa.Connection, step: object, **other: str) -> None:
        sound(connection, step, **other)  # type: ignore[arg-type]
        if step == MIGRATIONS[2]:
            raise OSError(28, "No space left on device")

    monkeypatch.setattr(opening, "apply", breaks_at_three)
    with pytest.raises(opening.BookError, match="No space left"):
        again(address)
    monkeypatch.undo()
    half = opening.Store(address, opening.engine_for(address, must_exist=True), lambda: NOW)
    with half.reading() as connection:
        assert ran(connection) == 2
        assert not sa.inspect(connection).has_table("check_row")
    store = again(address)
    assert (identities(store), answers(store)) == of_today
    assert problems(store) == ()
    assert len(list(records.every(store))) == 13
