"""What did the machine's own loss sensors show, per area, at every record and when a check was taken?

The dictionary has seven ways to write it (DDI 92 to 98): volume, mass or count, per area or per time, or a share of the
crop. None of them is a loss: a sensor hears a part of the grain behind it. All are turned into one reading per area, in
a unit of its own; what that reading means, checks tell (:mod:`chaffinch.engine.monitor.key`). Several sensors of a
machine stay apart: each hears another part.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

import numpy as np

from chaffinch.errors import InputError
from chaffinch.fieldlog.cleaning.clean import Cleaned
from chaffinch.fieldlog.loss.moments import BAD, FROM_S, LEAST_RECORDS, TO_S
from chaffinch.fieldlog.rows import FloatArray, Rows, loss_reading

PER_AREA: Final = ("loss_kg_ha", "loss_seeds_m2", "loss_ml_m2")
PER_TIME: Final = ("loss_g_s", "loss_seeds_s", "loss_ml_s")
SHARE: Final = "loss_share_pct"
M2_PER_HA: Final = 10_000.0
KMH_PER_M_S: Final = 3.6


@dataclass(frozen=True, slots=True)
class SensorReadings:
    """The readings of one sensor, one of each record.

    Parameters
    ----------
    column : str
        Which column of the log they come from.
    per : {"area", "time"}
        Whether ``shown`` counts per area or per time.
    shown : array, shape (n,)
        As recorded; a share of the crop times the yield. NaN where missing.
    per_area : array, shape (n,)
        0 or more, in a unit of the sensor's own per hectare; NaN where it or what turns it is missing.
    """

    column: str
    per: Literal["area", "time"]
    shown: FloatArray
    per_area: FloatArray


def sensors(cleaned: Cleaned) -> tuple[SensorReadings, ...]:
    """Every loss sensor that tells anything: the machine's own before those of its parts, per area before per time."""
    found = [read_sensor(cleaned, column) for column in sensor_columns(cleaned.rows)]
    return tuple(one for one in found if (one.per_area > 0).any())


def sensor_columns(rows: Rows) -> list[str]:
    """Columns with readings of a loss sensor, in that order."""
    order = [*PER_AREA, *PER_TIME, SHARE]
    named = [
        (reading[1] != "", order.index(reading[0]), name) for name in rows.columns if (reading := loss_reading(name))
    ]
    return [name for _, _, name in sorted(named)]


def read_sensor(cleaned: Cleaned, column: str) -> SensorReadings:
    """The readings of one loss sensor.

    Raises
    ------
    InputError
        For a column that holds none.
    """
    reading = loss_reading(column)
    if reading is None:
        raise InputError("column", column, "holds no readings of a loss sensor", "use one that begins with loss_")
    shown, per_area = _read(column, reading[0], cleaned.rows, cleaned.yield_t_ha)
    return SensorReadings(column, "time" if reading[0] in PER_TIME else "area", shown, per_area)


def at_moments(cleaned: Cleaned, readings: FloatArray, time_s: FloatArray) -> FloatArray:
    """The middle of readings in the steady time before each moment [UTC s]; NaN where fewer than five tell one.

    The window is that of the load, 60 to 20 s before the moment (:mod:`chaffinch.fieldlog.loss.moments`), of the grain
    cut then: the sensor hears it as late as the flow shows it, up to 20 s. Own choice: the way to a sieve's or a
    separator's end is about as long as the way to the tank, and no log tells it apart.
    """
    rows = cleaned.rows
    utc = np.array([part.clock == "utc" for part in rows.parts], np.bool_)
    late_s = np.array([_lag_s(cleaned, part.machine) for part in rows.parts])
    cut_s = rows.column("time_s") - late_s[rows.part]
    good = utc[rows.part] & ~np.isnan(cut_s) & ~np.isnan(readings) & ((cleaned.flags & BAD) == 0)
    used = np.flatnonzero(good)
    used = used[np.argsort(cut_s[used], kind="stable")]
    found = np.full(len(time_s), np.nan)
    for k, at in enumerate(time_s):
        low, high = np.searchsorted(cut_s[used], [float(at) - FROM_S, float(at) - TO_S], side="left")
        if high - low >= LEAST_RECORDS:
            found[k] = float(np.median(readings[used[low:high]]))
    return found


def _lag_s(cleaned: Cleaned, machine: str) -> float:
    """How late the flow shows what was cut, where the passes tell it [s]."""
    lag = cleaned.lags.get(machine)
    return 0.0 if lag is None else min(max(lag.seconds, 0.0), TO_S)


def _read(column: str, reading: str, rows: Rows, yield_t_ha: FloatArray) -> tuple[FloatArray, FloatArray]:
    """A column as it counts, and per area."""
    shown = rows.column(column)
    if reading in PER_AREA:
        return shown, shown
    if reading == SHARE:
        return shown * yield_t_ha, shown * yield_t_ha
    with np.errstate(divide="ignore", invalid="ignore"):
        metres2_per_s = rows.column("speed_kmh") / KMH_PER_M_S * rows.column("width_m")
        per_ha = M2_PER_HA * shown / metres2_per_s
    return shown, np.where(np.isfinite(per_ha), per_ha, np.nan)
