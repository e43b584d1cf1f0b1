"""Write a small book of each step, as the program of that day left it.

Run it as ``python tests/store/make_old_books.py``.

The files are kept in ``old_books`` and are not made anew once a step has landed; a new step adds a file, made before
the next one lands. The frozen steps make the tables; the rows go in as they did at the time, which only the program
of that time can do: this one makes books of the first step, which had no index tables, and of today's.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable
from contextlib import closing
from pathlib import Path

import sqlalchemy as sa
from farm_records import NOW, clock, filed, full, uid
from sqlalchemy.engine import Connection

from chaffinch.store import indexes
from chaffinch.store.address import engine_for
from chaffinch.store.backup import TABLES
from chaffinch.store.migrations import MIGRATIONS, NEWEST, apply, prepare
from chaffinch.sync.envelope import KEYS, Envelope, canonical

FOLDER = Path(__file__).parent / "old_books"
EVERY = tuple(range(1, NEWEST + 1))
EARLIER = EVERY[:-1]


def path_of(step: int) -> Path:
    return FOLDER / f"step-{step}.chaffinch"


def records_of(step: int) -> list[Envelope]:
    """What the kept book of a step holds; the first two steps' were made before checks were filed under trials."""
    return full() if step < 3 else [*full()[:-1], *filed(), full()[-1]]


def fill(connection: Connection, step: int, items: Iterable[Envelope]) -> None:
    """Bring an empty database to the first step or today's and put records in, the second of an id set aside."""
    if step not in (1, NEWEST):
        raise ValueError(f"no program is left that writes rows of step {step}; use its kept book")
    prepare(connection)
    for one in MIGRATIONS[:step]:
        apply(connection, one, now=NOW, program="of that day")
    for key, value in {"id": uid(999), "title": "Larkhollow", "started": NOW}.items():
        connection.execute(sa.text("INSERT INTO book (key, value) VALUES (:key, :value)"), {"key": key, "value": value})
    seen: set[str] = set()
    for item in items:
        table = "conflict" if item.id in seen else "record"
        row = {key: getattr(item, key) for key in KEYS} | {"body": canonical(item.body).decode(), "arrived": clock()}
        connection.execute(
            sa.text(f"INSERT INTO {table} ({', '.join(row)}) VALUES ({', '.join(f':{key}' for key in row)})"), row
        )
        seen.add(item.id)
    if step == NEWEST:
        indexes.make_anew(connection)


def fill_at(address: str, step: int, items: Iterable[Envelope]) -> None:
    """The same at an address where nothing is yet; no connection stays."""
    engine = engine_for(address, must_exist=False)
    with engine.begin() as connection:
        fill(connection, step, items)
    engine.dispose()


def carry_to_server(step: int, address: str) -> None:
    """Put the kept book of a step into an empty schema of a server, row by row."""
    engine = engine_for(address, must_exist=True)
    with (
        engine.begin() as connection,
        closing(sqlite3.connect(f"{path_of(step).absolute().as_uri()}?immutable=1", uri=True)) as kept,
    ):
        prepare(connection)
        for one in MIGRATIONS[:step]:
            apply(connection, one, now=NOW, program="of that day")
        connection.execute(sa.text("DELETE FROM migration"))
        for table in TABLES:
            columns = [row[1] for row in kept.execute(f"PRAGMA table_info({table})")]
            for row in kept.execute(f"SELECT * FROM {table}") if columns else ():
                connection.execute(
                    sa.text(f"INSERT INTO {table} ({', '.join(columns)}) VALUES (:{', :'.join(columns)})"),
                    dict(zip(columns, row, strict=True)),
                )
        for table in ("record", "conflict"):
            connection.execute(
                sa.text(f"SELECT setval(pg_get_serial_sequence('{table}', 'seq'), (SELECT MAX(seq) FROM {table}))")
            )
    engine.dispose()


def make(path: Path, step: int, items: Iterable[Envelope]) -> None:
    """Write a book of the first step or today's to a new file, small pages and no log beside it."""
    with closing(sqlite3.connect(path)) as raw:
        raw.execute("PRAGMA page_size = 1024")
        raw.execute("VACUUM")
    fill_at(str(path), step, items)


def main() -> None:
    FOLDER.mkdir(exist_ok=True)
    if not path_of(NEWEST).exists():
        make(path_of(NEWEST), NEWEST, records_of(NEWEST))


if __name__ == "__main__":
    main()
