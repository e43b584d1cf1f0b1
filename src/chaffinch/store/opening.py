"""Starting a book, opening one, and bringing an older one up to date with a backup first."""

from __future__ import annotations

import json
import os
import re
import sqlite3
import weakref
from collections.abc import Callable, Iterator
from contextlib import ExitStack, closing, contextmanager
from dataclasses import dataclass, field
from itertools import count
from pathlib import Path
from typing import Final

import sqlalchemy as sa
from sqlalchemy.engine import Engine

from chaffinch.errors import BookError, InputError
from chaffinch.how_far import Progress, shares
from chaffinch.store import backup, indexes
from chaffinch.store.address import engine_for, is_postgresql, shown
from chaffinch.store.bookfile import ONLY_READING, keep_log_beside, unchanged
from chaffinch.store.migrations import MIGRATIONS, NEWEST, apply, prepare, ran

Clock = Callable[[], str]
"""Gives the time in UTC, ISO 8601; the callers' clock, never our own."""

PROGRAM: Final = "chaffinch"
KEPT: Final = "copy "
"""Before the name of a copy that was made of an older book, as key of a fact about the book."""


_FILLING: Final = 1_667_787_110
"""Of the server's own locks the one that is held while a book is started or restored; a number of our own."""


@dataclass(frozen=True, slots=True, weakref_slot=True)
class Store:
    """An open book.

    Connections to a server are kept for the next reader or writer until :meth:`close`, or until nobody holds the store
    any more; a file is opened for each use, and stands alone in between.

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

    @property
    def only_reading(self) -> bool:
        """Whether it lies where it may not be written."""
        return bool(self.engine.get_execution_options().get(ONLY_READING, False))

    def __post_init__(self) -> None:
        weakref.finalize(self, self.engine.dispose)

    def close(self) -> None:
        """Give back the connections that were kept."""
        self.engine.dispose()

    @contextmanager
    def kept_open(self) -> Iterator[None]:
        """Keep a file open for the length of a block, for who writes often: each write is quicker by the closing.

        What is confirmed is in the file as ever; but as long as the block lasts SQLite's log lies beside the file,
        which must not be moved, and the log stays if the program is killed. On a server this changes nothing.
        """
        if not self.is_file:
            yield
            return
        with guarded(self.address), self.engine.connect() as held:
            # The log comes into being with the first look; the look itself is over before the block begins.
            with held.execution_options(reading=True).begin():
                held.exec_driver_sql("SELECT COUNT(*) FROM book").fetchone()
            yield

    @contextmanager
    def reading(self) -> Iterator[sa.Connection]:
        """A connection whose transaction only reads, and sees the book as of one moment."""
        with ExitStack() as stack:
            if self.only_reading:
                stack.enter_context(unchanged(Path(self.address)))
            connection = stack.enter_context(self.engine.connect()).execution_options(reading=True)
            yield connection if self.is_file else connection.execution_options(isolation_level="REPEATABLE READ")


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
    facts = {"id": book_id, "title": title, "started": clock()}
    engine = engine_for(address, must_exist=False)
    if is_postgresql(address):
        store = Store(address, engine, clock)
        _fill(store, facts, program)
        return store
    # Made under another name: stopped at any moment, there is a whole book or none.
    with guarded(address):
        with (
            backup.whole(address, what="book") as partial,
            closing(Store(partial, engine_for(partial, must_exist=False), clock)) as new,
        ):
            _fill(new, facts, program)
        store = Store(address, engine_for(address, must_exist=True), clock)
        keep_log_beside(store.engine, Path(address))
    return store


def _fill(store: Store, facts: dict[str, str], program: str) -> None:
    """Make the tables of a new book in an empty database, in one transaction."""
    address = store.address
    with guarded(address), store.engine.begin() as connection:
        refuse_occupied(connection, address)
        prepare(connection)
        for step in MIGRATIONS:
            apply(connection, step, now=store.clock(), program=program)
        connection.execute(
            sa.text("INSERT INTO book (key, value) VALUES (:key, :value)"),
            [{"key": key, "value": value} for key, value in facts.items()],
        )


def refuse_occupied(connection: sa.Connection, address: str, *, field: str = "book") -> None:
    """Refuse a database that holds anything: a book is started or restored in an empty one.

    Raises
    ------
    InputError
        When it holds a book, or other tables.
    """
    if connection.dialect.name == "postgresql":
        # Who comes while another fills it waits until that one is done or has given up, and then sees what is there.
        place = "hashtext(current_database() || '.' || current_schema())"
        connection.exec_driver_sql(f"SELECT pg_advisory_xact_lock({_FILLING}, {place})")
    if ran(connection) is not None:
        raise InputError(field, shown(address), "holds a book already", "open it, or name another database")
    strangers = sa.inspect(connection).get_table_names()
    if strangers:
        raise InputError(
            field, shown(address), f"holds other tables ({', '.join(sorted(strangers)[:3])})", "name an empty one"
        )


def open_book(
    address: str,
    *,
    clock: Clock,
    program: str,
    keep_old: bool = True,
    keep_old_in: str | None = None,
    device: str = "",
    kept: Callable[[str], None] | None = None,
    progress: Progress | None = None,
) -> Store:
    """Open a book; an older one is migrated after a copy of it was made.

    The copy is a file of the older step, named after the book, the step and the hour: beside the book's own file, or,
    of a book on a server, in ``keep_old_in``. A book that may not be written here is opened to be read.

    Parameters
    ----------
    address : str
        File name or PostgreSQL address.
    clock : callable
        Gives the time.
    program : str
        Version noted with each step.
    keep_old : bool
        Make that copy; False only for a file that is a copy itself.
    keep_old_in : str or None
        Folder for the copy of a book on a server; None for the folder the program runs in.
    device : str
        This computer's name for itself, noted with the copy: of a book on a server it lies here.
    kept : callable or None
        Called with the name of that copy as soon as it is whole, before anything is changed.
    progress : callable or None
        Called with (done, of) while an older book is copied and brought up to date.

    Raises
    ------
    InputError
        When it does not exist, is no book, is newer than this program, or is older and may not be written here.
    BookError
        When it is damaged, cannot be written, or the server does not answer.
    """
    store = Store(address, engine_for(address, must_exist=True), clock)
    try:
        number = step_of(store)
        if store.is_file:
            with guarded(address):
                keep_log_beside(store.engine, Path(address))
        if number < NEWEST:
            if store.only_reading:
                raise InputError(
                    "book",
                    address,
                    f"is of step {number} (today {NEWEST}) and cannot be brought up to date in a read-only place",
                    "copy it to a folder that may be written, and open the copy",
                )
            told = _Telling(device, kept, progress)
            _migrate(store, number, program, (keep_old_in or ".") if keep_old else None, told)
    except BaseException:
        store.close()
        raise
    return store


def step_of(store: Store) -> int:
    """The step a book stands at; refuses what is no book, or a newer one."""
    address = store.address
    with guarded(address), store.reading() as connection:
        number = ran(connection)
    if number is None:
        mend = "name another one" if store.is_file else "start a book there or restore one; or name another database"
        raise InputError("book", shown(address), "is a database but not a book", mend)
    if number > NEWEST:
        raise InputError(
            "book",
            shown(address),
            f"was written by a newer program (step {number}, this one knows {NEWEST})",
            "update chaffinch; nothing was changed",
        )
    return number


@dataclass(frozen=True, slots=True)
class _Telling:
    """Who brings a book up to date, and whom to tell."""

    device: str
    kept: Callable[[str], None] | None
    progress: Progress | None


def _migrate(store: Store, number: int, program: str, keep_old_in: str | None, telling: _Telling) -> None:
    steps = [step for step in MIGRATIONS if step.number > number]
    # Rows go to a copy's file slowly, pages quickly; the index rows are what takes long.
    weights = (0 if keep_old_in is None else 1 if store.is_file else 5, len(steps), 10)
    copying, stepping, making_anew = shares(telling.progress, *weights)
    fact: dict[str, str] | None = None
    if keep_old_in is not None:
        # Nobody else writes or migrates while the copy is made: it is the book as it was.
        with guarded(store.address), store.engine.connect() as turn:
            if not store.is_file:
                turn = turn.execution_options(isolation_level="REPEATABLE READ")  # noqa: PLW2901
            with turn.begin():
                _take_turn(turn)
                if (stands_at := ran(turn) or 0) < NEWEST:
                    name = _keep_old(store, turn, stands_at, number, keep_old_in, copying)
                    told = {"step": stands_at, "at": store.clock(), "device": telling.device}
                    place = str(Path(name).absolute()).encode("utf-8", "replace").decode()
                    fact = {"key": KEPT + place, "value": json.dumps(told, sort_keys=True)}
        if fact is not None and telling.kept is not None:
            telling.kept(place)
    for done, step in enumerate(steps, start=1):
        with guarded(store.address), store.engine.begin() as connection:
            _take_turn(connection)
            if fact is not None:
                note = "INSERT INTO book (key, value) VALUES (:key, :value) ON CONFLICT (key) DO NOTHING"
                connection.execute(sa.text(note), fact)
            if (ran(connection) or 0) < step.number:
                apply(connection, step, now=store.clock(), program=program)
                stepping(done, len(steps))
                if step.number == NEWEST:
                    # A record that is damaged has no rows; it must not keep the book from being opened and verified.
                    indexes.make_anew(connection, leave_out_damaged=True, progress=making_anew)


def _take_turn(connection: sa.Connection) -> None:
    """Let two programs that open an old book at once go one after the other, and nobody write meanwhile."""
    if connection.dialect.name == "postgresql":
        connection.exec_driver_sql("LOCK TABLE migration IN EXCLUSIVE MODE")
        connection.exec_driver_sql("LOCK TABLE record IN SHARE ROW EXCLUSIVE MODE")


def _keep_old(store: Store, turn: sa.Connection, stands_at: int, number: int, folder: str, progress: Progress) -> str:
    """Copy the book as it is to a file of its own step, under a name that is free; gives that name."""
    stamp = store.clock().replace(":", "").replace("-", "")
    ending = f".before-step-{number + 1}-{stamp}"
    if store.is_file:
        target = store.address + ending
    else:
        place = turn.execute(sa.text("SELECT current_database() || '.' || current_schema()")).scalar_one()
        target = str(Path(folder, re.sub(r"[^\w.-]", "_", str(place)).lstrip(".") + ending))
    names = (target if n == 1 else f"{target}-{n}" for n in count(1))
    name = next(name for name in names if not os.path.lexists(name))
    try:
        with backup.whole(name) as partial:
            if store.is_file:
                backup.copy_pages(store.engine, partial, progress=progress)
            else:
                backup.copy_rows(turn, partial, stands_at, progress=progress)
    except BookError as error:
        if store.is_file:
            raise
        reason = f"is of step {stands_at} and is copied to {name} before it is brought up to date, which"
        raise BookError(shown(store.address), f"{reason} {error.reason}; nothing was changed") from error
    return name


def copy_to_file(store: Store, partial: str, *, progress: Progress | None = None) -> None:
    """Copy a book, as of one moment, to a new SQLite file: with its id, its order of arrival, all it holds.

    Raises
    ------
    BookError
        When the book cannot be read.
    """
    with guarded(store.address):
        if not store.is_file:
            with store.reading() as connection:
                backup.copy_rows(connection, partial, ran(connection) or 0, progress=progress)
        elif store.only_reading:
            with unchanged(Path(store.address)):
                backup.copy_pages(store.engine, partial, progress=progress)
        else:
            backup.copy_pages(store.engine, partial, progress=progress)


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
        if isinstance(error, sa.exc.TimeoutError):
            raise BookError(self.where, "this program has too many questions to the server open at once") from error
        if isinstance(error, sa.exc.DBAPIError | sqlite3.Error | OSError | indexes.DamagedError):
            reason = str(error.orig if isinstance(error, sa.exc.DBAPIError) else error)
            raise BookError(self.where, " ".join(reason.split())[:200]) from error
