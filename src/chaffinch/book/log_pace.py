"""What would another pace have brought on the field of a log, and at which one would grain and time have cost least?

The pace's own mathematics (:mod:`chaffinch.engine.pace`), over the mean loss of the field as it really stood: heavy and
light places each at their own load, instead of one yield for all.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from chaffinch.book.curves import Curves
from chaffinch.book.log_answer import OtherPace
from chaffinch.book.pace import UNTESTED_KMH, round_speeds, tested_kmh
from chaffinch.engine.domain import FloatArray, not_negative, positive
from chaffinch.engine.estimate import Range
from chaffinch.engine.pace import Pace, best_pace
from chaffinch.engine.pace_curves import LossAtSpeeds

if TYPE_CHECKING:
    from chaffinch.fieldlog.loss import FieldLoss, Tally

KM_M_PER_HA = 10.0
KG_PER_T = 1000.0
STEP_KMH = 0.5


@dataclass(frozen=True, slots=True)
class Cost:
    """What grain and time are worth, where told: price [money/t], and one more hour of one machine [money/h]."""

    price_per_t: float | None = None
    hour_cost_per_h: float | None = None

    def of_kg(self, kg: Range) -> Range | None:
        """Money of grain; None without a price."""
        return None if self.price_per_t is None else kg.times(self.price_per_t / KG_PER_T)

    def of_hours(self, hours: float) -> float | None:
        """Money of time; None where no hour cost was told."""
        return None if self.hour_cost_per_h is None else hours * not_negative("hour cost", self.hour_cost_per_h)


def other_pace(
    speed_kmh: float, now: Sequence[tuple[Tally, FieldLoss]], then: Sequence[tuple[Tally, FieldLoss]], cost: Cost
) -> OtherPace:
    """Machines as they cut and as they would have, added world by world.

    Parameters
    ----------
    speed_kmh : float
        Pace of all of them; NaN where each has its own.
    now, then : sequence of (Tally, FieldLoss)
        Of the same machines.
    cost : Cost
    """
    from chaffinch.book.log_runs import beyond_share
    from chaffinch.fieldlog.loss import interval_of

    before, after = (np.sum([loss.total_kg for _, loss in one], axis=0) for one in (now, then))
    saved = interval_of(before - after)
    hours = sum(tally.hours for tally, _ in then)
    more = hours - sum(tally.hours for tally, _ in now)
    worth, time_cost = cost.of_kg(saved), cost.of_hours(more)
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
        As :func:`chaffinch.engine.pace.best_pace`.
    """
    assert cost.price_per_t is not None
    assert cost.hour_cost_per_h is not None
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
