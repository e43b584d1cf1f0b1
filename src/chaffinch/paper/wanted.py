"""How does a person want a report: which paper, which units, which day, one page or all of it?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Final

from chaffinch import __version__, units
from chaffinch.book.figures import rounded
from chaffinch.book.pace.hour_costs import StoredHour
from chaffinch.book.season.said import NO_RECORD
from chaffinch.engine.work import HourCost
from chaffinch.errors import InputError
from chaffinch.paper.blocks import Report, shrunk
from chaffinch.paper.told import sign_of
from chaffinch.paper.typeset import Printed, read_date, typeset
from chaffinch.paper.words import words

if TYPE_CHECKING:
    from chaffinch.book.currency import MoneyTold

REPORT_SIZES: Final = ("a4", "letter")
UNITS: Final[Mapping[str, str | None]] = {"farm": None, "metric": "kg/ha", "american": "bu/ac"}
"""What a report may be in, and the unit of loss it stands for; None for the farm's own."""
SEED: Final = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class Wanted:
    """What a report is to be like.

    Attributes
    ----------
    date : str
        The day on it, like 2026-08-14: nothing here reads a clock.
    size : {"a4", "letter"}
    units : {"farm", "metric", "american"}
    short : bool
        One page.
    hour_cost : HourCost, StoredHour, float or None
        What one more hour of combining costs [money/h]; None: what the book stores with each combine or the farm,
        and no pace where it stores none.
    hour_money : sequence of MoneyTold
        That cost as the person wrote it, for the rule of one currency.
    issued : bool
        Whether it says that it is kept.
    """

    date: str
    size: str = "a4"
    units: str = "farm"
    short: bool = False
    hour_cost: HourCost | StoredHour | float | None = None
    hour_money: Sequence[MoneyTold] = field(default_factory=tuple)
    issued: bool = False

    def __post_init__(self) -> None:
        read_date(self.date)
        for name, value, known in (("--paper", self.size, REPORT_SIZES), ("--units", self.units, tuple(UNITS))):
            if value not in known:
                raise InputError(name, value, "is none of the known ones", f"use {', '.join(known)}")

    @property
    def report_in(self) -> str | None:
        """The unit of loss chosen; None for the farm's."""
        return UNITS[self.units]

    def footer(self) -> str:
        """What stands below every page."""
        made = words("report.issued" if self.issued else "report.made", date=self.date)
        return words("report.footer", version=__version__, made=made, no_record=NO_RECORD)


def price_said(price_per_t: float, currency: str, bushel_kg: float | None) -> str:
    """A price per tonne, and per bushel where one has a weight."""
    sign = sign_of(currency)
    per_t = f"{sign}{rounded(price_per_t, 2)}"
    if bushel_kg is None:
        return words("report.price", money=per_t)
    bushel = f"{sign}{rounded(price_per_t * bushel_kg / 1000.0, 2)}"
    return words("report.price.bushel", money=per_t, bushel=bushel)


def printed(report: Report) -> Printed:
    """The report as a PDF."""
    return typeset("report", report.data())


ROWS: Final = (60, 30, 20, 15, 12, 9, 6, 3, 1, 0)
"""Rows a table of a short report may have, tried until it fits on one page."""


FEWER: Final = (6, 3, 0)
"""Lines for tables with rows of three lines, tried before the other tables lose a row."""


def made(report: Report) -> tuple[Report, Printed]:
    """The report as a PDF; a short one with as many rows in its tables as one page holds.

    Raises
    ------
    InputError
        When a short one does not fit in its shortest form: names as long as pages.
    """
    if not report.short:
        return report, printed(report)
    tall = any(one.get("shrinks") and one.get("tall", 1) > 1 for one in report.blocks)
    for rows in ROWS:
        # Rows of several lines give way before those of one: a season's fields stand before its trials.
        for lines in [rows, *(n for n in FEWER if tall and n < rows)]:
            tried = replace(report, blocks=shrunk(report.blocks, rows, lines))
            done = printed(tried)
            if done.pages == 1:
                return tried, done
    raise InputError("--short", None, "does not fit on one page with these names", "leave --short out")


def as_issued(report: Report, wanted: Wanted) -> Report:
    """The report as it will be kept: its footer says so."""
    return replace(report, footer=replace(wanted, issued=True).footer())


def hectares_per(land: str) -> float:
    """Hectares in one of a page's unit of land."""
    return units.to_inside(1.0, land, "land")
