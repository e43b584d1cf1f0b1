"""How is one file larger than memory read and cleaned? In batches onto a shelf on disk, then field by field.

What comes of it are the records a file held as a whole gives, with the same flags, field by field instead of in the
order of the file. Memory holds one batch, one piece of a field, and the squares one field is laid out in.
"""

from __future__ import annotations

import shutil
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np

from chaffinch.errors import InputError
from chaffinch.fieldlog.answers import Answers, Found
from chaffinch.fieldlog.cleaning.clean import taken
from chaffinch.fieldlog.cleaning.lag import Lag
from chaffinch.fieldlog.derive import recomputed_over_recorded
from chaffinch.fieldlog.on_disk.lying import CleanedOnDisk, get
from chaffinch.fieldlog.on_disk.pieces import CleanedLog, added, median_over
from chaffinch.fieldlog.on_disk.shelf import Shelf
from chaffinch.fieldlog.on_disk.staged import PIECE, clean_field
from chaffinch.fieldlog.reading.batches import Batches, batches_of, read_batches
from chaffinch.fieldlog.reading.tabled import NOTICED
from chaffinch.fieldlog.rows import FloatArray, Problem
from chaffinch.fieldlog.settings import Settings
from chaffinch.fieldlog.work_folder import drop_work_folder, make_work_folder
from chaffinch.how_far import Progress

RECORD_BYTES: Final = 400
"""Disk that a record takes while its field is worked on [bytes]: as read, completed, and with its way; own figure."""
PREFIX: Final = "chaffinch-log-"
"""How the names of folders begin that a log is worked on in."""
MAKE_ROOM: Final = "make room, or set TMPDIR to a folder on a larger disk"


@dataclass(frozen=True, slots=True)
class LargeLog:
    """A large file, read and cleaned.

    Parameters
    ----------
    found : Found
        What it holds, without rows; with open questions nothing else is known.
    cleaned : CleanedOnDisk or None
    derived : mapping of str to str
        Columns worked out, with how.
    recomputed : float
        As :attr:`chaffinch.book.fieldlogs.one_log.LogFound.recomputed`.
    """

    found: Found
    cleaned: CleanedOnDisk | None
    derived: Mapping[str, str]
    recomputed: float


def clean_large(
    path: Path,
    answers: Answers,
    settings: Settings,
    *,
    piece: int = PIECE,
    folder: Path | None = None,
    progress: Progress | None = None,
) -> LargeLog | None:
    """Read and clean one file of text or Parquet on disk.

    Parameters
    ----------
    path : Path
    answers : Answers
    settings : Settings
    piece : int
        Records of a field that are worked on at once, until the next silence [1].
    folder : Path or None
        Where a folder for the work is made; None: where the system keeps such.
    progress : callable or None
        Called with (done, of): reading is the first half.

    Returns
    -------
    LargeLog or None
        None for a file that cannot be read in batches: packed, or in letters of two bytes.

    Raises
    ------
    InputError
        As :func:`chaffinch.fieldlog.reading.door.read_log`, and where the disk has too little room.
    """
    large = batches_of(path, answers)
    if large is None:
        return None
    if large.found.questions or large.found.rows is None:
        return LargeLog(large.found, None, {}, float("nan"))
    try:
        work = make_work_folder(PREFIX, folder)
    except OSError as error:
        raise _no_room(error) from None
    try:
        _refuse_without_room(work, large.records_about)
        shelf, problems = _shelved(large, work, progress)
        cleaned, derived = _cleaned(shelf, work, settings, piece, progress)
    except BaseException as error:
        drop_work_folder(work)
        if isinstance(error, OSError):
            raise _no_room(error) from None
        raise
    recomputed, count = _recomputed(cleaned, derived)
    if abs(recomputed - 1.0) > NOTICED and not {"interval_s", "distance_m"} & set(derived):
        problems = [p for p in problems if "disagrees" not in p.kind]
        problems.append(Problem("yield disagrees", large.name, count, f"{recomputed:.3g}"))
    head = large.found
    found = Found(head.kind, None, (), tuple(problems), head.matched)
    return LargeLog(found, cleaned, derived, recomputed)


def _no_room(error: OSError) -> InputError:
    return InputError("disk", None, f"does not take what has to wait there ({error.strerror or error})", MAKE_ROOM)


def _refuse_without_room(work: Path, records: int) -> None:
    needed, free = records * RECORD_BYTES, shutil.disk_usage(work).free
    if needed > free:
        problem = f"has {free / 1e9:.1f} GB free, and working through the file takes about {needed / 1e9:.1f} GB"
        raise InputError("disk", None, problem, MAKE_ROOM)


def _shelved(large: Batches, work: Path, progress: Progress | None) -> tuple[Shelf, list[Problem]]:
    """All records on the shelf, and what was met."""
    place = work / "read"
    place.mkdir()
    shelf, problems = Shelf(place), []

    def half(done: int, of: int) -> None:
        if progress is not None:
            progress(done, 2 * of)

    for one in read_batches(large, half):
        if isinstance(one, list):
            problems = one
        else:
            shelf.add(one)
    return shelf, problems


def _cleaned(
    shelf: Shelf, work: Path, settings: Settings, piece: int, progress: Progress | None
) -> tuple[CleanedOnDisk, dict[str, str]]:
    names: list[str] = []
    lags: dict[str, Lag] = {}
    derived: dict[str, str] = {}
    done = 0
    for number, field in enumerate(shelf.fields()):
        one = clean_field(field, settings, work, f"field-{number:05d}", piece=piece)
        field.drop()
        names += one.names
        derived |= one.derived
        lags.update({machine: lag for machine, lag in one.lags.items() if lag.found or machine not in lags})
        done += field.records
        if progress is not None:
            progress(shelf.records + done, 2 * shelf.records)
    counting, every = 0, taken(np.zeros(0, np.uint16))
    for name in names:
        flags = get(work / name, "flags")
        counting += int((flags == 0).sum())
        every = added(every, taken(flags))
    parts = tuple(shelf.parts)
    return CleanedOnDisk(work, names, parts, derived, settings, lags, every, shelf.records, counting), derived


def _recomputed(log: CleanedLog, derived: Mapping[str, str]) -> tuple[float, int]:
    """Flow × interval ÷ (distance × width) over the recorded yield at the middle, and how many records tell it."""
    count = 0

    def ratios() -> Iterator[FloatArray]:
        nonlocal count
        count = 0
        for piece in log.pieces():
            ratio = recomputed_over_recorded(piece.rows)
            count += int((~np.isnan(ratio)).sum())
            yield ratio

    if {"flow_kg_s", "yield_t_ha"} & set(derived):
        return float("nan"), 0
    return median_over(ratios), count
