"""What does a log's own loss sensor say of the field, once checks have told what its readings mean?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy.special import ndtri

from chaffinch.book.checks.points import CheckPoint, shared_sd
from chaffinch.engine.domain import FloatArray
from chaffinch.engine.estimate import DrawBelief, Range, default_prior, range_of
from chaffinch.engine.monitor.key import BEYOND, MonitorKey, fit_monitor
from chaffinch.engine.monitor.pair import Pair
from chaffinch.engine.sampling.sobol import sobol

if TYPE_CHECKING:
    from chaffinch.fieldlog.cleaning.clean import Cleaned
    from chaffinch.fieldlog.loss.whole_field import Usage

OF_A_WEIGHT = 1e-9


@dataclass(frozen=True, slots=True)
class LogSensor:
    """The loss sensor of a log beside the checks taken while it ran.

    Attributes
    ----------
    column : str
        Of the log, like ``loss_g_s``.
    pairs : int
        Checks that stand beside a reading above 0.
    key : MonitorKey or None
        What a reading per area means; None without a pair.
    missing : tuple of str
        What is still needed before it tells anything; empty when it does.
    machine_kg : Range or None
        Machine loss of the whole field by the sensor alone [kg]; None while something is missing.
    beyond_share : float
        Share of the area at readings more than a tenth beyond those of the pairs [0-1]; NaN without a key.
    """

    column: str
    pairs: int
    key: MonitorKey | None
    missing: tuple[str, ...]
    machine_kg: Range | None
    beyond_share: float


def sensor_of(
    cleaned: Cleaned, use: Usage, beside: Sequence[tuple[float, CheckPoint]], *, most_kg_ha: float | None, seed: int
) -> LogSensor | None:
    """Learn what the sensor's readings mean from the checks beside them, and sum the field by it.

    Parameters
    ----------
    cleaned, use
        Of one machine.
    beside : sequence of (moment in UTC seconds, check)
        Checks of this machine while the log ran.
    most_kg_ha : float or None
        No record counts for more: no more is lost than grew.
    seed : int
        Same seed, same answer.

    Returns
    -------
    LogSensor or None
        None where the log holds no readings.
    """
    from chaffinch.fieldlog.loss.sensor import at_moments, sensors
    from chaffinch.fieldlog.loss.whole_field import binned

    all_of_them = sensors(cleaned)
    if not all_of_them:
        return None
    readings = all_of_them[0]
    shown = at_moments(cleaned, readings.per_area, np.array([at for at, _ in beside]))
    seen = [
        (float(reading), point)
        for reading, (_, point) in zip(shown, beside, strict=True)
        if reading > 0 and "machine" in point.evidence
    ]
    if not seen:
        return LogSensor(readings.column, 0, None, ("a check while the log runs",), None, float("nan"))
    yields = [point.yield_kg_ha for _, point in seen if point.yield_kg_ha is not None]
    key = fit_monitor(
        [Pair(reading, point.evidence["machine"], "area") for reading, point in seen],
        prior=default_prior("machine", float(np.median(yields)) if yields else None),
        scale_sd=shared_sd([point for _, point in seen]),
        seed=seed,
    )
    if key.missing:
        return LogSensor(readings.column, len(seen), key, key.missing, None, float("nan"))
    area = np.where(np.isnan(readings.per_area), np.nan, use.area_ha)
    # A sensor at 0 has heard nothing, not lost nothing: it counts as the least it showed above 0.
    least = float(readings.per_area[readings.per_area > 0].min())
    bins = binned(np.maximum(readings.per_area / least, 1.0), area)
    if not bins.middle.size:
        return LogSensor(readings.column, len(seen), key, ("a record that counts",), None, float("nan"))
    per_area = bins.middle * least
    total = _mean_kg_ha(key, per_area, most_kg_ha, seed) @ bins.area_ha * (use.cut_ha / float(bins.area_ha.sum()))
    far = (per_area < key.valid[0] / BEYOND) | (per_area > key.valid[1] * BEYOND)
    return LogSensor(
        readings.column,
        len(seen),
        key,
        (),
        range_of(DrawBelief(total, key.draws.weights)),
        float(bins.area_ha[far].sum() / bins.area_ha.sum()),
    )


def _mean_kg_ha(key: MonitorKey, per_area: FloatArray, most_kg_ha: float | None, seed: int) -> FloatArray:
    """Draws of the mean machine loss over places with each reading [kg/ha], shape (n, m)."""
    centre, sigma = key.predicted_ln(per_area)
    shared = key.scale_sd * ndtri(sobol(len(sigma), 1, seed=seed)[:, 0])
    # Draws of no weight may lie anywhere, beyond what exp can hold.
    heavy = key.draws.weights > OF_A_WEIGHT * key.draws.weights.max()
    mean = np.exp(np.where(heavy[:, None], centre + (0.5 * np.square(sigma) + shared)[:, None], 0.0))
    return mean if most_kg_ha is None else np.minimum(mean, most_kg_ha)
