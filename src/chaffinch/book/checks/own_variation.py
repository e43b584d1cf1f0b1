"""How much do catches of this combine differ from each other, by its own checks in the book, and where is that used?

Answers that put checks of a combine together (pace, worth, trial, monitor key, field, season) take what its own checks
taught in place of the usual figure, from eight checks with repeats on. One check by itself is answered by the usual
figure everywhere, from a file, on a phone and on the desk, so that no two of them differ; and a comparison of people or
machines measures all of them alike.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import replace
from functools import lru_cache
from typing import Final

from chaffinch.book.checks.catches import prepare
from chaffinch.book.checks.held import LoggedCheck, checks_where, counting
from chaffinch.book.desk import Desk
from chaffinch.book.things import Thing
from chaffinch.engine.exposure import VARIATION, Taken
from chaffinch.engine.variation import OwnVariation, own_variation
from chaffinch.records.check import Check

USUAL: Final = VARIATION
"""What is assumed where nothing was learned [1]."""
IN_THE_DISCHARGE: Final[tuple[Taken, ...]] = ("spanning", "narrow", "spread")
"""Ways of taking catches that see machine loss alone, so that like is compared with like."""
HOW_TAKEN: Final[dict[Taken, str]] = {
    "spanning": "spanning the discharge",
    "narrow": "narrower than the discharge",
    "spread": "with spreading on",
}
NEWEST: Final = 60
"""Checks of a combine looked at, the newest [1]; own figure: they know the variation to a tenth, and a book of many
years is asked no longer than a young one."""
LN_STEP: Final = 0.1
"""Learned figures are rounded to steps of a tenth in their log [1]: a further check then seldom changes what every
answer before it was worked out with. Own figure; a tenth of what they are uncertain by or more."""


def own_variations(desk: Desk, combine: Thing) -> tuple[OwnVariation, ...]:
    """What the newest checks of a combine say of the variation between its catches, by the way they were taken.

    Only ways with eight checks or more of two catches or more; catches that tell their own variation say nothing.
    """
    return _learned(_newest(desk, combine.id))


def with_learned(desk: Desk, logged: Sequence[LoggedCheck]) -> list[LoggedCheck]:
    """The same checks, with the variation of their combine put in where it was learned and nobody told another.

    The records stay what they are: only ``check``, which is what answers read, and ``variation`` differ.
    """
    taught = {}
    for combine in sorted({str(one.body["combine"]) for one in logged if one.body.get("combine")}):
        found = _learned(_newest(desk, combine))
        taught[combine] = tuple((one.taken, _rounded(one.c0.median)) for one in found)
    return [_as_taught(one, taught.get(str(one.body.get("combine") or ""), ())) for one in logged]


def variation_said(logged: Iterable[LoggedCheck]) -> list[str]:
    """What an answer took for the variation between catches where checks taught it, one sentence for each way."""
    used = variation_json(logged)
    return [
        f"Pans {HOW_TAKEN[way]} differ by {' or '.join(f'{100 * f:.0f}' for f in used[way])} % here, learned from "
        f"{'the checks of each machine' if len(used[way]) > 1 else 'own checks'}; usual is {100 * USUAL[way]:.0f} %."
        for way in IN_THE_DISCHARGE
        if way in used
    ]


def variation_json(logged: Iterable[LoggedCheck]) -> dict[str, list[float]]:
    """The same as plain data: the figures used by way of taking; empty where the usual ones were."""
    found: dict[str, set[float]] = {}
    for one in logged:
        for way, figure in one.variation:
            found.setdefault(way, set()).add(figure)
    return {way: sorted(figures) for way, figures in sorted(found.items())}


def _newest(desk: Desk, combine: str) -> tuple[Check, ...]:
    # Corrected since into another combine, a check counts there.
    found = counting(desk, checks_where(desk, combine=combine, limit=NEWEST))
    return tuple(one.check for one in found if one.body.get("combine") == combine)


@lru_cache(maxsize=64)
def _learned(checks: tuple[Check, ...]) -> tuple[OwnVariation, ...]:
    alike = [[c for c in prepare(check).catches if c.variation is None] for check in checks]
    found = [own_variation(alike, taken) for taken in IN_THE_DISCHARGE]
    return tuple(one for one in found if one is not None)


def _rounded(c0: float) -> float:
    return math.exp(LN_STEP * round(math.log(c0) / LN_STEP))


def _as_taught(one: LoggedCheck, taught: tuple[tuple[Taken, float], ...]) -> LoggedCheck:
    check, used = _filled(one.check, taught)
    return replace(one, check=check, variation=used) if used else one


@lru_cache(maxsize=4096)
def _filled(check: Check, taught: tuple[tuple[Taken, float], ...]) -> tuple[Check, tuple[tuple[str, float], ...]]:
    """A check with the variation of its catches told, and what of it was used."""
    if not taught:
        return check, ()
    figure = dict(taught)
    ready = prepare(check)
    told: dict[int, float] = {}
    used: dict[str, float] = {}
    for catch, numbers in zip(ready.catches, ready.numbers, strict=True):
        way = catch.exposure.taken
        if catch.variation is None and way in figure and catch.exposure.area_m2("machine") > 0.0:
            told |= dict.fromkeys(numbers, figure[way])
            used[way] = figure[way]
    catches = tuple(replace(c, variation=told.get(c.number, c.variation)) for c in check.catches)
    return replace(check, catches=catches), tuple(sorted(used.items()))
