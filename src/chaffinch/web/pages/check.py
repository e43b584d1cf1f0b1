"""One check: how much was lost, where, is it over the limit, what it rests on, and how it came to be so."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Depends, Path, Request
from starlette.responses import Response

from chaffinch.book.checks.filed import filed_under, settings_told, with_field
from chaffinch.book.checks.held import LoggedCheck, find_check, find_to_correct
from chaffinch.book.desk import Desk
from chaffinch.book.shown_unit import farm_of
from chaffinch.book.things import by_ids
from chaffinch.book.times import local
from chaffinch.errors import InputError, SamplerError
from chaffinch.paper.check_record_told import catches_told, versions_told
from chaffinch.paper.check_told import told_of
from chaffinch.web.access import reader
from chaffinch.web.mends import said
from chaffinch.web.pages.answers import whole
from chaffinch.web.pages.bar import lines_beside
from chaffinch.web.pages.frame import desk_of, person_of, show
from chaffinch.web.pages.told import FILED, in_person_unit, reads_of
from chaffinch.web.problems import Refusal
from chaffinch.web.words.desk import words

router = APIRouter()

CheckId = Annotated[str, Path(max_length=64)]


@router.get("/check/{check_id}", dependencies=[Depends(reader)])
def check(request: Request, check_id: CheckId) -> Response:
    """The page of one check; of two records that claim one id, both in its history."""
    desk, person = desk_of(request), person_of(request)
    logged, in_conflict = found_or_missing(desk, check_id)
    here = by_ids(desk, [logged.body.get(key) for key in FILED])
    filed = filed_under(logged.body, here)
    farm = farm_of(desk)
    currency = "" if farm is None else str(farm.parts.get("currency", ""))
    own, taken = with_field(logged.check, here.get(str(logged.body.get("field", ""))), currency)
    shown = in_person_unit(own, reads_of(desk, person))
    feet = shown.trade_unit.endswith("/ac")
    told, why_not = None, ""
    try:
        told = told_of(whole(shown))
    except (InputError, SamplerError) as error:
        why_not = said(error)
    body = logged.body
    return show(
        request,
        "check.html",
        "checks",
        logged=logged,
        in_conflict=in_conflict,
        short_id=logged.id[:8],
        told=told,
        why_not=why_not,
        taken_at=local(str(body["taken_at"])),
        filed=filed,
        field_id=body.get("field", "") if str(body.get("field", "")) in here else "",
        combine_id=body.get("combine", "") if str(body.get("combine", "")) in here else "",
        trial=str(body.get("trial", "")),
        side=str(body.get("side", "")),
        settings=settings_told(body),
        catches=catches_told(logged.check, feet=feet),
        note=logged.check.note,
        from_field=words("check.from_field", what=" and ".join(taken)) if taken else "",
        bars=lines_beside(desk, logged),
        versions=versions_told(desk, logged, feet=feet),
    )


def found_or_missing(desk: Desk, check_id: str) -> tuple[LoggedCheck, bool]:
    """The check, and whether two records claim its id.

    Raises
    ------
    Refusal
        404 when there is none.
    """
    try:
        return find_check(desk, check_id), False
    except InputError as error:
        try:
            return find_to_correct(desk, check_id), True
        except InputError:
            raise Refusal(404, error.field, error.problem, "look at the list of checks", value=error.value) from None
