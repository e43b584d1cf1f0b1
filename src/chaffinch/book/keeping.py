"""Keeping a book safe: backup, restore, verify, rebuild."""

from __future__ import annotations

import os

import sqlalchemy as sa

from chaffinch import __version__
from chaffinch.book.desk import Desk, open_desk, start_book, utc_now
from chaffinch.book.merging import Progress, merge
from chaffinch.errors import BookError, InputError
from chaffinch.store import backup as copying
from chaffinch.store import indexes, opening, records, verify
from chaffinch.store.address import engine_for, is_postgresql, shown
from chaffinch.store.opening import guarded
from chaffinch.store.verify import Verified


def back_up(desk: Desk, target: str, *, progress: Progress | None = None) -> Verified:
    """Copy the book to a new SQLite file and verify the copy, also from PostgreSQL, also while others write.

    Raises
    ------
    InputError
        When the target exists or names a server.
    BookError
        When it cannot be written, or the copy does not verify.
    """
    if is_postgresql(target):
        raise InputError("backup", shown(target), "must be a file", "name a file, like farm-2026-10-01.chaffinch")
    with copying.whole(target) as partial:
        if desk.store.is_file:
            with guarded(desk.store.address):
                copying.copy_pages(desk.store.engine, partial)
            copy = open_desk(partial, now=desk.now)
        else:
            copy = start_book(partial, title=records.facts(desk.store)["title"], device=desk.device, now=desk.now)
            came, _ = merge(copy, desk, progress=progress)
            if came.refused:
                raise BookError(target, f"{len(came.refused)} records cannot be copied: {came.refused[0].reason}")
        found = verify.verify(copy.store)
        if found.problems:
            raise BookError(target, f"the copy is not whole, so it is not kept: {found.problems[0]}")
    return found


def restore(source: str, target: str) -> Verified:
    """Make a book of a backup: a copy under a new name, verified before it is called done.

    Raises
    ------
    InputError
        When the backup is no book or the target exists.
    BookError
        When the backup is not whole.
    """
    if is_postgresql(source) or is_postgresql(target):
        raise InputError(
            "restore", shown(target), "works on files", "start a book on the server, then merge the backup into it"
        )
    locked = not os.access(source, os.W_OK)
    book = opening.Store(source, engine_for(source, must_exist=True, read_only=locked), utc_now)
    opening.step_of(book)
    with copying.whole(target, what="restore") as partial:
        with guarded(source):
            copying.copy_pages(book.engine, partial)
        restored = opening.open_book(partial, clock=utc_now, program=__version__, keep_old=False)
        found = verify.verify(restored)
        if found.problems:
            raise BookError(source, f"the backup is not whole: {found.problems[0]}")
    return found


def check_whole(desk: Desk, *, progress: Progress | None = None) -> Verified:
    """Verify the book: every hash, every index."""
    return verify.verify(desk.store, progress=progress)


def rebuild(desk: Desk) -> None:
    """Throw the indexes away and make them anew from the records, in one transaction."""
    with guarded(desk.store.address), desk.store.engine.begin() as connection:
        if not desk.store.is_file:
            connection.exec_driver_sql("LOCK TABLE record IN SHARE ROW EXCLUSIVE MODE")
        for table in ("catch_row", "check_row", "label", "correction"):
            connection.execute(sa.text(f"DELETE FROM {table}"))
        indexes.rebuild(connection, records.ALL_INDEXES)
