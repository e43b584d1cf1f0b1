"""One combine: its curve with the checks behind it, the pace that costs least, and what its loss monitor means."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

from fastapi import APIRouter, Depends, Request
from starlette.responses import Response

from chaffinch import units
from chaffinch.book.checks.held import checks_where, counting
from chaffinch.book.currency import read_told
from chaffinch.book.desk import Desk
from chaffinch.book.monitors.key import MonitorFound, monitor, sensors_noted
from chaffinch.book.pace.best import PaceAnswer, PaceTerms, pace
from chaffinch.book.pace.curves import curves
from chaffinch.book.pace.hour_costs import PARTS, StoredHour, hour_cost, money_of, stored_hour
from chaffinch.book.shown_unit import PaceUnit, unit_of
from chaffinch.book.telling import Teller
from chaffinch.book.things import Thing, things
from chaffinch.book.version import book_version
from chaffinch.errors import InputError, SamplerError
from chaffinch.how_far import Progress
from chaffinch.paper.curve_told import CurveTold
from chaffinch.paper.curve_told import told_of as curve_told
from chaffinch.paper.pace_told import told_of as pace_told
from chaffinch.records.kinds import KINDS
from chaffinch.reference import crop as find_crop
from chaffinch.web.access import reader
from chaffinch.web.mends import said
from chaffinch.web.pages.answers import Working, longer_of
from chaffinch.web.pages.bar import lines_of_combine
from chaffinch.web.pages.field import ThingId, thing_or_missing
from chaffinch.web.pages.frame import Form, asked, desk_of, person_of, show
from chaffinch.web.pages.monitor_told import told_of as monitor_told
from chaffinch.web.pages.told import lines_of
from chaffinch.web.words.desk import words

router = APIRouter()

LISTED: Final = 12
"""Newest checks listed on a combine's page; own figure."""
TERMS: Final = {
    "now": "now",
    "today's speed": "now",
    "fastest": "fastest",
    "fastest speed": "fastest",
    "yield": "yield",
    "price": "price",
    "hour cost": "hour_cost",
    **{name.replace("-", " "): name.replace("-", "_") for name, _ in PARTS},
    "crop": "crop",
    "efficiency": "efficiency",
    "efficiency at": "efficiency_at",
}
"""What errors call a figure → the field of the form."""
EXAMPLES: Final = {
    "wage": "32 /h", "fuel": "62 L/h", "fuel_price": "1.35 /L", "wear": "60 /h", "helpers": "90 /h", "weather": "40 /h",
    "area_left": "300 ha", "loss_per_day": "0.5 %", "hours_per_day": "9", "fit_days": "60 %",
}  # fmt: skip


@router.get("/combines", dependencies=[Depends(reader)])
def combines(request: Request) -> Response:
    """The combines of the book."""
    desk = desk_of(request)
    teller = Teller(desk)
    listed = [(one, _facts(teller, one), len(checks_where(desk, combine=one.id))) for one in things(desk, "combine")]
    return show(request, "combines.html", "combines", listed=listed)


@router.get("/combine/{combine_id}", dependencies=[Depends(reader)])
def combine(request: Request, combine_id: ThingId) -> Response:
    """The page of one combine; ``?crop=…&hour_cost=…&now=…`` asks for its best pace."""
    desk, person, form = desk_of(request), person_of(request), asked(request)
    thing = thing_or_missing(desk, combine_id, "combine")
    ids = checks_where(desk, combine=thing.id)
    crops = _crops(desk, ids)
    crop = form.get("crop") if form.get("crop") in crops else next(iter(crops), "")
    version = book_version(desk)
    found_pace: Any = None
    found_monitor: Any = None
    found_curve: Any = None
    unit: PaceUnit | None = None
    if crop:
        unit = unit_of(desk, crop, report_in=person.report_in)
        found_pace = _pace(request, desk, thing, crop, form, unit, version)
        sensor = _sensor(desk, thing, crop, form.get("sensor"))
        found_monitor = _monitor(request, desk, thing, crop, version, sensor)
        if isinstance(found_monitor, MonitorFound):
            found_monitor = _monitor_told(request, found_monitor, unit, (thing.id, crop, version))
        if found_pace is None:
            found_curve = _curve(request, desk, thing, crop, unit, version)
    for one in (found_pace, found_curve, found_monitor):
        if isinstance(one, Working):
            return show(request, "working.html", "combines", working=one, title=thing.title)
    return show(
        request,
        "combine.html",
        "combines",
        thing=thing,
        facts=_facts(Teller(desk), thing),
        crops=crops,
        crop=crop,
        form=form,
        parts_of_cost=[(name.replace("-", "_"), words(f"cost.{name}")) for name, _ in PARTS],
        examples=EXAMPLES,
        unit=unit,
        pace=None if found_pace is None or unit is None else _pace_told(found_pace, unit),
        curve=found_curve,
        monitor=monitor_told(found_monitor, unit) if unit and isinstance(found_monitor, InputError) else found_monitor,
        fields=[t for t in things(desk, "field") if not t.retired and _key(t) == crop],
        season_names={t.id: t.name for t in things(desk, "season")},
        bars=lines_of_combine(desk, thing.id),
        lines=list(reversed(lines_of(desk, ids[:LISTED], person))),
    )


def _pace(request: Request, desk: Desk, thing: Thing, crop: str, form: Form, unit: PaceUnit, version: str) -> Any:
    """The best pace, Working, or None when nothing was asked or something in the form is wrong."""
    given = {name.replace("-", "_"): form.told(name.replace("-", "_")) for name, _ in PARTS}
    given["hour_cost"] = form.told("hour_cost")
    try:
        stored = stored_hour(desk, thing)
        if stored is None and not any(form.told(name) for name in (*given, "now", "yield", "price", "fastest")):
            return None
        field = thing_or_none(desk, form.get("field"))
        terms = _terms(form, given, unit, stored)
        key = ("pace", thing.id, crop, version, form.get("field"), tuple(sorted(form.values.items())), unit.loss.name)

        def work(step: Progress) -> Any:
            return pace(desk, thing, crop, terms, field=field, progress=step)

        return longer_of(request).ask(key, work)
    except (InputError, SamplerError) as error:
        _refuse(form, error)
        return None


def _curve(request: Request, desk: Desk, thing: Thing, crop: str, unit: PaceUnit, version: str) -> Any:
    """Loss against load, where no pace is shown; what hinders it stands among its remarks."""
    key = ("curve", thing.id, crop, version, unit.loss.name, unit.speed)

    def work(step: Progress) -> Any:
        return curve_told(curves(desk, thing, crop, progress=step), unit)

    try:
        return longer_of(request).ask(key, work)
    except (InputError, SamplerError) as error:
        return CurveTold(None, [], "", [said(error)])


def _refuse(form: Form, error: InputError | SamplerError) -> None:
    if isinstance(error, InputError):
        form.refuse(error, TERMS)
    else:
        form.general.append(said(error))


def _terms(form: Form, given: Mapping[str, str | None], unit: PaceUnit, stored: StoredHour | None = None) -> PaceTerms:
    """What the form says, read as on the command line.

    Raises
    ------
    InputError
        For a figure that cannot be read.
    """
    bushel = unit.bushel_kg
    told = form.told("price")
    price = None if told is None else units.read_not_negative(told, "price", field="price", bushel_kg=bushel).value
    yield_kg_ha = _positive(form, "yield", "area_mass", bushel)
    money = money_of(given, called=_called)
    if told is not None:
        money.append(read_told(told, "price", field="price", bushel_kg=bushel))
    return PaceTerms(
        money=money,
        hour_cost=hour_cost(given, yield_kg_ha=yield_kg_ha, price_per_t=price, called=_called, stored=stored),
        price_per_t=price,
        yield_kg_ha=yield_kg_ha,
        today_kmh=_positive(form, "now", "speed"),
        fastest_kmh=_positive(form, "fastest", "speed"),
        efficiency=_positive(form, "efficiency", "fraction"),
        efficiency_at_kmh=_positive(form, "efficiency_at", "speed"),
        step_kmh=unit.step_kmh,
    )


def _pace_told(found: PaceAnswer, unit: PaceUnit) -> Any:
    return pace_told(found, unit.in_currency(found.currency))


def _called(name: str) -> str:
    """What the form calls a figure of the hour cost."""
    return name.replace("-", " ")


def _positive(form: Form, name: str, kind: str, bushel_kg: float | None = None) -> float | None:
    text = form.told(name)
    if text is None:
        return None
    return units.read_positive(text, kind, field=name.replace("_", " "), bushel_kg=bushel_kg).value


def _sensor(desk: Desk, thing: Thing, crop: str, wanted: str) -> str:
    """The sensor whose key is shown: the one asked for, else the bar in the cab, else the first."""
    noted = sensors_noted(desk, thing, crop)
    return wanted if wanted in noted else next(iter(noted), "")


def _monitor(request: Request, desk: Desk, thing: Thing, crop: str, version: str, sensor: str) -> Any:
    """What the bar means; None where no reading stands beside a check."""
    key = ("monitor", thing.id, crop, version, sensor)
    try:
        return longer_of(request).ask(key, lambda step: monitor(desk, thing, crop, sensor=sensor, progress=step))
    except InputError as error:
        if error.problem.startswith("has no reading"):
            return None
        return error


def _monitor_told(request: Request, found: MonitorFound, unit: PaceUnit, of: tuple[str, str, str]) -> Any:
    """What the bar means, laid out: its table takes a while too."""
    key = ("monitor told", *of, found.sensor, unit.loss.name, unit.speed)
    return longer_of(request).ask(key, lambda _: monitor_told(found, unit))


def thing_or_none(desk: Desk, thing_id: str) -> Thing | None:
    """The field chosen; None for none."""
    return next((t for t in things(desk, "field") if t.id == thing_id), None)


def _crops(desk: Desk, ids: list[str]) -> list[str]:
    """Crops of the combine's checks, the one with most of them first."""
    keys = [find_crop(one.check.crop).key for one in counting(desk, ids)]
    return sorted(set(keys), key=lambda key: (-keys.count(key), key))


def _facts(teller: Teller, thing: Thing) -> list[tuple[str, str]]:
    kind = KINDS["combine"]
    return [
        (part.about, teller.said(kind, part.name, thing.parts[part.name], thing.parts))
        for part in kind.parts
        if part.name in thing.parts and part.name not in ("name", "retired", "note")
    ]


def _key(thing: Thing) -> str:
    try:
        return find_crop(str(thing.parts.get("crop", ""))).key
    except InputError:
        return ""
