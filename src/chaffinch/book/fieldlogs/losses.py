"""What did the field lose that this log is of, and what would another pace have brought?

The log says how much each machine took in at every moment, the checks of the book what it loses at each load. Checks
taken while the log ran get their load from it, so that the curve learns from what really went through. Where several
machines cut the field, each is summed by the curves of its own combine, and their draws are added world by world.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Final, overload

import numpy as np

from chaffinch.book.desk import Desk
from chaffinch.book.fieldlogs.answer import JoinedCheck, LogLoss, MachineLoss, OtherPace, measured
from chaffinch.book.fieldlogs.large import LogWalked, cleaned_log, one_of_walked
from chaffinch.book.fieldlogs.one_log import LogCleaned, of_records
from chaffinch.book.fieldlogs.pace import (
    Cost,
    best_of_field,
    other_pace,
    refuse_without_hour,
    speeds_to_try,
    stored_costs,
)
from chaffinch.book.fieldlogs.runs import Run, beside, beyond_share, losses_at, runs_of, shares
from chaffinch.book.fieldlogs.sensor import sensor_of
from chaffinch.book.fieldlogs.zones import ZonesTold, ZoneSums
from chaffinch.book.things import Thing
from chaffinch.engine.domain import FloatArray, between, positive
from chaffinch.engine.pace.best import Pace
from chaffinch.errors import InputError
from chaffinch.fieldlog.work_folder import refuse_itself
from chaffinch.how_far import Progress

if TYPE_CHECKING:
    from chaffinch.fieldlog.answers import Answers
    from chaffinch.fieldlog.loss.whole_field import FieldLoss, Tally
    from chaffinch.fieldlog.on_disk.pieces import CleanedLog

__all__ = ["JoinedCheck", "LogLoss", "MachineLoss", "OtherPace", "log_loss", "measured", "one_machine", "write_map"]

CELL_SWATHS: Final = 3.0
"""Side of a square of the map [swaths]; own figure: below, one pass is a square."""
SPEED_CLASS_KMH: Final = 1.0
PICTURE: Final = ".png"
"""Ending of a map to look at."""
HOUR_S: Final = 3600.0
MEANT_KMH: Final = (0.5, 25.0)
"""Speeds a combine can be meant to cut at [km/h]; own figures."""


def log_loss(
    desk: Desk,
    combine: Thing | None,
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
    machine_is: Mapping[str, str] | None = None,
    zones: ZonesTold | None = None,
    class_kmh: float = SPEED_CLASS_KMH,
    settings: Mapping[str, float] | None = None,
    seed: int = 1,
    piece: int | None = None,
    progress: Progress | None = None,
) -> LogLoss:
    """Sum the loss of everything in a log, by the curves of the combines that wrote it.

    Parameters
    ----------
    desk, crop, season, seed
        As for :func:`chaffinch.book.pace.curves.curves`.
    combine : Thing or None
        Whose curves count, where one machine is summed; None: each machine's own combine, by its name.
    path, answers, settings, piece, progress
        As for :func:`chaffinch.book.fieldlogs.large.cleaned_log`.
    price_per_t : float or None
        [money/t]
    other_kmh : float or None
        Another pace to compare with [km/h].
    best : bool
        Look for the best pace, of each machine its own, and compare with that; needs a price and an hour cost.
    hour_cost_per_h : float or None
        What one more hour of each machine costs [money/h]; None: what the book stores, where another pace is asked for.
    fastest_kmh : float or None
        Speed the best pace must not pass [km/h].
    machine : str or None
        Whose records count, by its name in the log; None: all. All are cleaned together.
    machine_is : mapping of str to str, or None
        Name in the log to name of the combine, where they are called differently.
    zones : ZonesTold or None
        Areas to tell the loss of.
    class_kmh : float
        How wide the classes of speed are [km/h].

    Raises
    ------
    InputError
        As for those two; for a machine whose combine is not clear, a log of several machines by one combine's curves,
        one without grain flow or yield, and when no record of a machine counts.
    """
    from chaffinch.fieldlog.loss.whole_field import interval_of

    for name, speed in (("other pace", other_kmh), ("fastest speed", fastest_kmh)):
        if speed is not None:
            between(name, speed, *MEANT_KMH, "write a speed of a combine while cutting, like 6 km/h")
    if best and other_kmh is not None:
        raise InputError("other pace", other_kmh, "is given, and the best one asked for", "ask for one of the two")
    if best and price_per_t is None:
        raise InputError("price", None, "is needed for the best pace", "add --price")
    if best and hour_cost_per_h is None:
        refuse_without_hour(desk, combine)
    if combine is not None and machine_is:
        problem = "is told, and one combine for all besides"
        raise InputError("machine-is", ", ".join(machine_is), problem, "leave one of the two out")
    log = cleaned_log(path, None, answers, settings=settings, piece=piece, progress=progress)
    if machine is not None or combine is not None:
        log = one_machine(log, machine)
    runs, joined = runs_of(desk, log.cleaned, combine, machine_is or {}, crop, season=season, seed=seed)
    if (best or other_kmh is not None) and any(run.tally.hours <= 0.0 for run in runs):
        problem = "tells no time, and no speed to work it out from: no pace can be held against another"
        raise InputError("log", None, problem, "export it with its time or its speed")
    costs = [Cost(price_per_t, hour_cost_per_h)] * len(runs)
    if hour_cost_per_h is None and (best or other_kmh is not None):
        costs = stored_costs(desk, [run.whose.combine for run in runs], price_per_t, needed=best)
    paces = _best(log.cleaned, runs, costs, fastest_kmh) if best else [None] * len(runs)
    asked = [other_kmh if pace is None else pace.best_kmh for pace in paces]
    now = [(run.tally, run.loss) for run in runs]
    then: list[tuple[Tally, FieldLoss]] = []
    if all(kmh is not None for kmh in asked):
        then = [one[0] for one in losses_at(log.cleaned, runs, [np.array([kmh], np.float64) for kmh in asked])]
    of_parts = _Parts(log.cleaned, runs, positive("class_kmh", class_kmh), zones)
    total = _added(run.loss.total_kg for run in runs)
    seen = [run.loss.header_kg for run in runs if run.curves.header is not None]
    cut_ha, hours, way_km = (sum(getattr(run.tally, name) for run in runs) for name in ("cut_ha", "hours", "way_km"))
    machines = []
    for k, (run, kmh, pace) in enumerate(zip(runs, asked, paces, strict=True)):
        other = other_pace(kmh, [now[k]], [then[k]], [costs[k]]) if then and kmh is not None else None
        machines.append(_machine_loss(log.cleaned, run, joined, costs[k], other, pace, seed))
    one_pace = asked[0] if len(set(asked)) == 1 and asked[0] is not None else float("nan")
    return LogLoss(
        log=log,
        machines=tuple(machines),
        joined=tuple(joined.values()),
        total_kg=interval_of(total),
        machine_kg=interval_of(_added(run.loss.machine_kg for run in runs)),
        header_kg=interval_of(_added(seen)) if seen else None,
        kg_ha=interval_of(total / cut_ha),
        money=costs[0].of_kg(interval_of(total)),
        cut_ha=cut_ha,
        known_ha=sum(run.loss.known_ha for run in runs),
        hours=hours,
        beyond_share=beyond_share([run.loss for run in runs]),
        by_speed=of_parts.by_speed.found(),
        by_hour=of_parts.by_hour.found() if of_parts.by_hour is not None else (),
        squares=tuple(of_parts.cells.found()),
        other=other_pace(one_pace, now, then, costs) if then else None,
        mean_kmh=way_km / hours if hours > 0 else float("nan"),
        by_zone=() if of_parts.zones is None else of_parts.zones.found(price_per_t),
        in_several=0 if of_parts.zones is None else of_parts.zones.in_several,
    )


def refuse_map(path: str | Path, to: str | Path | None, *, replace: bool) -> None:
    """Refuse a place for the map, or for its picture, before a long log is summed for it.

    Raises
    ------
    InputError
        For the log itself, an ending no map has, and a file that is there already.
    """
    from chaffinch.fieldlog.writing.records import map_format

    refuse_itself(path, to)
    if to is None:
        return
    where = Path(to)
    # A picture is drawn elsewhere; that its file is there is refused alike.
    map_format(where.with_suffix(".gpkg") if where.suffix.lower() == PICTURE else where, replace=True)
    if where.exists() and not replace:
        raise InputError("output", where.name, "is there already", "give another name, or --replace it")


def write_map(found: LogLoss, to: str | Path, *, replace: bool = False) -> None:
    """Write the squares of the map as GeoPackage, GeoJSON or GeoParquet.

    Raises
    ------
    InputError
        For another ending, a file that is there, or one that cannot be written.
    """
    from chaffinch.fieldlog.writing.records import write_cells

    write_cells(Path(to), found.squares, replace=replace)


@overload
def one_machine(log: LogCleaned, machine: str | None) -> LogCleaned: ...
@overload
def one_machine(log: LogWalked, machine: str | None) -> LogWalked: ...
def one_machine(log: LogCleaned | LogWalked, machine: str | None) -> LogCleaned | LogWalked:
    """The log with the records of one machine, cleaned among all; of several one must be named."""
    from chaffinch.fieldlog.cleaning.machines import of_machine
    from chaffinch.fieldlog.on_disk.pieces import machines_in

    machines = machines_in(log.cleaned)
    if machine is None and len(machines) > 1:
        names = ", ".join(name or "one without a name" for name in machines)
        mend = "choose one: --machine NAME; or leave the combine out, and each is summed by its own"
        raise InputError("log", names, "is of several machines", mend)
    if machine is None:
        return log
    if isinstance(log, LogWalked):
        return one_of_walked(log, machine)
    return of_records(log.found, of_machine(log.cleaned, machine))


class _Parts:
    """The loss by speed, by hour, by square and by zone: one walk through the log."""

    def __init__(self, log: CleanedLog, runs: Sequence[Run], class_kmh: float, zones: ZonesTold | None) -> None:
        from chaffinch.fieldlog.loss.parts import CellTally, ClassTally
        from chaffinch.fieldlog.on_disk.pieces import median_over, middle_over

        def column(name: str) -> Callable[[], Iterator[FloatArray]]:
            return lambda: (piece.rows.column(name) for piece in log.pieces())

        def widths() -> Iterator[FloatArray]:
            for width in column("width_m")():
                yield width[width > 0]

        self.by_speed = ClassTally(class_kmh)
        self.by_hour = ClassTally(HOUR_S) if all(part.clock == "utc" for part in log.parts) else None
        middle = middle_over(column("lon_deg"), column("lat_deg"))
        self.cells = CellTally(CELL_SWATHS * median_over(widths), middle)
        self.zones = None if zones is None else ZoneSums(zones, [run.loss for run in runs])
        for k, mine, use in shares(log, [run.whose for run in runs]):
            mean = runs[k].loss.mean_of(use)
            self.by_speed.add(use.speed_kmh, use.area_ha, mean)
            if self.by_hour is not None:
                self.by_hour.add(mine.rows.column("time_s"), use.area_ha, mean)
            self.cells.add(mine, use.area_ha, mean)
            if self.zones is not None:
                self.zones.add(k, mine, use)


def _best(log: CleanedLog, runs: Sequence[Run], costs: Sequence[Cost], fastest_kmh: float | None) -> list[Pace | None]:
    """The best pace of each machine."""
    from chaffinch.fieldlog.on_disk.pieces import median_over

    tried = []
    for k, run in enumerate(runs):

        def widths(which: int = k) -> Iterator[FloatArray]:
            for j, mine, use in shares(log, [run.whose for run in runs]):
                if j == which:
                    yield mine.rows.column("width_m")[~np.isnan(use.area_ha)]

        tried.append(speeds_to_try(run.curves, median_over(widths), run.most_kg_ha))
    at = losses_at(log, runs, [speeds for speeds, _ in tried])
    return [
        best_of_field(
            run.curves, run.tally, speeds, [loss for _, loss in losses], cost, tested=tested,
            most_kg_ha=run.most_kg_ha, fastest_kmh=fastest_kmh,
        )
        for run, cost, (speeds, tested), losses in zip(runs, costs, tried, at, strict=True)
    ]  # fmt: skip


def _machine_loss(
    log: CleanedLog,
    run: Run,
    joined: Mapping[str, JoinedCheck],
    cost: Cost,
    other: OtherPace | None,
    pace: Pace | None,
    seed: int,
) -> MachineLoss:
    """What one machine's draws come to."""
    from chaffinch.fieldlog.cleaning.clean import Cleaned
    from chaffinch.fieldlog.loss.whole_field import interval_of, usage
    from chaffinch.fieldlog.on_disk.pieces import pieces_of

    loss, tally = run.loss, run.tally
    total = interval_of(loss.total_kg)
    sensor = None
    if isinstance(log, Cleaned):
        (mine,) = pieces_of(log, run.whose.names)
        heard = beside(run.curves, joined)
        sensor = sensor_of(mine, usage(mine), heard, most_kg_ha=run.most_kg_ha, seed=seed)
    return MachineLoss(
        called=run.whose.called,
        curves=run.curves,
        total_kg=total,
        machine_kg=interval_of(loss.machine_kg),
        header_kg=None if run.curves.header is None else interval_of(loss.header_kg),
        kg_ha=interval_of(loss.total_kg / loss.cut_ha),
        money=cost.of_kg(total),
        cut_ha=loss.cut_ha,
        known_ha=loss.known_ha,
        hours=tally.hours,
        mean_kmh=tally.way_km / tally.hours if tally.hours > 0 else float("nan"),
        beyond_share=loss.beyond_share,
        other=other,
        best=pace,
        sensor=sensor,
        stored=cost.stored,
    )


def _added(draws: Iterable[FloatArray]) -> FloatArray:
    total: FloatArray = np.sum(list(draws), axis=0)
    return total
