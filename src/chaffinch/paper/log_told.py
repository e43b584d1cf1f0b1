"""How is the loss of a whole field by its log laid out for people: total, map, by speed and hour, another pace?"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final

from chaffinch.book.fieldlogs.answer import hours_said
from chaffinch.book.fieldlogs.large import LogWalked
from chaffinch.book.fieldlogs.losses import LogLoss, MachineLoss
from chaffinch.book.fieldlogs.one_log import LogCleaned
from chaffinch.book.fieldlogs.said import doubts_said, flag_said, lags_said, problem_said, warnings_said
from chaffinch.book.fieldlogs.zone_edges import zone_edges
from chaffinch.book.fieldlogs.zones import ZonesTold, zone_rows
from chaffinch.book.figures import kept_digits, plain_number, range_words, rounded
from chaffinch.book.shown_unit import PaceUnit, area_said
from chaffinch.book.times import local, local_moment
from chaffinch.engine.estimate import Range
from chaffinch.paper import drawing
from chaffinch.paper.drawing import Drawing
from chaffinch.paper.log_map import Edge, Squares, log_map, squares_of
from chaffinch.paper.season_told import KG_PER_SHORT_TON, T_PER_KG
from chaffinch.paper.told import Amount, money_said, sign_of
from chaffinch.paper.words import words

if TYPE_CHECKING:
    from chaffinch.fieldlog.loss.parts import ClassLoss

KG_PER_T: Final = 1000.0
ALIKE: Final = 1.1
"""Most over least loss of a map's squares up to which it is said that they hardly differ [1]; own figure."""


@dataclass(frozen=True, slots=True)
class Weight:
    """What grain is told in: kilograms times ``per_kg`` in a unit."""

    per_kg: float
    unit: str


def weight_of(unit: PaceUnit, report_in: str | None) -> Weight:
    """Short tons where a person asked for North American measures, else tonnes."""
    if report_in == "bu/ac" and unit.loss.land == "ac":
        return Weight(1.0 / KG_PER_SHORT_TON, "short tons")
    return Weight(T_PER_KG, "t")


@dataclass(frozen=True, slots=True)
class Cleaning:
    """What cleaning a log came to, as a page shows it."""

    said: str
    counts: str
    rows: list[list[str]]
    notes: list[str]


@dataclass(frozen=True, slots=True)
class Told:
    """The loss of a field by its log, as a page shows it."""

    amount: Amount
    what: str
    ruler: Drawing
    total: str
    money: str
    sources: list[list[str]]
    machines: list[list[str]]
    map: Drawing | None
    thirds: list[list[str]]
    zones: list[list[str]]
    zones_said: list[str]
    by_speed: list[list[str]]
    by_hour: list[list[str]]
    other_title: str
    other: list[list[str]]
    other_said: list[str]
    rests: list[str]
    cleaning: Cleaning = field(repr=False)


def cleaning_told(log: LogCleaned | LogWalked, unit: PaceUnit, weight: Weight) -> Cleaning:
    """Which records count, and why the others do not."""
    cleaned = log.cleaned
    n = max(cleaned.records, 1)
    rows = [[words("whole.clean.column"), words("whole.clean.records"), words("whole.clean.share")]]
    rows += [
        [flag_said(one.flag), _counted(one.count), f"{100 * one.count / n:.1f} %"] for one in cleaned.taken if one.count
    ]
    counts = ""
    if math.isfinite(log.grain_t) and math.isfinite(log.area_ha):
        grain = plain_number(log.grain_t * KG_PER_T * weight.per_kg, 4)
        counts = words("whole.clean.counts", grain=grain, unit=weight.unit, area=area_said(log.area_ha, unit.loss))
    notes = [*lags_said(sorted(cleaned.lags.items())), *warnings_said(cleaned)]
    notes += [problem_said(problem) for problem in log.found.problems]
    share = f"{100 * (1 - cleaned.share_flagged):.0f} %"
    return Cleaning(words("whole.clean.said", share=share), counts, rows if len(rows) > 1 else [], notes)


def told_of(found: LogLoss, unit: PaceUnit, sign: str, weight: Weight, zones: ZonesTold | None = None) -> Told:
    """A field's loss laid out for a page, in the person's units; ``zones`` are drawn where they were summed."""
    mean = found.kg_ha.times(unit.loss.factor)
    amount = Amount.of(mean, unit.loss.name)
    both = found.header_kg is not None
    what = words("whole.mean", what=words("whole.both" if both else "whole.machine"))
    about = words("check.about", low=amount.low, middle=amount.middle, high=amount.high, unit=amount.unit)
    ruler = drawing.ruler(
        mean, unit.loss.name, title=words("whole.ruler", unit=unit.loss.name), about=about, name="log"
    )  # fmt: skip
    low, middle, high = range_words(found.total_kg.times(weight.per_kg))
    area = area_said(found.cut_ha, unit.loss)
    total = words("whole.total", middle=middle, unit=weight.unit, area=area, low=low, high=high)
    money = ""
    if found.money is not None:
        said = money_said(found.money, sign)
        money = words("whole.money", money=said.middle, low=said.low, high=said.high)
    squares = squares_of(found.squares)
    other_title, other, other_said = _other(found, unit, sign, weight)
    return Told(
        amount,
        what,
        ruler,
        total,
        money,
        _sources(found, weight),
        _machines(found, unit, sign, weight),
        None if squares is None else _map(squares, unit, _edges(squares, zones)),
        [] if squares is None else _thirds(squares, unit),
        _by_zone(found, unit, sign),
        _zones_said(found),
        _by_speed(found, unit),
        _by_hour(found, unit),
        other_title,
        other,
        other_said,
        _rests(found, weight),
        cleaning_told(found.log, unit, weight),
    )


def _sources(found: LogLoss, weight: Weight) -> list[list[str]]:
    rows = [[words("whole.where.lost"), weight.unit, words("column.likely")]]
    for name, kg in (("header", found.header_kg), ("machine", found.machine_kg)):
        if kg is not None:
            low, middle, high = range_words(kg.times(weight.per_kg))
            rows.append([name, middle, f"{low} to {high}"])
    return rows


def _machines(found: LogLoss, unit: PaceUnit, sign: str, weight: Weight) -> list[list[str]]:
    """What each machine lost on its part of the field; nothing for one machine."""
    if not found.several:
        return []
    priced = [words("whole.zones.money", sign=sign_of(sign).strip() or "money")] if found.money is not None else []
    head = [words("whole.machines.column"), words("column.area"), unit.loss.name, words("column.likely"), weight.unit]
    rows = [[*head, *priced]]
    for one in found.machines:
        low, middle, high = range_words(one.kg_ha.times(unit.loss.factor))
        row = [one.curves.combine.name, area_said(one.cut_ha, unit.loss), middle, f"{low} to {high}"]
        row.append(range_words(one.total_kg.times(weight.per_kg))[1])
        if priced:
            row.append("–" if one.money is None else range_words(one.money)[1])
        rows.append(row)
    return rows


def _spans(squares: Squares, unit: PaceUnit) -> list[tuple[float, float] | None]:
    """Least and most of each third, in the person's unit; None of an empty one."""
    thirds = [[loss * unit.loss.factor for _, loss in squares.third(level)] for level in (1, 2, 3)]
    return [(min(own), max(own)) if own else None for own in thirds]


def _digits(spans: Sequence[tuple[float, float] | None]) -> int:
    """How many digits tell the thirds apart: two, or up to four where a field lost nearly the same everywhere."""
    least = [ends[0] for ends in spans if ends is not None]
    return next((n for n in (2, 3) if len({kept_digits(v, n) for v in least}) == len(least)), 4)


def _edges(squares: Squares, zones: ZonesTold | None) -> list[Edge]:
    """The zones as they lie on the map, drawn to a tenth of a square."""
    if zones is None:
        return []
    return [
        Edge(number, [[(float(lon), float(lat)) for lon, lat in ring] for ring in one.rings], one.label)
        for number, one in zone_edges(zones, squares.box, 0.1 * squares.step_deg[1])
    ]


def _by_zone(found: LogLoss, unit: PaceUnit, sign: str) -> list[list[str]]:
    """What each zone lost; numbered as on the map."""
    if not found.by_zone:
        return []
    priced = [words("whole.zones.money", sign=sign_of(sign).strip() or "money")] if found.money is not None else []
    head = ["", words("whole.zones.column"), words("column.area"), unit.loss.name, words("column.likely"), *priced]
    rows = zone_rows(
        found.by_zone, unit.loss.factor, lambda ha: area_said(ha, unit.loss),
        none=words("whole.zones.none"), empty=words("whole.zones.empty"), priced=bool(priced),
    )  # fmt: skip
    numbers = [str(k) if one.name else "" for k, one in enumerate(found.by_zone, start=1)]
    return [head, *([number, *row] for number, row in zip(numbers, rows, strict=True))]


def _zones_said(found: LogLoss) -> list[str]:
    said = [words("whole.zones.about")] if found.by_zone else []
    if found.in_several:
        said.append(words("whole.zones.several", n=_counted(found.in_several)))
    return said


def _map(squares: Squares, unit: PaceUnit, zones: Sequence[Edge] = ()) -> Drawing:
    spans, found = [], _spans(squares, unit)
    digits = _digits(found)
    for which, ends in zip(("first", "second", "last"), found, strict=True):
        name = words(f"report.map.{which}")
        if ends is None:
            spans.append(words("report.map.third.empty", which=name))
            continue
        low, high = (kept_digits(v, digits) for v in ends)
        key = "report.map.third.one" if low == high else "report.map.third"
        spans.append(words(key, low=low, high=high, unit=unit.loss.name, which=name))
    about = [words("whole.map.about", side=plain_number(squares.side_m, 2))]
    told = [ends for ends in found if ends is not None]
    about += [words("whole.map.alike")] if len(told) > 1 and told[-1][1] <= ALIKE * told[0][0] else []
    about += [words("whole.map.zones")] if zones else []
    return log_map(
        squares, title=words("whole.map.title", unit=unit.loss.name), about=" ".join(about), name="log-map",
        spans=spans, scale=words("whole.map.scale"), zones=zones,
    )  # fmt: skip


def _thirds(squares: Squares, unit: PaceUnit) -> list[list[str]]:
    """The figures behind the map: each third's ends, its mean and its area."""
    name = unit.loss.name
    rows = [
        ["", words("whole.map.from", unit=name), words("whole.map.to"), words("whole.map.mean"), words("column.area")]
    ]
    found = _spans(squares, unit)
    digits = _digits(found)
    for level, (which, ends) in enumerate(zip(("first", "second", "last"), found, strict=True), start=1):
        if ends is None:
            continue
        own = squares.third(level)
        area = sum(a for a, _ in own)
        mean = sum(a * loss for a, loss in own) / area * unit.loss.factor
        figures = [kept_digits(v, digits) for v in (*ends, mean)]
        rows.append([words(f"report.map.{which}"), *figures, area_said(area, unit.loss)])
    return rows


def _class(one: ClassLoss, unit: PaceUnit) -> list[str]:
    return [area_said(one.area_ha, unit.loss), kept_digits(one.kg_ha * unit.loss.factor)]


def _by_speed(found: LogLoss, unit: PaceUnit) -> list[list[str]]:
    rows = [[words("whole.speed.column"), words("column.area"), unit.loss.name]]
    for one in found.by_speed:
        low, high = (plain_number(unit.speeds(v), 2) for v in (one.low, one.low + 2.0 * unit.step_kmh))
        rows.append([words("whole.speed.class", low=low, high=high, unit=unit.speed), *_class(one, unit)])
    return rows if len(rows) > 2 else []


def _by_hour(found: LogLoss, unit: PaceUnit) -> list[list[str]]:
    rows = [[words("whole.hour.from"), words("column.area"), unit.loss.name]]
    rows += [[local_moment(one.low), *_class(one, unit)] for one in found.by_hour]
    return rows if len(rows) > 2 else []


def _other(found: LogLoss, unit: PaceUnit, sign: str, weight: Weight) -> tuple[str, list[list[str]], list[str]]:
    other = found.other
    if other is None:
        return "", [], []

    def row(name: str, kg: Range, hours: float) -> list[str]:
        low, middle, high = range_words(kg.times(weight.per_kg))
        return [name, middle, f"{low} to {high}", rounded(hours, 2)]

    def at(kmh: float) -> str:
        return f"{plain_number(unit.speeds(kmh), 2)} {unit.speed}"

    speed = "" if math.isnan(other.speed_kmh) else at(other.speed_kmh)
    rows = [
        ["", words("whole.other.lost", unit=weight.unit), words("column.likely"), words("whole.other.hours")],
        row(
            words("whole.other.was", speed=at(found.mean_kmh)),
            found.total_kg,
            found.hours,
        ),
        row(
            words("whole.other.each") if math.isnan(other.speed_kmh) else words("whole.other.at", speed=speed),
            other.total_kg,
            other.hours,
        ),
        row(words("whole.other.saved"), other.saved_kg, -other.hours_more),
    ]
    said = []
    bests = [(one.curves.combine.name, one.best) for one in found.machines if one.best is not None]
    for name, best in bests:
        key = "whole.machines.best" if found.several else "whole.best.said"
        low, high = (at(v) for v in best.band_kmh)
        said.append(words(key, combine=name, best=at(best.best_kmh), low=low, high=high))
    for key, r in (("grain", other.money_saved), ("gain", other.gain)):
        if r is not None:
            low, middle, high = (_signed(text, sign) for text in range_words(r))
            said.append(words(f"whole.other.{key}", money=middle, low=low, high=high))
    if other.time_cost is not None:
        # Machines whose hours cost unlike may take longer together and yet save, or the other way round.
        yet = "" if other.time_cost * other.hours_more >= 0 else ".yet"
        key = ("more" if other.hours_more >= 0 else "less") + yet
        cost = money_said(Range(*[abs(other.time_cost)] * 3), sign).middle
        said.insert(-1, words(f"whole.other.time.{key}", hours=rounded(abs(other.hours_more), 2), money=cost))
    elif other.money_saved is not None:
        said.append(words("whole.other.alone"))
    said += hours_said(found, sign)
    if other.beyond_share > 0:
        said.append(words("whole.other.beyond", share=_share(other.beyond_share)))
    said.append(words("whole.other.turns"))
    return words("whole.best" if bests else "whole.other"), rows, said


def _rests(found: LogLoss, weight: Weight) -> list[str]:
    """What the answer rests on, and what is not in it."""
    said = []
    for one in found.machines:
        own = len(one.curves.own)
        key = ".none" if own == 0 else ".one" if own == 1 else ""
        if found.several:
            said.append(words(f"whole.machines.rests{key}", n=own, combine=one.curves.combine.name))
        else:
            said.append(words(f"whole.rests{key}", n=own))
    if found.joined:
        stands = sum(one.moment.stands for one in found.joined)
        said.append(words("whole.joined", n=stands, of=len(found.joined)))
        said += [
            words("whole.joined.not", at=local(one.taken_at)[:16], why=doubts_said(one.moment.doubts))
            for one in found.joined
            if not one.moment.stands
        ]
    said.append(words("whole.counted", share=_share(found.known_ha / found.cut_ha)))
    for one in found.machines:
        own_said = [*_warned(one), *_sensor(one, weight)]
        name = one.curves.combine.name
        said += [words("whole.machines.of", combine=name, said=text) if found.several else text for text in own_said]
    return said


def _sensor(one: MachineLoss, weight: Weight) -> Sequence[str]:
    if one.sensor is None:
        return []
    if one.sensor.machine_kg is None:
        return [words("whole.sensor.not")]
    low, middle, high = range_words(one.sensor.machine_kg.times(weight.per_kg))
    return [words("whole.sensor", n=one.sensor.pairs, middle=middle, unit=weight.unit, low=low, high=high)]


def _warned(one: MachineLoss) -> Sequence[str]:
    said = []
    if one.header_kg is None:
        said.append(words("whole.header"))
    if one.curves.load_kind == "speed":
        said.append(words("whole.over_speed"))
    if math.isnan(one.beyond_share):
        said.append(words("whole.untested"))
    elif one.beyond_share > 0:
        said.append(words("whole.beyond", share=_share(one.beyond_share)))
    return said


def _signed(amount: str, sign: str) -> str:
    """An amount with its currency behind the minus."""
    return f"−{sign_of(sign)}{amount[1:]}" if amount.startswith("−") else f"{sign_of(sign)}{amount}"


def _counted(n: int) -> str:
    return f"{n:,}".replace(",", "\u202f")


def _share(part: float) -> str:
    return f"{100 * part:.0f} %"
