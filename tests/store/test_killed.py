"""Nothing confirmed is lost: real processes are killed at random moments, and the books are opened again.

At least 200 children in all are ended by SIGKILL in the middle of starting, logging, merging, migrating and backing up.
The moment is drawn from the time the same work takes when nobody stops it; children that were done sooner do not count.
"""

from __future__ import annotations

import random
import shutil
import tempfile
from collections.abc import Callable, Iterator
from contextlib import suppress
from pathlib import Path
from typing import Any

import pytest
from at_work import Ended, Nursery, checks_of, nursery
from farm_records import again, begin, check, clock, edit, farm, identities, problems, put
from make_old_books import fill_at, make

from chaffinch.book import keeping
from chaffinch.errors import InputError
from chaffinch.store import opening
from chaffinch.sync.envelope import Envelope

pytestmark = pytest.mark.slow

KILLS = {
    "start": {"sqlite": 15},
    "log": {"sqlite": 50, "postgresql": 25},
    "merge": {"sqlite": 35, "postgresql": 15},
    "migrate": {"sqlite": 30, "postgresql": 10},
    "backup": {"sqlite": 25, "postgresql": 10},
    "restore": {"sqlite": 10, "postgresql": 6},
}
"""Children to be killed, by what they were doing; 200 or more in all."""

MOST_TRIES_EACH = 4


def test_the_kills_are_enough() -> None:
    assert sum(sum(on.values()) for on in KILLS.values()) >= 200


@pytest.fixture
def tmp_path(tmp_path: Path) -> Iterator[Path]:
    """A folder in memory, where there is one: a kill ends the program and not the machine, so no disk is waited for."""
    if not Path("/dev/shm").is_dir():
        yield tmp_path
        return
    with tempfile.TemporaryDirectory(dir="/dev/shm", prefix="chaffinch-") as folder:
        yield Path(folder)


@pytest.fixture(scope="module")
def warm(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Nursery]:
    with nursery(tmp_path_factory.mktemp("children")) as process:
        yield process


def kill_many(
    warm: Nursery,
    activity: str,
    kind: str,
    prepare: Callable[[int], tuple[Any, ...]],
    look: Callable[[int, Ended], None],
) -> None:
    """Prepare, work, kill, look; until as many children were killed as called for.

    ``prepare`` gives what the child does on its n-th try, ``look`` asserts what must hold afterwards, killed or not.
    """
    wanted = KILLS[activity][kind]
    chance = random.Random(f"{activity} on {kind}")
    killed, span_s = 0, 0.0
    for number in range(MOST_TRIES_EACH * wanted + 2):
        # The first two run to their end, to know how long that takes.
        (ended,) = warm.do(prepare(number), kill_after_s=None if number < 2 else chance.uniform(0, span_s))
        look(number, ended)
        if number < 2:
            assert ended.status == 0, ended.lines
            span_s = ended.seconds
        killed += ended.killed
        if killed == wanted:
            return
    pytest.fail(f"only {killed} of {wanted} children were killed before they were done")


@pytest.mark.parametrize("kind", KILLS["log"])
def test_killed_while_logging(warm: Nursery, place: Callable[[str], str], kind: str) -> None:
    """One book after another, five deaths each: what was confirmed before any of them is there, once, to the end."""
    book: dict[str, Any] = {}

    def prepare(number: int) -> tuple[Any, ...]:
        if number % 5 == 0:
            book.update(address=place(kind), confirmed={})
            begin(book["address"], farm())
        first = 1000 + 100 * number
        return "log_checks", book["address"], list(range(first, first + 9)), 1 + number % 3

    def look(number: int, ended: Ended) -> None:
        book["confirmed"].update(ended.confirmed("accepted"))
        found = identities(again(book["address"]))
        assert len(found) == len({i for i, _ in found}), "a record is there twice"
        assert book["confirmed"].items() <= dict(found).items()
        numbers = [n for k in range(number - number % 5, number + 1) for n in range(1000 + 100 * k, 1009 + 100 * k)]
        sent = {(e.id, e.hash) for e in checks_of(numbers)}
        assert set(found) - {(e.id, e.hash) for e in farm()} <= sent
        # A person whose phone got no answer sends all of it again.
        first = 1000 + 100 * number
        assert set(put(again(book["address"]), checks_of(range(first, first + 9)))) <= {"accepted", "known"}
        assert problems(again(book["address"])) == ()

    kill_many(warm, "log", kind, prepare, look)


def test_killed_while_starting(warm: Nursery, place: Callable[[str], str]) -> None:
    """Under a book's name there is a whole book or nothing; the name can be used again."""
    current = {}

    def prepare(number: int) -> tuple[Any, ...]:
        current["address"] = place("sqlite")
        return "start_and_log", current["address"], [1000 + number, 2000 + number]

    def look(_: int, ended: Ended) -> None:
        address = current["address"]
        if not Path(address).exists():
            assert ended.lines == ()
            begin(address)
        assert set(ended.confirmed("accepted")) <= set(identities(again(address)))
        assert problems(again(address)) == ()

    kill_many(warm, "start", "sqlite", prepare, look)


LEFT = [*farm(), *(check(n, mass_g=n % 50 / 10) for n in range(100, 108)), edit(900, "left", 1), check(990, mass_g=1)]
RIGHT = [*farm(), *(check(n, mass_g=n % 50 / 10) for n in range(108, 116)), edit(901, "right", 1), check(990, mass_g=2)]


def whole(items: list[Envelope]) -> list[tuple[str, str]]:
    return sorted({(e.id, e.hash) for e in items})


@pytest.mark.parametrize("kind", KILLS["merge"])
def test_killed_while_merging(warm: Nursery, place: Callable[[str], str], tmp_path: Path, kind: str) -> None:
    """Neither book loses what it had or what had come over; a further merge makes them equal."""
    shelf = [place("sqlite"), place("sqlite")]
    for address, items in zip(shelf, (LEFT, RIGHT), strict=True):
        begin(address, items)
    current: dict[str, str] = {}

    def prepare(_: int) -> tuple[Any, ...]:
        for side, source, items in (("here", shelf[0], LEFT), ("there", shelf[1], RIGHT)):
            if side == "there" and kind == "postgresql":
                current[side] = place(kind)
                begin(current[side], items)
            else:
                current[side] = str(tmp_path / f"{side}.chaffinch")
                for ending in ("", "-wal", "-shm"):
                    Path(current[side] + ending).unlink(missing_ok=True)
                shutil.copyfile(source, current[side])
        return "merge", current["here"], current["there"], 3

    def look(number: int, ended: Ended) -> None:
        for side, own in (("here", LEFT), ("there", RIGHT)):
            store = again(current[side])
            found = identities(store)
            assert len(found) == len(set(found)), "a record is there twice"
            assert set(found) >= set(whole(own)) | set(ended.confirmed(side))
            assert problems(store) == ()
            if "done" in ended.lines:
                assert found == whole(LEFT + RIGHT)
        if number % 5 == 0:
            warm.do(("merge", current["there"], current["here"]))
            for side in ("here", "there"):
                assert identities(again(current[side])) == whole(LEFT + RIGHT)

    kill_many(warm, "merge", kind, prepare, look)


OLD = [*farm(), *(check(n, mass_g=n % 50 / 10) for n in range(100, 115)), edit(900, "old", 1)]


@pytest.mark.parametrize("kind", KILLS["migrate"])
def test_killed_while_migrating(warm: Nursery, place: Callable[[str], str], tmp_path: Path, kind: str) -> None:
    """Opened again, the book goes on from the last whole step; each backup made before is the old book, whole."""
    shelf = tmp_path / "old.chaffinch"
    make(shelf, 1, OLD)
    folder = tmp_path / "farm"
    current: dict[str, str] = {}

    def prepare(_: int) -> tuple[Any, ...]:
        if kind == "postgresql":
            current["address"] = place(kind)
            fill_at(current["address"], 1, OLD)
        else:
            shutil.rmtree(folder, ignore_errors=True)
            folder.mkdir()
            current["address"] = str(folder / "farm.chaffinch")
            shutil.copyfile(shelf, current["address"])
        return "migrate", current["address"]

    def look(_: int, ended: Ended) -> None:
        store = again(current["address"])
        assert identities(store) == whole(OLD)
        assert problems(store) == ()
        kept = [p for p in folder.glob("*.before-step-*") if p.suffix != ".partial"] if store.is_file else []
        for backup in kept:
            found = opening.open_book(str(backup), clock=clock, program="test", keep_old=False)
            assert identities(found) == whole(OLD)
            assert problems(found) == ()
        if "done" in ended.lines and store.is_file:
            assert kept

    kill_many(warm, "migrate", kind, prepare, look)


@pytest.mark.parametrize("kind", KILLS["backup"])
def test_killed_while_backing_up(warm: Nursery, place: Callable[[str], str], tmp_path: Path, kind: str) -> None:
    """A file under the backup's name is whole, with every record; the book itself is as it was."""
    address = place(kind)
    begin(address, OLD)
    folder = tmp_path / "shelf"
    folder.mkdir()

    def prepare(number: int) -> tuple[Any, ...]:
        # The same name for three in turn: what a killed one left must not be in the way.
        return "back_up", address, str(folder / f"copy-{number // 3}.chaffinch")

    def look(number: int, ended: Ended) -> None:
        target = folder / f"copy-{number // 3}.chaffinch"
        if target.exists():
            copy = again(str(target))
            assert identities(copy) == whole(OLD)
            assert problems(copy) == ()
            target.unlink()
        else:
            assert not any(line.startswith("done") for line in ended.lines)
        if number % 5 == 0:
            assert problems(again(address)) == ()
            assert identities(again(address)) == whole(OLD)

    kill_many(warm, "backup", kind, prepare, look)


@pytest.mark.parametrize("kind", KILLS["restore"])
def test_killed_while_restoring(warm: Nursery, place: Callable[[str], str], kind: str) -> None:
    """There is the whole book, or nothing, and then the place is free for the next try."""
    backup = place("sqlite")
    begin(backup, OLD)
    current: dict[str, str] = {}

    def prepare(_: int) -> tuple[Any, ...]:
        current["target"] = place(kind)
        return "restore", backup, current["target"]

    def look(_: int, ended: Ended) -> None:
        try:
            found = again(current["target"])
        except InputError:  # no file of that name, or an empty database
            assert "done" not in ended.lines
            # What the killed one had sent last may still be carried out by the server, and then it is there now.
            with suppress(InputError):
                keeping.restore(backup, current["target"])
            found = again(current["target"])
        assert identities(found) == whole(OLD)
        assert problems(found) == ()

    kill_many(warm, "restore", kind, prepare, look)


def test_a_program_that_confirms_too_early_is_caught(warm: Nursery, place: Callable[[str], str]) -> None:
    """These tests can fail: a planted fault, told before it is written, loses a record within a few deaths."""
    address = place("sqlite")
    begin(address, farm())
    (measured,) = warm.do(("confirm_too_early", address, list(range(1000, 1020))))
    chance, confirmed = random.Random(1), set(measured.confirmed("accepted"))
    assert confirmed <= set(identities(again(address)))
    for number in range(1, 40):
        numbers = list(range(1000 + 100 * number, 1020 + 100 * number))
        (ended,) = warm.do(
            ("confirm_too_early", address, numbers), kill_after_s=chance.uniform(0.3, 0.9) * measured.seconds
        )
        confirmed.update(ended.confirmed("accepted"))
        if not confirmed <= set(identities(again(address))):
            return
    pytest.fail("the planted fault was not seen")


def test_a_backup_written_in_place_is_caught(warm: Nursery, place: Callable[[str], str], tmp_path: Path) -> None:
    address = place("sqlite")
    store = begin(address, [*OLD, *(check(n) for n in range(200, 260))])
    target = tmp_path / "copy.chaffinch"
    for delay_s in (0.05, 0.1, 0.2, 0.4, 0.8):
        (ended,) = warm.do(("back_up_in_place", address, str(target)), kill_after_s=delay_s)
        if ended.killed and target.exists() and identities(again(str(target))) != identities(store):
            return
        for left in tmp_path.glob("copy.chaffinch*"):
            left.unlink()
    pytest.fail("the planted fault was not seen")
