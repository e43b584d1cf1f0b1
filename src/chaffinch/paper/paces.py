"""Pace and limit of each machine that worked: a table, and the cost of a pace drawn."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from chaffinch.book.desk import Desk
from chaffinch.book.figures import plain_number, range_words, rounded
from chaffinch.book.pace.best import PaceAnswer, PaceTerms, pace
from chaffinch.book.pace.hour_costs import stored_hour
from chaffinch.book.pace.plain_data import as_json
from chaffinch.book.pace.said import limit_may_be_told
from chaffinch.book.shown_unit import PaceUnit, unit_of
from chaffinch.book.things import Thing
from chaffinch.errors import InputError, SamplerError
from chaffinch.how_far import Progress
from chaffinch.paper.blocks import NAME, NUMBER, Block, heading, picture, table, text
from chaffinch.paper.cost_told import cost_drawing
from chaffinch.paper.pace_told import response_drawing
from chaffinch.paper.wanted import Wanted
from chaffinch.paper.words import words


def paces(
    desk: Desk,
    machines: Sequence[tuple[Thing, str, Thing | None]],
    wanted: Wanted,
    progress: Progress | None = None,
    *,
    most_drawn: int | None = None,
) -> tuple[list[Block], list[dict[str, Any]]]:
    """A table of best paces and limits, with a drawing of the costs of each where the report is a full one.

    Parameters
    ----------
    desk : Desk
        The open book.
    machines : sequence of (Thing, str, Thing or None)
        Combine, crop, and the field it was in, whose price and yield apply; None where there are several.
    wanted : Wanted
        Whose hour cost applies, else what the book stores; without either nothing is worked out, which is said.
    progress : callable or None
        Called with (done, of).
    most_drawn : int or None
        Machines that are drawn at most, each in the crop it has most checks in; None: every row.
    """
    title = heading(words("report.pace"))
    told = wanted.hour_cost
    costs = [stored_hour(desk, combine) if told is None else told for combine, _, _ in machines]
    if all(cost is None for cost in costs):
        if wanted.short and told is None:
            return [], []
        return [title, text(words("report.pace.untold"), soft=True)], []
    rows: list[list[str]] = []
    answers: list[tuple[PaceAnswer, PaceUnit]] = []
    missing: list[Block] = []
    figures: list[dict[str, Any]] = []
    units_used: set[str] = set()
    stored: dict[str, None] = {}
    for done, ((combine, crop, field), cost) in enumerate(zip(machines, costs, strict=True)):
        unit = unit_of(desk, crop, report_in=wanted.report_in)
        if cost is None:
            why = words("report.pace.no_hour")
            missing.append(text(words("report.pace.none", combine=combine.name, crop=crop, why=why), soft=True))
            continue
        terms = PaceTerms(hour_cost=cost, step_kmh=unit.step_kmh, money=wanted.hour_money)
        try:
            found = pace(desk, combine, crop, terms, field=field)
        except (InputError, SamplerError) as error:
            missing.append(text(words("report.pace.none", combine=combine.name, crop=crop, why=str(error)), soft=True))
            continue
        finally:
            if progress is not None:
                progress(done + 1, len(machines))
        unit = unit.in_currency(found.currency)
        rows.append(_row(found, unit))
        if found.stored is not None:
            money = f"{unit.sign}{plain_number(found.hour_cost_per_h)}"
            stored[words("report.pace.stored", combine=combine.name, said=found.stored.said(money))
                   if found.stored.of == "combine" else found.stored.said(money)] = None  # fmt: skip
        units_used.add(unit.loss.name)
        figures.append(as_json(found))
        answers.append((found, unit))
    if not rows:
        return [title, *missing], figures
    pictures = [] if wanted.short else _pictures(answers, wanted, most_drawn)
    head = [words("column.combine"), words("column.crop"), words("column.checks"), words("report.pace.best"),
            words("report.pace.band"), words("report.pace.limit"), words("column.likely")]  # fmt: skip
    about = text(words("report.pace.said", unit=", ".join(sorted(units_used))), soft=True)
    return [
        title,
        table([head, *rows], [NAME, NAME, *[NUMBER] * 5], shrinks="first"),
        about,
        *(text(said, soft=True) for said in stored),
        *missing,
        *pictures,
    ], figures


def _pictures(answers: Sequence[tuple[PaceAnswer, PaceUnit]], wanted: Wanted, most_drawn: int | None) -> list[Block]:
    chosen = list(answers)
    if most_drawn is not None:
        by_checks = sorted(answers, key=lambda one: -len(one[0].curves.own))
        first = {one[0].curves.combine.id: one for one in reversed(by_checks)}
        chosen = [one for one in by_checks if first[one[0].curves.combine.id] is one][:most_drawn]
    made: list[Block] = []
    for place, (found, unit) in enumerate(chosen):
        made.append(text(f"{found.curves.combine.name} · {found.curves.crop}"))
        made.append(picture(response_drawing(found, unit), wanted.size, named=True))
        made.append(picture(cost_drawing(found, unit, name=f"cost-{place}"), wanted.size, named=True))
    return made


def _row(found: PaceAnswer, unit: PaceUnit) -> list[str]:
    answer, curves = found.pace, found.curves
    low, high = (rounded(unit.speeds(v), 1) for v in answer.band_kmh)
    limit = answer.limit_that_pays_kg_ha if limit_may_be_told(found) else None
    told = (words("report.pace.no_limit"), "")
    if limit is not None:
        least, middle, most = range_words(limit.times(unit.loss.factor))
        told = (f"{middle} {unit.loss.name}", f"{least} to {most}")
    best = f"{rounded(unit.speeds(answer.best_kmh), 1)} {unit.speed}"
    return [curves.combine.name, curves.crop, str(len(curves.own)), best, f"{low} to {high}", *told]
