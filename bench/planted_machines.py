"""Machines with one thing wrong, and a person who looks at them: what planted_faults.py asks the advice about.

The machines know nothing of the advice tables. A fault is a setting or a state moved (fan 1.5 times as fast, drum and
concave slack, straw damp …); losses follow from small physical forms: threshing and separating in two stages along the
rotor, u = exp(-λ), f = λ/(β - λ)·(exp(-λ) - exp(-β)); a shoe that blows out when too little lies on it and rides when
too much does; header losses by what reel, knife and crop do. What a person would see follows from the parts of those
losses by thresholds, with an eye that errs by a factor of 1.3, one answer in 25 a slip, one in 50 not given. All
figures are our own.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

import numpy as np

EYE_SD = 0.25
"""Sd of the log of an amount as an eye sees it [1]: a factor of 1.3. Own figure."""
SLIP = 1 / 25
"""Share of answers that say nothing, beside what the eye gets wrong. Own figure."""
UNTOLD = 1 / 50
"""Share of questions not answered. Own figure."""
HEADER_PCT = {"canola": 1.0, "wheat": 0.45, "pea": 2.0, "soybean": 2.8}
"""Header loss of a sound machine [% of yield]; own figures."""


@dataclass(frozen=True)
class World:
    """One machine in one crop: settings as multiples of the right ones, states from 0 to 1; all else derived."""

    crop: str
    machine: str = "rotor"
    rotor: float = 1.0
    clearance: float = 1.0
    grate: float = 1.0
    fan: float = 1.0
    upper: float = 1.0
    lower: float = 1.0
    engine: float = 1.0
    load: float = 1.0
    straw: float = 1.0
    reel: float = 1.0
    dull: float = 0.0
    height: float = 1.0
    tangled: float = 0.0
    thin: float = 0.0
    dry: float = 0.5
    ripe: float = 1.0
    brittle: float = 0.15
    over: float = 0.0
    lumps: float = 0.0
    tilt: float = 0.0
    leak_pct: float = 0.03

    @property
    def drum(self) -> float:
        """Speed of rotor or drum, engine included."""
        return self.rotor * self.engine

    @property
    def air(self) -> float:
        """Air, engine included."""
        return self.fan * self.engine

    @property
    def short_straw(self) -> float:
        """Short straw on the shoe."""
        return self.drum**2 / self.clearance * (0.4 + 1.2 * self.dry)

    @property
    def shoe(self) -> float:
        """Material on the shoe."""
        return self.load * (0.5 * self.straw + 0.5 * self.short_straw)

    @property
    def unthreshed_pct(self) -> float:
        """Grain that leaves in heads or pods [%]."""
        rate = 7.0 * self.drum**1.5 / self.clearance * (0.7 + 0.6 * self.dry) * self.ripe**2 * (1 - 0.3 * self.lumps)
        return 100.0 * math.exp(-rate)

    @property
    def loose_pct(self) -> float:
        """Grain that leaves loose in the straw [%]."""
        a = 7.0 * self.drum**1.5 / self.clearance * (0.7 + 0.6 * self.dry)
        b = (
            8.0
            * self.drum**0.8
            * self.grate
            * (0.7 + 0.6 * self.dry)
            / self.load**0.8
            / self.straw**0.7
            / self.clearance**0.4
        )
        b = b + 1e-6 if a == b else b
        return 100.0 * a / (b - a) * (math.exp(-a) - math.exp(-b)) * (1 + 2 * self.lumps)

    @property
    def blown_pct(self) -> float:
        """Grain blown over the sieves [%]."""
        return 0.10 * math.exp(min(4.0, 6.0 * (self.air / self.shoe**0.6 - 1.0))) * (1 + 3 * self.tilt)

    @property
    def ridden_pct(self) -> float:
        """Grain that rides out on a mat, or finds the sieve too tight [%]."""
        mat = 0.08 * math.exp(min(4.0, 5.0 * (self.shoe / (self.air**0.8 * self.engine) - 1.0)))
        tight = 0.08 * math.exp(min(4.0, 5.0 * (self.shoe / self.upper - 1.0)))
        return (mat + tight + 0.1 * self.round_pct) * (1 + 5 * self.tilt)

    @property
    def round_pct(self) -> float:
        """Clean grain that goes round in the returns [%]."""
        return 1.0 * math.exp(5.0 * (1.0 / self.lower - 1.0))

    @property
    def header_parts(self) -> dict[str, float]:
        """Header loss by what did it, in shares of a sound header's loss [1]."""
        return {
            "shelled": 0.55
            * (1 + 5 * max(0.0, self.brittle - 0.15))
            * (1 + 7 * max(0.0, self.reel - 1))
            * (1 + self.over),
            "stems": 0.10 * math.exp(10 * max(0.0, 1 - self.reel)),
            "stubble": 0.10 * math.exp(4 * (self.height - 1)),
            "ragged": 0.05 * math.exp(3.6 * self.dull),
            "ends": 0.10 * (1 + 24 * self.tangled),
            "table": 0.05,
            "heaps": 0.05 * (1 + 50 * self.thin),
        }

    @property
    def heard(self) -> float:
        """What a loss monitor's sensors are struck by, up to a factor: loose grain behind, in time rather than area."""
        return self.load * (self.loose_pct + self.blown_pct + self.ridden_pct)

    def losses_pct(self) -> dict[str, float]:
        """Percent of the yield by source."""
        machine = self.unthreshed_pct + self.loose_pct + self.blown_pct + self.ridden_pct
        return {
            "standing": 0.25 * (1 + 14 * self.over) * (1 + 2 * max(0.0, self.brittle - 0.15)),
            "header": HEADER_PCT[self.crop] * sum(self.header_parts.values()),
            "machine": machine + self.leak_pct,
        }


def _more(chance: np.random.Generator, low: float, high: float) -> float:
    return float(chance.uniform(low, high))


FAULTS: Mapping[str, tuple[tuple[str, ...], Callable[[World, np.random.Generator], World]]] = {
    "reel_fast": (("canola", "wheat", "pea", "soybean"), lambda w, c: replace(w, reel=_more(c, 1.3, 1.7))),
    "reel_slow": (("wheat", "pea", "soybean"), lambda w, c: replace(w, reel=_more(c, 0.6, 0.72))),
    "knife_worn": (("wheat", "soybean", "pea"), lambda w, c: replace(w, dull=_more(c, 0.9, 1.2))),
    "cut_high": (("pea", "soybean"), lambda w, c: replace(w, height=_more(c, 1.7, 2.1))),
    "tangled": (("canola",), lambda w, c: replace(w, tangled=_more(c, 0.7, 1.0))),
    "thin_crop": (("wheat", "pea"), lambda w, c: replace(w, thin=_more(c, 0.6, 1.0), load=0.9)),
    "brittle": (("canola", "soybean", "pea"), lambda w, c: replace(w, brittle=_more(c, 0.7, 1.0), dry=0.76)),
    "late_cut": (("canola", "soybean"), lambda w, c: replace(w, over=_more(c, 0.6, 1.2), brittle=0.5)),
    "damp": (("canola", "wheat", "pea"), lambda w, c: replace(w, dry=_more(c, 0.0, 0.12))),
    "unripe": (("canola", "wheat", "pea"), lambda w, c: replace(w, ripe=_more(c, 0.62, 0.72), dry=0.35)),
    "engine_low": (("canola", "wheat", "pea", "soybean"), lambda w, c: replace(w, engine=_more(c, 0.80, 0.88))),
    "feed_uneven": (("canola", "wheat", "pea", "soybean"), lambda w, c: replace(w, lumps=_more(c, 1.0, 1.8))),
    "load": (("canola", "wheat", "pea", "soybean"), lambda w, c: replace(w, load=_more(c, 1.35, 1.6))),
    "light_load": (("canola", "wheat", "pea"), lambda w, c: replace(w, load=_more(c, 0.45, 0.6))),
    "thresh_weak": (
        ("canola", "wheat", "pea", "soybean"),
        lambda w, c: replace(w, rotor=0.93, clearance=_more(c, 1.4, 1.7)),
    ),
    "thresh_hard": (
        ("canola", "wheat", "pea", "soybean"),
        lambda w, c: replace(w, rotor=_more(c, 1.15, 1.3), clearance=_more(c, 0.7, 0.85)),
    ),
    "separator_slow": (("canola", "wheat", "pea", "soybean"), lambda w, c: replace(w, grate=_more(c, 0.55, 0.7))),
    "fan_high": (("canola", "wheat", "pea", "soybean"), lambda w, c: replace(w, fan=_more(c, 1.35, 1.6))),
    "fan_low": (("canola", "wheat", "pea", "soybean"), lambda w, c: replace(w, fan=_more(c, 0.5, 0.65))),
    "upper_closed": (("canola", "wheat", "pea", "soybean"), lambda w, c: replace(w, upper=_more(c, 0.52, 0.65))),
    "lower_closed": (("canola", "wheat", "pea", "soybean"), lambda w, c: replace(w, lower=_more(c, 0.55, 0.65))),
    "one_side": (("canola", "wheat", "pea", "soybean"), lambda w, c: replace(w, tilt=_more(c, 1.2, 2.0))),
    "leak": (("canola", "wheat", "pea", "soybean"), lambda w, c: replace(w, leak_pct=_more(c, 1.0, 3.0))),
}
"""Cause by key → crops it is planted in, and what it moves."""


LEAST_LIFT = 2.0
"""How many times a sound machine's loss one of the planted machine's losses must be: less is no fault worth finding."""


def world_of(fault: str, chance: np.random.Generator) -> World:
    """A machine that differs a little from every other, with one thing wrong that at least doubles a loss."""
    for _ in range(1000):
        world, sound = _planted(fault, chance)
        usual, now = World(crop=sound.crop).losses_pct(), world.losses_pct()
        if max(now[source] / usual[source] for source in now) >= LEAST_LIFT:
            return world
    raise ValueError(f"{fault} never doubles a loss")


def _planted(fault: str, chance: np.random.Generator) -> tuple[World, World]:
    crops, planted = FAULTS[fault]
    sound = World(
        crop=str(chance.choice(crops)),
        machine=str(chance.choice(["rotor", "walker"])),
        **{
            name: float(np.exp(0.05 * chance.standard_normal()))
            for name in ("rotor", "clearance", "fan", "upper", "load")
        },
        dry=float(np.clip(0.5 + 0.1 * chance.standard_normal(), 0.2, 0.8)),
    )
    return planted(sound, chance), sound


class Person:
    """Somebody who looks at that machine and answers what is asked."""

    def __init__(self, world: World, chance: np.random.Generator, slip: float = SLIP, eye: float = EYE_SD) -> None:
        self.world, self.chance, self.slip, self.eye = world, chance, slip, eye
        self.sound = World(crop=world.crop)

    def seen(self, amount: float) -> float:
        """An amount as the eye sees it."""
        return amount * math.exp(self.eye * self.chance.standard_normal())

    def most(self, amounts: Mapping[str, float]) -> str:
        """The one that looks largest."""
        seen = {name: self.seen(amount) for name, amount in amounts.items()}
        return max(seen, key=lambda name: seen[name])

    def answer(self, sign: str, answers: tuple[str, ...]) -> str | None:
        """An answer; None where the person does not know."""
        if self.chance.random() < UNTOLD:
            return None
        if self.chance.random() < self.slip:
            return str(self.chance.choice(answers))
        found = str(getattr(self, f"see_{sign}")())
        assert found in answers, (sign, found)
        return found

    def see_found(self) -> str:
        w, pct = self.world, self.world.losses_pct()
        shoe = w.blown_pct + w.ridden_pct
        parts = {"heads": w.unthreshed_pct, "straw": w.loose_pct, "chaff": shoe}
        places = {**parts, "ahead": pct["header"], "standing": pct["standing"], "line": w.leak_pct}
        # What lies there of old does not strike anybody: what is more than a sound machine leaves does.
        sound, usual = self.sound, self.sound.losses_pct()
        old = {"heads": sound.unthreshed_pct, "straw": sound.loose_pct, "chaff": sound.blown_pct + sound.ridden_pct,
               "ahead": usual["header"], "standing": usual["standing"], "line": sound.leak_pct}  # fmt: skip
        most = self.most({name: max(1e-3, places[name] - 0.7 * old[name]) for name in places})
        behind = sorted(max(1e-3, parts[name] - 0.7 * old[name]) for name in parts)
        return "all" if most in parts and behind[0] > 0.45 * behind[2] else most

    def see_strip(self) -> str:
        parts, old = self.world.header_parts, self.sound.header_parts
        more = {name: max(1e-3, parts[name] - 0.8 * old[name]) for name in parts}
        return "clean" if self.seen(sum(parts.values())) < 1.35 * sum(old.values()) else self.most(more)

    def see_tank(self) -> str:
        w = self.world
        damage = self.seen(w.drum**4 / w.clearance**0.7 * (0.5 + w.dry) * (1 + 0.8 * w.lumps))
        bits = self.seen(w.short_straw * w.upper**2)
        chaffy = self.seen(math.exp(-3.0 * (w.air - 1.0)))
        heads = self.seen(w.unthreshed_pct / 0.25)
        green = self.seen(6.0 if w.ripe < 0.8 else 1.0)
        signs = {
            "cracked": damage / 1.8,
            "bits": bits / 2.2,
            "chaffy": chaffy / 2.2,
            "heads": heads / 3,
            "green": green / 2,
        }
        most = max(signs, key=lambda name: signs[name])
        return most if signs[most] > 1.0 else "clean"

    def see_returns(self) -> str:
        w = self.world
        signs = {"grain": self.seen(w.round_pct) / 4, "heads": self.seen(w.unthreshed_pct / 0.25) / 4,
                 "trash": self.seen(w.short_straw * w.upper) / 2.0}  # fmt: skip
        most = max(signs, key=lambda name: signs[name])
        return most if signs[most] > 1.0 else "little"

    def see_straw(self) -> str:
        w = self.world
        if w.dry < 0.25 or w.ripe < 0.8:
            return "tough"
        broken = self.seen(w.short_straw) ** 0.7
        return "short" if broken > 1.35 else "whole" if broken < 0.72 else "plain"

    def see_when(self) -> str:
        w = self.world
        total = sum(w.losses_pct().values())
        signs = {
            "full": sum(replace(w, load=1.25 * w.load).losses_pct().values()) / total / 1.5,
            "thin": sum(replace(w, load=0.6 * w.load).losses_pct().values()) / total / 1.3,
            "hot": 2.0 if w.brittle > 0.5 and w.dry > 0.7 else 0.3,
            "damp": 2.0 if w.dry < 0.2 else 0.3,
            "hills": 1.5 if w.engine < 0.9 or w.tilt > 0.5 else 0.3,
            "lumps": 1.8 if w.lumps > 0.4 else 0.3,
        }
        seen = {name: self.seen(size) for name, size in signs.items()}
        most = max(seen, key=lambda name: seen[name])
        return most if seen[most] > 1.2 else "always"

    def see_chaff(self) -> str:
        w, sound = self.world, self.sound
        shoe, old = w.blown_pct + w.ridden_pct, sound.blown_pct + sound.ridden_pct
        if self.seen(shoe) < 1.7 * old:
            return "none"
        if self.seen(1 + w.tilt) > 1.6:
            return "side"
        return "far" if self.seen(w.blown_pct) > self.seen(w.ridden_pct) else "under"

    def see_sieve(self) -> str:
        w = self.world
        lies = self.seen(w.shoe / (w.air * min(1.0, w.upper)))
        if w.short_straw > 1.45 and lies > 0.9:
            return "trash"
        return "bare" if lies < 0.68 else "mat" if lies > 1.45 else "layer"

    def see_seat(self) -> str:
        w = self.world
        load = w.load * math.exp(0.08 * self.chance.standard_normal())
        if w.engine * math.exp(0.03 * self.chance.standard_normal()) < 0.93:
            return "low"
        if self.seen(w.lumps + 0.5 * w.thin + 0.15) > 0.45:
            return "lumps"
        return "heavy" if load > 1.25 else "light" if load < 0.75 else "none"

    def see_crop(self) -> str:
        w = self.world
        if w.ripe < 0.8:
            return "green"
        if w.brittle > 0.45:
            return "brittle"
        return "lodged" if w.tangled > 0.5 else "short" if w.thin > 0.5 else "ready"

    def see_changed(self) -> str:
        w, u = self.world, self.chance.random()
        if w.load > 1.2 and u < 0.6:
            return "speed"
        if (w.dry < 0.2 or w.dry > 0.8 or w.brittle > 0.5) and u < 0.6:
            return "weather"
        return str(self.chance.choice(["nothing", "nothing", "nothing", "weather", "one", "speed", "start"]))

    def see_harder(self) -> str:
        w = self.world
        if self.chance.random() < 0.8:
            return "not"
        faster = replace(w, rotor=1.05 * w.rotor)
        return "better" if faster.losses_pct()["machine"] < w.losses_pct()["machine"] and w.lumps < 0.4 else "worse"

    def see_monitor(self) -> str:
        w, sound = self.world, self.sound
        straw = self.seen(w.loose_pct) > 2.0 * sound.loose_pct
        sieves = self.seen(w.blown_pct + w.ridden_pct) > 2.0 * (sound.blown_pct + sound.ridden_pct)
        return "both" if straw and sieves else "straw" if straw else "sieves" if sieves else "quiet"

    def see_air(self) -> str:
        return "damp" if self.world.dry < 0.25 else "dry" if self.world.dry > 0.75 else "middling"
