"""Run the command line in this process and look at what a person would see."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from farm_book import live_there

from chaffinch.cli.main import run


@dataclass(frozen=True)
class Ran:
    status: int
    out: str
    err: str

    @property
    def data(self) -> Any:
        return json.loads(self.out)


@pytest.fixture
def chaffinch(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Callable[..., Ran]:
    monkeypatch.setenv("COLUMNS", "80")

    def call(*arguments: str) -> Ran:
        status = run(list(arguments))
        captured = capsys.readouterr()
        return Ran(status, captured.out, captured.err)

    return call


@pytest.fixture
def check_file(tmp_path: Path) -> Callable[[str], str]:
    def write(text: str, name: str = "check.toml") -> str:
        path = tmp_path / name
        path.write_text(text, encoding="utf-8")
        return str(path)

    return write


@pytest.fixture
def farm(chaffinch: Callable[..., Ran], tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The invented farm's book in a folder of its own, the current one; UTC, and the year 2030 by the clock."""
    monkeypatch.setenv("TZ", "UTC")
    # The hours in these tests must not turn into the future by the clock of whoever runs them.
    monkeypatch.setattr("chaffinch.cli.options.times.clock", lambda: datetime(2030, 1, 1, tzinfo=UTC))
    live_there(chaffinch, tmp_path, monkeypatch)
    return tmp_path
