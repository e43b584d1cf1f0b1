"""Write the vectors that hold the phone's engine to Python's: checks with their answers, and quantities as typed.

    python tests/vectors/make_estimates.py

Invented checks at an invented farm, drawn with a fixed seed: every place, crops of every size, zero catches, counts,
spreading, one to twelve catches, coarse steps, subsamples, moisture, several places at once. Run it again when the
engine's answers change on purpose, and read the difference before committing it.
"""

from __future__ import annotations

import json
import math
import random
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path
from typing import Any, Final

import chaffinch as cf
from chaffinch import units
from chaffinch.book.check import CheckAnswer
from chaffinch.engine.estimate import Range

HERE: Final = Path(__file__).resolve().parent
SEED: Final = 20_260_815
COUNTRIES: Final = ("CA", "US", "AU", "GB")
DIGITS: Final = 10
"""Significant digits kept of an answer: a ten-millionth of the tolerance of any test."""


def setup_for(country: str) -> dict[str, Any]:
    """What the phone gets from its server at a farm of that country."""
    return {"farm": {"country": country, "currency": "", "report_in": None}, "crops": [*map(_crop, _keys(country))]}


def _keys(country: str) -> list[tuple[str, str]]:
    return [(key, country) for key in cf.crop_keys()]


def _crop(which: tuple[str, str]) -> dict[str, Any]:
    key, country = which
    known = cf.crop(key)
    figures: dict[str, Any] = {
        "key": key,
        "name": known.name,
        "tkw_g": known.tkw_g.value,
        "tkw_low": known.tkw_low_g.value,
        "tkw_high": known.tkw_high_g.value,
        "test_weight_kg_hl": known.test_weight_kg_hl.value,
        "bushel_kg": None,
        "market_moisture_pct": None,
        "round_seed": known.round_seed,
        "seed_diameter_mm": known.seed_diameter_mm.value if known.seed_diameter_mm else None,
        "kernel_density_g_cm3": known.kernel_density_g_cm3.value if known.kernel_density_g_cm3 else None,
    }
    # What is not listed for that country the phone does not get either.
    with suppress(cf.InputError):
        figures["bushel_kg"] = known.bushel_kg(country)
    with suppress(cf.InputError):
        figures["market_moisture_pct"] = known.market_moisture(country).value
    return figures


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


def expected(found: CheckAnswer) -> dict[str, Any]:
    """What the phone must say too."""
    return {
        "sources": {
            source: {
                "plain": _kept(loss.plain_kg_ha),
                "kg_ha": _range(loss.kg_ha),
                "share": _range(loss.share_pct),
                "part": _kept(loss.part_of_loss_pct),
                "largest": _kept(loss.p_largest),
            }
            for source, loss in found.sources.items()
        },
        "total": {
            "plain": _kept(found.total.plain_kg_ha),
            "kg_ha": _range(found.total.kg_ha),
            "share": _range(found.total.share_pct),
        },
        "judged": {"sources": list(found.judged), "kg_ha": _range(found.judged_kg_ha)},
        "limit_kg_ha": _kept(found.check.limit_kg_ha),
        "verdict": found.verdict,
        "p_over": _kept(found.p_over),
        "more": None if found.further is None else [found.further.catches, found.further.chance, found.further_like],
        "per_hour": _range(found.money_per_h),
        "unthreshed": _kept(found.unthreshed_pct),
        "warnings": [n.key for n in found.notices if n.kind == "warning"],
        "assumed": [n.key for n in found.notices if n.kind == "assumed"],
    }


def scatter(check: cf.Check, found: CheckAnswer) -> float:
    """How far the ends and middles of Python's own ranges move when only the sampler's seed does, as a part of their
    width: 0 where the grid answers."""
    furthest = 0.0
    for seed in (2, 3):
        other = cf.answer(check, seed=seed)
        pairs = [(found.sources[s].kg_ha, other.sources[s].kg_ha) for s in found.sources]
        for ours, theirs in [*pairs, (found.total.kg_ha, other.total.kg_ha), (found.judged_kg_ha, other.judged_kg_ha)]:
            apart = max(abs(ours.low - theirs.low), abs(ours.median - theirs.median), abs(ours.high - theirs.high))
            furthest = max(furthest, apart / (ours.high - ours.low))
    return float(f"{furthest:.4f}")


def _kept(value: float | None) -> float | None:
    return None if value is None else float(f"{value:.{DIGITS}g}")


def _range(r: Range | None) -> list[float | None] | None:
    return None if r is None else [_kept(r.low), _kept(r.median), _kept(r.high)]


QUANTITIES: Final = {
    "length": (
        "66 in", "5 ft 6 in", "5'6\"", "5' 6\"", "40 ft", "12.2 m", "12,2 m", "1,70 m", "170 cm", "1700 mm", "2 yd",
        "2 1/2 ft", "2½ ft", "½ in", "66″", "66”", "6 feet and 3 inches", "1 234,5 mm", "1,234.5 mm", "1.234,5 mm",
        "1,234 mm", "-0.4 m", "+0.4 m", "− 0.4 m", "0.5", "5 ft 13 in", "5.5 ft 6 in", "12/5 m", "1/0 m", "3 furlong",
        "1e3 mm", "1e40 m", "12. m", ".5 m", "1..2 m", "", "  ", "m", "twelve m", "1 2 m", "٣ m", "3² m", "66 IN",
        "40 Ft.", "1\u00a0234 mm", "9" * 90 + " m", "5 ft 6", "0 m", "12,5 M",
    ),
    "area": ("4 ft2", "4 ft²", "4 sq ft", "4 sqft", "0.25 m2", "0,25 m²", "2500 cm2", "4 square feet", "4 ft^2", "4 ft",
             "600 in2", "1 yd2", "4ft2"),
    "flat_area": ("120 cm2 flat", "18 in2 flat", "120 cm2", "120 cm², flat"),
    "land": ("62 ha", "153 ac", "153 acres", "62 hectares", "62 km2"),
    "mass": ("12.5 g", "12,5 g", "12.50 g", "12g", "1/2 lb", "3/4 lb", "1 lb 3 oz", "0.5 oz", "2 kg", "1200 mg",
             "1 ton", "1 t", "12 G", "12 Mg", "12.5 grams", "0 g", "0.0 g", "12.5 mL", "12.5", "1/3 oz", "1 T"),
    "volume": ("35 mL", "35 ml", "3.5 dL", "0.035 L", "35 cc", "35 cm3", "1 cup", "1 US cup", "2 fl oz", "2 US fl oz",
               "2 imp fl oz", "35 ML", "35 Ml", "1/4 L"),
    "seeds": ("44 seeds", "1 seed", "44 kernels", "44 beans", "44.5 seeds", "1/2 seeds", "2.000 seeds", "1e3 seeds",
              "1 200 seeds", "44"),
    "speed": ("7.5 km/h", "7,5 km/h", "7.5 kmh", "7.5 kph", "4.5 mph", "4.5 mi/h", "2 m/s", "4 miles per hour", "7.5"),
    "time": ("60 s", "1 min", "1 min 30 s", "1 h 20 min", "90 seconds", "1.5 min", "1 h 70 min", "2 hrs"),
    "area_mass": ("45 bu/ac", "45 bushels per acre", "50 kg/ha", "1.2 t/ha", "12 dt/ha", "5 g/m2", "0.5 g/ft2",
                  "45 lb/ac", "45 lbs/acre", "4 cwt/ac", "50 kg", "1 ton/ac", "2 kg/m2"),
    "density": ("65 kg/hL", "650 g/L", "650 kg/m3", "0.65 g/mL", "0.65 g/cm3", "50 lb/bu", "50 lb/bu US", "50 lb/US bu",
                "52 lb/bu imp"),
    "price": ("14.50 /bu", "$14.50/bu", "14.50 $/bu", "CAD 640/t", "640 CAD/t", "$640 CAD/t", "€410/t", "0.29 /lb",
              "29 cts/lb", "14,50 €/t", "1/2 /t", "US$500 per tonne", "£380/t", "$5 EUR/t", "14.50", "6 /kg",
              "30 /cwt"),
    "percent": ("12.5 %", "12,5%", "12.5 percent", "12.5 per cent", "12.5", "9 pct"),
    "fraction": ("1/4", "25 %", "0.25", "0,25", "1", "¼", "3/8", "25 g"),
}  # fmt: skip
BUSHEL_KG: Final = 22.6796185
AMOUNT_KINDS: Final = ("mass", "volume", "seeds", "flat_area")


def quantities() -> Iterator[dict[str, Any]]:
    """Texts as people type them, what each comes to, or that it is refused."""
    asked = [((kind,), text) for kind, texts in QUANTITIES.items() for text in texts]
    asked += [(AMOUNT_KINDS, text) for kind in AMOUNT_KINDS for text in QUANTITIES[kind]]
    for kinds, text in asked:
        one: dict[str, Any] = {"kinds": list(kinds), "text": text}
        try:
            found = units.read_any(text, kinds, field="it", bushel_kg=BUSHEL_KG)
        except cf.InputError as error:
            one["refused"] = error.problem
        else:
            one |= {"value": found.value, "step": found.step, "unit": found.unit, "kind": found.kind}
            one |= {"currency": found.currency} if found.currency else {}
        yield one


def case_of(name: str, table: dict[str, Any]) -> dict[str, Any]:
    """One case: the table and the answer, or the error it must end in."""
    case: dict[str, Any] = {"name": name, "table": table}
    try:
        check = cf.check_from_table(table)
        found = cf.answer(check)
        case |= {"answer": expected(found), "scatter": scatter(check, found)}
    except cf.InputError as error:
        case["refused"] = {"field": error.field, "problem": error.problem}
    except cf.SamplerError:
        case["unsampled"] = True
    return case


def main() -> None:
    """Write both files."""
    cases = [case_of(name, table) for name, table in checks()]
    estimates = {
        "about": "Checks at an invented farm and what chaffinch.answer says of them; made by make_estimates.py.",
        "setups": {country: setup_for(country) for country in COUNTRIES},
        "cases": cases,
    }
    typed = {
        "about": "Quantities as people type them and what chaffinch.units reads; made by make_estimates.py.",
        "bushel_kg": BUSHEL_KG,
        "quantities": list(quantities()),
    }
    for file, whole, rows in (("estimates.json", estimates, "cases"), ("estimates_units.json", typed, "quantities")):
        head = {key: value for key, value in whole.items() if key != rows}
        lines = ",\n".join(json.dumps(row, ensure_ascii=False, separators=(",", ":")) for row in whole[rows])
        text = json.dumps(head, ensure_ascii=False, separators=(",", ":"))[:-1] + f',"{rows}":[\n{lines}\n]}}\n'
        (HERE / file).write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
