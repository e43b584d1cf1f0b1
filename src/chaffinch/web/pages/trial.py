"""The trials: a list, one with its stops and its verdict, and starting one."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Depends, Path, Request
from starlette.responses import Response

from chaffinch.book.shown_unit import unit_of
from chaffinch.book.things import by_ids, things
from chaffinch.book.times import local
from chaffinch.book.trials.trial import (
    SOURCES,
    NoStopYetError,
    TrialRecord,
    answer_trial,
    find_trial,
    start_trial,
    trials,
)
from chaffinch.book.version import book_version
from chaffinch.book.wording import CAUTION
from chaffinch.errors import InputError, SamplerError
from chaffinch.paper.trial_told import Told, told_of, what_changed
from chaffinch.web.access import crew, reader
from chaffinch.web.mends import said
from chaffinch.web.pages.answers import Working, longer_of
from chaffinch.web.pages.frame import Form, Typed, asked, desk_of, form_of, person_of, see, show
from chaffinch.web.pages.settings_typed import settings_of
from chaffinch.web.pages.told import name_of
from chaffinch.web.problems import Refusal
from chaffinch.web.words.desk import words

router = APIRouter()


@router.get("/trials", dependencies=[Depends(reader)])
def listed(request: Request) -> Response:
    """The trials of the book, the newest first, and the form that starts one."""
    return _list(request, Form())


@router.post("/trials", dependencies=[Depends(crew)])
def start(request: Request, sent: Typed) -> Response:
    """Put a new trial into the book."""
    desk, form = desk_of(request), form_of(sent)
    try:
        combine = by_ids(desk, [form.get("combine")]).get(form.get("combine"))
        if combine is None or combine.kind != "combine":
            raise InputError("combine", None, "is missing", "choose the combine it is made on")
        field = by_ids(desk, [form.get("field")]).get(form.get("field"))
        record = start_trial(
            desk, combine, settings_of(form.get("a"), "a"), settings_of(form.get("b"), "b"), field=field,
            note=form.get("note"),
        )  # fmt: skip
    except InputError as error:
        form.refuse(error, ("combine", "field", "a", "b", "note"))
        return _list(request, form, status=422)
    return see(f"/trial/{record.id}")


def _list(request: Request, form: Form, status: int = 200) -> Response:
    desk = desk_of(request)
    rows = [
        {"id": one.id, "taken": local(one.taken_at), "where": _where(one), "changed": what_changed(one)}
        for one in reversed(trials(desk))
    ]
    here = things(desk)
    return show(
        request,
        "trials.html",
        "trials",
        status=status,
        rows=rows,
        form=form,
        combines=[t for t in here if t.kind == "combine" and not t.retired],
        fields=[t for t in here if t.kind == "field" and not t.retired],
        season_names={t.id: t.name for t in here if t.kind == "season"},
    )


@router.get("/trial/{trial_id}", dependencies=[Depends(reader)])
def one(request: Request, trial_id: Annotated[str, Path(max_length=64)]) -> Response:
    """The page of one trial; ``?source=machine|header|judged`` chooses the loss."""
    desk, person, form = desk_of(request), person_of(request), asked(request)
    try:
        record = find_trial(desk, trial_id)
    except InputError as error:
        raise Refusal(404, error.field, error.problem, "look at the list of trials", value=error.value) from None
    source: Any = form.get("source") if form.get("source") in SOURCES else "machine"
    told: Told | None = None
    why_not = ""
    try:
        found: Any = longer_of(request).ask(
            ("trial", record.id, source, book_version(desk)),
            lambda step: answer_trial(desk, record, source=source, progress=step),
        )
        if isinstance(found, Working):
            return show(request, "working.html", "trials", working=found, title=words("trial.title", id=record.id[:8]))
        told = told_of(found, unit_of(desk, found.crop, report_in=person.report_in))
    except NoStopYetError:
        why_not = words("trial.no_stop")
    except (InputError, SamplerError) as error:
        why_not = said(error)
    return show(
        request,
        "trial.html",
        "trials",
        record=record,
        where=_where(record),
        combine=record.combine,
        field=record.field,
        taken=local(record.taken_at),
        changed=what_changed(record),
        source=source,
        sources=SOURCES,
        told=told,
        why_not=why_not,
        caution=CAUTION,
    )


def _where(record: TrialRecord) -> str:
    return " · ".join(x for x in (name_of(record.combine), name_of(record.field)) if x)
