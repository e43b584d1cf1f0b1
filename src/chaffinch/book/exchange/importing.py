"""Bringing an exported folder into a book, by the same rules as any record that arrives.

A damaged file is refused whole, by the SHA-256 that ``book.json`` holds for it. A line that cannot be taken is listed
with its number and the reason, and the other lines come in.
"""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

from chaffinch.book.desk import Desk
from chaffinch.book.exchange.exporting import BOOK, CONFLICTS, FORMAT, RECORDS, file_sha256
from chaffinch.errors import InputError
from chaffinch.how_far import Progress
from chaffinch.records.bodies import validate
from chaffinch.store import records
from chaffinch.sync.accept import Receipt, judge
from chaffinch.sync.envelope import MOST_BYTES, Envelope, opened

BATCH: Final = 500
"""Records put into the book in one transaction."""

_LONGEST_LINE: Final = 2 * MOST_BYTES  # [bytes]: a body of the largest size, its escapes and its envelope
_LARGEST_BOOK_JSON: Final = 1_000_000  # [bytes]


@dataclass(frozen=True, slots=True)
class Refused:
    """One line or row that did not come in.

    Attributes
    ----------
    place : str
        The file and its line, or the row of a spreadsheet: ``"records.jsonl, line 12"``, ``"row 12"``.
    number : int
        The line or row alone, counted from 1.
    column : str
        The column at fault as its header has it; empty for a whole line.
    value : str
        What stood there; empty where the whole line is at fault.
    why : str
        The reason and the mend, in one clause.
    """

    place: str
    number: int
    column: str
    value: str
    why: str

    def line(self) -> str:
        """The whole refusal as one line."""
        where = f"{self.place}, {self.column}" if self.column else self.place
        shown = f" (got {self.value!r})" if self.value else ""
        return f"{where}: {self.why}{shown}"


@dataclass(frozen=True, slots=True)
class Coming:
    """One check that would come in, or came in, from a spreadsheet: its rows, and what a person knows it by."""

    rows: tuple[int, ...]
    taken_at: str
    field: str
    combine: str
    crop: str
    catches: tuple[str, ...]
    outcome: str


@dataclass(frozen=True, slots=True)
class Imported:
    """What came in, or in a dry run would.

    Attributes
    ----------
    dry_run : bool
        Whether nothing was written.
    accepted, known, conflicts : int
        Records by outcome.
    refused : tuple of Refused
        Lines or rows that did not come in, in their order.
    kinds : mapping
        Accepted records by kind.
    added : tuple of (str, str)
        Kind and name of each thing a spreadsheet brought along.
    coming : tuple of Coming
        Checks of a spreadsheet, in their order.
    notices : tuple of str
        What was decided or noticed on the way, a sentence each.
    """

    dry_run: bool
    accepted: int
    known: int
    conflicts: int
    refused: tuple[Refused, ...]
    kinds: Mapping[str, int]
    added: tuple[tuple[str, str], ...] = ()
    coming: tuple[Coming, ...] = ()
    notices: tuple[str, ...] = ()


def import_folder(
    desk: Desk, folder: str, *, dry_run: bool = False, salvage: bool = False, progress: Progress | None = None
) -> Imported:
    """Bring the records of an exported folder into the book.

    Nothing in the book is changed or deleted. It may be stopped at any moment and run again: what came in stays and
    is known the next time.

    Parameters
    ----------
    desk : Desk
        The open book.
    folder : str
        As :func:`chaffinch.book.exchange.exporting.export_book` wrote it.
    dry_run : bool
        Write nothing, and return what would come in.
    salvage : bool
        Take from a damaged file the lines that are whole: each line carries its own hash.
    progress : callable or None
        Called with (done, of) lines.

    Raises
    ------
    InputError
        When it is no such folder, was written by a newer program, or a file of it is missing or damaged.
    BookError
        When the book cannot be read or written.
    """
    place = Path(folder)
    book = _book_json(place, folder)
    damaged, notices = _damage(place, book)
    if damaged and not salvage:
        name, problem = damaged[0]
        raise InputError(
            f"folder, {name}",
            None,
            problem,
            "copy the folder anew, or let the lines that are whole be salvaged",
        )
    notices = [*(f"{name} {problem}; its whole lines were salvaged" for name, problem in damaged), *notices]
    files = [place / name for name in (RECORDS, CONFLICTS) if (place / name).is_file()]
    total = sum(_lines_in(path) for path in files)
    taking = Judging(desk) if dry_run else Adding(desk)
    done = 0
    for path in files:
        for batch in _batches(_numbered(path)):
            taking.take(path.name, batch)
            done += len(batch)
            if progress is not None:
                progress(done, total)
    counts = taking.counts
    return Imported(
        dry_run,
        counts["accepted"],
        counts["known"],
        counts["conflict"],
        tuple(taking.refused),
        dict(taking.kinds),
        notices=tuple(notices),
    )


_Line = tuple[int, Envelope | str]
"""A line's number, and its envelope or why it is none."""


@dataclass
class _Taking:
    """Takes lines and counts what became of them."""

    desk: Desk
    counts: Counter[str] = field(default_factory=Counter)
    kinds: Counter[str] = field(default_factory=Counter)
    refused: list[Refused] = field(default_factory=list)

    def take(self, file: str, batch: list[_Line]) -> None:
        receipts = iter(self.receipts([one for _, one in batch if isinstance(one, Envelope)]))
        for number, one in batch:
            if isinstance(one, str):
                outcome, reason = "refused", one
            else:
                receipt = next(receipts)
                outcome, reason = receipt.outcome, receipt.reason
                if outcome == "accepted":
                    self.kinds[one.kind] += 1
            self.counts[outcome] += 1
            if outcome == "refused":
                self.refused.append(Refused(f"{file}, line {number}", number, "", "", reason))

    def receipts(self, envelopes: list[Envelope]) -> list[Receipt]:
        raise NotImplementedError


class Adding(_Taking):
    """Puts the records into the book."""

    def receipts(self, envelopes: list[Envelope]) -> list[Receipt]:
        """One for each record, in order, given after it is on disk."""
        return records.append(self.desk.store, envelopes)


class Judging(_Taking):
    """Tells what would become of the records, by the same rules, and writes nothing."""

    def __init__(self, desk: Desk) -> None:
        super().__init__(desk)
        self.hashes: dict[str, set[str]] = {}
        for record_id, content_hash in records.identities(desk.store):
            self.hashes.setdefault(record_id, set()).add(content_hash)

    def receipts(self, envelopes: list[Envelope]) -> list[Receipt]:
        """What the book would say to each record."""
        return [self.judged(one) for one in envelopes]

    def judged(self, one: Envelope) -> Receipt:
        """What the book would say to one record, after those judged before."""
        hashes = self.hashes.get(one.id, set())
        outcome = judge(one, hashes)
        if outcome != "known":
            try:
                validate(one.kind, one.schema, one.body)
            except InputError as error:
                return Receipt(one.id, one.hash, "refused", str(error))
            self.hashes.setdefault(one.id, hashes).add(one.hash)
        return Receipt(one.id, one.hash, outcome)


def _book_json(place: Path, folder: str) -> dict[str, Any]:
    path = place / BOOK
    if not place.is_dir():
        raise InputError("folder", folder, "is no folder", "name the folder of an export")
    try:
        with path.open("rb") as file:
            data = file.read(_LARGEST_BOOK_JSON + 1)
    except FileNotFoundError:
        raise InputError("folder", folder, f"holds no {BOOK}", "name the folder of an export") from None
    except OSError as error:
        raise InputError("folder", str(path), f"cannot be read ({error.strerror})", "check its permissions") from None
    if len(data) > _LARGEST_BOOK_JSON:
        raise InputError(f"folder, {BOOK}", f"{len(data)} bytes or more", "is too large", "copy the folder anew")
    try:
        book = json.loads(data)
    except (ValueError, RecursionError) as error:
        raise InputError(f"folder, {BOOK}", None, f"is no JSON ({error})", "copy the folder anew") from None
    version = book.get("format") if isinstance(book, dict) else None
    if not isinstance(version, int) or isinstance(version, bool) or version < 1:
        raise InputError(f"folder, {BOOK}", None, "names no format", "name the folder of an export")
    if version > FORMAT:
        raise InputError(
            f"folder, {BOOK}", version, f"is a newer format than this program's {FORMAT}", "update chaffinch"
        )
    files = book.get("files")
    if not isinstance(files, dict) or not {RECORDS, CONFLICTS} <= set(files):
        raise InputError(f"folder, {BOOK}", None, f"does not list {RECORDS} and {CONFLICTS}", "copy the folder anew")
    return dict(book)


def _damage(place: Path, book: Mapping[str, Any]) -> tuple[list[tuple[str, str]], list[str]]:
    """Files that are read back and are not what they were, and notices about tables that are not."""
    damaged, notices = [], []
    for name, facts in sorted(book["files"].items()):
        path = place / name
        if Path(name).name != name:
            raise InputError(f"folder, {BOOK}", name, "names a file outside the folder", "use a folder as exported")
        if not path.is_file():
            problem = "is missing"
        elif not isinstance(facts, dict) or file_sha256(path) != facts.get("sha256"):
            problem = "is damaged or was changed: it does not fit its SHA-256"
        else:
            continue
        if name in (RECORDS, CONFLICTS):
            damaged.append((name, problem))
        else:
            notices.append(f"{name} {problem}. Tables are for reading only: nothing is imported from them.")
    return damaged, notices


def _lines_in(path: Path) -> int:
    with path.open("rb") as file:
        return sum(piece.count(b"\n") for piece in iter(lambda: file.read(1 << 20), b""))


def _numbered(path: Path) -> Iterator[_Line]:
    with path.open("rb") as file:
        number = 0
        while line := file.readline(_LONGEST_LINE):
            number += 1
            if len(line) == _LONGEST_LINE and not line.endswith(b"\n"):
                while (rest := file.readline(_LONGEST_LINE)) and not rest.endswith(b"\n"):
                    pass
                yield number, f"is longer than {_LONGEST_LINE} bytes; no record is"
            elif line.strip():
                yield number, opened_line(line)


def opened_line(line: bytes) -> Envelope | str:
    """The record of one line, or why it is none."""
    try:
        return opened(json.loads(line, object_pairs_hook=_once, parse_constant=_no_number))
    except InputError as error:
        return str(error)
    except UnicodeDecodeError:
        return "is not UTF-8; copy the file anew"
    except (ValueError, RecursionError) as error:
        return f"is no JSON ({error}); copy the file anew"


def _once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) < len(pairs):
        raise ValueError("a key stands twice")
    return found


def _no_number(word: str) -> float:
    raise ValueError(f"{word} is no number of JSON")


def _batches(lines: Iterator[_Line]) -> Iterator[list[_Line]]:
    batch: list[_Line] = []
    for line in lines:
        batch.append(line)
        if len(batch) == BATCH:
            yield batch
            batch = []
    if batch:
        yield batch
