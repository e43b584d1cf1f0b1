"""Does the bench that holds the demo book's answers against its truth still run?"""

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


def test_demo_truth_prints_what_was_held_and_what_each_way_costs() -> None:
    done = bench("demo_truth.py", "--books", "1", "--only", "canola", "--markdown")
    assert done.returncode == 0, done.stderr
    costs = dict(re.findall(r"^\| (best pace|keep 1 bu/ac|keep 1 %|never change) \| (\d+\.\d\d) ", done.stdout, re.M))
    assert len(costs) == 4
    # The seed is fixed; on the page, over eight books, the best pace costs a tenth of the next best way.
    assert float(costs["best pace"]) < min(float(costs[way]) for way in costs if way != "best pace")
    assert re.search(r"^\| best speed \| \d+\.\d ± \d+\.\d % \|$", done.stdout, re.M)
    assert re.search(r"stands on an end of those that may be recommended in \d; closed ranges", done.stdout)
    assert "3 pairs of combine and crop in 1 books" in done.stdout
