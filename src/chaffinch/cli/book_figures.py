"""A loss as the book's pages show it: the headline, the ruler, and in which unit."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from chaffinch import units
from chaffinch.cli.figures import range_words
from chaffinch.cli.ruler import ruler
from chaffinch.errors import InputError

if TYPE_CHECKING:
    from chaffinch.book.check import CheckAnswer
    from chaffinch.book.desk import Desk
    from chaffinch.book.things import Thing
    from chaffinch.cli.page import Page
    from chaffinch.engine.estimate import Range

UNEVEN = "one-position-spreading"
"""The notice under which a range is supported but not a middle."""


@dataclass(frozen=True, slots=True)
class Unit:
    """The unit losses are shown in.

    Attributes
    ----------
    name : str
        Like ``bu/ac``.
    factor : float
        kg/ha times this.
    land : str
        ``ac`` or ``ha``.
    currency : str
        Before money; may be empty.
    note : str
        Why it is not the farm's own unit; empty when it is.
    """

    name: str
    factor: float
    land: str
    currency: str
    note: str = ""


def farm_of(desk: Desk) -> Thing | None:
    """The book's farm: the only one in use, of doubles (after a merge) the first to arrive, or None."""
    from chaffinch.book.things import things

    farms = [t for t in things(desk, "farm") if not t.retired]
    for key in ("name", "country", "currency", "report_in"):
        if len({str(t.parts[key]).casefold() for t in farms if key in t.parts}) > 1:
            return None
    return min(farms, key=lambda t: t.seq, default=None)


def unit_for(desk: Desk, crop_name: str | None, bushels_kg: list[float]) -> Unit:
    """The farm's unit of loss for a crop, else kg/ha.

    Parameters
    ----------
    crop_name : str or None
        Whose bushel applies.
    bushels_kg : list of float
        Bushel weights the checks themselves used [kg]; taken when all agree.
    """
    farm = farm_of(desk)
    parts = {} if farm is None else farm.parts
    wanted = str(parts.get("report_in", "kg/ha"))
    currency = str(parts.get("currency", ""))
    bushel, note = None, ""
    if "bu" in wanted:
        bushel, note = _bushel(crop_name, parts.get("country"), bushels_kg)
        if bushel is None:
            wanted = "kg/ha"
    try:
        unit = units.read(f"1 {wanted}", "area_mass", field="farm, report_in", bushel_kg=bushel).unit
    except InputError:
        mend = "mend it: chaffinch book edit-label farm NAME report_in kg/ha"
        raise InputError("farm, report_in", wanted, "is not a unit of loss", mend) from None
    factor = units.write(1.0, unit, "area_mass", bushel_kg=bushel)
    return Unit(unit, factor, "ac" if unit.endswith("/ac") else "ha", currency, note)


def _bushel(crop_name: str | None, country: object, bushels_kg: list[float]) -> tuple[float | None, str]:
    from chaffinch.reference import crop

    if crop_name is not None:
        try:
            return crop(crop_name).bushel_kg(None if country is None else str(country)), ""
        except InputError as error:
            if len(set(bushels_kg)) != 1:
                return None, f"In kg/ha: {error}."
    if len(set(bushels_kg)) == 1:
        return bushels_kg[0], ""
    return None, "In kg/ha: the field has no crop, so a bushel has no weight."


def headline(
    page: Page, r: Range, unit: str, what: str, limit: float | None = None, *, range_only: bool = False
) -> None:
    """Print the loss in words and the ruler below it; ``r`` and ``limit`` in ``unit``."""
    low, median, high = range_words(r)
    figure = f"{low} to {high} {unit}" if range_only else f"{median} {unit}"
    rest = what if range_only else f"{what}, likely {low} to {high}"
    if len(figure) + len(rest) + 4 <= page.width:
        page.say(f"  {page.plum(page.strong(figure))}  {rest}")
    else:
        page.say(f"  {page.plum(page.strong(figure))}")
        page.paragraph(rest)
    page.say()
    for line in ruler(r, unit, limit, width=min(62, page.width - 6 - len(unit)), fine=page.fine):
        page.say("  " + line)


def check_headline(page: Page, found: CheckAnswer) -> None:
    """Print a check's judged loss and its ruler."""
    from chaffinch.book.in_trade_unit import in_trade_unit, loss_factor
    from chaffinch.book.wording import SOURCE

    check = found.check
    what = " and ".join(SOURCE[s] for s in found.judged)
    label = f"loss {what}" if found.judged == ("standing",) else f"{what} loss"
    limit = None if check.limit_kg_ha is None else check.limit_kg_ha * loss_factor(check)
    spot = any(notice.key == UNEVEN for notice in found.notices)
    headline(page, in_trade_unit(found.judged_kg_ha, check), check.trade_unit, label, limit, range_only=spot)


def show_verdict(found: CheckAnswer, page: Page) -> None:
    """Print the verdict as a sentence with its shape; nothing without one."""
    from chaffinch.book.in_trade_unit import loss_factor
    from chaffinch.book.wording import SOURCE, VERDICT, VERDICT_LINE
    from chaffinch.cli.check_page import SHAPE
    from chaffinch.cli.figures import percent, plain_number

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
