"""Which devices may come to this book, and how does a new one get in?

A code of six digits lives ten minutes and is used once; five wrong tries end it, and an address that keeps guessing
waits longer each time. What a device gets for it is a secret of its own; only its SHA-256 is kept, which is enough
since the secret has 256 bits. All this lies in a small SQLite file beside the book and never in it: a book that is
copied, merged or exported takes no keys along.
"""

from __future__ import annotations

import ipaddress
import secrets
import sqlite3
import unicodedata
import uuid
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass, field
from hashlib import sha256
from pathlib import Path
from threading import Lock
from typing import Any, Final

from chaffinch.errors import BookError, InputError
from chaffinch.web.device import ROLES, Device, Kind, Role
from chaffinch.web.device_memory import Memory
from chaffinch.web.problems import Refusal

CODE_LIFE_S: Final = 600.0
"""How long a code or a link waits to be used [s]; own figure."""
WRONG_TRIES: Final = 5
"""Wrong tries that end a code; a guesser's chance is then 5 in a million."""
FREE_TRIES: Final = 3
"""Wrong tries of one address before it has to wait; own figure."""
LONGEST_WAIT_S: Final = 3600.0
"""Longest wait of an address that keeps guessing [s]; own figure."""
FORGET_S: Final = 86_400.0
"""After so long without a wrong try an address starts afresh [s]; own figure."""
DESK_LIFE_S: Final = 30 * 86_400.0
"""How long a browser stays in without entering anew [s]; own figure."""
SEEN_EACH_S: Final = 60.0
"""How often it is noted that a device was here [s]; own figure."""
LONGEST_NAME: Final = 60  # [characters]
MOST_DEVICES: Final = 500
"""Devices one book knows at once; own figure."""

_TABLES: Final = """
CREATE TABLE IF NOT EXISTS device (
  id TEXT PRIMARY KEY, name TEXT NOT NULL, role TEXT NOT NULL, kind TEXT NOT NULL, secret_hash TEXT NOT NULL UNIQUE,
  paired REAL NOT NULL, seen REAL NOT NULL, ends REAL, revoked REAL);
CREATE TABLE IF NOT EXISTS waiting (
  secret_hash TEXT PRIMARY KEY, role TEXT NOT NULL, kind TEXT NOT NULL, ends REAL NOT NULL, tries INTEGER NOT NULL);
CREATE TABLE IF NOT EXISTS guesser (address TEXT PRIMARY KEY, wrong INTEGER NOT NULL, last REAL NOT NULL);
"""


@dataclass(frozen=True, slots=True)
class Waiting:
    """A code, or a link's secret, that waits to be used once; ``ends`` in seconds since 1970."""

    secret: str = field(repr=False)
    role: Role
    ends: float


@dataclass(frozen=True, slots=True)
class LetIn:
    """A device with its secret, which is told once and kept nowhere."""

    device: Device
    secret: str = field(repr=False)


@dataclass
class Devices:
    """The known devices of one book.

    Attributes
    ----------
    file : Path
        Where they are kept; it and its folder come into being with the first use, for this user alone.
    clock : callable
        Seconds since 1970.
    new_secret : callable
        A new unguessable text.
    new_code : callable
        Six digits, out of a million.
    """

    file: Path
    clock: Callable[[], float]
    new_secret: Callable[[], str]
    new_code: Callable[[], str] = field(default=lambda: f"{secrets.randbelow(1_000_000):06d}")
    _seen: dict[str, float] = field(default_factory=dict)
    _ready: bool = False
    _lock: Lock = field(default_factory=Lock)
    _memory: Memory = field(default_factory=Memory)

    def make_code(self, role: Role) -> Waiting:
        """A new pairing code; an older one that still waits ends with it, so that one at most can be guessed.

        Raises
        ------
        InputError
            For an unknown role.
        """
        return self._wait(self.new_code(), role, "phone")

    def make_link(self) -> Waiting:
        """The secret of a link that lets the owner's browser in, once."""
        return self._wait(self.new_secret(), "owner", "desk")

    def pair(self, code: str, name: str, address: str) -> LetIn:
        """Let a phone in for a code.

        Raises
        ------
        InputError
            For a name that cannot be shown.
        Refusal
            401 for a code that does not wait (any more), 429 while this address has to wait.
        """
        return self._let_in("".join(code.split()), _name(name), "phone", address)

    def enter_by_code(self, code: str, name: str, address: str) -> LetIn:
        """Let a browser in for a code, with the code's role; errors as for :meth:`pair`."""
        return self._let_in("".join(code.split()), _name(name), "phone", address, as_kind="desk")

    def enter(self, secret: str, name: str, address: str) -> LetIn:
        """Let a browser in for a link's secret; errors as for :meth:`pair`."""
        return self._let_in(secret, _name(name), "desk", address)

    def remembered(self, secret: str) -> Device | None:
        """The device with that secret, if that can be told at once: it was here, and nothing was written since.

        None leaves it open; :meth:`who` knows. It waits for nothing, so that it may be asked between two requests.
        """
        now = self.clock()
        known = self._memory.get(_hash(secret), self.file)
        if known is None or (known[1] is not None and known[1] <= now) or now - known[0].seen >= SEEN_EACH_S:
            return None
        return known[0]

    def close(self) -> None:
        """Let go of the file."""
        self._memory.forget()

    def who(self, secret: str) -> Device | None:
        """The device with that secret; None when there is none, it was revoked, or its time is over."""
        now = self.clock()
        before = self._memory.state(self.file)
        with self._open() as file:
            row = file.execute(
                "SELECT * FROM device WHERE secret_hash = ? AND revoked IS NULL AND (ends IS NULL OR ends > ?)",
                (_hash(secret), now),
            ).fetchone()
        if row is None:
            return None
        if now - max(self._seen.get(row["id"], 0.0), row["seen"]) >= SEEN_EACH_S:
            self._seen[row["id"]] = now
            with self._writing() as file:
                file.execute("UPDATE device SET seen = ? WHERE id = ?", (now, row["id"]))
        else:
            # The state was asked for before the row: what was written since shows as another state.
            self._memory.keep(_hash(secret), before, _device(row), row["ends"])
        return _device(row)

    def every(self) -> list[Device]:
        """All devices, the newest first; revoked ones too, and browsers whose time is over are left out."""
        with self._open() as file:
            rows = file.execute(
                "SELECT * FROM device WHERE ends IS NULL OR ends > ? ORDER BY paired DESC, id", (self.clock(),)
            ).fetchall()
        return [_device(row) for row in rows]

    def revoke(self, device_id: str) -> Device:
        """Shut a device out, at once and for good; one that was shut out before stays so.

        Parameters
        ----------
        device_id : str
            Its id, or the beginning of it (4 characters or more) where that is enough.

        Raises
        ------
        InputError
            When no device, or more than one, is meant.
        """
        fits = [one for one in self.every() if len(device_id) >= 4 and one.id.startswith(device_id.lower())]
        if not fits:
            raise InputError("device", device_id, "is not known here", "chaffinch serve devices lists them")
        if len(fits) > 1:
            raise InputError("device", device_id, "is the beginning of several ids", "give more of it")
        with self._writing() as file:
            file.execute("UPDATE device SET revoked = ? WHERE id = ? AND revoked IS NULL", (self.clock(), fits[0].id))
            row = file.execute("SELECT * FROM device WHERE id = ?", (fits[0].id,)).fetchone()
        return _device(row)

    def _wait(self, secret: str, role: Role, kind: Kind) -> Waiting:
        if role not in ROLES:
            raise InputError("role", role, "is no role", f"use one of {', '.join(ROLES)}")
        ends = self.clock() + CODE_LIFE_S
        with self._writing() as file:
            file.execute("DELETE FROM waiting WHERE kind = ? OR ends <= ?", (kind, self.clock()))
            file.execute("INSERT INTO waiting VALUES (?, ?, ?, ?, ?)", (_hash(secret), role, kind, ends, WRONG_TRIES))
        return Waiting(secret, role, ends)

    def _let_in(self, secret: str, name: str, kind: Kind, address: str, *, as_kind: Kind | None = None) -> LetIn:
        """Use up what waits under that secret, of that kind, for a new device of that kind, or of ``as_kind``."""
        now, who, own = self.clock(), _neighbourhood(address), self.new_secret()
        device: Device | None = None
        with self._writing() as file:
            wait = _still_waits_s(file, who, now)
            role = None if wait > 0 else _take(file, secret, kind, now)
            if role is not None:
                device = _add(file, Device(str(uuid.uuid4()), name, role, as_kind or kind, now, now, None), own)
                file.execute("DELETE FROM guesser WHERE address = ?", (who,))
            elif wait <= 0:
                _count_wrong(file, who, kind, now)
        # Refused after the commit: a wrong try has to be remembered.
        if wait > 0:
            mend = f"wait {wait:.0f} s, then try again"
            raise Refusal(429, "code", "too many wrong codes came from here", mend, wait_s=wait)
        if device is None:
            raise Refusal(401, "code", "is not one that waits to be used", "ask the owner for a new one")
        return LetIn(device, own)

    @contextmanager
    def _writing(self) -> Iterator[sqlite3.Connection]:
        with self._open() as file:
            file.execute("BEGIN IMMEDIATE")
            try:
                yield file
            except BaseException:
                file.execute("ROLLBACK")
                raise
            file.execute("COMMIT")

    @contextmanager
    def _open(self) -> Iterator[sqlite3.Connection]:
        try:
            self._make()
            with closing(sqlite3.connect(self.file, timeout=10.0, isolation_level=None)) as file:
                file.row_factory = sqlite3.Row
                yield file
        except (sqlite3.Error, OSError) as error:
            raise BookError(str(self.file), f"the list of devices cannot be used ({error})") from error

    def _make(self) -> None:
        """Make folder, file and tables once; for this user alone, since names of people stand in it."""
        if self._ready and self.file.exists():
            return
        with self._lock:
            self.file.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
            self.file.touch(mode=0o600)
            with closing(sqlite3.connect(self.file, timeout=10.0)) as file:
                file.executescript(_TABLES)
            self._ready = True


def _take(file: sqlite3.Connection, secret: str, kind: Kind, now: float) -> Role | None:
    """Use up what waits under that secret; its role, or None when nothing does."""
    row: Any = file.execute(
        "DELETE FROM waiting WHERE secret_hash = ? AND kind = ? AND ends > ? RETURNING role", (_hash(secret), kind, now)
    ).fetchone()
    return None if row is None else row["role"]


def _add(file: sqlite3.Connection, device: Device, secret: str) -> Device:
    """Note a new device; one too many is refused, and the code it came with is not used up."""
    if file.execute("SELECT COUNT(*) FROM device WHERE revoked IS NULL").fetchone()[0] >= MOST_DEVICES:
        raise Refusal(409, "device", f"is one more than the {MOST_DEVICES} a book knows", "shut some out first")
    ends = device.paired + DESK_LIFE_S if device.kind == "desk" else None
    file.execute(
        "INSERT INTO device VALUES (?, ?, ?, ?, ?, ?, ?, ?, NULL)",
        (device.id, device.name, device.role, device.kind, _hash(secret), device.paired, device.seen, ends),
    )
    return device


def _count_wrong(file: sqlite3.Connection, who: str, kind: Kind, now: float) -> None:
    """A wrong try: it brings the code that waits nearer to its end, and lets whoever made it wait longer."""
    file.execute("UPDATE waiting SET tries = tries - 1 WHERE kind = ?", (kind,))
    file.execute("DELETE FROM waiting WHERE tries <= 0 OR ends <= ?", (now,))
    file.execute(
        "INSERT INTO guesser VALUES (?, 1, ?) ON CONFLICT (address) DO UPDATE "
        "SET wrong = wrong + 1, last = excluded.last",
        (who, now),
    )


def _still_waits_s(file: sqlite3.Connection, who: str, now: float) -> float:
    """How long this address must still wait [s], 0 or less for not at all."""
    # A clock that was set back forgets nobody for good: what was noted in its future counts as now.
    file.execute("UPDATE guesser SET last = ? WHERE last > ?", (now, now))
    file.execute("DELETE FROM guesser WHERE last < ?", (now - FORGET_S,))
    row = file.execute("SELECT wrong, last FROM guesser WHERE address = ?", (who,)).fetchone()
    return 0.0 if row is None else _wait_s(row["wrong"]) - (now - row["last"])


def _wait_s(wrong: int) -> float:
    """How long an address waits after so many wrong tries [s]: nothing for three, then doubling."""
    return 0.0 if wrong < FREE_TRIES else float(min(2.0 ** min(wrong - FREE_TRIES, 20), LONGEST_WAIT_S))


def _neighbourhood(address: str) -> str:
    """Whom to count wrong tries for: an IPv4 address, or the /64 of an IPv6 one, which one household has to itself."""
    try:
        found = ipaddress.ip_address(address.partition("%")[0])
    except ValueError:
        return address[:LONGEST_NAME]
    if isinstance(found, ipaddress.IPv6Address) and found.ipv4_mapped is None:
        return str(ipaddress.ip_network((found, 64), strict=False))
    return str(found)


def _name(name: str) -> str:
    plain = " ".join(unicodedata.normalize("NFC", name).split())
    if not plain or len(plain) > LONGEST_NAME:
        raise InputError("device_name", plain[:80], "must have 1 to 60 characters", 'call it like "Ann\'s phone"')
    if not plain.isprintable():
        raise InputError("device_name", plain[:80], "holds signs that cannot be shown", "write it plainly")
    return plain


def _hash(secret: str) -> str:
    return sha256(secret.encode("utf-8", "backslashreplace")).hexdigest()


def _device(row: Any) -> Device:
    return Device(row["id"], row["name"], row["role"], row["kind"], row["paired"], row["seen"], row["revoked"])
