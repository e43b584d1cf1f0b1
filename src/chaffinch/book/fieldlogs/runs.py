"""What does each combine of a log lose on its own part of the field, in draws of the same worlds?

A run is one combine with its records. Runs are walked through piece by piece and summed apart; row i of all of them is
one world, in which an error that their checks share is the same, so that their draws may be added.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import TYPE_CHECKING, Final

import numpy as np

from chaffinch.book.checks.points import CheckPoint
from chaffinch.book.desk import Desk
from chaffinch.book.fieldlogs.answer import JoinedCheck
from chaffinch.book.fieldlogs.machines import Whose, whose_records
from chaffinch.book.pace.crop_points import crop_points
from chaffinch.book.pace.curves import Curves, curves
from chaffinch.book.things import Thing
from chaffinch.engine.domain import FloatArray
from chaffinch.engine.ledger.sharing import factors_together
from chaffinch.engine.pace.curves import PAIRED_DRAWS, paired
from chaffinch.errors import InputError

if TYPE_CHECKING:
    from chaffinch.fieldlog.cleaning.clean import Cleaned
    from chaffinch.fieldlog.loss.whole_field import FieldLoss, LossDraws, Tally, Usage
    from chaffinch.fieldlog.on_disk.pieces import CleanedLog

KG_PER_T: Final = 1000.0
PER_COMBINE: Final = 2
"""Numbers of each draw that pick a combine's curves, and as many for the errors it shares [1]."""


@dataclass(frozen=True, slots=True)
class Run:
    """One combine of a log.

    Attributes
    ----------
    whose : Whose
    curves : Curves
    tally : Tally
        Its records.
    draws : callable
        Its loss at any loads and speeds, rows of the same worlds as those of the other runs.
    most_kg_ha : float or None
        Middle yield of its records [kg/ha]: no draw counts for more.
    loss : FieldLoss
    """

    whose: Whose
    curves: Curves
    tally: Tally
    draws: LossDraws
    most_kg_ha: float | None
    loss: FieldLoss

    def at(self, tally: Tally) -> FieldLoss:
        """The loss of other records, or the same at another pace, in the same worlds."""
        return _loss(self.curves, tally, self.draws, self.most_kg_ha)


def runs_of(
    desk: Desk,
    log: CleanedLog,
    combine: Thing | None,
    machine_is: Mapping[str, str],
    crop: str,
    *,
    season: str | None,
    seed: int,
) -> tuple[list[Run], dict[str, JoinedCheck]]:
    """Each combine of a log with its curves and its sums, and the checks taken while the log ran.

    Parameters
    ----------
    desk, combine, machine_is, crop, season, seed
        As for :func:`chaffinch.book.fieldlogs.losses.log_loss`.
    log : CleanedLog
        Of that machine, where one is named.

    Raises
    ------
    InputError
        As there.
    """
    from chaffinch.fieldlog.loss.whole_field import Tally
    from chaffinch.fieldlog.on_disk.pieces import machines_in, median_over, pieces_of

    names = machines_in(log)
    if combine is not None:
        all_whose = [Whose(combine, names)]
    else:
        all_whose = whose_records(desk, names, machine_is, all_names=names)
    tallies = [Tally() for _ in all_whose]
    for k, _, use in shares(log, all_whose):
        tallies[k].add(use)
    for whose, tally in zip(all_whose, tallies, strict=True):
        if tally.known_ha <= 0.0:
            what = "log" if len(all_whose) == 1 else f"machine {whose.called}"
            raise InputError(what, 0, "has no record that counts and tells load and area", "look at: fieldlog clean")
    points = crop_points(desk, crop, season=season, seed=seed)
    joined = _Joined(log, all_whose, points)
    found = [curves(desk, one.combine, crop, season=season, joined=joined, seed=seed) for one in all_whose]
    worlds = _worlds(found, seed)
    runs = []
    for whose, curve, tally, draws in zip(all_whose, found, tallies, worlds, strict=True):

        def yields(mine: tuple[str, ...] = whose.names) -> Iterator[FloatArray]:
            for piece in pieces_of(log, mine):
                yield piece.yield_t_ha[piece.counts]

        most = median_over(yields) * KG_PER_T
        held = most if np.isfinite(most) and most > 0 else None
        runs.append(Run(whose, curve, tally, draws, held, _loss(curve, tally, draws, held)))
    return runs, joined.found


def shares(log: CleanedLog, machines: Sequence[Whose]) -> Iterator[tuple[int, Cleaned, Usage]]:
    """Records of each combine in each piece: (which combine, records, how they cut)."""
    from chaffinch.fieldlog.loss.whole_field import usage
    from chaffinch.fieldlog.on_disk.pieces import pieces_of

    for piece in log.pieces():
        for k, whose in enumerate(machines):
            for mine in pieces_of(piece, whose.names):
                yield k, mine, usage(mine)


def losses_at(
    log: CleanedLog, runs: Sequence[Run], speeds_kmh: Sequence[FloatArray]
) -> list[list[tuple[Tally, FieldLoss]]]:
    """The same records cut at other paces: for each run, what comes of each of its speeds.

    Parameters
    ----------
    log, runs
        As they were summed.
    speeds_kmh : sequence of array
        For each run; all of them are worked out in one walk.
    """
    from chaffinch.fieldlog.loss.whole_field import Tally, at_pace

    tallies = [[Tally() for _ in speeds] for speeds in speeds_kmh]
    for k, mine, use in shares(log, [run.whose for run in runs]):
        for tally, kmh in zip(tallies[k], speeds_kmh[k].tolist(), strict=True):
            tally.add(at_pace(use, mine, kmh))
    found = []
    for run, own, speeds in zip(runs, tallies, speeds_kmh, strict=True):
        for tally, kmh in zip(own, speeds.tolist(), strict=True):
            # Of the whole way, not piece by piece: records without a speed went as fast as all the others.
            tally.hours = tally.told_hours = run.tally.way_km / kmh
            tally.told_km = run.tally.way_km
        found.append([(tally, run.at(tally)) for tally in own])
    return found


def beyond_share(losses: Sequence[FieldLoss]) -> float:
    """Share of the area beyond the loads tested, of those that were tested at all [0-1]; NaN where none was."""
    known = [one for one in losses if not np.isnan(one.beyond_share)]
    area = sum(one.known_ha for one in known)
    return sum(one.beyond_share * one.known_ha for one in known) / area if area > 0 else float("nan")


def beside(curve: Curves, joined: Mapping[str, JoinedCheck]) -> list[tuple[float, CheckPoint]]:
    """Moments [UTC s] and checks of a combine that stand in the log."""
    return [
        (_taken_s(point), point)
        for point in curve.own
        if point.logged.id in joined and joined[point.logged.id].moment.stands
    ]


def _loss(curve: Curves, tally: Tally, draws: LossDraws, most_kg_ha: float | None) -> FieldLoss:
    from chaffinch.fieldlog.loss.whole_field import field_loss

    over_speed = curve.load_kind == "speed"
    tested = curve.machine.tested(curve.combine.id)
    return field_loss(tally, draws, over_speed=over_speed, tested=tested, most_kg_ha=most_kg_ha)


def _worlds(found: Sequence[Curves], seed: int) -> list[LossDraws]:
    """For each combine its curves at any loads and speeds, rows of all of them the same worlds.

    Each combine that was tested is drawn apart. Those that never were are draws from what is known of combines at all,
    and are taken to be alike: the wider range of the two that are possible.
    """
    if len(found) == 1:
        return [_draws_of(found[0], seed, 0, None)]
    shared = [part for one in found for part in (one.shared.machine, one.shared.header)]
    factors = factors_together(shared, PAIRED_DRAWS, seed=seed, first=PER_COMBINE * len(found))
    untested = [k for k, one in enumerate(found) if one.machine.tested(one.combine.id) is None]
    return [
        _draws_of(one, seed, untested[0] if k in untested else k, factors[:, PER_COMBINE * k : PER_COMBINE * (k + 1)])
        for k, one in enumerate(found)
    ]


def _draws_of(found: Curves, seed: int, place: int, factors: FloatArray | None) -> LossDraws:
    """Both curves of a combine at any loads and speeds, rows of the same worlds together."""

    def draws(loads: FloatArray, speeds: FloatArray) -> tuple[FloatArray, FloatArray | None]:
        own = found.combine.id
        machine = found.machine.loss_kg_ha(loads, combine=own, setup=found.setup or None, shared_error=False)
        header = None
        if found.header is not None:
            drawn = found.header.loss_kg_ha(speeds, combine=own, shared_error=False)
            header = (drawn, found.header.weights)
        worlds = (machine, found.machine.weights)
        return paired(worlds, header, shared=found.shared, seed=seed, place=place, factors=factors)

    return draws


class _Joined:
    """A check of a combine in the log with what its records say of the moment; any other as it is.

    Parameters
    ----------
    log, machines
        The combines whose checks are looked up, each in its own records.
    points : sequence of CheckPoint
        All checks that will be asked about: the records around them are picked out in one walk for each combine.
    """

    def __init__(self, log: CleanedLog, machines: Sequence[Whose], points: Sequence[CheckPoint]) -> None:
        from chaffinch.fieldlog.loss.moments import moments
        from chaffinch.fieldlog.on_disk.pieces import around_moments

        self.found: dict[str, JoinedCheck] = {}
        for whose in machines:
            own = [point for point in points if point.combine == whose.combine.id]
            at = np.array([_taken_s(point) for point in own])
            near, usual_m = around_moments(log, whose.names, at)
            if near is None:
                continue
            for point, moment in zip(own, moments(near, at, usual_m=usual_m), strict=True):
                if moment.doubts != ("not in the log",):
                    taken_at = str(point.logged.body["taken_at"])
                    one = JoinedCheck(point.logged.id, taken_at, moment, point.speed_kmh)
                    self.found[point.logged.id] = one

    def __call__(self, point: CheckPoint) -> CheckPoint:
        """The point as the curves shall see it."""
        one = self.found.get(point.logged.id)
        if one is None or not one.moment.stands:
            return point
        moment = one.moment
        # The yield that makes speed × width × yield the grain that went through.
        crop_kg_ha = KG_PER_T * 10.0 * moment.throughput_t_h / (moment.speed_kmh * moment.width_m)
        return replace(point, speed_kmh=moment.speed_kmh, width_m=moment.width_m, yield_kg_ha=crop_kg_ha)


def _taken_s(point: CheckPoint) -> float:
    return datetime.fromisoformat(str(point.logged.body["taken_at"])).timestamp()
