"""Field logs that were sent to the desk: kept for this server's life, in no book, the oldest put away first."""

from __future__ import annotations

import re
import shutil
import tempfile
import weakref
from collections import OrderedDict
from dataclasses import dataclass, field
from hashlib import sha256
from pathlib import Path, PurePosixPath
from threading import Lock
from typing import BinaryIO, Final

from fastapi import Request

from chaffinch.errors import InputError

KEPT: Final = 6
"""Logs kept; own figure."""
MOST_BYTES: Final = 32 * 1024 * 1024
"""Largest file that is taken [bytes]; own figure. A day of a combine, a record a second, is about 3 MB of text."""
ENDINGS: Final = (".csv", ".txt", ".tsv", ".tab", ".dat", ".gz", ".zip", ".gpkg", ".geojson", ".json", ".parquet")
_PIECE: Final = 1024 * 1024
_ODD: Final = re.compile(r"[^\w. -]+")


@dataclass
class KeptLog:
    """One log that was sent.

    Attributes
    ----------
    token : str
        By which it is asked for.
    path : Path
        Where it lies.
    name : str
        As it was called, without what a file's name should not hold.
    asked : dict of str to str
        What was last asked of it: answers to its questions, and on whose terms it is summed.
    """

    token: str
    path: Path
    name: str
    asked: dict[str, str] = field(default_factory=dict)


class FieldLogs:
    """The logs of one server; their folder is made for the first and goes with the server."""

    def __init__(self) -> None:
        self._folder: Path | None = None
        self._kept: OrderedDict[str, KeptLog] = OrderedDict()
        self._lock = Lock()

    def _home(self) -> Path:
        if self._folder is None:
            self._folder = Path(tempfile.mkdtemp(prefix="chaffinch-logs-"))
            weakref.finalize(self, shutil.rmtree, self._folder, ignore_errors=True)
        return self._folder

    def keep(self, file: BinaryIO, called: str) -> KeptLog:
        """Write a log into the folder; the same bytes under the same name are the same log.

        Raises
        ------
        InputError
            For an ending that is no log's, an empty file, or one that is too large.
        """
        name = name_of(called)
        ending = PurePosixPath(name).suffix.lower()
        if ending not in ENDINGS:
            mend = "choose comma text, a shapefile or task data in a .zip, GeoPackage, GeoJSON or Parquet"
            raise InputError("file", called[-60:], "is no kind of field log we read", mend)
        begun = sha256(f"{name}\n".encode())
        size, pieces = 0, []
        while piece := file.read(_PIECE):
            size += len(piece)
            if size > MOST_BYTES:
                problem = f"is larger than {MOST_BYTES // _PIECE} MB"
                mend = "send the log of one field; a larger one is worked on at the computer that serves"
                raise InputError("file", called[-60:], problem, mend)
            begun.update(piece)
            pieces.append(piece)
        if not size:
            raise InputError("file", called[-60:], "is empty", "choose the file again")
        token = begun.hexdigest()[:32]
        with self._lock:
            if token in self._kept:
                self._kept.move_to_end(token)
                return self._kept[token]
            home = self._home() / token
            home.mkdir(exist_ok=True)
            path = home / name
            path.write_bytes(b"".join(pieces))
            self._kept[token] = KeptLog(token, path, PurePosixPath(name).stem)
            while len(self._kept) > KEPT:
                _, gone = self._kept.popitem(last=False)
                gone.path.unlink(missing_ok=True)
            return self._kept[token]

    def find(self, token: str) -> KeptLog | None:
        """A log that is still kept."""
        with self._lock:
            return self._kept.get(token)

    def every(self) -> list[KeptLog]:
        """All of them, the newest first."""
        with self._lock:
            return list(reversed(self._kept.values()))


def name_of(called: str) -> str:
    """A file's name from what a browser says: its last part, plain letters, at most 80 of them."""
    last = called.replace("\\", "/").rpartition("/")[2]
    plain = _ODD.sub("_", last).strip(" .")
    stem, dot, ending = plain.rpartition(".")
    return f"{stem[:80] or 'log'}{dot}{ending[:12]}" if dot else plain[:80] or "log"


def field_logs_of(request: Request) -> FieldLogs:
    """The app's logs."""
    found: FieldLogs | None = getattr(request.app.state, "field_logs", None)
    if found is None:
        found = FieldLogs()
        request.app.state.field_logs = found
    return found
