"""Copies of a book that are whole even while somebody writes."""

from __future__ import annotations

import errno
import os
import re
import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager, suppress
from itertools import count
from pathlib import Path
from typing import Any, Final

import sqlalchemy as sa
from sqlalchemy.engine import Engine

from chaffinch.errors import BookError, InputError
from chaffinch.how_far import Progress
from chaffinch.store.bookfile import connect
from chaffinch.store.migrations import statements_until

TABLES: Final = ("migration", "book", "record", "conflict", "correction", "label", "check_row", "catch_row")
"""Every table of a book; what is pointed at comes first."""
ROWS_AT_ONCE: Final = 1000
PAGES_AT_ONCE: Final = 1000
"""Pages of a file copied between two reports of progress."""
GAP: Final = 1_000_000
"""Places in the order of arrival that a restored book leaves free; own figure, more than a farm writes between a backup
and the loss of its book."""
SEQUENCED: Final = ("record", "conflict")
"""Tables whose rows carry a place in the order of arrival."""
_ATTEMPTS: Final = count(1)
BESIDE: Final = ("-wal", "-shm", "-journal")
"""Endings of the files that SQLite keeps beside its own."""
_PARTIAL: Final = re.compile(r"\.([0-9]{1,9})-[0-9]+\.partial(-journal|-wal|-shm)?")


@contextmanager
def whole(target: str, *, what: str = "backup") -> Iterator[str]:
    """Give a name to write a new book under; it takes the target's own only once the block has ended well.

    So a file of the target's name is a whole book or is not there, whenever the program is stopped. What an attempt
    left behind whose program is gone is cleared away.

    Raises
    ------
    InputError
        When the target exists, also as a link that leads nowhere, or files of a lost book of that name lie there.
    BookError
        When it cannot be written.
    """
    if "\0" in target or not Path(target).name:
        raise InputError(what, target, "is no name of a file", "name a file, like farm.chaffinch")
    path = Path(target)
    refuse_taken(path, what)
    partial = path.with_name(f"{path.name}.{os.getpid()}-{next(_ATTEMPTS)}.partial")
    try:
        if not os.access(path.absolute().parent, os.W_OK | os.X_OK):
            raise OSError(errno.EACCES, f"its folder {_what_bars(path.absolute().parent)}")
        _clear_away(path)
        yield str(partial)
        with closing(connect(partial, "mode=rw")) as copy:
            # One file, no log beside it: it can be carried away.
            copy.execute("PRAGMA journal_mode = DELETE")
        _to_disk(partial)
        refuse_taken(path, what)
        _take_name(partial, path)
        if os.name == "posix":
            _to_disk(path.absolute().parent)
    except FileExistsError:  # somebody else was quicker
        _remove(partial)
        raise InputError(what, target, "is there already", "name another file") from None
    except (OSError, sqlite3.Error) as error:
        _remove(partial)
        reason = (isinstance(error, OSError) and error.strerror) or str(error)
        raise BookError(target, f"cannot be written: {' '.join(reason.split())}") from error
    except BaseException:
        _remove(partial)
        raise


def _what_bars(folder: Path) -> str:
    return "does not exist" if not folder.exists() else "is no folder" if not folder.is_dir() else "is read-only"


def refuse_taken(path: Path, what: str) -> None:
    """Refuse a name under which no new book may be put.

    Raises
    ------
    InputError
        When something of that name is there, or a log that SQLite would play into the new file.
    """
    if os.path.lexists(path):
        raise InputError(what, str(path), "is there already", "name another file")
    for ending in BESIDE:
        left = path.with_name(path.name + ending)
        if os.path.lexists(left):
            raise InputError(
                what,
                str(path),
                f"{left.name} is left of a book whose own file is gone, and may hold its last records",
                "put that book's file back beside it, or move it away; or name another file",
            )


def _take_name(partial: Path, path: Path) -> None:
    """Give the finished file its name, in one step that replaces nothing.

    Raises
    ------
    FileExistsError
        When the name was taken meanwhile.
    """
    if os.name == "nt":
        partial.rename(path)  # refuses a taken name there
        return
    try:
        os.link(partial, path)
    except FileExistsError:
        raise
    except OSError:
        # No second names on this disk (many a memory stick): an empty file holds the name for the moment.
        os.close(os.open(path, os.O_CREAT | os.O_EXCL | os.O_WRONLY))
        partial.replace(path)
        return
    partial.unlink()


def copy_pages(engine: Engine, target: str, *, progress: Progress | None = None) -> None:
    """Copy an SQLite book page by page, as of one moment, with what still lies in the log beside it."""

    def told(_: int, left: int, of: int) -> None:
        if progress is not None:
            progress(of - left, of)

    raw: Any = engine.raw_connection()
    try:
        source = raw.driver_connection
        # Held from the first page to the last: else each write of somebody else would begin the copy anew.
        source.execute("BEGIN")
        source.execute("SELECT COUNT(*) FROM sqlite_master").fetchone()
        with closing(connect(Path(target), "mode=rwc")) as copy:
            source.backup(copy, pages=PAGES_AT_ONCE, progress=told)
    finally:
        raw.close()


def copy_rows(source: sa.Connection, target: str, step: int, *, progress: Progress | None = None) -> None:
    """Copy a book of that step row by row into a new SQLite file, as the source's transaction sees it.

    What the book is called, its id, the order in which records arrived and when, the steps that ran: all of it is the
    same in the copy.
    """
    total = rows_in(source, step)
    done = 0
    with closing(connect(Path(target), "mode=rwc")) as copy:
        copy.execute("BEGIN")
        for statement in statements_until(step, "sqlite"):
            copy.execute(statement)
        for table in TABLES:
            columns = [row[1] for row in copy.execute(f"PRAGMA table_info({table})")]
            if not columns:
                continue  # came with a later step
            marks = ", ".join("?" * len(columns))
            query = sa.text(f"SELECT {', '.join(columns)} FROM {table}")
            rows = source.execute(query, execution_options={"yield_per": ROWS_AT_ONCE})
            for part in rows.partitions():
                copy.executemany(f"INSERT INTO {table} ({', '.join(columns)}) VALUES ({marks})", map(tuple, part))
                done += len(part)
                if progress is not None:
                    progress(done, total)
        copy.execute("COMMIT")


def last_place(source: Any, table: str) -> int:
    """The last place that was given out in a table of an SQLite book, by a connection of SQLite or SQLAlchemy."""
    run = getattr(source, "exec_driver_sql", source.execute)
    query = (
        f"SELECT MAX(COALESCE((SELECT MAX(seq) FROM {table}), 0), "
        f"COALESCE((SELECT seq FROM sqlite_sequence WHERE name = '{table}'), 0))"
    )
    return int(run(query).fetchone()[0])


def leave_a_gap(target: str) -> None:
    """Let a restored file go on far behind its last place in the order of arrival.

    What came after the backup was made had places too. Who had read up to one of them asks from there: a record that
    came in under the same place again would never be read.
    """
    with closing(connect(Path(target), "mode=rw")) as copy:
        copy.execute("BEGIN IMMEDIATE")
        for table in SEQUENCED:
            place = last_place(copy, table) + GAP
            copy.execute("DELETE FROM sqlite_sequence WHERE name = ?", (table,))
            copy.execute("INSERT INTO sqlite_sequence (name, seq) VALUES (?, ?)", (table, place))
        copy.execute("COMMIT")


def tables_at(step: int) -> tuple[str, ...]:
    """Tables of a book of that step; what is pointed at comes first."""
    text = " ".join(statements_until(step, "sqlite"))
    return tuple(table for table in TABLES if f"CREATE TABLE {table} " in text)


def rows_in(source: sa.Connection, step: int) -> int:
    """How many rows a book of that step has, all tables together."""
    return sum(int(source.execute(sa.text(f"SELECT COUNT(*) FROM {table}")).scalar_one()) for table in tables_at(step))


def _clear_away(path: Path) -> None:
    """Remove what killed programs left of this target; what another one is writing right now stays."""
    if os.name != "posix":
        return
    for left in path.parent.iterdir():
        found = _PARTIAL.fullmatch(left.name.removeprefix(path.name)) if left.name.startswith(path.name) else None
        if found and not _is_running(int(found[1])):
            left.unlink(missing_ok=True)


def _is_running(process: int) -> bool:
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return False
    except PermissionError:  # somebody else's
        return True
    return True


def _remove(partial: Path) -> None:
    for ending in ("", *BESIDE):
        # A name that cannot be removed is one that could not be made: too long, or under what is no folder.
        with suppress(OSError):
            partial.with_name(partial.name + ending).unlink(missing_ok=True)


def _to_disk(path: Path) -> None:
    handle = os.open(path, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
