"""What does the bar mean? The key of one combine's loss monitor in one crop, from readings beside checks."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Final

import numpy as np

from chaffinch import units
from chaffinch.book.checks.bars import Bar, bars, counts_per
from chaffinch.book.checks.held import counting
from chaffinch.book.checks.own_variation import with_learned
from chaffinch.book.checks.points import CheckPoint, points_of, shared_sd
from chaffinch.book.desk import Desk
from chaffinch.book.outings import outings
from chaffinch.book.things import Thing, things
from chaffinch.engine.estimate import default_prior
from chaffinch.engine.monitor.key import BEYOND, MonitorKey, fit_monitor
from chaffinch.engine.monitor.pair import LEAST_PAIRS, Pair, Per
from chaffinch.engine.monitor.stale import Conditions, Standing, stale
from chaffinch.errors import InputError, one_of
from chaffinch.how_far import Progress
from chaffinch.reference import crop as find_crop

__all__ = ["BarPair", "MonitorFound", "counts_per", "monitor"]

APART_KMH: Final = 0.2
"""Speeds closer than this share a column [km/h]; own figure: so that two never read alike, in mph neither."""
ALONE: Final = "stand beside no check"
UNCOUNTED: Final = "stand beside a check in conflict, or one that has not arrived"
SECOND: Final = "are a second reading beside a check"
UNSEEN: Final = "stand beside a check that did not see machine loss"
NO_SPEED: Final = "tell no speed or cut width, which a bar per time needs"
OTHER_WIDTH: Final = "were cut at another width than most"


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
        How many pairs of the last day that was; a day ends where eight hours pass without a pair.
    left_out : mapping of str to int
        Readings that make no pair, by why.
    speeds_kmh : tuple of float
        Slowest, middle and fastest speed of the pairs [km/h], those that differ; empty where none is told.
    sensor : str
        Whose key it is: a field log's column, or "" for the bar in the cab.
    others : tuple of str
        Other sensors with readings beside checks in this crop, each with a key of its own.
    """

    combine: Thing
    crop: str
    key: MonitorKey
    pairs: tuple[BarPair, ...]
    standing: Standing | None
    tested_on: int
    left_out: dict[str, int]
    speeds_kmh: tuple[float, ...]
    sensor: str = ""
    others: tuple[str, ...] = ()

    def near_a_pair(self, speed_kmh: float) -> bool:
        """Whether pairs were taken near that speed: not more than a tenth beyond the slowest and the fastest."""
        tried = self.speeds_kmh
        return not tried or tried[0] / BEYOND <= speed_kmh <= tried[-1] * BEYOND


def monitor(
    desk: Desk,
    combine: Thing,
    crop: str,
    *,
    season: str | None = None,
    sensor: str | None = None,
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
    sensor : str or None
        Which sensor: a field log's column or its name in it ("left sieve"), or "" for the bar in the cab. None: the bar
        in the cab where one was noted, else the only sensor there is.
    now : Conditions or None
        What holds now, to say whether the key still stands.
    seed : int
        Same seed, same answer.
    progress : callable or None
        Called with (done, of).

    Raises
    ------
    InputError
        When no reading of this combine stands beside a check of machine loss in this crop, several sensors do and none
        was chosen, or the bar changed the way it counts.
    """
    key_of_crop = find_crop(crop).key
    left_out: dict[str, int] = {}
    every = [bar for bar in bars(desk) if bar.combine == combine.id]
    known = sorted({bar.sensor for bar in every if bar.check is not None and bar.crop == key_of_crop})
    chosen = _sensor(sensor, known)
    beside = _one_each([bar for bar in every if bar.sensor == chosen], key_of_crop, left_out)
    fields = {one.id: one for one in things(desk, "field")}
    logged = [c for c in counting(desk, beside) if season is None or c.body.get("season") == season]
    points = points_of(with_learned(desk, logged), fields, seed=seed, progress=progress)
    seeing = [p for p in points if "machine" in p.evidence]
    _leave_out(left_out, UNSEEN, len(points) - len(seeing))
    if not seeing:
        mend = "note the bar with the next check: chaffinch book log … --bar NUMBER"
        raise InputError("monitor", combine.name, f"has no reading beside a check in {key_of_crop}", mend)
    per = _per([beside[p.logged.id] for p in seeing], key_of_crop)
    pairs = [_pair(beside[p.logged.id], p) for p in seeing]
    if per == "time":
        pairs = _of_one_width(pairs, left_out)
    pairs.sort(key=lambda p: p.taken_at)
    step = _step([p.reading for p in pairs])
    as_pairs = [_engine_pair(p, per, step) for p in pairs]
    prior = default_prior("machine", _yield(points))
    whole = fit_monitor(as_pairs, prior=prior, scale_sd=shared_sd([p.point for p in pairs]), seed=seed)
    days = outings([p.taken_at for p in pairs])
    last_day = [day == days[-1] for day in days]
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
    return MonitorFound(
        combine, key_of_crop, whole, tuple(pairs), standing, tested_on, left_out, _apart(speeds), chosen,
        tuple(one for one in known if one != chosen),
    )  # fmt: skip


def sensors_noted(desk: Desk, combine: Thing, crop: str) -> list[str]:
    """Sensors of a combine with a reading beside a check in a crop: columns of logs, "" for the bar in the cab."""
    key = find_crop(crop).key
    mine = [bar for bar in bars(desk) if bar.combine == combine.id and bar.check is not None and bar.crop == key]
    return sorted({bar.sensor for bar in mine})


def _sensor(wanted: str | None, known: Sequence[str]) -> str:
    """The sensor that is meant, of those with readings beside checks."""
    if wanted is None and ("" in known or not known):
        return ""
    if wanted is None and len(known) == 1:
        return known[0]
    named = ", ".join(one or "the bar in the cab" for one in known)
    if wanted is None:
        raise InputError("sensor", named, "stands for several, each kept apart", f"choose one: --sensor {known[0]}")
    plain = "_".join(wanted.casefold().split())
    if plain == "" and not known:
        return ""
    fitting = [one for one in known if one == plain] or [
        one for one in known if plain and one.startswith(f"loss_{plain}_")
    ]
    if not fitting:
        raise InputError(
            "sensor", wanted, "has no reading beside a check here", one_of(one or "the bar in the cab" for one in known)
        )
    if len(fitting) > 1:
        raise InputError("sensor", wanted, "is told in several ways", f"use one of {', '.join(fitting)}")
    return fitting[0]


def _one_each(own: Sequence[Bar], crop: str, left_out: dict[str, int]) -> dict[str, Bar]:
    """The reading of each check in this crop, by the check's id; of several the latest."""
    apart = ["check" in bar.kept.body for bar in own if bar.check is None]
    _leave_out(left_out, ALONE, apart.count(False))
    _leave_out(left_out, UNCOUNTED, apart.count(True))
    here = [bar for bar in own if bar.check is not None and bar.crop == crop]
    beside = {str(bar.check): bar for bar in here}
    _leave_out(left_out, SECOND, len(here) - len(beside))
    return beside


def _leave_out(left_out: dict[str, int], why: str, count: int) -> None:
    if count:
        left_out[why] = count


def _pair(bar: Bar, point: CheckPoint) -> BarPair:
    body = bar.kept.body
    told = body.get("speed")
    speed = point.speed_kmh if told is None else units.read_positive(told, "speed", field="monitor, speed").value
    return BarPair(float(body["reading"]), speed, point, str(body["taken_at"]))


def _of_one_width(pairs: Sequence[BarPair], left_out: dict[str, int]) -> list[BarPair]:
    """Pairs of a bar per time that can be turned to one per area, at the width of most of them.

    Raises
    ------
    InputError
        When none can.
    """
    whole = [p for p in pairs if p.speed_kmh is not None and p.point.width_m is not None]
    _leave_out(left_out, NO_SPEED, len(pairs) - len(whole))
    if not whole:
        raise InputError(
            "monitor, speed", None, "is told by no pair, and a bar per time needs it",
            "correct a check with its speed, or its bar: chaffinch book replace CHECK --bar NUMBER --speed TEXT",
        )  # fmt: skip
    widths = [p.point.width_m for p in whole]
    usual = max(reversed(widths), key=widths.count)
    at_usual = [p for p in whole if p.point.width_m == usual]
    _leave_out(left_out, OTHER_WIDTH, len(whole) - len(at_usual))
    return at_usual


def _apart(speeds: Sequence[float]) -> tuple[float, ...]:
    """Slowest, middle and fastest of the speeds, those that would not read alike."""
    if not speeds:
        return ()
    low, middle, high = (float(v) for v in np.quantile(speeds, [0.0, 0.5, 1.0]))
    ends = [low] if high - low < APART_KMH else [low, high]
    return tuple(sorted([*ends, *([middle] if all(abs(middle - v) >= APART_KMH for v in ends) else [])]))


def _per(own: Sequence[Bar], crop: str) -> Per:
    """How the bar counts: told alike by every reading of this machine in this crop, or refused."""
    by_way: dict[Per, list[Bar]] = {}
    for bar in own:
        if bar.per is not None:
            by_way.setdefault(bar.per, []).append(bar)
    if len(by_way) > 1:
        # Of two ways told as often, the later one is taken for the one meant.
        fewer, more = sorted(by_way, key=lambda way: (len(by_way[way]), by_way[way][-1].kept.body["taken_at"]))
        listed = ", ".join(bar.kept.id[:8] for bar in by_way[fewer][:3])
        raise InputError(
            "monitor, per", "time and area",
            f"was told both ways for this machine in {crop}: {len(by_way[more])} per {more}, {len(by_way[fewer])} per "
            f"{fewer} ({listed}{', …' if len(by_way[fewer]) > 3 else ''})",
            f"correct them: chaffinch book replace {by_way[fewer][0].kept.id[:8]} --bar-per {more} --reason WHY; "
            "or look at one season",
        )  # fmt: skip
    if not by_way:
        raise InputError(
            "monitor, per", None, "is not told: does the bar count per time or per area?",
            f"chaffinch book replace {own[-1].kept.id[:8]} --bar-per time --reason WHY, or area",
        )  # fmt: skip
    return next(iter(by_way))


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
