"""What would another pace have brought on the field of a log, and at which one would grain and time have cost least?

The pace's own mathematics (:mod:`chaffinch.engine.pace.best`), over the mean loss of the field as it really stood:
heavy and light places each at their own load, instead of one yield for all.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from chaffinch.book.desk import Desk
from chaffinch.book.fieldlogs.answer import OtherPace
from chaffinch.book.hour_plausible import meant, refuse_above_grain
from chaffinch.book.pace.best import UNTESTED_KMH, round_speeds, tested_kmh
from chaffinch.book.pace.curves import Curves
from chaffinch.book.pace.hour_costs import StoredHour, stored_hour
from chaffinch.book.things import Thing, things
from chaffinch.engine.domain import FloatArray, not_negative, positive
from chaffinch.engine.estimate import Range
from chaffinch.engine.pace.best import Pace, best_pace
from chaffinch.engine.pace.curves import LossAtSpeeds
from chaffinch.errors import InputError

if TYPE_CHECKING:
    from chaffinch.fieldlog.loss.whole_field import FieldLoss, Tally

KM_M_PER_HA = 10.0
KG_PER_T = 1000.0
STEP_KMH = 0.5


@dataclass(frozen=True, slots=True)
class Cost:
    """What grain and time of a machine are worth, where known: price [money/t], one more hour of it [money/h].

    ``stored`` is where the hour cost comes from when the book told it.
    """

    price_per_t: float | None = None
    hour_cost_per_h: float | None = None
    stored: StoredHour | None = None

    def of_kg(self, kg: Range) -> Range | None:
        """Money of grain; None without a price."""
        return None if self.price_per_t is None else kg.times(self.price_per_t / KG_PER_T)

    def of_hours(self, hours: float) -> float | None:
        """Money of time; None where no hour cost is known."""
        return None if self.hour_cost_per_h is None else hours * not_negative("hour cost", self.hour_cost_per_h)


def stored_costs(desk: Desk, combines: Sequence[Thing], price_per_t: float | None, *, needed: bool) -> list[Cost]:
    """What an hour of each combine costs by the book, the price beside it.

    Parameters
    ----------
    desk : Desk
    combines : sequence of Thing
    price_per_t : float or None
        [money/t]
    needed : bool
        Whether each must have one, as for a best pace.

    Raises
    ------
    InputError
        For one that has none where it is needed, or one whose text cannot be read.
    """
    costs = []
    for combine in combines:
        stored = stored_hour(desk, combine)
        if stored is None and needed:
            problem = f"is needed for the best pace, and the book stores none for {combine.name}"
            raise InputError("hour cost", None, problem, 'add --hour-cost "450 /h", or store one with the farm')
        if stored is not None:
            meant(stored.per_h, field=stored.money.field, shown=stored.money.text)
        costs.append(Cost(price_per_t, None if stored is None else stored.per_h, stored))
    return costs


def refuse_without_hour(desk: Desk, combine: Thing | None) -> None:
    """Before a log is read: no best pace where nothing in the book says what an hour costs.

    Raises
    ------
    InputError
        As :func:`stored_costs`; without a combine, where no combine and no farm has one.
    """
    of = [combine] if combine is not None else [t for t in things(desk, "combine") if not t.retired]
    if combine is not None or not any(stored_hour(desk, one) for one in of):
        stored_costs(desk, of[:1], None, needed=True)


def other_pace(
    speed_kmh: float,
    now: Sequence[tuple[Tally, FieldLoss]],
    then: Sequence[tuple[Tally, FieldLoss]],
    costs: Sequence[Cost],
) -> OtherPace:
    """Machines as they cut and as they would have, added world by world.

    Parameters
    ----------
    speed_kmh : float
        Pace of all of them; NaN where each has its own.
    now, then : sequence of (Tally, FieldLoss)
        Of the same machines.
    costs : sequence of Cost
        Of each of them; their prices are one.
    """
    from chaffinch.book.fieldlogs.runs import beyond_share
    from chaffinch.fieldlog.loss.whole_field import interval_of

    before, after = (np.sum([loss.total_kg for _, loss in one], axis=0) for one in (now, then))
    saved = interval_of(before - after)
    mores = [after.hours - before.hours for (before, _), (after, _) in zip(now, then, strict=True)]
    hours, more = sum(tally.hours for tally, _ in then), sum(mores)
    worth = costs[0].of_kg(saved)
    times = [cost.of_hours(one) for cost, one in zip(costs, mores, strict=True)]
    # Where one machine's hour is not known, the cost of all their time is not, either.
    time_cost = None if None in times else sum(one for one in times if one is not None)
    gain = None
    if worth is not None and time_cost is not None:
        gain = Range(worth.low - time_cost, worth.median - time_cost, worth.high - time_cost)
    beyond = beyond_share([loss for _, loss in then])
    return OtherPace(speed_kmh, interval_of(after), saved, hours, more, beyond, worth, time_cost, gain)


def speeds_to_try(
    found: Curves, width_m: float, most_kg_ha: float | None
) -> tuple[FloatArray, tuple[float, float] | None]:
    """Speeds a best pace is sought among [km/h], and those that were tested.

    Parameters
    ----------
    found : Curves
    width_m : float
        Middle width of the records that count [m].
    most_kg_ha : float or None
        Middle yield of the field [kg/ha].
    """
    by_speed = found.load_kind == "speed" or most_kg_ha is None
    per_kmh = 1.0 if by_speed or most_kg_ha is None else width_m / KM_M_PER_HA * most_kg_ha / KG_PER_T
    tested = tested_kmh(found, per_kmh)
    low, high = UNTESTED_KMH if tested is None else (0.9 * tested[0], 1.1 * tested[1])
    return round_speeds(low, high, STEP_KMH), tested


def best_of_field(
    found: Curves,
    tally: Tally,
    speeds_kmh: FloatArray,
    at: Sequence[FieldLoss],
    cost: Cost,
    *,
    tested: tuple[float, float] | None,
    most_kg_ha: float | None,
    fastest_kmh: float | None = None,
) -> Pace:
    """The pace that would have cost least on this field, never more than a tenth beyond the speeds and loads tested.

    Parameters
    ----------
    found : Curves
    tally : Tally
        The records of one combine, as they were cut.
    speeds_kmh, tested
        From :func:`speeds_to_try`.
    at : sequence of FieldLoss
        Of the field cut at each of the speeds; draws of all are the same worlds.
    cost : Cost
        With both figures.
    most_kg_ha : float or None
        Middle yield of the field [kg/ha].
    fastest_kmh : float or None
        Speed that must not be passed [km/h].

    Raises
    ------
    InputError
        As :func:`chaffinch.engine.pace.best.best_pace`.
    """
    assert cost.price_per_t is not None
    assert cost.hour_cost_per_h is not None
    refuse_above_grain(
        cost.hour_cost_per_h, width_m=tally.width_m, yield_kg_ha=most_kg_ha, price_per_t=cost.price_per_t
    )
    machine = np.stack([one.machine_kg / one.cut_ha for one in at], axis=1)
    header = None if found.header is None else np.stack([one.header_kg / one.cut_ha for one in at], axis=1)
    loss = LossAtSpeeds(speeds_kmh, machine, header, np.full(len(machine), 1.0 / len(machine)), tested, most_kg_ha)
    return best_pace(
        loss,
        width_m=positive("width", tally.width_m),
        price_per_t=cost.price_per_t,
        hour_cost_per_h=cost.hour_cost_per_h,
        lost_time_h_ha=tally.waiting_hours / tally.cut_ha,
        fastest_kmh=fastest_kmh,
    )
