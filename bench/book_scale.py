"""How does a book grow old? Opening, the last week, one field and verifying, from thousands of checks to 200,000.

    python bench/book_scale.py [--sizes 2000,20000,200000] [--catches 5] [--postgresql-most 20000] [--markdown]

Books are filled through ``chaffinch.store.records.append`` in batches, every record validated and hashed as ever. A
larger book is an older one: 150 checks a week and 30 a field, whatever the size, so a view whose answer stays as long
should take as long; its growth exponent (slope of log time on log size) should be near 0. Each view is also set against
the bare SQL that fetches the same rows. PostgreSQL runs beside SQLite where a server can be started.
"""

from __future__ import annotations

import json
import math
import sqlite3
import sys
import tempfile
import time
import uuid
from collections.abc import Callable, Iterator, Sequence
from contextlib import closing
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any, Final

import click
import numpy as np
import sqlalchemy as sa

from chaffinch.book.checks.fields import answered
from chaffinch.book.checks.held import checks_where, counting
from chaffinch.book.desk import Desk, open_desk, start_book
from chaffinch.book.things import find_thing
from chaffinch.records.kinds import CHECK
from chaffinch.store import records
from chaffinch.store.verify import verify
from chaffinch.sync.envelope import Envelope, seal

PER_WEEK, PER_FIELD, PER_SEASON, PER_TRIAL = 150, 30, 300, 10
"""Checks in one week, field, season (with a driver of its own) and trial: the length of the answers, the
same in every book."""
CORRECTED_EVERY, CONFLICT_EVERY = 50, 5000
"""One check in so many is corrected, or shares its id with another record."""
BATCH: Final = 1000
FIRST_WEEK: Final = datetime(2001, 1, 1)
DEVICE: Final = "bench"
FIELD_ROWS: Final = (
    "SELECT r.id, r.body FROM check_row c JOIN record r ON r.id = c.id WHERE c.field = {mark} ORDER BY c.taken_at"
)
WEEK_ROWS: Final = (
    "SELECT r.id, r.body FROM check_row c JOIN record r ON r.id = c.id WHERE c.taken_at >= {mark} ORDER BY c.taken_at"
)
SEASON_ROWS: Final = (
    "SELECT r.id, r.body FROM check_row c JOIN record r ON r.id = c.id WHERE c.season = {mark} ORDER BY c.taken_at"
)
IDS_OF: Final = "SELECT id FROM check_row WHERE {name} = :value ORDER BY taken_at DESC, id"
"""What a list by operator or by trial asks, as ``checks_where`` asks for a season."""
VIEWS: Final = (
    "open",
    "last week, ids",
    "last week, counting",
    "find field by name",
    "field, counting",
    "field, answered",
    "season, ids",
    "operator, ids",
    "trial, ids",
    "season, bare SQL",
    "week, bare SQL",
    "field, bare SQL",
    "one write",
    "one write, kept open",
    "verify",
)


@dataclass(slots=True)
class Timed:
    """One book: how it was filled, and the time of each view [s]."""

    database: str
    checks: int
    records: int = 0
    megabytes: float = 0.0
    filled_s: float = 0.0
    append_s: float = 0.0
    views: dict[str, float] = field(default_factory=dict)


def harvests(checks: int, catches: int, seed: int) -> Iterator[Envelope]:
    """Records of a book: a field, its thirty checks, the next field; some corrected, some with an id used twice."""
    chance = np.random.default_rng([seed, checks])

    def new_id() -> str:
        return str(uuid.UUID(bytes=chance.bytes(16), version=4))

    def sealed(kind: str, body: dict[str, Any], record_id: str | None = None) -> Envelope:
        return seal(record_id or new_id(), kind, 1, DEVICE, "2026-08-14T16:40:00Z", body)

    combine = sealed("combine", {"name": "Old Bess", "cut_width": "40 ft"})
    yield combine
    season = place = operator = trial = combine
    for number in range(checks):
        if number % PER_SEASON == 0:
            season = sealed("season", {"name": f"Season {number // PER_SEASON}"})
            operator = sealed("operator", {"name": f"Driver {number // PER_SEASON}"})
            yield season
            yield operator
        if number % PER_FIELD == 0:
            place = sealed("field", {"name": f"Field {number // PER_FIELD}", "season": season.id, "crop": "canola"})
            yield place
        if number % PER_TRIAL == 0:
            rotor = {side: [{"name": "rotor speed", "value": v, "unit": "rpm"}] for side, v in (("a", 600), ("b", 650))}
            trial = sealed("trial", {"taken_at": _taken_at(number), "combine": combine.id, **rotor})
            yield trial
        amounts = np.round(chance.gamma(6.0, 2.0, catches), 1)
        body = {
            "taken_at": _taken_at(number),
            "season": season.id,
            "field": place.id,
            "combine": combine.id,
            "operator": operator.id,
            "trial": trial.id,
            "side": "AB"[number % 2],
            "check": {
                "schema": 1,
                "crop": "canola",
                "country": "CA",
                "yield": "2521.9 kg/ha",
                "tkw": "3.6 g",
                "spreading": False,
                "speed": f"{4 + 0.1 * (number % 40):.1f} km/h",
                "combine": {"name": "Old Bess", "cut_width": "12.192 m", "drop_width": "1.6764 m"},
                "catch": [
                    {"place": "discharge", "pan": "0.371612 m2", "amount": f"{float(a)!r} g", "step": "0.1 g"}
                    for a in amounts
                ],
            },
        }
        one = sealed(CHECK, body)
        yield one
        if number % CORRECTED_EVERY == 7:
            yield sealed(CHECK, body | {"replaces": [one.id], "reason": "weighed again"})
        if number % CONFLICT_EVERY == 11:
            yield sealed(CHECK, body | {"reason": "id used twice"}, one.id)


def _taken_at(number: int) -> str:
    moment = FIRST_WEEK + timedelta(minutes=number * (7 * 24 * 60 / PER_WEEK))
    return moment.strftime("%Y-%m-%dT%H:%M:00Z")


def filled(address: str, database: str, checks: int, catches: int, seed: int) -> Timed:
    """Fill a new book and say how long it took, in all and in ``append`` alone."""
    timed = Timed(database, checks)
    desk = start_book(address, title="bench", device=DEVICE)
    began = time.perf_counter()
    waiting: list[Envelope] = []

    def send() -> None:
        sent = time.perf_counter()
        outcomes = {receipt.outcome for receipt in records.append(desk.store, waiting)}
        timed.append_s += time.perf_counter() - sent
        assert outcomes <= {"accepted", "conflict"}, outcomes
        timed.records += len(waiting)
        waiting.clear()

    for envelope in harvests(checks, catches, seed):
        waiting.append(envelope)
        if len(waiting) == BATCH:
            send()
    if waiting:
        send()
    timed.filled_s = time.perf_counter() - began
    if desk.store.is_file:
        timed.megabytes = Path(address).stat().st_size / 1e6
    return timed


def look(timed: Timed, address: str, bare: Callable[[str, str], list[Any]], repeats: int, verified: bool) -> None:
    """Time every view of one book: the least of some repeats, since a busy machine only ever adds."""
    desk = open_desk(address, device=DEVICE)
    since = _taken_at(timed.checks - PER_WEEK)
    name = f"Field {timed.checks // PER_FIELD // 2}"
    place = find_thing(desk, "field", name)
    week, ids = checks_where(desk, since=since), checks_where(desk, field=place.id)
    asked = middle_of(desk, ids[0])
    spare = extra_checks(desk, ids[0], 4 * repeats + 2)
    assert len(week) >= min(timed.checks, PER_WEEK)
    assert len(ids) >= min(timed.checks, PER_FIELD)
    views: dict[str, Callable[[], Any]] = {
        "open": lambda: open_desk(address, device=DEVICE),
        "last week, ids": lambda: checks_where(desk, since=since),
        "last week, counting": lambda: counting(desk, checks_where(desk, since=since)),
        "find field by name": lambda: find_thing(desk, "field", name),
        "field, counting": lambda: counting(desk, checks_where(desk, field=place.id)),
        "field, answered": lambda: answered(desk, checks_where(desk, field=place.id)),
        "season, ids": lambda: checks_where(desk, season=asked["season"]),
        "operator, ids": lambda: ids_of(desk, "operator", asked["operator"]),
        "trial, ids": lambda: ids_of(desk, "trial", asked["trial"]),
        "season, bare SQL": lambda: bare(SEASON_ROWS, asked["season"]),
        "week, bare SQL": lambda: bare(WEEK_ROWS, since),
        "field, bare SQL": lambda: bare(FIELD_ROWS, place.id),
        "one write": lambda: records.append(desk.store, [next(spare)]),
    }
    assert len(checks_where(desk, season=asked["season"])) >= min(timed.checks, PER_SEASON)
    assert len(ids_of(desk, "operator", asked["operator"])) >= min(timed.checks, PER_SEASON)
    assert len(ids_of(desk, "trial", asked["trial"])) >= min(timed.checks, PER_TRIAL)
    for view, work in views.items():
        timed.views[view] = _least_s(work, min(repeats, 3) if view == "field, answered" else repeats)
    with desk.store.kept_open():
        timed.views["one write, kept open"] = _least_s(lambda: records.append(desk.store, [next(spare)]), repeats)
    assert {row[0] for row in bare(FIELD_ROWS, place.id)} == set(ids)
    if verified:
        timed.views["verify"] = _least_s(lambda: _verified(desk), 1)


def middle_of(desk: Desk, check_id: str) -> dict[str, str]:
    """Season, operator and trial of a check."""
    with desk.store.reading() as connection:
        query = sa.text("SELECT season, operator, trial FROM check_row WHERE id = :id")
        return dict(connection.execute(query, {"id": check_id}).one()._mapping)


def ids_of(desk: Desk, name: str, value: str) -> list[str]:
    """Ids of checks by operator or trial, newest first."""
    with desk.store.reading() as connection:
        return [row.id for row in connection.execute(sa.text(IDS_OF.format(name=name)), {"value": value})]


def extra_checks(desk: Desk, like: str, count: int) -> Iterator[Envelope]:
    """Checks to write one at a time, long before all others so that no view holds them."""
    stored = records.read(desk.store, like)
    assert stored is not None
    body = {"taken_at": "2000-01-01T00:00:00Z", "check": stored.envelope.body["check"]}
    return iter([desk.seal(CHECK, body) for _ in range(count)])


def _verified(desk: Desk) -> None:
    found = verify(desk.store)
    assert not found.problems, found.problems[:3]


def _least_s(work: Callable[[], Any], repeats: int) -> float:
    took = []
    for _ in range(repeats):
        began = time.perf_counter()
        work()
        took.append(time.perf_counter() - began)
    return min(took)


def on_sqlite(size: int, catches: int, seed: int, repeats: int, verified: bool) -> Timed:
    """One SQLite book in a temporary folder."""
    with tempfile.TemporaryDirectory() as folder:
        address = str(Path(folder) / "bench.chaffinch")
        timed = filled(address, "SQLite", size, catches, seed)
        with closing(sqlite3.connect(address)) as raw:

            def bare(query: str, value: str) -> list[Any]:
                return _loaded(raw.execute(query.format(mark="?"), (value,)).fetchall())

            look(timed, address, bare, repeats, verified)
    return timed


def on_postgresql(address: str, size: int, catches: int, seed: int, repeats: int, verified: bool) -> Timed:
    """One PostgreSQL book at an address where nothing is yet."""
    import psycopg

    timed = filled(address, "PostgreSQL", size, catches, seed)
    with psycopg.connect(address, autocommit=True) as raw:
        raw.execute("VACUUM ANALYZE")  # a server that has run for a while has done so itself
        found = raw.execute("SELECT pg_total_relation_size('record') + pg_total_relation_size('catch_row')").fetchone()
        timed.megabytes = 0.0 if found is None else found[0] / 1e6

        def bare(query: str, value: str) -> list[Any]:
            return _loaded(raw.execute(query.format(mark="%s"), (value,)).fetchall())  # type: ignore[call-overload]

        look(timed, address, bare, repeats, verified)
    return timed


def _loaded(rows: Sequence[Any]) -> list[Any]:
    return [(row[0], json.loads(row[1])) for row in rows]


def exponent(timings: Sequence[Timed], view: str) -> float | None:
    """Slope of ln(time) on ln(checks); None with fewer than two sizes."""
    points = [(t.checks, t.views[view]) for t in timings if view in t.views]
    if len(points) < 2:
        return None
    ln = np.log(np.array(points))
    return float(np.polyfit(ln[:, 0], ln[:, 1], 1)[0])


def table(timings: Sequence[Timed]) -> list[list[str]]:
    """Rows of one database: filling, then each view, with its growth exponent and its ratio to the bare SQL."""
    sizes = [f"{t.checks:,}" for t in timings]
    rows = [["", *sizes, "exponent", "× bare SQL"]]
    rows.append(["records", *(f"{t.records:,}" for t in timings), "", ""])
    rows.append(["size [MB]", *(f"{t.megabytes:.1f}" for t in timings), "", ""])
    rows.append(["append [records/s]", *(f"{t.records / t.append_s:,.0f}" for t in timings), "", ""])
    rows.append(["seal and append [records/s]", *(f"{t.records / t.filled_s:,.0f}" for t in timings), "", ""])
    for view in VIEWS:
        if not any(view in t.views for t in timings):
            continue
        growth = exponent(timings, view)
        bare = f"{view.split(',')[0].removeprefix('last ')}, bare SQL"
        last = timings[-1].views
        ratio = f"{last[view] / last[bare]:.1f}" if bare in last and view in last and view != bare else ""
        took = [f"{1000 * t.views[view]:.1f}" if view in t.views else "" for t in timings]
        rows.append([f"{view} [ms]", *took, "" if growth is None else f"{growth:.2f}", ratio])
    return rows


def side_by_side(one: Timed, other: Timed) -> list[list[str]]:
    """The same book on both databases."""
    rows = [[f"{one.checks:,} checks", one.database, other.database, "ratio"]]
    pairs = {"seal and append [s]": (one.filled_s, other.filled_s)} | {
        f"{view} [ms]": (1000 * one.views[view], 1000 * other.views[view])
        for view in VIEWS
        if view in one.views and view in other.views
    }
    return rows + [[name, f"{a:.1f}", f"{b:.1f}", f"{b / a:.2f}"] for name, (a, b) in pairs.items()]


def drawn(rows: list[list[str]], markdown: bool) -> str:
    """A table as text, or in Markdown."""
    if markdown:
        lines = ["| " + " | ".join(row) + " |" for row in rows]
        return "\n".join([lines[0], "|---" + "|---:" * (len(rows[0]) - 1) + "|", *lines[1:]])
    wide = [max(len(row[i]) for row in rows) for i in range(len(rows[0]))]
    return "\n".join(
        "  ".join(c.ljust(w) if i == 0 else c.rjust(w) for i, (c, w) in enumerate(zip(row, wide, strict=True)))
        for row in rows
    )


def _server() -> tuple[Any, Callable[[Any], None]] | str:
    """A PostgreSQL server of the tests' own, and how to put it away; or why there is none."""
    sys.path.insert(0, str(Path(__file__).resolve().parent.parent / "tests"))
    try:
        from postgres_server import put_away, serve

        return serve(), put_away
    except (ImportError, OSError, RuntimeError) as error:
        return str(error)


def _sizes(_: click.Context, __: click.Parameter, text: str) -> list[int]:
    try:
        sizes = sorted({int(part) for part in text.split(",")})
    except ValueError:
        raise click.BadParameter(f"{text!r} is no list of whole numbers like 2000,20000") from None
    if sizes[0] < PER_FIELD:
        raise click.BadParameter(f"a book here has {PER_FIELD} checks or more")
    return sizes


@click.command()
@click.option("--sizes", callback=_sizes, default="2000,20000,200000", show_default=True, help="Checks in each book.")
@click.option("--catches", type=click.IntRange(1, 50), default=5, show_default=True, help="Catches in each check.")
@click.option("--postgresql-most", default=20_000, show_default=True, help="Largest book on PostgreSQL; 0 for none.")
@click.option("--verify-most", default=20_000, show_default=True, help="Largest book that is verified.")
@click.option("--repeats", type=click.IntRange(1), default=9, show_default=True, help="Repeats of each view.")
@click.option("--seed", default=1, show_default=True)
@click.option("--markdown", is_flag=True, help="Tables as they stand on the page.")
def main(
    sizes: list[int], catches: int, postgresql_most: int, verify_most: int, repeats: int, seed: int, markdown: bool
) -> None:
    """Fill books of several sizes and time what people ask of them."""
    began = time.perf_counter()
    timings = []
    for size in sizes:
        timings.append(on_sqlite(size, catches, seed, repeats, size <= verify_most))
        click.echo(f"SQLite, {size:,} checks: filled in {timings[-1].filled_s:.0f} s", err=True)
    click.echo(f"\nSQLite, {catches} catches a check\n\n{drawn(table(timings), markdown)}\n")
    there = [size for size in sizes if size <= postgresql_most]
    if there:
        served = _server()
        if isinstance(served, str):
            click.echo(f"PostgreSQL: skipped, no server could be started ({served})")
        else:
            server, put_away = served
            try:
                others = [
                    on_postgresql(server.new_book(), size, catches, seed, repeats, size <= verify_most)
                    for size in there
                ]
            finally:
                put_away(server)
            click.echo(f"PostgreSQL, {catches} catches a check\n\n{drawn(table(others), markdown)}\n")
            same = next(one for one in timings if one.checks == others[-1].checks)
            click.echo(f"{drawn(side_by_side(same, others[-1]), markdown)}\n")
    click.echo(f"{math.ceil(time.perf_counter() - began)} s, seed {seed}")


if __name__ == "__main__":
    main()
