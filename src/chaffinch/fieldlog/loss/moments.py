"""How much grain went through the machine when a check was taken?

The pan drops at a moment. What it catches was cut some seconds before, and the machine has to have run steadily for it
to stand for a load: the records from 60 to 20 seconds before the drop are taken, with the flow put back by its lag. A
check whose speed varied by more than 15 % in that time, or that did not cut at full width, says so and gives no load.

Source: join rule of our own trial on open logs (derived); lag from :mod:`chaffinch.fieldlog.cleaning.lag`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

import numpy as np

from chaffinch.fieldlog.cleaning.clean import Cleaned, Flag
from chaffinch.fieldlog.rows import KG_S_TO_T_H, FloatArray, IntArray

FROM_S, TO_S = 60.0, 20.0
"""Window before the drop [s] (derived)."""
SPEED_VARIES: Final = 0.15
"""Most that speed may vary in the window, between its 5 and 95 % points over its median [1] (derived)."""
FULL_WIDTH: Final = 0.95
"""Least width over the usual one [1] (derived)."""
LEAST_RECORDS: Final = 5
"""Records the window must hold [1]; own figure."""
BAD: Final = Flag.STATUS | Flag.POSITION | Flag.DELAY | Flag.TURN | Flag.PASS_END | Flag.OVERLAP
"""Flags of records that cannot stand for a moment."""

Doubt = Literal["not in the log", "too few records", "speed varied", "not at full width", "no flow"]


@dataclass(frozen=True, slots=True)
class Moment:
    """What the log says of a moment.

    Parameters
    ----------
    throughput_t_h, speed_kmh, width_m, yield_t_ha : float
        Medians of the window; NaN where the log does not tell, or doubts stand.
    records : int
        Records of the window that count.
    doubts : tuple of str
        Why it gives no load; empty when it does.
    """

    throughput_t_h: float
    speed_kmh: float
    width_m: float
    yield_t_ha: float
    records: int
    doubts: tuple[Doubt, ...]

    @property
    def stands(self) -> bool:
        """Whether it gives a load."""
        return not self.doubts


def moments(
    cleaned: Cleaned, time_s: FloatArray, machine: str | None = None, usual_m: float | None = None
) -> list[Moment]:
    """Look up moments.

    Parameters
    ----------
    cleaned : Cleaned
    time_s : array, shape (m,)
        Moments in UTC seconds; parts whose clock is not ``utc`` are left out.
    machine : str or None
        Only parts of this machine; None for all.
    usual_m : float or None
        Usual width [m], where ``cleaned`` holds only some of the records; None: that of the records.
    """
    rows = cleaned.rows
    mine = np.array([p.clock == "utc" and machine in (None, p.machine) for p in rows.parts], np.bool_)
    used = np.flatnonzero(mine[rows.part] & ~np.isnan(rows.column("time_s"))) if len(rows) else np.zeros(0, np.int64)
    used = used[np.argsort(rows.column("time_s")[used], kind="stable")]
    time = rows.column("time_s")[used]
    if usual_m is None:
        widths = rows.column("width_m")[used]
        widths = widths[widths > 0]
        usual_m = float(np.median(widths)) if widths.size else float("nan")
    return [_moment(cleaned, used, time, float(at), usual_m) for at in time_s]


def _moment(cleaned: Cleaned, used: IntArray, time: FloatArray, at: float, usual_m: float) -> Moment:
    low, high = np.searchsorted(time, [at - FROM_S, at - TO_S], side="left")
    nothing = float("nan")
    if low == high:
        return Moment(nothing, nothing, nothing, nothing, 0, ("not in the log",))
    window = used[int(low) : int(high)]
    good = window[(cleaned.flags[window] & BAD) == 0]
    if good.size < LEAST_RECORDS or good.size < 0.8 * window.size:
        return Moment(nothing, nothing, nothing, nothing, int(good.size), ("too few records",))
    rows = cleaned.rows
    speed, width, flow = rows.column("speed_kmh")[good], rows.column("width_m")[good], cleaned.flow_kg_s[good]
    middle = float(np.nanmedian(speed)) if not np.isnan(speed).all() else nothing
    doubts: list[Doubt] = []
    spread = np.nanquantile(speed, [0.05, 0.95]) if not np.isnan(middle) else np.array([0.0, np.inf])
    if not spread[1] - spread[0] <= SPEED_VARIES * middle:
        doubts.append("speed varied")
    if not np.isnan(width).all() and float(np.nanmin(width)) < FULL_WIDTH * usual_m:
        doubts.append("not at full width")
    if np.isnan(flow).all():
        doubts.append("no flow")
    if doubts:
        return Moment(nothing, nothing, nothing, nothing, int(good.size), tuple(doubts))
    crop = cleaned.yield_t_ha[good]
    return Moment(
        KG_S_TO_T_H * float(np.nanmedian(flow)),
        middle,
        float(np.nanmedian(width)) if not np.isnan(width).all() else nothing,
        float(np.nanmedian(crop)) if not np.isnan(crop).all() else nothing,
        int(good.size),
        (),
    )
