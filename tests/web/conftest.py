"""The application for one book, asked through a client in the same process."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parents[1] / "store"))

from phone_world import Farm, a_browser, a_farm
from playwright.sync_api import Browser
from served import Served


@pytest.fixture
def serve_book(tmp_path: Path) -> Iterator[Callable[..., Served]]:
    """Serve the book at an address; more than one may be served in a test."""
    with ExitStack() as stack:
        yield lambda address, **more: Served.of(address, tmp_path / "keep", stack, **more)


@pytest.fixture
def served(serve_book: Callable[..., Served], tmp_path: Path) -> Served:
    """The invented farm's book in a file, served."""
    return serve_book(str(tmp_path / "farm.chaffinch"))


@pytest.fixture
def served_on_each(serve_book: Callable[..., Served], new_address: Callable[[], str]) -> Served:
    """The same on each database in turn."""
    return serve_book(new_address())


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    """A real browser, for phones and desks."""
    with a_browser() as browser:
        yield browser


@pytest.fixture
def farm(tmp_path: Path) -> Iterator[Farm]:
    """The invented farm with a book of its own, served."""
    with a_farm(tmp_path) as farm:
        yield farm
