"""The sheet asks in the order in which the program asks: the talk of ``book log`` and the desk's form."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from paper_farm import DAY, text_of

from chaffinch import web
from chaffinch.cli.book import talk as book_talk
from chaffinch.cli.book import terms as book_terms
from chaffinch.cli.terminal.page import Page
from chaffinch.errors import InputError
from chaffinch.paper.check_sheet import catch_lines, check_sheet, stop_lines
from season_book import SeasonBook

ANSWERS = {
    "at": "2026-08-14 16:40",
    "field": "Long Hollow", "crop": "canola", "combine": "Hired Hetty", "operator": "Ann", "speed": "6 km/h",
    "place": "discharge", "pan": "4 ft2", "step": "0.1 g",
}  # fmt: skip


def test_in_the_order_of_the_talk(empty: SeasonBook, monkeypatch: pytest.MonkeyPatch) -> None:
    empty.add("combine", "Hired Hetty", cut_width="40 ft")  # no width of its discharge: the talk has to ask
    asked: list[str] = []

    class Recorded(book_talk.Talk):
        def want(self, flag: str, question: str, read: Callable[[str], Any], **_more: Any) -> Any:
            key = flag.removeprefix("--")
            if key == "drop-width":
                return read("66 in")
            asked.append(key)
            return read(ANSWERS[key])

    def yes(question: str, **_more: Any) -> bool:
        assert "spreading" in question
        asked.append("spreading")
        return False

    def hour(question: str, read: Callable[[str], Any], **_more: Any) -> Any:
        assert question.startswith("When")
        asked.append("at")
        return read(ANSWERS["at"])

    monkeypatch.setattr(book_talk, "ask_yes", yes)
    monkeypatch.setattr(book_terms, "ask", hour)
    talk = Recorded(empty.desk, {}, Page(80, False, True))
    talk.typed = True
    talk.begin()
    on_paper = [line.key for line in (*stop_lines(), *catch_lines())]
    assert on_paper == asked
    assert talk.taken_at.startswith("2026-08-14T"), "the hour on the sheet is the check's, not that of the typing"


def test_in_the_order_of_the_form() -> None:
    template = (Path(web.__file__).parent / "templates" / "stop_form.html").read_text(encoding="utf-8")
    names = re.findall(r"parts\.(?:text|choice)\(form, '([a-z]+)'", template)
    on_paper = [line.key for line in stop_lines()]
    assert names[: len(on_paper)] == on_paper
    below = [line.key for line in catch_lines()]
    assert set(below) - set(names) == {"place", "pan"}, "these stand on each line of the form's catches"


@pytest.mark.parametrize("size", ["a4", "letter"])
def test_one_page_with_the_names_of_the_book(season: SeasonBook, size: str) -> None:
    done = check_sheet(size=size, date=DAY, desk=season.desk, farm="Larkhollow")
    assert done.pages == 1
    text = text_of(done.pdf)
    places = [text.index(line.label) for line in (*stop_lines(), *catch_lines())]
    assert places == sorted(places)
    for name in ("Larkhollow", "Long Hollow, Far Common", "Old Bess, Young Bess", "Ann, Tomas", "tray"):
        assert name in text
    assert text.index("engine off, key out") < places[0], "the cautions come first"


def test_many_names_are_cut_and_other_paper_is_refused(empty: SeasonBook) -> None:
    for number in range(30):
        empty.add("operator", f"Driver number {number}")
    done = check_sheet(size="letter", date=DAY, desk=empty.desk)
    assert done.pages == 1
    assert "…" in text_of(done.pdf)
    with pytest.raises(InputError, match="no size of a sheet"):
        check_sheet(size="a5", date=DAY)
