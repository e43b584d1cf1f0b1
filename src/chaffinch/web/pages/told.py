"""How is a check, a field or a verdict told on the desk's pages, in the units this person reads in?"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

from chaffinch import units
from chaffinch.book.checks import LoggedCheck, counting
from chaffinch.book.desk import Desk
from chaffinch.book.figures import plain_number, range_words
from chaffinch.book.in_trade_unit import loss_factor
from chaffinch.book.shown_unit import Unit, farm_of
from chaffinch.book.things import Thing, by_ids
from chaffinch.book.times import local
from chaffinch.book.wording import SOURCE
from chaffinch.engine.estimate import Range
from chaffinch.errors import InputError
from chaffinch.records.check import Check
from chaffinch.reference import crop as find_crop
from chaffinch.web.pages.answers import InShort, in_short
from chaffinch.web.pages.frame import Person
from chaffinch.web.pages.words import words

SHAPE: Final = {"over": "▲", "under": "▼", "unsettled": "◆"}
"""Shape of a verdict: up is more than the limit, down is less, the diamond is neither."""
UNEVEN: Final = "one-position-spreading"
"""The notice under which a range is supported but not a middle."""
FILED: Final = ("season", "field", "combine", "operator")


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
class Line:
    """One check in a list.

    Attributes
    ----------
    id : str
    taken : str
        Local time.
    names : mapping of str to str
        What it is filed under: season, field, combine, operator; empty where it says nothing.
    crop : str
    amount : Amount or None
    range : Range or None
        In the unit of ``amount``.
    middle_told : bool
        False where one spot behind a spreader supports a range and no middle.
    verdict, shape : str
        Empty without a verdict.
    disagree : bool
    short : InShort
    logged : LoggedCheck
    """

    id: str
    taken: str
    names: Mapping[str, str]
    crop: str
    amount: Amount | None
    range: Range | None
    middle_told: bool
    verdict: str
    shape: str
    disagree: bool
    short: InShort
    logged: LoggedCheck

    @property
    def where(self) -> str:
        """Field and combine in one text."""
        return " · ".join(x for x in (self.names["field"], self.names["combine"]) if x) or words("check.unfiled")


def lines_of(desk: Desk, ids: Iterable[str], person: Person) -> list[Line]:
    """The versions that count of the given checks, by time, each with its answer in short."""
    logged = counting(desk, ids)
    names = {t.id: t.name for t in by_ids(desk, [one.body.get(key) for one in logged for key in FILED]).values()}
    reads = reads_of(desk, person)
    return [_line(one, names, reads) for one in logged]


def _line(logged: LoggedCheck, names: Mapping[str, str], reads: Reads) -> Line:
    short = in_short(logged.check)
    check = in_person_unit(logged.check, reads)
    r = None if short.kg_ha is None else short.kg_ha.times(loss_factor(check))
    return Line(
        id=logged.id,
        taken=local(str(logged.body["taken_at"])),
        names={key: names.get(str(logged.body.get(key, "")), "") for key in FILED},
        crop=check.crop,
        amount=None if r is None else Amount.of(r, check.trade_unit),
        range=r,
        middle_told=UNEVEN not in short.keys,
        verdict="" if short.verdict is None else words(f"verdict.{short.verdict}"),
        shape=SHAPE.get(short.verdict or "", ""),
        disagree=logged.versions.disagree,
        short=short,
        logged=logged,
    )


@dataclass(frozen=True, slots=True)
class Reads:
    """In which unit of loss somebody reads, and whose bushel applies; None where nobody told.

    Attributes
    ----------
    report_in, country : str or None
    """

    report_in: str | None
    country: str | None


def reads_of(desk: Desk, person: Person) -> Reads:
    """The person's own choice, else the farm's unit; else each check keeps the unit it was taken in."""
    farm = farm_of(desk)
    parts = {} if farm is None else farm.parts
    report_in, country = person.report_in or parts.get("report_in"), parts.get("country")
    return Reads(None if report_in is None else str(report_in), None if country is None else str(country))


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


def area_said(area_ha: float, unit: Unit | None = None) -> str:
    """An area in acres where losses are per acre, else in hectares."""
    if unit is not None and unit.land == "ac":
        return f"{plain_number(units.write(area_ha, 'ac', 'land'))} ac"
    return f"{plain_number(area_ha)} ha"


def sign_of(currency: str) -> str:
    """What stands before money: a sign close by, letters with a blank."""
    return currency + (" " if len(currency) > 1 else "")


def money_said(r: Range, currency: str) -> Amount:
    """Money in words, the sign with its middle."""
    low, middle, high = range_words(r)
    return Amount(low, f"{sign_of(currency)}{middle}", high, "")


def name_of(thing: Thing | None) -> str:
    """A thing's name, marked when retired; empty for none."""
    return "" if thing is None else thing.title
