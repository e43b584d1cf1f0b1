"""Keeping a book safe: backup, restore, verify, rebuild."""

from __future__ import annotations

from contextlib import closing

from chaffinch import __version__
from chaffinch.book.desk import Desk, utc_now
from chaffinch.errors import BookError, InputError
from chaffinch.store import backup as copying
from chaffinch.store import indexes, opening, verify
from chaffinch.store.address import engine_for, is_postgresql, shown
from chaffinch.store.backup import Progress
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
        opening.copy_to_file(desk.store, partial, progress=progress)
        with closing(opening.open_book(partial, clock=desk.now, program=__version__)) as copy:
            # From a server the copying itself told how far it is; of a file it is one step, and the reading takes long.
            found = verify.verify(copy, progress=progress if desk.store.is_file else None)
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
    with closing(opening.Store(source, engine_for(source, must_exist=True), utc_now)) as book:
        opening.step_of(book)
        with copying.whole(target, what="restore") as partial:
            opening.copy_to_file(book, partial)
            with closing(opening.open_book(partial, clock=utc_now, program=__version__, keep_old=False)) as restored:
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
        indexes.make_anew(connection)
