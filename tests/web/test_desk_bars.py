"""A reading of the loss monitor at the desk: found, corrected, taken back, put back; every version stays readable."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from desk_farm import Page, Visitor, desk_farm

from chaffinch.book.checks.bars import bars, bars_beside, find_bar, mend_bar
from chaffinch.book.checks.held import find_check
from chaffinch.book.checks.looking import Kept


@pytest.fixture(scope="module")
def desk(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Visitor]:
    with desk_farm(tmp_path_factory.mktemp("bars")) as visitor:
        yield visitor


def form_of(page: Page) -> dict[str, str]:
    """What a browser would send back of the page's form, hidden fields too."""
    hidden = {g["name"]: g["value"] for t, g in page.tags.elements if t == "input" and g.get("type") == "hidden"}
    return {**hidden, **page.tags.values}


def beside(desk: Visitor) -> list[Kept]:
    return bars_beside(desk.book.desk, find_check(desk.book.desk, desk.book.ids["barred"]))


def test_a_reading_is_found_corrected_taken_back_and_put_back(desk: Visitor) -> None:
    check = f"/check/{desk.book.ids['barred']}"
    path = desk.get(check).tags.link("/bar/")
    page = desk.get(path)
    assert "60, counted per area" in page.words
    assert page.value("reading") == "60"

    saved = desk.post(path, form_of(page) | {"reading": "61,5", "reason": "read through dust", "action": "save"})
    assert saved.status == 303, saved.words
    assert [one.body["reading"] for one in beside(desk)] == [61.5]
    page = desk.get(path)  # the first version's address leads there too
    assert "read through dust" in page.words
    assert "reading: 60 → 61.5" in page.words
    assert f'href="{check}"' in page.text

    gone = desk.post(path, form_of(page) | {"reason": "the other machine's", "action": "back"})
    assert gone.status == 303, gone.words
    assert beside(desk) == []
    assert '"/bar/' not in desk.get(check).text
    page = desk.get(gone.to)
    assert "It was taken back" in page.words
    assert "61.5" in page.words
    assert "counted not told" not in page.words
    assert 'class="flag">counts<' not in page.text
    assert page.text.count('class="flag">taken back<') == 1
    assert 'name="reading"' not in page.text
    machine = desk.get(f"/combine/{desk.book.ids['Young Bess']}").words
    assert (machine.count("counted per area"), machine.count("beside no check")) == (4, 2)

    back = desk.post(gone.to, form_of(page) | {"reason": "it was this one after all", "action": "again"})
    assert back.status == 303, back.words
    assert [one.body["reading"] for one in beside(desk)] == [61.5]
    assert desk.get(back.to).words.count("written by desk browser") == 3
    assert desk.get(back.to).text.count('class="flag">counts<') == 1
    assert len(bars(desk.book.desk)) == 5


@pytest.mark.parametrize(
    ("sent", "line"),
    [
        ({"reading": "70"}, "reason: is missing"),
        ({"reading": "lots", "reason": "why"}, "is not a number"),
        ({"reading": "-1", "reason": "why"}, "cannot be meant"),
        ({"per": "moon", "reason": "why"}, "is no way to count"),
        ({"speed": "7 kg", "reason": "why"}, "speed"),
        ({"reason": "why"}, "does not differ"),
        ({"action": "again", "reason": "why"}, "was not taken back"),
    ],
)
def test_what_cannot_be_used_is_refused_and_nothing_is_written(desk: Visitor, sent: dict[str, str], line: str) -> None:
    last = bars(desk.book.desk)[0].kept
    page = desk.get(f"/bar/{last.id}")
    refused = desk.post(f"/bar/{last.id}", {"action": "save", **form_of(page), **sent})
    assert refused.status == 422
    assert line in refused.words
    assert bars(desk.book.desk)[0].kept == last


def test_a_reading_corrected_meanwhile_is_asked_about(desk: Visitor) -> None:
    last = bars(desk.book.desk)[1].kept
    page = desk.get(f"/bar/{last.id}")
    found = find_bar(desk.book.desk, last.id)
    assert found is not None
    mend_bar(desk.book.desk, found, {"reading": 33.0}, reason="by another browser")
    sent = form_of(page) | {"reading": "35", "reason": "mine", "action": "save"}
    asked = desk.post(f"/bar/{last.id}", sent)
    assert asked.status == 409
    assert "corrected meanwhile" in asked.words
    assert desk.post(f"/bar/{last.id}", form_of(asked) | {"action": "save"}).status == 303
    assert bars(desk.book.desk)[1].kept.body["reading"] == 35.0


def test_readers_look_and_what_is_not_there_is_said(desk: Visitor) -> None:
    one = bars(desk.book.desk)[-1].kept.id
    page = desk.as_role("reader").get(f"/bar/{one}")
    assert page.status == 200
    assert 'name="reason"' not in page.text
    for missing in ("0" * 36, "no", desk.book.ids["barred"]):
        assert desk.get(f"/bar/{missing}").status == 404
