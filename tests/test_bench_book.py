"""Does the bench of growing books still run, and is what it fills a whole book? No clock is held to anything here."""

from __future__ import annotations

import re
import subprocess
import sys
from collections import Counter
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
import sqlalchemy as sa

from chaffinch.book.checks.held import checks_where, counting
from chaffinch.book.desk import Desk, open_desk, start_book
from chaffinch.book.things import find_thing
from chaffinch.store import records
from chaffinch.store.verify import verify

BENCH = Path(__file__).resolve().parent.parent / "bench"


def bench(name: str, *arguments: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-W", "error", "-X", "utf8", str(BENCH / name), *arguments],
        capture_output=True,
        text=True,
        encoding="utf-8",
        check=False,
    )


@pytest.fixture(autouse=True)
def _bench_can_be_imported() -> Iterator[None]:
    sys.path.insert(0, str(BENCH))
    yield
    sys.path.remove(str(BENCH))


def test_book_scale_prints_views_exponents_and_ratios() -> None:
    done = bench("book_scale.py", "--sizes", "30,90", "--catches", "2", "--postgresql-most", "0", "--repeats", "1")
    assert done.returncode == 0, done.stderr
    assert "SQLite, 2 catches a check" in done.stdout
    assert "PostgreSQL" not in done.stdout
    for view in ("last week, counting", "field, counting", "field, answered"):
        row = re.search(rf"^{view} \[ms\] +(\d+\.\d) +(\d+\.\d) +(-?\d+\.\d\d) +(\d+\.\d)$", done.stdout, re.MULTILINE)
        assert row is not None, done.stdout
        assert float(row[1]) > 0
        assert float(row[4]) > 0
    assert re.search(r"^verify \[ms\] +\d", done.stdout, re.MULTILINE)


def test_book_scale_runs_on_postgresql_side_by_side(request: pytest.FixtureRequest) -> None:
    request.getfixturevalue("postgres")  # skips where there is no server to be had
    done = bench("book_scale.py", "--sizes", "30", "--catches", "2", "--repeats", "1")
    assert done.returncode == 0, done.stderr
    assert re.search(r"^30 checks +SQLite +PostgreSQL +ratio$", done.stdout, re.MULTILINE)
    assert re.search(r"^field, counting \[ms\] +\d+\.\d +\d+\.\d +\d+\.\d\d$", done.stdout, re.MULTILINE)


def test_book_scale_refuses_sizes_it_cannot_read() -> None:
    for sizes in ("many", "5"):
        done = bench("book_scale.py", "--sizes", sizes)
        assert done.returncode == 2
        assert "--sizes" in done.stderr


def test_the_book_it_fills_is_whole_and_as_described(tmp_path: Path) -> None:
    from book_scale import PER_FIELD, filled, harvests

    address = str(tmp_path / "bench.chaffinch")
    timed = filled(address, "SQLite", 120, 3, seed=1)
    desk = open_desk(address)
    kinds = Counter(one.kind for one in harvests(120, 3, 1))
    assert timed.records == kinds.total()
    assert kinds == {"season": 1, "operator": 1, "combine": 1, "field": 4, "trial": 12, "check": 120 + 3 + 1}
    found = verify(desk.store)
    assert found.problems == ()
    assert (found.records, found.conflicts) == (kinds.total() - 1, 1)
    # Three corrected checks count once, the one whose id was used twice not at all.
    assert len(counting(desk, checks_where(desk))) == 119
    field = next(one.envelope.id for one in records.every(desk.store, kind="field"))
    assert len(counting(desk, checks_where(desk, field=field))) == PER_FIELD - 1


def steps(desk: Desk, work: Callable[[Desk], object]) -> int:
    """Instructions SQLite's machine needs for it, in hundreds: the same on every machine, however busy."""
    counted = [0]

    def watch(connection: Any, _: object) -> None:
        def one_more() -> int:
            counted[0] += 1
            return 0

        connection.set_progress_handler(one_more, 100)

    sa.event.listen(desk.store.engine, "connect", watch)
    try:
        work(desk)
    finally:
        sa.event.remove(desk.store.engine, "connect", watch)
    return counted[0]


def test_a_view_does_not_cost_more_in_an_older_book(tmp_path: Path) -> None:
    """Ten times the checks, the same answer: the same work, but for the depth of an index (a few per cent)."""
    from book_scale import PER_FIELD, PER_WEEK, _taken_at, filled

    took: dict[str, list[int]] = {"week": [], "field": [], "season": [], "open": []}
    for size in (300, 3000):
        address = str(tmp_path / f"{size}.chaffinch")
        filled(address, "SQLite", size, 2, seed=1)
        desk = open_desk(address)
        since, place = _taken_at(size - PER_WEEK), find_thing(desk, "field", f"Field {size // PER_FIELD - 2}").id
        took["open"].append(steps(desk, lambda d: records.facts(d.store)))
        took["week"].append(steps(desk, lambda d, since=since: counting(d, checks_where(d, since=since))))
        took["field"].append(steps(desk, lambda d, place=place: counting(d, checks_where(d, field=place))))
        season = find_thing(desk, "season", "Season 0").id
        took["season"].append(steps(desk, lambda d, season=season: checks_where(d, season=season)))
        everything = steps(desk, lambda d: counting(d, checks_where(d)))
    # The measure sees it when everything is asked for, so it would see a view that walks through everything.
    assert everything > 5 * took["week"][1]
    for view, (small, large) in took.items():
        assert large <= 1.5 * small + 5, f"{view}: {small} to {large} hundred instructions"


def test_ids_are_looked_up_without_their_bodies(tmp_path: Path) -> None:
    desk = start_book(str(tmp_path / "b.chaffinch"), title="x")
    note, scale = desk.write("note", {"text": "one"}), desk.write("scale", {"name": "s", "step": "0.1 g"})
    stranger = "00000000-0000-4000-8000-000000000000"
    asked = [note.id, scale.id, stranger, note.id]
    assert records.among(desk.store, asked) == {note.id, scale.id}
    assert records.among(desk.store, asked, kind="scale") == {scale.id}
    assert records.among(desk.store, asked, aside=True) == set()
    assert records.among(desk.store, []) == set()
