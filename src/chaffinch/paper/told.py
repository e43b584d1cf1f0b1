"""How are losses, areas and money told to a person, in the units that person reads in? Shared by desk and paper."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

from chaffinch.book.desk import Desk
from chaffinch.book.figures import range_words
from chaffinch.book.shown_unit import farm_of
from chaffinch.book.wording import SOURCE
from chaffinch.engine.estimate import Range
from chaffinch.errors import InputError
from chaffinch.paper.words import words
from chaffinch.records.check import Check
from chaffinch.reference import crop as find_crop

SHAPE: Final = {"over": "▲", "under": "▼", "unsettled": "◆"}
"""Shape of a verdict: up is more than the limit, down is less, the diamond is neither."""
UNEVEN: Final = "one-position-spreading"
"""The notice under which a range is supported but not a middle."""


@dataclass(frozen=True, slots=True)
class Amount:
    """A range in words, in a unit."""

    low: str
    middle: str
    high: str
    unit: str

    @staticmethod
    def of(r: Range, unit: str, *, decimals: int | None = None) -> Amount:
        """The range with the digits it supports."""
        return Amount(*range_words(r, decimals=decimals), unit)


@dataclass(frozen=True, slots=True)
class Reads:
    """In which unit of loss somebody reads, and whose bushel applies; None where nobody told.

    Attributes
    ----------
    report_in, country : str or None
    """

    report_in: str | None
    country: str | None


def reads_in(desk: Desk, report_in: str | None) -> Reads:
    """The unit chosen, else the farm's; else each check keeps the unit it was taken in."""
    farm = farm_of(desk)
    parts = {} if farm is None else farm.parts
    wanted, country = report_in or parts.get("report_in"), parts.get("country")
    return Reads(None if wanted is None else str(wanted), None if country is None else str(country))


def in_person_unit(check: Check, reads: Reads) -> Check:
    """The check in the unit a person reads in; lb/ac where a bushel of the crop has no one weight."""
    wanted = reads.report_in
    if wanted is None:
        return check
    if "bu" not in wanted:
        return replace(check, trade_unit=wanted)
    try:
        bushel = check.bushel_kg or find_crop(check.crop).bushel_kg(check.country or reads.country)
    except InputError:
        return replace(check, trade_unit="lb/ac")
    return replace(check, trade_unit=wanted, bushel_kg=bushel)


def what_lost(judged: Sequence[str]) -> str:
    """``header and machine loss``, ``loss before harvest``."""
    if tuple(judged) == ("standing",):
        return words("loss.standing")
    return words("loss.of", sources=" and ".join(SOURCE[s] for s in judged))


def count_of(n: int) -> str:
    """``1 check``, ``12 checks``."""
    return words("today.one") if n == 1 else words("today.many", n=n)


def sign_of(currency: str) -> str:
    """What stands before money: a sign close by, letters with a blank."""
    return currency + (" " if len(currency) > 1 else "")


def money_said(r: Range, currency: str) -> Amount:
    """Money in words, the sign with its middle."""
    low, middle, high = range_words(r)
    return Amount(low, f"{sign_of(currency)}{middle}", high, "")
