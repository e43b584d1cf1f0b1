"""The demo book as its script writes it, once for a whole run of the tests, however many processes run them."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import time
from dataclasses import dataclass
from pathlib import Path
from typing import Final

SCRIPT: Final = Path(__file__).resolve().parent.parent / "examples" / "demo_book.py"
SEED: Final = 20260801
BOOK, TRUTH, SAID = "larkhollow.chaffinch", "truth.json", "said"
LONGEST_S: Final = 600.0
"""How long to wait for the process that writes it [s]; no test waits so long on purpose."""


@dataclass(frozen=True)
class Written:
    """The book, what was true in it, and what the script said."""

    book: Path
    truth: Path
    said: str


def written_by_script(base: Path, own: Path) -> Written:
    """The book as a person would have it from the script, copied into a folder of the asker's own.

    The script runs with another hash seed than the tests, so that an order that leans on hashes of text would show.

    Parameters
    ----------
    base : Path
        pytest's base folder of this process; those of the other workers lie beside it.
    own : Path
        Where the copy goes.
    """
    together = "PYTEST_XDIST_WORKER" in os.environ
    shared = (base.parent if together else base) / "demo-book-by-script"
    try:
        shared.mkdir()
    except FileExistsError:
        _wait(shared)
    else:
        try:
            _write(shared)
        finally:
            (shared / "done").touch()
    for name in (BOOK, TRUTH):
        shutil.copy(shared / name, own / name)
    return Written(own / BOOK, own / TRUTH, (shared / SAID).read_text(encoding="utf-8"))


def _write(folder: Path) -> None:
    command = [sys.executable, str(SCRIPT), str(folder / BOOK), "--seed", str(SEED), "--truth", str(folder / TRUTH)]
    environment = os.environ | {"PYTHONHASHSEED": "7"}
    ran = subprocess.run(command, capture_output=True, text=True, check=False, env=environment, timeout=LONGEST_S)
    assert ran.returncode == 0, ran.stderr
    (folder / SAID).write_text(ran.stdout, encoding="utf-8")


def _wait(shared: Path) -> None:
    end = time.monotonic() + LONGEST_S
    while not (shared / "done").exists():
        assert time.monotonic() < end, f"nobody wrote the demo book into {shared}"
        time.sleep(0.2)
