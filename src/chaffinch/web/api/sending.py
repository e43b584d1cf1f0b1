"""What can be sent: a phone's outbox, a batch at a time, and a receipt for every record in it."""

from __future__ import annotations

from typing import Annotated, Any, Final, Literal

from fastapi import APIRouter, Request
from pydantic import BaseModel, Field

from chaffinch import __version__
from chaffinch.book.desk import utc_now
from chaffinch.book.receiving import CREW_KINDS, Inbox
from chaffinch.web.access import Crew
from chaffinch.web.problems import answers

MOST_IN_BATCH: Final = 200
"""Records in one batch; own figure: a second of work on a small computer, and little to send again when it is lost."""

router = APIRouter(tags=["sending"])


class Batch(BaseModel):
    """Sealed records from an outbox."""

    envelopes: Annotated[list[Any], Field(max_length=MOST_IN_BATCH)] = Field(
        description="Each with id, kind, schema, device, device_time, body and hash (SHA-256 over the RFC 8785 form)."
    )


class OneReceipt(BaseModel):
    """What became of one record."""

    id: str
    hash: str
    outcome: Literal["accepted", "known", "conflict", "refused"] = Field(
        description="accepted, known: it is on disk here, forget it. conflict, refused: keep it and show the reason."
    )
    reason: str = ""


class Receipts(BaseModel):
    """One receipt per record, in the order of the batch."""

    receipts: list[OneReceipt]
    server_time: str = Field(description="For telling how far the phone's clock is off; it decides nothing.")
    version: str


@router.post("/batch", responses=answers(400, 401, 403, 413, 422, 429, 503))
def batch(request: Request, who: Crew, sent: Batch) -> Receipts:
    """Put sealed records into the book.

    Safe to repeat: a record that is here already is ``known``. One that is refused or in conflict stops no other. The
    answer comes after the records are on disk; without an answer, send the same again.
    """
    inbox: Inbox = request.app.state.inbox
    found = inbox.receive(sent.envelopes, kinds=None if who.role == "owner" else CREW_KINDS)
    receipts = [OneReceipt(id=r.id, hash=r.hash, outcome=r.outcome, reason=r.reason) for r in found]
    return Receipts(receipts=receipts, server_time=utc_now(), version=__version__)
