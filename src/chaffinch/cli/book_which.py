"""Which book is meant, opening it, and the bar that shows a long job moving."""

from __future__ import annotations

import os
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, TypeVar

import click

from chaffinch.cli.hushed import hushed_value
from chaffinch.errors import InputError

if TYPE_CHECKING:
    from chaffinch.book.desk import Desk

VARIABLE: Final = "CHAFFINCH_BOOK"
SUFFIX: Final = ".chaffinch"
_SHOWN_AT_MOST = 5
_OLD_COPY: Final = ".before-step-"
"""In the name of the copy laid beside a book before a newer program brought it up to date."""

F = TypeVar("F", bound=Callable[..., Any])


def book_option(function: F) -> F:
    """Add ``--book`` to a command, so that it may stand after the command's name too."""
    text = f"The book; else {VARIABLE}, else the only *{SUFFIX} file here."
    option: Callable[[F], F] = click.option("--book", "address", metavar="ADDRESS", help=text)
    return option(function)


def which(given: str | None, *, leave_out: str | None = None) -> str:
    """Address of the book that is meant.

    Parameters
    ----------
    given : str or None
        What ``--book`` said after the command's name.
    leave_out : str or None
        A file that the command itself names as the other one: it is not the book that is meant.

    Raises
    ------
    InputError
        When there is none, or several and nothing says which.
    """
    context = click.get_current_context(silent=True)
    outer = context.parent.params.get("address") if context is not None and context.parent is not None else None
    named = given or outer or os.environ.get(VARIABLE)
    if named:
        return careful(named)
    files = sorted(path for path in Path().glob(f"*{SUFFIX}") if path.is_file() and _OLD_COPY not in path.name)
    other = Path(leave_out) if leave_out else None
    apart = [path for path in files if other is None or not other.exists() or not other.samefile(path)]
    here = [path.name for path in apart or files]
    if len(here) == 1:
        return here[0]
    if not here:
        mend = f"start one: chaffinch book new farm{SUFFIX} --title NAME, or say which: --book FILE"
        raise InputError("book", None, "there is none in this folder", mend)
    more = len(here) - _SHOWN_AT_MOST
    listed = ", ".join(here[:_SHOWN_AT_MOST]) + (f" and {more} more" if more > 0 else "")
    raise InputError("book", None, f"there are several in this folder: {listed}", "say which: --book FILE")


def careful(address: str) -> str:
    """The address itself, unless it is one of a server we do not know: that is refused without showing a password."""
    from chaffinch.book.desk import is_on_a_server

    if not address.strip():
        raise InputError("book", address, "is empty", f"name a file, like farm{SUFFIX}")
    scheme, mark, rest = address.partition("://")
    if mark and not is_on_a_server(address):
        # Never echoed as it stands: what looks like an address may hold a password.
        place = rest.rpartition("@")[2].partition("?")[0]
        mend = "write postgresql://user@host/database, or a file name"
        raise InputError("book", f"{scheme}://{place}", "is no address of a server we know", mend)
    if not is_on_a_server(address) and hushed_value(address) != address:
        mend = "write postgresql://user@host/database, or a file name"
        raise InputError("book", hushed_value(address), "looks like an address of a server, and is none", mend)
    return address


def a_file(name: str, argument: str) -> str:
    """The name of a file or folder itself, unless it is an address of a server: refused without showing a password.

    Raises
    ------
    InputError
        For an address.
    """
    scheme, mark, _ = name.strip().partition(":/")
    looks_so = (mark and len(scheme) > 1) or scheme.startswith(("postgresql:", "postgres:"))
    if looks_so or hushed_value(name) != name:
        raise InputError(argument, hushed_value(name), "is an address, not a file", "name a file or folder")
    return name


def open_the_book(given: str | None, *, leave_out: str | None = None) -> Desk:
    """Open the book that is meant; ``leave_out`` is the other file that the command names."""
    from chaffinch.book.desk import open_desk

    return open_desk(which(given, leave_out=leave_out))


BAR_AFTER_S: Final = 1.0
"""A job that takes less shows no bar [s]."""


@contextmanager
def progress(label: str) -> Iterator[Callable[[int, int], None]]:
    """Give a function to call with (done, of); it draws a bar on stderr once the job has taken a second.

    Nothing is drawn where stderr is no terminal.
    """
    if not sys.stderr.isatty():
        yield lambda _done, _of: None
        return
    started = time.monotonic()
    bar: Any = None
    shown = 0

    def step(done: int, of: int) -> None:
        nonlocal bar, shown
        if bar is None:
            if time.monotonic() - started < BAR_AFTER_S or done >= of:
                return
            bar = click.progressbar(length=of, label=label, file=sys.stderr)
            bar.__enter__()
        bar.update(done - shown)
        shown = done

    try:
        yield step
    finally:
        if bar is not None:
            bar.__exit__(None, None, None)


@contextmanager
def busy(label: str) -> Iterator[None]:
    """Show on stderr that a job of unknown length goes on, and for how long, once it has taken a second.

    Nothing is drawn where stderr is no terminal.
    """
    if not sys.stderr.isatty():
        yield
        return
    over = threading.Event()

    def tell() -> None:
        began = time.monotonic()
        width = 0
        while not over.wait(BAR_AFTER_S):
            text = f"{label}: {time.monotonic() - began:.0f} s"
            width = max(width, len(text))
            click.echo(f"\r{text}", nl=False, err=True)
        click.echo("\r" + " " * width + "\r" if width else "", nl=False, err=True)

    teller = threading.Thread(target=tell, daemon=True)
    teller.start()
    try:
        yield
    finally:
        over.set()
        teller.join()


def print_json(data: object) -> None:
    """Print data as JSON."""
    import json

    click.echo(json.dumps(data, indent=2, allow_nan=False, ensure_ascii=False))
