"""Field logs at the desk: send one, answer what it leaves open, see what the whole field lost, where, and at what pace.

What a person asked of a log is kept with it, and shown to who has not asked yet; nothing is written into the book.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any, Final

from fastapi import APIRouter, Depends, Path, Request
from starlette.datastructures import UploadFile
from starlette.responses import Response

from chaffinch.book.crops import by_name
from chaffinch.book.desk import Desk
from chaffinch.book.fieldlogs.asked import asked_loss
from chaffinch.book.fieldlogs.one_log import answers_of, clean_log, libraries
from chaffinch.book.fieldlogs.zone_edges import zone_names
from chaffinch.book.fieldlogs.zones import ZonesTold
from chaffinch.book.shown_unit import PaceUnit, unit_of
from chaffinch.book.things import Thing, by_ids, things
from chaffinch.book.version import book_version
from chaffinch.errors import InputError, SamplerError
from chaffinch.how_far import Progress
from chaffinch.paper.blocks import Report
from chaffinch.paper.log_report import log_report
from chaffinch.paper.log_told import Cleaning, Told, cleaning_told, told_of, weight_of
from chaffinch.paper.wanted import made
from chaffinch.reference import crop_keys
from chaffinch.web.access import Crew, Who, crew, reader
from chaffinch.web.field_logs import (
    ENDINGS,
    KEPT,
    MOST_BYTES,
    MOST_ZONES_BYTES,
    ZONE_ENDINGS,
    KeptLog,
    field_logs_of,
)
from chaffinch.web.pages.answers import Working, longer_of
from chaffinch.web.pages.fieldlog_bars import bars_of, bars_told
from chaffinch.web.pages.fieldlog_seen import MOST_QUESTIONS, Seen, seen_of
from chaffinch.web.pages.frame import Form, Typed, asked, desk_of, form_of, person_of, see, show
from chaffinch.web.pages.printing import ReportAsked, pdf_page, wanted_of
from chaffinch.web.problems import Refusal
from chaffinch.web.words.desk import words

if TYPE_CHECKING:
    from chaffinch.fieldlog.answers import Answers

router = APIRouter()

Token = Annotated[str, Path(pattern="^[0-9a-f]{32}$")]
READ: Final = ("zone", "crs", "decimals", "dates", "bushel", "layer")
"""Answers to how a log is read."""
TERMS: Final = ("price", "hour_cost", "speed", "fastest", "machine", "machine_is", "best")
"""What is asked of it."""
EACH: Final = "each"
"""Instead of a combine: each machine of the log by its own."""
ZONES: Final = ("zone_name", "zone_crs")
"""Answers to how its zones are read."""
ALL: Final = (*READ, *ZONES, "answers", "elements", "combine", "crop", *TERMS)
FIELDS: Final = {
    **{name: name for name in ALL}, "column": "answers", "element": "elements", "hour cost": "hour_cost",
    "other pace": "speed", "fastest speed": "fastest", "log": "machine", "file": "file",
    "machine-is": "machine_is",
    "zones": "zones", "zone column": "zone_name",
}  # fmt: skip
EXAMPLES: Final = {
    "price": "14.50 /bu", "hour_cost": "450 /h", "speed": "3 mph", "fastest": "5 mph", "bushel": "60 lb",
    "crs": "EPSG:32612",
}  # fmt: skip


@router.get("/fieldlogs", dependencies=[Depends(reader)])
def logs(request: Request) -> Response:
    """Send a log, or look at one that was sent."""
    return _choose(request, Form())


@router.post("/fieldlogs", dependencies=[Depends(crew)])
def send(request: Request, sent: Typed) -> Response:
    """Keep a log and go on to what it holds."""
    form, file = form_of(sent), sent.get("file")
    try:
        libraries()
        if not isinstance(file, UploadFile) or not file.filename:
            raise InputError("file", None, "is missing", "choose the log of one field")
        kept = field_logs_of(request).keep(file.file, file.filename)
    except InputError as error:
        form.refuse(error, FIELDS)
        return _choose(request, form, status=422)
    return see(f"/fieldlogs/{kept.token}")


@router.get("/fieldlogs/{token}", dependencies=[Depends(reader)])
def look(request: Request, token: Token) -> Response:
    """What a log holds, what is open, and what the field lost by what was last asked of it."""
    kept = field_logs_of(request).find(token)
    if kept is None:
        return gone(request)
    return page(request, kept, asked_here(request, kept))


@router.post("/fieldlogs/{token}")
def ask(request: Request, token: Token, who: Crew, sent: Typed) -> Response:
    """Take answers and terms, and show the page by them."""
    kept, form = field_logs_of(request).find(token), form_of(sent)
    if kept is None:
        return gone(request)
    told = {name: form.get(name) for name in ALL if form.get(name)}
    for number in range(MOST_QUESTIONS):
        of, chosen = form.get(f"asked-{number}"), form.get(f"ask-{number}")
        if of and chosen:
            name, _, what = of.partition("|")
            _take(told, name, what, chosen)
    kept.ask(who.id, told)
    return see(f"/fieldlogs/{token}#answer" if "combine" in told else f"/fieldlogs/{token}")


@router.get("/fieldlogs/{token}/report.pdf", dependencies=[Depends(reader)])
def report(request: Request, token: Token) -> Response:
    """The report of a log by what was last asked of it."""
    kept = field_logs_of(request).find(token)
    if kept is None:
        return gone(request)
    form = asked_here(request, kept)
    if not (form.get("combine") and form.get("crop")):
        return see(f"/fieldlogs/{token}")
    wanted = log_report_asked(request, token, asked(request))
    return pdf_page(request, wanted.about, lambda step: made(wanted.make(step))[1], wanted.name)


def log_report_asked(request: Request, token: str, terms: Form) -> ReportAsked:
    """The report of a log by what was last asked of it, on the terms of a form.

    Raises
    ------
    Refusal
        404 for a log that is no longer kept, 422 for one that was not asked what its field lost.
    """
    kept, desk = field_logs_of(request).find(token), desk_of(request)
    if kept is None:
        raise Refusal(404, "log", "is no longer kept here", "send it again", value=token[:8])
    form, wanted = asked_here(request, kept), wanted_of(request, terms)
    (summed, combine), zones = whose_told(desk, form), _zones(kept, form)
    crop = form.get("crop")
    if not (summed and crop):
        raise Refusal(422, "log", "was not asked what its field lost", "choose a combine and a crop", value=kept.name)
    unit = unit_of(desk, crop, report_in=wanted.report_in)

    def work(step: Progress) -> Report:
        found, sign = asked_loss(
            desk, kept.path, answers_told(form), form.values, combine=combine, crop=crop, unit=unit, called=_called,
            zones=zones, progress=step,
        )  # fmt: skip
        return log_report(
            found, unit.in_currency(sign), sign, wanted, name=kept.name, price=form.get("price"), zones=zones
        )

    about = ("fieldlog", token, repr(sorted(form.values.items())), str(zones and zones.path), repr(wanted))
    return ReportAsked(about, f"log-{kept.name}", wanted, work)


def _choose(request: Request, form: Form, *, status: int = 200) -> Response:
    return show(
        request, "fieldlogs.html", "fieldlogs", status=status, form=form, kept=field_logs_of(request).every(),
        most=KEPT, megabytes=MOST_BYTES // 1024 // 1024, endings=",".join(ENDINGS),
    )  # fmt: skip


def asked_here(request: Request, kept: KeptLog) -> Form:
    """What the device that asks wanted last of a log; else what anybody did."""
    who: Who = request.state.who
    return Form(kept.asked_by(who.id))


def gone(request: Request) -> Response:
    """The page that says a log is no longer kept."""
    form = Form()
    form.general.append(words("fieldlog.gone"))
    return _choose(request, form, status=404)


def _take(told: dict[str, str], name: str, what: str, chosen: str) -> None:
    """One answer of a question into what is told of the log."""
    if name in READ:
        told[name] = chosen
    elif name in ("answers", "elements"):
        # A choice that names its columns itself stands for as many lines as it has.
        lines = chosen.split("\n") if "=" in chosen else [f"{what}={chosen}"]
        told[name] = "\n".join(dict.fromkeys([*told.get(name, "").splitlines(), *lines]))


def page(request: Request, kept: KeptLog, form: Form, *, status: int = 200) -> Response:
    """The page of a log by what the form asks of it."""
    desk, person = desk_of(request), person_of(request)
    crop = form.get("crop")
    unit = _unit(desk, crop, person.report_in)
    weight = weight_of(unit, person.report_in)
    key = (kept.token, tuple(sorted(form.values.items())), unit.loss.name, unit.speed)
    seen: Any = None
    told: Any = None
    cleaning: Any = None
    bars: Any = None
    zones = _readable_zones(kept, form)
    try:
        answers = answers_told(form)
        seen = longer_of(request).ask(("log seen", *key), lambda step: seen_of(kept.path, answers, unit, weight, step))
        summed, combine = whose_told(desk, form)
        if isinstance(seen, Seen) and not seen.questions:
            if summed and crop:
                told = _whole(request, kept, form, combine, unit, zones, key)
                if seen.heard:
                    bars = bars_of(request, kept, combine, form, answers)
            else:
                cleaning = longer_of(request).ask(
                    ("log clean", *key),
                    lambda step: cleaning_told(clean_log(kept.path, None, answers, progress=step), unit, weight),
                )
    except (InputError, SamplerError) as error:
        _refuse(form, error)
    kept.unread = seen is None
    for one in (seen, told, cleaning, bars):
        if isinstance(one, Working):
            return show(request, "working.html", "fieldlogs", working=one, title=kept.name)
    if isinstance(told, Told):
        cleaning = told.cleaning
    return show(
        request, "fieldlog.html", "fieldlogs", status=status if status != 200 else 422 if form.wrong else 200,
        kept=kept, form=form, seen=seen, told=told, bars=None if bars is None else bars_told(bars),
        zone_endings=",".join(ZONE_ENDINGS), zone_megabytes=MOST_ZONES_BYTES // 1024 // 1024,
        cleaning=cleaning if isinstance(cleaning, Cleaning) else None, examples=EXAMPLES,
        combines=[(t.id, t.title) for t in things(desk, "combine") if not t.retired], crops=by_name(),
    )  # fmt: skip


def _whole(
    request: Request,
    kept: KeptLog,
    form: Form,
    combine: Thing | None,
    unit: PaceUnit,
    zones: ZonesTold | None,
    key: Any,
) -> Told | Working:
    """What the field lost, laid out; zones of another field are told and left out."""
    desk, answers = desk_of(request), answers_told(form)
    weight = weight_of(unit, person_of(request).report_in)

    def work(step: Progress) -> Told:
        found, sign = asked_loss(
            desk, kept.path, answers, form.values, combine=combine, crop=form.get("crop"), unit=unit, called=_called,
            zones=zones, progress=step,
        )  # fmt: skip
        return told_of(found, unit.in_currency(sign), sign, weight, zones)

    whole = ("log loss", book_version(desk), *key, str(zones and zones.path))
    try:
        answer: Told | Working = longer_of(request).ask(whole, work)
    except InputError as error:
        if zones is None or error.field != "zones":
            raise
        form.refuse(error, FIELDS)
        return _whole(request, kept, form, combine, unit, None, key)
    return answer


def _zones(kept: KeptLog, form: Form) -> ZonesTold | None:
    return None if kept.zones is None else ZonesTold(kept.zones, form.get("zone_name"), form.get("zone_crs"))


def _readable_zones(kept: KeptLog, form: Form) -> ZonesTold | None:
    """The zones that were sent; None where they cannot be read, which the form then says."""
    told = _zones(kept, form)
    if told is None:
        return None
    try:
        zone_names(told)
    except InputError as error:
        open_one = {"tells no coordinate system": "zone_crs", "which column names its zones": "zone_name"}
        field = next((name for sign, name in open_one.items() if sign in error.problem), "zones")
        form.refuse(error, {**FIELDS, told.path.name: field})
        return None
    return told


def _unit(desk: Desk, crop: str, report_in: str | None) -> PaceUnit:
    """Units of the page; without a crop a bushel has no weight, so that mass per area is told."""
    if crop in crop_keys():
        return unit_of(desk, crop, report_in=report_in)
    land = unit_of(desk, crop_keys()[0], report_in=report_in).loss.land
    return unit_of(desk, crop_keys()[0], report_in="lb/ac" if land == "ac" else "kg/ha")


def whose_told(desk: Desk, form: Form) -> tuple[bool, Thing | None]:
    """Whether the field is to be summed, and by which combine's curves; None for each machine's own."""
    combine = _combine(desk, form)
    return combine is not None or form.get("combine") == EACH, combine


def _combine(desk: Desk, form: Form) -> Thing | None:
    found = by_ids(desk, [form.get("combine")]).get(form.get("combine")) if form.get("combine") else None
    return found if found is not None and found.kind == "combine" else None


def answers_told(form: Form) -> Answers:
    """What the form says of how the log is read."""
    lists = {name: [one for one in form.get(name).splitlines() if one.strip()] for name in ("answers", "elements")}
    return answers_of(
        columns=lists["answers"],
        elements=lists["elements"],
        **{name: form.get(name) for name in READ if form.get(name)},
    )


def _refuse(form: Form, error: InputError | SamplerError) -> None:
    if isinstance(error, InputError):
        form.refuse(error, FIELDS)
    else:
        form.general.append(str(error))


def _called(name: str) -> str:
    return name
