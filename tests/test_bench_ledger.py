"""Does the bench of sums over fields still run, in a tiny form?"""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

BENCH = Path(__file__).resolve().parent.parent / "bench"


def bench(name: str, *arguments: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-X", "utf8", str(BENCH / name), *arguments],
        capture_output=True,
        text=True,
        encoding="utf-8",
        check=False,
    )


def test_ledger_coverage_prints_shares() -> None:
    none = ("--seasons", "0", "--sums", "0", "--tables", "0", "--combines", "0")
    done = bench("ledger_coverage.py", "--fields", "4", "--only", "2 checks", *none)
    assert done.returncode == 0, done.stderr
    assert re.search(r"2 checks", done.stdout)
    assert "4 fields a plan" in done.stdout
