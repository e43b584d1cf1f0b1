"""What is most likely wrong, what would tell, what to change: for a check file, or for a check of the book."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Final

import numpy as np

from chaffinch.book.advice.kept import answers_kept, holding, refuse_what_nobody_is_asked
from chaffinch.book.advice.own import Own, of_book, of_check
from chaffinch.book.checks.answer import CheckAnswer, answer
from chaffinch.book.checks.filed import with_field
from chaffinch.book.checks.held import LoggedCheck, checks_where, counting
from chaffinch.book.checks.points import yield_of_field
from chaffinch.book.currency import MoneyTold, check_price_of, check_price_told, one_currency, one_currency_told
from chaffinch.book.desk import Desk
from chaffinch.book.hour_plausible import meant, refuse_above_grain
from chaffinch.book.pace.hour_costs import StoredHour, per_hour, stored_hour
from chaffinch.book.shown_unit import farm_of
from chaffinch.book.things import Thing, by_ids
from chaffinch.engine.advice.causes import Causes, Question, Situation, Standing, next_question, standing, weigh
from chaffinch.engine.advice.changes import Money, RankedChange, rank
from chaffinch.engine.advice.split import Split
from chaffinch.engine.estimate import DrawBelief, GridBelief, default_prior
from chaffinch.engine.evidence import LN_LOSS
from chaffinch.engine.work import (
    COMBINE_FIELD_EFFICIENCY,
    COMBINE_SPEED_KMH,
    HourCost,
    lost_time_h_ha,
    time_per_ha_h,
)
from chaffinch.errors import InputError
from chaffinch.how_far import Progress
from chaffinch.records.check import Check
from chaffinch.reference import crop as find_crop
from chaffinch.reference.advice_read import advice_table

UNTOLD_YIELD_KG_HA: Final = 2000.0
"""Yield taken where none is told [kg/ha]: the one at which the prior's medians with and without a yield agree."""
SHOWN: Final = 3
"""Changes shown at most."""


@dataclass(frozen=True, slots=True, kw_only=True)
class AdviceTerms:
    """What a person told beside the check.

    Attributes
    ----------
    answers : mapping of str to str
        Answers by question; they stand over those kept with the check.
    machine, header : str
        Kind of machine (rotor, walker) and header, where no combine of a book tells them; empty where not told.
    price_per_t, stop_cost_per_h, area_left_ha : float or None
        Price [money/t], what an hour of standing costs [money/h], area a change works on [ha].
    hour_cost : HourCost, StoredHour, float or None
        What an hour of combining costs [money/h]; None: what the book stores, and without that "slower" cannot be
        weighed.
    skipped : sequence of str
        Questions the person could not answer; they are not put again, and count among those put.
    money : sequence of MoneyTold
        Prices and rates as written, for the rule of one currency.
    """

    answers: Mapping[str, str] = field(default_factory=dict)
    machine: str = ""
    header: str = ""
    price_per_t: float | None = None
    stop_cost_per_h: float | None = None
    area_left_ha: float | None = None
    hour_cost: HourCost | StoredHour | float | None = None
    skipped: Sequence[str] = ()
    money: Sequence[MoneyTold] = ()


@dataclass(frozen=True, slots=True)
class AdviceFound:
    """Advice on one check.

    Attributes
    ----------
    check : CheckAnswer
    logged : LoggedCheck or None
        The check in the book; None for a file.
    combine : Thing or None
    situation : Situation
        Crop, machine and all answers, those of check and book among them.
    by_itself : mapping of str to str
        The answers that check and book gave.
    kept : mapping of str to str
        The answers kept beside the check in the book.
    belief : Causes
    standing : {"change", "measure", "nothing"}
    question : Question or None
        The next one.
    shown : tuple of RankedChange
        Those expected to gain, best first, at most three; empty unless something is worth changing.
    worth : tuple of RankedChange
        All that are expected to gain against causes that are likely enough, best first.
    held : tuple of RankedChange
        Those held back, with why.
    own : Own
    assumed : tuple of str
        Keys of what nobody told: "yield", "price", "minutes", "header", "standing".
    price_per_t : float or None
    currency : str
    stored : StoredHour or None
        The book's hour cost, where nobody told one and it counts.
    left_out : str
        Why the book's hour cost does not count; "" where it does, or there is none.
    """

    check: CheckAnswer
    logged: LoggedCheck | None
    combine: Thing | None
    situation: Situation
    by_itself: Mapping[str, str]
    kept: Mapping[str, str]
    belief: Causes
    standing: Standing
    question: Question | None
    shown: tuple[RankedChange, ...]
    worth: tuple[RankedChange, ...]
    held: tuple[RankedChange, ...]
    own: Own
    assumed: tuple[str, ...]
    price_per_t: float | None
    currency: str
    stored: StoredHour | None = None
    left_out: str = ""


@dataclass(frozen=True, slots=True)
class Known:
    """A check of the book with all that the book says of it and of its machine, whatever a person answers."""

    found: CheckAnswer
    logged: LoggedCheck
    combine: Thing | None
    home: Thing | None
    own: Own
    kept: Mapping[str, str]


def advise_file(check: Check, terms: AdviceTerms, *, seed: int = 1) -> AdviceFound:
    """Advice on a check that stands in no book.

    Parameters
    ----------
    check : Check
        From a check file.
    terms : AdviceTerms
    seed : int
        Same seed, same answer.

    Raises
    ------
    InputError
        For a check that cannot be answered, a question or answer that is none, or two currencies.
    """
    price = [] if terms.price_per_t is not None or check.price_per_t is None else [check_price_of(check, "check")]
    currency = one_currency_told("", [*price, *terms.money])
    return _advise(answer(check, seed=seed), None, None, Own(), {}, terms, currency=currency, seed=seed)


def advise_check(
    desk: Desk, logged: LoggedCheck, terms: AdviceTerms, *, seed: int = 1, progress: Progress | None = None
) -> AdviceFound:
    """Advice on a check of the book, with what the book knows of its machine.

    Parameters
    ----------
    desk : Desk
        The open book.
    logged : LoggedCheck
        From :func:`chaffinch.book.checks.held.find_check`.
    terms : AdviceTerms
    seed : int
        Same seed, same answer.
    progress : callable or None
        Called with (done, of) while checks are read.

    Raises
    ------
    InputError
        As :func:`advise_file`; and where two currencies are mixed.
    """
    return advise_known(desk, known_of(desk, logged, seed=seed, progress=progress), terms, seed=seed)


def known_of(desk: Desk, logged: LoggedCheck, *, seed: int = 1, progress: Progress | None = None) -> Known:
    """What the book says of a check and its machine: the long part, the same for every answer of a person.

    Raises
    ------
    InputError
        For a check that cannot be answered.
    """
    here = by_ids(desk, [logged.body.get("combine"), logged.body.get("field")])
    combine = here.get(str(logged.body.get("combine", "")))
    home = here.get(str(logged.body.get("field", "")))
    farm = farm_of(desk)
    check, _ = with_field(logged.check, home, "" if farm is None else str(farm.parts.get("currency", "")))
    own = Own() if combine is None else of_book(desk, logged, combine, seed=seed, progress=progress)
    kept = answers_kept(desk, {logged.id, *logged.versions.all})
    return Known(answer(check, seed=seed), logged, combine, home, own, kept)


def advise_known(desk: Desk, known: Known, terms: AdviceTerms, *, seed: int = 1) -> AdviceFound:
    """Advice with what a person told, from what :func:`known_of` found; quick.

    Raises
    ------
    InputError
        For a question or answer that is none, or two currencies.
    """
    price = check_price_told(known.logged) if terms.price_per_t is None else None
    told = [*terms.money, *([] if price is None else [price])]
    currency, left_out = one_currency(desk, told), ""
    if terms.hour_cost is None and (stored := stored_hour(desk, known.combine)) is not None:
        try:
            currency = one_currency(desk, [*told, stored.money])
            price_per_t = known.found.check.price_per_t if terms.price_per_t is None else terms.price_per_t
            _time_cost(known.found, replace(terms, hour_cost=stored), _told_yield(known.found, known.home), price_per_t)
        except InputError as error:
            # Only "slower" needs it, and nobody asked for it here: the advice is given without it, which is said.
            left_out = error.line()
        else:
            terms = replace(terms, hour_cost=stored, money=(*terms.money, stored.money))
    found = _advise(
        known.found, known.logged, known.combine, known.own, known.kept, terms, currency=currency, home=known.home,
        seed=seed,
    )  # fmt: skip
    return replace(found, left_out=left_out)


def last_check(desk: Desk, combine: Thing, crop: str | None) -> LoggedCheck:
    """The last check of a combine, in a crop where one is named.

    Raises
    ------
    InputError
        When there is none.
    """
    key = None if crop is None else find_crop(crop).key
    own = counting(desk, checks_where(desk, combine=combine.id))
    own = [c for c in own if key is None or find_crop(c.check.crop).key == key]
    if not own:
        where = "" if key is None else f" in {key}"
        raise InputError("combine", combine.name, f"has no check{where} yet", "take a check first")
    return max(own, key=lambda c: str(c.body["taken_at"]))


def split_of(found: CheckAnswer) -> Split:
    """The losses a check saw, as weighted draws."""
    seen = [s for s in found.sources if s in found.beliefs]
    priors = {s: default_prior(s, found.check.yield_kg_ha) for s in seen}
    first = found.beliefs[seen[0]]
    if isinstance(first, GridBelief):
        kept = first.mass > 0.0
        return Split({seen[0]: np.exp(LN_LOSS[kept])}, first.mass[kept], priors)
    draws = {s: b.loss_kg_ha for s in seen if isinstance(b := found.beliefs[s], DrawBelief)}
    assert isinstance(first, DrawBelief)
    kept = first.weights > 0.0
    # A loss of nothing at all has no logarithm; no draw is that small in earnest.
    return Split({s: np.maximum(d[kept], 1e-9) for s, d in draws.items()}, first.weights[kept], priors)


def _advise(
    found: CheckAnswer,
    logged: LoggedCheck | None,
    combine: Thing | None,
    own: Own,
    kept: Mapping[str, str],
    terms: AdviceTerms,
    *,
    currency: str,
    seed: int,
    home: Thing | None = None,
) -> AdviceFound:
    table, check = advice_table(), found.check
    parts = {} if combine is None else combine.parts
    conditions = {} if logged is None else dict(logged.body.get("conditions") or {})
    by_itself = {**of_check(found, conditions), **own.answers}
    refuse_what_nobody_is_asked(terms.answers)
    answers = holding({**by_itself, **kept, **terms.answers})
    situation = Situation(
        find_crop(check.crop).key,
        terms.machine or str(parts.get("separation", "")),
        terms.header or str(parts.get("header", "")),
        check.windrowed,
        answers,
    )
    split = split_of(found)
    belief = weigh(table, situation, split)
    told_yield = _told_yield(found, home)
    price = check.price_per_t if terms.price_per_t is None else terms.price_per_t
    if terms.stop_cost_per_h is not None:
        meant(terms.stop_cost_per_h, field="stop cost", shown=f"{terms.stop_cost_per_h:g} /h")
    money = Money(
        yield_kg_ha=told_yield or UNTOLD_YIELD_KG_HA,
        price_per_t=price,
        stop_cost_per_h=terms.stop_cost_per_h,
        area_left_ha=terms.area_left_ha,
        time_cost_per_ha=_time_cost(found, terms, told_yield, price),
    )
    ranked, held = rank(table, situation, belief, money, split=split, own=own.trials, seed=seed)
    worth = tuple(one for one in ranked if one.proposable)
    said = standing(table, belief, worth[0].net if worth else None)
    put = len([s for s in answers if s not in by_itself]) + len(terms.skipped)
    assumed = [
        *([] if told_yield else ["yield"]),
        *([] if price is not None else ["price"]),
        *([] if terms.stop_cost_per_h is not None and terms.area_left_ha is not None else ["minutes"]),
        *(source for source in ("header", "machine") if source not in found.sources),
    ]
    return AdviceFound(
        found, logged, combine, situation, by_itself, kept, belief, said,
        next_question(table, situation, belief, asked=put, skipped=terms.skipped),
        worth[:SHOWN] if said == "change" else (), worth, tuple(held), own, tuple(assumed), price, currency,
        terms.hour_cost if money.time_cost_per_ha is not None and isinstance(terms.hour_cost, StoredHour) else None,
    )  # fmt: skip


def _told_yield(found: CheckAnswer, home: Thing | None) -> float | None:
    return found.check.yield_kg_ha or yield_of_field(home)


def _time_cost(
    found: CheckAnswer, terms: AdviceTerms, yield_kg_ha: float | None, price_per_t: float | None
) -> float | None:
    """What a hectare costs in time at the check's speed [money/ha]; None where it cannot be told."""
    check = found.check
    width = check.working_width_m or (check.combine.cut_width_m if check.combine else found.prepared.cut_width_m)
    if terms.hour_cost is None or check.speed_kmh is None or width is None:
        return None
    hour = per_hour(terms.hour_cost)
    field = terms.hour_cost.money.field if isinstance(terms.hour_cost, StoredHour) else "hour cost"
    refuse_above_grain(hour, width_m=width, yield_kg_ha=yield_kg_ha, price_per_t=price_per_t or 0.0, field=field)
    lost = lost_time_h_ha(COMBINE_FIELD_EFFICIENCY.typical, COMBINE_SPEED_KMH.typical, width)
    return hour * time_per_ha_h(check.speed_kmh, width, lost)
