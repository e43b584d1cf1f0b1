"""Correcting a check: a new record in place of the old one, which stays readable."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter, Depends, Request
from starlette.responses import Response

from chaffinch.book.checks.entering import replace_check
from chaffinch.book.checks.held import LoggedCheck
from chaffinch.book.desk import Desk
from chaffinch.book.times import local
from chaffinch.errors import BookError, InputError, SamplerError
from chaffinch.records.checkfile import check_from_table, check_to_table
from chaffinch.web.access import crew
from chaffinch.web.mends import said
from chaffinch.web.pages.by_hand import choices, estimate, refuse_other_crop, refused, time_of
from chaffinch.web.pages.check import CheckId, found_or_missing
from chaffinch.web.pages.frame import Form, Typed, desk_of, form_of, person_of, see, show
from chaffinch.web.pages.settings_typed import conditions_of, settings_of
from chaffinch.web.pages.stop_typed import FILED, MOST_ROWS, Stop, corrected_stop, rows_of, values_of
from chaffinch.web.pages.told import in_person_unit, reads_of
from chaffinch.web.words.desk import words

router = APIRouter()


@router.get("/check/{check_id}/correct", dependencies=[Depends(crew)])
def begin(request: Request, check_id: CheckId) -> Response:
    """The check as it counts now, in a form."""
    desk = desk_of(request)
    logged, _ = found_or_missing(desk, check_id)
    return _page(request, logged, Form(_values(desk, request, logged)))


@router.post("/check/{check_id}/correct", dependencies=[Depends(crew)])
def sent_back(request: Request, check_id: CheckId, sent: Typed) -> Response:
    """Show one more row or the estimate, or save the correction."""
    desk, form = desk_of(request), form_of(sent)
    logged, _ = found_or_missing(desk, check_id)
    if form.get("action") == "more":
        form.values["rows"] = str(min(MOST_ROWS, rows_of(form) + 1))
        return _page(request, logged, form)
    if form.told("seen") not in (None, logged.id):
        # Somebody corrected it since: what this form shows of what was left alone is not what counts now.
        form.values["seen"] = logged.id
        form.general.append(words("correct.meanwhile"))
        return _page(request, logged, form, status=409)
    stop = Stop()
    try:
        stop = corrected_stop(desk, form, check_to_table(logged.check), _filed(logged))
        check = check_from_table(stop.table)
        if form.get("action") == "try":
            return _page(request, logged, form, told=estimate(request, check))
        if form.told("reason") is None:
            raise InputError("reason", None, "is missing", "say why, like: the pan was 2 ft2, not 4")
        moved = stop.where.get("field", logged.body.get("field")) != logged.body.get("field")
        if form.get("anyway") != "yes" and (check.crop != logged.check.crop or moved):
            refuse_other_crop(desk, check, Stop(where={**_filed(logged), **stop.where}))
        receipt = replace_check(
            desk,
            list(logged.versions.ends),
            check,
            reason=form.get("reason"),
            taken_at=_time(desk, form, logged),
            where=stop.where,
            settings=settings_of(form.get("settings"), "settings") or None,
            conditions=conditions_of(form),
        )
        if receipt.outcome not in ("accepted", "known"):
            raise BookError(desk.place, receipt.reason or receipt.outcome)
    except InputError as error:
        refused(form, error, stop)
        return _page(request, logged, form, status=422)
    except SamplerError as error:
        form.general.append(said(error))
        return _page(request, logged, form, status=422)
    except BookError as error:
        form.general.append(words("log.not_saved", why=error.reason))
        return _page(request, logged, form, status=503, not_saved=True)
    return see(f"/check/{receipt.id}")


def _time(desk: Desk, form: Form, logged: LoggedCheck) -> str:
    """The hour typed; the one it had where the form still shows that, seconds and all."""
    before = str(logged.body["taken_at"])
    return before if form.get("at") == local(before) else time_of(desk, form, before)


def _filed(logged: LoggedCheck) -> dict[str, str]:
    return {key: str(logged.body[key]) for key in FILED if key in logged.body}


def _values(desk: Desk, request: Request, logged: LoggedCheck) -> dict[str, str]:
    unit = in_person_unit(logged.check, reads_of(desk, person_of(request))).trade_unit
    values = values_of(check_to_table(logged.check), feet=unit.endswith("/ac"))
    values |= {"seen": logged.id, "at": local(str(logged.body["taken_at"])), **_filed(logged)}
    told = [f"{s['name']} = {s['value']:g} {s.get('unit', '')}".strip() for s in logged.body.get("settings") or ()]
    values["settings"] = "\n".join(told)
    values |= {f"condition-{name}": f"{value:g}" for name, value in (logged.body.get("conditions") or {}).items()}
    return values


def _page(request: Request, logged: LoggedCheck, form: Form, *, status: int = 200, **more: Any) -> Response:
    offered = choices(desk_of(request), form)
    # Where it is filed now it may stay, also when that is no longer in use.
    return show(request, "correct.html", "checks", status=status, logged=logged, short_id=logged.id[:8], form=form,
                disagree=logged.versions.disagree, **{"not_saved": False, "told": None, **more}, **offered)  # fmt: skip
