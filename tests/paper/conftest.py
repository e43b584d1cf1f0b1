"""An invented season on paper: two fields, checks with and without the header, a trial, a correction."""

from __future__ import annotations

import os
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from paper_farm import fill

from season_book import SeasonBook, start


@pytest.fixture(scope="session")
def season(tmp_path_factory: pytest.TempPathFactory) -> Iterator[SeasonBook]:
    """The filled book, read by every test and changed by none; hours in UTC."""
    before = os.environ.get("TZ")
    os.environ["TZ"] = "UTC"
    time.tzset()
    book = start(tmp_path_factory.mktemp("paper") / "season.chaffinch")
    fill(book)
    yield book
    book.desk.store.close()
    if before is None:
        del os.environ["TZ"]
    else:
        os.environ["TZ"] = before
    time.tzset()


@pytest.fixture
def empty(tmp_path: Path) -> Iterator[SeasonBook]:
    """The same farm without a check."""
    book = start(tmp_path / "empty.chaffinch")
    yield book
    book.desk.store.close()
