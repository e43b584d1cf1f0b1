"""The invented checks that the phone's engine is held to Python's with: every place, crops of every size, edges too."""

from __future__ import annotations

import math
import random
from collections.abc import Iterator
from typing import Any, Final

import chaffinch as cf

SEED: Final = 20_260_815
COUNTRIES: Final = ("CA", "US", "AU", "GB")


class World:
    """One invented field: a crop, a combine, true losses, and catches drawn from them."""

    def __init__(self, chance: random.Random, *, spreading: bool | None = None) -> None:
        self.chance = chance
        self.crop = chance.choice(["canola", "canola", *cf.crop_keys()])
        self.known = cf.crop(self.crop)
        self.country = chance.choice(COUNTRIES)
        self.cut_m = round(chance.uniform(6, 15), 2)
        self.drop_m = round(chance.uniform(1.1, min(2.2, self.cut_m)), 2)
        self.spread_m = round(chance.uniform(4, 1.1 * self.cut_m), 1)
        self.spreading = chance.random() < 0.3 if spreading is None else spreading
        self.tkw_g = self.known.tkw_g.value
        self.losses = {
            "standing": math.exp(chance.gauss(math.log(6), 1.0)),
            "header": math.exp(chance.gauss(math.log(20), 1.0)),
            "machine": math.exp(chance.gauss(math.log(40), 1.0)),
        }
        self.c = math.exp(chance.gauss(math.log(0.4), 0.3))
        self.step_g = chance.choice([0.01, 0.1, 0.1, 0.1, 0.5, 1.0, 5.0])
        self.table: dict[str, Any] = {"crop": self.crop, "country": self.country}
        self.width = self.spread_m if self.spreading else self.drop_m

    def terms(self) -> None:
        """The crop's terms, now and then, in units of either side of the ocean."""
        chance = self.chance
        if chance.random() < 0.6:
            kg_ha = chance.uniform(1200, 6500)
            self.table["yield"] = chance.choice(
                [f"{kg_ha:.0f} kg/ha", f"{kg_ha / 1000:.2f} t/ha".replace(".", ","), f"{kg_ha / 1.12085:.0f} lb/ac"]
            )
        if chance.random() < 0.85:
            limit = chance.choice([0.6, 0.8, 1.0, 1.3, 2.0]) * sum(self.losses.values()) * chance.uniform(0.6, 1.2)
            self.table["limit"] = chance.choice([f"{limit:.1f} kg/ha", f"{limit / 1.12085:.1f} lb/ac"])
        if chance.random() < 0.5:
            self.table["price"] = f"{chance.uniform(150, 700):.2f} /t"
        if chance.random() < 0.3:
            self.table["speed"] = f"{chance.uniform(3, 10):.1f} km/h"
        if chance.random() < 0.3:
            self.table["tkw"] = f"{self.tkw_g * chance.uniform(0.9, 1.1):.3g} g"

    def combine(self) -> None:
        """The machine's widths, in metres or feet."""
        metric = self.chance.random() < 0.5
        length = (lambda m: f"{m:g} m") if metric else (lambda m: f"{m / 0.3048:.2f} ft")
        self.table["combine"] = {"cut_width": length(self.cut_m)}
        self.table["combine"]["spread_width" if self.spreading else "drop_width"] = length(self.width)
        if self.chance.random() < 0.3:
            self.table["combine"]["widths_taped"] = True
        if self.spreading:
            self.table["spreading"] = True

    def mass_g(self, area: dict[str, float], spread: float = 1.0) -> float:
        """Seed in one catch [g], with the scatter between catches and whole seeds."""
        mean = 0.1 * sum(self.losses[source] * m2 for source, m2 in area.items())
        w, c = self.tkw_g / 1000, self.c * spread
        scale = c * c * mean + w
        return self.chance.gammavariate(mean / scale, scale)

    def reading(self, mass_g: float, how: str) -> dict[str, Any]:
        """A reading of that mass: on a scale, in a cup, counted or laid flat."""
        if how == "counted":
            return {"amount": f"{round(mass_g * 1000 / self.tkw_g)} seeds"}
        if how == "measured":
            ml = mass_g * 100 / self.known.test_weight_kg_hl.value
            return {"amount": f"{round(ml)} mL", "step": "1 mL"}
        if how == "flat":
            assert self.known.seed_diameter_mm
            assert self.known.kernel_density_g_cm3
            per_cm2 = 0.8 * 2 / 3 * self.known.seed_diameter_mm.value / 10 * self.known.kernel_density_g_cm3.value
            return {"amount": f"{round(mass_g / per_cm2)} cm2 flat", "step": "1 cm2 flat"}
        shown = round(mass_g / self.step_g) * self.step_g
        text = f"{shown:.2f}" if self.step_g < 0.1 else f"{shown:.1f}" if self.step_g < 1 else f"{shown:.0f}"
        if self.chance.random() < 0.2:
            text = text.replace(".", ",")
        return {"amount": f"{text} g", "step": f"{self.step_g:g} g"}

    def ways(self, *, count: bool = True) -> str:
        """How the catches of one place are read."""
        kinds = ["weighed"] * 5 + ["measured"] + (["flat"] if self.known.round_seed else [])
        return self.chance.choice(kinds + (["counted"] * 3 if count else []))

    def pans(self, place: str, number: int, how: str) -> Iterator[dict[str, Any]]:
        """Catches taken alike at one place."""
        chance = self.chance
        area = chance.choice([0.1, 0.25, 0.3716, 0.5, 1.0])
        spans = place == "discharge" and not self.spreading and chance.random() < 0.25
        sides = (round(self.drop_m * 1.1, 2), 0.5)
        extra: dict[str, Any] = {}
        if how != "counted":
            if chance.random() < 0.15:
                extra["subsample"] = chance.choice(["1/4", "50 %", 0.5])
            if chance.random() < 0.2:
                extra["clean"] = chance.choice(["90 %", 0.95])
            if chance.random() < 0.2:
                extra["moisture"] = f"{chance.uniform(7, 20):.1f} %"
                self.table.setdefault("market_moisture", f"{chance.uniform(8, 15):.1f} %")
        if chance.random() < 0.08:
            extra["variation"] = round(chance.uniform(0.1, 0.9), 2)
        for _ in range(number):
            ratio = self.cut_m / self.width
            seen = {
                "standing": {"standing": area},
                "header strip": {"standing": area, "header": area},
                "discharge": {"machine": sides[1] * self.cut_m if spans else area * ratio},
                "behind": {"standing": area, "header": area, "machine": area * ratio},
                "whole cut": {"standing": 0.1 * self.cut_m, "header": 0.1 * self.cut_m, "machine": 0.1 * self.cut_m},
                "windrow": {"machine": 2 * self.cut_m},
            }[place]
            read = self.reading(self.mass_g(seen), how)
            if place == "whole cut":
                pan: dict[str, Any] = {"width": f"{self.cut_m:g} m", "length": "10 cm"}
            elif place == "windrow":
                pan = {"length": "2 m"}
            elif spans:
                pan = {"width": f"{sides[0]:g} m", "length": f"{sides[1]:g} m"}
            else:
                pan = {"pan": f"{area:g} m2" if area != 0.3716 else "4 ft2"}
            yield {"place": place, **pan, **read, **extra}


def checks() -> Iterator[tuple[str, dict[str, Any]]]:
    """Every check of the vectors with its name."""
    chance = random.Random(SEED)
    for number in range(1, 13):
        for turn in range(11):
            world = World(chance)
            how = "counted" if turn == 0 else world.ways()
            world.terms()
            world.combine()
            world.table["catch"] = list(world.pans("discharge", number, how))
            yield f"discharge, {number} catches, {how}, {turn}", world.table
    for place in ("standing", "header strip", "behind", "whole cut", "windrow"):
        for turn in range(9):
            world = World(chance, spreading=None if place == "behind" else False)
            how = world.ways()
            world.terms()
            if place not in ("standing", "header strip"):
                world.combine()
            world.table["catch"] = list(world.pans(place, chance.randint(1, 8), how))
            yield f"{place} alone, {how}, {turn}", world.table
    for turn in range(70):
        world = World(chance)
        world.terms()
        world.combine()
        places = chance.sample(["standing", "header strip", "discharge", "behind", "whole cut"], chance.randint(2, 4))
        world.table["catch"] = [
            one for place in places for one in world.pans(place, chance.randint(1, 4), world.ways())
        ]
        yield f"several places, {turn}", world.table
    yield from _empty_pans(chance)
    yield from _profiles(chance)
    yield from _leaks(chance)
    yield from _heads(chance)
    yield from _windrowed(chance)
    yield from _extremes()
    yield from _nearly_settled(chance)
    yield from _unusual(random.Random(SEED + 1))


def _empty_pans(chance: random.Random) -> Iterator[tuple[str, dict[str, Any]]]:
    for turn in range(24):
        world = World(chance, spreading=turn % 4 == 3)
        world.terms()
        world.combine()
        unit = chance.choice(["g", "g", "g", "seeds", "mL"])
        step = {} if unit == "seeds" else {"step": chance.choice(["1 g", "0.1 g", "5 g"]) if unit == "g" else "5 mL"}
        empty = {"place": "discharge", "pan": chance.choice(["4 ft2", "0.25 m2"]), "amount": f"0 {unit}", **step}
        world.table["catch"] = [empty] * chance.randint(1, 6)
        if turn % 3 == 0:
            world.table["catch"] = [*world.table["catch"], *world.pans("discharge", 2, "weighed")]
        yield f"empty pans, {turn}", world.table


def _profiles(chance: random.Random) -> Iterator[tuple[str, dict[str, Any]]]:
    for turn in range(12):
        world = World(chance, spreading=turn % 2 == 0)
        world.terms()
        world.combine()
        how = world.ways()
        pans = []
        for run in range(1, chance.randint(1, 3) + 1):
            for spot in sorted(chance.sample([-0.4, -0.2, 0.0, 0.2, 0.4], chance.randint(2, 5))):
                (one,) = world.pans("discharge", 1, how)
                one = {k: v for k, v in one.items() if k not in ("width", "length", "variation")}
                pans.append({"pan": "0.25 m2", **one, "offset": f"{spot * world.width:.2f} m", "run": run})
        world.table["catch"] = pans
        yield f"profile, {turn}", world.table


def _leaks(chance: random.Random) -> Iterator[tuple[str, dict[str, Any]]]:
    for turn in range(10):
        world = World(chance, spreading=False)
        world.terms()
        world.combine()
        world.table["speed"] = f"{chance.uniform(3, 9):.1f} km/h"
        drips = [
            {"place": "leak", "time": "60 s", "amount": f"{chance.uniform(20, 400):.0f} g", "step": "1 g"}
            for _ in range(chance.randint(1, 3))
        ]
        others = [] if turn < 3 else list(world.pans("discharge" if turn % 2 else "behind", 3, "weighed"))
        world.table["catch"] = [*drips, *others]
        yield f"leak, {turn}", world.table


def _heads(chance: random.Random) -> Iterator[tuple[str, dict[str, Any]]]:
    for turn in range(12):
        world = World(chance, spreading=False)
        world.terms()
        world.combine()
        pans = list(world.pans("header strip" if turn % 2 else "discharge", 3, "counted" if turn % 3 else "weighed"))
        for one in pans:
            if turn % 4 < 2:
                one |= {"heads": chance.randint(0, 9), "seeds_per_head": 22}
            else:
                one |= {"unthreshed": f"{chance.randint(0, 40)} seeds" if turn % 3 else f"{chance.uniform(0, 4):.1f} g"}
        world.table["catch"] = pans
        yield f"heads, {turn}", world.table


def _windrowed(chance: random.Random) -> Iterator[tuple[str, dict[str, Any]]]:
    for turn in range(8):
        world = World(chance, spreading=False)
        world.terms()
        world.combine()
        world.table |= {"windrowed": True, "windrower_width": f"{world.cut_m:g} m", "speed": "7 km/h"}
        if turn % 2:
            pans = list(world.pans("discharge", 3, "weighed"))
        else:
            pans = [
                {
                    "place": "windrow",
                    "length": "3 m",
                    "gross": f"{world.mass_g({'machine': 3 * world.cut_m}) + 250:.1f} g",
                }
                | {"tare": "250 g"}
                for _ in range(2)
            ]
        world.table |= {"field": {"area": "62 ha"}}
        world.table["catch"] = pans
        yield f"windrowed, {turn}", world.table


def _extremes() -> Iterator[tuple[str, dict[str, Any]]]:
    pan = {"place": "discharge", "pan": "4 ft2"}
    wide = {"cut_width": "6 m", "drop_width": "1 m"}
    for name, readings in {
        "the plan's one pan": ["12.5 g"],
        "the plan's three pans": ["12.5 g", "9.8 g", "15.1 g"],
        "the plan's empty pan": ["0 g"],
        "the plan's empty pan, to 0.1 g": ["0.0 g"],
        "catches that contradict each other": ["0.5 g", "60.0 g", "1.0 g", "45.0 g"],
        "nearly at the end of the grid": ["850.0 g"],
        "a great loss, twice": ["400.0 g", "420.0 g"],
        "eight alike": ["10.0 g"] * 8,
        "kilograms and ounces": ["0.5 oz", "0.012 kg"],
    }.items():
        step = "0.1 g" if "g" in readings[0] and "." in readings[0] and "oz" not in readings[0] else None
        catches = [{**pan, "amount": reading, **({"step": step} if step else {})} for reading in readings]
        yield name, {"crop": "canola", "country": "CA", "limit": "1 bu/ac", "combine": wide, "catch": catches}
    for spread, name in ((0.02, "hardly any variation"), (3, "any variation at all")):
        catches = [{**pan, "amount": f"{x:.1f} g", "step": "0.1 g", "variation": spread} for x in (9.9, 10.0, 10.1)]
        yield name, {"crop": "canola", "country": "CA", "limit": "60 kg/ha", "combine": wide, "catch": catches}
    mixed = [
        {**pan, "amount": "12.5 g", "step": "0.1 g"},
        {**pan, "amount": "3412 seeds"},
        {**pan, "amount": "18 mL", "step": "1 mL"},
        {**pan, "amount": "110 cm2 flat", "step": "5 cm2 flat"},
        {"place": "discharge", "width": "1.2 m", "length": "50 cm", "amount": "21.0 g", "step": "0.1 g"},
    ]
    for take in (2, 3, 4, 5):
        yield f"{take} ways of reading", {
            "crop": "canola", "country": "CA", "limit": "1 bu/ac", "combine": wide, "catch": mixed[:take]
        }  # fmt: skip


def _nearly_settled(chance: random.Random) -> Iterator[tuple[str, dict[str, Any]]]:
    """Checks whose limit stands where one to a dozen further catches are likely to settle it."""
    for turn in range(24):
        world = World(chance, spreading=turn % 4 == 3)
        world.combine()
        world.table["combine"]["widths_taped"] = True
        places = ["discharge"] if turn % 3 else ["header strip", "discharge"]
        world.table["catch"] = [one for place in places for one in world.pans(place, chance.randint(1, 3), "weighed")]
        belief = cf.answer(cf.check_from_table(world.table)).beliefs["judged"]
        limit = belief.quantile(chance.choice([0.23, 0.27, 0.30, 0.72, 0.76]))
        yield f"nearly settled, {turn}", {**world.table, "limit": f"{limit:.1f} kg/ha"}


def _unusual(chance: random.Random) -> Iterator[tuple[str, dict[str, Any]]]:
    """Checks at the edges of what people take: many places, nothing or very much in the pan, a place read thrice."""
    places = ["standing", "header strip", "discharge", "behind"]
    kinds = ("twelve catches", "nothing found", "counts alone", "a tenth of the seed", "ten times the seed")
    for turn in range(18):
        world = World(chance, spreading=False)
        world.terms()
        world.combine()
        many = {"twelve catches": 3, "a tenth of the seed": 2, "ten times the seed": 2}
        name = kinds[turn % 5]
        scale = {"a tenth of the seed": 0.1, "ten times the seed": 10}.get(name, 1)
        world.losses = {source: scale * loss for source, loss in world.losses.items()}
        catches = []
        for place in places if name == "twelve catches" else chance.sample(places, 3):
            how = "counted" if name == "counts alone" else chance.choice(["weighed", "counted"])
            catches += world.pans(place, many.get(name, chance.randint(1, 3)), how)
        if name == "nothing found":
            catches = [one | {"amount": "0 " + one["amount"].split(" ")[1]} for one in catches]
        world.table["catch"] = catches
        yield f"{name}, {turn}", world.table
    for turn in range(6):
        world = World(chance, spreading=False)
        world.terms()
        world.combine()
        world.table["speed"] = "6 km/h"
        catches = [one for how in ("weighed", "counted", "measured") for one in world.pans("discharge", 2, how)]
        if turn % 2:
            drip = {"place": "leak", "time": "60 s", "amount": f"{chance.uniform(20, 300):.0f} g"}
            catches.append({**drip, "step": "1 g"})
        world.table["catch"] = catches
        yield f"three ways in one place, {turn}", world.table
    # A cut through its likelihood far from the readings once made an impossible loss likely.
    spanning = {"place": "discharge", "width": "1.35 m", "length": "0.5 m"}
    catches = [
        {**spanning, "amount": "5.9 g", "step": "0.1 g"},
        {**spanning, "amount": "6.7 g", "step": "0.1 g"},
        {"place": "discharge", "pan": "0.1 m2", "amount": "1 seeds"},
        {"place": "discharge", "pan": "0.1 m2", "amount": "5 seeds"},
        {"place": "discharge", "pan": "1 m2", "amount": "20 mL", "step": "1 mL"},
        {"place": "discharge", "pan": "1 m2", "amount": "22 mL", "step": "1 mL"},
        {"place": "leak", "time": "60 s", "amount": "265 g", "step": "1 g"},
    ]
    table = {"crop": "corn", "country": "AU", "yield": "5 t/ha", "limit": "270 kg/ha", "tkw": "296 g"}
    table |= {"combine": {"cut_width": "23.16 ft", "drop_width": "4.04 ft"}, "speed": "6 km/h"}
    yield "three ways in one place, heavy seed", {**table, "catch": catches}
