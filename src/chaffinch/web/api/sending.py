"""What can be sent: a phone's outbox, a batch at a time, and a receipt for every record in it."""

from __future__ import annotations

import asyncio
import json
from typing import Annotated, Any, Final, Literal

from fastapi import APIRouter, Request
from pydantic import BaseModel, Field
from starlette.concurrency import run_in_threadpool
from starlette.responses import Response

from chaffinch import __version__
from chaffinch.book.desk import utc_now
from chaffinch.book.exchange.receiving import CREW_KINDS, HASH_FORM, ID_FORM, Inbox, not_here
from chaffinch.web.access import Crew
from chaffinch.web.problems import answers
from chaffinch.web.settings import WebSettings

MOST_IN_BATCH: Final = 200
"""Records in one batch; own figure: a second of work on a small computer, and little to send again when it is lost."""

SMALL_BYTES: Final = 16_384
"""Largest batch that is opened and hashed between two other requests [bytes], about a millisecond of work; a larger one
gets a thread of its own. Own figure."""

MOST_ASKED: Final = 250
"""Records, and as many pictures, asked after at once; own figure: some 50 kB, below the limit of most requests."""

router = APIRouter(tags=["sending"])

Hash = Annotated[str, Field(pattern=f"^{HASH_FORM.pattern}$")]


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


class Named(BaseModel):
    """A record by its id and its hash."""

    id: Annotated[str, Field(pattern=f"^{ID_FORM.pattern}$")]
    hash: Hash


class HandedOver(BaseModel):
    """What a phone handed over before."""

    records: Annotated[list[Named], Field(max_length=MOST_ASKED)] = Field(
        default=[], description="Each record that had a receipt."
    )
    photos: Annotated[list[Hash], Field(max_length=MOST_ASKED)] = Field(
        default=[], description="SHA-256 of each picture that was taken."
    )


class Missing(BaseModel):
    """What of it is not here (any more)."""

    records: list[Named]
    photos: list[str]


@router.post("/missing", responses=answers(400, 401, 403, 413, 422, 429, 503))
def missing(request: Request, _: Crew, handed: HandedOver) -> Missing:
    """Tell what is missing of what was handed over once: an older copy of the book may have been put back.

    A phone asks when it is opened and now and then, and sends again what it still holds.
    """
    settings: WebSettings = request.app.state.settings
    gone = not_here(request.app.state.desk, [(one.id, one.hash) for one in handed.records])
    records = [Named(id=record_id, hash=digest) for record_id, digest in gone]
    return Missing(records=records, photos=[one for one in handed.photos if not (settings.photos / one).is_file()])


@router.post("/batch", response_model=Receipts, responses=answers(400, 401, 403, 413, 422, 429, 503))
async def batch(request: Request, who: Crew, sent: Batch) -> Response:
    """Put sealed records into the book.

    Safe to repeat: a record that is here already is ``known``. One that is refused or in conflict stops no other. The
    answer comes after the records are on disk; without an answer, send the same again.
    """
    inbox: Inbox = request.app.state.inbox
    kinds = None if who.role == "owner" else CREW_KINDS
    if len(await request.body()) <= SMALL_BYTES:
        coming = inbox.hand_in(sent.envelopes, kinds=kinds)
    else:
        coming = await run_in_threadpool(inbox.hand_in, sent.envelopes, kinds=kinds)
    found = await asyncio.wrap_future(coming)
    receipts = [{"id": r.id, "hash": r.hash, "outcome": r.outcome, "reason": r.reason} for r in found]
    # Made here and not by the framework, which would look at every receipt twice more.
    told = json.dumps({"receipts": receipts, "server_time": utc_now(), "version": __version__}, ensure_ascii=False)
    return Response(told.encode(), media_type="application/json")
