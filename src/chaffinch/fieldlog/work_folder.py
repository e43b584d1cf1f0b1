"""Where does work lie that is larger than memory, and who clears it away when the program was killed in its midst?

A program that ends by itself, by an error or by a key takes its folder along. One that is killed, or loses its power,
cannot: the next one that needs such a folder removes what nobody works in any more. Who works in a folder holds a lock
on a file in it, and the system lets go of that lock with the program, however that ends.
"""

from __future__ import annotations

import contextlib
import os
import shutil
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Final

from chaffinch.errors import InputError

OWNER: Final = "in-use"
"""The file that is locked."""
_held: dict[Path, int] = {}


def make_work_folder(prefix: str, beside: Path | None = None) -> Path:
    """Make a folder for work, and remove those of the same prefix that nobody works in any more.

    Parameters
    ----------
    prefix : str
        How its name begins.
    beside : Path or None
        The folder it is made in; None: where the system keeps such.

    Raises
    ------
    OSError
        When it cannot be made.
    """
    folder = Path(tempfile.mkdtemp(prefix=prefix, dir=beside))
    for other in folder.parent.glob(f"{prefix}*/{OWNER}"):
        if (lock := _locked(other)) is not None:
            shutil.rmtree(other.parent, ignore_errors=True)
            os.close(lock)
    # Locked under another name first: nobody must find it free.
    fresh = folder / f"{OWNER}.fresh"
    fresh.touch()
    lock = _locked(fresh)
    if lock is not None:
        _held[folder] = lock
        fresh.rename(folder / OWNER)
    return folder


def drop_work_folder(folder: Path) -> None:
    """Remove a folder with all that lies in it."""
    shutil.rmtree(folder, ignore_errors=True)
    lock = _held.pop(folder, None)
    if lock is not None:
        os.close(lock)


def refuse_itself(path: str | Path, to: str | Path | None) -> None:
    """Refuse to write over the log that is read: what the machine recorded is nowhere else.

    Raises
    ------
    InputError
        Where both are one file.
    """
    if to is not None and Path(to).exists() and Path(path).exists() and Path(to).samefile(path):
        raise InputError("output", Path(to).name, "is the log itself", "give another name, and keep what was recorded")


@contextlib.contextmanager
def whole_file(path: Path) -> Iterator[Path]:
    """A name to write a file under; it gets its own when it is whole, and what lay there stays until then.

    Raises
    ------
    InputError
        When it cannot be written, as on a full disk.
    """
    import polars as pl

    try:
        folder = make_work_folder(".chaffinch-", path.parent)
        try:
            yield folder / path.name
            (folder / path.name).replace(path)
        finally:
            drop_work_folder(folder)
    except (OSError, pl.exceptions.PolarsError) as error:
        short = (error.strerror if isinstance(error, OSError) else None) or str(error).splitlines()[0][:100]
        problem = f"cannot be written ({short})"
        raise InputError("output", path.name, problem, "check the folder and the disk") from None


def _locked(path: Path) -> int | None:
    """The file with a lock on it; None where another holds one, or the system has no such locks."""
    try:
        import fcntl
    except ImportError:
        return None
    try:
        found = os.open(path, os.O_RDWR)
    except OSError:
        return None
    try:
        fcntl.flock(found, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        os.close(found)
        return None
    return found
