"""What did a log's own loss sensors show when checks were taken, and noting that in the book as monitor readings?

Only when somebody asks for it: a log is looked at far more often than it is to be believed. A reading that was noted
once is not noted again, in whichever version its check stands by now, and one that was taken back stays so.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, Literal

import numpy as np

from chaffinch.book.bars import FROM_LOG, sensor_of
from chaffinch.book.checks import LoggedCheck, all_versions, counting
from chaffinch.book.desk import Desk
from chaffinch.book.fieldlogs import LogCleaned, clean_log
from chaffinch.book.fields import checks_where
from chaffinch.book.log_losses import one_machine
from chaffinch.book.looking import readings
from chaffinch.book.things import Thing
from chaffinch.engine.monitor_pair import Per
from chaffinch.errors import InputError
from chaffinch.records.kinds import MONITOR
from chaffinch.store import records
from chaffinch.sync.accept import Receipt

if TYPE_CHECKING:
    from chaffinch.fieldlog.answers import Answers
    from chaffinch.fieldlog.moments import Moment

Progress = Callable[[int, int], None]
Standing = Literal["new", "noted", "taken back"]

DIGITS: Final = 4
"""Digits of a reading that are noted [1]; own figure: a tenth of a per mille of what a sensor shows means nothing."""


@dataclass(frozen=True, slots=True)
class LogBar:
    """What one sensor showed at one check.

    Attributes
    ----------
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
    combine : Thing
    sensors : tuple of str
        Columns of the log that hold readings; empty where it holds none.
    bars : tuple of LogBar
        By check and sensor.
    unsteady : mapping of str to tuple of str
        Checks within the log that it gives no moment for, by time taken, with why.
    """

    combine: Thing
    sensors: tuple[str, ...]
    bars: tuple[LogBar, ...]
    unsteady: Mapping[str, tuple[str, ...]]

    @property
    def new(self) -> tuple[LogBar, ...]:
        """Those the book has not yet."""
        return tuple(one for one in self.bars if one.standing == "new")


def log_bars(
    desk: Desk,
    combine: Thing,
    path: str | Path,
    answers: Answers | None = None,
    *,
    machine: str | None = None,
    settings: Mapping[str, float] | None = None,
    progress: Progress | None = None,
) -> LogBars:
    """Look up what the loss sensors of a log showed when this combine's checks were taken; nothing is written.

    Parameters
    ----------
    desk : Desk
        The open book.
    combine : Thing
        Whose checks are looked up.
    path, answers, settings, progress
        As for :func:`chaffinch.book.fieldlogs.clean_log`.
    machine : str or None
        Whose records count, by its name in the log; needed where several machines made it.

    Raises
    ------
    InputError
        As :func:`chaffinch.book.fieldlogs.clean_log`; for several machines of which none was chosen.
    """
    log = one_machine(clean_log(path, None, answers, settings=settings, progress=progress), machine)
    return bars_of_log(desk, combine, log)


def bars_of_log(desk: Desk, combine: Thing, log: LogCleaned) -> LogBars:
    """As :func:`log_bars`, of the records of one machine that were cleaned already."""
    from chaffinch.fieldlog.moments import moments
    from chaffinch.fieldlog.sensor import at_moments, sensors

    heard = sensors(log.cleaned)
    names = tuple(sorted(one.column for one in heard))
    logged = _within(desk, combine, log) if heard else []
    at = np.array([datetime.fromisoformat(str(one.body["taken_at"])).timestamp() for one in logged])
    stands: list[tuple[LoggedCheck, Moment]] = []
    unsteady: dict[str, tuple[str, ...]] = {}
    for one, moment in zip(logged, moments(log.cleaned, at), strict=True):
        if moment.stands:
            stands.append((one, moment))
        elif moment.doubts != ("not in the log",):
            unsteady[str(one.body["taken_at"])] = moment.doubts
    times = np.array([datetime.fromisoformat(str(one.body["taken_at"])).timestamp() for one, _ in stands])
    noted = _noted(desk)
    found: list[LogBar] = []
    for sensor in heard:
        shown = at_moments(log.cleaned, sensor.shown, times)
        for (one, moment), reading in zip(stands, shown, strict=True):
            if np.isnan(reading):
                continue
            there = [noted[key] for v in one.versions.all if (key := (v, sensor.column)) in noted]
            standing: Standing = "new" if not there else "taken back" if there[0] is None else "noted"
            found.append(
                LogBar(
                    one.id, str(one.body["taken_at"]), sensor.column, float(f"{reading:.{DIGITS}g}"), sensor.per,
                    moment.speed_kmh, standing, there[0] if there else None,
                )
            )  # fmt: skip
    return LogBars(
        combine, names, tuple(sorted(found, key=lambda one: (one.taken_at, one.check, one.sensor))), unsteady
    )


def note_bars(desk: Desk, found: LogBars) -> list[Receipt]:
    """Note the readings the book has not yet beside their checks, all or none; looked at again before writing.

    Raises
    ------
    InputError
        Where the log holds no loss readings.
    BookError
        When the book cannot be written.
    """
    if not found.sensors:
        raise InputError("log", None, "holds no readings of a loss sensor", "note the bar with the check: --bar NUMBER")
    noted = _noted(desk)
    same = {one: v.all for v in all_versions(desk, [bar.check for bar in found.new]) for one in v.all}
    fresh = [one for one in found.new if not any((v, one.sensor) in noted for v in same.get(one.check, (one.check,)))]
    return desk.write_all([(MONITOR, _body(found.combine, one)) for one in fresh]) if fresh else []


def _body(combine: Thing, one: LogBar) -> dict[str, Any]:
    return {
        "taken_at": one.taken_at,
        "combine": combine.id,
        "reading": one.reading,
        "per": one.per,
        "check": one.check,
        "speed": f"{one.speed_kmh:.2f} km/h",
        "note": f"{FROM_LOG}{one.sensor}",
    }


def _within(desk: Desk, combine: Thing, log: LogCleaned) -> list[LoggedCheck]:
    """This combine's checks from the first record of the log to the last, as they count."""
    rows = log.cleaned.rows
    utc = np.array([part.clock == "utc" for part in rows.parts], np.bool_)
    time = rows.column("time_s")[utc[rows.part]]
    time = time[~np.isnan(time)]
    if not time.size:
        return []
    ids = checks_where(desk, since=_utc(float(time.min())), until=_utc(float(time.max()) + 61.0))
    return [one for one in counting(desk, ids) if one.body.get("combine") == combine.id]


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
