"""Is all the money of one answer in one currency? The farm's, which is also that of every price without a sign.

Nothing is ever converted, and nothing is printed in a currency it was not told in: a mix is refused.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from chaffinch import units
from chaffinch.book.checks.held import LoggedCheck
from chaffinch.book.desk import Desk
from chaffinch.book.shown_unit import farm_of
from chaffinch.book.things import Thing
from chaffinch.errors import InputError
from chaffinch.records.check import Check
from chaffinch.reference import crop as find_crop
from chaffinch.units.money import same_currency


@dataclass(frozen=True, slots=True)
class MoneyTold:
    """A price or a rate as somebody wrote it.

    Attributes
    ----------
    field : str
        Where it stands, in the words of the face that read it.
    text : str
        As written.
    currency : str
        Sign or code in it; "" for none, which means the farm's.
    """

    field: str
    text: str
    currency: str


def read_told(text: str, kind: str, *, field: str, bushel_kg: float | None = None) -> MoneyTold:
    """Read which currency a text of ``kind`` ("price", "money_rate", "fuel_price") names.

    Raises
    ------
    InputError
        For a text that cannot be read.
    """
    return MoneyTold(field, text, units.read(text, kind, field=field, bushel_kg=bushel_kg).currency)


def price_told(field: Thing | None) -> MoneyTold | None:
    """The price of a field as it stands in the book; None where it has none."""
    price = None if field is None else field.parts.get("price")
    if field is None or price is None:
        return None
    return read_told(str(price), "price", field=f"field {field.name}, price")


def check_price_told(logged: LoggedCheck) -> MoneyTold | None:
    """The price a check was logged with; None where it tells none."""
    return None if logged.check.price_per_t is None else check_price_of(logged.check, f"check {logged.id[:8]}")


def check_price_of(check: Check, called: str) -> MoneyTold:
    """The price that a check tells, under the name it is called by."""
    return MoneyTold(f"{called}, price", f"{check.currency}{check.price_per_t:g} /t", check.currency)


def price_at(logged: LoggedCheck, field: Thing | None) -> tuple[float, MoneyTold] | None:
    """Price that goes for a check [money/t], and how it was told: its own, else its field's where the crop is the same.

    A check from a phone, a sheet or a file seldom tells one, and the field it is filed under does.
    """
    own = check_price_told(logged)
    if logged.check.price_per_t is not None and own is not None:
        return logged.check.price_per_t, own
    of_field = price_told(field)
    if field is None or of_field is None or "crop" not in field.parts:
        return None
    try:
        same = find_crop(str(field.parts["crop"])).key == find_crop(logged.check.crop).key
    except InputError:
        return None  # A crop this program does not know has no price it could use.
    return (units.read_positive(of_field.text, "price", field="field, price").value, of_field) if same else None


def one_currency(desk: Desk, told: Iterable[MoneyTold]) -> str:
    """The one currency of the farm and of all money told.

    Parameters
    ----------
    desk : Desk
        The open book.
    told : iterable of MoneyTold
        Every price and rate that enters the answer.

    Returns
    -------
    str
        As the farm writes it, else as first told; "" where nobody names one.

    Raises
    ------
    InputError
        When two of them are in different currencies.
    """
    farm = farm_of(desk)
    return one_currency_told("" if farm is None else str(farm.parts.get("currency", "")).strip(), told)


def one_currency_told(own: str, told: Iterable[MoneyTold]) -> str:
    """As :func:`one_currency`, where no book is at hand; ``own`` is the farm's currency, "" for none.

    Raises
    ------
    InputError
        When two of them are in different currencies.
    """
    known = [("the farm's money", own)] if own else []
    for one in told:
        if not one.currency:
            continue
        for where, currency in known:
            if not same_currency(currency, one.currency):
                problem = f"is in {one.currency}, {where} in {currency}: two currencies are never mixed"
                raise InputError(one.field, one.text, problem, f"write it in {currency}")
        known.append((one.field, one.currency))
    return known[0][1] if known else ""
