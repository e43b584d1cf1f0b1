"""Which reports were issued, and what stood on them? One in the book is frozen: figures, prices, version, pages."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from chaffinch import __version__
from chaffinch.book.checks.looking import readings
from chaffinch.book.desk import Desk, Receipt
from chaffinch.errors import InputError
from chaffinch.records.kinds import LONGEST_NAME

SHORTEST: Final = 4
"""Fewest characters by which an id may be named."""
MOST_OF: Final = 1000
"""Records a report names at most: as many as its kind of record holds."""


@dataclass(frozen=True, slots=True)
class Issued:
    """A report as it was issued.

    Attributes
    ----------
    id : str
    issued_at : str
        UTC.
    title : str
    program : str
        Version that worked it out.
    price : str
        "" where it rests on none, or on several.
    of : tuple of str
        Records it rests on.
    result : mapping
        ``kind``, ``short``, ``page`` (as laid out) and ``figures``.
    """

    id: str
    issued_at: str
    title: str
    program: str
    price: str
    of: tuple[str, ...]
    result: Mapping[str, Any]


def issue_report(
    desk: Desk, *, kind: str, title: str, page: Mapping[str, Any], figures: Mapping[str, Any], of: Sequence[str] = (),
    price: str = "", short: bool = False,
) -> Receipt:  # fmt: skip
    """Keep a report in the book as it stands; when this returns it is on disk.

    Parameters
    ----------
    desk : Desk
        The open book.
    kind : str
        ``check``, ``field``, ``trial`` or ``season``.
    title : str
        Cut to 200 characters.
    page : mapping
        The pages as laid out, all that is needed to print them again.
    figures : mapping
        The answers it rests on.
    of : sequence of str
        Ids of the records it rests on; the first thousand.
    price : str
        Where it is one price, like ``640 /t``.
    short : bool
        Whether it is the form of one page.

    Raises
    ------
    InputError
        When it is too large to be a record.
    BookError
        When the book cannot be written.
    """
    body: dict[str, Any] = {
        "issued_at": desk.now(),
        "title": title[:LONGEST_NAME],
        "program": __version__,
        "result": {"kind": kind, "short": short, "page": dict(page), "figures": dict(figures)},
    }
    if of:
        body["of"] = list(dict.fromkeys(of))[:MOST_OF]
    if price:
        body["price"] = price
    try:
        return desk.write("report", body)
    except InputError as error:
        if error.field == "body":
            raise InputError("report", error.value, "is too large to be kept", "issue the short one: --short") from None
        raise


def reports(desk: Desk) -> list[Issued]:
    """The reports that were issued, by time."""
    return [
        Issued(
            one.id,
            str(one.body["issued_at"]),
            str(one.body["title"]),
            str(one.body["program"]),
            str(one.body.get("price", "")),
            tuple(one.body.get("of", ())),
            one.body["result"],
        )
        for one in readings(desk, "report")
    ]


def find_report(desk: Desk, wanted: str) -> Issued:
    """The issued report whose id begins with ``wanted`` (4 characters or more).

    Raises
    ------
    InputError
        When there is none, there are several, or it was kept by something that laid no pages out.
    """
    mend = "chaffinch report list shows them"
    if len(wanted) < SHORTEST:
        raise InputError("report", wanted, "is too short for the beginning of an id", "give 4 characters or more")
    found = [one for one in reports(desk) if one.id.startswith(wanted.lower())]
    if not found:
        raise InputError("report", wanted, "was not issued from this book", mend)
    if len(found) > 1:
        raise InputError("report", wanted, "is the beginning of several ids", "give more of it")
    if not isinstance(found[0].result, Mapping) or "page" not in found[0].result:
        raise InputError("report", wanted, "holds no pages", mend)
    return found[0]
