"""Every published record is run by a test of this folder, or listed here with the reason why it cannot be yet."""

from __future__ import annotations

import importlib
from pathlib import Path

from published_records import RECORDS, RUN

NOT_YET: tuple[tuple[str, str], ...] = ()


def test_every_record_is_run_or_listed_with_its_reason() -> None:
    """Both ways: a record nobody runs fails here, and so does one that is run but still listed."""
    # Importing the tests of this folder is what notes their records as run, also when only this file was asked for.
    for path in Path(__file__).parent.glob("test_*.py"):
        importlib.import_module(path.stem)
    listed = [one for one, _ in NOT_YET]
    assert len(listed) == len(set(listed))
    assert set(listed) <= set(RECORDS)
    assert set(RECORDS) - RUN - set(listed) == set(), "neither run nor listed"
    assert RUN & set(listed) == set(), "run now: take it off the list"


def test_the_records_are_all_there() -> None:
    """103 of loss and 91 of cost, air and storage."""
    assert len(RECORDS) == 103 + 91
