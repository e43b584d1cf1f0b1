"""What does a combine's own log say? Look into it, bring it in, clean it.

The door to :mod:`chaffinch.fieldlog` for the command line, the desk and notebooks. Nothing here touches a book: a log
is a file of its own beside it, since a season of records is a thousand times larger than a season of checks.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from chaffinch import units
from chaffinch.errors import InputError
from chaffinch.fieldlog.work_folder import refuse_itself
from chaffinch.how_far import Progress

if TYPE_CHECKING:
    from chaffinch.fieldlog.answers import Answers, Found
    from chaffinch.fieldlog.cleaning.clean import Cleaned
    from chaffinch.fieldlog.rows import FloatArray, Problem, Question, Rows

NEEDED: Final = ("polars", "pyogrio", "pyproj", "shapely", "defusedxml")
"""Libraries of the extra ``fieldlog``."""


@dataclass(frozen=True, slots=True)
class PartFigures:
    """What one part of a log comes to; NaN and empty text where nothing tells it.

    Attributes
    ----------
    name, field, machine : str
    records : int
    first, last : str
        In UTC; empty where the clock is not known.
    area_ha, grain_t : float
        Width × distance, overlaps counted twice; flow × interval. Of all records.
    yield_t_ha, throughput_t_h, speed_kmh, moisture_pct : float
        Middle of the records that cut.
    stated_t, stated_ha : float
        What the task or the machine's counter states.
    """

    name: str
    field: str
    machine: str
    records: int
    first: str
    last: str
    area_ha: float
    grain_t: float
    yield_t_ha: float
    throughput_t_h: float
    speed_kmh: float
    moisture_pct: float
    stated_t: float
    stated_ha: float


@dataclass(frozen=True, slots=True)
class LogFound:
    """What is in a log.

    Attributes
    ----------
    kind : str
        ``"task data"``, ``"text"`` and so on.
    parts : tuple of PartFigures
    questions : tuple of Question
        To be answered before the log is brought in.
    problems : tuple of Problem
    matched : mapping of str to str
        Header to meaning and unit.
    derived : mapping of str to str
        Columns worked out, with how.
    columns : tuple of str
        Columns there are.
    loss_readings : tuple of str
        Those of them that hold the machine's own loss readings.
    recomputed : float
        Flow × interval ÷ (distance × width), over the recorded yield, at the middle; NaN where one is missing or worked
        out from the others.
    rows : Rows or None
        The records themselves.
    """

    kind: str
    parts: tuple[PartFigures, ...]
    questions: tuple[Question, ...]
    problems: tuple[Problem, ...]
    matched: Mapping[str, str]
    derived: Mapping[str, str]
    columns: tuple[str, ...]
    loss_readings: tuple[str, ...]
    recomputed: float
    rows: Rows | None

    @property
    def records(self) -> int:
        """How many there are."""
        return sum(part.records for part in self.parts)


@dataclass(frozen=True, slots=True)
class LogCleaned:
    """What cleaning a log came to.

    Attributes
    ----------
    found : LogFound
        The log before.
    cleaned : Cleaned
        Its records with their flags.
    grain_t, area_ha : float
        Of the records that count; the area without what was cut before.
    yield_t_ha : float
        Their middle.
    """

    found: LogFound
    cleaned: Cleaned
    grain_t: float
    area_ha: float
    yield_t_ha: float


def answers_of(
    *,
    zone: str = "",
    crs: str = "",
    columns: Sequence[str] = (),
    decimals: str = "",
    dates: str = "",
    elements: Sequence[str] = (),
    bushel: str = "",
    layer: str = "",
) -> Answers:
    """Answers as a person writes them: ``"Flow=flow_kg_s:lb/s"``, ``"width_m=DET-3"``, ``"60 lb"``.

    Raises
    ------
    InputError
        For one that is not understood.
    """
    from chaffinch.fieldlog.answers import Answers
    from chaffinch.fieldlog.rows import COLUMNS

    by_element = _pairs(elements, "element", "width_m=DET-3")
    for column in by_element:
        if column not in COLUMNS:
            raise InputError("element", column, "is no column of a field log", f"use one of {', '.join(COLUMNS)}")
    weight = units.read_positive(bushel, "mass", field="bushel").value / 1000.0 if bushel else None
    return Answers(
        zone, crs, _pairs(columns, "column", "Flow=flow_kg_s:lb/s"), decimals, dates, by_element, weight, layer
    )


def inspect_log(path: str | Path, answers: Answers | None = None, *, progress: Progress | None = None) -> LogFound:
    """Look into a log without bringing it in.

    Parameters
    ----------
    path : str or Path
        A folder, a zip or a file.
    answers : Answers or None
        What was said so far.
    progress : callable or None
        Called with (done, of).

    Raises
    ------
    InputError
        When nothing in it can be read, or the libraries are missing.
    """
    libraries()
    from chaffinch.fieldlog.reading.door import read_log

    return looked_at(read_log(Path(path), answers, progress))


def import_log(
    path: str | Path,
    to: str | Path,
    answers: Answers | None = None,
    *,
    replace: bool = False,
    progress: Progress | None = None,
) -> LogFound:
    """Bring a log in: one table of our own columns, as GeoParquet, GeoPackage, GeoJSON or comma text.

    Parameters
    ----------
    path, answers, progress
        As for :func:`inspect_log`.
    to : str or Path
        File to write; its ending tells the format.
    replace : bool
        Whether a file that is there may be written over.

    Raises
    ------
    InputError
        Also while a question is open, and when the file cannot be written.
    """
    from chaffinch.fieldlog.derive import completed
    from chaffinch.fieldlog.writing.records import write_log

    refuse_itself(path, to)
    found = inspect_log(path, answers, progress=progress)
    write_log(Path(to), completed(answered(found)), replace=replace)
    return found


def clean_log(
    path: str | Path,
    to: str | Path | None = None,
    answers: Answers | None = None,
    *,
    settings: Mapping[str, float] | None = None,
    replace: bool = False,
    progress: Progress | None = None,
) -> LogCleaned:
    """Clean a log; with ``to``, write every record with its flags, its reasons and the flow of what was cut there.

    Parameters
    ----------
    path, answers, replace, progress
        As for :func:`import_log`.
    to : str, Path or None
        File to write, or None.
    settings : mapping of str to float, or None
        Limits that differ from those of the reference, by name.

    Raises
    ------
    InputError
        As for :func:`import_log`, and for a limit there is not.
    """
    libraries()
    from chaffinch.fieldlog.cleaning.clean import clean
    from chaffinch.fieldlog.derive import completed
    from chaffinch.fieldlog.settings import usual
    from chaffinch.fieldlog.writing.records import write_log

    refuse_itself(path, to)
    limits = usual().but(settings or {})
    found = inspect_log(path, answers, progress=progress)
    cleaned = clean(completed(answered(found)), limits)
    if to is not None:
        write_log(Path(to), cleaned.rows, beside=beside(cleaned), replace=replace)
    return of_records(found, cleaned)


def of_records(found: LogFound, cleaned: Cleaned) -> LogCleaned:
    """What cleaned records of a log come to."""
    rows, good = cleaned.rows, cleaned.counts
    area = rows.area_m2() * (1.0 - np.nan_to_num(cleaned.overlap_share))
    grain = cleaned.flow_kg_s * rows.column("interval_s")
    crop = cleaned.yield_t_ha[good]
    return LogCleaned(
        found,
        cleaned,
        _sum(grain[good], 1000.0),
        _sum(area[good], 10_000.0),
        float(np.nanmedian(crop)) if crop.size and not np.isnan(crop).all() else float("nan"),
    )


def moment_text(time_s: float) -> str:
    """A moment of a log in UTC, like ``2026-08-14 15:04:05``; empty where it is missing."""
    from chaffinch.fieldlog.reading.clockwork import as_text

    return as_text(time_s)


def beside(cleaned: Cleaned) -> dict[str, Any]:
    """Columns written beside the records: flags as a sum and in words, and what cleaning worked out."""
    from chaffinch.fieldlog.cleaning.clean import Flag

    kinds, member = np.unique(cleaned.flags, return_inverse=True)
    words = [" ".join(flag.name.lower() for flag in Flag if flag.name and int(kind) & flag) for kind in kinds]
    return {
        "flags": cleaned.flags.astype(np.int32),
        "reasons": np.array(words, dtype=str)[member],
        "pass_no": cleaned.pass_no,
        "cut_flow_kg_s": cleaned.flow_kg_s,
        "cut_yield_t_ha": cleaned.yield_t_ha,
        "overlap_share": cleaned.overlap_share,
    }


def answered(found: LogFound) -> Rows:
    """The records, once nothing is open."""
    from chaffinch.book.fieldlogs.said import question_said

    if found.questions:
        first = found.questions[0]
        problem, mend = question_said(first)
        raise InputError(first.what, None, problem, mend)
    if found.rows is None:
        raise InputError("log", None, "holds no records", "look into it first")
    return found.rows


def looked_at(found: Found) -> LogFound:
    """What a reader found, with its figures."""
    from chaffinch.fieldlog.derive import completed, recomputed_over_recorded
    from chaffinch.fieldlog.rows import loss_reading

    rows = None if found.rows is None else completed(found.rows)
    if rows is None:
        return LogFound(found.kind, (), found.questions, found.problems, found.matched, {}, (), (), float("nan"), None)
    ratio = recomputed_over_recorded(rows)
    apart = not {"flow_kg_s", "yield_t_ha"} & set(rows.derived)
    known = ratio[~np.isnan(ratio)] if apart else ratio[:0]
    return LogFound(
        found.kind,
        tuple(_part_figures(rows, number, where) for number, where in rows.part_slices()),
        found.questions,
        found.problems,
        found.matched,
        rows.derived,
        tuple(rows.columns),
        tuple(name for name in rows.columns if loss_reading(name) is not None),
        float(np.median(known)) if known.size else float("nan"),
        rows,
    )


def _part_figures(rows: Rows, number: int, where: slice) -> PartFigures:
    one, part = rows.where(where), rows.parts[number]
    cutting = _cutting(one)
    time = one.column("time_s")
    known = time[~np.isnan(time)]
    first, last = (moment_text(float(known[k])) if known.size and part.clock == "utc" else "" for k in (0, -1))

    def middle(values: FloatArray) -> float:
        mine = values[cutting & ~np.isnan(values)]
        return float(np.median(mine)) if mine.size else float("nan")

    def counted(column: str) -> float:
        values = one.column(column)
        values = values[~np.isnan(values)]
        return float(values[-1] - values[0]) if values.size else float("nan")

    def of_this(column: str, stated: float) -> float:
        # A task's second log carries the counter on, and the task states where it ended: the difference is this log's.
        went = counted(column)
        return went if went > 0 else stated

    stated_kg = of_this("total_kg", part.total_kg)
    stated_m2 = of_this("total_area_m2", part.total_area_m2)
    return PartFigures(
        part.name,
        part.field,
        part.machine,
        len(one),
        first,
        last,
        _sum(np.where(cutting, one.area_m2(), np.nan), 10_000.0),
        _sum(one.column("flow_kg_s") * one.column("interval_s"), 1000.0),
        middle(one.column("yield_t_ha")),
        middle(one.throughput_t_h()),
        middle(one.column("speed_kmh")),
        middle(one.column("moisture_pct")),
        stated_kg / 1000.0,
        stated_m2 / 10_000.0,
    )


def _cutting(rows: Rows) -> Any:
    """Records in work: not known to be idle, and grain coming."""
    load = rows.throughput_t_h()
    idle = rows.column("in_work") == 0.0
    return ~idle & (load > 0) if not np.isnan(load).all() else ~idle


def _sum(values: FloatArray, per: float) -> float:
    return float("nan") if np.isnan(values).all() else float(np.nansum(values)) / per


def _pairs(texts: Sequence[str], field: str, example: str) -> dict[str, str]:
    found = {}
    for text in texts:
        left, equals, right = text.rpartition("=")
        if not equals or not left.strip():
            raise InputError(field, text, "is not understood", f'write it like "{example}"')
        found[left.strip()] = right.strip()
    return found


def libraries() -> None:
    """Raise unless the extra is installed: said once, in words, and not as a failed import somewhere inside."""
    from importlib.util import find_spec

    missing = [name for name in NEEDED if find_spec(name) is None]
    if missing:
        problem = f"needs {', '.join(missing)}, not installed here"
        mend = 'install them beside it: pip install "chaffinch[fieldlog]"; after make demo with .venv/bin/pip'
        raise InputError("field log", None, problem, mend)
