"""Do the benches of the curves still run, in a tiny form?"""

from __future__ import annotations

import importlib.util
import re
import subprocess
import sys
from pathlib import Path

import pytest

BENCH = Path(__file__).resolve().parent.parent / "bench"


def bench(name: str, *arguments: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-X", "utf8", str(BENCH / name), *arguments],
        capture_output=True,
        text=True,
        encoding="utf-8",
        check=False,
    )


def test_response_worlds_prints_shares() -> None:
    done = bench("response_worlds.py", "--worlds", "10", "--jobs", "1", "--only", "8 checks")
    assert done.returncode == 0, done.stderr
    assert re.search(r"8 checks", done.stdout)
    assert re.search(r"\d+\.\d", done.stdout)


def test_response_speed_prints_the_growth() -> None:
    done = bench("response_speed.py", "--largest", "100", "--only", "growth")
    assert done.returncode == 0, done.stderr
    assert "100" in done.stdout


def test_response_nuts_agrees_where_the_library_is_installed() -> None:
    if importlib.util.find_spec("numpyro") is None:
        pytest.skip("numpyro is a library for this bench alone")
    done = bench("response_nuts.py", "--checks", "6", "--draws", "200", "--repeats", "1")
    assert done.returncode == 0, done.stderr
