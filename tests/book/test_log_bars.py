"""What a log's sensors showed beside checks, of a file held as a whole and of one worked through on disk alike."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from threading import Barrier

import pytest

from chaffinch.book.checks.bars import bars
from chaffinch.book.desk import open_desk
from chaffinch.book.fieldlogs.bars import log_bars, note_bars
from chaffinch.book.fieldlogs.one_log import answers_of, import_log
from chaffinch.book.things import find_thing
from heard_logs import heard_folder
from season_book import start, with_speeds


@pytest.mark.parametrize("ending", [".csv", ".parquet"])
def test_a_file_larger_than_memory_shows_the_same(tmp_path: Path, ending: str) -> None:
    book = start(tmp_path / "larkhollow.chaffinch")
    with_speeds(book, repeats=1)
    log = tmp_path / f"log{ending}"
    import_log(heard_folder(tmp_path / "TASKDATA"), log, answers_of(zone="utc"))
    combine = find_thing(book.desk, "combine", "Old Bess")
    whole = log_bars(book.desk, combine, log)
    assert len(whole.new) == 24
    # Pieces of 100 records: the steady time before a check lies in two of them.
    assert log_bars(book.desk, combine, log, piece=100) == whole


def test_two_who_ask_at_once_note_each_reading_once(tmp_path: Path) -> None:
    """A button pressed twice, or desk and command on one book: what both found missing is noted by one of them."""
    book = start(tmp_path / "larkhollow.chaffinch")
    with_speeds(book, repeats=1)
    heard = heard_folder(tmp_path / "TASKDATA")
    found = log_bars(book.desk, find_thing(book.desk, "combine", "Old Bess"), heard, answers_of(zone="utc"))
    assert len(found.new) == 24
    begin = Barrier(3)

    def note() -> int:
        own = open_desk(book.desk.place)
        begin.wait()
        return len(note_bars(own, found))

    with ThreadPoolExecutor(3) as pool:
        counts = [one.result() for one in [pool.submit(note) for _ in range(3)]]
    assert sorted(counts) == [0, 0, len(found.new)]
    assert len([one for one in bars(book.desk) if one.sensor]) == len(found.new)
