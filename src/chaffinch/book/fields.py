"""What did we lose in this field? And what was checked in the last days?"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import sqlalchemy as sa

from chaffinch import units
from chaffinch.book.check import KG_PER_T, MACHINE_AND_LEAK, CheckAnswer, answer
from chaffinch.book.checks import LoggedCheck, counting
from chaffinch.book.desk import Desk
from chaffinch.book.things import Thing
from chaffinch.engine.estimate import DrawBelief, Range, range_of
from chaffinch.engine.evidence import SOURCES
from chaffinch.engine.pool import mean_loss
from chaffinch.errors import InputError
from chaffinch.store.opening import guarded

Progress = Callable[[int, int], None]
"""Called with (done, of) while checks are answered."""


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
    """

    field: Thing
    checks: tuple[CheckLine, ...]
    sources: Mapping[str, tuple[Range, int]]
    mean_kg_ha: Range | None
    area_ha: float | None
    money: Range | None


def field_summary(desk: Desk, field: Thing, *, seed: int = 1, progress: Progress | None = None) -> FieldSummary:
    """Sum up the checks of a field. Estimates are computed here and now, never stored."""
    if field.kind != "field":
        raise InputError("field", field.name, f"is a {field.kind}", "name a field")
    # A check that was corrected into another field counts there, not here.
    here = [c.id for c in counting(desk, checks_where(desk, field=field.id)) if c.body.get("field") == field.id]
    lines = answered(desk, here, seed=seed, progress=progress)
    area = field.parts.get("area")
    area_ha = None if area is None else units.read_positive(area, "land", field="field, area").value
    beliefs = {
        source: mean_loss([line.answer.beliefs[source] for line in saw], seed=seed)
        for source in SOURCES
        if (saw := [line for line in lines if source in line.answer.sources])
    }
    sources = {
        source: (range_of(belief), sum(source in line.answer.sources for line in lines))
        for source, belief in beliefs.items()
    }
    judged = _judged(lines, seed)
    mean = None if judged is None else range_of(judged)
    price, money = field.parts.get("price"), None
    if mean is not None and price is not None and area_ha is not None:
        per_t = units.read_positive(price, "price", field="field, price").value
        money = mean.times(per_t / KG_PER_T * area_ha)
    return FieldSummary(field, tuple(lines), sources, mean, area_ha, money)


def _judged(lines: Sequence[CheckLine], seed: int) -> DrawBelief | None:
    """Mean of what is held against the combine: the header, and the machine with whatever leaks from it.

    Where all checks saw both (or all the same one), their sums are averaged, so that what moves together stays
    together. Where some saw the header and others did not, each is averaged over the checks that saw it, and the
    means are added as independent. A leak caught apart is put back to its machine: without a leak catch it was never
    apart.
    """
    header = [line.answer.beliefs["header"] for line in lines if "header" in line.answer.sources]
    machine = [
        line.answer.beliefs.get(MACHINE_AND_LEAK, line.answer.beliefs["machine"])
        for line in lines
        if "machine" in line.answer.sources
    ]
    if len(header) in (0, len(lines)) and len(machine) in (0, len(lines)) and (header or machine):
        return mean_loss([line.answer.beliefs["judged"] for line in lines], seed=seed)
    means = [mean_loss(part, seed=seed + 7919 * k) for k, part in enumerate((header, machine)) if part]
    if not means:
        return None
    total = sum((mean.loss_kg_ha for mean in means[1:]), start=means[0].loss_kg_ha)
    return DrawBelief(total, means[0].weights)


def checks_where(
    desk: Desk,
    *,
    field: str | None = None,
    combine: str | None = None,
    season: str | None = None,
    since: str | None = None,
    until: str | None = None,
    limit: int | None = None,
) -> list[str]:
    """Ids of checks by field, combine, season and time (UTC), newest first."""
    named = {"field": field, "combine": combine, "season": season}
    tests = [f"{name} = :{name}" for name, value in named.items() if value is not None]
    tests += ["taken_at >= :since"] if since else []
    tests += ["taken_at < :until"] if until else []
    where = f"WHERE {' AND '.join(tests)} " if tests else ""
    query = f"SELECT id FROM check_row {where}ORDER BY taken_at DESC, id"
    if limit is not None:
        query += " LIMIT :limit"
    with guarded(desk.store.address), desk.store.reading() as connection:
        rows = connection.execute(sa.text(query), {**named, "since": since, "until": until, "limit": limit})
        return [row.id for row in rows]


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
