"""The PDFs behind the desk's buttons: each page's report, the cards of a combine, and the sheet to fill in."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Annotated, Any, Final
from urllib.parse import quote

from fastapi import APIRouter, Depends, Path, Request
from starlette.responses import Response

from chaffinch.book.checks.held import find_check
from chaffinch.book.desk import Desk
from chaffinch.book.pace.hour_costs import hour_cost, money_of
from chaffinch.book.planning.card import card
from chaffinch.book.planning.machine_cards import machine_cards
from chaffinch.book.shown_unit import farm_of
from chaffinch.book.times import local
from chaffinch.book.trials.trial import SOURCES, find_trial
from chaffinch.book.version import book_version
from chaffinch.errors import ChaffinchError, InputError, SamplerError
from chaffinch.how_far import Progress
from chaffinch.paper.blocks import Report
from chaffinch.paper.cab_card import SIZES_OF_CARDS, cab_card, link_of, print_cards
from chaffinch.paper.check_report import check_report
from chaffinch.paper.check_sheet import check_sheet
from chaffinch.paper.field_report import field_report
from chaffinch.paper.season_report import season_report
from chaffinch.paper.trial_report import trial_report
from chaffinch.paper.typeset import Printed, refuse_without_typesetter
from chaffinch.paper.wanted import REPORT_SIZES, Wanted, made
from chaffinch.web.access import reader
from chaffinch.web.pages.answers import Working, longer_of
from chaffinch.web.pages.field import ThingId, thing_or_missing
from chaffinch.web.pages.frame import Form, asked, desk_of, person_of, show
from chaffinch.web.problems import Refusal
from chaffinch.web.words.desk import words

router = APIRouter(dependencies=[Depends(reader)])

RecordId = Annotated[str, Path(max_length=64)]
INCHES: Final = ("US", "CA")
"""Countries whose paper is Letter."""


@dataclass(frozen=True, slots=True)
class ReportAsked:
    """A report that a page asks for.

    Attributes
    ----------
    about : tuple of str
        Its kind, the record it is about, and what else it depends on.
    name : str
        Of the file.
    wanted : Wanted
    make : callable
        Works it out.
    """

    about: tuple[str, ...]
    name: str
    wanted: Wanted
    make: Callable[[Progress], Report]


def report_asked(request: Request, kind: str, record: str, form: Form) -> ReportAsked:
    """The report of a record, on the terms of a form: paper, length, what an hour costs, which loss of a trial.

    Raises
    ------
    Refusal
        404 for a record that is not there, 422 for terms that cannot be meant.
    """
    desk, wanted = desk_of(request), wanted_of(request, form)
    if kind == "check":
        logged = there("check", lambda: find_check(desk, record))
        return ReportAsked(
            (kind, logged.id), f"check-{logged.id[:8]}", wanted, lambda _step: check_report(desk, logged, wanted)
        )
    if kind == "trial":
        one = there("trial", lambda: find_trial(desk, record))
        source: Any = form.get("source") if form.get("source") in SOURCES else "machine"
        return ReportAsked(
            (kind, one.id, source), f"trial-{one.id[:8]}", wanted,
            lambda step: trial_report(desk, one, wanted, source=source, progress=step),
        )  # fmt: skip
    thing = thing_or_missing(desk, record, kind)
    of_thing = field_report if kind == "field" else season_report
    return ReportAsked(
        (kind, thing.id), f"{kind}-{thing.name}", wanted, lambda step: of_thing(desk, thing, wanted, progress=step)
    )


@router.get("/check/{check_id}/report.pdf")
def check(request: Request, check_id: RecordId) -> Response:
    """The report of one check."""
    return _report(request, report_asked(request, "check", check_id, asked(request)))


@router.get("/field/{field_id}/report.pdf")
def field(request: Request, field_id: ThingId) -> Response:
    """The report of one field; ``?hour_cost=450 /h`` adds pace and limit of each machine."""
    return _report(request, report_asked(request, "field", field_id, asked(request)))


@router.get("/season/{season_id}/report.pdf")
def season(request: Request, season_id: ThingId) -> Response:
    """The report of a season; ``?hour_cost=450 /h`` adds pace and limit of each machine."""
    return _report(request, report_asked(request, "season", season_id, asked(request)))


@router.get("/trial/{trial_id}/report.pdf")
def trial(request: Request, trial_id: RecordId) -> Response:
    """The report of one trial; ``?source=machine|header|judged`` chooses the loss."""
    return _report(request, report_asked(request, "trial", trial_id, asked(request)))


@router.get("/combine/{combine_id}/cards.pdf")
def cards(request: Request, combine_id: ThingId) -> Response:
    """A cab card for each crop and pan of this combine; ``?address=https://…`` puts a code on it."""
    desk, form = desk_of(request), asked(request)
    thing = thing_or_missing(desk, combine_id, "combine")
    size = form.get("paper") or ("half-letter" if _letter(desk) else "a5")
    date = local(desk.now())[:10]

    address, report_in = form.get("address"), person_of(request).report_in

    def work(_step: Progress) -> Printed:
        found = machine_cards(desk, combine=thing, report_in=report_in)
        pages = [
            cab_card(card(one.check), size=size, date=date, pan=one.pan.name, address=address, combine_id=thing.id)
            for one in found
        ]
        return print_cards(pages)

    if size not in SIZES_OF_CARDS:
        raise Refusal(422, "paper", "is no size of a card", f"use {', '.join(SIZES_OF_CARDS)}", value=size[:40])
    sound(lambda: link_of(address))
    # Not by whatever stands in the address: each key is a piece of work, and all of them wait for one another.
    return pdf_page(request, ("cards", thing.id, size, date, address, report_in), work, f"cards-{thing.name}")


@router.get("/sheet.pdf")
def sheet(request: Request) -> Response:
    """The sheet to fill in by hand, with the names of this book."""
    desk = desk_of(request)
    wanted = wanted_of(request, asked(request))
    farm = farm_of(desk)
    name = "" if farm is None else farm.name
    return pdf_page(
        request, ("sheet", wanted), lambda _step: check_sheet(size=wanted.size, date=wanted.date, desk=desk, farm=name),
        "check-sheet",
    )  # fmt: skip


def wanted_of(request: Request, form: Form) -> Wanted:
    """What a form asks for, in this person's units, on this day."""
    desk = desk_of(request)
    size = form.get("paper") or ("letter" if _letter(desk) else "a4")
    if size not in REPORT_SIZES:
        raise Refusal(422, "paper", "is no size of paper", f"use {', '.join(REPORT_SIZES)}", value=size[:40])
    given = {"hour_cost": form.told("hour_cost")}
    cost, money = None, []
    if given["hour_cost"] is not None:
        cost = sound(lambda: hour_cost(given, yield_kg_ha=None, price_per_t=None, called=_called))
        money = sound(lambda: money_of(given, called=_called))
    return Wanted(
        date=local(desk.now())[:10], size=size, units=person_of(request).measures, short=form.get("short") == "yes",
        hour_cost=cost, hour_money=tuple(money),
    )  # fmt: skip


def _called(name: str) -> str:
    return name.replace("-", " ")


def _letter(desk: Desk) -> bool:
    """Whether this farm's paper is measured in inches."""
    farm = farm_of(desk)
    return farm is not None and str(farm.parts.get("country", "")).upper() in INCHES


def _report(request: Request, found: ReportAsked) -> Response:
    return pdf_page(request, (*found.about, found.wanted), lambda step: made(found.make(step))[1], found.name)


def pdf_page(request: Request, key: tuple[Any, ...], work: Callable[[Progress], Printed], name: str) -> Response:
    """The PDF, or the page that waits for it."""
    desk = desk_of(request)
    try:
        refuse_without_typesetter()
    except ChaffinchError:
        raise Refusal(
            503, "paper", "needs the typesetter", "install it where the server runs: chaffinch[paper]"
        ) from None
    version = book_version(desk)
    done = sound(lambda: longer_of(request).ask(("pdf", version, repr(key)), work))
    if isinstance(done, Working):
        return show(request, "working.html", "seasons", working=done, title=words("print.title"),
                    after=words("print.working"))  # fmt: skip
    return as_file(done, name)


def as_file(done: Printed, name: str) -> Response:
    """A PDF that the browser keeps."""
    file = f"{'-'.join(name.split())}.pdf"
    headers = {
        "Content-Disposition": f"attachment; filename=\"chaffinch.pdf\"; filename*=UTF-8''{quote(file, safe='')}"
    }
    return Response(done.pdf, media_type="application/pdf", headers=headers)


def there(kind: str, find: Callable[[], Any]) -> Any:
    """What was looked for, or the page that says it is not there."""
    try:
        return find()
    except InputError as error:
        raise Refusal(
            404, kind, error.problem, "follow a link of the page it should be on", value=error.value
        ) from None


def sound(ask: Callable[[], Any]) -> Any:
    """The answer, or what is wrong said in the one shape."""
    try:
        return ask()
    except InputError as error:
        raise Refusal(422, error.field, error.problem, error.mend, value=error.value) from None
    except SamplerError as error:
        raise Refusal(422, "paper", str(error), "correct the check it is about") from None
