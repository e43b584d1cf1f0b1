"""What did a log's own loss sensors show when checks were taken, and noting that in the book as monitor readings?

Only when somebody asks for it: a log is looked at far more often than it is to be believed. A reading that was noted
once is not noted again, in whichever version its check stands by now, and one that was taken back stays so.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, Literal

import numpy as np

from chaffinch.book.checks.bars import FROM_LOG, sensor_of
from chaffinch.book.checks.held import LoggedCheck, all_versions, checks_where, counting
from chaffinch.book.checks.looking import readings
from chaffinch.book.desk import Desk
from chaffinch.book.fieldlogs.large import LogWalked, cleaned_log
from chaffinch.book.fieldlogs.losses import one_machine
from chaffinch.book.fieldlogs.machines import Whose, whose_records
from chaffinch.book.fieldlogs.one_log import LogCleaned
from chaffinch.book.things import Thing
from chaffinch.engine.monitor.pair import Per
from chaffinch.errors import InputError
from chaffinch.how_far import Progress
from chaffinch.records.kinds import MONITOR
from chaffinch.store import records
from chaffinch.sync.accept import Receipt

if TYPE_CHECKING:
    from chaffinch.fieldlog.answers import Answers
    from chaffinch.fieldlog.on_disk.pieces import CleanedLog

Standing = Literal["new", "noted", "taken back"]

DIGITS: Final = 4
"""Digits of a reading that are noted [1]; own figure: a tenth of a per mille of what a sensor shows means nothing."""
AFTER_S: Final = 61.0
"""How long after the last record a check may have been taken [s]: its window begins a minute before it."""


@dataclass(frozen=True, slots=True)
class LogBar:
    """What one sensor showed at one check.

    Attributes
    ----------
    combine : Thing
        Whose check it is.
    check : str
        Id of the check in the version that counts.
    taken_at : str
    sensor : str
        Column of the log, like ``loss_left_sieve_g_s``.
    reading : float
        In the unit of that column; a share of the crop times the yield [t/ha].
    per : {"time", "area"}
    speed_kmh : float
        Of the log at that moment [km/h].
    standing : {"new", "noted", "taken back"}
        Whether the book has it.
    noted : float or None
        What the book says, where it has it.
    """

    combine: Thing
    check: str
    taken_at: str
    sensor: str
    reading: float
    per: Per
    speed_kmh: float
    standing: Standing
    noted: float | None


@dataclass(frozen=True, slots=True)
class LogBars:
    """The readings of a log beside checks.

    Attributes
    ----------
    combines : tuple of Thing
        Whose checks were looked up.
    sensors : tuple of str
        Columns of the log that hold readings; empty where it holds none.
    bars : tuple of LogBar
        By check and sensor.
    unsteady : mapping of str to tuple of str
        Checks within the log that it gives no moment for, by time taken, with why.
    """

    combines: tuple[Thing, ...]
    sensors: tuple[str, ...]
    bars: tuple[LogBar, ...]
    unsteady: Mapping[str, tuple[str, ...]]

    @property
    def new(self) -> tuple[LogBar, ...]:
        """Those the book has not yet."""
        return tuple(one for one in self.bars if one.standing == "new")


def log_bars(
    desk: Desk,
    combine: Thing | None,
    path: str | Path,
    answers: Answers | None = None,
    *,
    machine: str | None = None,
    machine_is: Mapping[str, str] | None = None,
    settings: Mapping[str, float] | None = None,
    piece: int | None = None,
    progress: Progress | None = None,
) -> LogBars:
    """Look up what the loss sensors of a log showed when checks were taken; nothing is written.

    Parameters
    ----------
    desk : Desk
        The open book.
    combine : Thing or None
        Whose checks are looked up, in a log of one machine; None: those of each machine's own combine, by its name.
    path, answers, settings, piece, progress
        As for :func:`chaffinch.book.fieldlogs.large.cleaned_log`.
    machine : str or None
        Whose records count, by its name in the log; None: all.
    machine_is : mapping of str to str, or None
        Name in the log to name of the combine, where they are called differently.

    Raises
    ------
    InputError
        As :func:`chaffinch.book.fieldlogs.large.cleaned_log`; for a machine whose combine is not clear, and a log of
        several machines by one combine.
    """
    from chaffinch.fieldlog.on_disk.pieces import machines_in

    log: LogCleaned | LogWalked = cleaned_log(
        path, None, answers, settings=settings, piece=piece, progress=progress
    )  # fmt: skip
    if machine is not None or combine is not None:
        log = one_machine(log, machine)
    names = machines_in(log.cleaned)
    if combine is not None:
        whose = [Whose(combine, names)]
    else:
        whose = whose_records(desk, names, machine_is or {}, all_names=names)
    noted = _noted(desk)
    bars: list[LogBar] = []
    unsteady: dict[str, tuple[str, ...]] = {}
    heard: set[str] = set()
    for one in whose:
        columns, first_s, last_s = _heard(log.cleaned, one.names)
        heard.update(columns)
        logged = _within(desk, one.combine, first_s, last_s) if columns else []
        bars += _beside(log.cleaned, one, columns, logged, noted, unsteady)
    bars.sort(key=lambda bar: (bar.taken_at, bar.check, bar.sensor))
    combines = tuple(one.combine for one in whose)
    return LogBars(combines, tuple(sorted(heard)), tuple(bars), dict(sorted(unsteady.items())))


def _heard(log: CleanedLog, names: tuple[str, ...]) -> tuple[list[str], float, float]:
    """Sensors of some machines that show anything in the whole log; first and last moment of it [UTC s]."""
    from chaffinch.fieldlog.loss.sensor import sensor_columns
    from chaffinch.fieldlog.on_disk.pieces import pieces_of

    columns: dict[str, None] = {}
    first_s, last_s = float("inf"), float("-inf")
    for piece in pieces_of(log, names):
        rows = piece.rows
        columns |= dict.fromkeys(name for name in sensor_columns(rows) if (rows.columns[name] > 0).any())
        utc = np.array([part.clock == "utc" for part in rows.parts], np.bool_)
        time = rows.column("time_s")[utc[rows.part]]
        time = time[~np.isnan(time)]
        if time.size:
            first_s, last_s = min(first_s, float(time.min())), max(last_s, float(time.max()))
    return list(columns), first_s, last_s


def _beside(
    log: CleanedLog,
    whose: Whose,
    columns: Sequence[str],
    logged: Sequence[LoggedCheck],
    noted: Mapping[tuple[str, str], float | None],
    unsteady: dict[str, tuple[str, ...]],
) -> Iterator[LogBar]:
    """What each sensor of a combine showed at each of its checks that stands; those that do not are put aside."""
    from chaffinch.fieldlog.loss.moments import moments
    from chaffinch.fieldlog.loss.sensor import at_moments, read_sensor
    from chaffinch.fieldlog.on_disk.pieces import around_moments

    at = np.array([_taken_s(one) for one in logged])
    near, usual_m = around_moments(log, whose.names, at)
    if near is None:
        return
    stands = []
    for one, moment in zip(logged, moments(near, at, usual_m=usual_m), strict=True):
        if moment.stands:
            stands.append((one, moment))
        elif moment.doubts != ("not in the log",):
            unsteady[str(one.body["taken_at"])] = moment.doubts
    times = np.array([_taken_s(one) for one, _ in stands])
    for column in columns:
        sensor = read_sensor(near, column)
        for (one, moment), reading in zip(stands, at_moments(near, sensor.shown, times), strict=True):
            if np.isnan(reading):
                continue
            there = [noted[key] for v in one.versions.all if (key := (v, column)) in noted]
            standing: Standing = "new" if not there else "taken back" if there[0] is None else "noted"
            yield LogBar(
                whose.combine, one.id, str(one.body["taken_at"]), column, float(f"{reading:.{DIGITS}g}"), sensor.per,
                moment.speed_kmh, standing, there[0] if there else None,
            )  # fmt: skip


def note_bars(desk: Desk, found: LogBars) -> list[Receipt]:
    """Note the readings the book has not yet beside their checks, all or none.

    What it has is looked up once more when nobody else can write: two who ask at once note each reading once.

    Raises
    ------
    InputError
        Where the log holds no loss readings.
    BookError
        When the book cannot be written.
    """
    if not found.sensors:
        raise InputError("log", None, "holds no readings of a loss sensor", "note the bar with the check: --bar NUMBER")

    def missing() -> list[tuple[str, dict[str, Any]]]:
        noted = _noted(desk)
        same = {one: v.all for v in all_versions(desk, [bar.check for bar in found.new]) for one in v.all}
        return [
            (MONITOR, _body(one))
            for one in found.new
            if not any((v, one.sensor) in noted for v in same.get(one.check, (one.check,)))
        ]

    return desk.write_missing(missing) if found.new else []


def _body(one: LogBar) -> dict[str, Any]:
    return {
        "taken_at": one.taken_at,
        "combine": one.combine.id,
        "reading": one.reading,
        "per": one.per,
        "check": one.check,
        "speed": f"{one.speed_kmh:.2f} km/h",
        "note": f"{FROM_LOG}{one.sensor}",
    }


def _within(desk: Desk, combine: Thing, first_s: float, last_s: float) -> list[LoggedCheck]:
    """A combine's checks from the first moment of a log to shortly after the last, as they count."""
    if not first_s <= last_s:
        return []
    ids = checks_where(desk, since=_utc(first_s), until=_utc(last_s + AFTER_S))
    return [one for one in counting(desk, ids) if one.body.get("combine") == combine.id]


def _taken_s(one: LoggedCheck) -> float:
    return datetime.fromisoformat(str(one.body["taken_at"])).timestamp()


def _noted(desk: Desk) -> dict[tuple[str, str], float | None]:
    """What the book says of each check (in each version named) and sensor; None where that was taken back."""
    counts = {(str(one.body.get("check", "")), sensor_of(one.body)): one for one in readings(desk, MONITOR)}
    found: dict[tuple[str, str], float | None] = {}
    for stored in records.every(desk.store, kind=MONITOR):
        body = stored.envelope.body
        if sensor_of(body) and "check" in body:
            key = (str(body["check"]), sensor_of(body))
            found[key] = float(counts[key].body["reading"]) if key in counts else found.get(key)
    return found


def _utc(time_s: float) -> str:
    return datetime.fromtimestamp(time_s, UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
