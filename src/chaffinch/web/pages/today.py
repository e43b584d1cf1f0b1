"""What was checked today, what stands open, and what is the next step?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Final

from fastapi import APIRouter, Depends, Request
from markupsafe import Markup
from starlette.responses import Response

from chaffinch.book.checks.held import LoggedCheck, checks_where, counting
from chaffinch.book.checks.in_trade_unit import loss_factor
from chaffinch.book.checks.looking import conflicts
from chaffinch.book.desk import Desk
from chaffinch.book.things import things
from chaffinch.book.times import local
from chaffinch.book.trials.trial import TrialRecord, answer_trial, trials
from chaffinch.book.version import book_version
from chaffinch.book.wording import CAUTION
from chaffinch.errors import InputError, SamplerError
from chaffinch.paper import drawing
from chaffinch.web.access import anyone, known, reader
from chaffinch.web.pages.answers import Working, longer_of
from chaffinch.web.pages.frame import Person, desk_of, person_of, see, show
from chaffinch.web.pages.told import Line, count_of, in_person_unit, lines_of, reads_of
from chaffinch.web.words.desk import words

router = APIRouter()

LOOKED_AT: Final = 120
"""Newest checks among which the day is found; a crew of six machines takes fewer on one day. Own figure."""
DAY: Final = 10
"""Characters of a local time that are its day."""


@dataclass(frozen=True, slots=True)
class Open:
    """Something that stands open: a shape, what it is, a page, and the next step."""

    shape: str
    title: str
    text: str
    path: str
    next_step: str = ""


@router.get("/", dependencies=[Depends(anyone)])
async def front(request: Request) -> Response:
    """What stands at the address itself: this page for a browser that was let in, the phone app for anybody else."""
    who = await known(request)
    return see("/app/" if who is None or who.by == "token" else "/today")


@router.get("/today", dependencies=[Depends(reader)])
def today(request: Request) -> Response:
    """The last day with checks: its losses below rulers, what stands open, and the next steps."""
    desk, person = desk_of(request), person_of(request)
    # The day is found by times alone; only its own checks are answered.
    newest = [(one.id, local(str(one.body["taken_at"]))[:DAY]) for one in _newest(desk)]
    day = max((taken for _, taken in newest), default="")
    lines = lines_of(desk, [check for check, taken in newest if taken == day], person)
    standing = _open(request, desk, lines)
    is_today = day == local(desk.now())[:DAY]
    return show(
        request,
        "today.html",
        "today",
        heading=words("today.title" if is_today or not day else "today.last"),
        day=_day_said(day) if day else "",
        count=count_of(len(lines)),
        groups=_groups(lines, person, desk),
        lines=lines,
        open_things=standing,
        caution=CAUTION if any(one.next_step for one in standing) else "",
    )


def _newest(desk: Desk) -> list[LoggedCheck]:
    return counting(desk, checks_where(desk, limit=LOOKED_AT))


@dataclass(frozen=True, slots=True)
class Group:
    """Checks drawn below one rule: one field in one unit."""

    name: str
    crop: str
    drawing: Markup | None
    lines: tuple[Line, ...]


def _groups(lines: Sequence[Line], person: Person, desk: Desk) -> list[Group]:
    """The day's checks by field, and by unit where a field has two."""
    by_field: dict[tuple[str, str, str], list[Line]] = {}
    for line in lines:
        unit = "" if line.amount is None else line.amount.unit
        by_field.setdefault((line.names["field"], line.crop, unit), []).append(line)
    reads = reads_of(desk, person)
    groups = []
    for number, ((name, crop, unit), own) in enumerate(by_field.items()):
        drawn = [line for line in own if line.range is not None]
        limits = {
            round(line.logged.check.limit_kg_ha * loss_factor(in_person_unit(line.logged.check, reads)), 6)
            for line in drawn
            if line.logged.check.limit_kg_ha is not None
        }
        limit = limits.pop() if len(limits) == 1 else None
        picture = None
        if drawn:
            picture = drawing.rows(
                [drawing.Row(_short(line), line.range, spot=_spot(line)) for line in drawn if line.range is not None],
                unit,
                title=words("today.drawing", unit=unit),
                about=words("today.about", unit=unit),
                name=f"day-{number}",
                limit=limit,
                limit_name="" if limit is None else words("limit", limit=f"{limit:.3g}"),
            )
        groups.append(Group(name or words("check.unfiled"), crop, picture, tuple(own)))
    return groups


def _spot(line: Line) -> drawing.Spot:
    """Where a check's bar leads, with its figures."""
    assert line.amount is not None
    likely = words("likely", low=line.amount.low, high=line.amount.high)
    middle = f"{line.amount.middle} {line.amount.unit}, " if line.middle_told else ""
    said = [_short(line), middle + likely, f"{line.shape} {line.verdict}".strip()]
    return drawing.Spot(f"/check/{line.id}", " · ".join(x for x in said if x))


def _short(line: Line) -> str:
    return " ".join(x for x in (line.taken[DAY + 1 :], line.names["combine"]) if x)


def _open(request: Request, desk: Desk, lines: Sequence[Line]) -> list[Open]:
    found: list[Open] = []
    aside = len(conflicts(desk))
    if aside:
        text = words("today.conflicts.one") if aside == 1 else words("today.conflicts", n=aside)
        found.append(Open("!", words("checks.conflicts"), text, "/checks#aside"))
    for line in lines:
        title = f"{line.taken[DAY + 1 :]} {line.where}"
        path = f"/check/{line.id}"
        if line.short.why_not:
            found.append(Open("!", title, words("today.no_estimate", why=line.short.why_not), path))
        if line.disagree:
            found.append(Open("!", title, words("today.disagree"), path))
        if line.short.verdict in ("over", "unsettled"):
            text = words(f"today.{line.short.verdict}")
            found.append(Open(line.shape, title, text, path, line.short.next_step))
        if not line.names["field"]:
            found.append(Open("!", title, words("today.unfiled"), path))
    days = {line.taken[:DAY] for line in lines}
    for record in trials(desk):
        if local(record.taken_at)[:DAY] in days and _unsettled(request, desk, record):
            what = " · ".join(t.name for t in (record.combine, record.field) if t is not None)
            found.append(Open("◆", what, words("today.trial"), f"/trial/{record.id}"))
    unchecked = _unchecked(desk)
    if unchecked:
        found.append(Open("·", "", words("today.unchecked", names=", ".join(unchecked)), "/seasons"))
    return found


def _unsettled(request: Request, desk: Desk, record: TrialRecord) -> bool:
    """Whether a trial still has no verdict; one without a stop, or still being worked out, has none."""
    try:
        found = longer_of(request).ask(
            ("trial", record.id, "machine", book_version(desk)), lambda step: answer_trial(desk, record, progress=step)
        )
    except (InputError, SamplerError):
        return True
    return isinstance(found, Working) or found.answer.verdict == "not settled"


def _unchecked(desk: Desk) -> list[str]:
    """Fields of the newest season that no check is filed under."""
    seasons = [t for t in things(desk, "season") if not t.retired]
    if not seasons:
        return []
    newest = max(seasons, key=lambda t: (str(t.parts.get("starts", "")), t.seq))
    own = [t for t in things(desk, "field") if t.parts.get("season") == newest.id and not t.retired]
    return [t.name for t in own if not checks_where(desk, field=t.id, limit=1)]


def _day_said(day: str) -> str:
    moment = datetime.fromisoformat(day)
    return f"{moment:%A} {moment.day} {moment:%B %Y}"
