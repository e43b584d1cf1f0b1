"""The check sheet: to be filled in by hand, in the order in which the program asks for it later."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

from chaffinch import __version__
from chaffinch.book.desk import Desk
from chaffinch.book.things import things
from chaffinch.book.wording import CAUTION
from chaffinch.errors import InputError
from chaffinch.paper.typeset import Printed, typeset
from chaffinch.paper.wanted import REPORT_SIZES
from chaffinch.paper.words import words
from chaffinch.records.check import PLACES

CATCHES: Final = 14
"""Lines for catches; own figure."""
LONGEST_CHOICES: Final = 110
"""Characters of names printed below a line; own figure."""


@dataclass(frozen=True, slots=True)
class Line:
    """One line to be filled in.

    Attributes
    ----------
    key : str
        The name of the flag of ``chaffinch book log`` that says it.
    label : str
        What stands before the line.
    hint : str
        What stands below it; may be empty.
    """

    key: str
    label: str
    hint: str = ""


def stop_lines(desk: Desk | None = None) -> list[Line]:
    """The lines above the catches, in the order the program asks; with a book, its names below them."""
    return [
        Line("at", words("sheet.when"), words("log.at.hint").partition(" (")[0]),
        Line("field", words("log.field"), _names(desk, "field")),
        Line("crop", words("log.crop")),
        Line("combine", words("log.combine"), _names(desk, "combine")),
        Line("operator", words("log.operator"), _names(desk, "operator")),
        Line("speed", words("log.speed"), words("thing.hint", example="7 km/h, 4 mph")),
    ]


def catch_lines(desk: Desk | None = None) -> list[Line]:
    """The lines between the stop and its catches, in the order the program asks."""
    return [
        Line("place", words("log.place"), ", ".join(PLACES)),
        Line("pan", words("log.pan"), words("log.pan.hint").partition(": ")[2] + _also(_names(desk, "pan"))),
        Line("step", words("log.step"), words("thing.hint", example="0.1 g")),
        Line("spreading", words("log.spreading"), words("sheet.yes_no")),
    ]


def check_sheet(*, size: str, date: str, desk: Desk | None = None, farm: str = "") -> Printed:
    """The sheet as a PDF of one page.

    Parameters
    ----------
    size : {"a4", "letter"}
    date : str
        Like 2026-08-14.
    desk : Desk or None
        A book whose names are printed below the lines.
    farm : str
        Printed at the top.

    Raises
    ------
    InputError
        For another size.
    """
    return typeset("sheet", sheet_data(size=size, date=date, desk=desk, farm=farm))


def sheet_data(*, size: str, date: str, desk: Desk | None = None, farm: str = "") -> dict[str, Any]:
    """The sheet as data for the layout."""
    if size not in REPORT_SIZES:
        raise InputError("--paper", size, "is no size of a sheet", f"use {', '.join(REPORT_SIZES)}")
    return {
        "title": words("sheet.title"),
        "farm": farm,
        "said": words("sheet.said"),
        "caution": CAUTION,
        "stop": words("sheet.stop"),
        "stop_lines": _data(stop_lines(desk)),
        "catches": words("sheet.catches"),
        "catch_lines": _data(catch_lines(desk)),
        "head": [words("sheet.number"), words("log.amount"), words("log.place"), words("log.pan")],
        "rows": CATCHES,
        "more": f"{words('sheet.more')} {words('sheet.weigh')}",
        "note": words("sheet.note"),
        "made": words("card.made", version=__version__, date=date),
        "size": size,
        "date": date,
    }


def _data(lines: Sequence[Line]) -> list[dict[str, str]]:
    return [{"label": one.label, "hint": one.hint} for one in lines]


def _names(desk: Desk | None, kind: str) -> str:
    """Names of the book, as many as a line holds."""
    if desk is None:
        return ""
    names = list(dict.fromkeys(t.name for t in things(desk, kind) if not t.retired and t.name))
    told: list[str] = []
    for name in names:
        if len(", ".join([*told, name])) > LONGEST_CHOICES:
            return ", ".join([*told, "…"])
        told.append(name)
    return ", ".join(told)


def _also(names: str) -> str:
    return f" ({names})" if names else ""
