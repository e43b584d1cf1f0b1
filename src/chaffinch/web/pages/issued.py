"""Reports that were issued: keeping one in the book as it stands, the list of them, and printing one again."""

from __future__ import annotations

import re
from hashlib import sha256
from typing import Any, Final

from fastapi import APIRouter, Depends, Request
from starlette.responses import Response

from chaffinch.book.desk import Desk
from chaffinch.book.reports import Issued, find_report, issue_report, reports
from chaffinch.book.times import local
from chaffinch.book.version import book_version
from chaffinch.errors import BookError
from chaffinch.how_far import Progress
from chaffinch.paper.blocks import Report
from chaffinch.paper.typeset import Printed, refuse_without_typesetter, typeset
from chaffinch.paper.wanted import as_issued, made
from chaffinch.web.access import Owner, owner, reader
from chaffinch.web.pages.answers import Working, longer_of
from chaffinch.web.pages.fieldlog import log_report_asked
from chaffinch.web.pages.frame import Form, Typed, asked, desk_of, form_of, see, show
from chaffinch.web.pages.printing import RecordId, ReportAsked, as_file, report_asked, sound, there
from chaffinch.web.problems import Refusal
from chaffinch.web.words.desk import words

router = APIRouter()

OF: Final = re.compile(r"/(check|field|season|trial)/([A-Za-z0-9-]{4,64})/report\.pdf")
OF_LOG: Final = re.compile(r"/fieldlogs/([0-9a-f]{32})/report\.pdf")
TERMS: Final = ("of", "paper", "short", "hour_cost", "source")
"""What the form of a report says."""


@router.get("/reports", dependencies=[Depends(reader)])
def issued(request: Request) -> Response:
    """The reports that were issued, the newest first."""
    found = list(reversed(reports(desk_of(request))))
    rows = [(one.id, one.title, local(one.issued_at), one.program, _short(one)) for one in found]
    return show(request, "issued.html", "seasons", rows=rows)


@router.get("/reports/new", dependencies=[Depends(owner)])
def ask(request: Request) -> Response:
    """What would be kept; nothing is yet."""
    form = asked(request)
    report = _asked(request, form)
    found = sound(lambda: longer_of(request).ask(_key(request, report), lambda step: made(_frozen(report, step))))
    if isinstance(found, Working):
        return show(request, "working.html", "seasons", working=found, title=words("issue.title"))
    title, pages = found[0].title, found[1].pages
    back = form.get("of").removesuffix("/report.pdf")
    terms = [*((name, form.get(name)) for name in TERMS if form.get(name)), ("shown", _shown(report))]
    said = words("issue.said", title=title, pages=words("issue.page") if pages == 1 else words("issue.pages", n=pages))
    return show(request, "issue.html", "seasons", said=said, terms=terms, back=back, form=Form())


@router.post("/reports")
def keep(request: Request, _who: Owner, sent: Typed) -> Response:
    """Keep a report in the book as it stands; sent twice it is kept once."""
    form, desk = form_of(sent), desk_of(request)
    report = _asked(request, form)
    if form.get("shown") not in ("", _shown(report)):
        raise Refusal(409, "of", "was asked otherwise meanwhile", "look at it again, then keep it")
    found = sound(lambda: _whole(request, report))
    data = found[0].data()
    before = next((one for one in reports(desk) if one.result.get("page") == data), None)
    if before is None:
        try:
            sound(lambda: _written(desk, found[0]))
        except BookError as error:
            form.general.append(str(error))
            return show(request, "issue.html", "seasons", status=500, said=words("issue.failed"), back="/reports",
                        terms=[(name, form.get(name)) for name in TERMS if form.get(name)], form=form)  # fmt: skip
    return see("/reports")


@router.get("/reports/{report_id}/report.pdf", dependencies=[Depends(reader)])
def again(request: Request, report_id: RecordId) -> Response:
    """An issued report as it was: nothing is worked out anew."""
    sound(refuse_without_typesetter)
    found: Issued = there("report", lambda: find_report(desk_of(request), report_id))
    done: Printed = sound(lambda: typeset("report", dict(found.result["page"])))
    return as_file(done, f"{found.result['kind']}-{found.id[:8]}")


def _asked(request: Request, form: Form) -> ReportAsked:
    of_log = OF_LOG.fullmatch(form.get("of"))
    if of_log is not None:
        return log_report_asked(request, of_log[1], form)
    match = OF.fullmatch(form.get("of"))
    if match is None:
        raise Refusal(
            422, "of", "is no report of this book", "use the button of the page it is about", value=form.get("of")[:80]
        )
    return report_asked(request, match[1], match[2], form)


def _key(request: Request, report: ReportAsked) -> tuple[Any, ...]:
    return ("issue", book_version(desk_of(request)), repr((*report.about, report.wanted)))


def _shown(report: ReportAsked) -> str:
    """What a page was shown by: a log may be asked something else by another person while it is being looked at."""
    return sha256(repr(report.about).encode()).hexdigest()[:16]


def _frozen(report: ReportAsked, step: Progress) -> Report:
    return as_issued(report.make(step), report.wanted)


def _whole(request: Request, report: ReportAsked) -> tuple[Report, Printed]:
    """The report, waited for: it was most likely worked out for the page that asked."""
    found: Any = Working(0, 0)
    while isinstance(found, Working):
        found = longer_of(request).ask(_key(request, report), lambda step: made(_frozen(report, step)))
    return found  # type: ignore[no-any-return]


def _written(desk: Desk, report: Report) -> None:
    issue_report(
        desk, kind=report.kind, title=report.title, page=report.data(), figures=report.figures, of=report.of,
        price=report.price, short=report.short,
    )  # fmt: skip


def _short(one: Issued) -> str:
    return words("print.short") if one.result.get("short") else words("print.full")
