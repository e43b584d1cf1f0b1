"""Does a monitor's key still hold? New pairs held against it, and what has changed since it was made.

New pairs are judged by Q = Σ ((y − m)/s)², with y the ln(loss) that a check found and m, s the mean and sd the key
gave it; how large Q may be by chance comes from the key's own draws, so that what the pairs share (a and b may be
off for all of them) is allowed for. What has changed is a list of triggers; their sizes are judgement, not published.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np

from chaffinch.engine.domain import between, finite
from chaffinch.engine.monitor.key import MonitorKey
from chaffinch.engine.monitor.pair import Pair, stands
from chaffinch.engine.trial.scatter import mean_of, sd_of
from chaffinch.errors import InputError

Trigger = Literal["pairs", "crop", "grain moisture", "fan or sieve"]
Reminder = Literal["field", "operator", "humidity", "other setting", "hours"]

CHANCE: Final = 0.05
"""Probability of so large a Q under a key that holds, down to which the key is dropped [1]. Own figure."""
MOISTURE_POINTS: Final = 2.0
"""Change of grain moisture that makes another moisture class [percentage points]; judgement."""
HUMIDITY_POINTS: Final = 15.0
"""Change of relative humidity after which to check again [percentage points]; judgement."""
CHECK_AGAIN_H: Final = 4.0
"""Hours after which to check again [h]; judgement."""
_DRAWS: Final = 4096


@dataclass(frozen=True, slots=True)
class Conditions:
    """What a key was made under, or what holds now; None and absent settings are not known and trigger nothing.

    Attributes
    ----------
    crop, field, operator : str or None
    grain_moisture_pct, humidity_pct : float or None
        Wet-basis grain moisture and relative humidity [%], 0 to 100.
    settings : mapping
        Settings by name, like ``fan speed``.
    time_h : float or None
        When, in hours from any fixed moment [h].
    """

    crop: str | None = None
    field: str | None = None
    operator: str | None = None
    grain_moisture_pct: float | None = None
    humidity_pct: float | None = None
    settings: Mapping[str, object] = dataclasses.field(default_factory=dict)
    time_h: float | None = None


@dataclass(frozen=True, slots=True)
class Standing:
    """How a key stands.

    Attributes
    ----------
    stale : bool
        Whether to stop using it: some trigger fired.
    triggers : tuple of str
        What makes it stale.
    reminders : tuple of str
        What calls for another check beside the bar, without making the key stale.
    outside : int
        New pairs outside their own 90 % range.
    pairs : int
        New pairs looked at.
    p_chance : float or None
        Probability of new pairs at least so far off, taken together, under a key that holds; None without any.
    """

    stale: bool
    triggers: tuple[Trigger, ...]
    reminders: tuple[Reminder, ...]
    outside: int
    pairs: int
    p_chance: float | None


def stale(
    key: MonitorKey,
    since_pairs: Sequence[Pair] = (),
    *,
    then: Conditions | None = None,
    now: Conditions | None = None,
    seed: int = 1,
) -> Standing:
    """Hold new pairs and new conditions against a key.

    Parameters
    ----------
    key : MonitorKey
        The key in use.
    since_pairs : sequence of Pair
        Pairs that were not used to make it.
    then, now : Conditions or None
        What it was made under, and what holds now: both or neither.
    seed : int
        Same seed, same answer.

    Raises
    ------
    InputError
        For a pair that this bar cannot have shown, one of ``then`` and ``now`` alone, or a figure outside its range.
    """
    triggers: list[Trigger] = []
    outside, p_chance = _off(key, since_pairs, seed)
    if p_chance is not None and p_chance <= CHANCE:
        triggers.append("pairs")
    reminders: tuple[Reminder, ...] = ()
    if (then is None) != (now is None):
        raise InputError("conditions", None, "need a before and an after", "give then and now, or neither")
    if then is not None and now is not None:
        changed, reminders = _changes(then, now)
        triggers += changed
    return Standing(bool(triggers), tuple(triggers), reminders, outside, len(since_pairs), p_chance)


def _off(key: MonitorKey, pairs: Sequence[Pair], seed: int) -> tuple[int, float | None]:
    """New pairs outside their own 90 % range, and the chance of a Q at least as large."""
    if not pairs:
        return 0, None
    stood = [stands(i, pair, key.per, key.width_m) for i, pair in enumerate(pairs, start=1)]
    chance = np.random.default_rng(seed)
    cumulative = np.cumsum(key.draws.weights)
    ticks = (np.arange(_DRAWS) + 0.5) / _DRAWS
    picked = key.draws.points[np.minimum(np.searchsorted(cumulative, ticks * cumulative[-1]), cumulative.size - 1)]
    places = np.stack([s.places[chance.integers(s.places.size, size=_DRAWS)] for s in stood], axis=1)
    centre = picked[:, :1] + picked[:, 1:2] * np.log(places / key.middle)
    read_sd = np.array([sd_of(pair.evidence) for pair in pairs])
    spread = np.hypot(np.exp(picked[:, 2:3]), read_sd)
    replayed = centre + spread * chance.standard_normal(centre.shape)
    mean, sd = replayed.mean(axis=0), replayed.std(axis=0)
    found = np.array([mean_of(pair.evidence) for pair in pairs])
    low, high = np.quantile(replayed, [0.05, 0.95], axis=0)
    q = np.square((found - mean) / sd).sum()
    by_chance = np.square((replayed - mean) / sd).sum(axis=1)
    return int(((found < low) | (found > high)).sum()), float(np.mean(by_chance >= q))


def _changes(then: Conditions, now: Conditions) -> tuple[list[Trigger], tuple[Reminder, ...]]:
    triggers: list[Trigger] = []
    reminders: list[Reminder] = []
    if _differ(then.crop, now.crop):
        triggers.append("crop")
    if _apart("grain_moisture_pct", then.grain_moisture_pct, now.grain_moisture_pct, MOISTURE_POINTS):
        triggers.append("grain moisture")
    shared = then.settings.keys() & now.settings.keys()
    moved = sorted(name for name in shared if then.settings[name] != now.settings[name])
    wind = [name for name in moved if "fan" in name.casefold() or "sieve" in name.casefold()]
    if wind:
        triggers.append("fan or sieve")
    if len(moved) > len(wind):
        reminders.append("other setting")
    if _differ(then.field, now.field):
        reminders.append("field")
    if _differ(then.operator, now.operator):
        reminders.append("operator")
    if _apart("humidity_pct", then.humidity_pct, now.humidity_pct, HUMIDITY_POINTS):
        reminders.append("humidity")
    if then.time_h is not None and now.time_h is not None:
        passed = finite("now, time_h", now.time_h) - finite("then, time_h", then.time_h)
        if passed < 0:
            raise InputError("now, time_h", now.time_h, "is before the key was made", "give hours from one moment")
        if passed >= CHECK_AGAIN_H:
            reminders.append("hours")
    return triggers, tuple(reminders)


def _differ(then: str | None, now: str | None) -> bool:
    return then is not None and now is not None and then != now


def _apart(name: str, then: float | None, now: float | None, points: float) -> bool:
    if then is None or now is None:
        return False
    return abs(between(f"now, {name}", now, 0, 100) - between(f"then, {name}", then, 0, 100)) >= points
