"""Does the bench of the server under load still run, and does it look at what it measured? No clock is held to it."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

from postgres_server import binaries

BENCH = Path(__file__).resolve().parent.parent / "bench"


@pytest.mark.parametrize("kind", ["SQLite", "PostgreSQL"])
def test_server_load_prints_waits_of_every_kind(kind: str) -> None:
    if kind == "PostgreSQL" and binaries() is None and os.environ.get("CI") != "true":
        pytest.skip("no PostgreSQL server programs here")
    other = "--no-postgresql" if kind == "SQLite" else "--no-sqlite"
    done = subprocess.run(
        [
            sys.executable,
            "-X",
            "utf8",
            str(BENCH / "server_load.py"),
            "--phones",
            "3",
            "--checks",
            "2",
            "--pause",
            "0.01",
            other,
        ],
        capture_output=True,
        text=True,
        encoding="utf-8",
        check=False,
    )
    assert done.returncode == 0, done.stderr
    assert "3 phones, 2 checks each" in done.stdout
    rows = re.findall(rf"^\| {kind}, ([^|]+) \| (\d+) \| \d+ \| ([\d.]+) \| ([\d.]+) \| ([\d.]+) \|", done.stdout, re.M)
    assert [(name, count) for name, count, *_ in rows] == [
        ("who am I, 0.01 s apart", "6"),
        ("a check, 0.01 s apart", "6"),
        ("a check, without rest", "6"),
    ]
    assert all(0 < float(p50) <= float(p95) <= float(p99) for _, _, p50, p95, p99 in rows)


def test_a_record_that_was_confirmed_and_is_not_there_stops_the_bench(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The bench looks into the book afterwards; here it finds one record less than was confirmed."""
    monkeypatch.syspath_prepend(str(BENCH))
    import argparse

    import server_load
    from chaffinch.store import records

    options = argparse.Namespace(phones=1, checks=1, pause=0.0)
    plain = records.identities
    monkeypatch.setattr(records, "identities", lambda store: list(plain(store))[1:])
    with pytest.raises(SystemExit, match="4 records were confirmed, 3 are there"):
        server_load.run("SQLite", str(tmp_path / "farm.chaffinch"), tmp_path, options)


def test_the_times_of_pages_are_those_of_whole_pages(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """The bench on a book of a few checks: every page answers, and what is kept is not what is asked for first."""
    monkeypatch.syspath_prepend(str(BENCH))
    import page_times

    def small(arguments: list[str], **_: object) -> None:
        from desk_farm import fill

        from season_book import start

        book = start(Path(arguments[2]))
        fill(book)
        book.desk.store.close()

    monkeypatch.syspath_prepend(str(Path(__file__).parent / "web"))
    monkeypatch.setattr(page_times.subprocess, "run", small)
    monkeypatch.setattr(
        sys, "argv", ["page_times.py", "--only", "today", "--only", "a season", "--only", "log a check"]
    )
    page_times.main()
    rows = re.findall(r"^\| ([^|]+) \| (\d+) \| (\d+) \| (\d+) \| ([\d.–]+) \|$", capsys.readouterr().out, re.M)
    assert [(row[0], row[4] != "–") for row in rows] == [("today", True), ("log a check", False), ("a season", True)]
    assert all(float(row[1]) > 0 for row in rows)
