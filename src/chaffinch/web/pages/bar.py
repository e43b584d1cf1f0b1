"""One reading of a loss monitor: what it says, every version of it, and the form that corrects it or takes it back."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Annotated, Any, Final

from fastapi import APIRouter, Depends, Path, Request
from starlette.responses import Response

from chaffinch import units
from chaffinch.book.checks.bars import Reading, bars, bars_beside, find_bar, mend_bar, put_back, sensor_of, take_back
from chaffinch.book.checks.differing import differences
from chaffinch.book.checks.held import LoggedCheck
from chaffinch.book.checks.looking import Kept, ReadingHistory, reading_history
from chaffinch.book.desk import Desk
from chaffinch.book.monitors.said import sensor_said
from chaffinch.book.things import by_ids
from chaffinch.book.times import local
from chaffinch.errors import BookError, InputError
from chaffinch.records.kinds import MONITOR
from chaffinch.web.access import crew, reader
from chaffinch.web.pages.frame import Form, Typed, desk_of, form_of, see, show
from chaffinch.web.pages.stop_typed import shown_by_bar
from chaffinch.web.problems import Refusal
from chaffinch.web.words.desk import words

router = APIRouter()

BarId = Annotated[str, Path(max_length=64)]

WAYS: Final = ("time", "area")
MOST_LISTED: Final = 30
"""Newest readings listed on a combine's page; own figure."""


@dataclass(frozen=True, slots=True)
class BarLine:
    """A reading in a list: where its page is, and what it says."""

    path: str
    says: str


@router.get("/bar/{bar_id}", dependencies=[Depends(reader)])
def bar(request: Request, bar_id: BarId) -> Response:
    """A reading as it counts now, and its history."""
    history, found = _found(desk_of(request), bar_id)
    return _page(request, history, found, Form({} if found is None else _values(found.kept.body)))


@router.post("/bar/{bar_id}", dependencies=[Depends(crew)])
def correct(request: Request, bar_id: BarId, sent: Typed) -> Response:
    """Save the correction, take the reading back, or put it back; the old record stays readable."""
    desk, form = desk_of(request), form_of(sent)
    history, found = _found(desk, bar_id)
    if found is None:
        raise Refusal(409, "reading", words("check.conflict"), words("bar.conflict.mend"), value=bar_id[:8])
    if form.told("seen") not in (None, found.kept.id):
        form.values["seen"] = found.kept.id
        form.general.append(words("bar.meanwhile"))
        return _page(request, history, found, form, status=409)
    try:
        reason = form.told("reason")
        if reason is None:
            raise InputError("reason", None, "is missing", "say why, like: it was read off the other machine")
        if form.get("action") == "back":
            receipt = take_back(desk, found, reason=reason)
        elif form.get("action") == "again":
            receipt = put_back(desk, found, reason=reason)
        else:
            receipt = mend_bar(desk, found, _told(form, found.kept.body), reason=reason)
        if receipt.outcome not in ("accepted", "known"):
            raise BookError(desk.place, receipt.reason or receipt.outcome)
    except InputError as error:
        form.refuse(error, ("reading", "per", "speed", "reason"))
        return _page(request, history, found, form, status=422)
    except BookError as error:
        form.general.append(words("log.not_saved", why=error.reason))
        return _page(request, history, found, form, status=503, not_saved=True)
    return see(f"/bar/{receipt.id}")


def lines_beside(desk: Desk, logged: LoggedCheck) -> list[BarLine]:
    """The readings beside a check, each with its page."""
    return [_line(one) for one in bars_beside(desk, logged, of_logs=True)]


def lines_of_combine(desk: Desk, combine: str) -> list[BarLine]:
    """The newest readings of a combine (its id), also those beside no check."""
    own = [one for one in bars(desk) if one.combine == combine][-MOST_LISTED:]
    alone = words("bar.alone")
    return [_line(one.kept, "" if one.check is not None else alone) for one in reversed(own)]


def _line(kept: Kept, more: str = "") -> BarLine:
    said = [_shown(kept.body), *([words("bar.at", speed=_speed(kept.body))] if "speed" in kept.body else []), more]
    return BarLine(f"/bar/{kept.id}", f"{local(kept.body['taken_at'])}: {', '.join(x for x in said if x)}")


def _shown(body: Mapping[str, Any]) -> str:
    told = f"{body['reading']:g}"
    if body.get("per") in WAYS:  # one that was taken back does not say how it was counted
        told = words("bar.shown", reading=told, per=words(f"log.per.{body['per']}"))
    sensor = sensor_of(body)
    return words("bar.of_log", sensor=sensor_said(sensor), told=told) if sensor else told


def _speed(body: Mapping[str, Any]) -> str:
    """A speed of a record, which has it in full, as a person writes it."""
    number, _, unit = str(body["speed"]).partition(" ")
    return f"{float(number):.4g} {unit}"


def _found(desk: Desk, bar_id: str) -> tuple[ReadingHistory, Reading | None]:
    """Every version of a reading, and the one that counts; None where two records claim its id.

    Raises
    ------
    Refusal
        404 when there is none.
    """
    missing = Refusal(404, "reading", "is not in the book", "look at the page of its combine", value=bar_id[:40])
    try:
        history = reading_history(desk, bar_id, MONITOR)
    except InputError as error:
        raise missing from error
    if history is None:
        raise missing
    return history, None if history.counts is None else find_bar(desk, bar_id)


def _values(body: Mapping[str, Any]) -> dict[str, str]:
    speed = {"speed": _speed(body)} if "speed" in body else {}
    return {"reading": f"{body['reading']:g}", "per": str(body.get("per", "")), **speed}


def _told(form: Form, body: Mapping[str, Any]) -> dict[str, Any]:
    """What differs from what was shown, as the record holds it; what was left alone stays to the last digit.

    Raises
    ------
    InputError
        For a reading that is no number, a speed that is none, or a form in which nothing differs.
    """
    before, told = _values(body), dict[str, Any]()
    if form.get("reading") != before["reading"]:
        told["reading"] = shown_by_bar(form.get("reading"), called="reading")
    if form.get("per") != before["per"]:
        if form.get("per") not in WAYS:
            raise InputError("per", form.told("per"), "is no way to count", "choose per time or per area")
        told["per"] = form.get("per")
    speed = form.get("speed")
    if speed and speed != before.get("speed"):
        units.read_positive(speed, "speed", field="speed")
        told["speed"] = speed
    if not told:
        raise InputError("reading", form.get("reading"), "does not differ", "change what is wrong, or take it back")
    return told


def _page(
    request: Request, history: ReadingHistory, found: Reading | None, form: Form, *, status: int = 200,
    not_saved: bool = False,
) -> Response:  # fmt: skip
    desk = desk_of(request)
    now = (found.kept if found is not None else history.kept[-1]).body
    here = by_ids(desk, [one.body.get("combine") for one in history.kept])
    combine = here.get(str(now["combine"]))
    taken_back = found is not None and found.before is not None
    return show(
        request,
        "bar.html",
        "combines",
        status=status,
        form=form,
        shown=_shown(now),
        reading_id=history.kept[0].id,
        seen="" if found is None else found.kept.id,
        taken=local(str(now["taken_at"])),
        combine=combine,
        check=str(now.get("check", "")),
        taken_back=taken_back,
        in_conflict=found is None,
        disagree=history.versions.disagree,
        not_saved=not_saved,
        versions=_versions(history, {one.id: one.title for one in here.values()}, taken_back=taken_back),
    )


def _versions(history: ReadingHistory, names: Mapping[str, str], *, taken_back: bool) -> list[dict[str, Any]]:
    bodies = {one.id: one.body for one in history.kept}
    told = []
    for one in history.kept:
        olds = [bodies[old] for old in one.body.get("replaces", ()) if old in bodies]
        is_end = one.id in history.versions.ends
        told.append(
            {
                "said": words("check.version", id=one.id[:8], device=one.device, arrived=local(one.arrived)),
                "counts": one.id == history.counts,
                "taken_back": taken_back,
                "replaced": not is_end,
                "disagrees": is_end and history.versions.disagree,
                "reason": str(one.body.get("reason", "")),
                "differs": differences(olds[0], one.body, names) if olds else [_shown(one.body)],
                "corrects": bool(olds),
            }
        )
    return told
