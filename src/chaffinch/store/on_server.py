"""How does a backup's file become a book on a server?

In one transaction of the server, verified before it is committed: stopped at any moment, there is the whole book or an
empty database, as with a file. It is the same book: its id, its order of arrival and its hours, the steps that ran.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import closing
from typing import Any

import sqlalchemy as sa

from chaffinch.errors import BookError
from chaffinch.how_far import Progress, shares
from chaffinch.store import indexes
from chaffinch.store.address import engine_for
from chaffinch.store.backup import GAP, ROWS_AT_ONCE, SEQUENCED, last_place, rows_in, tables_at
from chaffinch.store.migrations import MIGRATIONS, NEWEST, apply, statements_until
from chaffinch.store.opening import Clock, Store, guarded, refuse_occupied, step_of
from chaffinch.store.verify import Verified, database_problems, verified_in


def put_on_server(
    source: Store, address: str, *, clock: Clock, program: str, progress: Progress | None = None
) -> Verified:
    """Put the book of a file into an empty database of a PostgreSQL server, and verify it there.

    An older book is brought up to date on the way; the file is left as it is.

    Parameters
    ----------
    source : Store
        The open file.
    address : str
        Address of an empty database or schema.
    clock, program
        Noted with the steps that an older book still lacks.
    progress : callable or None
        Called with (done, of).

    Raises
    ------
    InputError
        When the database holds a book or other tables, or the file is no book.
    BookError
        When the file cannot be read or is not whole, or the server does not answer; then nothing was written.
    """
    step = step_of(source)
    copying, making_anew, verifying = shares(progress, 1, 2 if step < NEWEST else 0, 6)
    with (
        closing(Store(address, engine_for(address, must_exist=False), clock)) as target,
        guarded(address),
        target.engine.begin() as there,
    ):
        refuse_occupied(there, address, field="restore")
        for statement in statements_until(step, "postgresql"):
            there.exec_driver_sql(statement)
        _carry(source, there, address, step, copying)
        for one in MIGRATIONS[step:]:
            apply(there, one, now=clock(), program=program)
        if step < NEWEST:
            indexes.make_anew(there, leave_out_damaged=True, progress=making_anew)
        found = verified_in(there, progress=verifying)
        if found.problems:
            raise BookError(source.address, f"the backup is not whole: {found.problems[0]}; nothing was written")
    return found


def _carry(source: Store, there: sa.Connection, address: str, step: int, progress: Progress) -> None:
    """Copy every row of every table, as one moment of the file has them."""
    with guarded(source.address), source.reading() as here:
        total, done = rows_in(here, step), 0
        if wrong := database_problems(here):
            raise BookError(source.address, f"the backup is not whole: {wrong[0]}; nothing was written")

        def one_more() -> None:
            nonlocal done
            done += 1
            if done % ROWS_AT_ONCE == 0 or done == total:
                progress(done, total)

        for table in tables_at(step):
            columns = [row[1] for row in here.exec_driver_sql(f"PRAGMA table_info({table})")]
            rows = _rows(source.address, here, table, columns)
            with guarded(address):  # what goes wrong here is the server's, not the file's
                _insert(there, table, columns, rows, one_more)
        places = {table: last_place(here, table) + GAP for table in SEQUENCED}
    with guarded(address):
        for table, place in places.items():
            # As in a restored file, see leave_a_gap: what came after the backup had places too.
            there.execute(sa.text(f"SELECT setval(pg_get_serial_sequence('{table}', 'seq'), :place)"), {"place": place})


def _rows(file: str, here: sa.Connection, table: str, columns: Sequence[str]) -> Iterator[sa.Row[Any]]:
    query = sa.text(f"SELECT {', '.join(columns)} FROM {table}")
    with guarded(file):
        yield from here.execute(query, execution_options={"yield_per": ROWS_AT_ONCE})


def _insert(
    there: sa.Connection, table: str, columns: Sequence[str], rows: Iterable[sa.Row[Any]], one_more: Callable[[], None]
) -> None:
    """Put all rows of a table in at one go, the server's own way of it, within the transaction."""
    driver: Any = there.connection.driver_connection
    with driver.cursor() as cursor, cursor.copy(f"COPY {table} ({', '.join(columns)}) FROM STDIN") as copy:
        for row in rows:
            copy.write_row(tuple(row))
            one_more()
