"""What did a season leave on the ground, and can anybody be said to lose less than another?"""

from __future__ import annotations

from collections import Counter
from typing import Any

from fastapi import APIRouter, Depends, FastAPI, Request
from starlette.responses import Response

from chaffinch.book.desk import Desk
from chaffinch.book.season.ledger import Ledger, ledger
from chaffinch.book.shown_unit import area_said, whole_unit
from chaffinch.book.things import Thing, things
from chaffinch.book.version import book_version
from chaffinch.book.wording import SOURCE
from chaffinch.errors import ChaffinchError, InputError
from chaffinch.paper.season_told import compared as compared_in
from chaffinch.paper.season_told import told_of
from chaffinch.web.access import reader
from chaffinch.web.pages.answers import Longer, Working, longer_in, longer_of
from chaffinch.web.pages.field import ThingId, thing_or_missing
from chaffinch.web.pages.frame import asked, desk_of, person_of, show
from chaffinch.web.pages.told import count_of
from chaffinch.web.words.desk import words

router = APIRouter()


@router.get("/seasons", dependencies=[Depends(reader)])
def seasons(request: Request) -> Response:
    """The seasons of the book with their fields."""
    desk = desk_of(request)
    here = things(desk)
    known = sorted((t for t in here if t.kind == "season"), key=lambda t: (str(t.parts.get("starts", "")), t.seq))
    fields = [t for t in here if t.kind == "field"]
    listed = [(one, [f for f in fields if f.parts.get("season") == one.id]) for one in reversed(known)]
    without = [f for f in fields if f.parts.get("season") not in {one.id for one in known}]
    return show(request, "seasons.html", "seasons", listed=listed, without=without)


@router.get("/season/{season_id}", dependencies=[Depends(reader)])
def season(request: Request, season_id: ThingId) -> Response:
    """The page of one season: the sum, its fields and crops, where it was lost, and a fair comparison."""
    desk, person, form = desk_of(request), person_of(request), asked(request)
    thing = thing_or_missing(desk, season_id, "season")
    version = book_version(desk)
    compared, fair = None, {"by": form.get("by"), "source": form.get("source") or "machine", "crop": form.get("crop")}
    try:
        found: Any = _summed(longer_of(request), desk, thing, version)
    except InputError as error:
        form.refuse(error)
        return show(request, "season.html", "seasons", thing=thing, told=None, form=form, fair=fair, crops=[],
                    compared=None, checks="")  # fmt: skip
    if not isinstance(found, Working) and fair["by"] in ("combine", "operator") and fair["source"] in SOURCE:
        key = ("fair", thing.id, version, *fair.values())
        try:
            compared = longer_of(request).ask(key, lambda step: compared_in(desk, thing, fair, step))
        except InputError as error:
            form.refuse(error, ("crop", "by", "source"))
    for one in (found, compared):
        if isinstance(one, Working):
            title = words("season.title", name=thing.name)
            return show(request, "working.html", "seasons", working=one, title=title)
    area = sum(one.area_ha or 0.0 for one in found.fields)
    return show(
        request,
        "season.html",
        "seasons",
        thing=thing,
        checks=words(
            "season.checks",
            checks=count_of(found.checks),
            fields=len(found.fields),
            area=area_said(area, whole_unit(desk, person.report_in)),
        ),
        told=told_of(desk, found, person.report_in),
        form=form,
        fair=fair,
        crops=_crops(found),
        compared=compared,
    )


def _crops(found: Ledger) -> list[str]:
    """Crops of the season, the one with most checks first: it is compared unless another is chosen."""
    checks = Counter({one.crop: 0 for one in found.fields if one.crop})
    for field in found.fields:
        if field.crop:
            checks[field.crop] += len(field.checks)
    return sorted(checks, key=lambda crop: (-checks[crop], crop))


def look_ahead(app: FastAPI) -> None:
    """Begin to sum up the newest season before anybody asks: a server that starts knows none of it yet."""
    desk: Desk = app.state.desk
    try:
        known = [t for t in things(desk, "season") if not t.retired]
        if known:
            newest = max(known, key=lambda t: (str(t.parts.get("starts", "")), t.seq))
            _summed(longer_in(app), desk, newest, book_version(desk))
    except ChaffinchError:
        return  # whoever opens the page is told


def _summed(longer: Longer, desk: Desk, season: Thing, version: str) -> Ledger | Working:
    return longer.ask(("season", season.id, version), lambda step: ledger(desk, season, progress=step))
