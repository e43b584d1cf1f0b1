"""A loss as the book's pages show it: the headline, the ruler, and in which unit."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from chaffinch.book.figures import range_words
from chaffinch.book.shown_unit import Unit, farm_of, unit_for
from chaffinch.cli.terminal.ruler import ruler

if TYPE_CHECKING:
    from chaffinch.book.checks.answer import CheckAnswer
    from chaffinch.cli.terminal.page import Page
    from chaffinch.engine.estimate import Range

__all__ = [
    "UNEVEN",
    "Unit",
    "as_range",
    "check_headline",
    "farm_of",
    "headline",
    "show_verdict",
    "unit_for",
]

UNEVEN = "one-position-spreading"
"""The notice under which a range is supported but not a middle."""


def headline(
    page: Page, r: Range, unit: str, what: str, limit: float | None = None, *, range_only: bool = False
) -> None:
    """Print the loss in words and the ruler below it; ``r`` and ``limit`` in ``unit``."""
    low, median, high = range_words(r)
    figure = f"{low} to {high} {unit}" if range_only else f"{median} {unit}"
    rest = what if range_only else f"{what}, likely {low} to {high}"
    page.figure(figure, rest)
    page.say()
    for line in ruler(r, unit, limit, width=min(62, page.width - 6 - len(unit)), fine=page.fine):
        page.say("  " + line)


def check_headline(page: Page, found: CheckAnswer) -> None:
    """Print a check's judged loss and its ruler."""
    from chaffinch.book.checks.in_trade_unit import in_trade_unit, loss_factor
    from chaffinch.book.wording import SOURCE

    check = found.check
    what = " and ".join(SOURCE[s] for s in found.judged)
    label = f"loss {what}" if found.judged == ("standing",) else f"{what} loss"
    limit = None if check.limit_kg_ha is None else check.limit_kg_ha * loss_factor(check)
    spot = any(notice.key == UNEVEN for notice in found.notices)
    headline(page, in_trade_unit(found.judged_kg_ha, check), check.trade_unit, label, limit, range_only=spot)


def show_verdict(found: CheckAnswer, page: Page) -> None:
    """Print the verdict as a sentence with its shape; nothing without one."""
    from chaffinch.book.checks.in_trade_unit import loss_factor
    from chaffinch.book.figures import percent, plain_number
    from chaffinch.book.wording import SOURCE, VERDICT, VERDICT_LINE
    from chaffinch.cli.check_page import SHAPE

    check = found.check
    if found.verdict is None or found.p_over is None or check.limit_kg_ha is None:
        return
    limit = f"{plain_number(check.limit_kg_ha * loss_factor(check))} {check.trade_unit}"
    what = " and ".join(SOURCE[s] for s in found.judged)
    text = VERDICT_LINE[found.verdict].format(limit=limit, chance=percent(found.p_over), what=what)
    page.paragraph(f"{SHAPE[found.verdict]} {text}", emphasis=VERDICT[found.verdict])
    page.say()


def as_range(r: Range | None) -> dict[str, Any] | None:
    """A range as JSON-able data."""
    return None if r is None else {"low": r.low, "median": r.median, "high": r.high}
