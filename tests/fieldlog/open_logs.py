"""Where real open logs lie, if the machine has them: never in the project, always named by the surroundings."""

from __future__ import annotations

import os
from pathlib import Path

import pytest


def open_log(name: str) -> Path:
    """A file or folder of the open logs; skips the test where there are none."""
    place = os.environ.get("CHAFFINCH_OPEN_LOGS")
    if not place:
        pytest.skip("no open logs here (set CHAFFINCH_OPEN_LOGS to their folder)")
    path = Path(place) / name
    if not path.exists():
        pytest.skip(f"{name} is not among the open logs here")
    return path
