"""A phone's export at the desk: its sealed records come in by the same rules as over the air, each with its receipt.

The first line says that a phone wrote the file and carries what is no record: the notes of stops still open, and
photos. Every further line is a record as it lies in the phone's outbox. A line that was changed on the way does not fit
its hash and is refused; the others come in. A record that came by itself meanwhile is known, and stays once.
"""

from __future__ import annotations

import base64
import binascii
import io
import json
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from hashlib import sha256
from itertools import islice
from typing import IO, Any, Final

from chaffinch.book.desk import Desk
from chaffinch.book.exchange.importing import BATCH, Adding, Imported, Judging, Refused, opened_line
from chaffinch.errors import InputError
from chaffinch.store.records import facts
from chaffinch.sync.envelope import Envelope

__all__ = ["OTHERS", "FromPhone", "Photo", "RecordReceipt", "import_phone_file", "is_phone_file"]

MOST_BYTES: Final = 64 * 1024**2
"""Largest file that is read [bytes]; own figure: some hundred photos as the phone keeps them, or two hundred thousand
records."""
LAYOUT: Final = 1
"""Newest layout of the first line that is known here."""
OTHERS: Final = "was written by a phone of another book"
LONGEST_TITLE: Final = 80
"""Letters of another book's title that are shown."""
_PHOTO_BYTES: Final = 8 * 1024**2
_BEGINNING: Final = b'{"phone":'


@dataclass(frozen=True, slots=True)
class Photo:
    """A picture out of the file, held to its hash."""

    sha256: str
    content: bytes


@dataclass(frozen=True, slots=True)
class RecordReceipt:
    """What became of one line.

    Attributes
    ----------
    line : int
        From 1, as an editor counts.
    kind, id, taken_at : str
        Empty where the line could not be read, or says no time.
    outcome : {"accepted", "known", "conflict", "refused"}
    reason : str
        Why it was refused; else empty.
    """

    line: int
    kind: str
    id: str
    taken_at: str
    outcome: str
    reason: str


@dataclass(frozen=True, slots=True)
class FromPhone:
    """What a phone's file brought, or in a dry run would bring.

    Attributes
    ----------
    imported : Imported
        The counts, as of any import.
    receipts : tuple of RecordReceipt
        One for each record, in the order of the file.
    device : str
        Name of the phone, as it says itself.
    written_at : str
        By the phone's clock.
    open_stops : int
        Stops that were not finished on the phone: they are no records, and do not come in.
    photos : tuple of Photo
        Pictures that fit their hash, unless they were handed on one by one; the book keeps none, the server beside it
        does.
    """

    imported: Imported
    receipts: tuple[RecordReceipt, ...]
    device: str
    written_at: str
    open_stops: int
    photos: tuple[Photo, ...]


def is_phone_file(beginning: bytes) -> bool:
    """Whether a file that begins so was written by a phone; its first dozen bytes are enough."""
    return beginning.removeprefix(b"\xef\xbb\xbf").lstrip().startswith(_BEGINNING)


def import_phone_file(
    desk: Desk,
    data: bytes | IO[bytes],
    *,
    dry_run: bool = False,
    other_book: bool = False,
    each_photo: Callable[[Photo], object] | None = None,
) -> FromPhone:
    """Bring the records of a phone's file into the book, some hundred at a time.

    Parameters
    ----------
    desk : Desk
    data : bytes or binary file
        The file; one that is open is read from where it stands, and never held whole.
    dry_run : bool
        Write nothing; say what would become of each record.
    other_book : bool
        Take the records in although the phone belongs to another book: another farm's, as a rule.
    each_photo : callable or None
        Is given each picture by itself, after the records; then they are not collected.

    Raises
    ------
    InputError
        When the file is none of a phone's, is damaged in its first line, newer than this program, or too large; when
        the phone that wrote it belongs to another book, with ``problem`` :data:`OTHERS`.
    """
    file = io.BytesIO(data) if isinstance(data, bytes) else data
    size = _size(file)
    if size > MOST_BYTES:
        problem = f"is larger than the {MOST_BYTES // 1024**2} MB that a phone's file may have"
        mend = "send from the phone itself, near the server: Outbox, Send now; it has no such end"
        raise InputError("file", f"{size} bytes", problem, mend)
    about = _head(file.readline().removeprefix(b"\xef\xbb\xbf"))
    others = _another_book(desk, about.get("book"))
    if others is not None and not (dry_run or other_book):
        raise InputError("file", others, OTHERS, "look with --dry-run; bring it in all the same with --other-book")
    taking = Judging(desk) if dry_run else Adding(desk)
    receipts: list[RecordReceipt] = []
    lines = ((number, opened_line(line)) for number, line in enumerate(file, 2) if line.strip())
    while batch := list(islice(lines, BATCH)):
        answers = iter(taking.receipts([one for _, one in batch if isinstance(one, Envelope)]))
        for number, one in batch:
            if isinstance(one, str):
                receipts.append(RecordReceipt(number, "", "", "", "refused", one))
            else:
                answer = next(answers)
                taken = _moment(one.body.get("taken_at")) or _moment(one.device_time)
                receipts.append(RecordReceipt(number, one.kind, one.id, taken, answer.outcome, answer.reason))
    photos: list[Photo] = []
    broken = 0
    for photo in _photos(about.pop("photos", None)):
        if photo is None:
            broken += 1
        else:
            (each_photo or photos.append)(photo)
    notices = [f"{_many(broken, 'photo does', 'photos do')} not fit their hash."] if broken else []
    if others is not None:
        notices.append(f"The phone belongs to another book: {others}.")
    stops = _open_stops(about.get("journal"))
    if stops:
        notices.append(
            f"{_many(stops, 'stop was', 'stops were')} still open on the phone and did not come in: finish them there, "
            "or let another phone take this file in."
        )
    return FromPhone(
        _imported(receipts, notices, dry_run=dry_run),
        tuple(receipts),
        str(about.get("device") or ""),
        _moment(about.get("written_at")),
        stops,
        tuple(photos),
    )


def _another_book(desk: Desk, told: object) -> str | None:
    """Title of the book the phone belongs to; None where it is this one, or the phone was never paired."""
    if not isinstance(told, dict) or not isinstance(told.get("id"), str) or told["id"] == facts(desk.store)["id"]:
        return None
    return str(told.get("title") or told["id"])[:LONGEST_TITLE]


def _head(line: bytes) -> dict[str, Any]:
    if not is_phone_file(line):
        raise InputError("file", None, "was not written by a phone", "choose what the phone saved as a file")
    try:
        about = json.loads(line)
    except (ValueError, RecursionError) as error:
        raise InputError("file, line 1", None, f"is no JSON ({error})", "copy the file anew") from None
    layout = about.get("layout")
    if about["phone"] != "chaffinch" or not isinstance(layout, int) or isinstance(layout, bool):
        raise InputError("file, line 1", None, "is not that of a phone's file", "choose what the phone saved")
    if layout > LAYOUT:
        raise InputError("file", layout, f"has a newer layout than this program's {LAYOUT}", "update chaffinch")
    return dict(about)


def _size(file: IO[bytes]) -> int:
    """Bytes from here to the end."""
    here = file.tell()
    size = file.seek(0, io.SEEK_END) - here
    file.seek(here)
    return size


def _photos(given: object) -> Iterator[Photo | None]:
    """The pictures of the file, one by one; None for one that does not fit its hash."""
    coming = given if isinstance(given, list) else []
    while coming:
        one = coming.pop(0)
        try:
            text = str(one["base64"])
            content = base64.b64decode(text + "=" * (-len(text) % 4), altchars=b"-_", validate=True)
            whole = sha256(content).hexdigest() == one["sha256"] and len(content) <= _PHOTO_BYTES
        except (KeyError, TypeError, binascii.Error):
            whole = False
        yield Photo(str(one["sha256"]), content) if whole else None


def _open_stops(journal: object) -> int:
    """Stops of the journal that were opened and not closed."""
    lines = [one for one in journal if isinstance(one, dict)] if isinstance(journal, list) else []
    said = {what: {str(one.get("stop")) for one in lines if one.get("what") == what} for what in ("open", "close")}
    return len(said["open"] - said["close"])


def _imported(receipts: Sequence[RecordReceipt], notices: Sequence[str], *, dry_run: bool) -> Imported:
    counts = Counter(one.outcome for one in receipts)
    return Imported(
        dry_run,
        counts["accepted"],
        counts["known"],
        counts["conflict"],
        tuple(Refused(f"line {x.line}", x.line, "", "", x.reason) for x in receipts if x.outcome == "refused"),
        dict(Counter(one.kind for one in receipts if one.outcome == "accepted")),
        notices=tuple(notices),
    )


def _many(count: int, one: str, more: str) -> str:
    return f"{count} {one if count == 1 else more}"


def _moment(value: object) -> str:
    """A time as records write it; empty for anything else, which a refused record may hold."""
    try:
        datetime.strptime(str(value), "%Y-%m-%dT%H:%M:%SZ").replace(tzinfo=UTC)
    except ValueError:
        return ""
    return str(value)
