"""A book in a place that may not be written can be looked at, copied and told apart; writing is refused in one line."""

from __future__ import annotations

import os
import shutil
import sqlite3
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest
from at_work import Ended, Nursery, nursery
from farm_records import again, begin, check, farm, full, identities, problems, put
from make_old_books import path_of

from chaffinch.book import keeping
from chaffinch.errors import BookError
from chaffinch.store import bookfile
from chaffinch.store.opening import Store


@pytest.fixture(scope="module")
def warm(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Nursery]:
    with nursery(tmp_path_factory.mktemp("children")) as process:
        yield process


@pytest.fixture
def folder() -> Iterator[Path]:
    """A folder that another user of this machine could reach, unlike pytest's own."""
    path = Path(tempfile.mkdtemp(prefix="chaffinch-readonly-"))
    path.chmod(0o755)
    yield path
    path.chmod(0o755)
    shutil.rmtree(path)


def seen(ended: Ended) -> list[tuple[str, str]]:
    """What the one who may only read was shown, of a book that was whole."""
    assert ended.status == 0, ended.lines
    assert "problems 0" in ended.lines
    return sorted(ended.confirmed("has"))


def the_line(ended: Ended) -> str:
    assert ended.status == 3, ended.lines
    return ended.lines[-1]


LOCKED = {"the folder": (0o555, 0o666), "the file": (0o777, 0o444), "both": (0o555, 0o444)}


@pytest.mark.parametrize("what", LOCKED, ids=lambda w: w.replace(" ", "-"))
def test_it_is_shown_and_left_as_it_is(warm: Nursery, folder: Path, what: str) -> None:
    path = folder / "farm.chaffinch"
    store = begin(str(path), full())
    before = path.read_bytes()
    path.chmod(LOCKED[what][1])
    folder.chmod(LOCKED[what][0])
    (ended,) = warm.do(("as_nobody", "show", str(path)))
    assert seen(ended) == identities(store)
    assert "checks 4" in ended.lines
    assert path.read_bytes() == before
    assert [p.name for p in folder.iterdir()] == [path.name]
    (ended,) = warm.do(("as_nobody", "log_checks", str(path), [500]))
    bar = "its folder is" if what == "the folder" else "the file is"
    assert f"cannot be written, {bar} read-only; nothing was changed" in the_line(ended)
    assert path.read_bytes() == before


def test_it_can_be_backed_up_and_restored_elsewhere(warm: Nursery, folder: Path) -> None:
    path = folder / "farm.chaffinch"
    store = begin(str(path), full())
    away = folder / "away"
    away.mkdir()
    away.chmod(0o777)
    folder.chmod(0o555)
    for activity in ("back_up", "restore"):
        (ended,) = warm.do(("as_nobody", activity, str(path), str(away / activity)))
        assert ended.status == 0, ended.lines
        assert identities(again(str(away / activity))) == identities(store)


def test_a_backup_is_shown_there_too(warm: Nursery, folder: Path) -> None:
    """It keeps no log: SQLite reads it in turn with writers, and nothing has to be taken as unchanging."""
    from chaffinch.book.desk import Desk

    store = begin(str(folder / "farm.chaffinch"), full())
    path = folder / "copy"
    keeping.back_up(Desk(store, "desk"), str(path))
    folder.chmod(0o555)
    (ended,) = warm.do(("as_nobody", "show", str(path)))
    assert seen(ended) == identities(store)


def leave_a_log(path: Path, *endings: str) -> list[tuple[str, str]]:
    """End the book as a program that was killed leaves it, its last record in the log; only these files stay."""
    store = begin(str(path), farm())
    reader = sqlite3.connect(path, isolation_level=None)
    reader.execute("BEGIN")
    reader.execute("SELECT COUNT(*) FROM record").fetchone()
    put(store, [check(10)])
    found = identities(store)
    kept = {ending: Path(f"{path}{ending}").read_bytes() for ending in ("", *endings)}
    reader.close()
    for ending in ("-wal", "-shm"):
        Path(f"{path}{ending}").unlink(missing_ok=True)
    for ending, content in kept.items():
        Path(f"{path}{ending}").write_bytes(content)
        Path(f"{path}{ending}").chmod(0o644)
    return found


def test_a_log_with_its_index_is_read_too(warm: Nursery, folder: Path) -> None:
    path = folder / "farm.chaffinch"
    found = leave_a_log(path, "-wal", "-shm")
    assert len(found) == 5
    folder.chmod(0o555)
    (ended,) = warm.do(("as_nobody", "show", str(path)))
    assert seen(ended) == found


@pytest.mark.parametrize("why", ["no index", "locked"])
def test_a_log_that_cannot_be_read_is_told_and_not_passed_over(warm: Nursery, folder: Path, why: str) -> None:
    path = folder / "farm.chaffinch"
    leave_a_log(path, *(["-wal"] if why == "no index" else ["-wal", "-shm"]))
    if why == "locked":
        Path(f"{path}-wal").chmod(0o600)
    folder.chmod(0o555)
    (ended,) = warm.do(("as_nobody", "show", str(path)))
    line = the_line(ended)
    assert "its last records may lie in farm.chaffinch-wal, which cannot be read" in line
    assert "copy both" in line
    folder.chmod(0o755)
    assert len(identities(again(str(path)))) == 5, "nothing is lost: whoever may write reads it"


def test_an_empty_log_hides_nothing(warm: Nursery, folder: Path) -> None:
    path = folder / "farm.chaffinch"
    store = begin(str(path), farm())
    Path(f"{path}-wal").touch()
    folder.chmod(0o555)
    (ended,) = warm.do(("as_nobody", "show", str(path)))
    assert seen(ended) == identities(store)


def test_a_writer_elsewhere_is_not_half_seen(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Taken as unchanging while another user, who may write it, does: told, and never half of one moment."""
    path = tmp_path / "farm.chaffinch"
    writer = begin(str(path), farm())
    with monkeypatch.context() as locked:
        locked.setattr(bookfile, "may_write", lambda _: False)
        reader = again(str(path))
        assert reader.only_reading
        with pytest.raises(BookError, match="was changed by somebody else while it was read"):
            look_while(reader, writer)
        assert len(identities(reader)) == 5, "asked again, it answers"
        assert problems(reader) == ()


def look_while(reader: Store, writer: Store) -> None:
    with reader.reading() as connection:
        connection.exec_driver_sql("SELECT COUNT(*) FROM record").scalar_one()
        assert put(writer, [check(10)]) == ["accepted"]


@pytest.mark.parametrize("step", [1, 3])
def test_an_older_book_there_says_what_to_do(warm: Nursery, folder: Path, step: int) -> None:
    path = folder / "farm.chaffinch"
    shutil.copyfile(path_of(step), path)
    path.chmod(0o644)
    folder.chmod(0o555)
    (ended,) = warm.do(("as_nobody", "show", str(path)))
    assert f"is of step {step} (today" in the_line(ended)
    assert "copy it to a folder that may be written" in the_line(ended)
    assert [p.name for p in folder.iterdir()] == [path.name]


def test_a_read_only_disk(folder: Path) -> None:
    """A disk that is mounted read-only binds the administrator too; where this machine lets us mount none, the
    permissions above stand for it."""
    from subprocess import run

    begin(str(folder / "farm.chaffinch"), full())
    if os.geteuid() != 0 or run(["mount", "--bind", folder, folder], capture_output=True, check=False).returncode:
        pytest.skip("no disk can be mounted here")
    try:
        run(["mount", "-o", "remount,ro,bind", folder], check=True)
        store = again(str(folder / "farm.chaffinch"))
        assert store.only_reading
        assert len(identities(store)) == 14
        with pytest.raises(BookError, match="is read-only; nothing was changed"):
            put(store, [check(500)])
    finally:
        run(["umount", folder], check=True)
