"""What did a field lose, by source; what was checked in it, and what is missing?"""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Depends, Path, Request
from starlette.responses import Response

from chaffinch.book.checks.fields import field_summary
from chaffinch.book.desk import Desk
from chaffinch.book.telling import Teller
from chaffinch.book.things import Thing, by_ids
from chaffinch.book.version import book_version
from chaffinch.paper.field_told import told_of
from chaffinch.records.kinds import KINDS
from chaffinch.web.access import reader
from chaffinch.web.pages.answers import Working, longer_of
from chaffinch.web.pages.frame import desk_of, person_of, show
from chaffinch.web.pages.told import lines_of
from chaffinch.web.problems import Refusal

router = APIRouter()

ThingId = Annotated[str, Path(max_length=64)]


@router.get("/field/{field_id}", dependencies=[Depends(reader)])
def field(request: Request, field_id: ThingId) -> Response:
    """The page of one field."""
    desk, person = desk_of(request), person_of(request)
    thing = thing_or_missing(desk, field_id, "field")
    found = longer_of(request).ask(
        ("field", thing.id, book_version(desk)), lambda step: field_summary(desk, thing, progress=step)
    )
    if isinstance(found, Working):
        return show(request, "working.html", "seasons", working=found, title=thing.title)
    teller = Teller(desk)
    facts = [
        (part.about, teller.said(KINDS["field"], part.name, thing.parts[part.name], thing.parts))
        for part in KINDS["field"].parts
        if part.name in thing.parts and part.name not in ("name", "retired", "note")
    ]
    lines = lines_of(desk, [line.logged.id for line in found.checks], person)
    return show(
        request,
        "field.html",
        "seasons",
        thing=thing,
        season_id=str(thing.parts.get("season", "")),
        season=teller.names.get(str(thing.parts.get("season", "")), ""),
        facts=facts,
        told=told_of(desk, found, person.report_in) if found.checks else None,
        lines=list(reversed(lines)),
        note=str(thing.parts.get("note", "")),
    )


def thing_or_missing(desk: Desk, thing_id: str, kind: str) -> Thing:
    """The thing of that kind and id.

    Raises
    ------
    Refusal
        404 when there is none.
    """
    found = by_ids(desk, [thing_id]).get(thing_id)
    if found is None or found.kind != kind:
        raise Refusal(404, kind, "is not in the book", "follow a link of the page it should be on")
    return found
