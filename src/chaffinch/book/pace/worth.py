"""Is it worth stopping to check, or taking one more catch? Minutes against money, from the last check in the book."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Final

import numpy as np

from chaffinch import units
from chaffinch.book.checks.answer import CheckAnswer, answer, prospect_of_another
from chaffinch.book.checks.held import LoggedCheck, checks_where, counting
from chaffinch.book.checks.own_variation import with_learned
from chaffinch.book.checks.points import JUDGED, shared_sd
from chaffinch.book.currency import MoneyTold, one_currency, price_at
from chaffinch.book.desk import Desk
from chaffinch.book.pace.best import width_of
from chaffinch.book.pace.curves import Curves, curves
from chaffinch.book.things import Thing, by_ids
from chaffinch.engine.estimate import Prior, Range, default_prior
from chaffinch.engine.work import spot_capacity_ha_h
from chaffinch.engine.worth import CheckWorth, LastCheck, Worth, worth_of_catch, worth_of_check
from chaffinch.engine.worth_choice import Choice, effect_between
from chaffinch.errors import InputError
from chaffinch.how_far import Progress
from chaffinch.reference import crop as find_crop

USUAL_EFFECT: Final = (0.60, 0.95)
"""Loss after a change over loss before where it goes as meant, 5 and 95 % [1]. Own figure."""
GOES_WRONG: Final = 0.10
"""Share of changes that do harm instead [1]. Own figure."""
HARM_KG_HA: Final = 20.0
"""What such a change adds to the loss [kg/ha]. Own figure."""
ONE_SD: Final[Mapping[str, float]] = {
    "straw_moisture_pct": 4.0,
    "humidity_pct": 15.0,
    "grain_moisture_pct": 1.5,
    "air_temperature_c": 6.0,
    "wind_kmh": 10.0,
}
"""What counts as one sd of each condition over a harvest, in its own unit. Own figures, no source."""
TWO_SIDED: Final = 3.29
"""90 % range over sd of a normal [1]: 2 · 1.645 (derived)."""
LONGEST_BY_CLOCK_H: Final = 12.0
"""Hours by the clock that may be taken for hours of combining [h]; own figure: a longer time holds a night."""


@dataclass(frozen=True, slots=True, kw_only=True)
class WorthTerms:
    """What the decision needs beside the book.

    Attributes
    ----------
    area_left_ha : float
        Area that a better setting would still help on [ha].
    stop_cost_per_h : float
        What an hour of standing still costs [money/h].
    price_per_t : float or None
        [money/t]; None: the field's, else the last check's.
    effect : tuple of float
        Loss after acting over loss before where it goes as meant, 5 and 95 % [1]; above 1 it makes things worse.
    goes_wrong, harm_kg_ha : float
        Probability that it does harm instead [1], and what that adds to the loss [kg/ha].
    action_minutes, stop_minutes, catch_minutes : float
        Minutes that acting, stopping, and one catch take [min].
    action_cost : float
        What acting costs beside its minutes [money].
    hours_since : float or None
        Hours of combining since the last check [h]; None: by the clock, where that says 12 or less.
    conditions : mapping of str to float
        Now, by the names of the record.
    money : sequence of MoneyTold
        Prices and rates as the person wrote them, for the rule of one currency.
    """

    area_left_ha: float
    stop_cost_per_h: float
    price_per_t: float | None = None
    effect: tuple[float, float] = USUAL_EFFECT
    goes_wrong: float = GOES_WRONG
    harm_kg_ha: float = HARM_KG_HA
    action_minutes: float = 20.0
    stop_minutes: float = 10.0
    catch_minutes: float = 5.0
    action_cost: float = 0.0
    hours_since: float | None = None
    conditions: Mapping[str, float] | None = None
    money: Sequence[MoneyTold] = ()


@dataclass(frozen=True, slots=True)
class WorthFound:
    """What stopping, and what one more catch, are worth.

    Attributes
    ----------
    combine : Thing
    last : LoggedCheck
        The last check of the combine in the crop.
    judged_kg_ha : Range
        What it said [kg/ha].
    judged : tuple of str
        Of which losses.
    hours_since : float
        [h]
    moved : mapping of str to float
        The condition that moved most, in sds; empty when none is told both then and now.
    expected_ratio : float
        Loss now over loss then that the curve expects by that condition [1].
    check : CheckWorth
        A new stop.
    catch : Worth
        One more catch at the last stop, had one stayed there.
    price_per_t : float
        As used.
    currency : str
        Of all money of the answer; "" where nobody names one.
    terms : WorthTerms
        As asked.
    p_harm : float
        Probability, by the terms, that a change makes the loss greater [1].
    """

    combine: Thing
    last: LoggedCheck
    judged_kg_ha: Range
    judged: tuple[str, ...]
    hours_since: float
    moved: Mapping[str, float]
    expected_ratio: float
    check: CheckWorth
    catch: Worth
    price_per_t: float
    currency: str
    terms: WorthTerms
    p_harm: float


def worth(
    desk: Desk,
    combine: Thing,
    crop: str,
    terms: WorthTerms,
    *,
    seed: int = 1,
    progress: Progress | None = None,
) -> WorthFound:
    """Put a price on a stop to check and on another catch.

    Parameters
    ----------
    desk : Desk
        The open book.
    combine : Thing
        The combine.
    crop : str
        The crop, by name or key.
    terms : WorthTerms
        Area left, costs and conditions.
    seed : int
        Same seed, same answer.
    progress : callable or None
        Called with (done, of) while checks are read.

    Raises
    ------
    InputError
        When the combine has no check of judged loss in the crop, a figure is out of its range, two currencies are
        mixed, or the clock cannot tell the hours of combining.
    """
    key = find_crop(crop).key
    own = [c for c in counting(desk, checks_where(desk, combine=combine.id)) if find_crop(c.check.crop).key == key]
    if not own:
        raise InputError("combine", combine.name, f"has no check in {key} yet", "take a first check: it is worth most")
    last = with_learned(desk, [max(own, key=lambda c: str(c.body["taken_at"]))])[0]
    found = answer(last.check, seed=seed)
    if not {"header", "machine"} & set(found.judged):
        raise InputError("check", last.id[:8], "saw neither header nor machine loss", "take a check of either")
    learned = curves(desk, combine, key, seed=seed, progress=progress)
    price, of_book = terms.price_per_t, []
    if price is None:
        home = by_ids(desk, [last.body.get("field")]).get(str(last.body.get("field", "")))
        known = price_at(last, home)
        if known is None:
            raise InputError("price", None, "is told neither here nor by the last check or its field", "add --price")
        price, of_book = known[0], [known[1]]
    currency = one_currency(desk, [*terms.money, *of_book])
    speed = last.check.speed_kmh
    if speed is None:
        raise InputError(
            "check",
            last.id[:8],
            "tells no speed, so hours have no hectares",
            "log one with its ground speed, or correct this one by a check file that tells it",
        )
    effect = effect_between(*terms.effect)
    choice = Choice(
        area_left_ha=terms.area_left_ha,
        price_per_t=price,
        capacity_ha_h=spot_capacity_ha_h(speed, width_of(combine)),
        stop_cost_per_h=terms.stop_cost_per_h,
        action_minutes=terms.action_minutes,
        action_other_cost=terms.action_cost,
        effect=effect,
        goes_wrong=terms.goes_wrong,
        harm_kg_ha=terms.harm_kg_ha,
    )
    r = found.judged_kg_ha
    sd = math.log(r.high / r.low) / TWO_SIDED
    hours = _hours_since(desk, last) if terms.hours_since is None else terms.hours_since
    moved = _moved(last, terms.conditions or {})
    ratio = _expected(learned, last, terms.conditions or {})
    # What a new check would repeat is in the sum held against the combine: its header's counts with its machine's.
    point = next(p for p in (*learned.points, *learned.header_points) if p.logged.id == last.id)
    shared = min(sd, shared_sd([point], JUDGED))
    check = worth_of_check(
        LastCheck(
            median_kg_ha=r.median,
            sd_log=sd,
            shared_sd_log=shared,
            hours_since=hours,
            moved=moved,
            expected_ratio=ratio,
            prior=_prior(found),
        ),
        choice,
        catch_sd_log=min(c.c0 for c in found.prepared.catches),
        stop_minutes=terms.stop_minutes,
        minutes_per_catch=terms.catch_minutes,
    )
    catch = worth_of_catch(
        prospect_of_another(last.check, seed=seed), choice, minutes_per_catch=terms.catch_minutes, seed=seed
    )
    worse = float(effect.weights[effect.ratio > 1.0].sum())
    p_harm = terms.goes_wrong + (1.0 - terms.goes_wrong) * worse
    return WorthFound(combine, last, r, found.judged, hours, moved, ratio, check, catch, price, currency, terms, p_harm)


def _hours_since(desk: Desk, last: LoggedCheck) -> float:
    now, then = (datetime.fromisoformat(t) for t in (desk.now(), str(last.body["taken_at"])))
    hours = (now - then).total_seconds() / 3600.0
    if hours < 0:
        raise InputError("hours since", round(hours, 1), "the last check lies ahead of the clock", "say --hours-since")
    if hours > LONGEST_BY_CLOCK_H:
        problem = "the clock cannot tell hours of combining since the last check: nights are among them"
        raise InputError("hours since", f"{hours:.0f} h by the clock", problem, "say --hours-since")
    return hours


def _prior(found: CheckAnswer) -> Prior:
    """What was expected of the loss held against the combine before any check."""
    parts = [s for s in found.judged if s != "leak"] or list(found.judged)
    return Prior(sum(default_prior(s, found.check.yield_kg_ha).median_kg_ha for s in parts))


def _moved(last: LoggedCheck, now: Mapping[str, float]) -> dict[str, float]:
    """The condition that moved most, in sds: they move together, so that several would count one change twice."""
    then = last.body.get("conditions") or {}
    moved = {name: (value - float(then[name])) / ONE_SD[name] for name, value in now.items() if name in then}
    if not moved:
        return {}
    most = max(moved, key=lambda name: abs(moved[name]))
    return {most: moved[most]}


def _expected(learned: Curves, last: LoggedCheck, now: Mapping[str, float]) -> float:
    """Machine loss now over then by the curve's own condition; 1 where it learned none or it is not told twice."""
    name = learned.condition
    then = last.body.get("conditions") or {}
    if name is None or name not in now or name not in then or not learned.own:
        return 1.0
    load = learned.machine.reference_load
    before, after = (
        learned.machine.loss_kg_ha(load, combine=learned.combine.id, conditions={name: value})
        for value in (float(then[name]), now[name])
    )
    return float(np.median(after / before))


def price_of_field(field: Thing | None) -> float | None:
    """Price of a field [money/t]; None where it has none."""
    told = None if field is None else field.parts.get("price")
    return None if told is None else units.read_positive(told, "price", field="field, price").value
