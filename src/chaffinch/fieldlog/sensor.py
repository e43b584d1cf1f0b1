"""What did the machine's own loss sensor show, per area, at every record and when a check was taken?

The dictionary has seven ways to write it (DDI 92 to 98): volume, mass or count, per area or per time, or a share of the
crop. None of them is a loss: a sensor hears a part of the grain behind it. All are turned into one reading per area, in
a unit of its own; what that reading means, checks tell (:mod:`chaffinch.engine.monitor`).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from chaffinch.fieldlog.clean import Cleaned
from chaffinch.fieldlog.moments import LEAST_RECORDS, TO_S
from chaffinch.fieldlog.rows import FloatArray, Rows

PER_AREA: Final = ("loss_kg_ha", "loss_seeds_m2", "loss_ml_m2")
PER_TIME: Final = ("loss_g_s", "loss_seeds_s", "loss_ml_s")
SHARE: Final = "loss_share_pct"
M2_PER_HA: Final = 10_000.0
KMH_PER_M_S: Final = 3.6


@dataclass(frozen=True, slots=True)
class SensorReadings:
    """One reading of each record.

    Parameters
    ----------
    column : str
        Which column of the log it comes from.
    per_area : array, shape (n,)
        0 or more, in a unit of the sensor's own per hectare; NaN where it or what turns it is missing.
    """

    column: str
    per_area: FloatArray


def sensor_readings(cleaned: Cleaned) -> SensorReadings | None:
    """The first of the columns of a loss sensor that tells anything, per area before per time; None without one."""
    rows = cleaned.rows
    for column in (*PER_AREA, *PER_TIME, SHARE):
        if column not in rows:
            continue
        shown = _per_area(column, rows, cleaned.yield_t_ha)
        if (shown > 0).any():
            return SensorReadings(column, shown)
    return None


def at_moments(cleaned: Cleaned, readings: SensorReadings, time_s: FloatArray) -> FloatArray:
    """The middle of the readings in the 20 s before each moment [UTC s]; NaN where fewer than five tell one.

    What a pan catches passes the sensor as it falls, so that no delay lies between them.
    """
    rows = cleaned.rows
    utc = np.array([part.clock == "utc" for part in rows.parts], np.bool_)
    time = rows.column("time_s")
    used = np.flatnonzero(utc[rows.part] & ~np.isnan(time) & ~np.isnan(readings.per_area))
    used = used[np.argsort(time[used], kind="stable")]
    found = np.full(len(time_s), np.nan)
    for k, at in enumerate(time_s):
        low, high = np.searchsorted(time[used], [float(at) - TO_S, float(at)], side="left")
        if high - low >= LEAST_RECORDS:
            found[k] = float(np.median(readings.per_area[used[low:high]]))
    return found


def _per_area(column: str, rows: Rows, yield_t_ha: FloatArray) -> FloatArray:
    shown = rows.column(column)
    if column in PER_AREA:
        return shown
    if column == SHARE:
        return shown * yield_t_ha
    with np.errstate(divide="ignore", invalid="ignore"):
        metres2_per_s = rows.column("speed_kmh") / KMH_PER_M_S * rows.column("width_m")
        per_ha = M2_PER_HA * shown / metres2_per_s
    return np.where(np.isfinite(per_ha), per_ha, np.nan)
