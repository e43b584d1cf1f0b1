"""Does the bench of paper still run, and print what its page shows?"""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

BENCH = Path(__file__).resolve().parent.parent / "bench"


def test_paper_speed_prints_its_table_and_the_growth() -> None:
    done = subprocess.run(
        [sys.executable, "-X", "utf8", str(BENCH / "paper_speed.py"), "--fields", "2", "--checks", "1", "--times", "1"],
        capture_output=True, text=True, encoding="utf-8", check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    for name in ("cab card, the first", "cab card", "field report", "season of 2 fields"):
        assert re.search(rf"^{re.escape(name)} +\d+\.\d\d +\d+\.\d\d\d +\d+\.\d +\d+ +\d+\.\d$", done.stdout, re.M), (
            name
        )
    assert re.search(r"^growth exponent from \d+ to \d+ pages: -?\d+\.\d\d$", done.stdout, re.M)
