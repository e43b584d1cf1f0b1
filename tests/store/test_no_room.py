"""A full disk, a locked folder, a locked file: a clear line, and nothing half-written."""

from __future__ import annotations

import os
import shutil
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest
from at_work import Ended, Nursery, checks_of, nursery
from farm_records import again, begin, check, farm, identities, problems, put
from make_old_books import path_of

from chaffinch.errors import BookError
from chaffinch.store import opening


@pytest.fixture(scope="module")
def warm(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Nursery]:
    with nursery(tmp_path_factory.mktemp("children")) as process:
        yield process


@pytest.fixture
def folder() -> Iterator[Path]:
    """A folder that another user of this machine could reach, unlike pytest's own."""
    path = Path(tempfile.mkdtemp(prefix="chaffinch-locked-"))
    path.chmod(0o755)
    yield path
    shutil.rmtree(path)


def refused(ended: Ended, *words: str) -> str:
    """The one line a person sees."""
    assert ended.status == 3, ended.lines
    line = ended.lines[-1]
    assert line.startswith("error ")
    assert any(word in line for word in words), line
    return line


def test_the_disk_is_full_while_logging(warm: Nursery, tmp_path: Path) -> None:
    """What was confirmed until then is there; the batch that found no room is not there at all."""
    address = str(tmp_path / "farm.chaffinch")
    begin(address, farm())
    confirmed: set[tuple[str, str]] = set()
    lines = set()
    for attempt, room in enumerate(range(98_304, 400_000, 40_000)):
        first = 1000 * (attempt + 1)
        (ended,) = warm.do(("with_little_room", room, "log_checks", address, list(range(first, first + 60)), 20))
        confirmed.update(ended.confirmed("accepted"))
        if ended.status != 0:
            lines.add(refused(ended, "full", "I/O"))
        found = identities(again(address))
        assert set(found) == {(e.id, e.hash) for e in farm()} | confirmed
        assert len(found) == len(set(found))
        assert problems(again(address)) == ()
    assert lines, "there was room for all of it"
    assert len(confirmed) > 20
    assert all(address in line for line in lines)


@pytest.mark.parametrize("room", [1024, 4096, 20_000, 60_000])
def test_the_disk_is_full_while_starting(warm: Nursery, tmp_path: Path, room: int) -> None:
    address = tmp_path / "farm.chaffinch"
    (ended,) = warm.do(("with_little_room", room, "start_and_log", str(address), [1]))
    refused(ended, "full", "I/O", "written")
    assert list(tmp_path.iterdir()) == []


def test_the_disk_is_full_while_backing_up(warm: Nursery, tmp_path: Path) -> None:
    address = str(tmp_path / "farm.chaffinch")
    begin(address, [*farm(), *checks_of(range(100, 200))])
    (tmp_path / "shelf").mkdir()
    for activity in ("back_up", "restore"):
        target = str(tmp_path / "shelf" / "copy.chaffinch")
        (ended,) = warm.do(("with_little_room", 65_536, activity, address, target))
        refused(ended, "full", "I/O", "written")
        assert list((tmp_path / "shelf").iterdir()) == []
    assert problems(again(address)) == ()


def test_the_disk_is_full_while_migrating(warm: Nursery, tmp_path: Path) -> None:
    """No room for the backup, or none for a step: the old book is as it was, and opens once there is room."""
    whole = path_of(1).read_bytes()
    seen = set()
    for room in (1000, len(whole) - 1024, len(whole) + 100, len(whole) + 3000, 3 * len(whole)):
        address = tmp_path / f"{room}.chaffinch"
        address.write_bytes(whole)
        (ended,) = warm.do(("with_little_room", room, "migrate", str(address)))
        seen.add(ended.status)
        if ended.status != 0:
            refused(ended, "full", "I/O", "written")
        assert not list(tmp_path.glob("*.partial*"))
        store = again(str(address))
        assert len(identities(store)) == 14
        assert problems(store) == ()
    assert seen == {0, 3}


def test_a_folder_that_is_locked(warm: Nursery, folder: Path) -> None:
    address = str(folder / "farm.chaffinch")
    begin(address, farm())
    before = Path(address).read_bytes()
    folder.chmod(0o555)
    new = str(folder / "new.chaffinch")
    tries = {
        ("log_checks", address, (10,)): ("cannot be written",),
        ("start_and_log", new, (10,)): ("folder is read-only",),
        ("back_up", address, new): ("folder is read-only",),
        ("restore", address, new): ("folder is read-only",),
    }
    for activity, words in tries.items():
        (ended,) = warm.do(("as_nobody", *activity))
        refused(ended, *words)
        assert [p.name for p in folder.iterdir()] == ["farm.chaffinch"]
        assert Path(address).read_bytes() == before
    folder.chmod(0o755)
    assert put(again(address), [check(10)]) == ["accepted"]


def test_a_file_that_is_locked(warm: Nursery, folder: Path) -> None:
    address = str(folder / "farm.chaffinch")
    begin(address, farm())
    folder.chmod(0o777)
    Path(address).chmod(0o444)
    (ended,) = warm.do(("as_nobody", "log_checks", address, [10]))
    refused(ended, "readonly", "read-only")
    Path(address).chmod(0o000)
    (ended,) = warm.do(("as_nobody", "log_checks", address, [10]))
    refused(ended, "cannot be read")
    Path(address).chmod(0o644)
    store = again(address)
    assert len(identities(store)) == 4
    assert problems(store) == ()


def test_an_old_book_in_a_locked_folder_is_not_migrated(warm: Nursery, folder: Path) -> None:
    """No backup, no migration."""
    address = folder / "farm.chaffinch"
    shutil.copyfile(path_of(1), address)
    address.chmod(0o666)
    before = address.read_bytes()
    folder.chmod(0o555)
    (ended,) = warm.do(("as_nobody", "migrate", str(address)))
    refused(ended, "is of step 1 (today")
    assert address.read_bytes() == before
    folder.chmod(0o755)
    assert problems(again(str(address))) == ()


def test_a_writer_that_never_lets_go_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Another program holds the book: after the wait there is a line, and nothing of the batch is there."""
    from chaffinch.store import bookfile

    monkeypatch.setattr(bookfile, "BUSY_SECONDS", 0.1)
    store = begin(str(tmp_path / "farm.chaffinch"), farm())
    with store.engine.begin(), pytest.raises(BookError, match="locked"):
        put(again(store.address), [check(10)])
    assert len(identities(store)) == 4
    assert opening.shown(store.address) == store.address
    assert os.listdir(tmp_path) == ["farm.chaffinch"]
