"""Long answers: worked out once, kept until the book goes on, told how far they are, and an error is not kept."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from pathlib import Path

import pytest
from desk_farm import desk_farm

from chaffinch.book.desk import start_book
from chaffinch.book.things import add_thing
from chaffinch.book.version import book_version
from chaffinch.web.pages.answers import KEPT, MOST_WAITING, Longer, Working


def test_one_question_is_worked_out_once() -> None:
    longer, calls = Longer(patience_s=30.0), []

    def work(step: object) -> int:
        calls.append(step)
        return 7

    assert [longer.ask("a", work) for _ in range(3)] == [7, 7, 7]
    assert len(calls) == 1
    assert longer.ask("b", work) == 7
    assert len(calls) == 2


def test_who_does_not_wait_is_told_how_far_it_is() -> None:
    longer, go, told = Longer(patience_s=0.0), threading.Event(), threading.Event()

    def work(step: object) -> str:
        assert callable(step)
        step(3, 10)
        told.set()
        assert go.wait(30)
        return "done"

    longer.ask("a", work)
    assert told.wait(30)
    assert longer.ask("a", work) == Working(3, 10)
    go.set()
    longer.patience_s = 30.0
    assert longer.ask("a", work) == "done"


def test_an_error_is_told_and_tried_again() -> None:
    longer, turns = Longer(patience_s=30.0), iter((True, False))

    def work(_: object) -> int:
        if next(turns):
            raise ZeroDivisionError
        return 1

    with pytest.raises(ZeroDivisionError):
        longer.ask("a", work)
    assert longer.ask("a", work) == 1


def test_a_timeout_of_the_work_itself_is_its_own() -> None:
    def work(_: object) -> int:
        raise TimeoutError("the book's server")

    with pytest.raises(TimeoutError, match="server"):
        Longer(patience_s=30.0).ask("a", work)


def test_only_so_many_are_kept() -> None:
    longer, calls = Longer(patience_s=30.0), []
    for turn in range(KEPT + 5):
        longer.ask(turn, lambda _, turn=turn: calls.append(turn))
    longer.ask(0, lambda _: calls.append("again"))
    assert calls[-1] == "again"
    longer.ask(KEPT + 4, lambda _: calls.append("never"))
    assert calls[-1] == "again"


def test_questions_that_nobody_looks_after_keep_nobody_waiting() -> None:
    """A hundred other figures in a row: few of them are worked out, and whoever keeps looking gets the answer."""
    longer, go, worked = Longer(patience_s=0.0), threading.Event(), []

    def ask(key: str) -> object:
        def work(_: object) -> str:
            go.wait(30)
            worked.append(key)
            return key

        return longer.ask(key, work)

    assert ask("first") == Working(0, 0)
    for n in range(100):
        assert ask("mine") == Working(0, 0)
        assert ask(f"whim {n}") == Working(0, 0)
    go.set()
    while isinstance(ask("mine"), Working):
        time.sleep(0.01)
    while isinstance(ask("whim 99"), Working):
        time.sleep(0.01)
    assert worked[:2] == ["first", "mine"]
    assert len(worked) <= 2 + MOST_WAITING


def test_whoever_waits_for_a_question_that_was_let_go_is_not_failed() -> None:
    longer, go, told = Longer(patience_s=20.0), threading.Event(), []
    quick = Longer(patience_s=0.0, _jobs=longer._jobs, _lock=longer._lock, _hands=longer._hands)
    quick.ask("first", lambda _: go.wait(30))
    waits = threading.Thread(target=lambda: told.append(longer.ask("mine", lambda _: "answer")))
    waits.start()
    while "mine" not in longer._jobs:
        time.sleep(0.01)
    for n in range(MOST_WAITING + 1):
        quick.ask(n, lambda _: None)
    waits.join(10)
    assert told == [Working(0, 0)]
    go.set()


def test_each_database_tells_its_version(new_address: Callable[[], str]) -> None:
    desk = start_book(new_address(), title="Larkhollow")
    before = book_version(desk)
    add_thing(desk, "season", {"name": "2026"})
    assert book_version(desk) != before
    desk.store.close()


def test_the_version_of_a_book_moves_with_every_record(tmp_path: Path) -> None:
    with desk_farm(tmp_path, filled=False) as desk:
        before = book_version(desk.book.desk)
        assert book_version(desk.book.desk) == before
        desk.book.add("pan", "tray", area="1 m2")
        after = book_version(desk.book.desk)
        assert after != before
        # Two records under one id: nothing is added to the log, and the version moves all the same.
        sealed = desk.book.desk.seal("note", {"text": "one"})
        other = desk.book.desk.seal("note", {"text": "two"})
        clash = type(sealed)(
            sealed.id, other.kind, other.schema, other.device, other.device_time, other.body, other.hash
        )
        desk.book.desk.keep([sealed])
        before = book_version(desk.book.desk)
        desk.book.desk.keep([clash])
        assert book_version(desk.book.desk) != before


def test_the_newest_season_is_summed_up_before_anybody_asks(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from chaffinch.web.pages import season

    with desk_farm(tmp_path) as visitor:
        plain, asked = season.ledger, []
        monkeypatch.setattr(
            season, "ledger", lambda desk, one, **more: asked.append(one.name) or plain(desk, one, **more)
        )
        season.look_ahead(visitor.app)
        assert asked == ["2026"]
        page = visitor.get(f"/season/{visitor.book.ids['2026']}")
        assert page.status == 200
        assert asked == ["2026"]


def test_looking_ahead_in_an_empty_book_is_nothing(tmp_path: Path) -> None:
    from chaffinch.web.pages import season

    with desk_farm(tmp_path, filled=False) as visitor:
        season.look_ahead(visitor.app)
        assert visitor.get("/today").status == 200
