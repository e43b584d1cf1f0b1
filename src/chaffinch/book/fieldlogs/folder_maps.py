"""What did each field of a season's folder lose, and where? One log by one, on all cores, or by a cluster's workers.

The step is that of one log (:func:`chaffinch.book.fieldlogs.losses.log_loss` and its map), so the answers do not depend
on who takes it. A log that cannot be summed stops none. Workers of other machines read a copy of the book that lies
beside the maps while they run.
"""

from __future__ import annotations

import atexit
import shutil
from collections.abc import Mapping
from dataclasses import dataclass, field
from dataclasses import replace as dataclass_replace
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Final

from chaffinch.book.desk import Desk, open_desk
from chaffinch.book.fieldlogs.folder import file_name, folder_for
from chaffinch.book.fieldlogs.losses import SPEED_CLASS_KMH, log_loss, write_map
from chaffinch.book.fieldlogs.one_log import libraries
from chaffinch.book.keeping import back_up
from chaffinch.book.things import Thing
from chaffinch.engine.estimate import Range
from chaffinch.errors import InputError, SamplerError
from chaffinch.how_far import Progress

if TYPE_CHECKING:
    from chaffinch.fieldlog.answers import Answers

COPIED_TO: Final = ".book-chaffinch-"
"""How the folder beside the maps begins that holds the copy of the book for workers of other machines; another one each
time, since they live on."""


@dataclass(frozen=True, slots=True)
class MapDone:
    """What one log of a folder came to.

    Attributes
    ----------
    name : str
        Its path below the folder.
    combines : str
        Names of the combines whose curves counted.
    checks, joined : int
        Checks behind their curves, and those taken while the log ran.
    cut_ha, counted_ha, hours : float
        Area cut, the part of it whose records count, time cutting; NaN where it was refused.
    total_kg, kg_ha, money : Range or None
        As of :class:`chaffinch.book.fieldlogs.answer.LogLoss`.
    header_seen : bool
        Whether header loss is in it.
    beyond_share : float
        Share of the area at loads more than a tenth beyond those tested; NaN without a test.
    squares : int
        Of its map.
    refused : str
        Why it could not be summed; empty when it was.
    """

    name: str
    combines: str = ""
    checks: int = 0
    joined: int = 0
    cut_ha: float = float("nan")
    counted_ha: float = float("nan")
    hours: float = float("nan")
    total_kg: Range | None = None
    kg_ha: Range | None = None
    money: Range | None = None
    header_seen: bool = False
    beyond_share: float = float("nan")
    squares: int = 0
    refused: str = ""


@dataclass(frozen=True, slots=True)
class _Work:
    """The job of one worker, so that it can be sent to another process; ``copied``: the book is one to be fetched."""

    folder: Path
    to: Path | None
    book: str
    combine: Thing | None
    crop: str
    answers: Answers | None
    season: str | None
    price_per_t: float | None
    class_kmh: float
    machine_is: Mapping[str, str] = field(default_factory=dict)
    settings: Mapping[str, float] = field(default_factory=dict)
    copied: bool = False
    replace: bool = False

    def __call__(self, path: Path) -> MapDone:
        name = path.relative_to(self.folder).as_posix() or path.name
        try:
            to = None if self.to is None else self.to / file_name(name, self.folder)
            if to is not None and to.exists() and not self.replace:
                raise InputError("output", to.name, "is there already", "give another folder, or --replace it")
            found = log_loss(
                _book(self.book, self.copied), self.combine, self.crop, path, self.answers, season=self.season,
                price_per_t=self.price_per_t, machine_is=self.machine_is, class_kmh=self.class_kmh,
                settings=self.settings,
            )  # fmt: skip
            if to is not None:
                write_map(found, to, replace=self.replace)
        except (InputError, SamplerError) as error:
            return MapDone(name, refused=error.line() if isinstance(error, InputError) else str(error))
        return MapDone(
            name,
            found.combines,
            len(found.own),
            len(found.joined),
            found.cut_ha,
            found.known_ha,
            found.hours,
            found.total_kg,
            found.kg_ha,
            found.money,
            found.header_kg is not None,
            found.beyond_share,
            len(found.squares),
        )


def map_folder(
    desk: Desk,
    folder: str | Path,
    crop: str,
    to: str | Path | None = None,
    answers: Answers | None = None,
    *,
    combine: Thing | None = None,
    machine_is: Mapping[str, str] | None = None,
    season: str | None = None,
    price_per_t: float | None = None,
    class_kmh: float = SPEED_CLASS_KMH,
    settings: Mapping[str, float] | None = None,
    jobs: int = 1,
    on: str = "",
    replace: bool = False,
    progress: Progress | None = None,
) -> list[MapDone]:
    """Sum what the field of every log below a folder lost, and write its map.

    Parameters
    ----------
    desk : Desk
        The open book.
    folder : str or Path
    crop, answers, combine, machine_is, season, price_per_t, class_kmh, settings
        As for :func:`chaffinch.book.fieldlogs.losses.log_loss`; the same for all.
    to : str, Path or None
        Folder for the maps, each as GeoParquet; made if it is not there. None: nothing is written.
    jobs : int
        Workers; what comes out does not depend on it.
    on : str
        Address of a Dask scheduler, like ``tcp://office:8786``, whose workers see both folders under the same names;
        or ``dask`` for workers of this machine. Empty: without it.
    replace : bool
        Whether maps that are there may be written over.
    progress : callable or None
        Called with (done, of).

    Returns
    -------
    list of MapDone
        In the order of their paths.

    Raises
    ------
    InputError
        When there is no log, the folder to write to cannot be made, or is missing where workers elsewhere need it, or
        two maps would be written under one name.
    """
    libraries()
    from chaffinch.fieldlog.cluster import HERE, for_each_on
    from chaffinch.fieldlog.each import for_each, logs_in
    from chaffinch.fieldlog.settings import usual
    from chaffinch.fieldlog.work_folder import drop_work_folder, make_work_folder

    usual().but(settings or {})
    root = Path(folder)
    logs = logs_in(root)
    goal = None if to is None else folder_for(to, logs, root)
    work = _Work(
        root.absolute(), None if goal is None else goal.absolute(), str(_whole(desk)), combine, crop, answers, season,
        price_per_t, class_kmh, dict(machine_is or {}), dict(settings or {}), replace=replace,
    )  # fmt: skip
    logs = [log.absolute() for log in logs]
    if not on:
        return for_each(work, logs, jobs, progress)
    if on == HERE:
        return for_each_on(on, work, logs, jobs, progress)
    if work.to is None:
        problem = "has workers elsewhere, which read the book beside the maps"
        raise InputError("on", on, problem, "name a folder for the maps that they see too: --to FOLDER")
    # What a run that was killed left there goes with the next one.
    folder_of_copy = make_work_folder(COPIED_TO, work.to)
    folder_of_copy.chmod(work.to.stat().st_mode & 0o777)  # who may look into the maps reads the copy
    copy = folder_of_copy / "book.chaffinch"
    try:
        back_up(desk, str(copy))
        return for_each_on(on, dataclass_replace(work, book=str(copy), copied=True), logs, jobs, progress)
    finally:
        drop_work_folder(folder_of_copy)


def _whole(desk: Desk) -> str:
    """The book's address as another process of this machine finds it."""
    address = desk.store.address
    return str(Path(address).absolute()) if desk.store.is_file else address


@lru_cache(maxsize=1)
def _book(address: str, copied: bool) -> Desk:
    """The book in this process; a copy on another machine's disk is fetched once."""
    if not copied:
        return open_desk(address)
    from chaffinch.fieldlog.work_folder import drop_work_folder, make_work_folder

    folder = make_work_folder("chaffinch-maps-")
    atexit.register(drop_work_folder, folder)
    return open_desk(shutil.copyfile(address, str(folder / "book.chaffinch")))
