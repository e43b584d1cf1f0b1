"""Field logs at the desk: send one, answer what it leaves open, see what the whole field lost, where, and at what pace.

What was asked of a log is kept with it, so that whoever may look sees the same page; nothing is written into the book.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Annotated, Any, Final

from fastapi import APIRouter, Depends, Path, Request
from starlette.datastructures import UploadFile
from starlette.responses import Response

from chaffinch.book.desk import Desk
from chaffinch.book.fieldlog_said import HAS_LOSS, NO_LOSS, problem_said, question_said
from chaffinch.book.fieldlogs import LogFound, PartFigures, answers_of, clean_log, inspect_log, libraries
from chaffinch.book.figures import plain_number
from chaffinch.book.log_asked import asked_loss
from chaffinch.book.shown_unit import PaceUnit, unit_of
from chaffinch.book.things import Thing, by_ids, things
from chaffinch.book.version import book_version
from chaffinch.errors import InputError, SamplerError
from chaffinch.paper.log_report import log_report
from chaffinch.paper.log_told import Cleaning, Told, Weight, cleaning_told, told_of, weight_of
from chaffinch.paper.typeset import Printed
from chaffinch.paper.wanted import made
from chaffinch.reference import crop_keys
from chaffinch.web.access import Crew, crew, reader
from chaffinch.web.field_logs import ENDINGS, KEPT, MOST_BYTES, KeptLog, field_logs_of
from chaffinch.web.pages.answers import Progress, Working, longer_of
from chaffinch.web.pages.frame import Form, Typed, asked, desk_of, form_of, person_of, see, show
from chaffinch.web.pages.printing import pdf_page, wanted_of
from chaffinch.web.pages.told import area_said
from chaffinch.web.pages.words import words

if TYPE_CHECKING:
    from chaffinch.fieldlog.answers import Answers

router = APIRouter()

Token = Annotated[str, Path(pattern="^[0-9a-f]{32}$")]
READ: Final = ("zone", "crs", "decimals", "dates", "bushel", "layer")
"""Answers to how a log is read."""
TERMS: Final = ("price", "hour_cost", "speed", "fastest", "machine", "best")
"""What is asked of it."""
ALL: Final = (*READ, "answers", "elements", "combine", "crop", *TERMS)
FIELDS: Final = {
    **{name: name for name in ALL}, "column": "answers", "element": "elements", "hour cost": "hour_cost",
    "other pace": "speed", "fastest speed": "fastest", "log": "machine", "file": "file",
}  # fmt: skip
EXAMPLES: Final = {
    "price": "14.50 /bu", "hour_cost": "450 /h", "speed": "3 mph", "fastest": "5 mph", "bushel": "60 lb",
    "crs": "EPSG:32612",
}  # fmt: skip
MOST_QUESTIONS: Final = 40
"""Questions of one log that a page shows; own figure."""


@dataclass(frozen=True, slots=True)
class Asked:
    """One open question as the form puts it: its field, what it is about, and what may be chosen."""

    field: str
    of: str
    said: str
    choices: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Seen:
    """What a log holds, as the page shows it."""

    what: str
    parts: list[list[str]]
    notes: list[str]
    columns: list[list[str]]
    questions: list[Asked]


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
        return _gone(request)
    return _page(request, kept, Form(dict(kept.asked)))


@router.post("/fieldlogs/{token}")
def ask(request: Request, token: Token, _who: Crew, sent: Typed) -> Response:
    """Take answers and terms, and show the page by them."""
    kept, form = field_logs_of(request).find(token), form_of(sent)
    if kept is None:
        return _gone(request)
    told = {name: form.get(name) for name in ALL if form.get(name)}
    for number in range(MOST_QUESTIONS):
        of, chosen = form.get(f"asked-{number}"), form.get(f"ask-{number}")
        if of and chosen:
            name, _, what = of.partition("|")
            _take(told, name, what, chosen)
    kept.asked = told
    return see(f"/fieldlogs/{token}#answer" if "combine" in told else f"/fieldlogs/{token}")


@router.get("/fieldlogs/{token}/report.pdf", dependencies=[Depends(reader)])
def report(request: Request, token: Token) -> Response:
    """The report of a log by what was last asked of it."""
    kept, desk = field_logs_of(request).find(token), desk_of(request)
    if kept is None:
        return _gone(request)
    form, wanted = Form(dict(kept.asked)), wanted_of(request, asked(request))
    combine = _combine(desk, form)
    if combine is None or not form.get("crop"):
        return see(f"/fieldlogs/{token}")
    unit = unit_of(desk, form.get("crop"), report_in=wanted.report_in)

    def work(step: Progress) -> Printed:
        found, sign = asked_loss(
            desk, kept.path, _answers(form), form.values, combine=combine, crop=form.get("crop"), unit=unit,
            called=_called, progress=step,
        )  # fmt: skip
        laid = log_report(found, unit.in_currency(sign), sign, wanted, name=kept.name, price=form.get("price"))
        return made(laid)[1]

    return pdf_page(request, ("fieldlog", token, wanted, tuple(sorted(form.values.items()))), work, f"log-{kept.name}")


def _choose(request: Request, form: Form, *, status: int = 200) -> Response:
    return show(
        request, "fieldlogs.html", "fieldlogs", status=status, form=form, kept=field_logs_of(request).every(),
        most=KEPT, megabytes=MOST_BYTES // 1024 // 1024, endings=",".join(ENDINGS),
    )  # fmt: skip


def _gone(request: Request) -> Response:
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


def _page(request: Request, kept: KeptLog, form: Form) -> Response:
    desk, person = desk_of(request), person_of(request)
    crop = form.get("crop")
    unit = _unit(desk, crop, person.report_in)
    weight = weight_of(unit, person.report_in)
    key = (kept.token, tuple(sorted(form.values.items())), unit.loss.name, unit.speed)
    seen: Any = None
    told: Any = None
    cleaning: Any = None
    try:
        answers = _answers(form)
        seen = longer_of(request).ask(("log seen", *key), lambda step: _seen(kept, answers, unit, weight, step))
        combine = _combine(desk, form)
        if isinstance(seen, Seen) and not seen.questions:
            if combine is not None and crop:

                def work(step: Progress) -> Told:
                    found, sign = asked_loss(
                        desk, kept.path, answers, form.values, combine=combine, crop=crop, unit=unit, called=_called,
                        progress=step,
                    )  # fmt: skip
                    return told_of(found, unit.in_currency(sign), sign, weight)

                told = longer_of(request).ask(("log loss", book_version(desk), *key), work)
            else:
                cleaning = longer_of(request).ask(
                    ("log clean", *key),
                    lambda step: cleaning_told(clean_log(kept.path, None, answers, progress=step), unit, weight),
                )
    except (InputError, SamplerError) as error:
        _refuse(form, error)
    for one in (seen, told, cleaning):
        if isinstance(one, Working):
            return show(request, "working.html", "fieldlogs", working=one, title=kept.name)
    if isinstance(told, Told):
        cleaning = told.cleaning
    return show(
        request, "fieldlog.html", "fieldlogs", status=422 if form.wrong else 200, kept=kept, form=form, seen=seen,
        told=told, cleaning=cleaning if isinstance(cleaning, Cleaning) else None, examples=EXAMPLES,
        combines=[(t.id, t.title) for t in things(desk, "combine") if not t.retired], crops=list(crop_keys()),
    )  # fmt: skip


def _unit(desk: Desk, crop: str, report_in: str | None) -> PaceUnit:
    """Units of the page; without a crop a bushel has no weight, so that mass per area is told."""
    if crop in crop_keys():
        return unit_of(desk, crop, report_in=report_in)
    land = unit_of(desk, crop_keys()[0], report_in=report_in).loss.land
    return unit_of(desk, crop_keys()[0], report_in="lb/ac" if land == "ac" else "kg/ha")


def _combine(desk: Desk, form: Form) -> Thing | None:
    found = by_ids(desk, [form.get("combine")]).get(form.get("combine")) if form.get("combine") else None
    return found if found is not None and found.kind == "combine" else None


def _answers(form: Form) -> Answers:
    """What the form says of how the log is read."""
    lists = {name: [one for one in form.get(name).splitlines() if one.strip()] for name in ("answers", "elements")}
    return answers_of(
        columns=lists["answers"],
        elements=lists["elements"],
        **{name: form.get(name) for name in READ if form.get(name)},
    )


def _seen(kept: KeptLog, answers: Answers, unit: PaceUnit, weight: Weight, step: Progress) -> Seen:
    """What the log holds; its records themselves are not kept."""
    found = replace(inspect_log(kept.path, answers, progress=step), rows=None)
    records = f"{found.records:,}".replace(",", "\u202f")
    return Seen(
        words("fieldlog.what", kind=found.kind, records=records),
        _parts(found, unit, weight),
        _notes(found),
        [[words("fieldlog.column"), words("fieldlog.meaning")]]
        + [[name, meant] for name, meant in found.matched.items() if meant != "-"],
        _questions(found),
    )


def _parts(found: LogFound, unit: PaceUnit, weight: Weight) -> list[list[str]]:
    head = [
        words("fieldlog.part"), words("fieldlog.records"), words("column.area"),
        f"{words('fieldlog.grain')}, {weight.unit}", f"{words('fieldlog.yield')}, {unit.loss.name}",
        words("fieldlog.load"), unit.speed, words("fieldlog.moisture"),
    ]  # fmt: skip

    def row(one: PartFigures) -> list[str]:
        figures = (one.grain_t * 1000.0 * weight.per_kg, one.yield_t_ha * 1000.0 * unit.loss.factor,
                   one.throughput_t_h, unit.speeds(one.speed_kmh))  # fmt: skip
        area = words("none") if math.isnan(one.area_ha) else area_said(one.area_ha, unit.loss)
        moisture = words("none") if math.isnan(one.moisture_pct) else f"{one.moisture_pct:.1f} %"
        records = f"{one.records:,}".replace(",", "\u202f")
        return [one.name or words("none"), records, area, *(_number(v) for v in figures), moisture]

    return [head, *(row(one) for one in found.parts)]


def _notes(found: LogFound) -> list[str]:
    told = [problem_said(problem) for problem in found.problems]
    if not math.isnan(found.recomputed):
        told.append(words("fieldlog.recomputed", ratio=f"{found.recomputed:.3f}"))
    told += [words("fieldlog.derived", column=column, how=how) for column, how in found.derived.items()]
    loss = found.loss_readings
    return [*told, HAS_LOSS.format(columns=", ".join(loss)) if loss else NO_LOSS]


def _questions(found: LogFound) -> list[Asked]:
    """The open questions, each as a field of the form."""
    made = []
    for number, one in enumerate(found.questions[:MOST_QUESTIONS]):
        what = one.what.removeprefix("element ")
        said = words("fieldlog.question", what=what, problem=question_said(one)[0])
        if one.why == "weight of a bushel":
            made.append(Asked("bushel", "", said, ()))
        elif one.what in ("zone", "crs"):
            made.append(Asked(one.what, "", said, ()))
        elif one.what == "dates":
            made.append(Asked(f"ask-{number}", "dates|", said, one.choices))
        elif one.why == "several elements":
            made.append(Asked(f"ask-{number}", f"elements|{what}", said, one.choices))
        elif all("=" in choice for choice in one.choices):
            # Two columns that changed places are put right together.
            made.append(Asked(f"ask-{number}", f"answers|{what}", said, ("\n".join(one.choices),)))
        else:
            made.append(Asked(f"ask-{number}", f"answers|{what}", said, one.choices))
    return made


def _refuse(form: Form, error: InputError | SamplerError) -> None:
    if isinstance(error, InputError):
        form.refuse(error, FIELDS)
    else:
        form.general.append(str(error))


def _called(name: str) -> str:
    return name


def _number(value: float) -> str:
    return words("none") if math.isnan(value) else plain_number(value, 3)
