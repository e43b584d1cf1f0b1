"""What do check and book say by themselves: air, load, pods, monitor, the machine's own slope and its own trials?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Final

import numpy as np

from chaffinch.book.advice.kept import tried_after
from chaffinch.book.checks.answer import CheckAnswer
from chaffinch.book.checks.bars import bars
from chaffinch.book.checks.held import LoggedCheck, checks_where, counting
from chaffinch.book.desk import Desk
from chaffinch.book.names import folded
from chaffinch.book.pace.curves import Curves, curves
from chaffinch.book.pace.own_slope import p_rises
from chaffinch.book.things import Thing
from chaffinch.book.trials.trial import TrialRecord, TrialSource, answer_trial, trials
from chaffinch.engine.advice.changes import OwnTrial
from chaffinch.engine.estimate import CLEAR
from chaffinch.engine.trial.design import LEAST_EACH
from chaffinch.errors import InputError, SamplerError
from chaffinch.how_far import Progress
from chaffinch.reference import crop as find_crop
from chaffinch.reference.advice import Change
from chaffinch.reference.advice_read import advice_table

FEWEST: Final = 3
"""Other checks, or bars, from which a machine's usual is known; own figure."""
ALIASES: Final[Mapping[str, tuple[str, ...]]] = {
    "fan speed": ("fan speed", "fan"),
    "rotor speed": ("rotor speed", "rotor", "drum speed", "drum", "cylinder speed", "cylinder"),
    "concave clearance": ("concave clearance", "concave"),
    "upper sieve": ("upper sieve", "top sieve", "chaffer"),
    "lower sieve": ("lower sieve", "bottom sieve", "sieve"),
    "reel speed": ("reel speed", "reel"),
    "cutting height": ("cutting height", "cut height", "stubble height"),
    "ground speed": ("ground speed", "speed"),
}
"""Names under which a setting of the table is written in books, the table's own first."""


@dataclass(frozen=True, slots=True)
class Own:
    """What the book says of this machine.

    Attributes
    ----------
    answers : mapping of str to str
        By sign.
    trials : tuple of OwnTrial
    p_rises : mapping of str to float
        By source: probability that the loss rises with load, by this machine's own checks alone.
    settings : sequence of mapping
        As recorded with the check.
    """

    answers: Mapping[str, str] = field(default_factory=dict)
    trials: tuple[OwnTrial, ...] = ()
    p_rises: Mapping[str, float] = field(default_factory=dict)
    settings: Sequence[Mapping[str, Any]] = ()


def of_check(found: CheckAnswer, conditions: Mapping[str, float]) -> dict[str, str]:
    """What a check answers by itself: the air it was taken in, and how much of its catch was in heads or pods."""
    figures, told = advice_table().figures, {}
    straw, humidity = conditions.get("straw_moisture_pct"), conditions.get("humidity_pct")
    if straw is not None:
        told["air"] = _between(straw, figures["straw_dry_pct"], figures["straw_damp_pct"], ("dry", "middling", "damp"))
    elif humidity is not None:
        told["air"] = _between(humidity, figures["air_dry_pct"], figures["air_damp_pct"], ("dry", "middling", "damp"))
    pods = found.unthreshed_pct
    if pods is not None and pods >= figures["pods_many_pct"]:
        told["pods"] = "many"
    elif pods is not None and pods <= figures["pods_few_pct"]:
        told["pods"] = "few"
    return told


def of_book(desk: Desk, logged: LoggedCheck, combine: Thing, *, seed: int = 1, progress: Progress | None = None) -> Own:
    """What the book says of the machine of a check, in its crop: load, slope, bar, trials.

    Parameters
    ----------
    desk : Desk
        The open book.
    logged : LoggedCheck
    combine : Thing
        Its machine.
    seed : int
    progress : callable or None
        Called with (done, of) while checks are read.
    """
    crop = find_crop(logged.check.crop).key
    found = curves(desk, combine, crop, seed=seed, progress=progress)
    answers: dict[str, str] = {}
    load = _load(found, logged)
    if load is not None:
        answers["load"] = load
    slopes = {}
    for source, sign in (("machine", "slope"), ("header", "header_slope")):
        chance = p_rises(found, "machine" if source == "machine" else "header", seed=seed)
        if chance is not None:
            slopes[source] = chance
            answers[sign] = "rises" if chance >= CLEAR else "flat"
    bar = _bar(desk, logged, combine, crop)
    if bar is not None:
        answers["bar"] = bar
    settings = tuple(logged.body.get("settings") or ())
    return Own(answers, tuple(own_trials(desk, combine, crop, now=settings, seed=seed)), slopes, settings)


def own_trials(
    desk: Desk, combine: Thing, crop: str, *, now: Sequence[Mapping[str, Any]] = (), seed: int = 1
) -> list[OwnTrial]:
    """Trials of single steps on this machine in a crop, and what people noted of steps they tried.

    Parameters
    ----------
    desk : Desk
        The open book.
    combine : Thing
    crop : str
        Its key.
    now : sequence of mapping
        Settings of today: what a trial gained by a step that has been made since is no gain of a further one.
    seed : int
    """
    found = []
    steps = ((record, change) for record in trials(desk, combine=combine.id) for change in changes_tried(record))
    for record, change in steps:
        source: TrialSource = "header" if change.helps[0].loss == "header" else "machine"
        try:
            answered = answer_trial(desk, record, source=source, seed=seed)
        except (InputError, SamplerError):
            # No stop yet, none that saw this loss, or one that contradicts itself: it says nothing here.
            continue
        if answered.crop != crop:
            continue
        each = [answered.sides.count(side) for side in ("A", "B")]
        idle = min(each) >= LEAST_EACH and answered.answer.p_b_less < CLEAR
        if not idle and _made_since(record, change, now):
            continue
        found.append(OwnTrial(change.key, answered.answer.ratio, idle))
    checks = counting(desk, checks_where(desk, combine=combine.id))
    home = {i: c.id for c in checks if find_crop(c.check.crop).key == crop for i in (c.id, *c.versions.all)}
    # A step is tried once after a check, however often that is noted. Where notes differ the one that it helped holds,
    # in whatever order they came into the book.
    noted: dict[tuple[str, str], set[str]] = {}
    for one in tried_after(desk, home):
        noted.setdefault((one.change, home[one.of]), set()).add(one.outcome)
    found += [OwnTrial(change, None, "helped" not in outcomes) for (change, _), outcomes in noted.items()]
    return found


def changes_tried(record: TrialRecord) -> list[Change]:
    """The changes whose single step a trial made; none where it changed several settings, or none of ours.

    One step may be two changes: who drives slower does it against header loss and against load.
    """
    names = record.changed.names
    if len(names) != 1:
        return []
    a, b = (_number(record.settings[side], names[0]) for side in ("A", "B"))
    if a is None or b is None or a == b:
        return []
    way = "+" if b > a else "-"
    return [
        one for one in advice_table().changes if one.setting and one.way == way and is_setting(names[0], one.setting)
    ]


def _made_since(record: TrialRecord, change: Change, now: Sequence[Mapping[str, Any]]) -> bool:
    """Whether the setting stands where the trial's step led today, or beyond."""
    led = next(s for s in record.settings["B"] if folded(str(s["name"])) == folded(record.changed.names[0]))
    after, unit = float(led["value"]), str(led.get("unit", ""))
    today = (float(s["value"]) for s in now if is_setting(str(s["name"]), change.setting) and s.get("unit", "") == unit)
    return any(value >= after if change.way == "+" else value <= after for value in today)


def is_setting(name: str, setting: str) -> bool:
    """Whether a name in a book means a setting of the table."""
    return folded(name) in {folded(one) for one in ALIASES.get(setting, (setting,))}


def _number(settings: Sequence[Mapping[str, Any]], name: str) -> float | None:
    return next((float(one["value"]) for one in settings if folded(str(one["name"])) == folded(name)), None)


def _load(found: Curves, logged: LoggedCheck) -> str | None:
    loads = {
        p.logged.id: load
        for p in found.own
        if (load := p.throughput_t_h if found.load_kind == "throughput" else p.speed_kmh) is not None
    }
    here = loads.pop(logged.id, None)
    if here is None or len(loads) < FEWEST:
        return None
    figures = advice_table().figures
    ratio = here / float(np.median(list(loads.values())))
    return _between(ratio, figures["load_light"], figures["load_heavy"], ("light", "usual", "heavy"))


def _bar(desk: Desk, logged: LoggedCheck, combine: Thing, crop: str) -> str | None:
    here, others = None, []
    for bar in bars(desk):
        if bar.combine != combine.id or bar.crop != crop or bar.sensor:
            continue
        reading = float(bar.kept.body["reading"])
        if bar.check == logged.id:
            here = reading
        else:
            others.append(reading)
    if here is None or len(others) < FEWEST or not float(np.median(others)) > 0.0:
        return None
    return "high" if here >= advice_table().figures["bar_high"] * float(np.median(others)) else "usual"


def _between(value: float, low: float, high: float, words: tuple[str, str, str]) -> str:
    return words[0] if value <= low else words[2] if value >= high else words[1]
