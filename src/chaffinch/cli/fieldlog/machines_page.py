"""How several machines of one log look in the terminal: a row for each, and their sum."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from chaffinch.book.figures import plain_number, range_words
from chaffinch.cli.terminal.page import Page

if TYPE_CHECKING:
    from chaffinch.book.fieldlogs.losses import LogLoss, MachineLoss
    from chaffinch.book.shown_unit import PaceUnit
    from chaffinch.engine.estimate import Range

T_PER_KG = 1 / 1000.0


def machines_table(found: LogLoss, unit: PaceUnit, sign: str, page: Page) -> None:
    """Print what each machine lost."""
    priced = [f"lost, {sign.strip() or 'money'}"] if found.money is not None else []
    rows = [["combine", unit.loss.land, unit.loss.name, "likely", "lost, t", *priced]]
    for name, one in _with_sum(found):
        low, middle, high = range_words(one.kg_ha.times(unit.loss.factor))
        row = [name, plain_number(one.cut_ha / unit.ha, 3), middle, f"{low} to {high}", _tonnes(one.total_kg)]
        rows.append([*row, *([range_words(one.money)[1]] if one.money is not None else [])])
    page.print_table(rows)
    page.paragraph("Ranges are summed world by world: what the machines' checks share errs in all of them alike.")
    page.say()


def paces_table(found: LogLoss, unit: PaceUnit, page: Page) -> None:
    """Print what another pace would have brought on the part of each machine."""
    rows = [["combine", f"cut, {unit.speed}", "then", "lost then, t", "saved, t", "hours more"]]
    for name, one in _with_sum(found):
        other = one.other
        if other is None:
            continue
        then = "its own" if math.isnan(other.speed_kmh) else plain_number(unit.speeds(other.speed_kmh))
        kmh = plain_number(unit.speeds(one.mean_kmh))
        hours = f"{other.hours_more:.2f}".replace("-", "−")
        rows.append([name, kmh, then, _tonnes(other.total_kg), _tonnes(other.saved_kg), hours])
    page.print_table(rows)
    page.say()


def name_of(one: MachineLoss) -> str:
    """The combine, with the machine's name in the log where it is another."""
    own = one.curves.combine.name
    return own if own.casefold() == one.called.casefold() else f"{own} ({one.called})"


def _with_sum(found: LogLoss) -> list[tuple[str, LogLoss | MachineLoss]]:
    return [*((one.curves.combine.name, one) for one in found.machines), ("together", found)]


def _tonnes(r: Range) -> str:
    return range_words(r.times(T_PER_KG))[1]
