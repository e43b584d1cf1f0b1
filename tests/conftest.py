"""Where the tests keep their books: SQLite files and a real PostgreSQL server, the same tests on both."""

from __future__ import annotations

import os
import re
from collections.abc import Callable, Iterator
from itertools import count
from pathlib import Path

import pytest

from postgres_server import Server, binaries, put_away, serve

UNTRACED = re.compile(
    r"test_(bench\w*|calibration|\w+_against_mcmc|\w+_simulated|killed|server_killed|interleavings|demo_book|"
    r"desk_browser|phone_\w+|js_engine)"
)
"""Simulations, killed programs and browsers: tracing lengthens them by a third, and the lines they go through are held
by tests that are traced."""


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Leave the long ones out of the count of lines and branches."""
    for item in items:
        if UNTRACED.fullmatch(item.path.stem):
            item.add_marker(pytest.mark.no_cover)


@pytest.fixture(scope="session")
def postgres() -> Iterator[Server]:
    """A PostgreSQL server, one per test process; without the programs the test is skipped, in CI it fails."""
    if binaries() is None:
        missing = "no PostgreSQL server programs here (Debian: apt-get install postgresql)"
        if os.environ.get("CI") == "true":
            pytest.fail(missing)
        pytest.skip(missing)
    server = serve()
    yield server
    put_away(server)


@pytest.fixture(params=["sqlite", "postgresql"])
def new_address(request: pytest.FixtureRequest, tmp_path: Path) -> Callable[[], str]:
    """Gives addresses where a book may be started, on each database in turn."""
    if request.param == "postgresql":
        return request.getfixturevalue("postgres").new_book
    numbers = count(1)
    return lambda: str(tmp_path / f"book-{next(numbers)}.chaffinch")
