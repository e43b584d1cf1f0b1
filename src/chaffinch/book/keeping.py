"""Keeping a book safe: backup, restore, verify, rebuild."""

from __future__ import annotations

from contextlib import closing

from chaffinch import __version__
from chaffinch.book.desk import Desk, utc_now
from chaffinch.errors import BookError, InputError
from chaffinch.how_far import Progress, shares
from chaffinch.store import backup as copying
from chaffinch.store import indexes, opening, verify
from chaffinch.store.address import engine_for, is_postgresql, shown
from chaffinch.store.migrations import NEWEST
from chaffinch.store.on_server import put_on_server
from chaffinch.store.opening import guarded
from chaffinch.store.verify import Verified


def back_up(desk: Desk, target: str, *, progress: Progress | None = None) -> Verified:
    """Copy the book to a new SQLite file and verify the copy, also from PostgreSQL, also while others write.

    ``progress`` is told (done, of) of copying and verifying together.

    Raises
    ------
    InputError
        When the target exists or names a server.
    BookError
        When it cannot be written, or the copy does not verify.
    """
    if is_postgresql(target):
        raise InputError("backup", shown(target), "must be a file", "name a file, like farm-2026-10-01.chaffinch")
    # Pages of a file are copied at once, rows from a server one by one; reading every record takes longest.
    copied, verified = shares(progress, 1 if desk.store.is_file else 5, 15)
    with copying.whole(target) as partial:
        opening.copy_to_file(desk.store, partial, progress=copied)
        with closing(opening.open_book(partial, clock=desk.now, program=__version__)) as copy:
            found = verify.verify(copy, progress=verified)
        if found.problems:
            raise BookError(target, f"the copy is not whole, so it is not kept: {found.problems[0]}")
    return found


def restore(source: str, target: str, *, progress: Progress | None = None) -> Verified:
    """Make a book of a backup: a copy under a new name or in an empty database, verified before it is called done.

    Parameters
    ----------
    source : str
        File of the backup.
    target : str
        Name of a file that is not there, or address of an empty database on a PostgreSQL server.
    progress : callable or None
        Called with (done, of) of copying, bringing up to date and verifying together.

    Raises
    ------
    InputError
        When the backup is no book or on a server, or there is something at the target.
    BookError
        When the backup is not whole, or the target cannot be written; then nothing was.
    """
    if is_postgresql(source):
        mend = "make a file of it first: chaffinch book backup, with --book and this address"
        raise InputError("restore", shown(source), "is a book on a server, not a backup's file", mend)
    with closing(opening.Store(source, engine_for(source, must_exist=True), utc_now)) as book:
        if is_postgresql(target):
            return put_on_server(book, target, clock=utc_now, program=__version__, progress=progress)
        old = opening.step_of(book) < NEWEST
        copied, brought, verified = shares(progress, 1, 5 if old else 0, 15)
        with copying.whole(target, what="restore") as partial:
            opening.copy_to_file(book, partial, progress=copied)
            with closing(
                opening.open_book(partial, clock=utc_now, program=__version__, keep_old=False, progress=brought)
            ) as restored:
                found = verify.verify(restored, progress=verified)
            if found.problems:
                raise BookError(source, f"the backup is not whole: {found.problems[0]}")
            copying.leave_a_gap(partial)
    return found


def check_whole(desk: Desk, *, progress: Progress | None = None) -> Verified:
    """Verify the book: every hash, every index."""
    return verify.verify(desk.store, progress=progress)


def rebuild(desk: Desk, *, progress: Progress | None = None) -> None:
    """Throw the indexes away and make them anew from the records, in one transaction."""
    with guarded(desk.store.address), desk.store.engine.begin() as connection:
        if not desk.store.is_file:
            connection.exec_driver_sql("LOCK TABLE record IN SHARE ROW EXCLUSIVE MODE")
        indexes.make_anew(connection, progress=progress)
