"""What is kept of an open book is given again until a record comes in, and is no other book's, not even a copy's."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from chaffinch.book.desk import open_desk
from chaffinch.book.kept import Kept
from chaffinch.book.pace.crop_points import crop_points
from chaffinch.book.pace.curves import curves
from chaffinch.book.things import edit_label, find_thing
from season_book import start


def test_until_the_book_goes_on(tmp_path: Path) -> None:
    book = start(tmp_path / "a.chaffinch")
    for hour, speed in ((8, 5.0), (9, 7.0)):
        book.check("Old Bess", 10, hour, speed_kmh=speed)
    desk = book.desk
    combine = find_thing(desk, "combine", "Old Bess")
    first = curves(desk, combine, "canola")
    assert curves(desk, combine, "canola") is first
    assert crop_points(desk, "canola") is crop_points(desk, "Canola")
    assert curves(desk, combine, "canola", seed=2) is not first
    assert curves(desk, combine, "canola", joined=lambda point: point) is not first, "what a log says is no book's"
    book.check("Old Bess", 10, 10, speed_kmh=6.0)
    assert len(curves(desk, combine, "canola").own) == 3
    edit_label(desk, combine, "cut_width", "9 m")
    assert curves(desk, find_thing(desk, "combine", "Old Bess"), "canola") is not first


def test_a_copy_of_a_book_is_another(tmp_path: Path) -> None:
    book = start(tmp_path / "a.chaffinch")
    book.desk.store.close()
    shutil.copy(tmp_path / "a.chaffinch", tmp_path / "b.chaffinch")
    kept: Kept[str] = Kept(2)
    desks = [open_desk(str(tmp_path / name), device="test") for name in ("a.chaffinch", "b.chaffinch")]
    assert kept.ask(desks[0], "what", lambda: "a") == "a"
    assert kept.ask(desks[1], "what", lambda: "b") == "b"
    assert kept.ask(desks[0], "what", lambda: "again") == "a"
    for number in range(2):
        kept.ask(desks[0], number, lambda: "more")
    assert kept.ask(desks[0], "what", lambda: "again") == "again", "only the newest two are kept"
    for desk in desks:
        desk.store.close()


def test_an_error_is_not_kept(tmp_path: Path) -> None:
    desk = start(tmp_path / "a.chaffinch").desk
    kept: Kept[str] = Kept(2)

    def broken() -> str:
        raise ValueError("no")

    with pytest.raises(ValueError, match="no"):
        kept.ask(desk, "what", broken)
    assert kept.ask(desk, "what", lambda: "yes") == "yes"
