"""Which logs lie in a folder of a whole season, each to be read by itself?

One log is a folder of task data, a zip, or a file. They are taken one after the other, so that memory holds one at a
time, or by as many workers as there are cores: no log knows of another, and the answers do not depend on who reads it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import Final, TypeVar

from chaffinch.errors import InputError
from chaffinch.fieldlog.reading.door import ACCEPTED, TEXT
from chaffinch.fieldlog.reading.opened import DEPTH, MOST_FILES
from chaffinch.fieldlog.reading.vectorfile import KINDS

ENDINGS: Final = (*TEXT, *KINDS, ".zip")
T = TypeVar("T")


def logs_in(folder: Path) -> list[Path]:
    """Every log below a folder, in order of its path.

    Raises
    ------
    InputError
        When it is no folder, or holds none or far too many.
    """
    if not folder.is_dir():
        raise InputError("folder", folder.name, "is no folder", "name the folder the logs lie in")
    found = list(_below(folder, DEPTH))
    if not found:
        raise InputError("folder", folder.name, "holds no log in an open format", f"put there {ACCEPTED}")
    if len(found) > MOST_FILES:
        raise InputError("folder", len(found), "holds too many logs", "name the folder of one season")
    return found


def _below(folder: Path, depth: int) -> Iterator[Path]:
    entries = sorted(entry for entry in folder.iterdir() if not entry.name.startswith((".", "__MACOSX")))
    if any(entry.name.upper() == "TASKDATA.XML" for entry in entries):
        yield folder
        return
    for entry in entries:
        if entry.is_symlink():
            continue
        if entry.is_dir():
            if depth:
                yield from _below(entry, depth - 1)
        elif entry.suffix.lower() in ENDINGS:
            yield entry


def for_each(
    work: Callable[[Path], T], logs: Sequence[Path], jobs: int, told: Callable[[int, int], None] | None = None
) -> list[T]:
    """What ``work`` makes of each log, in their order.

    Parameters
    ----------
    work : callable
        Must be importable by another process when ``jobs`` is above 1.
    logs : sequence of Path
    jobs : int
        Workers; each takes the next log when it has done one.
    told : callable or None
        Called with (done, of).

    Raises
    ------
    InputError
        When a worker ends in mid work, as one that the system ends for want of memory.
    """
    if jobs < 1:
        raise InputError("jobs", jobs, "must be 1 or more", "give the number of cores to use")
    found: list[T] = []
    if jobs == 1 or len(logs) == 1:
        for one in logs:
            found.append(work(one))
            if told is not None:
                told(len(found), len(logs))
        return found
    from concurrent.futures import ProcessPoolExecutor
    from concurrent.futures.process import BrokenProcessPool
    from multiprocessing import get_context

    # A fresh process each: libraries with threads of their own must not be copied in mid work.
    with ProcessPoolExecutor(min(jobs, len(logs)), mp_context=get_context("spawn")) as pool:
        try:
            for result in pool.map(work, logs, chunksize=1):
                found.append(result)
                if told is not None:
                    told(len(found), len(logs))
        except BrokenProcessPool:
            # The system ends a process for want of memory; whose log it was, nobody can say.
            problem = f"lost a worker in mid work, after {len(found)} of {len(logs)} logs"
            raise InputError("jobs", jobs, problem, "give fewer, or look at the largest logs alone") from None
    return found
