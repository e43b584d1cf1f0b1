"""Where the store tests are and where they put their books."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from itertools import count
from pathlib import Path

import pytest
from farm_records import begin

from chaffinch.store.opening import Store
from chaffinch.sync.envelope import Envelope

NewAddress = Callable[[], str]
OnDatabase = Callable[[str], str]
NewBook = Callable[[Iterable[Envelope]], Store]


@pytest.fixture(autouse=True)
def here(tmp_path_factory: pytest.TempPathFactory, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The folder the program runs in, where the copy of an older book on a server is put; never the project's own."""
    folder = tmp_path_factory.mktemp("here")
    monkeypatch.chdir(folder)
    return folder


@pytest.fixture
def place(tmp_path: Path, request: pytest.FixtureRequest) -> OnDatabase:
    """Gives addresses where a book may be started, on a database that is named."""
    numbers = count(1)

    def new(kind: str) -> str:
        if kind == "postgresql":
            address: str = request.getfixturevalue("postgres").new_book()
            return address
        return str(tmp_path / f"book-{next(numbers)}.chaffinch")

    return new


@pytest.fixture
def new_book(new_address: NewAddress) -> NewBook:
    """Starts a book with records in it, on each database in turn."""
    return lambda items: begin(new_address(), items)
