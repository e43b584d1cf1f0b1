"""Several processes at one book: writers that partly send the same records, a reader in between, one that opens."""

from __future__ import annotations

import sqlite3
import threading
from collections.abc import Callable, Iterator
from contextlib import closing
from pathlib import Path

import pytest
from at_work import Nursery, checks_of, nursery
from farm_records import again, begin, check, edit, farm, identities, problems, put
from make_old_books import fill_at

from chaffinch.store import records
from chaffinch.store.verify import verify
from chaffinch.sync.envelope import Envelope
from postgres_server import Server

NewAddress = Callable[[], str]


@pytest.fixture(scope="module")
def warm(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Nursery]:
    with nursery(tmp_path_factory.mktemp("writers")) as process:
        yield process


@pytest.mark.parametrize("batch", [1, 10])
def test_two_writers_send_partly_the_same(warm: Nursery, new_address: NewAddress, batch: int) -> None:
    """2 × 100 records, 50 of them the same, from both ends: each is accepted once and known once."""
    address = new_address()
    begin(address, farm())
    upward, downward = list(range(100, 200)), list(range(249, 149, -1))
    one, other = warm.do(("log_checks", address, upward, batch), ("log_checks", address, downward, batch))
    assert (one.status, other.status) == (0, 0), (one.lines[-1:], other.lines[-1:])
    assert len(one.lines) == len(other.lines) == 100
    accepted = one.confirmed("accepted") + other.confirmed("accepted")
    known = one.confirmed("known") + other.confirmed("known")
    both = {(e.id, e.hash) for e in checks_of(range(150, 200))}
    assert len(accepted) == len(set(accepted)) == 150
    assert sorted(known) == sorted(both)
    assert identities(again(address)) == sorted({(e.id, e.hash) for e in farm()} | set(accepted))
    assert problems(again(address)) == ()


def test_writers_that_meet_head_on_do_not_lock_each_other_out(postgres: Server) -> None:
    """Two batches with the same new records in opposite order: one waits for the other, neither is thrown out."""
    address = postgres.new_book()
    begin(address, farm())
    outcomes: dict[int, list[str]] = {}
    gate = threading.Barrier(2)

    def write(side: int, items: list[Envelope]) -> None:
        store = again(address)
        gate.wait()
        outcomes[side] = put(store, items)

    for attempt in range(1, 6):
        outcomes.clear()
        items = checks_of(range(1000 * attempt, 1000 * attempt + 60))
        threads = [threading.Thread(target=write, args=(n, items[::step])) for n, step in enumerate((1, -1))]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        assert sorted(outcomes) == [0, 1], "a writer was thrown out"
        assert sorted(outcomes[0] + outcomes[1]) == ["accepted"] * 60 + ["known"] * 60


def test_an_unfinished_write_is_not_seen_and_does_not_stop_a_reader(new_address: NewAddress) -> None:
    address = new_address()
    store = begin(address, farm())
    before = identities(store)
    seen: list[object] = []
    add = records.indexes.add

    def look_in_the_middle(*arguments: object) -> None:
        reader = again(address)
        seen.append(identities(reader))
        seen.append(problems(reader))
        add(*arguments)  # type: ignore[arg-type]

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(records.indexes, "add", look_in_the_middle)
        assert put(store, [check(10), check(11)]) == ["accepted", "accepted"]
    assert seen == [before, ()]
    assert len(identities(again(address))) == len(before) + 2


def test_a_reader_sees_one_moment_while_others_write(warm: Nursery, new_address: NewAddress) -> None:
    """Verify reads records and indexes apart; what comes in between must not look like damage."""
    address = new_address()
    store = begin(address, farm())
    reads: list[tuple[int, tuple[str, ...]]] = []
    orders: list[object] = []
    thread = threading.Thread(target=lambda: orders.extend(warm.do(("log_checks", address, list(range(100, 220)), 2))))
    thread.start()
    while thread.is_alive():
        found = verify(store)
        reads.append((found.records, found.problems))
    thread.join()
    assert {p for _, p in reads} == {()}
    counts = [n for n, _ in reads]
    assert counts == sorted(counts)
    assert verify(store).records == 124
    assert len(set(counts)) > 1, "the reader never came in between"


def test_verify_in_between_two_of_its_own_steps(new_address: NewAddress) -> None:
    """The same, without chance: a record comes in while verify is halfway."""
    address = new_address()
    store = begin(address, [*farm(), *checks_of(range(100, 120))])

    def write(_: int, __: int) -> None:
        put(again(address), [check(500), edit(501, "meanwhile", 1)])

    assert verify(store, progress=write).problems == ()
    assert verify(store).records == 26


def test_what_comes_later_has_a_later_place(warm: Nursery, new_address: NewAddress) -> None:
    """Whoever has read up to a place has missed nothing before it, even while two others write."""
    address = new_address()
    store = begin(address)
    seen: list[str] = []
    after = 0
    thread = threading.Thread(
        target=lambda: warm.do(
            ("log_checks", address, list(range(100, 160)), 3), ("log_checks", address, list(range(200, 260)), 1)
        )
    )
    thread.start()
    while thread.is_alive():
        for stored in records.every(store, after=after):
            seen.append(stored.envelope.id)
            after = stored.seq
    thread.join()
    seen += [s.envelope.id for s in records.every(store, after=after)]
    assert len(seen) == len(set(seen))
    assert set(seen) == {i for i, _ in identities(store)}
    assert len(seen) == 120


def test_a_place_is_not_overtaken(postgres: Server) -> None:
    """The same, without chance: a slow writer begins first and ends last."""
    address = postgres.new_book()
    store = begin(address)
    begun, go_on = threading.Event(), threading.Event()
    add = records.indexes.add

    def slow(connection: object, fresh: list[tuple[str, str, object]], *rest: object) -> None:
        add(connection, fresh, *rest)  # type: ignore[arg-type]
        if fresh and fresh[0][0] == check(10).id:
            begun.set()
            go_on.wait(2)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(records.indexes, "add", slow)
        first = threading.Thread(target=lambda: put(again(address), [check(10)]))
        second = threading.Thread(target=lambda: put(again(address), [check(11)]))
        first.start()
        assert begun.wait(20)
        second.start()
        second.join(0.7)
        early = list(records.every(store))
        go_on.set()
        first.join()
        second.join()
    last = max((s.seq for s in early), default=0)
    late = [s.envelope.id for s in records.every(store, after=last)]
    assert sorted([s.envelope.id for s in early] + late) == [check(10).id, check(11).id]


def test_an_old_book_opened_by_two_programs_at_once(warm: Nursery, new_address: NewAddress) -> None:
    for _ in range(3):
        address = new_address()
        items = [*farm(), *checks_of(range(100, 160))]
        fill_at(address, 1, items)
        one, other = warm.do(("migrate", address), ("log_checks", address, list(range(200, 210))))
        assert (one.status, other.status) == (0, 0), (one.lines, other.lines)
        assert problems(again(address)) == ()
        assert len(identities(again(address))) == 74


def test_a_book_without_a_log_beside_it_is_opened_when_its_reader_has_done(tmp_path: Path) -> None:
    """SQLite itself does not wait with a change of mode; opening such a book does."""
    address = str(tmp_path / "old.chaffinch")
    fill_at(address, 1, farm())
    with closing(sqlite3.connect(address, isolation_level=None, check_same_thread=False)) as reader:
        reader.execute("BEGIN")
        reader.execute("SELECT COUNT(*) FROM record").fetchone()
        with closing(sqlite3.connect(address)) as other, pytest.raises(sqlite3.OperationalError, match="locked"):
            other.execute("PRAGMA journal_mode = WAL")
        done = threading.Timer(0.3, lambda: reader.execute("COMMIT"))
        done.start()
        store = again(address)
        assert not done.is_alive(), "it was opened before its reader had done"
        done.join()
    assert problems(store) == ()
