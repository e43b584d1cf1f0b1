"""What does a log say that is larger than memory? The same as any, worked through on disk.

One plain file of text or Parquet beyond a size is read in batches and cleaned in pieces. Folders, zips, task data and
the formats GDAL reads are held as a whole.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from dataclasses import replace as replaced
from pathlib import Path
from typing import TYPE_CHECKING, Final

import numpy as np

from chaffinch.book.fieldlogs.one_log import (
    LogCleaned,
    LogFound,
    PartFigures,
    answered,
    beside,
    clean_log,
    inspect_log,
    libraries,
    looked_at,
    moment_text,
)
from chaffinch.engine.domain import FloatArray
from chaffinch.errors import InputError
from chaffinch.fieldlog.work_folder import refuse_itself
from chaffinch.how_far import Progress

if TYPE_CHECKING:
    from chaffinch.fieldlog.answers import Answers
    from chaffinch.fieldlog.on_disk.large import LargeLog
    from chaffinch.fieldlog.on_disk.pieces import CleanedLog

__all__ = [
    "LogWalked",
    "cleaned_log",
    "drop_folder_for_logs",
    "folder_for_logs",
    "look_into",
    "of_pieces",
    "one_of_walked",
    "refuse_itself",
    "refuse_larger",
]

KG_PER_T: Final = 1000.0
M2_PER_HA: Final = 10_000.0


@dataclass(frozen=True, slots=True)
class LogWalked:
    """What cleaning a log larger than memory came to; as :class:`chaffinch.book.fieldlogs.one_log.LogCleaned`.

    Attributes
    ----------
    found : LogFound
        The log before, without its records; the middles of its parts are not worked out.
    cleaned : CleanedLog
        Its records on disk, until nothing refers to it any more.
    grain_t, area_ha, yield_t_ha : float
    """

    found: LogFound
    cleaned: CleanedLog
    grain_t: float
    area_ha: float
    yield_t_ha: float


def cleaned_log(
    path: str | Path,
    to: str | Path | None = None,
    answers: Answers | None = None,
    *,
    settings: Mapping[str, float] | None = None,
    replace: bool = False,
    piece: int | None = None,
    progress: Progress | None = None,
) -> LogCleaned | LogWalked:
    """Clean a log of any size; parameters and errors as of :func:`chaffinch.book.fieldlogs.one_log.clean_log`.

    ``piece`` says how many records are worked on at once; a file it is given for is worked through on disk however
    small it is. A log on disk is written as comma text or GeoParquet only, field by field.
    """
    libraries()
    from chaffinch.fieldlog.answers import Answers as NoAnswers
    from chaffinch.fieldlog.on_disk.large import clean_large
    from chaffinch.fieldlog.on_disk.staged import PIECE
    from chaffinch.fieldlog.reading.batches import is_large
    from chaffinch.fieldlog.settings import usual
    from chaffinch.fieldlog.writing.pieces import refuse_early, write_pieces

    refuse_itself(path, to)
    limits, goal = usual().but(settings or {}), None if to is None else Path(to)
    walked = None
    if piece is not None or is_large(Path(path)):
        if goal is not None:
            refuse_early(goal, replace=replace)
        walked = clean_large(Path(path), answers or NoAnswers(), limits, piece=piece or PIECE, progress=progress)
    if walked is None:
        return clean_log(path, to, answers, settings=settings, replace=replace, progress=progress)
    found = _found(walked)
    if walked.cleaned is None:
        answered(found)
        raise InputError("log", None, "holds no records", "look into it first")
    if goal is not None:
        write_pieces(goal, walked.cleaned, beside, replace=replace)
    return of_pieces(found, walked.cleaned)


def look_into(path: str | Path, answers: Answers | None = None, *, progress: Progress | None = None) -> LogFound:
    """Look into a log of any size: parameters and errors as of :func:`chaffinch.book.fieldlogs.one_log.inspect_log`.

    One larger than memory is judged by its beginning, as it will be read, and says so.
    """
    libraries()
    from chaffinch.fieldlog.answers import Answers as NoAnswers
    from chaffinch.fieldlog.reading.batches import batches_of, is_large
    from chaffinch.fieldlog.rows import Problem

    large = batches_of(Path(path), answers or NoAnswers()) if is_large(Path(path)) else None
    if large is None:
        return inspect_log(path, answers, progress=progress)
    found = looked_at(large.found)
    about = f"{round(large.records_about, -4):,}"
    beginning = Problem("only its beginning", Path(path).name, found.records, about)
    return replaced(found, problems=(*found.problems, beginning))


def folder_for_logs() -> Path:
    """A folder for logs that somebody sent; those of programs that were killed are removed with it.

    Raises
    ------
    OSError
        When it cannot be made.
    """
    from chaffinch.fieldlog.work_folder import make_work_folder

    return make_work_folder("chaffinch-logs-")


def drop_folder_for_logs(folder: Path) -> None:
    """Remove a folder of :func:`folder_for_logs`."""
    from chaffinch.fieldlog.work_folder import drop_work_folder

    drop_work_folder(folder)


def refuse_larger(path: str | Path, most_bytes: int, mend: str) -> None:
    """Refuse a log that would fill the memory of a computer that has other things to do.

    Parameters
    ----------
    path : str or Path
        A file or a zip.
    most_bytes : int
        Most it may hold once unpacked; of Parquet, whose packing knows no bounds, records are counted.
    mend : str
        What the error says to do.

    Raises
    ------
    InputError
        For a larger one.
    """
    from chaffinch.fieldlog.reading.batches import is_large
    from chaffinch.fieldlog.reading.opened import swells_beyond

    where = Path(path)
    if is_large(where) or swells_beyond(where, most_bytes):
        raise InputError(where.name, None, "holds more than is worked on here once it is unpacked", mend)


def of_pieces(found: LogFound, log: CleanedLog) -> LogWalked:
    """What cleaned records on disk come to."""
    from chaffinch.fieldlog.on_disk.pieces import median_over

    grain = area = float("nan")
    for piece in log.pieces():
        rows, good = piece.rows, piece.counts
        area = _plus(area, (rows.area_m2() * (1.0 - np.nan_to_num(piece.overlap_share)))[good] / M2_PER_HA)
        grain = _plus(grain, (piece.flow_kg_s * rows.column("interval_s"))[good] / KG_PER_T)

    def crop() -> Iterator[FloatArray]:
        for piece in log.pieces():
            yield piece.yield_t_ha[piece.counts]

    return LogWalked(found, log, grain, area, median_over(crop))


def one_of_walked(log: LogWalked, machine: str) -> LogWalked:
    """The log with the records of one machine, cleaned among all."""
    from chaffinch.fieldlog.on_disk.pieces import only

    return of_pieces(log.found, only(log.cleaned, machine))


def _found(walked: LargeLog) -> LogFound:
    """What is known of the file before cleaning."""
    from chaffinch.fieldlog.rows import loss_reading

    head = walked.found
    columns: tuple[str, ...] = ()
    parts: tuple[PartFigures, ...] = ()
    if walked.cleaned is not None:
        parts = _parts(walked.cleaned)
        columns = next((tuple(piece.rows.columns) for piece in walked.cleaned.pieces()), ())
    heard = tuple(name for name in columns if loss_reading(name) is not None)
    told = (head.kind, parts, head.questions, head.problems, head.matched, walked.derived)
    return LogFound(*told, columns, heard, walked.recomputed, None)


def _parts(log: CleanedLog) -> tuple[PartFigures, ...]:
    """Records, times and sums of each part; its middles are left open."""
    nothing = float("nan")
    found = [PartFigures(part.name, part.field, part.machine, 0, "", "", *[nothing] * 8) for part in log.parts]
    for piece in log.pieces():
        rows = piece.rows
        for number, where in rows.part_slices():
            part, one = found[number], rows.where(where)
            time = one.column("time_s")
            time = time[~np.isnan(time)]
            utc = rows.parts[number].clock == "utc" and time.size > 0
            found[number] = replaced(
                part,
                records=part.records + len(one),
                first=part.first or (moment_text(float(time[0])) if utc else ""),
                last=moment_text(float(time[-1])) if utc else part.last,
                area_ha=_plus(part.area_ha, one.area_m2()[one.column("in_work") != 0.0] / M2_PER_HA),
                grain_t=_plus(part.grain_t, one.column("flow_kg_s") * one.column("interval_s") / KG_PER_T),
            )
    return tuple(found)


def _plus(total: float, values: FloatArray) -> float:
    """A sum in which what is missing everywhere stays missing."""
    known = values[~np.isnan(values)]
    if not known.size:
        return total
    return float(known.sum()) + (0.0 if np.isnan(total) else total)
