"""The report of a season: what was left where, what was changed, pace and limit, comparisons, what is missing."""

from __future__ import annotations

from collections.abc import Sequence

from chaffinch.book.checks.catches import prepare
from chaffinch.book.checks.held import LoggedCheck
from chaffinch.book.desk import Desk
from chaffinch.book.season.ledger import Ledger, SeasonField, ledger
from chaffinch.book.season.plain_data import as_json
from chaffinch.book.shown_unit import area_said, unit_for, unit_of, whole_unit
from chaffinch.book.things import Thing, by_ids
from chaffinch.engine.sources import sources_seen
from chaffinch.how_far import Progress
from chaffinch.paper import blocks
from chaffinch.paper.behind import corrections, coverage, method, prices
from chaffinch.paper.blocks import NAME, NUMBER, TEXT, Block, Report
from chaffinch.paper.changes import changes, trials_where
from chaffinch.paper.paces import paces
from chaffinch.paper.season_fair import fair
from chaffinch.paper.season_told import Told, told_of
from chaffinch.paper.told import count_of
from chaffinch.paper.wanted import Wanted, price_said
from chaffinch.paper.words import words
from chaffinch.reference import crop as find_crop

DRAWN = 3
"""Machines whose costs of a pace are drawn, each in the crop it was checked in most; own figure."""


def season_report(
    desk: Desk, season: Thing, wanted: Wanted, *, progress: Progress | None = None,
    found: Ledger | None = None,
) -> Report:  # fmt: skip
    """The report of a season.

    Parameters
    ----------
    desk : Desk
        The open book.
    season : Thing
        The season.
    wanted : Wanted
        What the report is to be like.
    progress : callable or None
        Called with (done, of) while checks are read.
    found : Ledger or None
        The season's sum, where it was worked out before.

    Raises
    ------
    InputError
        For a season without fields, prices in two currencies, or a check that cannot be answered.
    """
    found = ledger(desk, season, seed=1, progress=progress) if found is None else found
    unit = whole_unit(desk, wanted.report_in)
    told = told_of(desk, found, wanted.report_in)
    area = area_said(sum(one.area_ha or 0.0 for one in found.fields), unit)
    lead = words("season.checks", checks=count_of(found.checks), fields=len(found.fields), area=area)
    of_fields = {one.thing.id for one in found.fields}
    trials, of_trials = changes(
        desk, trials_where(desk, lambda t: t.field is not None and t.field.id in of_fields), wanted.report_in
    )
    pace, of_pace = paces(desk, _machines(desk, found), wanted, progress, most_drawn=DRAWN)
    logged = [check for one in found.fields for check in one.checks]
    body = [*_sum(told, wanted), *trials, *pace]
    body += fair(desk, season, logged, wanted)
    body += corrections(desk, logged, feet=unit.land == "ac", short=wanted.short)
    if not wanted.short:
        body += prices(_prices(desk, found))
        body.append(blocks.text(coverage(count_of(found.checks), area, _saw(found))))
        kinds = ["field", "season", *(["trial"] if of_trials else []), *(["pace"] if of_pace else [])]
        body += method(kinds, list(found.judged_seen) or ["machine"])
    return Report(
        "season",
        words("report.season", name=season.name),
        (lead,),
        wanted.date,
        wanted.size,
        wanted.short,
        body,
        wanted.footer(),
        {**as_json(found), "trials": of_trials, "paces": of_pace},
        (season.id, *(one.thing.id for one in found.fields), *(one.id for one in logged))[:1000],
    )


def _sum(told: Told, wanted: Wanted) -> list[Block]:
    if told.amount is None or told.ruler is None:
        return [blocks.text(words("season.nothing")), *blocks.notes(words("mind"), told.remarks)]
    likely = words("likely", low=told.amount.low, high=told.amount.high)
    made = [blocks.big(told.amount, f"{told.left}, {likely}"), blocks.picture(told.ruler, wanted.size)]
    made += [blocks.text(told.money)] if told.money else []
    made.append(blocks.heading(words("report.map")))
    if told.map is not None:
        made.append({**blocks.picture(told.map, wanted.size, named=True), "may_go": wanted.short})
    made.append(_fields(told))
    if not wanted.short:
        made += [blocks.picture(one.drawing, wanted.size, named=True) for one in told.pictures]
        made += [blocks.heading(words("season.crops")), blocks.figures_table(told.crops)]
    made += [blocks.heading(words("season.where")), blocks.figures_table(told.sources)]
    return made + blocks.notes(words("mind"), told.remarks)


def _fields(told: Told) -> Block:
    """The table of fields by the numbers of the map."""
    head = ["", words("column.field"), words("column.crop"), words("column.checks"), words("column.loss"),
            words("column.likely"), words("column.worth"), words("mind").lower()]  # fmt: skip
    lines = [
        [
            str(number), one["name"], one["crop"], one["checks"],
            f"{one['loss']} {one['unit']}" if one["likely"] else "", one["likely"] or one["loss"],
            one["money"], one["only"],
        ]
        for number, one in enumerate(told.fields, start=1)
    ]  # fmt: skip
    if not any(line[-1] for line in lines):
        head, lines = head[:-1], [line[:-1] for line in lines]
    cols = [NUMBER, NAME, TEXT, *[NUMBER] * 4, NAME][: len(head)]
    return blocks.table([head, *lines], cols, shrinks="first")


def _machines(desk: Desk, found: Ledger) -> list[tuple[Thing, str, Thing | None]]:
    """Each combine of the season with each crop it was checked in."""
    seen = dict.fromkeys(
        (str(check.body["combine"]), find_crop(check.check.crop).key)
        for one in found.fields
        for check in one.checks
        if check.body.get("combine")
    )
    known = by_ids(desk, [combine for combine, _ in seen])
    return [(known[combine], crop, None) for combine, crop in seen if combine in known]


def _prices(desk: Desk, found: Ledger) -> Sequence[tuple[str, str]]:
    return [(one.thing.name, _price(desk, one, found.currency)) for one in found.fields if one.price_per_t is not None]


def _price(desk: Desk, one: SeasonField, currency: str) -> str:
    assert one.price_per_t is not None
    bushel = unit_of(desk, one.crop).bushel_kg if one.crop else None
    farm = unit_for(desk, None, []).currency
    day = words("report.price.day", day=one.price_date) if one.price_date else words("report.price.no_day")
    return f"{price_said(one.price_per_t, currency or farm, bushel)}, {day}"


def _saw(found: Ledger) -> dict[str, int]:
    """How many checks in the sums saw header and machine loss, by what their catches see."""
    seen: dict[str, int] = {"header": 0, "machine": 0}
    for one in found.fields:
        if one.area_ha is not None:
            for check in one.checks:
                for source in _sources(check):
                    seen[source] = seen.get(source, 0) + 1
    return seen


def _sources(check: LoggedCheck) -> Sequence[str]:
    return [source for source in sources_seen(prepare(check.check).catches) if source in ("header", "machine")]
