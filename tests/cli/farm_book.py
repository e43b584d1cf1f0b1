"""A small book with one invented farm, made through the commands themselves."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

BOOK = "larkhollow.chaffinch"

CHECK = """
crop = "canola"
country = "CA"
yield = "45 bu/ac"
price = "14.50 /bu"
limit = "1 bu/ac"
when = "2026-08-14T16:40Z"
[field]
name = "Long Hollow"
[combine]
name = "Old Bess"
cut_width = "40 ft"
drop_width = "66 in"
[[catch]]
place = "discharge"
pan = "4 ft2"
amount = "12.5 g"
step = "0.1 g"
"""

SETTING_UP = (
    ("new", BOOK, "--title", "Larkhollow"),
    ("add", "farm", "Larkhollow", "--set", "country=CA", "--set", "report_in=bu/ac", "--set", "currency=$"),
    ("add", "season", "2026"),
    ("add", "combine", "Old Bess", "--set", "cut_width=40 ft", "--set", "drop_width=66 in"),
    (
        *("add", "field", "Long Hollow", "--set", "season=2026", "--set", "crop=canola", "--set", "area=62 ha"),
        *("--set", "price=14.50 /bu", "--set", "limit=1 bu/ac", "--set", "yield_expected=45 bu/ac"),
    ),
    ("add", "pan", "tray", "--set", "area=4 ft2"),
)


def set_up(chaffinch: Callable[..., Any], folder: Path) -> None:
    """Start the farm's book in ``folder``, which is the current one, and write ``check.toml`` beside it."""
    for arguments in SETTING_UP:
        ran = chaffinch("book", *arguments)
        assert ran.status == 0, ran.err
    (folder / "check.toml").write_text(CHECK, encoding="utf-8")


def logged(chaffinch: Callable[..., Any], *more: str) -> str:
    """Log ``check.toml`` and return the id of the record."""
    ran = chaffinch("book", "log", "check.toml", "--json", *more)
    assert ran.status == 0, ran.err
    return str(ran.data["id"])


def live_there(chaffinch: Callable[..., Any], folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Make ``folder``, a test's own, the current one, with the farm's book as the only one and no other named.

    The commands set the book up once for each process that runs tests; every later test gets a copy of that file.
    """
    monkeypatch.chdir(folder)
    monkeypatch.delenv("CHAFFINCH_BOOK", raising=False)
    shelf = folder.parent / "the-farm-as-set-up"
    if shelf.exists():
        shutil.copytree(shelf, folder, dirs_exist_ok=True)
        return
    set_up(chaffinch, folder)
    shutil.copytree(folder, shelf)
