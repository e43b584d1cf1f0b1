"""Who was here a moment ago, and is it still true? Asked with every request, so it must be told without a read.

The list of devices may be written by this server, by another one on the same book, or by a command; a device that was
shut out is out at once, whoever did it. SQLite itself tells whether its file was written, and one connection is kept
open for that question.
"""

from __future__ import annotations

import sqlite3
from dataclasses import dataclass, field
from pathlib import Path
from threading import Lock
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from chaffinch.web.device import Device


@dataclass
class Memory:
    """Devices that were read since the list was last written, by the fingerprint of their key."""

    _known: dict[str, tuple[Device, float | None]] = field(default_factory=dict)
    _state: int | None = None
    _opened: tuple[int, int] = (0, 0)
    _file: sqlite3.Connection | None = None
    _lock: Lock = field(default_factory=Lock)

    def state(self, path: Path) -> int | None:
        """What changes with every write; None where that cannot be told at once."""
        with self._lock:
            return self._now(path)

    def get(self, key: str, path: Path) -> tuple[Device, float | None] | None:
        """What is kept under that key, and still true."""
        with self._lock:
            now = self._now(path)
            return self._known.get(key) if now is not None and now == self._state else None

    def keep(self, key: str, state: int | None, device: Device, ends: float | None) -> None:
        """Keep what was read after the file was seen in that state."""
        with self._lock:
            if state is None:
                return
            if state != self._state:
                self._known.clear()
                self._state = state
            self._known[key] = device, ends

    def forget(self) -> None:
        """Close the connection."""
        with self._lock:
            if self._file is not None:
                self._file.close()
            self._file, self._state = None, None
            self._known.clear()

    def _now(self, path: Path) -> int | None:
        try:
            found = path.stat()  # a file put in its place is another one
            if self._file is not None and self._opened != (found.st_dev, found.st_ino):
                self._file.close()
                self._file = None
            if self._file is None:
                # A connection counts for itself alone: what an earlier one said means nothing to this one.
                self._known.clear()
                self._state, self._opened = None, (found.st_dev, found.st_ino)
                self._file = sqlite3.connect(f"{path.absolute().as_uri()}?mode=ro", uri=True, timeout=0.0,
                                             isolation_level=None, check_same_thread=False)  # fmt: skip
            version = int(self._file.execute("PRAGMA data_version").fetchone()[0])
        except (sqlite3.Error, OSError):  # just being written, or not there yet
            return None
        return version
