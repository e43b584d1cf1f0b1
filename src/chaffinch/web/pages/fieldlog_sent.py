"""What is sent to the page of a log besides its terms: a file of zones, and the wish to note its sensors' readings."""

from __future__ import annotations

from fastapi import APIRouter
from starlette.datastructures import UploadFile
from starlette.requests import Request
from starlette.responses import Response

from chaffinch.book.fieldlogs.bars import note_bars
from chaffinch.errors import BookError, InputError
from chaffinch.web.access import Crew
from chaffinch.web.field_logs import field_logs_of
from chaffinch.web.pages.answers import Working
from chaffinch.web.pages.fieldlog import FIELDS, Token, answers_told, asked_here, gone, page, whose_told
from chaffinch.web.pages.fieldlog_bars import bars_of
from chaffinch.web.pages.frame import Typed, desk_of, form_of, see
from chaffinch.web.words.desk import words

router = APIRouter()


@router.post("/fieldlogs/{token}/zones")
def zones(request: Request, token: Token, _who: Crew, sent: Typed) -> Response:
    """Keep a file of zones beside the log, or leave the one there is out again."""
    logs = field_logs_of(request)
    kept, file = logs.find(token), sent.get("zones")
    if kept is None:
        return gone(request)
    if form_of(sent).get("action") == "forget":
        logs.forget_zones(kept)
        return see(f"/fieldlogs/{token}#by-zone")
    form = asked_here(request, kept)
    try:
        if not isinstance(file, UploadFile) or not file.filename:
            raise InputError("zones", None, "is missing", "choose a file of areas")
        logs.keep_zones(kept, file.file, file.filename)
    except InputError as error:
        form.refuse(error, FIELDS)
        return page(request, kept, form, status=422)
    return see(f"/fieldlogs/{token}#by-zone")


@router.post("/fieldlogs/{token}/bars")
def note(request: Request, token: Token, _who: Crew) -> Response:
    """Note what the loss sensors showed beside the checks; sent twice nothing is noted twice."""
    kept, desk = field_logs_of(request).find(token), desk_of(request)
    if kept is None:
        return gone(request)
    form = asked_here(request, kept)
    summed, combine = whose_told(desk, form)
    try:
        if not summed:
            raise InputError("combine", None, "is not chosen", "choose the combine whose checks count")
        found = bars_of(request, kept, combine, form, answers_told(form))
        while isinstance(found, Working):
            found = bars_of(request, kept, combine, form, answers_told(form))
        for receipt in note_bars(desk, found):
            if receipt.outcome not in ("accepted", "known"):
                raise BookError(desk.place, receipt.reason or receipt.outcome)
    except InputError as error:
        form.refuse(error, FIELDS)
        return page(request, kept, form, status=422)
    except BookError as error:
        form.general.append(words("log.not_saved", why=error.reason))
        return page(request, kept, form, status=503)
    return see(f"/fieldlogs/{token}#bars")
