"""Do the benches still run, and does the command import only what it needs? No clock is held to anything here."""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
BENCH = ROOT / "bench"
EXAMPLE = ROOT / "examples" / "one-pan.toml"


def bench(name: str, *arguments: str) -> subprocess.CompletedProcess[str]:
    # -W error: what a bench does on a newer library must not be a warning today.
    return subprocess.run(
        [sys.executable, "-W", "error", "-X", "utf8", str(BENCH / name), *arguments],
        capture_output=True,
        text=True,
        encoding="utf-8",
        check=False,
    )


def test_every_bench_is_run_by_some_test() -> None:
    scripts = {path.name for path in BENCH.glob("*.py")}
    run = set()
    called = re.compile(r'(?:bench\(\s*|(?:BENCH|"bench") / )"(\w+\.py)"')
    # Some are imported and called, without a process of their own.
    imported = re.compile(r'(?:import_module\("|^ *import )(\w+)', re.MULTILINE)
    for path in Path(__file__).parent.rglob("test_*.py"):
        text = path.read_text(encoding="utf-8")
        run |= set(called.findall(text))
        names = {name for name in imported.findall(text) if re.search(rf"\b{name}\.\w+\(", text)}
        run |= {f"{name}.py" for name in names} & scripts
    simulators = {"worlds.py", "planted_machines.py"}
    assert scripts - simulators == run - simulators


def test_every_bench_stands_on_the_page() -> None:
    page = (BENCH / "README.md").read_text(encoding="utf-8")
    assert [path.name for path in BENCH.glob("*.py") if f"`{path.name}`" not in page] == []


@pytest.mark.parametrize("jobs", ["1", "2"])
def test_calibration_prints_a_table(jobs: str) -> None:
    done = bench("calibration.py", "--checks", "60", "--jobs", jobs, "--only", "faba bean counted")
    assert done.returncode == 0, done.stderr
    assert done.stdout.startswith("As assumed\n")
    row = next(line for line in done.stdout.splitlines() if line.startswith("3 frames of 10 ft², faba bean counted"))
    assert re.search(r"standing +\d+\.\d ± \d+\.\d %", row)
    assert re.search(
        r"60 checks per scenario, seed 1, \d+ s with \d job\(s\); as assumed: \d of \d within 87 to 93 %", done.stdout
    )


def test_calibration_gives_the_same_digits_for_a_seed_however_it_is_run() -> None:
    def digits(*arguments: str) -> list[str]:
        done = bench("calibration.py", "--checks", "60", *arguments)
        return [line for line in done.stdout.splitlines() if line.startswith("| 1 frame of 10 ft²")]

    alone = digits("--markdown", "--only", "1 frame of", "--jobs", "1")
    assert len(alone) == 1
    assert alone == digits("--markdown", "--only", "1 frame of", "--jobs", "2")
    assert alone != digits("--markdown", "--only", "1 frame of", "--seed", "2")


def test_calibration_refuses_a_scenario_it_does_not_know() -> None:
    done = bench("calibration.py", "--only", "no such thing")
    assert done.returncode == 2
    assert "no such thing" in done.stderr


def test_cold_start_prints_a_ratio_and_the_bar() -> None:
    done = bench("cold_start.py", "--pairs", "1", "--file", str(EXAMPLE))
    assert done.returncode == 0, done.stderr
    ratio = re.search(r"^ratio +(\d+\.\d\d) ", done.stdout, re.MULTILINE)
    assert ratio is not None
    assert float(ratio[1]) > 0
    assert re.search(r"^bar +<= +1\.60 +(met|NOT MET);", done.stdout, re.MULTILINE)


def test_warm_estimate_prints_ratios_and_the_bar() -> None:
    done = bench("warm_estimate.py", "--repeats", "1")
    assert done.returncode == 0, done.stderr
    rows = re.findall(r"^(\w.*?) +(\d+\.\d\d) +(\d+\.\d\d)( .*)?$", done.stdout, re.MULTILINE)
    assert len(rows) >= 5
    assert all(float(ms) > 0 and float(ratio) > 0 for _, ms, ratio, _ in rows)
    assert {name.split(",")[0] for name, *_ in rows} == {"evidence and estimate", "answer", "locate"}
    assert "<= 10 ms" in done.stdout


def test_sampler_agreement_prints_a_line_for_each_posterior() -> None:
    done = bench("sampler_agreement.py", "--steps", "200", "--only", "one source", "--markdown")
    assert done.returncode == 0, done.stderr
    assert re.search(r"^\| one source, three pans (\| \d\.\d{3} ){3}\| (yes|NO) \|$", done.stdout, re.MULTILINE)


# --- imports ------------------------------------------------------------------------------------------------------

NOT_ON_THE_WAY = {
    # plotting, tables and units
    "matplotlib", "PIL", "reportlab", "pandas", "pint", "uncertainties", "emcee",
    # web and network
    "fastapi", "flask", "starlette", "uvicorn", "jinja2", "requests", "httpx", "http.client", "urllib.request", "ssl",
    # books of records
    "sqlalchemy", "sqlite3", "psycopg",
    # slow corners of scipy
    "scipy.stats", "scipy.optimize", "scipy.integrate", "scipy.interpolate", "scipy.signal", "scipy.ndimage",
    # not needed to answer
    "multiprocessing", "unittest", "hypothesis", "pytest",
}  # fmt: skip


def imported_by(code: str) -> set[str]:
    """Names of all modules a fresh interpreter holds after ``code``."""
    mark = "modules:"
    done = subprocess.run(
        [sys.executable, "-X", "utf8", "-c", f"{code}\nimport sys\nprint({mark!r}, *sorted(sys.modules))"],
        capture_output=True,
        text=True,
        encoding="utf-8",
        check=False,
    )
    assert done.returncode == 0, done.stderr
    return set(done.stdout.rsplit(mark, 1)[1].split())


def test_check_imports_only_what_it_needs() -> None:
    seen = imported_by(f"from chaffinch.cli.main import run\nassert run(['check', {str(EXAMPLE)!r}]) == 0")
    assert {"numpy", "scipy.special", "click", "chaffinch.engine.estimate"} <= seen
    # What numpy and scipy.special bring along is theirs to answer for.
    seen -= imported_by("import numpy, scipy.special")
    assert sorted(seen & NOT_ON_THE_WAY) == []


def test_a_library_on_the_way_would_be_noticed() -> None:
    assert "sqlite3" in imported_by("import sqlite3") & NOT_ON_THE_WAY


def test_check_imports_no_other_command() -> None:
    seen = imported_by(f"from chaffinch.cli.main import run\nassert run(['check', {str(EXAMPLE)!r}]) == 0")
    from chaffinch.cli.main import COMMANDS

    others = {f"chaffinch.cli.{name}" for name in COMMANDS} - {"chaffinch.cli.check"}
    assert sorted(seen & others) == []


def test_import_chaffinch_alone_imports_no_numpy() -> None:
    assert "numpy" not in imported_by("import chaffinch")
