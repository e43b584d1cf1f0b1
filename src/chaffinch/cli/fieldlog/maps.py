"""``chaffinch fieldlog map FOLDER --each``: what each field of a season's folder lost, one line each."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from chaffinch.cli.fieldlog.options import answers, numbers, refuse_empty
from chaffinch.cli.options.which_book import open_the_book, print_json, progress
from chaffinch.cli.terminal.page import Page
from chaffinch.errors import InputError

if TYPE_CHECKING:
    from chaffinch.book.fieldlogs.folder_maps import MapDone
    from chaffinch.book.shown_unit import PaceUnit


def map_each(
    path: str, given: dict[str, Any], *, to: str | None, replace: bool, jobs: int, on: str, as_data: bool
) -> int:
    """Sum every log below a folder and print a line for each; the exit status: 1 where one was left out."""
    from chaffinch.book.currency import one_currency
    from chaffinch.book.fieldlogs.asked import asked_money
    from chaffinch.book.fieldlogs.folder_maps import map_folder
    from chaffinch.book.fieldlogs.machines import told_machines
    from chaffinch.book.shown_unit import unit_of
    from chaffinch.cli.fieldlog.loss_page import class_kmh
    from chaffinch.cli.options.filing import one_thing

    desk = open_the_book(given.pop("address"))
    name, season_name, price_text = given.pop("combine"), given.pop("season"), given.pop("price")
    combine = None if name is None else one_thing(desk, "combine", name, flag="--combine")
    season = None if season_name is None else one_thing(desk, "season", season_name, flag="--season").id
    if given.pop("machine") is not None:
        raise InputError("--machine", None, "is of one log", "leave it out: each machine has its own combine")
    crop, machine_is, settings = (
        given.pop("crop"),
        told_machines(given.pop("machine_is")),
        numbers(given.pop("changed")),
    )
    unit = unit_of(desk, crop)
    refuse_empty({"price": price_text})
    price, told = asked_money(price_text, "price", "--price", unit.bushel_kg)
    sign = one_currency(desk, told)
    with progress("Summing the fields") as step:
        done = map_folder(
            desk, path, crop, to, answers(given), combine=combine, machine_is=machine_is, season=season,
            price_per_t=price, class_kmh=class_kmh(unit), settings=settings, jobs=jobs, on=on, replace=replace,
            progress=step,
        )  # fmt: skip
    if as_data:
        print_json([_as_json(one) for one in done])
    else:
        _show(done, unit, sign, Page.here(), to)
    return int(any(one.refused for one in done))


def _show(done: Sequence[MapDone], unit: PaceUnit, sign: str, page: Page, to: str | None) -> None:
    from chaffinch.book.figures import plain_number, range_words

    good = [one for one in done if not one.refused]
    page.say()
    page.two_ends(f"{len(good)} of {len(done)} fields summed", f"loss in {unit.loss.name}")
    page.say()
    if good:
        priced = any(one.money is not None for one in good)
        rows = [["log", unit.loss.land, "lost", "likely", "t", *([f"{sign.strip() or 'money'}"] if priced else []),
                 "checks"]]  # fmt: skip
        for one in good:
            if one.kg_ha is None or one.total_kg is None:
                continue
            low, middle, high = range_words(one.kg_ha.times(unit.loss.factor))
            row = [one.name, plain_number(one.cut_ha / unit.ha), middle, f"{low} to {high}"]
            row.append(range_words(one.total_kg.times(0.001))[1])
            if priced:
                row.append("–" if one.money is None else range_words(one.money)[1])
            rows.append([*row, str(one.checks)])
        page.print_table(rows)
        page.say()
        page.paragraph("Fields share the errors of their checks, so that their ranges do not add up: chaffinch ledger "
                       "sums a season.", bullet="· ")  # fmt: skip
    for one in good:
        if not one.header_seen:
            page.paragraph(f"{one.name}: machine only; header loss was not measured.", bullet="! ")
        if math.isnan(one.beyond_share):
            page.paragraph(f"{one.name}: a combine of it was never tested in this crop.", bullet="! ")
    for one in done:
        if one.refused:
            page.paragraph(f"{one.name} was left out: {one.refused}", bullet="! ")
    page.say()
    if to is not None and good:
        page.say(f"  Written: {'1 map' if len(good) == 1 else f'{len(good)} maps'} to {to}")
        page.say()


def _as_json(one: MapDone) -> dict[str, Any]:
    from chaffinch.book.checks.plain_data import as_range

    def plain(value: float) -> float | None:
        return value if math.isfinite(value) else None

    return {
        "log": one.name,
        "combines": one.combines or None,
        "checks": one.checks,
        "joined": one.joined,
        "cut_ha": plain(one.cut_ha),
        "counted_ha": plain(one.counted_ha),
        "hours_cutting": plain(one.hours),
        "total_kg": as_range(one.total_kg),
        "kg_ha": as_range(one.kg_ha),
        "money": as_range(one.money),
        "header_seen": one.header_seen,
        "beyond_tested_share": plain(one.beyond_share),
        "squares": one.squares,
        "refused": one.refused or None,
    }
