"""What is truly lost at one stop, and what the monitor makes of it. Equations: docs/demo-book.md."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import Final

import numpy as np

from simulated_world.farm import CROPS, SETTINGS, FieldYear, Machine, TrueMachine, stream
from simulated_world.weather import Air

HEADER_GAMMA, HEADER_TAU, PATCH_SD, LOCAL_YIELD_SD = -0.15, 0.25, 0.30, 0.06
"""Header's answer to straw moisture; sds of the log of header loss, standing loss and yield from stop to stop [1]."""
SETUP_WEIGHT: Final = 0.35
PICK_UP_PART: Final = 0.4
"""Windrowed crop: header loss (windrower and pick-up) as a part of the straight cut's [1]."""


@dataclass(frozen=True, slots=True)
class Response:
    """How a combine loses a crop.

    Machine: ln λ = α + β((Q/Q₀)^κ − 1)/κ + γ z + δ + u, u ~ N(0, τ²). Header: ln λ = α_H + β_H ln(v/v₀) + γ_H z + u_H.
    """

    alpha: float
    beta: float
    kappa: float
    gamma: float
    tau: float
    q0_t_h: float
    header_alpha: float
    header_beta: float
    v0_kmh: float
    best: Mapping[str, float]
    """Settings at which the machine would lose least."""


@dataclass(frozen=True, slots=True)
class Loss:
    """True losses at one stop [kg/ha] and what made them."""

    standing: float
    header: float
    machine: float
    throughput_t_h: float
    z: float
    delta: float
    u: float
    local_yield_kg_ha: float

    def as_dict(self) -> dict[str, float]:
        """By source."""
        return {"standing": self.standing, "header": self.header, "machine": self.machine}


@lru_cache(maxsize=64)
def response(seed: int, machine: Machine, crop_name: str) -> Response:
    """Draw the response of one combine in one crop; it stays for all seasons."""
    chance, crop = stream(seed, "response", machine.name, crop_name), CROPS[crop_name]
    off = chance.standard_normal(6)
    best = {
        name: usual + scale * float(z)
        for (name, (_, scale, _)), usual, z in zip(
            SETTINGS.items(), crop.usual, 0.8 * chance.standard_normal(len(SETTINGS)), strict=True
        )
    }
    return Response(
        alpha=float(np.log(crop.machine_share * crop.yield_kg_ha) + 0.25 * off[0]),
        beta=float(machine.beta + 0.15 * off[1]),
        kappa=machine.kappa,
        gamma=float(0.25 + 0.05 * off[2]),
        tau=float(0.22 * np.exp(0.1 * off[3])),
        q0_t_h=crop.speed_kmh * machine.cut.si / 10 * crop.yield_kg_ha / 1000,
        header_alpha=float(np.log(crop.header_share * crop.yield_kg_ha) + 0.20 * off[4]),
        header_beta=float(crop.header_beta + 0.15 * off[5]),
        v0_kmh=crop.speed_kmh,
        best=best,
    )


def delta(of: Response, crop_name: str, settings: Mapping[str, float]) -> float:
    """What a setup adds to ln λ against the usual one: Σ ((x − best)/scale)² − ((usual − best)/scale)², times 0.35."""
    total = 0.0
    for (name, (_, scale, _)), usual in zip(SETTINGS.items(), CROPS[crop_name].usual, strict=True):
        total += ((settings[name] - of.best[name]) / scale) ** 2 - ((usual - of.best[name]) / scale) ** 2
    return SETUP_WEIGHT * total


def lose(
    seed: int,
    number: int,
    year: FieldYear,
    machine: Machine,
    *,
    field_yield_kg_ha: float,
    speed_kmh: float,
    air: Air,
    days_since_ripe: float,
    settings: Mapping[str, float],
) -> Loss:
    """Draw the true losses at stop ``number``."""
    chance, crop, of = stream(seed, "loss", number), CROPS[year.crop], response(seed, machine, year.crop)
    off = chance.standard_normal(4)
    here = float(field_yield_kg_ha * np.exp(LOCAL_YIELD_SD * off[0]))
    throughput = speed_kmh * machine.cut.si / 10 * here / 1000
    load = ((throughput / of.q0_t_h) ** of.kappa - 1) / of.kappa
    setup, u = delta(of, year.crop, settings), of.tau * float(off[1])
    ln_machine = of.alpha + of.beta * load + of.gamma * air.z + setup + u
    ln_header = of.header_alpha + of.header_beta * np.log(speed_kmh / of.v0_kmh) + HEADER_GAMMA * air.z
    if year.windrowed:
        ln_header += np.log(PICK_UP_PART)
    ln_standing = np.log(crop.standing_kg_ha) + crop.standing_per_day * days_since_ripe
    return Loss(
        float(np.exp(ln_standing + PATCH_SD * off[2])),
        float(np.exp(ln_header + HEADER_TAU * off[3])),
        float(np.exp(ln_machine)),
        throughput,
        air.z,
        setup,
        u,
        here,
    )


def monitor_reading(
    seed: int, number: int, machine: Machine, true: TrueMachine, machine_kg_ha: float, speed_kmh: float
) -> float | None:
    """What the bar shows: ln λ = a + b ln r + noise, r per area; a bar that counts per time shows r · v · W."""
    if machine.monitor is None:
        return None
    noise = true.monitor_noise * float(stream(seed, "monitor", number).standard_normal())
    reading = float(np.exp((np.log(machine_kg_ha) - true.monitor_a - noise) / true.monitor_b))
    if machine.monitor == "time":
        reading *= speed_kmh * true.cut_m
    return round(reading, 1)
