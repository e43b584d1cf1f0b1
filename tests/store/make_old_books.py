"""Write a small book of each earlier step, as the program of that day left it.

Run it as ``python tests/store/make_old_books.py``.

The files are kept in ``old_books`` and are not made anew once a step has landed; a new step adds a file. The frozen
migration steps make the tables, and the records go in as they did at the time.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable
from pathlib import Path

import sqlalchemy as sa
from farm_records import NOW, clock, full, uid
from sqlalchemy.engine import Connection

from chaffinch.store import indexes
from chaffinch.store.address import engine_for
from chaffinch.store.migrations import MIGRATIONS, NEWEST, apply, prepare
from chaffinch.sync.envelope import KEYS, Envelope, canonical

FOLDER = Path(__file__).parent / "old_books"
EARLIER = tuple(range(1, NEWEST))

INDEXES_OF_STEP = {1: (), 2: ("correction", "label")}
"""Index tables that the program of each step kept."""


def path_of(step: int) -> Path:
    return FOLDER / f"step-{step}.chaffinch"


def fill(connection: Connection, step: int, items: Iterable[Envelope]) -> None:
    """Bring an empty database to a step and put records in, the second of an id among the conflicts."""
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
        if table == "record":
            indexes.add(connection, [(item.id, item.kind, item.body)], INDEXES_OF_STEP[step])
        seen.add(item.id)


def make(path: Path, step: int, items: Iterable[Envelope]) -> None:
    """Write a book of an earlier step to a new file, small pages and no log beside it."""
    with sqlite3.connect(path) as raw:
        raw.execute("PRAGMA page_size = 1024")
        raw.execute("VACUUM")
    raw.close()
    engine = engine_for(str(path), must_exist=False)
    with engine.begin() as connection:
        fill(connection, step, items)


def main() -> None:
    FOLDER.mkdir(exist_ok=True)
    for step in EARLIER:
        if not path_of(step).exists():
            make(path_of(step), step, full())


if __name__ == "__main__":
    main()
