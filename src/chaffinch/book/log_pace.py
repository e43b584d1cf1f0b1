"""At which pace would grain lost and time spent have cost least on the field of a log?

The pace's own mathematics (:mod:`chaffinch.engine.pace`), over the mean loss of the field as it really stood: heavy and
light places each at their own load, instead of one yield for all.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

import numpy as np

from chaffinch.book.curves import Curves
from chaffinch.book.pace import UNTESTED_KMH, round_speeds, tested_kmh
from chaffinch.engine.domain import positive
from chaffinch.engine.pace import Pace, best_pace
from chaffinch.engine.pace_curves import LossAtSpeeds

if TYPE_CHECKING:
    from chaffinch.fieldlog.clean import Cleaned
    from chaffinch.fieldlog.loss import FieldLoss, Usage

KM_M_PER_HA = 10.0
STEP_KMH = 0.5


def best_of_field(
    found: Curves,
    cleaned: Cleaned,
    use: Usage,
    loss_of: Callable[[Usage], FieldLoss],
    *,
    price_per_t: float,
    hour_cost_per_h: float,
    most_kg_ha: float | None,
    fastest_kmh: float | None = None,
) -> Pace:
    """The pace that would have cost least on this field, never more than a tenth beyond the speeds and loads tested.

    Parameters
    ----------
    found : Curves
    cleaned, use
        The log, of one machine.
    loss_of : callable
        Loss of the field cut in some way; draws of all calls are the same worlds.
    price_per_t, hour_cost_per_h : float
        [money/t] and [money/h]
    most_kg_ha : float or None
        Middle yield of the field [kg/ha].
    fastest_kmh : float or None
        Speed that must not be passed [km/h].

    Raises
    ------
    InputError
        As :func:`chaffinch.engine.pace.best_pace`.
    """
    from chaffinch.fieldlog.loss import at_pace

    known = ~np.isnan(use.area_ha)
    width = float(np.nanmedian(cleaned.rows.column("width_m")[known]))
    per_kmh = 1.0 if found.load_kind == "speed" or most_kg_ha is None else width / KM_M_PER_HA * most_kg_ha / 1000.0
    tested = tested_kmh(found, per_kmh)
    low, high = UNTESTED_KMH if tested is None else (0.9 * tested[0], 1.1 * tested[1])
    speeds = round_speeds(low, high, STEP_KMH)
    at = [loss_of(at_pace(use, cleaned, float(speed))) for speed in speeds]
    machine = np.stack([one.machine_kg / one.cut_ha for one in at], axis=1)
    header = None if found.header is None else np.stack([one.header_kg / one.cut_ha for one in at], axis=1)
    loss = LossAtSpeeds(speeds, machine, header, np.full(len(machine), 1.0 / len(machine)), tested, most_kg_ha)
    return best_pace(
        loss,
        width_m=positive("width", use.width_m),
        price_per_t=price_per_t,
        hour_cost_per_h=hour_cost_per_h,
        lost_time_h_ha=use.waiting_hours / use.cut_ha,
        fastest_kmh=fastest_kmh,
    )
