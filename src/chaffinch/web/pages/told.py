"""How is a check told in a list of the desk's pages, in the units this person reads in?"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Final

from chaffinch.book.checks.held import LoggedCheck, counting
from chaffinch.book.checks.in_trade_unit import loss_factor
from chaffinch.book.desk import Desk
from chaffinch.book.things import Thing, by_ids
from chaffinch.book.times import local
from chaffinch.engine.estimate import Range
from chaffinch.paper.told import (
    SHAPE,
    UNEVEN,
    Amount,
    Reads,
    count_of,
    in_person_unit,
    money_said,
    reads_in,
    sign_of,
    what_lost,
)
from chaffinch.web.pages.answers import InShort, in_short
from chaffinch.web.pages.frame import Person
from chaffinch.web.words.desk import words

__all__ = [
    "FILED",
    "SHAPE",
    "UNEVEN",
    "Amount",
    "Line",
    "Reads",
    "count_of",
    "in_person_unit",
    "lines_of",
    "money_said",
    "name_of",
    "reads_of",
    "sign_of",
    "what_lost",
]

FILED: Final = ("season", "field", "combine", "operator")


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


def reads_of(desk: Desk, person: Person) -> Reads:
    """The person's own choice, else the farm's unit; else each check keeps the unit it was taken in."""
    return reads_in(desk, person.report_in)


def name_of(thing: Thing | None) -> str:
    """A thing's name, marked when retired; empty for none."""
    return "" if thing is None else thing.title
