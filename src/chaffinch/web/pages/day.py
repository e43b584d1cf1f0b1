"""The day: a forecast sent or typed, and the hours worth working; the last plan is kept for the phones."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final
from urllib.parse import urlencode

from fastapi import APIRouter, Depends, Request
from starlette.datastructures import UploadFile
from starlette.responses import Response

from chaffinch.book.crops import by_name
from chaffinch.book.day.hours import DayAnswer, day
from chaffinch.book.day.plain_data import as_json
from chaffinch.book.day.said import check_again, grain_said, headline, moving, remarks, seen, sends_out, taken
from chaffinch.book.day.said import what_it_does as said
from chaffinch.book.day.table import cheapest, hours_of_day, table_about, table_rows
from chaffinch.book.day.terms import TEXTS, day_terms
from chaffinch.book.desk import Desk, utc_now
from chaffinch.book.figures import decimals_for, rounded
from chaffinch.book.pace.hour_costs import PARTS, stored_hour
from chaffinch.book.shown_unit import PaceUnit, unit_of
from chaffinch.book.things import Thing, by_ids, things
from chaffinch.book.version import book_version
from chaffinch.book.wording import CAUTION
from chaffinch.errors import InputError, SamplerError
from chaffinch.how_far import Progress
from chaffinch.paper import drawing
from chaffinch.records.forecast import Forecast
from chaffinch.web.access import page_context, reader
from chaffinch.web.forecasts import forecasts_of
from chaffinch.web.pages.answers import Working, longer_of
from chaffinch.web.pages.frame import Form, Typed, asked, desk_of, form_of, person_of, see, show
from chaffinch.web.words.desk import words

router = APIRouter()

STEP_H: Final = 6.0
"""Step of the rule of hours [h]."""

MOST_BYTES: Final = 5_000_000
NAMES: Final = (*(name.replace("-", "_") for name, _ in TEXTS), "hour_cost")
EXAMPLES: Final = {
    "hour_cost": "450 /h", "area": "120 ac", "moisture": "11.2 %", "waiting": "0.5 %", "most_moisture": "12.5 %",
    "hours": "9-22", "grain_lag": "6", "straw_lag": "2", "fastest": "9 km/h", "yield": "45 bu/ac",
    "price": "14.50 /bu", "width": "39 ft", "efficiency": "70 %", "efficiency_at": "5 km/h", "date": "2026-09-02",
}  # fmt: skip
FIELDS: Final = {
    **{name.replace("_", " "): name for name in NAMES}, "combine": "combine", "crop": "crop", "day": "date",
    "most moisture": "most_moisture", "forecast": "forecast", "file": "file", "fastest speed": "fastest",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Told:
    """A day as the page shows it."""

    headline: str
    seen: str
    what: str
    caution: str
    sentences: list[str]
    chart: drawing.Drawing | None
    table: list[list[str]]
    table_about: str
    remarks: list[str]
    taken: list[str]


@router.get("/day", dependencies=[Depends(reader)])
def look(request: Request) -> Response:
    """The form; with ``?token=…`` the plan of a forecast that was sent."""
    form = asked(request)
    if not form.get("token"):
        return _page(request, form)
    kept = forecasts_of(request).find(form.get("token"))
    if kept is None:
        form.general.append(words("day.gone"))
        return _page(request, form)
    form.values["forecast"] = kept[0] if len(kept[0]) < 20_000 else ""
    try:
        return _plan(request, form, kept[1])
    except (InputError, SamplerError) as error:
        _refuse(form, error)
        return _page(request, form, status=422)


@router.post("/day", dependencies=[Depends(reader)])
def send(request: Request, sent: Typed) -> Response:
    """Read a forecast, and go on to its plan; nothing is written into the book."""
    form, file = form_of(sent), sent.get("file")
    try:
        text = form.values.get("forecast", "")
        if isinstance(file, UploadFile) and file.filename:
            text = _text_of(file)
        token = forecasts_of(request).keep(text, form.told("date"))
    except InputError as error:
        _refuse(form, error)
        return _page(request, form, status=422)
    told = {name: form.get(name) for name in ("combine", "crop", "field", *NAMES) if form.get(name)}
    return see(f"/day?{urlencode({'token': token, **told})}")


def _text_of(file: UploadFile) -> str:
    data = file.file.read(MOST_BYTES + 1)
    if len(data) > MOST_BYTES:
        raise InputError("file", file.filename, "is larger than 5 MB", "save the hours of a few days")
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise InputError("file", file.filename, "is no UTF-8 text", "save it as UTF-8") from None


def _plan(request: Request, form: Form, forecast: Forecast) -> Response:
    desk, person = desk_of(request), person_of(request)
    combine, place = _chosen(desk, form, "combine"), _chosen(desk, form, "field")
    if combine is None:
        raise InputError("combine", None, "is missing", "choose the combine")
    crop = form.told("crop") or (None if place is None else place.parts.get("crop"))
    if crop is None:
        raise InputError("crop", None, "is not told", "choose a crop, or a field that has one")
    unit = unit_of(desk, str(crop), report_in=person.report_in)
    given: dict[str, str | None] = {name.replace("-", "_"): None for name, _ in PARTS}
    given |= {name: form.told(name) for name in NAMES}
    stored = stored_hour(desk, combine)
    terms = day_terms(given, unit=unit, field=place, called=lambda name: name.replace("-", " "), stored=stored)
    said_here = tuple(form.get(name) for name in ("token", "combine", "crop", "field", *NAMES))
    key = ("day", book_version(desk), unit.loss.name, desk.now()[:13], said_here)

    def work(step: Progress) -> DayAnswer:
        return day(desk, combine, str(crop), forecast, terms, field=place, progress=step)

    found = longer_of(request).ask(key, work)
    if isinstance(found, Working):
        return show(request, "working.html", "day", working=found, title=words("day.title"))
    unit = unit.in_currency(found.currency)
    who = page_context(request)["current"]
    if who is not None and who.may("crew"):
        # Who may only look plans for himself, not for the phones.
        plan = {
            "issued_at": utc_now(),
            "day": as_json(found, unit),
            "table": table_rows(found, unit),
            "about": table_about(found, unit),
        }
        forecasts_of(request).made(key, plan)
    return _page(request, form, told=_told(found, unit))


def _told(found: DayAnswer, unit: PaceUnit) -> Told:
    sentences = [text for text in (check_again(found), grain_said(found), moving(found)) if text]
    return Told(
        headline=headline(found),
        seen=seen(found),
        what=said(found, unit),
        caution=CAUTION if sends_out(found) else "",
        sentences=sentences,
        chart=_chart(found, unit),
        table=table_rows(found, unit),
        table_about=table_about(found, unit),
        remarks=remarks(found),
        taken=taken(found, unit, {key: words(f"combine.assumed.{key}") for key in ("efficiency", "yield from checks")}),
    )


def _chart(found: DayAnswer, unit: PaceUnit) -> drawing.Drawing | None:
    """Machine loss by hour at each hour's best pace, with the cheapest working hour as a notch."""
    best = cheapest(found)
    if len(found.hours) < 2 or best is None:
        return None
    x = hours_of_day(found)
    ranges = [hour.machine_kg_ha.times(unit.loss.factor) for hour in found.plan.hours]
    low, high = min(r.median for r in ranges), max(r.median for r in ranges)
    digits = decimals_for(low, high)
    ends = STEP_H * math.floor(x[0] / STEP_H), STEP_H * math.ceil(x[-1] / STEP_H), STEP_H
    return drawing.chart(
        drawing.Chart(
            drawing.Curve(x, ranges, (x[0], x[-1])), [], "h", unit.loss.name, notch=x[best],
            notch_name=words("day.cheapest"), x_ends=ends, clock=True,
        ),
        title=words("day.curve"),
        about=words("day.curve.about", low=rounded(low, digits), high=rounded(high, digits), unit=unit.loss.name,
                    hour=found.hours[best].at[11:16]),
        name="day",
    )  # fmt: skip


def _chosen(desk: Desk, form: Form, kind: str) -> Thing | None:
    found = by_ids(desk, [form.get(kind)]).get(form.get(kind)) if form.get(kind) else None
    return found if found is not None and found.kind == kind else None


def _refuse(form: Form, error: InputError | SamplerError) -> None:
    if not isinstance(error, InputError):
        form.general.append(str(error))
        return
    form.refuse(error, FIELDS)
    if error.field.startswith("forecast") and "forecast" not in form.errors:
        form.errors["forecast"] = error.line()
        form.general = [line for line in form.general if line != error.line()]


def _page(request: Request, form: Form, *, status: int = 200, told: Told | None = None) -> Response:
    here = things(desk_of(request))
    names = {t.id: t.name for t in here if t.kind == "season"}
    fields = [
        (t.id, t.title + (f", {names[str(t.parts['season'])]}" if str(t.parts.get("season")) in names else ""))
        for t in here
        if t.kind == "field" and not t.retired
    ]
    return show(
        request,
        "day.html",
        "day",
        status=status,
        form=form,
        day=told,
        combines=[(t.id, t.title) for t in here if t.kind == "combine" and not t.retired],
        fields=fields,
        crops=by_name(),
        examples=EXAMPLES,
    )
