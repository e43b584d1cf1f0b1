"""The desk's buttons lead to PDFs, for every role that may look, and say plainly what is wrong."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import pytest
from desk_farm import Visitor, desk_farm

from chaffinch.book.things import edit_label, find_thing


@pytest.fixture(scope="module")
def visitor(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Visitor]:
    with desk_farm(tmp_path_factory.mktemp("printing"), filled=False) as found:
        book = found.book
        book.ids["check"] = book.check("Old Bess", 10, 7, header_kg_ha=25.0)
        book.check("Old Bess", 10, 9, speed_kmh=7.0)
        book.add("pan", "tray", area="4 ft2")
        for name in ("Long Hollow", "Far Common"):
            edit_label(book.desk, find_thing(book.desk, "field", name), "limit", "60 kg/ha")
        yield found


def paths(visitor: Visitor) -> dict[str, str]:
    ids = visitor.book.ids
    return {
        f"/check/{ids['check']}": "/report.pdf",
        f"/field/{ids['Long Hollow']}": "/report.pdf",
        f"/season/{ids['2026']}": "/report.pdf",
        f"/combine/{ids['Old Bess']}": "/cards.pdf",
    }


def test_every_button_leads_to_a_pdf(visitor: Visitor) -> None:
    looker = visitor.as_role("reader")
    for page, file in paths(visitor).items():
        if not file.startswith("/cards"):
            assert f'action="{page}{file}"' in visitor.get(page).text
        for query in ({}, {"short": "yes", "paper": "half-letter" if "cards" in file else "letter"}):
            found = looker.get(page + file, **query)
            assert found.status == 200, (page, found.text[:300])
            assert found.response.headers["content-type"] == "application/pdf"
            assert found.response.headers["content-disposition"].startswith("attachment; filename=")
            assert found.response.content.startswith(b"%PDF-1.7")
    assert looker.get("/sheet.pdf").response.content.startswith(b"%PDF-1.7")


@pytest.mark.parametrize(
    ("file", "query", "status", "said"),
    [
        ("/check/{check}/report.pdf", {"paper": "b5"}, 422, "no size of paper"),
        ("/combine/{Old Bess}/cards.pdf", {"paper": "a4"}, 422, "no size of a card"),
        ("/combine/{Old Bess}/cards.pdf", {"address": "farm"}, 422, "no address of a page"),
        ("/field/{Long Hollow}/report.pdf", {"hour_cost": "lots"}, 422, "does not start with a number"),
        ("/check/00000000-0000-4000-8000-000000000000/report.pdf", {}, 404, "not in the book"),
        ("/trial/00000000-0000-4000-8000-000000000000/report.pdf", {}, 404, "not in the book"),
    ],
)
def test_what_is_wrong_is_said(visitor: Visitor, file: str, query: dict[str, str], status: int, said: str) -> None:
    path = file
    for name, record in visitor.book.ids.items():
        path = path.replace(f"{{{name}}}", record)
    found = visitor.get(path, **query)
    assert found.status == status
    assert said in found.words


def test_without_a_typesetter_the_page_says_so(visitor: Visitor, monkeypatch: pytest.MonkeyPatch) -> None:
    import sys

    monkeypatch.setitem(sys.modules, "typst", None)
    found = visitor.get("/sheet.pdf")
    assert found.status == 503
    assert "needs the typesetter" in found.words


def test_cards_are_in_the_units_of_who_asks(visitor: Visitor) -> None:
    """Made for one browser in its units, they are not handed to another that reads in others."""
    path = f"/combine/{visitor.book.ids['Old Bess']}/cards.pdf"
    made = []
    for measures in ("metric", "american", "metric"):
        person = replace(visitor, choices={"measures": measures})
        made.append(person.get(path, paper="a5").response.content)
    assert made[0] != made[1]
    assert made[0] == made[2]
