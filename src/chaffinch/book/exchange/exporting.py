"""Taking the whole book away in open formats: JSON Lines for programs, CSV tables for people.

``records.jsonl`` and ``conflicts.jsonl`` hold every record in its envelope and are what
:mod:`chaffinch.book.exchange.importing` reads back. The tables beside them are for people and say the same in columns.
"""

from __future__ import annotations

import csv
import json
import os
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import ExitStack
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path
from typing import Any, Final

import sqlalchemy as sa

from chaffinch import __version__
from chaffinch.book.desk import Desk
from chaffinch.book.exchange import open_tables as opentables
from chaffinch.book.thingsnow import as_it_stands
from chaffinch.errors import BookError, InputError
from chaffinch.how_far import Progress
from chaffinch.records.bodies import replaced_by, suits
from chaffinch.records.kinds import EDIT, KINDS
from chaffinch.store import records
from chaffinch.store.opening import guarded
from chaffinch.sync.corrections import versions
from chaffinch.sync.envelope import Envelope, canonical
from chaffinch.sync.labels import Edit, edit_of, holding

FORMAT: Final = 1
"""Version of the folder's layout."""

RECORDS: Final = "records.jsonl"
CONFLICTS: Final = "conflicts.jsonl"
BOOK: Final = "book.json"
DICTIONARY: Final = "dictionary.csv"
_DICTIONARY_HEAD: Final = ("table", "column", "unit", "meaning")
_EVERY: Final = 500  # records between two reports of progress


@dataclass(frozen=True, slots=True)
class Exported:
    """What was taken away.

    Attributes
    ----------
    folder : str
        Where it lies now.
    records, conflicts : int
        How many of each.
    kinds : dict
        Records by kind.
    rows : dict
        Rows by table, the head not counted.
    """

    folder: str
    records: int
    conflicts: int
    kinds: dict[str, int]
    rows: dict[str, int]


def export_book(desk: Desk, folder: str, *, progress: Progress | None = None) -> Exported:
    """Write the whole book into a folder that does not exist yet, or is empty.

    The folder is written as ``NAME.partial`` and takes its own name only when it is complete and on disk. Others may
    go on writing in the book meanwhile; what arrives after its turn is left for the next export.

    Parameters
    ----------
    desk : Desk
        The open book.
    folder : str
        Where to.
    progress : callable or None
        Called with (done, of); each record is counted twice, once for its envelope and once for the tables.

    Raises
    ------
    InputError
        When the folder holds something, or cannot be one.
    BookError
        When the book cannot be read, or the folder cannot be written; then nothing is left of it.
    """
    target = Path(folder)
    partial = _partial_of(target, folder)
    try:
        partial.mkdir()
    except FileExistsError:
        raise InputError(
            "folder",
            str(partial),
            "is there already, from an export that was stopped or is still running",
            "remove it when no export is running, then try again",
        ) from None
    except OSError as error:
        raise InputError("folder", folder, f"cannot be made ({error.strerror})", "name another folder") from None
    try:
        done = _write(desk, partial, folder, progress)
        if target.exists():
            target.rmdir()
        partial.rename(target)
        _flush_folder(target.absolute().parent)
    except OSError as error:
        _remove(partial)
        raise BookError(folder, f"the export could not be written: {error.strerror or error}") from error
    except BaseException:
        _remove(partial)
        raise
    return done


def dictionary() -> Iterator[tuple[str, str, str, str]]:
    """Every column of every table: table, column, unit, meaning."""
    for table, columns in opentables.tables().items():
        for column in columns:
            yield table, column.name, column.unit, column.about


def _partial_of(target: Path, folder: str) -> Path:
    if not folder.strip() or not target.name:
        raise InputError("folder", folder, "has no name", "name a new folder, like larkhollow-2026")
    if target.exists() and not target.is_dir():
        raise InputError("folder", folder, "is a file", "name a new folder")
    try:
        if target.is_dir() and any(target.iterdir()):
            raise InputError("folder", folder, "is not empty", "name a new folder")
    except OSError as error:
        raise InputError("folder", folder, f"cannot be read ({error.strerror})", "name another folder") from None
    if not target.absolute().parent.is_dir():
        raise InputError("folder", folder, "lies in a folder that does not exist", "make that folder first")
    return target.with_name(target.name + ".partial")


def _write(desk: Desk, partial: Path, folder: str, progress: Progress | None) -> Exported:
    total = _count(desk)

    def step(done: int, of: int = 0) -> None:
        if progress is not None and (done % _EVERY == 0 or done == of):
            progress(done, max(done, of))

    kinds: Counter[str] = Counter()
    with (partial / RECORDS).open("wb") as file:
        seen = _Seen()
        for stored in records.every(desk.store):
            kinds[stored.envelope.kind] += 1
            seen.note(stored.envelope)
            file.write(canonical(stored.envelope.as_dict()) + b"\n")
            step(kinds.total(), 2 * total)
    with (partial / CONFLICTS).open("wb") as file:
        aside = [stored.envelope for stored in records.conflicts(desk.store)]
        file.writelines(canonical(one.as_dict()) + b"\n" for one in aside)
    count = kinds.total()
    known = seen.known(aside)
    rows = _write_tables(partial, known, lambda done: step(count + done, 2 * count))
    files = sorted(path for path in partial.iterdir())
    book: dict[str, Any] = {
        "format": FORMAT,
        "program": f"chaffinch {__version__}",
        "exported_at": desk.now(),
        "book": records.facts(desk.store),
        "counts": {"records": count, "conflicts": len(aside), "kinds": dict(sorted(kinds.items()))},
        "files": {path.name: {"bytes": path.stat().st_size, "sha256": file_sha256(path)} for path in files},
    }
    text = json.dumps(book, ensure_ascii=False, indent=2, sort_keys=True) + "\n"
    (partial / BOOK).write_text(text, encoding="utf-8", newline="\n")
    for path in (*files, partial / BOOK):
        with path.open("rb") as finished:
            os.fsync(finished.fileno())
    _flush_folder(partial)
    return Exported(folder, count, len(aside), dict(kinds), rows)


class _Seen:
    """What is kept of each record while the envelopes are written, for the tables that come after."""

    def __init__(self) -> None:
        self.things: dict[str, Envelope] = {}
        self.edits: list[Edit] = []
        self.readings: list[str] = []
        self.replaces: dict[str, tuple[str, ...]] = {}

    def note(self, one: Envelope) -> None:
        kind = KINDS[one.kind]
        if kind.thing:
            self.things[one.id] = one
        if one.kind == EDIT:
            self.edits.append(edit_of(one.id, one.body))
        if kind.reading:
            self.readings.append(one.id)
            if olds := replaced_by(one.body):
                self.replaces[one.id] = olds

    def known(self, conflicts: Sequence[Envelope]) -> opentables.Known:
        """What holds and what counts, by the rules of the book itself: a record in conflict says nothing of others."""
        aside = {one.id for one in conflicts}
        for one in conflicts:
            # Of records that claim one id the book shows the one with the smallest hash.
            if one.id in self.things and one.hash < self.things[one.id].hash and KINDS[one.kind].thing:
                self.things[one.id] = one
        held = holding(edit for edit in self.edits if edit.id not in aside)
        labels: dict[str, dict[str, Any]] = {}
        holds = set()
        for (target, name), edit in held.items():
            thing = self.things.get(target)
            if thing is None or suits(thing.kind, name, edit.value):
                holds.add(edit.id)
            labels.setdefault(target, {})[name] = edit.value
        parts: dict[str, tuple[str, Mapping[str, Any]]] = {
            record_id: (one.kind, as_it_stands(one.kind, one.body, labels.get(record_id, {})))
            for record_id, one in self.things.items()
        }
        replaces = {new: olds for new, olds in self.replaces.items() if new not in aside}
        counting = {v.counts for v in versions(self.readings, replaces) if v.counts is not None}
        return opentables.Known(parts, counting - aside, holds)


def _write_tables(folder: Path, known: opentables.Known, step: Callable[[int], None]) -> dict[str, int]:
    """Write the CSV tables from the envelopes just written, so that both hold the very same records."""
    rows: Counter[str] = Counter(dict.fromkeys(opentables.tables(), 0))
    with ExitStack() as stack:
        sheets = {}
        for table, columns in opentables.tables().items():
            file = stack.enter_context((folder / f"{table}.csv").open("w", encoding="utf-8", newline=""))
            sheets[table] = csv.writer(file)
            sheets[table].writerow(column.header for column in columns)
        lines = stack.enter_context((folder / RECORDS).open("rb"))
        for done, line in enumerate(lines, start=1):
            for table, cells in opentables.rows_of(Envelope(**json.loads(line)), known):
                rows[table] += 1
                sheets[table].writerow(opentables.written(cell) for cell in cells)
            step(done)
    with (folder / DICTIONARY).open("w", encoding="utf-8", newline="") as file:
        csv.writer(file).writerows([_DICTIONARY_HEAD, *(map(opentables.protected, row) for row in dictionary())])
    return dict(rows)


def file_sha256(path: Path) -> str:
    """SHA-256 of a file, hexadecimal, read in pieces."""
    found = sha256()
    with path.open("rb") as file:
        while piece := file.read(1 << 20):
            found.update(piece)
    return found.hexdigest()


def _count(desk: Desk) -> int:
    with guarded(desk.store.address), desk.store.reading() as connection:
        return int(connection.execute(sa.text("SELECT COUNT(*) FROM record")).scalar_one())


def _flush_folder(folder: Path) -> None:
    """Make the names in a folder last through a power cut, where the system lets a folder be opened."""
    if os.name != "posix":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def _remove(partial: Path) -> None:
    """Remove what this export wrote; a file that cannot be removed must not hide the error that brought us here."""
    names: Iterable[str] = (RECORDS, CONFLICTS, BOOK, DICTIONARY, *(f"{table}.csv" for table in opentables.tables()))
    try:
        for name in names:
            (partial / name).unlink(missing_ok=True)
        partial.rmdir()
    except OSError:
        return
