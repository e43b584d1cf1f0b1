"""What kind of log is it, and who reads it? The one door of the readers."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path, PurePosixPath
from typing import Final

from chaffinch.errors import InputError
from chaffinch.fieldlog.answers import Answers, Found
from chaffinch.fieldlog.reading.isoxml import is_task_data, read_task_data
from chaffinch.fieldlog.reading.opened import Opened, opened
from chaffinch.fieldlog.reading.textfile import read_text
from chaffinch.fieldlog.reading.vectorfile import KINDS, read_vector
from chaffinch.fieldlog.rows import Problem, Question, joined
from chaffinch.how_far import Progress

TEXT: Final = (".csv", ".txt", ".tsv", ".tab", ".dat", ".gz")
ACCEPTED: Final = "task data (TASKDATA.XML), comma text, a shapefile, GeoPackage, GeoJSON or Parquet"


def read_log(path: Path, answers: Answers | None = None, progress: Progress | None = None) -> Found:
    """Read a field log: a folder, a zip or a file.

    Parameters
    ----------
    path : Path
    answers : Answers or None
        What a person said; None: nothing yet.
    progress : callable or None
        Called with (done, of).

    Returns
    -------
    Found
        The records, open questions, and what must be told. Several files in a folder are one table, each a part of its
        own; a question that several of them ask is asked once.

    Raises
    ------
    InputError
        When there is nothing that can be read.
    """
    answers = answers or Answers()
    files = opened(path)
    if is_task_data(files):
        return read_task_data(files, answers, progress)
    readable = [name for name in files.names if _ending(name) in (*TEXT, *KINDS)]
    if not readable:
        held = ", ".join(sorted({_ending(n) or PurePosixPath(n).name for n in files.names})[:8]) or "nothing"
        problem = f"holds no log in an open format (found {held})"
        raise InputError(path.name, None, problem, f"export it as {ACCEPTED}")
    found: list[tuple[str, Found]] = []
    problems: list[Problem] = []
    seen: dict[tuple[str, bytes], str] = {}
    for done, name in enumerate(readable, start=1):
        try:
            first = seen.setdefault(_held(files, name), name) if len(readable) > 1 else name
            if first == name:
                found.append((name, _one(files, name, answers)))
            else:
                problems.append(Problem("same file twice", name, 0, first))
        except InputError as error:
            if len(readable) == 1:
                raise
            problems.append(Problem("not readable", name, 0, error.line()))
        if progress is not None:
            progress(done, len(readable))
    if not found:
        raise InputError(path.name, None, f"holds nothing that can be read ({problems[0].detail})", "read one alone")
    if len(found) == 1 and not problems:
        return found[0][1]
    tables = [one.rows for _, one in found if one.rows is not None]
    return Found(
        " and ".join(sorted({one.kind for _, one in found})),
        joined(tables) if tables else None,
        tuple(_of_all(found)),
        (*problems, *(p for _, one in found for p in one.problems)),
        {f"{name}: {header}": meant for name, one in found for header, meant in one.matched.items()},
    )


def _of_all(found: list[tuple[str, Found]]) -> Iterator[Question]:
    """Questions of several files: the same one is asked once."""
    seen = set()
    for _, one in found:
        for question in one.questions:
            if (question.what, question.choices) not in seen:
                seen.add((question.what, question.choices))
                yield question


def _one(files: Opened, name: str, answers: Answers) -> Found:
    if _ending(name) in KINDS:
        if files.zipped:
            return read_vector(files.path, name, answers)
        return read_vector(files.path / name if files.path.is_dir() else files.path, "", answers)
    stem = PurePosixPath(name).name.split(".")[0]
    return read_text(files.read(name), stem, answers)


def _held(files: Opened, name: str) -> tuple[str, bytes]:
    """What tells whether two files hold the same; of a shapefile nothing does, since its figures stand beside it."""
    if _ending(name) == ".shp":
        return name, b""
    return "", files.digest(name)


def _ending(name: str) -> str:
    return PurePosixPath(name).suffix.lower()
