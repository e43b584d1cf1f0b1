"""Backups are whole or not there, hold what was there at one moment, and become a book again."""

from __future__ import annotations

import os
import shutil
import sqlite3
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest
import sqlalchemy as sa
from farm_records import again, begin, check, clock, farm, full, identities, problems, put

from chaffinch.book import keeping
from chaffinch.book.desk import Desk
from chaffinch.book.exchange import merging
from chaffinch.errors import BookError, InputError

NewAddress = Callable[[], str]


def names_in(folder: Path) -> list[str]:
    return sorted(p.name for p in folder.iterdir())


@pytest.fixture
def shelf(tmp_path: Path) -> Path:
    folder = tmp_path / "shelf"
    folder.mkdir()
    return folder


def test_a_backup_holds_everything_and_verifies(new_address: NewAddress, shelf: Path) -> None:
    store = begin(new_address(), full())
    found = keeping.back_up(Desk(store, "desk", clock), str(shelf / "copy.chaffinch"))
    assert (found.records, found.conflicts, found.problems) == (13, 1, ())
    assert names_in(shelf) == ["copy.chaffinch"]
    copy = again(str(shelf / "copy.chaffinch"))
    assert identities(copy) == identities(store)
    assert problems(copy) == ()
    assert problems(store) == ()


def test_a_backup_is_one_file_that_can_be_carried_away(new_address: NewAddress, shelf: Path, tmp_path: Path) -> None:
    store = begin(new_address(), full())
    keeping.back_up(Desk(store, "desk", clock), str(shelf / "copy.chaffinch"))
    carried = tmp_path / "carried.chaffinch"
    shutil.copyfile(shelf / "copy.chaffinch", carried)
    shutil.rmtree(shelf)
    assert identities(again(str(carried))) == identities(store)


def test_a_backup_is_never_written_over(new_address: NewAddress, shelf: Path) -> None:
    store = begin(new_address(), full())
    target = shelf / "copy.chaffinch"
    target.write_text("a letter")
    with pytest.raises(InputError, match="there already"):
        keeping.back_up(Desk(store, "desk", clock), str(target))
    assert target.read_text() == "a letter"
    assert names_in(shelf) == ["copy.chaffinch"]


def test_a_backup_while_somebody_writes_is_of_one_moment(new_address: NewAddress, shelf: Path) -> None:
    """A write that is not finished is not in it; what was confirmed before is."""
    store = begin(new_address(), full())
    before = identities(store)
    with store.engine.connect() as writing:
        writing.execute(sa.text("DELETE FROM catch_row"))
        if store.is_file:
            keeping.back_up(Desk(store, "desk", clock), str(shelf / "copy.chaffinch"))
        else:
            keeping.back_up(Desk(again(store.address), "desk", clock), str(shelf / "copy.chaffinch"))
        writing.rollback()
    assert identities(again(str(shelf / "copy.chaffinch"))) == before
    assert problems(again(str(shelf / "copy.chaffinch"))) == ()


def test_a_backup_of_a_damaged_book_is_refused_and_does_not_stay(new_address: NewAddress, shelf: Path) -> None:
    """A file under a backup's name can be trusted, so a copy that is not whole must not keep it."""
    address = new_address()
    store = begin(address, full())
    with store.engine.begin() as connection:
        connection.execute(sa.text("UPDATE record SET body = replace(body, '9.8 g', '8.9 g')"))
    with pytest.raises(BookError, match=r"not whole|hash"):
        keeping.back_up(Desk(store, "desk", clock), str(shelf / "copy.chaffinch"))
    assert not (shelf / "copy.chaffinch").exists()


def test_a_backup_into_a_folder_that_is_not_there(new_address: NewAddress, shelf: Path) -> None:
    store = begin(new_address(), farm())
    with pytest.raises((BookError, InputError)) as caught:
        keeping.back_up(Desk(store, "desk", clock), str(shelf / "deep" / "copy.chaffinch"))
    assert "\n" not in str(caught.value)
    assert names_in(shelf) == []


def test_what_a_broken_off_backup_left_is_cleared_away(new_address: NewAddress, shelf: Path) -> None:
    store = begin(new_address(), full())
    gone = subprocess.Popen([sys.executable, "-c", ""])
    gone.wait()
    for ending in ("", "-journal", "-wal"):
        (shelf / f"copy.chaffinch.{gone.pid}-1.partial{ending}").write_bytes(b"half a page")
    at_it = shelf / f"copy.chaffinch.{os.getppid()}-1.partial"
    at_it.write_bytes(b"another program is at it")
    keeping.back_up(Desk(store, "desk", clock), str(shelf / "copy.chaffinch"))
    assert identities(again(str(shelf / "copy.chaffinch"))) == identities(store)
    assert names_in(shelf) == ["copy.chaffinch", at_it.name]


def test_restore_makes_a_book_to_write_in(new_address: NewAddress, shelf: Path, tmp_path: Path) -> None:
    store = begin(new_address(), full())
    backup, target = shelf / "copy.chaffinch", tmp_path / "new.chaffinch"
    keeping.back_up(Desk(store, "desk", clock), str(backup))
    bytes_before = backup.read_bytes()
    assert keeping.restore(str(backup), str(target)).problems == ()
    assert backup.read_bytes() == bytes_before, "a backup is not changed by being used"
    assert names_in(shelf) == ["copy.chaffinch"]
    restored = again(str(target))
    assert identities(restored) == identities(store)
    assert put(restored, [check(77)]) == ["accepted"]
    assert problems(restored) == ()


def test_restore_to_a_name_that_is_taken_or_from_no_book(shelf: Path) -> None:
    store = begin(str(shelf / "one.chaffinch"), full())
    other = begin(str(shelf / "other.chaffinch"), farm())
    with pytest.raises(InputError, match="there already"):
        keeping.restore(store.address, other.address)
    with pytest.raises(InputError, match="does not exist"):
        keeping.restore(str(shelf / "none"), str(shelf / "new"))
    (shelf / "letter").write_text("dear")
    with pytest.raises(InputError, match="not a book"):
        keeping.restore(str(shelf / "letter"), str(shelf / "new"))
    assert not (shelf / "new").exists()
    assert len(identities(other)) == 4


def test_restore_of_a_damaged_backup_is_refused(shelf: Path) -> None:
    store = begin(str(shelf / "one.chaffinch"), full())
    with store.engine.begin() as connection:
        connection.execute(sa.text("DELETE FROM correction"))
    with pytest.raises(BookError, match="not whole"):
        keeping.restore(store.address, str(shelf / "new.chaffinch"))
    assert names_in(shelf) == ["one.chaffinch"]


def test_restore_from_a_book_in_use_takes_what_lies_beside_it_too(shelf: Path) -> None:
    """Somebody takes the book itself for a backup while another program has it open: its log holds the last records."""
    store = begin(str(shelf / "one.chaffinch"), farm())
    reader = sqlite3.connect(store.address)
    reader.execute("BEGIN")
    reader.execute("SELECT COUNT(*) FROM record").fetchone()
    put(store, [check(n) for n in range(100, 120)])
    keeping.restore(store.address, str(shelf / "new.chaffinch"))
    reader.close()
    assert identities(again(str(shelf / "new.chaffinch"))) == identities(store)


def test_a_server_book_goes_to_a_file_and_back_to_another_server_book(postgres: object, shelf: Path) -> None:
    first = begin(postgres.new_book(), full())  # type: ignore[attr-defined]
    keeping.back_up(Desk(first, "desk", clock), str(shelf / "copy.chaffinch"))
    second = begin(postgres.new_book())  # type: ignore[attr-defined]
    merging.merge(Desk(second, "desk"), Desk(again(str(shelf / "copy.chaffinch")), "desk"))
    assert identities(second) == identities(first)
    assert problems(second) == ()
