"""An issued report is frozen: no later price, check or correction changes it, and it prints again to the byte."""

from __future__ import annotations

import pytest
from paper_farm import DAY, text_of

from chaffinch.book.checks.held import find_check
from chaffinch.book.reports import find_report, issue_report, reports
from chaffinch.book.things import edit_label, find_thing
from chaffinch.errors import InputError
from chaffinch.paper.blocks import Report
from chaffinch.paper.check_report import check_report
from chaffinch.paper.field_report import field_report
from chaffinch.paper.typeset import typeset
from chaffinch.paper.wanted import Wanted, as_issued, printed
from season_book import SeasonBook

WANTED = Wanted(date=DAY)


def kept(book: SeasonBook, report: Report) -> str:
    return issue_report(
        book.desk, kind=report.kind, title=report.title, page=report.data(), figures=report.figures, of=report.of,
        price=report.price,
    ).id  # fmt: skip


def test_a_later_price_rewrites_nothing(empty: SeasonBook) -> None:
    check = empty.check("Old Bess", 10, 8)
    field = find_thing(empty.desk, "field", "Long Hollow")
    report = as_issued(field_report(empty.desk, field, WANTED), WANTED)
    done = printed(report)
    record = kept(empty, report)
    edit_label(empty.desk, field, "price", "900 /t")
    empty.check("Old Bess", 11, 8, machine_kg_ha=90.0)
    found = find_report(empty.desk, record[:8])
    assert typeset("report", found.result["page"]).pdf == done.pdf
    assert found.result["figures"] == report.figures
    assert found.price == "600 /t"
    assert found.of == (field.id, check)
    assert found.program == "0.1.0"
    now = field_report(empty.desk, find_thing(empty.desk, "field", "Long Hollow"), WANTED)
    assert now.figures != report.figures
    assert "issued 2026-09-30" in text_of(done.pdf)
    assert "$900.00 per t" in text_of(printed(now).pdf)
    assert "$600.00 per t" in text_of(done.pdf)


def test_a_report_is_kept_only_when_asked(empty: SeasonBook) -> None:
    check = empty.check("Old Bess", 10, 8)
    report = check_report(empty.desk, find_check(empty.desk, check), WANTED)
    printed(report)
    assert reports(empty.desk) == []
    record = kept(empty, report)
    assert [one.id for one in reports(empty.desk)] == [record]
    with pytest.raises(InputError, match="was not issued"):
        find_report(empty.desk, "ffffffff")
    with pytest.raises(InputError, match="too short"):
        find_report(empty.desk, "a")


def test_what_is_too_large_is_refused_in_a_line(empty: SeasonBook) -> None:
    with pytest.raises(InputError, match="too large to be kept") as caught:
        issue_report(empty.desk, kind="season", title="x", page={"blocks": ["x" * 1_100_000]}, figures={})
    assert "--short" in caught.value.line()


def test_reports_of_an_empty_book_say_so(empty: SeasonBook) -> None:
    from chaffinch.paper.season_report import season_report

    text = text_of(printed(season_report(empty.desk, find_thing(empty.desk, "season", "2026"), WANTED)).pdf)
    assert "Nothing to sum up yet" in text
    assert "No check was corrected" in text
