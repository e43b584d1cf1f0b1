"""Cleaning every log of a season's folder, one by one or on all cores; a log that cannot be read stops none."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from dataclasses import replace as dataclass_replace
from pathlib import Path
from typing import TYPE_CHECKING

from chaffinch.book.fieldlogs.large import cleaned_log
from chaffinch.book.fieldlogs.one_log import libraries
from chaffinch.errors import InputError
from chaffinch.how_far import Progress

if TYPE_CHECKING:
    from chaffinch.fieldlog.answers import Answers


@dataclass(frozen=True, slots=True)
class LogDone:
    """What one log of a folder came to.

    Attributes
    ----------
    name : str
        Its path below the folder.
    records, counting : int
    grain_t, area_ha : float
        Of the records that count; NaN without one.
    too_much : tuple of str
        Filters that took more than they should.
    refused : str
        Why it could not be read; empty when it was.
    """

    name: str
    records: int = 0
    counting: int = 0
    grain_t: float = float("nan")
    area_ha: float = float("nan")
    too_much: tuple[str, ...] = ()
    refused: str = ""


@dataclass(frozen=True, slots=True)
class _Work:
    """The job of one worker, so that it can be sent to another process."""

    folder: Path
    to: Path | None
    answers: Answers | None
    settings: Mapping[str, float] = field(default_factory=dict)
    replace: bool = False

    def __call__(self, path: Path) -> LogDone:
        name = path.relative_to(self.folder).as_posix() or path.name
        to = None
        if self.to is not None:
            to = self.to / file_name(name, self.folder)
        try:
            done = cleaned_log(path, to, self.answers, settings=dict(self.settings), replace=self.replace)
        except InputError as error:
            return LogDone(name, refused=error.line())
        return LogDone(
            name,
            done.found.records,
            done.cleaned.counting,
            done.grain_t,
            done.area_ha,
            tuple(str(flag.name).lower() for flag in done.cleaned.too_much()),
        )


def file_name(name: str, folder: Path) -> str:
    """The file that is written of a log, by the log's path below the folder."""
    return f"{name.replace('/', '-').strip('.') or folder.name}.parquet"


def folder_for(to: str | Path, logs: Sequence[Path], folder: Path) -> Path:
    """The folder that one file a log is written to, made where it is not there.

    Raises
    ------
    InputError
        Where it cannot be made, or one log would be written over the other, as ``a/b.csv`` and ``a-b.csv`` would, or
        two whose names differ in capitals only, which many disks do not keep apart.
    """
    written: dict[str, str] = {}
    for log in logs:
        name = log.relative_to(folder).as_posix()
        other = written.setdefault(file_name(name, folder).casefold(), name)
        if other != name:
            raise InputError("folder", f"{other}, {name}", "would be written under one name", "rename one of them")
    goal = Path(to)
    try:
        goal.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise InputError("output", goal.name, f"cannot be made ({error.strerror})", "name another folder") from None
    return goal


def clean_folder(
    folder: str | Path,
    to: str | Path | None = None,
    answers: Answers | None = None,
    *,
    settings: Mapping[str, float] | None = None,
    jobs: int = 1,
    on: str = "",
    replace: bool = False,
    progress: Progress | None = None,
) -> list[LogDone]:
    """Clean every log below a folder.

    Parameters
    ----------
    folder : str or Path
    to : str, Path or None
        Folder for the cleaned logs, each as GeoParquet; made if it is not there. None: nothing is written.
    answers, settings, replace
        As for :func:`chaffinch.book.fieldlogs.large.cleaned_log`; the same for all.
    jobs : int
        Workers; what comes out does not depend on it.
    on : str
        Address of a Dask scheduler, like ``tcp://office:8786``, whose workers see the folder under the same name; or
        ``dask`` for workers of this machine. Empty: without it.
    progress : callable or None
        Called with (done, of).

    Returns
    -------
    list of LogDone
        In the order of their paths.

    Raises
    ------
    InputError
        When there is no log, the folder to write to cannot be made, or two logs would be written under one name.
    """
    libraries()
    from chaffinch.fieldlog.each import for_each, logs_in
    from chaffinch.fieldlog.settings import usual

    usual().but(settings or {})
    root = Path(folder)
    logs = logs_in(root)
    goal = None if to is None else folder_for(to, logs, root)
    work = _Work(root, goal, answers, dict(settings or {}), replace)
    if not on:
        return for_each(work, logs, jobs, progress)
    from chaffinch.fieldlog.cluster import for_each_on

    # Workers stand in folders of their own: every path is whole.
    work = dataclass_replace(work, folder=root.absolute(), to=None if goal is None else goal.absolute())
    return for_each_on(on, work, logs, jobs, progress)
