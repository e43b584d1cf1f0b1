"""Opening a book and writing to it: who writes, on which device, at what time."""

from __future__ import annotations

import platform
import uuid
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import Any

from chaffinch import __version__
from chaffinch.book.names import nfc
from chaffinch.errors import InputError
from chaffinch.records.bodies import validate
from chaffinch.records.kinds import KINDS
from chaffinch.store import opening, records
from chaffinch.store.address import is_postgresql, shown
from chaffinch.store.opening import Store
from chaffinch.sync.accept import Receipt
from chaffinch.sync.envelope import Envelope, seal

__all__ = [
    "Desk",
    "Receipt",
    "is_on_a_server",
    "new_id",
    "open_desk",
    "shown_address",
    "start_book",
    "this_device",
    "utc_now",
]


def utc_now() -> str:
    """The time in UTC, ISO 8601 to the second."""
    return datetime.now(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


def new_id() -> str:
    """A new UUID, from the system's own source of chance."""
    return str(uuid.uuid4())


@dataclass(frozen=True, slots=True)
class Desk:
    """An open book with the hand that writes in it.

    Attributes
    ----------
    store : Store
        The open book.
    device : str
        Name of this device in the records it makes.
    now, new_id : callable
        Clock and source of ids; tests give their own.
    """

    store: Store
    device: str
    now: Callable[[], str] = field(default=utc_now)
    new_id: Callable[[], str] = field(default=new_id)

    @property
    def place(self) -> str:
        """Where the book lies, as it may be shown: without a password."""
        return shown(self.store.address)

    @property
    def file(self) -> str | None:
        """Name of the book's file; None for a book on a server."""
        return self.store.address if self.store.is_file else None

    def write(self, kind: str, body: Mapping[str, Any]) -> Receipt:
        """Put one new record into the book; when this returns it is on disk.

        Raises
        ------
        InputError
            When the body is not what its kind says.
        BookError
            When the book cannot be written; then nothing was.
        """
        return self.write_all([(kind, body)])[0]

    def write_all(self, items: Sequence[tuple[str, Mapping[str, Any]]]) -> list[Receipt]:
        """Put several new records into the book in one transaction: all of them or none."""
        return self.keep([self.seal(kind, body) for kind, body in items])

    def keep(self, sealed: Sequence[Envelope]) -> list[Receipt]:
        """Put records sealed before into the book in one transaction: where one names another, say."""
        return records.append(self.store, sealed)

    def write_missing(self, missing: Callable[[], Sequence[tuple[str, Mapping[str, Any]]]]) -> list[Receipt]:
        """Put into the book what it is found not to hold, looked up when nobody else can write: all or none."""
        return records.append(self.store, lambda: [self.seal(kind, body) for kind, body in missing()])

    def seal(self, kind: str, body: Mapping[str, Any]) -> Envelope:
        """Make the envelope of a new record, refusing a body out of form."""
        known = KINDS.get(kind)
        if known is None:
            raise InputError("kind", kind, "is no kind of record", f"use one of {', '.join(KINDS)}")
        cleared = {name: value for name, value in body.items() if value is not None or name == "value"}
        validate(kind, known.schema, cleared)
        return seal(self.new_id(), kind, known.schema_of(cleared), self.device, self.now(), cleared)


def start_book(address: str, *, title: str, device: str | None = None, now: Callable[[], str] = utc_now) -> Desk:
    """Start a new, empty book at a file name or PostgreSQL address."""
    if not title.strip():
        raise InputError("title", title, "is empty", "name the farm, like --title Larkhollow")
    store = opening.start(address, book_id=new_id(), title=nfc(title.strip()), clock=now, program=__version__)
    return Desk(store, device or this_device(), now)


def open_desk(
    address: str,
    *,
    device: str | None = None,
    now: Callable[[], str] = utc_now,
    kept: Callable[[str], None] | None = None,
    progress: Callable[[int, int], None] | None = None,
) -> Desk:
    """Open a book; an older one is brought up to date after a copy of it was made.

    Parameters
    ----------
    address : str
        File name or PostgreSQL address.
    device : str or None
        Name for the records made here; None for this computer's own.
    now : callable
        Clock.
    kept : callable or None
        Called with the name of the copy of an older book, as soon as that is whole.
    progress : callable or None
        Called with (done, of) while an older book is brought up to date.

    Raises
    ------
    InputError, BookError
        As :func:`chaffinch.store.opening.open_book` says.
    """
    store = opening.open_book(
        address, clock=now, program=__version__, device=this_device(), kept=kept, progress=progress
    )
    return Desk(store, device or this_device(), now)


def this_device() -> str:
    """This computer's own name for itself."""
    return platform.node() or "unnamed device"


def is_on_a_server(address: str) -> bool:
    """Whether an address names a PostgreSQL server, and not a file."""
    return is_postgresql(address)


def shown_address(address: str) -> str:
    """An address as it may be shown: without a password."""
    return shown(address)
