"""Workers of a folder of logs: one that the system ends stops the work with a word, and never hangs it."""

from __future__ import annotations

import os
import signal
from pathlib import Path

import pytest

from chaffinch.errors import InputError
from chaffinch.fieldlog.each import for_each


def ended(path: Path) -> str:
    """What a worker does with a log, or what is done to it."""
    if path.name == "far too large":
        os.kill(os.getpid(), signal.SIGKILL)
    return path.name


def test_a_worker_that_is_ended_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.syspath_prepend(str(Path(__file__).parent))
    logs = [Path(name) for name in ("a", "b", "far too large", "c")]
    with pytest.raises(InputError, match=r"lost a worker in mid work, after \d of 4 logs .* give fewer"):
        for_each(ended, logs, 2)
    assert for_each(ended, logs[:2], 2) == ["a", "b"]
