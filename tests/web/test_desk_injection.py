"""Text that would be code: through every text field of every form, it comes back as text and nothing else."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from pathlib import Path

import pytest
from desk_farm import Page, Visitor, desk_farm

from chaffinch.book.checks.entering import log_check, replace_check
from chaffinch.book.checks.held import find_check
from chaffinch.book.things import add_thing
from chaffinch.records.checkfile import check_from_table, check_to_table

ATTACKS = (
    "<script>alert(1)</script>",
    '"><img src=x onerror=alert(1)>',
    "'-alert(1)-'",
    "</textarea><svg onload=alert(1)>",
    "{{ 7 * 7 }}{% raw %}",
    "javascript:alert(1)",
    "';DROP TABLE record;--",
    "../../etc/passwd",
    "<!--",
    "&lt;b&gt;",
)


@pytest.fixture(scope="module")
def desk(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Visitor]:
    with desk_farm(tmp_path_factory.mktemp("desk")) as visitor:
        yield visitor


def skeleton(page: Page) -> Counter[str]:
    """Elements of a page by name, and whether any of them carries a handler, a style or a strange address."""
    for tag, given in page.tags.elements:
        assert not any(name.startswith("on") for name in given), (tag, given)
        assert "style" not in given
        for name in ("href", "src", "action"):
            assert given.get(name, "/").startswith(("/", "#")), (tag, given)
    assert page.tags.open == []
    return Counter(tag for tag, _ in page.tags.elements)


def scripts(page: Page) -> list[str]:
    """Files of a page's scripts, all of them our own; one without a file fails."""
    found = [given["src"] for tag, given in page.tags.elements if tag == "script"]
    assert found
    assert all(file.startswith(("/static/desk/", "/static/vendor/")) for file in found)
    return found


FORMS = {
    "/log": (
        "field", "combine", "crop", "operator", "at", "speed", "spreading", "width", "step", "catch-1-place",
        "catch-1-pan", "catch-1-amount", "settings", "condition-humidity_pct", "trial", "side", "bar", "per", "opened",
        "rows", "action", "again", "anyway",
    ),
    "/trials": ("combine", "field", "a", "b", "note"),
    "/day": ("forecast", "date", "combine", "field", "crop", "hour_cost", "area", "moisture", "hours", "price"),
    "/setup/field/new": ("name", "season", "crop", "area", "price", "limit", "note", "yield_expected", "price_date"),
    "/setup/farm/new": ("name", "country", "currency", "report_in", "note"),
    "/devices/code": ("role",),
}  # fmt: skip


@pytest.mark.parametrize("path", FORMS)
def test_a_refused_form_shows_text_as_text(desk: Visitor, path: str) -> None:
    """Every field at once, one attack after the other; the page has no element it has not got for plain letters."""
    names = FORMS[path]
    # What makes a thing is kept unsaid, so that the form is refused and shown again each time.
    plain = desk.post(path, dict.fromkeys(names, "xyz") | {"price_date": "x", "country": ""})
    for attack in ATTACKS:
        page = desk.post(path, dict.fromkeys(names, attack) | {"price_date": "x", "country": ""})
        if page.status == 303:  # a farm may be called anything
            continue
        assert page.status == 422, (attack, page.words)
        assert set(skeleton(page)) <= set(skeleton(plain)) | {"li", "p", "span", "a", "ul", "strong"}, attack
        assert skeleton(page)["script"] == 1, attack
        assert "49" not in (page.value("note") or "")
        for name in names:
            if name in page.tags.values and page.tags.values[name] and name not in ("rows",):
                assert page.tags.values[name] in (attack, "x"), (name, page.tags.values[name])


def test_names_in_the_book_are_text_on_every_page(tmp_path: Path) -> None:
    """A field, a combine, a driver, a season, notes, settings and reasons that would be code, looked at everywhere."""
    with desk_farm(tmp_path) as desk:
        shown = {name: desk.get(path) for name, path in pages(desk).items()}
        plain = {name: set(skeleton(page)) for name, page in shown.items()}
        evil = ATTACKS[0] + ATTACKS[1] + ATTACKS[3]
        book = desk.book
        for old in ("Long Hollow", "Old Bess", "Ann", "2026"):
            thing = book.ids[old]
            values = desk.get(f"/thing/{thing}").tags.values
            assert desk.post(f"/thing/{thing}", {**values, "name": f"{old} {evil}", "note": evil}).status == 303
        add_thing(book.desk, "note", {"text": evil, "of": book.ids["Long Hollow"]})
        logged = find_check(book.desk, book.ids["checks"])
        table = {**check_to_table(logged.check), "note": evil, "operator": evil, "field": {"name": evil}}
        replace_check(book.desk, [logged.id], check_from_table(table), reason=evil)
        log_check(
            book.desk, check_from_table(table), taken_at="2026-08-30T10:00:00Z",
            where={"field": book.ids["Long Hollow"], "combine": book.ids["Old Bess"], "season": book.ids["2026"]},
            settings=[{"name": "fan <b>", "value": 1.0, "unit": "<i>rpm</i>"}],
        )  # fmt: skip
        seen = 0
        for name, path in pages(desk).items():
            page = desk.get(path)
            assert page.status == 200, name
            assert set(skeleton(page)) <= plain[name] | {"li", "ul", "p", "br", "span", "dl", "dt", "dd", "div"}, name
            assert scripts(page) == scripts(shown[name]), name
            assert "<script>alert" not in page.text
            assert "onerror=alert" not in page.text.replace("&gt;&lt;img src=x onerror=alert", "")
            seen += "&lt;script&gt;alert(1)" in page.text
        assert seen >= 10, "the names are on these pages, as text"


def pages(desk: Visitor) -> dict[str, str]:
    ids = desk.book.ids
    return {
        "today": "/today",
        "checks": "/checks",
        "check": f"/check/{ids['checks']}",
        "correct": f"/check/{ids['checks']}/correct",
        "log": "/log",
        "seasons": "/seasons",
        "season": f"/season/{ids['2026']}?by=operator&source=machine",
        "field": f"/field/{ids['Long Hollow']}",
        "combines": "/combines",
        "combine": f"/combine/{ids['Old Bess']}?hour_cost=450+/h&now=6+km/h",
        "day": "/day",
        "trials": "/trials",
        "trial": f"/trial/{ids['trial']}",
        "setup": "/setup",
        "thing": f"/thing/{ids['Old Bess']}",
        "devices": "/devices",
    }


@pytest.mark.parametrize("attack", ATTACKS)
def test_addresses_that_would_be_code(desk: Visitor, attack: str) -> None:
    """What stands after a question mark, as people are sent it in links."""
    for path in ("/checks", "/log", f"/combine/{desk.book.ids['Old Bess']}", f"/season/{desk.book.ids['2026']}",
                 f"/trial/{desk.book.ids['trial']}"):  # fmt: skip
        names = (
            "season",
            "field",
            "combine",
            "from",
            "hour_cost",
            "now",
            "crop",
            "by",
            "source",
            "catch-1-amount",
            "at",
        )
        page = desk.get(path, **dict.fromkeys(names, attack))
        assert page.status == 200, (path, page.words[:300])
        assert scripts(page) == scripts(desk.get(path))
        assert "<script>alert" not in page.text
        assert "<img src=x" not in page.text


def test_a_sheet_that_would_be_code(desk: Visitor) -> None:
    evil = "<script>alert(1)</script>"
    sheet = f"Date,{evil},Weight\n2026-08-21,{evil},12.5 g\n2026-08-22,=cmd|x,9 g\n".encode()
    page = desk.post("/import", {}, files={"file": (evil, sheet, "text/csv")})
    assert page.status == 303
    columns = desk.get(page.to)
    assert skeleton(columns)["script"] == 1
    told = desk.post(page.to, {**columns.tags.values, "fixed": f"note = {evil}", "action": "dry"})
    assert skeleton(told)["script"] == 1
    assert "<script>alert" not in told.text
    for bad in (b"", b"\x00" * 50, b"PK\x03\x04" + b"x" * 40, b"one column\n1\n"):
        assert desk.post("/import", {}, files={"file": ("x.csv", bad, "text/csv")}).status == 422
