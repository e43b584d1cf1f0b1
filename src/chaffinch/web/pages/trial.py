"""The trials: a list, one with its stops and its verdict, and starting one."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Any, Final

from fastapi import APIRouter, Depends, Path, Request
from markupsafe import Markup
from starlette.responses import Response

from chaffinch.book.figures import percent, plain_number, range_words, rounded
from chaffinch.book.shown_unit import PaceUnit, unit_of
from chaffinch.book.things import by_ids, things
from chaffinch.book.times import local
from chaffinch.book.trial_said import CAUTIONS, LOOKING, VERDICT, about_settings, about_stops, next_step
from chaffinch.book.trials import (
    SOURCES,
    TrialFound,
    TrialRecord,
    answer_trial,
    find_trial,
    start_trial,
    stop_range,
    trials,
)
from chaffinch.book.version import book_version
from chaffinch.book.wording import CAUTION
from chaffinch.errors import InputError, SamplerError
from chaffinch.web.access import crew, reader
from chaffinch.web.pages import drawing
from chaffinch.web.pages.answers import Working, longer_of
from chaffinch.web.pages.frame import Form, Typed, asked, desk_of, form_of, person_of, see, show
from chaffinch.web.pages.settings_typed import settings_of
from chaffinch.web.pages.told import name_of
from chaffinch.web.pages.words import words
from chaffinch.web.problems import Refusal

router = APIRouter()

SHAPE: Final = {"keep B": "▸", "go back": "◂", "not settled": "◆"}


@dataclass(frozen=True, slots=True)
class Told:
    """A trial's answer as its page shows it."""

    middle: str
    what: str
    ruler: Markup
    shape: str
    verdict: str
    stops: list[list[str]]
    stops_drawing: Markup
    gain: list[str]
    next_step: str
    notes: list[str]


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
        told = _told(found, unit_of(desk, found.crop, report_in=person.report_in))
    except (InputError, SamplerError) as error:
        why_not = str(error)
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


def what_changed(record: TrialRecord) -> str:
    """``fan speed 900 rpm against 830 rpm``."""
    untold = words("trial.untold")
    told = [
        words("trial.against", name=name, a=record.a.get(name, untold), b=record.b.get(name, untold))
        for name in record.changed.names
    ]
    return ", ".join(told) if told else words("trial.none_differs")


def _told(found: TrialFound, unit: PaceUnit) -> Told:
    answer = found.answer
    low, middle, high = (rounded(v, 2) for v in (answer.ratio.low, answer.ratio.median, answer.ratio.high))
    what = words("trial.times", what=words(f"trial.what.{answer.source}"), low=low, high=high)
    picture = drawing.ruler(
        answer.ratio, "× A", title=words("trial.drawing"),
        about=words("trial.about", low=low, middle=middle, high=high), name="ratio", limit=1.0,
        limit_name=words("trial.alike"),
    )  # fmt: skip
    rows = [["", words("column.check"), words("column.taken"), unit.speed, words("low"), words("middle"),
             words("high")]]  # fmt: skip
    drawn = []
    for point, side in zip(found.points, found.sides, strict=True):
        r = stop_range(point, answer.source).times(unit.loss.factor)
        speed = "" if point.speed_kmh is None else plain_number(unit.speeds(point.speed_kmh), 2)
        taken = local(str(point.logged.body["taken_at"]))
        rows.append([side, point.logged.id, taken, speed, *range_words(r)])
        drawn.append(drawing.Row(f"{side}  {taken[11:]}", r, "dot" if side == "A" else "box"))
    stops = drawing.rows(
        drawn, unit.loss.name, title=words("trial.stops.drawing", unit=unit.loss.name),
        about=words("trial.stops.about"), name="stops",
    )  # fmt: skip
    notes = [*about_settings(found), *(CAUTIONS[c] for c in answer.cautions), *about_stops(found)]
    notes += [LOOKING] if answer.verdict == "not settled" else []
    notes += [words("trial.machine_only")] if answer.source == "machine" else []
    return Told(
        middle,
        what,
        picture,
        SHAPE[answer.verdict],
        VERDICT[answer.verdict].format(chance=percent(answer.p_b_less)),
        rows,
        stops,
        _gain(found, unit),
        words("trial.next", step=next_step(found)),
        notes,
    )


def _gain(found: TrialFound, unit: PaceUnit) -> list[str]:
    answer = found.answer
    low, middle, high = range_words(answer.gain_kg_ha.times(unit.loss.factor))
    told = [words("trial.gain", low=low, middle=middle, high=high, unit=unit.loss.name)]
    if answer.gain_money_per_ha is not None:
        r = answer.gain_money_per_ha
        told.append(
            words("trial.money", money=unit.money(r.median), land=unit.loss.land, low=unit.money(r.low),
                  high=unit.money(r.high))
        )  # fmt: skip
    return told
