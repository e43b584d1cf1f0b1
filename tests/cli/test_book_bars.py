"""A bar moves on a terminal once a job has taken a second, and never in a pipe."""

from __future__ import annotations

import sys

import pytest

pytestmark = pytest.mark.usefixtures("farm")


def test_a_bar_is_drawn_on_a_terminal_after_a_second_and_never_in_a_pipe(monkeypatch, capsys):
    """The first steps draw nothing; after a second a bar appears on stderr, only where that is a terminal."""
    from chaffinch.cli import book_which

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
