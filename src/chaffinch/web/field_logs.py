"""Field logs that were sent to the desk: kept for this server's life, in no book, the oldest put away first.

A file that could not be read goes before any log.
"""

from __future__ import annotations

import re
import shutil
import weakref
from collections import OrderedDict
from collections.abc import Sequence
from dataclasses import dataclass, field
from hashlib import sha256
from pathlib import Path, PurePosixPath
from threading import Lock
from typing import BinaryIO, Final

from fastapi import Request

from chaffinch.book.fieldlogs.large import drop_folder_for_logs, folder_for_logs, refuse_larger
from chaffinch.errors import InputError

KEPT: Final = 6
"""Logs kept; own figure."""
MOST_BYTES: Final = 32 * 1024 * 1024
"""Largest file that is taken [bytes]; own figure. A day of a combine, a record a second, is about 3 MB of text."""
MOST_UNPACKED_BYTES: Final = 256 * 1024 * 1024
"""Most that a packed file may hold [bytes]; own figure: some two million records, and 1.5 GB of memory."""
MOST_ZONES_BYTES: Final = 8 * 1024 * 1024
"""Largest file of zones [bytes]; own figure. A few hundred soils with fine edges are about 1 MB."""
ZONE_ENDINGS: Final = (".zip", ".gpkg", ".geojson", ".json", ".parquet", ".geoparquet")
"""A shapefile is several files and comes as a zip."""
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
        What was last asked of it by anybody: answers to its questions, and on whose terms it is summed.
    own : dict of str to dict
        What each device asked last, by its id: nobody's terms change under his hands.
    zones : Path or None
        A file of areas to tell the loss of, sent for it.
    unread : bool
        Whether it could not be read when somebody looked at it.
    """

    token: str
    path: Path
    name: str
    asked: dict[str, str] = field(default_factory=dict)
    own: dict[str, dict[str, str]] = field(default_factory=dict)
    zones: Path | None = None
    unread: bool = False

    def ask(self, device: str, told: dict[str, str]) -> None:
        """Keep what a device asks; who has asked nothing yet sees the same."""
        self.asked = self.own[device] = told

    def asked_by(self, device: str) -> dict[str, str]:
        """What a device asked last; what was last asked by anybody, where it has asked nothing."""
        return dict(self.own.get(device, self.asked))


class FieldLogs:
    """The logs of one server; their folder is made for the first and goes with the server."""

    def __init__(self) -> None:
        self._folder: Path | None = None
        self._kept: OrderedDict[str, KeptLog] = OrderedDict()
        self._lock = Lock()

    def _home(self, called: str) -> Path:
        if self._folder is None:
            try:
                self._folder = folder_for_logs()
            except OSError as error:
                raise _no_room("file", called, error) from None
            weakref.finalize(self, drop_folder_for_logs, self._folder)
        return self._folder

    def keep(self, file: BinaryIO, called: str) -> KeptLog:
        """Write a log into the folder; the same bytes under the same name are the same log.

        Raises
        ------
        InputError
            For an ending that is no log's, an empty file, or one that is too large, also once it is unpacked.
        """
        name = name_of(called)
        mend = "choose comma text, a shapefile or task data in a .zip, GeoPackage, GeoJSON or Parquet"
        _refuse_ending("file", called, name, ENDINGS, "is no kind of field log we read", mend)
        begun = sha256(f"{name}\n".encode())
        too_large = "send the log of one field; a larger one is worked on at the computer that serves"
        pieces = _pieces("file", file, called, MOST_BYTES, too_large)
        for piece in pieces:
            begun.update(piece)
        token = begun.hexdigest()[:32]
        with self._lock:
            if token in self._kept:
                self._kept.move_to_end(token)
                return self._kept[token]
            path = _written("file", called, self._home(called) / token / name, pieces)
            _refuse_swollen("file", called, path, too_large)
            self._kept[token] = KeptLog(token, path, PurePosixPath(name).stem)
            while len(self._kept) > KEPT:
                # A file that was no log takes no log's place.
                oldest = next((one for one in self._kept.values() if one.unread), None)
                gone = self._kept.pop(oldest.token) if oldest else self._kept.popitem(last=False)[1]
                shutil.rmtree(gone.path.parent, ignore_errors=True)
            return self._kept[token]

    def keep_zones(self, kept: KeptLog, file: BinaryIO, called: str) -> None:
        """Keep a file of zones beside a log, in place of one that was sent before.

        Raises
        ------
        InputError
            For an ending that no file of zones has, an empty file, or one that is too large.
        """
        name = name_of(called)
        mend = "choose a shapefile in a .zip, GeoPackage, GeoJSON or GeoParquet"
        _refuse_ending("zones", called, name, ZONE_ENDINGS, "is no kind of file we read zones from", mend)
        pieces = _pieces("zones", file, called, MOST_ZONES_BYTES, "send the zones of this field alone")
        with self._lock:
            self._forget_zones(kept)
            # A folder of its own for each, named by what it holds: answers are kept by its name.
            home = kept.path.parent / f"zones-{sha256(b''.join(pieces)).hexdigest()[:16]}"
            path = _written("zones", called, home / name, pieces)
            _refuse_swollen("zones", called, path, "send the zones of this field alone")
            kept.zones = path

    def forget_zones(self, kept: KeptLog) -> None:
        """Leave a log's zones out again."""
        with self._lock:
            self._forget_zones(kept)

    def _forget_zones(self, kept: KeptLog) -> None:
        if kept.zones is not None:
            shutil.rmtree(kept.zones.parent, ignore_errors=True)
            kept.zones = None

    def find(self, token: str) -> KeptLog | None:
        """A log that is still kept."""
        with self._lock:
            return self._kept.get(token)

    def every(self) -> list[KeptLog]:
        """All of them, the newest first."""
        with self._lock:
            return list(reversed(self._kept.values()))


def _refuse_ending(field: str, called: str, name: str, endings: Sequence[str], problem: str, mend: str) -> None:
    if PurePosixPath(name).suffix.lower() not in endings:
        raise InputError(field, called[-60:], problem, mend)


def _pieces(field: str, file: BinaryIO, called: str, most: int, mend: str) -> list[bytes]:
    """A file that was sent, in pieces; refused where it is empty or larger than ``most``."""
    size, pieces = 0, []
    while piece := file.read(_PIECE):
        size += len(piece)
        if size > most:
            raise InputError(field, called[-60:], f"is larger than {most // _PIECE} MB", mend)
        pieces.append(piece)
    if not size:
        raise InputError(field, called[-60:], "is empty", "choose the file again")
    return pieces


def _written(field: str, called: str, path: Path, pieces: Sequence[bytes]) -> Path:
    try:
        path.parent.mkdir(exist_ok=True)
        path.write_bytes(b"".join(pieces))
    except OSError as error:
        shutil.rmtree(path.parent, ignore_errors=True)
        raise _no_room(field, called, error) from None
    return path


def _refuse_swollen(field: str, called: str, path: Path, mend: str) -> None:
    """Remove a file again that is far larger once it is unpacked, and say so."""
    try:
        refuse_larger(path, MOST_UNPACKED_BYTES, mend)
    except InputError as error:
        shutil.rmtree(path.parent, ignore_errors=True)
        raise InputError(field, called[-60:], error.problem, error.mend) from None


def _no_room(field: str, called: str, error: OSError) -> InputError:
    problem = f"cannot be kept here ({error.strerror})"
    return InputError(field, called[-60:], problem, "make room at the computer that serves")


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
