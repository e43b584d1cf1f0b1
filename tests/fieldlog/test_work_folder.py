"""Files are there only when they are whole, and nothing stays of work whose program was killed."""

from __future__ import annotations

import os
import resource
import signal
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from made_tables import driven, text

from chaffinch.errors import InputError
from chaffinch.fieldlog.answers import Answers
from chaffinch.fieldlog.on_disk.large import PREFIX, clean_large
from chaffinch.fieldlog.reading.door import read_log
from chaffinch.fieldlog.settings import usual
from chaffinch.fieldlog.work_folder import drop_work_folder, make_work_folder
from chaffinch.fieldlog.writing.records import write_log

WORKING = """
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from chaffinch.fieldlog.work_folder import make_work_folder
(make_work_folder("work-", Path(sys.argv[1])) / "records").write_bytes(b"records")
print("at work", flush=True)
sys.stdin.read()
"""


def test_a_folder_of_a_killed_program_goes_and_one_in_use_stays(tmp_path: Path) -> None:
    command = [sys.executable, "-c", WORKING, str(tmp_path)]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE) as other:
        assert other.stdout is not None
        assert other.stdout.readline() == b"at work\n"
        (theirs,) = tmp_path.iterdir()
        mine = make_work_folder("work-", tmp_path)
        assert {theirs, mine} == set(tmp_path.iterdir())
        other.send_signal(signal.SIGKILL)
        other.wait()
    again = make_work_folder("work-", tmp_path)
    assert {mine, again} == set(tmp_path.iterdir())
    drop_work_folder(mine)
    drop_work_folder(again)
    assert not list(tmp_path.iterdir())


@pytest.fixture
def full_disk() -> Iterator[Callable[[], None]]:
    """A disk that takes no file beyond 20 KB."""
    usual_most = resource.getrlimit(resource.RLIMIT_FSIZE)

    def fill() -> None:
        resource.setrlimit(resource.RLIMIT_FSIZE, (20_000, usual_most[1]))

    before = signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    yield fill
    resource.setrlimit(resource.RLIMIT_FSIZE, usual_most)
    signal.signal(signal.SIGXFSZ, before)


@pytest.mark.parametrize("ending", [".csv", ".parquet", ".gpkg", ".geojson"])
def test_a_full_disk_leaves_the_file_that_was_there(tmp_path: Path, full_disk: Callable[[], None], ending: str) -> None:
    made = driven(3000)
    (tmp_path / "log.csv").write_bytes(
        text({"Longitude": made["lon"], "Latitude": made["lat"], "Flow (kg/s)": made["flow"]})
    )
    rows = read_log(tmp_path / "log.csv", Answers()).rows
    assert rows is not None
    goal = tmp_path / f"out{ending}"
    goal.write_text("the file of last year", encoding="utf-8")
    full_disk()
    with pytest.raises(InputError, match="cannot be written"):
        write_log(goal, rows, replace=True)
    assert goal.read_text(encoding="utf-8") == "the file of last year"
    assert sorted(os.listdir(tmp_path)) == ["log.csv", goal.name]


def test_a_full_disk_is_told_while_a_large_file_is_worked_on(tmp_path: Path, full_disk: Callable[[], None]) -> None:
    made = driven(8000)
    where = {"Longitude": made["lon"], "Latitude": made["lat"], "Flow (kg/s)": made["flow"]}
    (tmp_path / "log.csv").write_bytes(text(where))
    full_disk()
    with pytest.raises(InputError, match=r"does not take what has to wait there.*TMPDIR"):
        clean_large(tmp_path / "log.csv", Answers(), usual(), piece=1000, folder=tmp_path)
    assert not list(tmp_path.glob(f"{PREFIX}*"))
