"""What does the bar mean? The key of one combine's loss monitor in one crop, from readings beside checks."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Final

import numpy as np

from chaffinch import units
from chaffinch.book.checks import counting
from chaffinch.book.desk import Desk
from chaffinch.book.fields import Progress
from chaffinch.book.looking import Kept, readings
from chaffinch.book.points import CheckPoint, points_of, shared_sd
from chaffinch.book.things import Thing, things
from chaffinch.engine.estimate import default_prior
from chaffinch.engine.monitor import MonitorKey, fit_monitor
from chaffinch.engine.monitor_pair import LEAST_PAIRS, Pair, Per
from chaffinch.engine.monitor_stale import Conditions, Standing, stale
from chaffinch.errors import InputError
from chaffinch.reference import crop as find_crop

DAY: Final = 10
"""Characters of a UTC time that are its day."""

UNSEEN: Final = "stand beside a check that did not see machine loss"


@dataclass(frozen=True, slots=True)
class BarPair:
    """One reading beside its check."""

    reading: float
    speed_kmh: float | None
    point: CheckPoint
    taken_at: str


@dataclass(frozen=True, slots=True)
class MonitorFound:
    """A monitor key with the pairs it rests on.

    Attributes
    ----------
    combine : Thing
    crop : str
        Key of the crop.
    key : MonitorKey
        From all pairs.
    pairs : tuple of BarPair
        In time order.
    standing : Standing or None
        The pairs of the last day held against the key of those before, and conditions now against then; None where
        neither can be said.
    tested_on : int
        How many pairs of the last day that was.
    left_out : mapping of str to int
        Readings that make no pair, by why.
    speeds_kmh : tuple of float
        Slowest, middle and fastest speed of the pairs [km/h]; empty where none is told.
    """

    combine: Thing
    crop: str
    key: MonitorKey
    pairs: tuple[BarPair, ...]
    standing: Standing | None
    tested_on: int
    left_out: dict[str, int]
    speeds_kmh: tuple[float, ...]


def monitor(
    desk: Desk,
    combine: Thing,
    crop: str,
    *,
    season: str | None = None,
    now: Conditions | None = None,
    seed: int = 1,
    progress: Progress | None = None,
) -> MonitorFound:
    """Learn what this combine's bar means in a crop.

    Parameters
    ----------
    desk : Desk
        The open book.
    combine : Thing
        The combine.
    crop : str
        The crop, by name or key.
    season : str or None
        Id of one season; None for all.
    now : Conditions or None
        What holds now, to say whether the key still stands.
    seed : int
        Same seed, same answer.
    progress : callable or None
        Called with (done, of).

    Raises
    ------
    InputError
        When no reading of this combine stands beside a check of machine loss in this crop, or the bar changed the way
        it counts.
    """
    key_of_crop = find_crop(crop).key
    left_out: dict[str, int] = {}
    bars = [bar for bar in readings(desk, "monitor") if bar.body["combine"] == combine.id]
    beside = {str(bar.body["check"]): bar for bar in bars if "check" in bar.body}
    alone = len(bars) - len(beside)
    if alone:
        left_out["stand beside no check"] = alone
    known = {one.id: one for one in things(desk)}
    logged = [c for c in counting(desk, beside) if find_crop(c.check.crop).key == key_of_crop]
    if season is not None:
        logged = [c for c in logged if c.body.get("season") == season]
    points = points_of(logged, known, seed=seed, progress=progress)
    pairs: list[BarPair] = []
    for point in points:
        bar = next(beside[v] for v in point.logged.versions.all if v in beside)
        if "machine" not in point.evidence:
            left_out[UNSEEN] = left_out.get(UNSEEN, 0) + 1
            continue
        pairs.append(_pair(bar, point))
    if not pairs:
        mend = "note the bar with the next check: chaffinch book log … then chaffinch book add monitor"
        raise InputError("monitor", combine.name, f"has no reading beside a check in {key_of_crop}", mend)
    pairs.sort(key=lambda p: p.taken_at)
    per = _per(list(beside.values()))
    step = _step([p.reading for p in pairs])
    as_pairs = [_engine_pair(p, per, step) for p in pairs]
    prior = default_prior("machine", _yield(points))
    whole = fit_monitor(as_pairs, prior=prior, scale_sd=shared_sd([p.point for p in pairs]), seed=seed)
    last_day = [p.taken_at[:DAY] == pairs[-1].taken_at[:DAY] for p in pairs]
    before = [a for a, last in zip(as_pairs, last_day, strict=True) if not last]
    since = [a for a, last in zip(as_pairs, last_day, strict=True) if last]
    standing, tested_on = None, 0
    if len(before) >= LEAST_PAIRS:
        older = fit_monitor(before, prior=prior, scale_sd=shared_sd([p.point for p in pairs]), seed=seed)
        then = _conditions(pairs[-1]) if now is not None else None
        standing, tested_on = stale(older, since, then=then, now=now, seed=seed), len(since)
    elif now is not None:
        standing = stale(whole, (), then=_conditions(pairs[-1]), now=now, seed=seed)
    speeds = [p.speed_kmh for p in pairs if p.speed_kmh is not None]
    spread = tuple(float(v) for v in np.quantile(speeds, [0.0, 0.5, 1.0])) if speeds else ()
    return MonitorFound(combine, key_of_crop, whole, tuple(pairs), standing, tested_on, left_out, spread)


def counts_per(desk: Desk, combine: str) -> Per | None:
    """How this combine's bar (its id) counted the last time it was told; None when it never was."""
    told = [
        bar.body["per"] for bar in readings(desk, "monitor") if bar.body["combine"] == combine and "per" in bar.body
    ]
    return None if not told else "time" if told[-1] == "time" else "area"


def _pair(bar: Kept, point: CheckPoint) -> BarPair:
    told = bar.body.get("speed")
    speed = point.speed_kmh if told is None else units.read_positive(told, "speed", field="monitor, speed").value
    return BarPair(float(bar.body["reading"]), speed, point, str(bar.body["taken_at"]))


def _per(bars: Sequence[Kept]) -> Per:
    """How the bar counts: told alike by every reading, or refused."""
    told = {bar.body.get("per") for bar in bars} - {None}
    if len(told) > 1:
        raise InputError("monitor, per", "time and area", "was told both ways for this machine", "correct the readings")
    if not told:
        raise InputError(
            "monitor, per", None, "is not told: does the bar count per time or per area?", "correct the readings"
        )
    return "time" if told == {"time"} else "area"


def _engine_pair(pair: BarPair, per: Per, step: float) -> Pair:
    return Pair(pair.reading, pair.point.evidence["machine"], per, pair.speed_kmh, pair.point.width_m, step)


def _step(shown: Sequence[float]) -> float:
    """Smallest division of the bar, by the digits written: whole numbers are steps of 1."""
    for places in range(4):
        if all(abs(value - round(value, places)) < 1e-9 for value in shown):
            return float(10.0**-places)
    return 1e-4


def _yield(points: Sequence[CheckPoint]) -> float | None:
    yields = [p.yield_kg_ha for p in points if p.yield_kg_ha is not None]
    return float(np.median(yields)) if yields else None


def _conditions(pair: BarPair) -> Conditions:
    point = pair.point
    told = point.conditions
    settings = {str(s["name"]): float(s["value"]) for s in point.logged.body.get("settings") or ()}
    return Conditions(
        crop=point.crop,
        field=point.field or None,
        operator=point.operator or None,
        grain_moisture_pct=told.get("grain_moisture_pct"),
        humidity_pct=told.get("humidity_pct"),
        settings=settings,
        time_h=datetime.fromisoformat(pair.taken_at).timestamp() / 3600.0,
    )
