"""Starting a book, opening one, and bringing an older one up to date with a backup first."""

from __future__ import annotations

import os
from collections.abc import Callable
from dataclasses import dataclass, field
from itertools import count
from pathlib import Path
from typing import Final

import sqlalchemy as sa
from sqlalchemy.engine import Engine

from chaffinch.errors import BookError, InputError
from chaffinch.store import backup, indexes
from chaffinch.store.address import engine_for, is_postgresql, keep_log_beside, shown
from chaffinch.store.migrations import MIGRATIONS, NEWEST, apply, prepare, ran

Clock = Callable[[], str]
"""Gives the time in UTC, ISO 8601; the callers' clock, never our own."""

PROGRAM: Final = "chaffinch"


@dataclass(frozen=True, slots=True)
class Store:
    """An open book.

    Attributes
    ----------
    address : str
        File name or PostgreSQL address.
    engine : Engine
        Connections to it.
    clock : callable
        Gives the time a record arrives.
    """

    address: str = field(repr=False)  # may hold a password
    engine: Engine
    clock: Clock

    @property
    def is_file(self) -> bool:
        """Whether the book is one SQLite file."""
        return not is_postgresql(self.address)

    def reading(self) -> sa.Connection:
        """A connection whose transaction only reads, and sees the book as of one moment."""
        connection = self.engine.connect().execution_options(reading=True)
        return connection if self.is_file else connection.execution_options(isolation_level="REPEATABLE READ")


def start(address: str, *, book_id: str, title: str, clock: Clock, program: str) -> Store:
    """Start a new, empty book.

    Raises
    ------
    InputError
        When there is a book (or anything else) at that address already.
    BookError
        When it cannot be written.
    """
    if not is_postgresql(address) and os.path.lexists(address):
        raise InputError("book", address, "is there already", "open it, or name another file")
    store = Store(address, engine_for(address, must_exist=False), clock)
    facts = {"id": book_id, "title": title, "started": clock()}
    if not store.is_file:
        _fill(store, facts, program)
        return store
    # Made under another name: stopped at any moment, there is a whole book or none.
    with guarded(address):
        with backup.whole(address, what="book") as partial:
            _fill(Store(partial, engine_for(partial, must_exist=False), clock), facts, program)
        keep_log_beside(store.engine, Path(address))
    return store


def _fill(store: Store, facts: dict[str, str], program: str) -> None:
    """Make the tables of a new book in an empty database, in one transaction."""
    address = store.address
    with guarded(address), store.engine.begin() as connection:
        if ran(connection) is not None:
            raise InputError("book", shown(address), "holds a book already", "open it, or name another database")
        strangers = sa.inspect(connection).get_table_names()
        if strangers:
            raise InputError(
                "book", shown(address), f"holds other tables ({', '.join(sorted(strangers)[:3])})", "name an empty one"
            )
        prepare(connection)
        for step in MIGRATIONS:
            apply(connection, step, now=store.clock(), program=program)
        connection.execute(
            sa.text("INSERT INTO book (key, value) VALUES (:key, :value)"),
            [{"key": key, "value": value} for key, value in facts.items()],
        )


def open_book(address: str, *, clock: Clock, program: str, keep_old: bool = True) -> Store:
    """Open a book; an older one is migrated, a file after a backup was made beside it.

    Parameters
    ----------
    address : str
        File name or PostgreSQL address.
    clock : callable
        Gives the time.
    program : str
        Version noted with each step.
    keep_old : bool
        Make that backup; False only for a file that is a copy itself.

    Raises
    ------
    InputError
        When it does not exist, is no book, or is newer than this program.
    BookError
        When it is damaged, cannot be written, or the server does not answer.
    """
    engine = engine_for(address, must_exist=True)
    store = Store(address, engine, clock)
    number = step_of(store)
    if store.is_file:
        with guarded(address):
            keep_log_beside(engine, Path(address))
    if number < NEWEST:
        _migrate(store, number, program, keep_old)
    return store


def step_of(store: Store) -> int:
    """The step a book stands at; refuses what is no book, or a newer one."""
    address = store.address
    with guarded(address), store.reading() as connection:
        number = ran(connection)
    if number is None:
        raise InputError("book", shown(address), "is a database but not a book", "name another one")
    if number > NEWEST:
        raise InputError(
            "book",
            shown(address),
            f"was written by a newer program (step {number}, this one knows {NEWEST})",
            "update chaffinch; nothing was changed",
        )
    return number


def _migrate(store: Store, number: int, program: str, keep_old: bool) -> None:
    if store.is_file and keep_old:
        # Nobody else writes or migrates while the copy is made: it is the book as it was.
        with guarded(store.address), store.engine.begin() as turn:
            if (ran(turn) or 0) < NEWEST:
                _keep_old(store, number)
    for step in MIGRATIONS:
        if step.number <= number:
            continue
        with guarded(store.address), store.engine.begin() as connection:
            if store.engine.dialect.name == "postgresql":
                # Two programs that open an old book at once: the second waits, then finds the step done.
                connection.exec_driver_sql("LOCK TABLE migration IN EXCLUSIVE MODE")
            if (ran(connection) or 0) < step.number:
                apply(connection, step, now=store.clock(), program=program)


def _keep_old(store: Store, number: int) -> None:
    stamp = store.clock().replace(":", "").replace("-", "")
    target = f"{store.address}.before-step-{number + 1}-{stamp}"
    names = (target if n == 1 else f"{target}-{n}" for n in count(1))
    with backup.whole(next(name for name in names if not os.path.lexists(name))) as partial:
        backup.copy_pages(store.engine, partial)


class guarded:  # noqa: N801 (reads as a word in a with statement)
    """Turn what the database library raises into one clear line that names the book."""

    def __init__(self, address: str) -> None:
        self.where = shown(address)

    def __enter__(self) -> guarded:
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, _: object) -> None:
        if isinstance(error, UnicodeDecodeError):
            # SQLite quotes damaged text in its own message, which then cannot be read.
            raise BookError(self.where, "the file is damaged: its text cannot be read") from error
        if isinstance(error, sa.exc.DBAPIError | OSError | indexes.DamagedError):
            reason = str(error.orig if isinstance(error, sa.exc.DBAPIError) else error)
            raise BookError(self.where, " ".join(reason.split())[:200]) from error
