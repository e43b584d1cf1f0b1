"""What does one running server need to know? Which book, under which addresses, what lies beside it, whose clock."""

from __future__ import annotations

import re
import secrets
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final
from urllib.parse import urlsplit

from chaffinch.book.desk import is_on_a_server, shown_address
from chaffinch.errors import InputError

LOOPBACK: Final = ("127.0.0.1", "localhost", "[::1]")
"""Names of this computer for itself, as they stand in a Host header."""

DEVICES_FILE: Final = "devices.sqlite"
PHOTOS_FOLDER: Final = "photos"

KB: Final = 1024
MOST_BYTES: Final = {
    "/api/v1/photos/": 8 * KB * KB,
    "/api/v1/batch": 2 * KB * KB,
    "/api/": 64 * KB,
    "/import/": 256 * KB,
    "/import": 65 * KB * KB,
    "/fieldlogs": 33 * KB * KB,
    "": 256 * KB,
}
"""Largest body of a request by the beginning of its path, the first that fits [bytes]; own figures. A check with twelve
catches is about 2 kB, a photo of a phone 2 to 6 MB; a phone's whole file may have 64 MB
(:data:`chaffinch.book.exchange.phone_file.MOST_BYTES`), and goes to disk as it comes."""
LESS_AT_ONCE: Final = {
    "/import": "send from the phone itself, near the server: Outbox, Send now; it has no such end",
    "/fieldlogs": "send one field at a time, or put it in at the computer that serves",
}
"""What to do with a larger one, by the beginning of its path."""


@dataclass(frozen=True, slots=True)
class WebSettings:
    """One server's settings.

    Attributes
    ----------
    book : str
        Address of the book: a file name or a PostgreSQL address.
    keep : Path
        Folder for what belongs to the server and not to the book: known devices, certificates, photos.
    origins : tuple of str
        Addresses under which it is reached, ``https://192.168.1.7:8766``; requests that name another host are refused.
        Loopback names are always allowed.
    behind_proxy : bool
        A reverse proxy on this computer speaks for the client (its X-Forwarded headers are believed).
    clock : callable
        Seconds since 1970; tests give their own.
    new_secret : callable
        A new unguessable text; tests may give their own.
    limits : bool
        Whether requests per device are limited; off only for measuring.
    ahead : bool
        Whether the newest season is summed up as soon as the server runs.
    """

    book: str = field(repr=False)
    keep: Path
    origins: tuple[str, ...] = ()
    behind_proxy: bool = False
    clock: Callable[[], float] = time.time
    new_secret: Callable[[], str] = field(default=lambda: secrets.token_urlsafe(32))
    limits: bool = True
    ahead: bool = False

    def __post_init__(self) -> None:
        for origin in self.origins:
            origin_of(origin)

    @property
    def devices_file(self) -> Path:
        """Where the known devices are kept."""
        return self.keep / DEVICES_FILE

    @property
    def photos(self) -> Path:
        """Folder with pictures, each named by its SHA-256."""
        return self.keep / PHOTOS_FOLDER

    def knows_host(self, host: str) -> bool:
        """Whether a Host header names this server; keeps a stranger's page from reaching it under a name of its own."""
        name = _without_port(host.lower())
        own = {_without_port(urlsplit(origin).netloc.lower()) for origin in self.origins}
        return name in LOOPBACK or name in own


def folder_beside(book: str) -> Path:
    """Where a book's server keeps its own things: beside the file; for a book on a server, in the current folder.

    Parameters
    ----------
    book : str
        Address of the book.
    """
    if not is_on_a_server(book):
        return Path(f"{book}-web")
    database = urlsplit(shown_address(book)).path.strip("/")
    return Path(f"{re.sub(r'[^A-Za-z0-9_-]', '_', database) or 'book'}-web")


def origin_of(address: str) -> str:
    """The origin an address stands for, in its one spelling: ``https://farm.example:8766``.

    Raises
    ------
    InputError
        For an address that is no http or https origin, or says more than one (a path, a password).
    """
    mend = "write it like https://farm.example or http://192.168.1.7:8765"
    try:
        parts = urlsplit(address)
        port = parts.port
    except ValueError:
        raise InputError("origin", address, "is no address", mend) from None
    if parts.scheme not in ("http", "https") or not parts.hostname:
        raise InputError("origin", address, "is no http or https address", mend)
    if parts.username or parts.password or parts.path not in ("", "/") or parts.query or parts.fragment:
        raise InputError("origin", address, "says more than scheme, name and port", mend)
    host = f"[{parts.hostname}]" if ":" in parts.hostname else parts.hostname
    usual = {"http": 80, "https": 443}[parts.scheme]
    return f"{parts.scheme}://{host}" + ("" if port in (None, usual) else f":{port}")


def most_bytes(path: str, *, with_key: bool) -> int:
    """Largest body that a request to this path may have [bytes]; less for one that shows no key, right or wrong."""
    most = next(size for start, size in MOST_BYTES.items() if path.startswith(start))
    return most if with_key else min(most, MOST_BYTES["/api/"])


def _without_port(host: str) -> str:
    if host.startswith("["):
        return host.partition("]")[0] + "]"
    return host.partition(":")[0]
