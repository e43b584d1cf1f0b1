"""The farm's things: farm, seasons, fields, combines, drivers, pans, scales and notes, as they stand now."""

from __future__ import annotations

from typing import Final

from fastapi import APIRouter, Depends, Request
from starlette.responses import Response

from chaffinch.book.exchange.receiving import CREW_KINDS
from chaffinch.book.telling import Teller
from chaffinch.book.things import things
from chaffinch.records.kinds import KINDS
from chaffinch.web.access import page_context, reader
from chaffinch.web.pages.frame import desk_of, show

router = APIRouter()

ORDER: Final = ("farm", "season", "field", "combine", "operator", "pan", "scale", "note")
"""Kinds in the order a farm is set up."""
NOT_LISTED: Final = ("name", "text", "note", "retired", "season")


def may_add(request: Request, kind: str, *, new: bool = True) -> bool:
    """Whether whoever looks may add a thing of that kind (what a crew may send from a phone), or change one."""
    who = page_context(request)["current"]
    if who is None or not who.may("crew"):
        return False
    return bool(who.may("owner")) or (new and kind in CREW_KINDS)


@router.get("/setup", dependencies=[Depends(reader)])
def setup(request: Request) -> Response:
    """Every thing of the book by kind, with what is said about it."""
    desk = desk_of(request)
    teller = Teller(desk)
    here = things(desk)
    listed = []
    for kind in ORDER:
        rows = []
        for thing in sorted((t for t in here if t.kind == kind), key=lambda t: (t.retired, t.seq)):
            said = [
                f"{part.name.replace('_', ' ')} {teller.said(KINDS[kind], part.name, value, thing.parts)}"
                for part in KINDS[kind].parts
                if part.name not in NOT_LISTED and (value := thing.parts.get(part.name)) is not None
            ]
            season = teller.names.get(str(thing.parts.get("season", "")), "")
            rows.append({"id": thing.id, "title": thing.title, "season": season, "said": ", ".join(said)})
        listed.append((kind, rows, may_add(request, kind)))
    return show(request, "setup.html", "setup", listed=listed)
