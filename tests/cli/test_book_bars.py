"""A bar moves on a terminal once a job has taken a second, and never in a pipe."""

from __future__ import annotations

import sys
from contextlib import contextmanager
from threading import Event

import pytest

from chaffinch.cli.options import which_book as book_which

pytestmark = pytest.mark.usefixtures("farm")


def test_a_bar_is_drawn_on_a_terminal_after_a_second_and_never_in_a_pipe(monkeypatch, capsys):
    """The first steps draw nothing; after a second a bar appears on stderr, only where that is a terminal."""
    now = iter([0.0, 0.1, 2.0, 3.0, 4.0])
    monkeypatch.setattr(book_which.time, "monotonic", lambda: next(now))
    with book_which.progress("records") as step:
        step(1, 4)
    assert capsys.readouterr().err == ""

    monkeypatch.setattr(sys.stderr, "isatty", lambda: True)
    now = iter([0.0, 0.1, 2.0])
    monkeypatch.setattr(book_which.time, "monotonic", lambda: next(now, 9.0))
    with book_which.progress("records") as step:
        step(1, 4)
        assert capsys.readouterr().err == ""
        step(2, 4)
        step(3, 4)
        step(4, 4)
    captured = capsys.readouterr()
    assert "records" in captured.err
    assert "100%" in captured.err
    assert captured.out == ""


def test_reading_and_writing_a_sheet_move_the_bar(chaffinch, farm, monkeypatch):
    """Every long part of an import tells how far it is, and ends at the whole."""
    head = "Date,Field,Combine,Crop,Place,Pan (ft2),Weight (g),Speed (mph)\n"
    rows = "".join(f"2025-08-21,Mill,Old Bess,canola,discharge,4,12.5,{3 + n / 1000}\n" for n in range(620))
    (farm / "past.csv").write_text(head + rows, encoding="utf-8")
    told: dict[str, list[tuple[int, int]]] = {}

    @contextmanager
    def noted(label):
        yield lambda done, of: told.setdefault(label, []).append((done, of))

    monkeypatch.setattr("chaffinch.cli.book.importing.progress", noted)
    assert chaffinch("book", "import", "past.csv", "--zone", "UTC", "--json").status == 0

    for label in ("rows", "checks"):
        steps = told[label]
        assert len(steps) > 1
        assert steps == sorted(steps)
        assert steps[-1][0] == steps[-1][1]
        assert len({of for _, of in steps}) == 1


def test_before_the_first_step_and_after_the_last_the_seconds_are_counted(monkeypatch, capsys):
    """On a terminal nobody looks at a line that stands still; what no bar can show is cleared. In a pipe nothing."""
    monkeypatch.setattr(book_which, "BAR_AFTER_S", 0.01)
    with book_which.progress("copying"):
        pass
    assert capsys.readouterr().err == ""
    monkeypatch.setattr(sys.stderr, "isatty", lambda: True)
    told = Event()
    real = book_which.click.echo
    monkeypatch.setattr(book_which.click, "echo", lambda *a, **k: (real(*a, **k), told.set()))
    with book_which.progress("copying"):
        assert told.wait(60)  # a bound on hanging, not a measure of speed
    captured = capsys.readouterr()
    assert captured.err.startswith("\rcopying: 0 s")
    assert captured.err.endswith("\r")
    assert captured.out == ""

    monkeypatch.undo()
    now = [0.0]
    monkeypatch.setattr(book_which.time, "monotonic", lambda: now[0])
    moving = book_which._Moving("copying")
    now[0] = 2.0
    moving.step(1, 2)
    moving.step(2, 2)
    now[0] = 7.0
    moving.tick()
    assert moving._after_the_end() == "7 s"
