"""Is every PDF tagged, embedded, readable, and the same for the same input and day?"""

from __future__ import annotations

import re
from dataclasses import replace
from typing import Any

import pytest
from paper_farm import DAY, reader, text_of

from chaffinch.book.checks.held import find_check
from chaffinch.book.planning.card import card
from chaffinch.book.planning.machine_cards import machine_cards
from chaffinch.book.things import find_thing
from chaffinch.errors import InputError
from chaffinch.paper.cab_card import cab_card, print_cards
from chaffinch.paper.check_report import check_report
from chaffinch.paper.check_sheet import check_sheet
from chaffinch.paper.field_report import field_report
from chaffinch.paper.typeset import SIZES, Printed, read_date, typeset
from chaffinch.paper.wanted import Wanted, made, printed
from season_book import SeasonBook

POINTS_PER_MM = 72 / 25.4


def of_check(season: SeasonBook, **more: Any) -> Printed:
    wanted = replace(Wanted(date=DAY), **more)
    return made(check_report(season.desk, find_check(season.desk, season.ids["check 0"]), wanted))[1]


def of_cards(season: SeasonBook, size: str = "a5") -> Printed:
    found = machine_cards(season.desk, field=_limited(season))
    return print_cards(
        [
            cab_card(card(one.check), size=size, date=DAY, pan=one.pan.name, address="https://farm.local")
            for one in found
        ]
    )


def _limited(season: SeasonBook) -> Any:
    return find_thing(season.desk, "field", "Long Hollow")


def of_field(season: SeasonBook) -> Printed:
    return printed(field_report(season.desk, _limited(season), Wanted(date=DAY)))


def of_sheet(season: SeasonBook) -> Printed:
    return check_sheet(size="a4", date=DAY, desk=season.desk, farm="Larkhollow")


KINDS = {"check": of_check, "cards": of_cards, "field": of_field, "sheet": of_sheet}


@pytest.mark.parametrize("kind", KINDS)
def test_every_page_is_tagged_and_its_letters_are_embedded(season: SeasonBook, kind: str) -> None:
    done = KINDS[kind](season)
    found = reader(done.pdf)
    root: Any = found.trailer["/Root"]
    assert root["/MarkInfo"]["/Marked"]
    assert str(root["/Lang"]).startswith("en")
    assert root["/ViewerPreferences"]["/DisplayDocTitle"]
    assert b"<pdfuaid:part>1</pdfuaid:part>" in root["/Metadata"].get_object().get_data()
    assert found.metadata is not None
    assert found.metadata.title
    assert len(found.pages) == done.pages
    fonts = 0
    for page in found.pages:
        assert page["/StructParents"] is not None
        for one in page["/Resources"].get("/Font", {}).values():
            fonts += 1
            inner = one.get_object()["/DescendantFonts"][0].get_object()
            assert "Rubik" in inner["/BaseFont"]
            assert {"/FontFile2", "/FontFile3"} & set(inner["/FontDescriptor"].get_object())
    assert fonts > 0
    assert len(text_of(done.pdf)) > 200


def test_every_drawing_says_what_it_shows(season: SeasonBook) -> None:
    """Each picture is a figure of the structure tree with an alternative text; so is the code on a card."""
    for done, wanted in ((of_check(season), 2), (of_cards(season), 4)):
        told = _alternatives(reader(done.pdf).trailer["/Root"]["/StructTreeRoot"])
        assert len(told) >= wanted
        assert all(len(text) > 20 for text in told)
    assert any("https://farm.local/app/" in text for text in told)


def _alternatives(node: Any) -> list[str]:
    node = node.get_object()
    if isinstance(node, list):
        return [text for one in node for text in _alternatives(one)]
    if not hasattr(node, "get"):
        return []
    own = [str(node["/Alt"])] if node.get("/S") == "/Figure" and "/Alt" in node else []
    return own + (_alternatives(node["/K"]) if "/K" in node else [])


@pytest.mark.parametrize("kind", ["check", "cards", "sheet"])
def test_the_same_input_and_day_give_the_same_bytes(season: SeasonBook, kind: str) -> None:
    assert KINDS[kind](season).pdf == KINDS[kind](season).pdf


def test_the_day_is_the_one_that_came_in(season: SeasonBook) -> None:
    first, other = of_check(season), of_check(season, date="2031-01-02")
    assert first.pdf != other.pdf
    assert "made 2031-01-02" in text_of(other.pdf)
    found = reader(other.pdf).metadata
    assert found is not None
    assert found.creation_date is not None
    assert found.creation_date.strftime("%Y-%m-%d") == "2031-01-02"
    assert not re.search(rb"CreationDate\s*\(D:20(?!31)", other.pdf)


@pytest.mark.parametrize(
    ("size", "kind"), [("a4", "check"), ("letter", "check"), ("a5", "cards"), ("half-letter", "cards")]
)
def test_paper_has_the_size_asked_for(season: SeasonBook, size: str, kind: str) -> None:
    done = of_cards(season, size) if kind == "cards" else of_check(season, size=size)
    for page in reader(done.pdf).pages:
        box = (float(page.mediabox.width), float(page.mediabox.height))
        assert box == pytest.approx([side * POINTS_PER_MM for side in SIZES[size]], abs=0.1)


def test_a_short_report_has_one_page(season: SeasonBook) -> None:
    assert of_check(season, short=True).pages == 1
    found = field_report(season.desk, _limited(season), Wanted(date=DAY, short=True))
    full = [one for one in found.blocks if one.get("shrinks")]
    many = replace(found, blocks=[{**one, "rows": one["rows"] * 30} if one in full else one for one in found.blocks])
    report, done = made(many)
    assert done.pages == 1
    assert any("more stand in the full report" in str(one.get("text")) for one in report.blocks)


@pytest.mark.parametrize("day", ["2026-02-30", "2026-8-1", "tomorrow", ""])
def test_a_day_that_is_none_is_refused(day: str) -> None:
    with pytest.raises(InputError, match="no day that exists"):
        read_date(day)
    with pytest.raises(InputError):
        typeset("report", {"title": "x", "size": "a4", "date": day, "footer": "", "subtitle": [], "blocks": []})


@pytest.mark.parametrize(("key", "value"), [("size", "b5"), ("units", "imperial")])
def test_wishes_out_of_form_are_refused(key: str, value: str) -> None:
    with pytest.raises(InputError, match="none of the known"):
        Wanted(**{"date": DAY, key: value})
