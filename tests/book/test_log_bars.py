"""What a log's sensors showed beside checks, of a file held as a whole and of one worked through on disk alike."""

from __future__ import annotations

from pathlib import Path

import pytest

from chaffinch.book.fieldlogs import answers_of, import_log
from chaffinch.book.log_bars import log_bars
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
