"""Loss curves with a known truth, for the tests of pace."""

from __future__ import annotations

import numpy as np

from chaffinch.engine.pace.curves import LossAtSpeeds

SPEEDS_KMH = np.linspace(3.0, 12.0, 19)
YIELD_T_HA = 3.0
VALUE_PER_HA = 1993.20
"""Yield × price of the published example [money/ha]; the split into yield and price is ours."""
PRICE_PER_T = VALUE_PER_HA / YIELD_T_HA
HANDBOOK = {"width_m": 12.0, "price_per_t": PRICE_PER_T, "hour_cost_per_h": 500.0, "constant_efficiency": 0.75}
FARM = {"width_m": 12.0, "price_per_t": PRICE_PER_T, "hour_cost_per_h": 500.0, "lost_time_h_ha": 0.07}


def certain(machine_kg_ha, header_kg_ha=None, *, speeds=SPEEDS_KMH, tested=(3.0, 12.0)) -> LossAtSpeeds:
    """One curve, known exactly: functions of the speed."""
    header = None if header_kg_ha is None else np.asarray(header_kg_ha(speeds))[None, :] + np.zeros((1, speeds.size))
    return LossAtSpeeds(speeds, np.asarray(machine_kg_ha(speeds))[None, :], header, np.ones(1), tested)


def drawn(
    *,
    level=30.0,
    level_sd=0.2,
    slope=1.3,
    slope_sd=0.3,
    header=None,
    tested=(4.0, 9.0),
    draws=2000,
    seed=7,
    yield_kg_ha=None,
) -> LossAtSpeeds:
    """Power laws with normal ln level at 6 km/h and normal slope; ``header`` is (level, sd, slope, sd)."""
    rng = np.random.default_rng(seed)

    def curves(level, level_sd, slope, slope_sd):
        ln_level = rng.normal(np.log(level), level_sd, (draws, 1))
        return np.exp(ln_level + rng.normal(slope, slope_sd, (draws, 1)) * np.log(SPEEDS_KMH / 6.0))

    machine = curves(level, level_sd, slope, slope_sd)
    across = None if header is None else curves(*header)
    return LossAtSpeeds(SPEEDS_KMH, machine, across, np.full(draws, 1 / draws), tested, yield_kg_ha)


def cost_of(loss, speed, *, width_m, price_per_t, hour_cost_per_h, lost_time_h_ha=None, constant_efficiency=None):
    """C(v) written out a second time [money/ha]."""
    cutting = 10.0 / (speed * width_m)
    time = cutting / constant_efficiency if constant_efficiency else cutting + lost_time_h_ha
    return price_per_t * loss(speed) / 1000.0 + hour_cost_per_h * time
