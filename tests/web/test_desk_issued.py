"""A report is kept as issued by a button of the owner's, listed for everybody, and printed again as it was."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from desk_farm import Visitor, desk_farm

from chaffinch.book.reports import reports
from chaffinch.book.things import edit_label, find_thing


@pytest.fixture(scope="module")
def visitor(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Visitor]:
    with desk_farm(tmp_path_factory.mktemp("issued"), filled=False) as found:
        found.book.ids["check"] = found.book.check("Old Bess", 10, 7)
        yield found


def test_kept_listed_and_printed_again(visitor: Visitor) -> None:
    book = visitor.book
    path = f"/field/{book.ids['Long Hollow']}"
    assert 'formaction="/reports/new"' in visitor.get(path).text
    assert "None was issued yet" in visitor.get("/reports").words
    terms = {"of": f"{path}/report.pdf", "paper": "letter", "short": "yes"}
    offered = visitor.get("/reports/new", **terms)
    assert offered.status == 200
    assert "Field report: Long Hollow, 1 page." in offered.words
    assert reports(book.desk) == [], "looking keeps nothing"
    hidden = {e["name"]: e["value"] for tag, e in offered.tags.elements if e.get("type") == "hidden" and "name" in e}
    sent = {name: hidden[name] for name in terms}
    assert sent == terms
    for _ in range(2):
        assert visitor.post("/reports", sent).to == "/reports"
    (kept,) = reports(book.desk)
    assert kept.result["short"] is True
    assert kept.price == "600 /t"
    shown = visitor.get("/reports")
    assert "Field report: Long Hollow" in shown.words
    first = visitor.get(f"/reports/{kept.id}/report.pdf").response.content
    assert first.startswith(b"%PDF-1.7")
    edit_label(book.desk, find_thing(book.desk, "field", "Long Hollow"), "price", "900 /t")
    looker = visitor.as_role("reader")
    assert looker.get(f"/reports/{kept.id}/report.pdf").response.content == first
    assert looker.get("/reports").status == 200


def test_only_the_owner_keeps_one(visitor: Visitor) -> None:
    path = f"/check/{visitor.book.ids['check']}"
    terms = {"of": f"{path}/report.pdf"}
    before = len(reports(visitor.book.desk))
    for role in ("crew", "reader"):
        other = visitor.as_role(role)
        assert "/reports/new" not in other.get(path).text
        assert other.get("/reports/new", **terms).status == 403
        assert other.post("/reports", terms).status == 403
    assert visitor.post("/reports", terms, csrf=False).status == 403
    assert len(reports(visitor.book.desk)) == before


@pytest.mark.parametrize(
    ("of", "status", "said"),
    [
        ("/combine/x/cards.pdf", 422, "is no report of this book"),
        ("/check/00000000-0000-4000-8000-000000000000/report.pdf", 404, "not in the book"),
        ("", 422, "is no report of this book"),
    ],
)
def test_what_is_no_report_is_refused(visitor: Visitor, of: str, status: int, said: str) -> None:
    for found in (visitor.get("/reports/new", of=of), visitor.post("/reports", {"of": of})):
        assert found.status == status
        assert said in found.words
    assert visitor.get("/reports/ffffffff/report.pdf").status == 404
