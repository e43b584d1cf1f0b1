"""What did we lose in this field? And what was checked in the last days?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

from chaffinch import units
from chaffinch.book.checks.answer import MACHINE_AND_LEAK, CheckAnswer, answer
from chaffinch.book.checks.field_checks import FieldAsked, filed_checks, summed
from chaffinch.book.checks.held import LoggedCheck, checks_where, counting
from chaffinch.book.checks.own_variation import with_learned
from chaffinch.book.checks.points import yield_in_sum
from chaffinch.book.desk import Desk
from chaffinch.book.things import Thing
from chaffinch.engine.estimate import Range
from chaffinch.engine.ledger.field import Loss
from chaffinch.errors import InputError
from chaffinch.how_far import Progress

LARGE_FIELD_HA: Final = 10_000.0
"""Area a field of unknown area is summed with [ha]: so large that the few places checked count for nothing by
themselves, which is the wider range. No kilograms and no money are told of it."""

WILD: Final = 0.5
"""Probability of being wild from which a check is pointed out [1]; own figure."""


@dataclass(frozen=True, slots=True)
class CheckLine:
    """One check in a list: its record and its answer."""

    logged: LoggedCheck
    answer: CheckAnswer


@dataclass(frozen=True, slots=True)
class FieldSummary:
    """What the checks say a field lost.

    Attributes
    ----------
    field : Thing
    checks : tuple of CheckLine
        Those that count, by time.
    sources : mapping of str to (Range, int)
        Mean loss by source [kg/ha], and how many checks saw it.
    mean_kg_ha : Range or None
        Mean loss held against the combine: header, machine and leak, as far as any check saw them [kg/ha].
    area_ha : float or None
        The field's area [ha].
    money : Range or None
        That loss in money over the field, at the field's price.
    doubted : tuple of str
        Ids of checks that are likelier wild than not beside the others: they hardly count in the means.
    taught : tuple of LoggedCheck
        The checks as the means take them, with the variation that their combine's checks taught.
    """

    field: Thing
    checks: tuple[CheckLine, ...]
    sources: Mapping[str, tuple[Range, int]]
    mean_kg_ha: Range | None
    area_ha: float | None
    money: Range | None
    doubted: tuple[str, ...] = ()
    taught: tuple[LoggedCheck, ...] = ()


def field_summary(desk: Desk, field: Thing, *, seed: int = 1, progress: Progress | None = None) -> FieldSummary:
    """Sum up the checks of a field. Estimates are computed here and now, never stored."""
    if field.kind != "field":
        raise InputError("field", field.name, f"is a {field.kind}", "name a field")
    # A check that was corrected into another field counts there, not here.
    here = [c.id for c in counting(desk, checks_where(desk, field=field.id)) if c.body.get("field") == field.id]
    lines = answered(desk, here, seed=seed, progress=progress)
    area = field.parts.get("area")
    area_ha = None if area is None else units.read_positive(area, "land", field="field, area").value
    taught = with_learned(desk, [line.logged for line in lines])
    sources, mean, judged_loss, doubted = _losses(field, lines, taught, area_ha, seed)
    money = None if judged_loss is None or area_ha is None else judged_loss.money
    return FieldSummary(field, tuple(lines), sources, mean, area_ha, money, doubted, tuple(taught))


def _losses(
    field: Thing, lines: Sequence[CheckLine], taught: Sequence[LoggedCheck], area_ha: float | None, seed: int
) -> tuple[dict[str, tuple[Range, int]], Range | None, Loss | None, tuple[str, ...]]:
    """Mean by source with the checks that saw it, the mean held against the combine, what it comes to, ids doubted.

    A leak caught apart is put back to its machine in the sum: without a leak catch it was never apart, and a leak seen
    once would otherwise come on top of checks that hold theirs already.
    """
    if not lines:
        return {}, None, None, ()
    price = field.parts.get("price")
    per_t = None if price is None else units.read_positive(price, "price", field="field, price").value
    asked = FieldAsked(
        field.id,
        LARGE_FIELD_HA if area_ha is None else area_ha,
        filed_checks(taught),
        price_per_t=per_t,
        yield_kg_ha=yield_in_sum(field, taught),
        crop="",
        leak_with_machine=False,
        seed=seed,
    )
    found = summed(asked)
    sources = {s: (loss.kg_ha, found.coverage.by_source[s]) for s, loss in found.sources.items()}
    judged = found.judged
    if any(MACHINE_AND_LEAK in line.answer.beliefs for line in lines):
        judged = summed(replace(asked, leak_with_machine=True)).judged
    doubted = tuple(line.logged.id for line, p in zip(lines, found.wild, strict=True) if p > WILD)
    return sources, None if judged is None else judged.kg_ha, judged, doubted


def answered(desk: Desk, ids: Sequence[str], *, seed: int = 1, progress: Progress | None = None) -> list[CheckLine]:
    """Answer the versions that count of the given checks, by time."""
    logged = counting(desk, ids)
    lines = []
    for done, one in enumerate(logged, start=1):
        try:
            lines.append(CheckLine(one, answer(one.check, seed=seed)))
        except InputError as error:
            raise error.within(f"check {one.id[:8]}") from None
        if progress is not None:
            progress(done, len(logged))
    return lines
