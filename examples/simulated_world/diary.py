"""Two harvests, stop by stop: who checked what when, with which kit, and what a crew changed its settings to.

How many stops there are does not hang on the seed: ten in each of 18 field-years, and six more (A, A, B, B, A, A)
where a setting was tried: 18 × 10 + 12 × 6 = 252.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Any, Final

import numpy as np

from simulated_world.catches import Ground, Kit, Taken, Taking, mean_shown, take
from simulated_world.farm import (
    CROPS,
    FIELD_YEARS,
    MACHINES,
    MILE_KM,
    SETTINGS,
    WINDROWER_WIDTH,
    FieldYear,
    Machine,
    TrueCrop,
    TrueField,
    TrueMachine,
    Written,
    limit_text,
    price_text,
    recorded_widths,
    stream,
    true_crop,
    true_field,
    true_machine,
)
from simulated_world.losses import Loss, lose, monitor_reading
from simulated_world.weather import Air, air_at, read_off

UTC_BEHIND_H: Final = 6
"""Local time is six hours behind UTC [h]."""
_ORDINARY: Final = (
    ((0, 10.17), (0, 11.75), (0, 13.33), (0, 15.17), (0, 19.67)),
    (
        (1, 10.5),
        (1, 11.83),
        (1, 13.0),
        (1, 17.25),
        (1, 20.33),
    ),
)
_TRIAL_AT_H, _TRIAL_EVERY_H = 14.0, 0.3
TRIAL_SIDES: Final = "AABBAA"
KITS: Final = (
    "pans",
    "full",
    "spread",
    "back only",
    "one pan",
    "offsets",
    "full",
    "spanning",
    "cup",
    "whole cut",
)
WINDROW_KITS: Final = ("windrow", "one pan", "pans", "windrow", "spanning") * 2


@dataclass(frozen=True, slots=True)
class Stop:
    """One stop: the check as a check file would have it, and all that was true there."""

    number: int
    year: FieldYear
    machine: Machine
    taken_at: str
    kit: str
    table: dict[str, Any]
    conditions: dict[str, float]
    settings: dict[str, int]
    monitor: float | None
    loss: Loss
    taken: Taken
    air: Air
    speed_kmh: float
    days_since_ripe: float
    side: str = ""
    """Which side of a trial; empty for an ordinary stop."""


@dataclass(frozen=True, slots=True)
class Trial:
    """One setting tried, A-B-A: its stops, and whether the crew stayed with B."""

    year: FieldYear
    machine: Machine
    taken_at: str
    setting: str
    a: dict[str, int]
    b: dict[str, int]
    delta: float
    kept: bool
    stops: tuple[Stop, ...]


@dataclass(frozen=True, slots=True)
class Hour:
    """Conditions read in a field on the hour, between the stops."""

    year: FieldYear
    taken_at: str
    conditions: dict[str, float]


def utc(season: str, day: int, hour: float) -> str:
    """UTC of a local hour on a day after the first of August, to the minute."""
    moment = datetime(int(season), 8, 1) + timedelta(days=day, minutes=round(60 * (hour + UTC_BEHIND_H)))
    return moment.strftime("%Y-%m-%dT%H:%M:00Z")


def season_entries(seed: int, season: str) -> Iterator[Stop | Trial | Hour]:
    """Everything of one season in the order of its fields; within a field by time, trials after its stops."""
    setups: dict[tuple[str, str], dict[str, int]] = {}
    for place, year in enumerate(FIELD_YEARS):
        if year.season != season:
            continue
        crew = _Crew(seed, place, year, setups)
        for when, hour in _ORDINARY[0] + _ORDINARY[1]:
            yield crew.ordinary(when, hour)
        for when in (0, 1):
            for hour in range(9, 22):
                yield crew.hour(when, hour)
        if year.tried is not None:
            yield crew.trial(year.tried)


class _Crew:
    """The people in one field-year."""

    def __init__(self, seed: int, place: int, year: FieldYear, setups: dict[tuple[str, str], dict[str, int]]) -> None:
        self.seed, self.place, self.year, self.setups = seed, place, year, setups
        self.crop: TrueCrop = true_crop(seed, year.season, year.crop)
        self.field: TrueField = true_field(seed, year)
        self.true = {m.name: true_machine(seed, m) for m in MACHINES}
        self.done = 0

    def setup(self, machine: Machine) -> dict[str, int]:
        usual = dict(zip(SETTINGS, CROPS[self.year.crop].usual, strict=True))
        return self.setups.setdefault((machine.name, self.year.crop), usual)

    def ordinary(self, when: int, hour: float) -> Stop:
        index = self.done
        machine = MACHINES[self.year.machines[index % 2]]
        kits = WINDROW_KITS if self.year.windrowed else KITS
        name = kits[(index + self.place) % len(kits)]
        chance = stream(self.seed, "stop", self.number)
        speed = CROPS[self.year.crop].speed_kmh * float(np.exp(chance.uniform(-0.4, 0.3)))
        return self.stop(machine, when, hour + int(chance.integers(0, 10)) / 60, name, speed, self.setup(machine))

    def trial(self, setting: str) -> Trial:
        machine = MACHINES[self.year.machines[0]]
        chance = stream(self.seed, "trial", self.place)
        a = dict(self.setup(machine))
        b = a | {setting: a[setting] + SETTINGS[setting][2] * (1 if chance.random() < 0.5 else -1)}
        speed = CROPS[self.year.crop].speed_kmh * float(np.exp(chance.uniform(-0.1, 0.1)))
        stops = tuple(
            replace(
                self.stop(machine, 1, _TRIAL_AT_H + _TRIAL_EVERY_H * i, "pans", speed, a if side == "A" else b),
                side=side,
            )
            for i, side in enumerate(TRIAL_SIDES)
        )
        shown = {s: np.mean([mean_shown(t.taken.rows) for t in stops if t.side == s]) for s in "AB"}
        kept = bool(shown["B"] < shown["A"])
        if kept:
            self.setups[machine.name, self.year.crop] = b
        gain = stops[2].loss.delta - stops[0].loss.delta
        start = utc(self.year.season, self.year.cut_day + 1, _TRIAL_AT_H - 0.1)
        return Trial(self.year, machine, start, setting, a, b, gain, kept, stops)

    def hour(self, when: int, hour: int) -> Hour:
        day = self.year.cut_day + when
        air = air_at(self.seed, self.year.season, day, hour)
        chance = stream(self.seed, "hour", self.place, when, hour)
        return Hour(self.year, utc(self.year.season, day, hour), read_off(air, self.year.crop, chance))

    @property
    def number(self) -> int:
        return 100 * self.place + self.done

    def stop(
        self, machine: Machine, when: int, hour: float, kit_name: str, speed_kmh: float, settings: dict[str, int]
    ) -> Stop:
        number, year, day = self.number, self.year, self.year.cut_day + when
        self.done += 1
        crop = CROPS[year.crop]
        speed = f"{speed_kmh:.1f} km/h" if year.metric else f"{speed_kmh / MILE_KM:.1f} mph"
        driven = float(speed.split(maxsplit=1)[0]) * (1.0 if year.metric else MILE_KM)
        air = air_at(self.seed, year.season, day, hour)
        since = day + hour / 24 - year.ripe_day
        loss = lose(
            self.seed,
            number,
            year,
            machine,
            field_yield_kg_ha=self.field.yield_kg_ha,
            speed_kmh=driven,
            air=air,
            days_since_ripe=since,
            settings=settings,
        )
        chance = stream(self.seed, "catches", number)
        kit = kit_for(kit_name, year, machine)
        drop, spread, taped = recorded_widths(machine, year.season)
        true, cut = self.true[machine.name], WINDROWER_WIDTH.si if year.windrowed else machine.cut.si
        conditions = read_off(air, year.crop, chance)
        ground = Ground(
            loss.as_dict(),
            true,
            self.crop,
            cut,
            spread if kit.spreading else drop,
            air.grain_moisture_pct[year.crop],
            crop.market_moisture_pct,
        )
        taken = take(kit, ground, chance)
        table: dict[str, Any] = {
            "crop": year.crop,
            "country": "CA",
            "yield": self.field.expected,
            "price": price_text(year),
            "currency": "$",
            "limit": limit_text(year),
            "speed": speed,
            "spreading": kit.spreading,
            "operator": machine.driver,
            "field": {"name": year.name, "area": str(year.area)},
            "combine": {
                "name": machine.name,
                "cut_width": str(machine.cut),
                "drop_width": str(drop),
                "spread_width": str(spread),
                "widths_taped": taped,
            },
            "catch": taken.rows,
        }
        if year.windrowed:
            table |= {"windrowed": True, "windrower_width": str(WINDROWER_WIDTH)}
        if number % 3 == 0 and any("counted" not in t.way for t in kit.takings):
            table["moisture"] = f"{conditions['grain_moisture_pct']} %"
        if number % 4 == 0:
            table["tkw"] = f"{self.crop.tkw_g * float(np.exp(0.02 * chance.standard_normal())):.3g} g"
        return Stop(
            number,
            year,
            machine,
            utc(year.season, day, hour),
            kit_name,
            table,
            conditions,
            dict(settings),
            monitor_reading(self.seed, number, machine, self.true_of(machine), loss.machine, driven),
            loss,
            taken,
            air,
            driven,
            since,
        )

    def true_of(self, machine: Machine) -> TrueMachine:
        return self.true[machine.name]


def kit_for(name: str, year: FieldYear, machine: Machine) -> Kit:
    """What is taken under that name in that crop, in the units of the field's papers."""
    pulse = year.crop in ("pea", "lentil")
    fine = {"Ines": "0.1 g", "Tomas": "0.1 oz", "Jonna": "0.5 g"}[machine.driver]
    way = "counted" if pulse else "weighed"
    step = "" if pulse else fine
    pan = Written(0.36, "m2") if year.metric else Written(4, "ft2")
    small = {"canola": (0.1, 1), "pea": (1, 10)}.get(year.crop, (0.4, 4))
    frame = Written(small[0], "m2") if year.metric else Written(small[1], "ft2")
    wide = (Written(2.1, "m"), Written(0.3, "m")) if year.metric else (Written(7, "ft"), Written(1, "ft"))
    narrow = Taking("discharge", way, step, pan)  # type: ignore[arg-type]
    if name == "pans":
        return Kit(name, False, (replace(narrow, times=3),))
    if name == "one pan":
        return Kit(name, False, (narrow,))
    if name == "spread":
        return Kit(name, True, (replace(narrow, times=4),))
    if name == "full":
        ground = Taking("standing", "counted", pan=frame, times=2)
        strip = Taking("header strip", "counted", pan=frame, times=3)
        return Kit(name, False, (ground, strip, replace(narrow, times=2)))
    if name == "back only":
        back = replace(narrow, place="behind", pan=frame, times=3)
        if year.crop == "canola":
            back = replace(back, way="counted", step="", subsample="1/4")
        return Kit(name, False, (back,))
    if name == "offsets":
        pans = tuple(replace(narrow, at=at) for at in (-0.36, -0.18, 0.0, 0.18, 0.36))
        return Kit(name, True, pans)
    if name == "spanning":
        return Kit(name, False, (replace(narrow, pan=wide, times=2),))
    if name == "cup":
        cup = replace(narrow, way="measured", step="5 mL", pan=Written(2, "ft2"), times=3)
        return Kit(name, False, (cup,))
    if name == "whole cut":
        strip = replace(
            narrow, place="whole cut", pan=(machine.cut, Written(0.2, "m") if year.metric else Written(8, "in"))
        )
        return Kit(name, False, (replace(strip, times=2),), "" if pulse or machine.driver == "Tomas" else "212.0 g")
    if name == "windrow":
        metres = Written(3, "m") if year.metric else Written(10, "ft")
        return Kit(name, False, (Taking("windrow", "weighed", "1 g", length=metres),))
    raise KeyError(name)
