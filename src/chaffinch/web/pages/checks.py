"""Which checks does the book hold? A list by season, field and combine, and the records that were set aside."""

from __future__ import annotations

from typing import Final
from urllib.parse import urlencode

from fastapi import APIRouter, Depends, Request
from starlette.responses import Response

from chaffinch.book.checks.held import all_versions, checks_where
from chaffinch.book.checks.looking import conflicts
from chaffinch.book.things import things
from chaffinch.book.times import local
from chaffinch.web.access import reader
from chaffinch.web.pages.frame import asked, desk_of, person_of, show
from chaffinch.web.pages.told import lines_of
from chaffinch.web.words.desk import words

router = APIRouter()

PAGE: Final = 40
"""Checks on one page; own figure."""
FILTERS: Final = ("season", "field", "combine")


@router.get("/checks", dependencies=[Depends(reader)])
def checks(request: Request) -> Response:
    """The checks that count, the newest first; ``?season=…&field=…&combine=…`` narrows, ``from`` goes on."""
    desk, person, form = desk_of(request), person_of(request), asked(request)
    here = things(desk)
    known = {kind: [t for t in here if t.kind == kind] for kind in FILTERS}
    chosen = {kind: form.get(kind) for kind in FILTERS if form.get(kind) in {t.id for t in known[kind]}}
    ids = checks_where(desk, season=chosen.get("season"), field=chosen.get("field"), combine=chosen.get("combine"))
    counting = {v.counts for v in all_versions(desk, ids)}
    ids = [one for one in ids if one in counting]
    start = int(form.get("from")) if form.get("from").isdecimal() and len(form.get("from")) < 8 else 0
    start = min(start, max(0, len(ids) - 1)) // PAGE * PAGE
    lines = list(reversed(lines_of(desk, ids[start : start + PAGE], person)))
    # A correction may have moved a check out of what was asked for.
    lines = [one for one in lines if all(one.logged.body.get(k) == v for k, v in chosen.items())]

    def page_from(first: int) -> str:
        return "/checks?" + urlencode({**chosen, "from": first})

    seasons = {t.id: t.name for t in known["season"]}
    return show(
        request,
        "checks.html",
        "checks",
        lines=lines,
        known=known,
        season_names=seasons,
        chosen=chosen,
        count=words("checks.count", first=start + 1, last=min(start + PAGE, len(ids)), all=len(ids)) if ids else "",
        older=page_from(start + PAGE) if start + PAGE < len(ids) else "",
        newer=page_from(start - PAGE) if start else "",
        aside=[
            {
                "said": words("checks.conflict", kind=one.kind, id=one.id[:8], device=one.device,
                              arrived=local(one.arrived)),
                "path": f"/check/{one.id}" if one.kind == "check" else "",
            }
            for one in conflicts(desk)
        ],
    )  # fmt: skip
