"""What becomes of a record that arrives: new, already known, or in conflict. Pure rules, the same on every book.

A book never overwrites a record. The same id and hash again is no news. The same id with another hash means that two
different records claim to be one; both are kept, neither is counted in an answer, and a person settles it with a
correction. Nothing here looks at a clock: phone time is information, arrival order belongs to one book only.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Final, Literal

from chaffinch.errors import InputError
from chaffinch.sync.envelope import Envelope, opened

Outcome = Literal["accepted", "known", "conflict", "refused"]

SETTLED: Final = ("accepted", "known")
"""Outcomes after which a device may take the record out of its outbox."""


@dataclass(frozen=True, slots=True)
class Receipt:
    """What a book says about one record of a batch.

    Attributes
    ----------
    id, hash : str
        As they came; empty where they could not be read.
    outcome : {"accepted", "known", "conflict", "refused"}
        ``accepted`` and ``known`` let the device forget the record; the others keep it in its tray.
    reason : str
        Why it was refused or conflicts; empty otherwise.
    """

    id: str
    hash: str
    outcome: Outcome
    reason: str = ""


def judge(envelope: Envelope, known_hashes: Iterable[str]) -> Outcome:
    """Outcome of one record, given the hashes under which its id is known here (none when new)."""
    hashes = set(known_hashes)
    if not hashes:
        return "accepted"
    return "known" if envelope.hash in hashes else "conflict"


def open_batch(batch: Iterable[object]) -> list[Envelope | Receipt]:
    """Open every envelope of a batch by itself: one that is out of form becomes a refusal, the others go on."""
    results: list[Envelope | Receipt] = []
    for item in batch:
        try:
            results.append(opened(item))
        except InputError as error:
            claimed = item if isinstance(item, Mapping) else {}
            record_id, content_hash = claimed.get("id"), claimed.get("hash")
            results.append(
                Receipt(
                    record_id if isinstance(record_id, str) else "",
                    content_hash if isinstance(content_hash, str) else "",
                    "refused",
                    str(error),
                )
            )
    return results


def confirms(receipt: Receipt, envelope: Envelope) -> bool:
    """Whether a receipt lets the device forget this very record.

    Only a receipt that echoes id and hash counts: a sign-in page answering in the book's place cannot do that.
    """
    return receipt.outcome in SETTLED and receipt.id == envelope.id and receipt.hash == envelope.hash
