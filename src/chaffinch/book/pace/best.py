"""How fast should this combine go in this crop? The book's curves, the price and the hour cost put together."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from chaffinch import units
from chaffinch.book.checks.answer import KG_PER_T
from chaffinch.book.checks.points import overlap_m, yield_of_field
from chaffinch.book.currency import MoneyTold, one_currency, price_at, price_told
from chaffinch.book.desk import Desk
from chaffinch.book.hour_plausible import refuse_above_grain
from chaffinch.book.pace.curves import Curves, curves
from chaffinch.book.pace.hour_costs import StoredHour, per_hour
from chaffinch.book.pace.own_slope import p_rises, p_slower_pays
from chaffinch.book.things import Thing, by_ids
from chaffinch.engine.domain import FloatArray, positive
from chaffinch.engine.estimate import CLEAR
from chaffinch.engine.pace.best import Pace, best_pace
from chaffinch.engine.pace.curves import LossAtSpeeds, pair_posteriors
from chaffinch.engine.work import (
    COMBINE_FIELD_EFFICIENCY,
    COMBINE_SPEED_KMH,
    KM_M_PER_HA,
    HourCost,
    lost_time_h_ha,
    time_per_ha_h,
)
from chaffinch.errors import InputError
from chaffinch.how_far import Progress

FEWEST_SPEEDS: Final = 12
"""Speeds the curves are drawn at, at least: they are read in between."""
MEANT_KMH: Final = (0.5, 25.0)
"""Speeds a combine can be meant to cut at [km/h]; own figures."""
MEANT_YIELD_KG_HA: Final = (1.0, 30_000.0)
"""Yields that can be meant, as in a check file [kg/ha]; own figures."""
MEANT_WIDTH_M: Final = (0.3, 30.0)
"""Widths that can be cut, as in a check file [m]; own figures."""
UNTESTED_KMH: Final = (2.0, 10.0)
"""Speeds shown for a combine that was never checked [km/h]; own figures."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PaceTerms:
    """What a pace needs beside the checks; None where the book or a typical figure stands in, which is then said.

    Attributes
    ----------
    hour_cost : HourCost, StoredHour or float
        What one more hour of combining costs [money/h].
    price_per_t : float or None
        [money/t]
    yield_kg_ha : float or None
        Today's yield [kg/ha].
    width_m : float or None
        Width really cut [m].
    efficiency : float or None
        Field efficiency [share] as observed at ``efficiency_at_kmh``.
    efficiency_at_kmh : float or None
        [km/h]
    today_kmh, fastest_kmh : float or None
        Today's speed, and the speed that must not be passed [km/h].
    step_kmh : float
        The table has multiples of it [km/h].
    conditions : mapping of str to float
        Today's, by the names of the record.
    money : sequence of MoneyTold
        Prices and rates as the person wrote them, for the rule of one currency.
    """

    hour_cost: HourCost | StoredHour | float
    price_per_t: float | None = None
    yield_kg_ha: float | None = None
    width_m: float | None = None
    efficiency: float | None = None
    efficiency_at_kmh: float | None = None
    today_kmh: float | None = None
    fastest_kmh: float | None = None
    step_kmh: float = 0.5
    conditions: Mapping[str, float] | None = None
    money: Sequence[MoneyTold] = ()


@dataclass(frozen=True, slots=True)
class PaceAnswer:
    """The best pace of one combine in one crop.

    Attributes
    ----------
    curves : Curves
        What the checks say.
    loss : LossAtSpeeds
        The curves at the speeds of the table.
    pace : Pace
    hour_cost_per_h, price_per_t, width_m, lost_time_h_ha : float
        As used.
    yield_kg_ha : float or None
        As used; None where the curve stands over speed.
    parts : HourCost or None
        The hour cost in parts, where it was built from them.
    assumed : tuple of str
        Keys of what nobody told: "price from field", "price from checks", "price from their field",
        "yield from field", "yield from checks", "efficiency", "usual condition", "setup of last check",
        "load and speed apart".
    p_own : float or None
        Where the curves of all combines say "slower": the probability that it pays by this machine's own checks.
    currency : str
        Of all money of the answer; "" where nobody names one.
    p_rises : float or None
        Probability, by this machine's own checks alone, that its loss rises with load; None where they were taken at
        one load, or where no limit could be told anyhow.
    stored : StoredHour or None
        The book's hour cost, where nobody told one.
    """

    curves: Curves
    loss: LossAtSpeeds
    pace: Pace
    hour_cost_per_h: float
    price_per_t: float
    width_m: float
    lost_time_h_ha: float
    yield_kg_ha: float | None
    parts: HourCost | None
    assumed: tuple[str, ...]
    p_own: float | None = None
    currency: str = ""
    p_rises: float | None = None
    stored: StoredHour | None = None

    def speed_of(self, load: float) -> float:
        """Speed at which today's crop gives that load of the machine curve [km/h]."""
        if self.curves.load_kind == "speed" or self.yield_kg_ha is None:
            return load
        return load * KM_M_PER_HA * KG_PER_T / (self.width_m * self.yield_kg_ha)


def pace(
    desk: Desk,
    combine: Thing,
    crop: str,
    terms: PaceTerms,
    *,
    field: Thing | None = None,
    season: str | None = None,
    seed: int = 1,
    progress: Progress | None = None,
) -> PaceAnswer:
    """Find the best pace of a combine in a crop from the checks of the book.

    Parameters
    ----------
    desk : Desk
        The open book.
    combine : Thing
        The combine.
    crop : str
        The crop, by name or key.
    terms : PaceTerms
        Costs, price and what is known of today.
    field : Thing or None
        The field to be cut: its yield and price are taken where the terms give none.
    season : str or None
        Id of the season whose checks count; None for all.
    seed : int
        Same seed, same answer.
    progress : callable or None
        Called with (done, of) while checks are read.

    Raises
    ------
    InputError
        For a figure that is missing everywhere or out of its range, or two currencies.
    """
    refuse_unmeant(terms)
    found = curves(desk, combine, crop, season=season, seed=seed, progress=progress)
    assumed: list[str] = []
    price, of_book = price_of_job(desk, terms, field, found, assumed)
    stored = terms.hour_cost if isinstance(terms.hour_cost, StoredHour) else None
    currency = one_currency(desk, [*terms.money, *([] if stored is None else [stored.money]), *of_book])
    width = width_cut(combine, found) if terms.width_m is None else positive("width", terms.width_m)
    yield_kg_ha = None
    if found.load_kind == "throughput":
        yield_kg_ha = yield_of_job(terms, field, found, assumed)
    if (terms.efficiency is None) != (terms.efficiency_at_kmh is None) and terms.efficiency is None:
        raise InputError("efficiency", None, "is missing while its speed is given", 'add it, like "70 %"')
    if terms.efficiency is None:
        assumed.append("efficiency")
    lost = lost_time_h_ha(
        COMBINE_FIELD_EFFICIENCY.typical if terms.efficiency is None else terms.efficiency,
        COMBINE_SPEED_KMH.typical if terms.efficiency_at_kmh is None else terms.efficiency_at_kmh,
        width,
    )
    told = {k: v for k, v in (terms.conditions or {}).items() if k == found.condition}
    if found.condition and not told:
        assumed.append("usual condition")
    if found.setup:
        assumed.append("setup of last check")
    per_kmh = 1.0 if yield_kg_ha is None else width / KM_M_PER_HA * yield_kg_ha / KG_PER_T
    tested = tested_kmh(found, per_kmh)
    if tested is None and found.own:
        assumed.append("load and speed apart")
    most = yield_kg_ha or terms.yield_kg_ha or yield_of_field(field) or found.yield_kg_ha
    loss = _loss_at_speeds(found, per_kmh, tested, told, terms, most, seed)
    hour = per_hour(terms.hour_cost)
    refuse_above_grain(hour, width_m=width, yield_kg_ha=most, price_per_t=price)
    slope = found.slope_learned
    answer = best_pace(
        loss,
        width_m=width,
        price_per_t=price,
        hour_cost_per_h=hour,
        lost_time_h_ha=lost,
        today_kmh=terms.today_kmh,
        fastest_kmh=terms.fastest_kmh,
        slope_learned=None if slope is None else max(-1.0, slope),
    )
    p_own = None
    if answer.advice == "slower" and answer.today is not None:
        speeds = (answer.best_kmh, answer.today.speed_kmh)
        time = tuple(hour * time_per_ha_h(v, width, lost) for v in speeds)
        p_own = p_slower_pays(found, speeds, per_kmh, price_per_t=price, time_cost_per_ha=(time[0], time[1]), seed=seed)
        if p_own < CLEAR:
            answer = replace(answer, advice="not settled", remarks=(*answer.remarks, "slope not learned"))
    up = None if answer.limit_that_pays_kg_ha is None else p_rises(found, "machine", seed=seed)
    parts = terms.hour_cost if isinstance(terms.hour_cost, HourCost) else None
    said = tuple(assumed)
    return PaceAnswer(
        found, loss, answer, hour, price, width, lost, yield_kg_ha, parts, said, p_own, currency, up, stored
    )


def refuse_unmeant(terms: PaceTerms) -> None:
    """Refuse speeds, a yield or a width that cannot be meant: they would only come to light as huge losses.

    Raises
    ------
    InputError
        For one beyond :data:`MEANT_KMH`, :data:`MEANT_YIELD_KG_HA` or :data:`MEANT_WIDTH_M`.
    """
    speed = "write the speed of the combine while cutting, like 6 km/h"
    for name, told, span, unit, mend in (
        ("today's speed", terms.today_kmh, MEANT_KMH, "km/h", speed),
        ("fastest speed", terms.fastest_kmh, MEANT_KMH, "km/h", speed),
        ("yield", terms.yield_kg_ha, MEANT_YIELD_KG_HA, "kg/ha", "check number and unit, like 45 bu/ac"),
        ("width", terms.width_m, MEANT_WIDTH_M, "m", "check number and unit, like 39 ft"),
    ):
        if told is not None and not span[0] <= told <= span[1]:
            problem = f"must be from {span[0]:g} to {span[1]:g} {unit}"
            raise InputError(name, f"{told:g} {unit}", problem, mend)


def tested_kmh(found: Curves, load_per_kmh: float) -> tuple[float, float] | None:
    """Speeds at which neither load nor ground speed lies beyond what this combine was checked at [km/h].

    None without a check, and where today's crop is so much heavier or lighter that no speed is within both.
    """
    loads = found.machine.tested(found.combine.id)
    speeds = [p.speed_kmh for p in found.own if p.speed_kmh is not None]
    if loads is None or not speeds:
        return None
    low, high = max(loads[0] / load_per_kmh, min(speeds)), min(loads[1] / load_per_kmh, max(speeds))
    # A hair's breadth of yields must not part two ends that are meant to be one.
    return (min(low, high), max(low, high)) if low <= 1.1 * high else None


def width_cut(combine: Thing, found: Curves) -> float:
    """Width that time and load are reckoned with [m]: the windrower's where the last own check was windrowed crop."""
    last = max(found.own, key=lambda p: str(p.logged.body["taken_at"]), default=None)
    if last is not None and last.logged.check.windrowed and last.width_m is not None:
        return last.width_m
    return width_of(combine)


def _loss_at_speeds(
    found: Curves,
    per_kmh: float,
    tested: tuple[float, float] | None,
    told: Mapping[str, float],
    terms: PaceTerms,
    most_kg_ha: float | None,
    seed: int,
) -> LossAtSpeeds:
    """Both curves at speeds from the slowest to the fastest that matters, with today's among them."""
    low, high = UNTESTED_KMH if tested is None else (0.9 * tested[0], 1.1 * tested[1])
    ends = [low, high, *([] if terms.today_kmh is None else [terms.today_kmh])]
    speeds = round_speeds(min(ends), max(ends), positive("step_kmh", terms.step_kmh))
    machine = found.machine.loss_kg_ha(
        speeds * per_kmh, combine=found.combine.id, setup=found.setup or None, conditions=told, shared_error=False
    )
    header = None
    if found.header is not None:
        at_header = {k: v for k, v in (terms.conditions or {}).items() if k == found.header_condition}
        header = (
            found.header.loss_kg_ha(speeds, combine=found.combine.id, conditions=at_header, shared_error=False),
            found.header.weights,
        )
    return pair_posteriors(
        speeds,
        (machine, found.machine.weights),
        header,
        tested_kmh=tested,
        yield_kg_ha=most_kg_ha,
        shared=found.shared,
        seed=seed,
    )


def round_speeds(low_kmh: float, high_kmh: float, step_kmh: float) -> FloatArray:
    """Multiples of the step from below the slowest to above the fastest speed [km/h], finer where they are too few."""
    while high_kmh - low_kmh < (FEWEST_SPEEDS - 1) * step_kmh:
        step_kmh /= 2.0
    first, last = max(1, math.floor(low_kmh / step_kmh)), math.ceil(high_kmh / step_kmh)
    return step_kmh * np.arange(first, last + 1, dtype=np.float64)


def price_of_job(
    desk: Desk, terms: PaceTerms, field: Thing | None, found: Curves, assumed: list[str]
) -> tuple[float, list[MoneyTold]]:
    """The price [money/t], and where it is the book's, how it was told there; what stood in goes to ``assumed``."""
    if terms.price_per_t is not None:
        return terms.price_per_t, []
    told = price_told(field)
    if told is not None:
        assumed.append("price from field")
        return units.read_positive(told.text, "price", field="field, price").value, [told]
    points = found.own or found.points
    homes = by_ids(desk, {p.field for p in points})
    for last in reversed(points):
        known = price_at(last.logged, homes.get(last.field))
        if known is not None:
            assumed.append(
                "price from checks" if last.logged.check.price_per_t is not None else "price from their field"
            )
            return known[0], [known[1]]
    problem = "is told neither here, nor by a field named here, nor by a check that tells its speed"
    raise InputError("price", None, problem, "add --price")


def yield_of_job(terms: PaceTerms, field: Thing | None, found: Curves, assumed: list[str]) -> float:
    """Today's yield [kg/ha]: told, the field's, or the middle of the checks'; what stood in goes to ``assumed``."""
    if terms.yield_kg_ha is not None:
        return positive("yield", terms.yield_kg_ha)
    of_field = yield_of_field(field)
    if of_field is not None:
        assumed.append("yield from field")
        return of_field
    if found.yield_kg_ha is None:
        raise InputError("yield", None, "is told neither here, nor by the field, nor by a check", "add --yield")
    assumed.append("yield from checks")
    return found.yield_kg_ha


def width_of(combine: Thing) -> float:
    """Width a combine really cuts: the cut width less the overlap [m]."""
    cut = units.read_positive(str(combine.parts["cut_width"]), "length", field="combine, cut_width").value
    return cut - overlap_m(combine, cut)
