"""A book of every earlier step opens after a copy was made and gives the answers of a book of today."""

from __future__ import annotations

import ast
import shutil
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest
import sqlalchemy as sa
from farm_records import (
    COMBINE,
    NOW,
    OPERATOR,
    SEASON,
    TRIAL,
    again,
    begin,
    check,
    clock,
    identities,
    problems,
    put,
    uid,
)
from make_old_books import EARLIER, EVERY, carry_to_server, fill_at, path_of, records_of

from chaffinch.book.checks.fields import answered, field_summary
from chaffinch.book.checks.held import checks_where, counting, find_check
from chaffinch.book.desk import Desk
from chaffinch.book.keeping import back_up, restore
from chaffinch.book.pace.hour_costs import stored_hour
from chaffinch.book.things import edit_label, edits_of, find_thing, things
from chaffinch.errors import BookError
from chaffinch.store import indexes, migrations, opening, records
from chaffinch.store.migrations import MIGRATIONS, NEWEST, ran
from chaffinch.store.opening import KEPT, Store
from postgres_server import Server

QUESTIONS = [{}, {"season": uid(SEASON)}, {"combine": uid(COMBINE)}, {"since": "2026-08-14T13:00:00Z"}]


def answers(store: Store) -> dict[str, object]:
    """What a person asks: the things as they stand, lists of checks, each check's answer, what the field lost."""
    desk = Desk(store, "desk", clock)
    field = find_thing(desk, "field", "Siskin Bend")
    summary = field_summary(desk, field)
    with store.reading() as connection:
        by_trial = sa.text("SELECT id, side_of.operator FROM check_row AS side_of WHERE trial = :trial ORDER BY id")
        in_trial = [tuple(row) for row in connection.execute(by_trial, {"trial": uid(TRIAL)})]
    return {
        "things": [(t.id, t.kind, t.name, dict(t.parts)) for t in things(desk)],
        "edits": edits_of(desk, field.id),
        "lists": [checks_where(desk, **question) for question in QUESTIONS],
        "counting": [(c.id, c.versions, dict(c.body)) for c in counting(desk, checks_where(desk))],
        "corrected": find_check(desk, uid(12)).id,
        "in trial": in_trial,
        "answers": [
            (line.logged.id, line.answer.sources, line.answer.verdict) for line in answered(desk, checks_where(desk))
        ],
        "mean": summary.mean_kg_ha,
        "money": summary.money,
        "sources": dict(summary.sources),
        "unsettled": [s.envelope.id for s in records.unsettled(store)],
    }


def index_rows(store: Store) -> dict[str, list[tuple[object, ...]]]:
    with store.reading() as connection:
        return {t: sorted(map(repr, connection.execute(sa.text(f"SELECT * FROM {t}")))) for t in indexes.ALL}


@pytest.fixture(scope="module")
def of_today(tmp_path_factory: pytest.TempPathFactory) -> dict[int, tuple[object, ...]]:
    """Identities, answers and index rows of books started today that hold what the kept ones do, by step."""
    found = {}
    for step in EVERY:
        store = begin(str(tmp_path_factory.mktemp("today") / "book.chaffinch"), records_of(step))
        found[step] = (identities(store), answers(store), index_rows(store))
    return found


def said_by(store: Store) -> tuple[object, ...]:
    return identities(store), answers(store), index_rows(store)


def test_there_is_a_file_of_each_step() -> None:
    assert [m.number for m in MIGRATIONS] == list(range(1, NEWEST + 1))
    assert [path_of(step).exists() for step in EVERY] == [True] * NEWEST


def test_the_answers_are_worth_comparing(of_today: dict[int, tuple[object, ...]]) -> None:
    told = of_today[NEWEST][1]
    assert isinstance(told, dict)
    assert [len(one) for one in told["lists"]] == [8, 4, 8, 4]
    assert [row[1] for row in told["in trial"]] == [uid(OPERATOR)] * 2
    assert len(told["answers"]) == 6
    assert told["unsettled"] == [uid(11)]


@pytest.mark.parametrize("step", EVERY)
def test_a_file_of_each_step_opens_and_answers_as_one_of_today(
    tmp_path: Path, step: int, of_today: dict[int, tuple[object, ...]]
) -> None:
    path = tmp_path / "farm.chaffinch"
    shutil.copyfile(path_of(step), path)
    store = again(str(path))
    assert said_by(store) == of_today[step]
    assert problems(store) == ()
    assert put(store, [check(77)]) == ["accepted"]
    kept = [p.name for p in tmp_path.iterdir() if p.name.startswith("farm.chaffinch.before")]
    assert kept == ([f"farm.chaffinch.before-step-{step + 1}-20260814T164000Z"] if step < NEWEST else [])
    with store.reading() as connection:
        noted = connection.execute(sa.text("SELECT number, program FROM migration ORDER BY number")).all()
    assert [tuple(row) for row in noted] == [(n, "of that day" if n <= step else "test") for n in range(1, NEWEST + 1)]


@pytest.mark.parametrize("step", EVERY)
def test_a_file_of_each_step_stores_no_hour_cost_and_can_be_given_one(tmp_path: Path, step: int) -> None:
    path = tmp_path / "farm.chaffinch"
    shutil.copyfile(path_of(step), path)
    desk = Desk(again(str(path)), "desk", clock)
    farm, combine = (next(t for t in things(desk, kind)) for kind in ("farm", "combine"))
    assert stored_hour(desk, combine) is None

    edit_label(desk, farm, "hour_cost", "400 /h")
    found = stored_hour(desk, combine)
    assert found is not None
    assert (found.per_h, found.of) == (400.0, "farm")
    assert problems(desk.store) == ()
    desk.store.close()


@pytest.mark.parametrize("step", EVERY)
def test_the_tables_of_each_step_are_those_of_its_day(step: int) -> None:
    """The kept file remembers the statements that made it; a step that was changed since would show."""
    of_that_day = "SELECT type, name, tbl_name, sql FROM sqlite_master ORDER BY name"
    with closing(sqlite3.connect(f"{path_of(step).as_uri()}?immutable=1", uri=True)) as kept:
        wanted = kept.execute(of_that_day).fetchall()
    with closing(sqlite3.connect(":memory:")) as now:
        for statement in migrations.statements_until(step, "sqlite"):
            now.execute(statement)
        assert now.execute(of_that_day).fetchall() == wanted


def test_the_steps_call_nothing_of_the_program() -> None:
    """Whatever changes elsewhere, a step does what it did on its day."""
    tree = ast.parse(Path(migrations.__file__).read_text())
    names = {n.module for n in ast.walk(tree) if isinstance(n, ast.ImportFrom) and n.module}
    names |= {a.name for n in ast.walk(tree) if isinstance(n, ast.Import) for a in n.names}
    assert not [name for name in names if name.startswith("chaffinch")]
    assert all(isinstance(text, str) for step in MIGRATIONS for text in step.statements)


@pytest.mark.parametrize("step", EARLIER)
def test_the_copy_made_before_is_the_book_as_it_was(tmp_path: Path, step: int) -> None:
    path = tmp_path / "farm.chaffinch"
    shutil.copyfile(path_of(step), path)
    again(str(path))
    (kept,) = tmp_path.glob("farm.chaffinch.before-*")
    assert step_at(kept) == step
    found = restore(str(kept), str(tmp_path / "again.chaffinch"))
    assert found.problems == ()
    assert found.records + found.conflicts == len(records_of(step))
    assert step_at(kept) == step, "a copy is not changed by being used"
    assert sorted(p.name for p in tmp_path.iterdir()) == sorted(["again.chaffinch", "farm.chaffinch", kept.name])


def step_at(path: Path) -> int | None:
    old = Store(str(path), opening.engine_for(str(path), must_exist=True), clock)
    with old.reading() as connection:
        return ran(connection)


def tables_of(store: Store) -> dict[str, list[str]]:
    """Every row of every table that stands where records came in; not where a copy of an older book was put."""
    with store.reading() as connection:
        rows = {
            table: connection.execute(sa.text(f"SELECT * FROM {table}")).all()
            for table in ("book", "record", "conflict")
        }
    return {t: sorted(repr(row) for row in found if not str(row[0]).startswith(KEPT)) for t, found in rows.items()}


@pytest.mark.usefixtures("here")  # where the copy of a server's book goes
def test_where_the_copy_was_put_is_told_and_stays_in_the_book(new_address: object) -> None:
    """Told once it is whole and before anything is changed; noted in the book, and no fact of it that is exported."""
    address = new_address()  # type: ignore[operator]
    if address.startswith("postgresql"):
        carry_to_server(2, address)
    else:
        shutil.copyfile(path_of(2), address)
    told: list[str] = []
    seen: list[tuple[int, int]] = []

    def look(copy: str) -> None:
        told.append(copy)
        assert step_at(Path(copy)) == 2
        engine = opening.engine_for(address, must_exist=True)
        with engine.connect().execution_options(reading=True) as connection:
            assert ran(connection) == 2
        engine.dispose()

    store = opening.open_book(
        address, clock=clock, program="test", device="desk", kept=look, progress=lambda *at: seen.append(at)
    )
    (copy,) = told
    assert Path(copy).is_absolute()
    assert records.copies_before(store) == [(copy, {"step": 2, "at": clock(), "device": "desk"})]
    assert set(records.facts(store)) == {"id", "title", "started"}
    assert seen == sorted(seen)
    assert seen[-1] == (1000, 1000)
    opening.open_book(address, clock=clock, program="test", kept=told.append).close()
    assert told == [copy], "a book of today is not copied"


def test_a_copy_is_noted_although_the_update_was_stopped(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Stopped after the first of two steps and opened again: both copies are known."""
    path = tmp_path / "farm.chaffinch"
    shutil.copyfile(path_of(2), path)
    with monkeypatch.context() as patch:
        patch.setattr(indexes, "make_anew", lambda *_, **__: (_ for _ in ()).throw(OSError(28, "No space left")))
        with pytest.raises(BookError, match="No space left"):
            again(str(path))
    store = again(str(path))
    known = [Path(file).name for file, _ in records.copies_before(store)]
    assert sorted(known) == sorted(p.name for p in tmp_path.glob("*.before-step-*"))
    assert [told["step"] for _, told in records.copies_before(store)] == [2, 3]


@pytest.mark.parametrize("step", EARLIER)
def test_an_older_book_on_a_server_is_copied_to_a_file_and_migrated(
    postgres: Server, step: int, of_today: dict[int, tuple[object, ...]], here: Path
) -> None:
    address = postgres.new_book()
    carry_to_server(step, address)
    store = again(address)
    assert said_by(store) == of_today[step]
    assert problems(store) == ()
    (kept,) = here.iterdir()
    assert kept.name == f"books.{schema_of(address)}.before-step-{step + 1}-20260814T164000Z"
    assert step_at(kept) == step
    assert restore(str(kept), "again.chaffinch").problems == ()
    restored = again("again.chaffinch")
    assert said_by(restored) == of_today[step]
    assert tables_of(restored) == tables_of(store), "places, hours of arrival and the book's id are the same"
    assert put(store, [check(77)]) == ["accepted"]


def schema_of(address: str) -> str:
    return address.rpartition("%3D")[2]


def test_the_copy_of_a_server_book_goes_to_the_folder_named(postgres: Server, here: Path, tmp_path: Path) -> None:
    address = postgres.new_book()
    carry_to_server(1, address)
    opening.open_book(address, clock=clock, program="test", keep_old_in=str(tmp_path)).close()
    assert list(here.iterdir()) == []
    assert [p.name for p in tmp_path.iterdir()] == [f"books.{schema_of(address)}.before-step-2-20260814T164000Z"]


def test_no_copy_no_migration_of_a_server_book(postgres: Server, tmp_path: Path) -> None:
    address = postgres.new_book()
    carry_to_server(2, address)
    with pytest.raises(BookError, match=r"step 2.*copied to .*none.*nothing was changed"):
        opening.open_book(address, clock=clock, program="test", keep_old_in=str(tmp_path / "none"))
    engine = opening.engine_for(address, must_exist=True)
    with engine.connect() as connection:
        assert ran(connection) == 2
    engine.dispose()


def test_opened_twice_within_a_second_keeps_two_copies(tmp_path: Path, postgres: Server, here: Path) -> None:
    path = tmp_path / "farm.chaffinch"
    for _ in range(2):
        shutil.copyfile(path_of(1), path)
        again(str(path))
    assert len(list(tmp_path.glob("farm.chaffinch.before-*"))) == 2
    address = postgres.new_book()
    carry_to_server(1, address)
    (here / f"books.{schema_of(address)}.before-step-2-20260814T164000Z").write_text("a letter")
    again(address)
    assert [p.read_bytes()[:6] for p in sorted(here.iterdir())] == [b"a lett", b"SQLite"]


def test_a_backup_of_a_server_book_is_the_same_book(postgres: Server, tmp_path: Path) -> None:
    """Its id, the order in which records arrived and when; and so is what is restored from it."""
    store = begin(postgres.new_book(), records_of(NEWEST))
    put(store, [check(400)])
    target, restored = str(tmp_path / "copy"), str(tmp_path / "again.chaffinch")
    seen: list[tuple[int, int]] = []
    back_up(Desk(store, "desk", lambda: "2027-01-01T00:00:00Z"), target, progress=lambda *at: seen.append(at))
    restore(target, restored)
    for address in (target, restored):
        assert (
            records.facts(again(address))
            == records.facts(store)
            == {"id": uid(999), "title": "Larkhollow", "started": NOW}
        )
        assert tables_of(again(address)) == tables_of(store)
    assert seen == sorted(seen)
    assert seen[-1] == (1000, 1000)


def test_a_damaged_record_does_not_keep_an_old_book_from_being_opened(tmp_path: Path) -> None:
    path = tmp_path / "farm.chaffinch"
    shutil.copyfile(path_of(3), path)
    with closing(sqlite3.connect(path)) as raw:
        raw.execute("UPDATE record SET body = '{' WHERE id = ?", (uid(16),))
        raw.commit()
    store = again(str(path))
    assert any(uid(16) in line for line in problems(store))
    assert uid(16) not in checks_where(Desk(store, "desk", clock))
    assert uid(17) in checks_where(Desk(store, "desk", clock))


@pytest.mark.usefixtures("here")  # where the copy of a server's book goes
def test_a_step_that_fails_is_undone_whole_and_tried_again(
    new_address: object, monkeypatch: pytest.MonkeyPatch, of_today: dict[int, tuple[object, ...]]
) -> None:
    address = new_address()  # type: ignore[operator]
    fill_at(address, 1, records_of(1))
    sound = opening.apply

    def breaks_at_three(connection: sa.Connection, step: object, **other: str) -> None:
        sound(connection, step, **other)  # type: ignore[arg-type]
        if step == MIGRATIONS[2]:
            raise OSError(28, "No space left on device")

    with monkeypatch.context() as patch:
        patch.setattr(opening, "apply", breaks_at_three)
        with pytest.raises(BookError, match="No space left"):
            again(address)
    half = Store(address, opening.engine_for(address, must_exist=True), lambda: NOW)
    with half.reading() as connection:
        assert ran(connection) == 2
        assert not sa.inspect(connection).has_table("check_row")
    store = again(address)
    assert said_by(store) == of_today[1]
    assert problems(store) == ()
    assert len(list(records.every(store))) == 13


@pytest.mark.usefixtures("here")  # where the copy of a server's book goes
def test_rows_that_could_not_be_made_leave_the_last_step_undone(
    new_address: object, monkeypatch: pytest.MonkeyPatch, of_today: dict[int, tuple[object, ...]]
) -> None:
    """The last step and the index rows are one transaction: no book of today's step without its rows."""
    address = new_address()  # type: ignore[operator]
    fill_at(address, 1, records_of(NEWEST))
    with monkeypatch.context() as patch:
        patch.setattr(indexes, "add", lambda *_: (_ for _ in ()).throw(OSError(28, "No space left on device")))
        with pytest.raises(BookError, match="No space left"):
            again(address)
    half = Store(address, opening.engine_for(address, must_exist=True), lambda: NOW)
    with half.reading() as connection:
        assert ran(connection) == NEWEST - 1
    half.close()
    assert said_by(again(address)) == of_today[NEWEST]
