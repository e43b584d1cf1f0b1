"""Logging a check by hand: catches that were written on paper, or weighed later."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from fastapi import APIRouter, Depends, Request
from starlette.responses import Response

from chaffinch.book.checks.entering import log_check, same_stop
from chaffinch.book.crops import by_name
from chaffinch.book.desk import Desk
from chaffinch.book.things import by_ids, things
from chaffinch.book.times import not_ahead, read_time
from chaffinch.book.trials.trial import trials
from chaffinch.book.wording import CAUTIONS
from chaffinch.errors import BookError, InputError, SamplerError
from chaffinch.paper.check_told import Told, told_of
from chaffinch.paper.trial_told import what_changed
from chaffinch.records.bodies import CONDITIONS
from chaffinch.records.check import PLACES, Check
from chaffinch.records.checkfile import check_from_table
from chaffinch.reference import crop as find_crop
from chaffinch.web.access import crew
from chaffinch.web.mends import said
from chaffinch.web.pages.answers import whole
from chaffinch.web.pages.frame import Form, Typed, asked, desk_of, form_of, person_of, see, show
from chaffinch.web.pages.settings_typed import conditions_of, settings_of
from chaffinch.web.pages.stop_typed import MOST_ROWS, Stop, new_stop, rows_of, trial_and_bar
from chaffinch.web.pages.told import in_person_unit, reads_of
from chaffinch.web.words.desk import words

router = APIRouter()


@router.get("/log", dependencies=[Depends(crew)])
def empty(request: Request) -> Response:
    """An empty form; ``?field=…&combine=…&trial=…&side=…`` fills in what is known."""
    form = asked(request)
    form.values.setdefault("opened", desk_of(request).now())
    form.values.setdefault("catch-1-place", "discharge")
    return page(request, form)


@router.post("/log", dependencies=[Depends(crew)])
def sent_back(request: Request, sent: Typed) -> Response:
    """Show one more row or the estimate, or save; nothing typed is lost."""
    desk, form = desk_of(request), form_of(sent)
    action = form.get("action")
    if action == "more":
        form.values["rows"] = str(min(MOST_ROWS, rows_of(form) + 1))
        return page(request, form)
    stop = Stop()
    try:
        stop = new_stop(desk, form)
        bar = trial_and_bar(desk, form, stop)
        check = check_from_table(stop.table)
        taken_at = time_of(desk, form)
        settings, conditions = settings_of(form.get("settings"), "settings"), conditions_of(form)
        if action == "try":
            return page(request, form, told=estimate(request, check))
        refuse_doubts(desk, form, check, stop, taken_at)
        receipt = log_check(
            desk,
            check,
            taken_at=taken_at,
            where=stop.where,
            settings=settings or None,
            conditions=conditions,
            bar=bar,
            other_way=form.get("otherway") == "yes",
        )
        if receipt.outcome not in ("accepted", "known"):
            raise BookError(desk.place, receipt.reason or receipt.outcome)
    except InputError as error:
        refused(form, error, stop)
        return page(request, form, status=422)
    except SamplerError as error:
        form.general.append(said(error))
        return page(request, form, status=422)
    except BookError as error:
        form.general.append(words("log.not_saved", why=error.reason))
        return page(request, form, status=503, not_saved=True)
    return see(f"/check/{receipt.id}")


def refused(form: Form, error: InputError, stop: Stop) -> None:
    """Put an error of a stop beside its field of the form."""
    rows = stop.rows or [row for row in range(1, rows_of(form) + 1) if form.get(f"catch-{row}-amount")]
    names = Stop(rows=rows).fields() | {f"condition-{name}": f"condition-{name}" for name in CONDITIONS}
    form.refuse(error, names)


def time_of(desk: Desk, form: Form, otherwise: str | None = None) -> str:
    """When the check was taken, in UTC: as typed, else ``otherwise``, else when the form was opened.

    Raises
    ------
    InputError
        For a time that cannot be read, or lies ahead of the clock.
    """
    text = form.told("at")
    now = datetime.fromisoformat(desk.now())
    if text is not None:
        return not_ahead(read_time(text, "at"), "at", now)
    if otherwise is not None:
        return otherwise
    try:
        return not_ahead(read_time(form.get("opened"), "at"), "at", now)
    except InputError:
        return desk.now()  # a form without our own hidden time, as a program sends it


def refuse_doubts(desk: Desk, form: Form, check: Check, stop: Stop, taken_at: str) -> None:
    """Refuse what the book has already, and a crop that is not the field's, unless the person says so all the same.

    Raises
    ------
    InputError
        Beside the box that takes it all the same.
    """
    if form.get("anyway") != "yes":
        refuse_other_crop(desk, check, stop)
    if form.get("again") != "yes":
        same = same_stop(desk, check, taken_at=taken_at, where=stop.where)
        if same is not None:
            form.values["again"] = form.get("again") or "ask"
            problem = f"the book has this check already: {same[:8]}, with the same time and catches"
            raise InputError("check", None, problem, words("log.again.mend"))


def refuse_other_crop(desk: Desk, check: Check, stop: Stop) -> None:
    """Refuse a check of another crop than the field it is filed under."""
    field = by_ids(desk, [stop.where.get("field")]).get(stop.where.get("field", ""))
    if field is None or "crop" not in field.parts:
        return
    named = str(field.parts["crop"])
    if find_crop(named, field="field, crop").key != check.crop:
        problem = f"is not the crop of {field.name}, which is {named}"
        raise InputError("crop", check.crop, problem, words("log.anyway.mend"))


def estimate(request: Request, check: Check) -> Told:
    """What the catches typed so far say, in the person's units."""
    return told_of(whole(in_person_unit(check, reads_of(desk_of(request), person_of(request)))))


def page(request: Request, form: Form, *, status: int = 200, **more: Any) -> Response:
    """The form."""
    return show(request, "log.html", "log", status=status, form=form, **{"not_saved": False, "told": None, **more},
                **choices(desk_of(request), form))  # fmt: skip


def choices(desk: Desk, form: Form) -> dict[str, Any]:
    """What the form's lists offer."""
    here = [t for t in things(desk) if not t.retired]
    return {
        "rows": rows_of(form),
        "most_rows": MOST_ROWS,
        "places": PLACES,
        "crops": by_name(),
        "fields": [t for t in here if t.kind == "field"],
        "season_names": {t.id: t.name for t in here if t.kind == "season"},
        "combines": [t for t in here if t.kind == "combine"],
        "operators": [t for t in here if t.kind == "operator"],
        "pans": [t.name for t in here if t.kind == "pan"],
        "trials": [
            (one.id, f"{one.taken_at[:10]} {'' if one.combine is None else one.combine.name}: {what_changed(one)}")
            for one in reversed(trials(desk))
        ],
        "conditions": list(CONDITIONS),
        "cautions": CAUTIONS,
    }
