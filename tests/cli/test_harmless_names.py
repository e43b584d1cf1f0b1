"""Names come out of files: none of them may move the cursor, ring, or turn a line around."""

from __future__ import annotations

from pathlib import Path

import pytest

from chaffinch.cli.main import run
from chaffinch.cli.terminal.page import harmless

ODD = "\x1b[2JOld\x07 B\u202eess\x9b"


def test_colour_and_lines_stay() -> None:
    assert harmless("\x1b[1mstrong\x1b[0m\n\tB\xe8s \u0628\u0633") == "\x1b[1mstrong\x1b[0m\n\tB\xe8s \u0628\u0633"
    assert harmless(ODD) == "[2JOld Bess"


def test_a_log_cannot_command_a_terminal(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    rows = [f"{k},{-104.6 + k * 2e-5},50.4,6,9,{ODD}" for k in range(30)]
    path = tmp_path / "log.csv"
    path.write_text(
        "Elapsed (s),Longitude,Latitude,Speed (km/h),Width (m),Machine\n" + "\n".join(rows), encoding="utf-8"
    )
    assert run(["fieldlog", "inspect", str(path)]) == 0
    assert run(["fieldlog", "inspect", str(path), "--zone", ODD, "--column", f"{ODD}=x:y"]) == 2
    out, err = capsys.readouterr()
    assert "Old Bess" in out
    assert not set("\x1b\x07\u202e\x9b") & set(out + err)
