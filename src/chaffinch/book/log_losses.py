"""What did the field lose that this log is of, and what would another pace have brought?

The log says how much the machine took in at every moment, the checks of the book what it loses at each load. Checks
taken while the log ran get their load from it, so that the curve learns from what really went through.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from chaffinch.book.check_json import as_range
from chaffinch.book.curves import Curves, curves
from chaffinch.book.desk import Desk
from chaffinch.book.fieldlogs import LogCleaned, clean_log, of_records
from chaffinch.book.log_pace import best_of_field
from chaffinch.book.log_sensor import LogSensor, sensor_of
from chaffinch.book.log_zones import ZoneLoss, ZonesTold, by_zone
from chaffinch.book.points import CheckPoint
from chaffinch.book.things import Thing
from chaffinch.engine.domain import FloatArray, between, not_negative, positive
from chaffinch.engine.estimate import Range
from chaffinch.engine.pace import Pace
from chaffinch.engine.pace_curves import paired
from chaffinch.errors import InputError

if TYPE_CHECKING:
    from chaffinch.fieldlog.answers import Answers
    from chaffinch.fieldlog.loss import Cell, ClassLoss, FieldLoss, LossDraws, Usage
    from chaffinch.fieldlog.moments import Moment

Progress = Callable[[int, int], None]

CELL_SWATHS: Final = 3.0
"""Side of a square of the map [swaths]; own figure: below, one pass is a square."""
SPEED_CLASS_KMH: Final = 1.0
HOUR_S: Final = 3600.0
MEANT_KMH: Final = (0.5, 25.0)
"""Speeds a combine can be meant to cut at [km/h]; own figures."""
KG_PER_T: Final = 1000.0


@dataclass(frozen=True, slots=True)
class JoinedCheck:
    """A check taken while the log ran: what the log says of that moment, and what was told in the check [km/h]."""

    id: str
    taken_at: str
    moment: Moment
    told_kmh: float | None


@dataclass(frozen=True, slots=True)
class OtherPace:
    """The same field at another pace.

    Attributes
    ----------
    speed_kmh : float
    total_kg, saved_kg : Range
        Lost then, and how much less that is; below 0: more.
    hours, hours_more : float
        Time cutting then, and how much more that is [h].
    beyond_share : float
        Share of the area at loads more than a tenth beyond those tested [0-1]; NaN without a test.
    money_saved : Range or None
        Grain saved at the price; None without one. Time is not in it.
    time_cost : float or None
        What the hours more cost [money], below 0 where hours are saved; None where no hour cost was told.
    gain : Range or None
        Grain saved less what the time costs [money]; None without a price and an hour cost.
    """

    speed_kmh: float
    total_kg: Range
    saved_kg: Range
    hours: float
    hours_more: float
    beyond_share: float
    money_saved: Range | None
    time_cost: float | None = None
    gain: Range | None = None


@dataclass(frozen=True, slots=True)
class LogLoss:
    """What the field of a log lost.

    Attributes
    ----------
    log : LogCleaned
    curves : Curves
        With the loads of joined checks.
    joined : tuple of JoinedCheck
        Checks of this combine in this crop within the time of the log.
    total_kg, machine_kg, kg_ha : Range
        Header and machine together, machine alone [kg], and together per area [kg/ha].
    header_kg : Range or None
        None where no check saw the header: its loss comes on top.
    money : Range or None
        None without a price.
    cut_ha, known_ha, hours : float
        Area cut, the part of it whose records count, time cutting.
    beyond_share : float
        As in :class:`OtherPace`.
    by_speed, by_hour : tuple of ClassLoss
    squares : tuple of Cell
        The map.
    other : OtherPace or None
        The pace asked for, or the best.
    mean_kmh : float
        Speed of the way over the time cutting [km/h].
    by_zone : tuple of ZoneLoss
        In the order of their file, and last what lies in none; empty without a file of zones.
    in_several : int
        Records that lie in several zones and count in the first.
    best : Pace or None
        Where the best pace was asked for.
    sensor : LogSensor or None
        The machine's own loss sensor; None where the log holds none.
    """

    log: LogCleaned
    curves: Curves
    joined: tuple[JoinedCheck, ...]
    total_kg: Range
    machine_kg: Range
    header_kg: Range | None
    kg_ha: Range
    money: Range | None
    cut_ha: float
    known_ha: float
    hours: float
    beyond_share: float
    by_speed: tuple[ClassLoss, ...]
    by_hour: tuple[ClassLoss, ...]
    squares: tuple[Cell, ...]
    other: OtherPace | None = None
    mean_kmh: float = float("nan")
    by_zone: tuple[ZoneLoss, ...] = ()
    in_several: int = 0
    best: Pace | None = None
    sensor: LogSensor | None = None


def log_loss(
    desk: Desk,
    combine: Thing,
    crop: str,
    path: str | Path,
    answers: Answers | None = None,
    *,
    season: str | None = None,
    price_per_t: float | None = None,
    other_kmh: float | None = None,
    best: bool = False,
    hour_cost_per_h: float | None = None,
    fastest_kmh: float | None = None,
    machine: str | None = None,
    zones: ZonesTold | None = None,
    class_kmh: float = SPEED_CLASS_KMH,
    settings: Mapping[str, float] | None = None,
    seed: int = 1,
    progress: Progress | None = None,
) -> LogLoss:
    """Sum the loss of everything in a log, by the curves of the combine that wrote it.

    Parameters
    ----------
    desk, combine, crop, season, seed
        As for :func:`chaffinch.book.curves.curves`.
    path, answers, settings, progress
        As for :func:`chaffinch.book.fieldlogs.clean_log`.
    price_per_t : float or None
        [money/t]
    other_kmh : float or None
        Another pace to compare with [km/h].
    best : bool
        Look for the best pace and compare with that; needs a price and an hour cost.
    hour_cost_per_h : float or None
        What one more hour costs [money/h].
    fastest_kmh : float or None
        Speed the best pace must not pass [km/h].
    machine : str or None
        Whose records count, by its name in the log; needed where several machines made it. All are cleaned together.
    zones : ZonesTold or None
        Areas to tell the loss of.
    class_kmh : float
        How wide the classes of speed are [km/h].

    Raises
    ------
    InputError
        As for those two; for a log of several machines of which none was chosen, one without grain flow or yield, and
        when no record counts.
    """
    from chaffinch.fieldlog.loss import at_pace, by_class, cells, interval_of, usage, whole_field

    for name, speed in (("other pace", other_kmh), ("fastest speed", fastest_kmh)):
        if speed is not None:
            between(name, speed, *MEANT_KMH, "write a speed of a combine while cutting, like 6 km/h")
    if best and other_kmh is not None:
        raise InputError("other pace", other_kmh, "is given, and the best one asked for", "ask for one of the two")
    if best and price_per_t is None:
        raise InputError("price", None, "is needed for the best pace", "add --price")
    if best and hour_cost_per_h is None:
        raise InputError("hour cost", None, "is needed for the best pace", 'add --hour-cost "450 /h"')
    log = one_machine(clean_log(path, None, answers, settings=settings, progress=progress), machine)
    rows = log.cleaned.rows
    moments_of: dict[str, JoinedCheck] = {}

    def joined(point: CheckPoint) -> CheckPoint:
        return _joined(point, log, combine, moments_of)

    found = curves(desk, combine, crop, season=season, joined=joined, seed=seed)
    use = usage(log.cleaned)
    if use.known_ha <= 0.0:
        raise InputError("log", 0, "has no record that counts and tells load and area", "look at: fieldlog clean")
    over_speed = found.load_kind == "speed"
    most = float(np.nanmedian(log.cleaned.yield_t_ha[log.cleaned.counts])) * KG_PER_T
    most_kg_ha = most if np.isfinite(most) and most > 0 else None
    tested = found.machine.tested(combine.id)

    draws = _draws_of(found, combine, seed)

    def of(one: Usage) -> FieldLoss:
        return whole_field(one, draws, over_speed=over_speed, tested=tested, most_kg_ha=most_kg_ha)

    loss = of(use)
    total = loss.total_kg
    money = None if price_per_t is None else interval_of(total).times(price_per_t / KG_PER_T)
    pace = None
    if best and price_per_t is not None and hour_cost_per_h is not None:
        pace = best_of_field(
            found, log.cleaned, use, of, price_per_t=price_per_t, hour_cost_per_h=hour_cost_per_h,
            most_kg_ha=most_kg_ha, fastest_kmh=fastest_kmh,
        )  # fmt: skip
        other_kmh = pace.best_kmh
    other = None
    if other_kmh is not None:
        then_use = at_pace(use, log.cleaned, other_kmh)
        then = of(then_use)
        saved = interval_of(total - then.total_kg)
        more = then_use.hours - use.hours
        worth = None if price_per_t is None else saved.times(price_per_t / KG_PER_T)
        time_cost = None if hour_cost_per_h is None else more * not_negative("hour cost", hour_cost_per_h)
        other = OtherPace(
            other_kmh,
            interval_of(then.total_kg),
            saved,
            then_use.hours,
            more,
            then.beyond_share,
            worth,
            time_cost,
            None
            if worth is None or time_cost is None
            else Range(worth.low - time_cost, worth.median - time_cost, worth.high - time_cost),
        )
    zoned, in_several = ((), 0) if zones is None else by_zone(zones, log, use, loss, price_per_t)
    width = rows.column("width_m")
    usual_m = float(np.nanmedian(width[width > 0]))
    utc = all(part.clock == "utc" for part in rows.parts)
    return LogLoss(
        log,
        found,
        tuple(moments_of.values()),
        interval_of(total),
        interval_of(loss.machine_kg),
        None if found.header is None else interval_of(loss.header_kg),
        interval_of(total / loss.cut_ha),
        money,
        loss.cut_ha,
        loss.known_ha,
        use.hours,
        loss.beyond_share,
        by_class(use, loss, use.speed_kmh, positive("class_kmh", class_kmh)),
        by_class(use, loss, rows.column("time_s"), HOUR_S) if utc else (),
        tuple(cells(log.cleaned, use, loss, CELL_SWATHS * usual_m)),
        other,
        use.way_km / use.hours if use.hours > 0 else float("nan"),
        zoned,
        in_several,
        pace,
        sensor_of(log.cleaned, use, _beside(found, moments_of), most_kg_ha=most_kg_ha, seed=seed),
    )


def write_map(found: LogLoss, to: str | Path, *, replace: bool = False) -> None:
    """Write the squares of the map as GeoPackage, GeoJSON or GeoParquet.

    Raises
    ------
    InputError
        For another ending, a file that is there, or one that cannot be written.
    """
    from chaffinch.fieldlog.writing import write_cells

    write_cells(Path(to), found.squares, replace=replace)


def one_machine(log: LogCleaned, machine: str | None) -> LogCleaned:
    """The log with the records of one machine, cleaned among all; of several one must be named."""
    from chaffinch.fieldlog.machines import machines_of, of_machine

    machines = machines_of(log.cleaned.rows)
    if machine is None and len(machines) > 1:
        names = ", ".join(name or "one without a name" for name in machines)
        raise InputError("log", names, "is of several machines", "choose one: --machine NAME")
    return log if machine is None else of_records(log.found, of_machine(log.cleaned, machine))


def _beside(found: Curves, joined: Mapping[str, JoinedCheck]) -> list[tuple[float, CheckPoint]]:
    """Moments [UTC s] and checks that stand in the log."""
    return [
        (datetime.fromisoformat(joined[p.logged.id].taken_at).timestamp(), p)
        for p in found.own
        if p.logged.id in joined and joined[p.logged.id].moment.stands
    ]


def _draws_of(found: Curves, combine: Thing, seed: int) -> LossDraws:
    """Both curves of a combine at any loads and speeds, rows of the same worlds together."""

    def draws(loads: FloatArray, speeds: FloatArray) -> tuple[FloatArray, FloatArray | None]:
        machine = found.machine.loss_kg_ha(loads, combine=combine.id, setup=found.setup or None, shared_error=False)
        header = None
        if found.header is not None:
            drawn = found.header.loss_kg_ha(speeds, combine=combine.id, shared_error=False)
            header = (drawn, found.header.weights)
        return paired((machine, found.machine.weights), header, shared=found.shared, seed=seed)

    return draws


def _joined(point: CheckPoint, log: LogCleaned, combine: Thing, known: dict[str, JoinedCheck]) -> CheckPoint:
    """A check of this combine with what its log says of the moment; any other as it is."""
    from chaffinch.fieldlog.moments import moments

    taken_at = str(point.logged.body["taken_at"])
    if point.combine != combine.id:
        return point
    at = datetime.fromisoformat(taken_at).timestamp()
    moment = moments(log.cleaned, np.array([at]))[0]
    if moment.doubts == ("not in the log",):
        return point
    known[point.logged.id] = JoinedCheck(point.logged.id, taken_at, moment, point.speed_kmh)
    if not moment.stands:
        return point
    # The yield that makes speed × width × yield the grain that went through.
    crop_kg_ha = KG_PER_T * 10.0 * moment.throughput_t_h / (moment.speed_kmh * moment.width_m)
    return replace(point, speed_kmh=moment.speed_kmh, width_m=moment.width_m, yield_kg_ha=crop_kg_ha)


def measured(found: LogLoss) -> dict[str, Any]:
    """What the field lost as plain data, in kg, hectares and hours: what command and paper both tell."""
    return {
        "total_kg": as_range(found.total_kg),
        "machine_kg": as_range(found.machine_kg),
        "header_kg": as_range(found.header_kg),
        "kg_ha": as_range(found.kg_ha),
        "money": as_range(found.money),
        "cut_ha": found.cut_ha,
        "counted_ha": found.known_ha,
        "hours_cutting": found.hours,
    }
