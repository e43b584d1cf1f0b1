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

from chaffinch.cli.terminal.hushed import hushed_value
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
    return opened(which(given, leave_out=leave_out))


def opened(address: str, *, device: str | None = None) -> Desk:
    """Open the book at an address; where an older one was copied before it is brought up to date, stderr says where."""
    from chaffinch.book.desk import open_desk

    copies: list[str] = []
    try:
        with progress("Opening the book") as step:
            return open_desk(address, device=device, kept=copies.append, progress=step)
    finally:
        for copy in copies:
            click.echo(f"The book is of an earlier program. A copy as it was before the update: {copy}", err=True)


BAR_AFTER_S: Final = 1.0
"""A job that takes less shows no bar [s]."""


@contextmanager
def progress(label: str) -> Iterator[Callable[[int, int], None]]:
    """Give a function to call with (done, of); it draws a bar on stderr once the job has taken a second.

    Before the first call and after the last, while nobody can say how far it is, the seconds are counted. Nothing is
    drawn where stderr is no terminal.
    """
    if not sys.stderr.isatty():
        yield lambda _done, _of: None
        return
    moving, over = _Moving(label), threading.Event()

    def tell() -> None:
        while not over.wait(BAR_AFTER_S):
            moving.tick()

    teller = threading.Thread(target=tell, daemon=True)
    teller.start()
    try:
        yield moving.step
    finally:
        over.set()
        teller.join()
        moving.end()


class _Moving:
    """One line on stderr that shows a job going on: a bar where its length is known, else the seconds."""

    def __init__(self, label: str) -> None:
        self.label, self.began = label, time.monotonic()
        self.lock = threading.Lock()
        self.at: tuple[int, int] | None = None
        self.bar: Any = None
        self.shown = self.width = 0
        self.spent = 0.0

    def step(self, done: int, of: int) -> None:
        with self.lock:
            self.at = (done, of)
            self._draw()

    def tick(self) -> None:
        with self.lock:
            self._draw()

    def end(self) -> None:
        if self.bar is not None:
            self.bar.__exit__(None, None, None)
        else:
            self._clear()

    def _draw(self) -> None:
        self.spent = time.monotonic() - self.began
        if self.spent < BAR_AFTER_S:
            return
        done, of = self.at or (0, 0)
        if self.bar is None and done < of:
            self._clear()
            self.bar = click.progressbar(
                length=of, label=self.label, file=sys.stderr, item_show_func=lambda _: self._after_the_end()
            )
            self.bar.__enter__()
        if self.bar is None:
            text = f"{self.label}: {self.spent:.0f} s"
            self.width = max(self.width, len(text))
            click.echo(f"\r{text}", nl=False, err=True)
            return
        self.bar.length = of
        self.bar.make_step(done - self.shown)
        self.shown = done
        self.bar.render_progress()

    def _after_the_end(self) -> str | None:
        """What is counted is done, and the job is not."""
        done, of = self.at or (0, 0)
        return f"{self.spent:.0f} s" if done >= of else None

    def _clear(self) -> None:
        if self.width:
            click.echo("\r" + " " * self.width + "\r", nl=False, err=True)


def print_json(data: object) -> None:
    """Print data as JSON."""
    import json

    click.echo(json.dumps(data, indent=2, allow_nan=False, ensure_ascii=False))
