"""The true world as one table: what a later answer may be held against. Layout: docs/demo-book.md."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, Final

from simulated_world import farm, losses
from simulated_world.diary import Stop, Trial

LAYOUT: Final = 1
"""Version of this table's layout."""
_DIGITS: Final = 10
"""Digits kept: enough for any comparison, and the same on machines whose last digit differs."""


def truth_table(
    seed: int,
    stops: Sequence[tuple[Stop, Mapping[str, Any]]],
    trials: Sequence[tuple[Trial, Mapping[str, Any]]],
    ids: Mapping[str, Mapping[str, str]],
) -> dict[str, Any]:
    """Everything true about the farm.

    Parameters
    ----------
    seed : int
        The seed it was drawn from.
    stops, trials : sequence
        Each with what the book knows of it: ``id``, and for stops ``record`` and the ids that go with it.
    ids : mapping
        Ids of combines and fields in the book, by name and by ``"name, season"``.
    """
    machines = {machine.name: _machine(seed, machine, ids["combine"][machine.name]) for machine in farm.MACHINES}
    crops = {
        season: {
            name: {
                "tkw_g": farm.true_crop(seed, season, name).tkw_g,
                "tkw_table_g": crop.tkw_g,
                "test_weight_kg_hl": farm.true_crop(seed, season, name).test_weight_kg_hl,
                "test_weight_table_kg_hl": crop.test_weight_kg_hl,
            }
            for name, crop in farm.CROPS.items()
        }
        for season in farm.SEASONS
    }
    fields = {
        f"{year.name}, {year.season}": {
            "id": ids["field"][f"{year.name}, {year.season}"],
            "crop": year.crop,
            "yield_kg_ha": farm.true_field(seed, year).yield_kg_ha,
            "ripe_day": year.ripe_day,
            "cut_day": year.cut_day,
            "windrowed": year.windrowed,
        }
        for year in farm.FIELD_YEARS
    }
    standing = {
        name: {"at_ripeness_kg_ha": crop.standing_kg_ha, "per_day": crop.standing_per_day}
        for name, crop in farm.CROPS.items()
    }
    table = {
        "layout": LAYOUT,
        "seed": seed,
        "combines": machines,
        "crops": crops,
        "fields": fields,
        "standing": standing,
        "spreads": {
            "header_gamma": losses.HEADER_GAMMA,
            "header_tau": losses.HEADER_TAU,
            "standing_patch": losses.PATCH_SD,
            "local_yield": losses.LOCAL_YIELD_SD,
            "setup_weight": losses.SETUP_WEIGHT,
            "pick_up_part": losses.PICK_UP_PART,
        },
        "settings": {
            name: {"unit": unit, "scale": scale, "step_tried": step}
            for name, (unit, scale, step) in farm.SETTINGS.items()
        },
        "checks": [_stop(stop) | dict(known) for stop, known in stops],
        "trials": [_trial(trial) | dict(known) for trial, known in trials],
    }
    rounded: dict[str, Any] = _rounded(table)
    return rounded


def _machine(seed: int, machine: farm.Machine, record_id: str) -> dict[str, Any]:
    true = farm.true_machine(seed, machine)
    written = {season: farm.recorded_widths(machine, season) for season in farm.SEASONS}
    return {
        "id": record_id,
        "cut_m": true.cut_m,
        "drop_m": true.drop_m,
        "spread_m": true.spread_m,
        "written": {
            season: {"drop_m": drop.si, "spread_m": spread.si, "taped": taped}
            for season, (drop, spread, taped) in written.items()
        },
        "monitor": None
        if machine.monitor is None
        else {
            "per": machine.monitor,
            "a": true.monitor_a,
            "b": true.monitor_b,
            "noise": true.monitor_noise,
        },
        "response": {crop: _response(losses.response(seed, machine, crop)) for crop in farm.CROPS},
    }


def _response(of: losses.Response) -> dict[str, Any]:
    return {
        "machine": {
            "alpha": of.alpha,
            "beta": of.beta,
            "kappa": of.kappa,
            "gamma": of.gamma,
            "tau": of.tau,
            "q0_t_h": of.q0_t_h,
        },
        "header": {"alpha": of.header_alpha, "beta": of.header_beta, "v0_kmh": of.v0_kmh},
        "best_settings": dict(of.best),
    }


def _stop(stop: Stop) -> dict[str, Any]:
    return {
        "number": stop.number,
        "taken_at": stop.taken_at,
        "season": stop.year.season,
        "field": stop.year.name,
        "combine": stop.machine.name,
        "crop": stop.year.crop,
        "kit": stop.kit,
        "side": stop.side or None,
        "settings": stop.settings,
        "speed_kmh": stop.speed_kmh,
        "throughput_t_h": stop.loss.throughput_t_h,
        "local_yield_kg_ha": stop.loss.local_yield_kg_ha,
        "days_since_ripe": stop.days_since_ripe,
        "straw_moisture_pct": stop.air.straw_moisture_pct,
        "grain_moisture_pct": stop.air.grain_moisture_pct[stop.year.crop],
        "z": stop.loss.z,
        "delta": stop.loss.delta,
        "u": stop.loss.u,
        "loss_kg_ha": stop.loss.as_dict(),
        "unevenness": stop.taken.c,
        "expected_g": stop.taken.expected_g,
    }


def _trial(trial: Trial) -> dict[str, Any]:
    return {
        "season": trial.year.season,
        "field": trial.year.name,
        "combine": trial.machine.name,
        "setting": trial.setting,
        "from": trial.a[trial.setting],
        "to": trial.b[trial.setting],
        "ln_ratio_b_to_a": trial.delta,
        "kept": trial.kept,
    }


def _rounded(value: Any) -> Any:
    if isinstance(value, Mapping):
        return {str(key): _rounded(one) for key, one in value.items()}
    if isinstance(value, list | tuple):
        return [_rounded(one) for one in value]
    if isinstance(value, float):
        return float(f"{value:.{_DIGITS}g}")
    return value
