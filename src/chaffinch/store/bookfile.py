"""How is a book's file opened? To be written where that is allowed, else only to be read."""

from __future__ import annotations

import os
import sqlite3
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any, Final

import sqlalchemy as sa
from sqlalchemy.engine import Engine

from chaffinch.errors import BookError

BUSY_SECONDS: Final = 30.0
"""How long a writer waits for another one before it says so [s]; own figure."""
LOGS: Final = ("-wal", "-journal")
"""Endings of the files beside a book's own in which its last records may lie."""
ONLY_READING: Final = "only_reading"
"""Execution option of an engine whose file may not be written here."""
_LOOK_AGAIN: Final = 0.02
"""Pause before a change of mode is tried again [s]; own figure."""
_PRIMARY: Final = 0xFF
"""The part of SQLite's extended code that is the error's own (sqlite.org/rescode.html)."""
_WROTE: Final = "wrote"
"""Key under which a connection notes that it began to write."""


def may_write(path: Path) -> bool:
    """Whether a book may be written here: SQLite needs the file, and the folder for the log beside it."""
    return os.access(path.absolute().parent, os.W_OK) and (os.access(path, os.W_OK) or not path.exists())


def engine_for_file(path: Path, *, new: bool) -> Engine:
    """Connections to a book's file; ``new`` lets the file come into being.

    Raises
    ------
    BookError
        Later, when a file that may not be written is to be, or when records lie in a log that cannot be read here.
    """
    if new or may_write(path):
        return _to_write(path, "rwc" if new else "rw")
    return _only_to_read(path)


def connect(path: Path, query: str) -> sqlite3.Connection:
    """A connection to a file of exactly that name, with SQLite's own ``query`` on how to open it."""
    # Quoted once, for SQLite alone. Many a build of it takes a bare name like file:x for an address; and an address
    # read by SQLAlchemy too would be unquoted twice, and a # or % in a name would lead to another file.
    uri = f"{path.absolute().as_uri()}?{query}"
    return sqlite3.connect(uri, uri=True, timeout=BUSY_SECONDS, isolation_level=None, check_same_thread=False)


def _to_write(path: Path, mode: str) -> Engine:
    # No connection is kept between two uses. SQLite leaves its log beside the file as long as one is open. A program
    # that ends badly while it does nothing would leave that log, and a backup copied over the book by hand would then
    # be read together with it: "database disk image is malformed", tried out. See docs/book-scale.md for what it
    # costs, and Store.kept_open for who has much to write.
    engine = sa.create_engine("sqlite://", creator=lambda: connect(path, f"mode={mode}"), poolclass=sa.NullPool)

    @sa.event.listens_for(engine, "connect")
    def prepare(connection: Any, _: Any) -> None:
        cursor = connection.cursor()
        cursor.execute("PRAGMA foreign_keys = ON")
        # FULL: a record confirmed to a person survives a power cut, not only a crash.
        cursor.execute("PRAGMA synchronous = FULL")
        cursor.close()

    @sa.event.listens_for(engine, "begin")
    def begin(connection: sa.Connection) -> None:
        # IMMEDIATE: a writer waits for its turn at the start, instead of failing halfway. A reader needs no turn.
        reading = connection.get_execution_options().get("reading", False)
        if not reading:
            connection.info[_WROTE] = True
        connection.exec_driver_sql("BEGIN" if reading else "BEGIN IMMEDIATE")

    @sa.event.listens_for(engine, "checkin")
    def into_the_file(connection: Any, record: Any) -> None:
        # From the log beside the file into the file, so that the file alone, copied by hand, holds what was
        # confirmed. PASSIVE waits for nobody: what a reader still needs stays in the log until the next time.
        if record.info.pop(_WROTE, False) and connection is not None:
            # The transaction is on disk in the log already; that the file has no room now is no failure of it.
            with suppress(sqlite3.OperationalError):
                connection.execute("PRAGMA wal_checkpoint(PASSIVE)").fetchall()

    return engine


def _only_to_read(path: Path) -> Engine:
    # No connection is kept: one that takes the file as unchanging would not see what comes later.
    engine = sa.create_engine(
        "sqlite://",
        creator=lambda: _connect_to_read(path),
        poolclass=sa.NullPool,
        execution_options={ONLY_READING: True},
    )

    @sa.event.listens_for(engine, "begin")
    def begin(connection: sa.Connection) -> None:
        if not connection.get_execution_options().get("reading", False):
            what = "the file" if path.exists() and not os.access(path, os.W_OK) else "its folder"
            raise BookError(str(path), f"cannot be written, {what} is read-only; nothing was changed")
        connection.exec_driver_sql("BEGIN")

    return engine


def _connect_to_read(path: Path) -> sqlite3.Connection:
    """Open a file in a place that may not be written.

    SQLite keeps an index of the log beside the file and cannot make one here. Where no log lies, the file is all there
    is and is taken as unchanging; where one lies, it is read if its index is there too.
    """
    if not any(path.with_name(path.name + ending).exists() for ending in LOGS):
        return connect(path, "mode=ro&immutable=1" if has_log_beside(path) else "mode=ro")
    connection = connect(path, "mode=ro")
    try:
        connection.execute("SELECT COUNT(*) FROM sqlite_master").fetchone()
    except sqlite3.OperationalError:
        connection.close()
        if held := [ending for ending in LOGS if _size(path, ending)]:
            raise BookError(
                str(path),
                f"its last records may lie in {path.name}{held[0]}, which cannot be read in a read-only place; "
                "copy both to a folder that may be written, and open the copy",
            ) from None
        return connect(path, "mode=ro&immutable=1")
    return connection


def has_log_beside(path: Path) -> bool:
    """Whether the file notes that it keeps a log beside it (WAL: readers and a writer work at once)."""
    with path.open("rb") as file:
        return file.read(20)[18:20] == b"\x02\x02"


def keep_log_beside(engine: Engine, path: Path) -> None:
    """Let readers and a writer work at once in a file that may be written (WAL).

    Only for a file known to be a book: the mode is written into the file, and a stranger's file is left as it is.
    """
    if has_log_beside(path) or not may_write(path):
        return
    raw: Any = engine.raw_connection()
    try:
        _change_mode(raw.driver_connection, path)
    except sqlite3.Error as error:
        raise sa.exc.DBAPIError("PRAGMA journal_mode = WAL", None, error) from error
    finally:
        raw.close()


def _change_mode(connection: sqlite3.Connection, path: Path) -> None:
    # For a change of mode SQLite does not wait: it gives up at once while anybody else reads, writes or changes it.
    until = time.monotonic() + BUSY_SECONDS
    while not has_log_beside(path):
        try:
            connection.execute("PRAGMA journal_mode = WAL").fetchone()
            return
        except sqlite3.OperationalError as error:
            if error.sqlite_errorcode & _PRIMARY != sqlite3.SQLITE_BUSY or time.monotonic() > until:
                raise
            time.sleep(_LOOK_AGAIN)


@contextmanager
def unchanged(path: Path) -> Iterator[None]:
    """Hold that a file which was taken as unchanging did not change while it was read.

    Raises
    ------
    BookError
        When somebody who may write it did: what was read may be half of one moment and half of another.
    """
    # With a log beside it the file is read in turn with its writers, and may change.
    in_turn = any(_size(path, ending) for ending in LOGS)
    before = _seen(path)
    yield
    if not in_turn and _seen(path) != before:
        raise BookError(str(path), "was changed by somebody else while it was read; ask again")


def _seen(path: Path) -> tuple[int, int, int, bool]:
    found = path.stat()
    return found.st_ino, found.st_size, found.st_mtime_ns, any(_size(path, ending) for ending in LOGS)


def _size(path: Path, ending: str) -> int:
    """Size of a log beside the file [bytes]; 0 where there is none."""
    log = path.with_name(path.name + ending)
    return log.stat().st_size if log.exists() else 0
