"""A run without a PostgreSQL server is no proof: in CI it fails, on a desk it says what was left out."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

NO_SERVER = "import postgres_server\npostgres_server.binaries = lambda: None\n"
TESTS = Path(__file__).parents[1]


@pytest.mark.parametrize("ci", ["true", ""], ids=["in CI", "on a desk"])
def test_without_a_server_ci_fails(here: Path, ci: str) -> None:
    (here / "no_server.py").write_text(NO_SERVER)
    one = f"{Path(__file__).parent / 'test_store_verify.py'}::test_counts_what_is_there"
    path = os.pathsep.join((str(here), str(TESTS)))
    ran = subprocess.run(
        [sys.executable, "-m", "pytest", "-q", "-n", "0", "-p", "no_server", "-p", "no:cacheprovider", one],
        cwd=TESTS.parent, env={**os.environ, "PYTHONPATH": path, "CI": ci}, capture_output=True, text=True, check=False,
    )  # fmt: skip
    said = ran.stdout
    assert "no PostgreSQL server programs here" in said, said + ran.stderr
    assert "1 passed" in said
    assert (ran.returncode != 0) == (ci == "true")
    assert ("1 skipped" in said) == (ci == "")
