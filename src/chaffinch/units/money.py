"""Which currency did they name?

Prices are kept as plain money; the sign or the letters are read only so that a page can write them back and
two currencies are never mixed unseen. Nothing is converted from one currency to another.
"""

from __future__ import annotations

import re

from chaffinch.errors import UnitError

# ISO 4217, the codes in use. Origin: memory. A list, not "any three letters", because "29 cts/lb" must not
# pass for 29 of a currency called CTS.
_CODES = frozenset(
    re.findall(
        r"[A-Z]{3}",
        """
        AED AFN ALL AMD AOA ARS AUD AWG AZN BAM BBD BDT BGN BHD BIF BMD BND BOB BRL BSD BTN BWP BYN
        BZD CAD CDF CHF CLP CNY COP CRC CUP CVE CZK DJF DKK DOP DZD EGP ERN ETB EUR FJD FKP GBP GEL
        GHS GIP GMD GNF GTQ GYD HKD HNL HTG HUF IDR ILS INR IQD IRR ISK JMD JOD JPY KES KGS KHR KMF
        KPW KRW KWD KYD KZT LAK LBP LKR LRD LSL LYD MAD MDL MGA MKD MMK MNT MOP MRU MUR MVR MWK MXN
        MYR MZN NAD NGN NIO NOK NPR NZD OMR PAB PEN PGK PHP PKR PLN PYG QAR RON RSD RUB RWF SAR SBD
        SCR SDG SEK SGD SHP SLE SOS SRD SSP STN SVC SYP SZL THB TJS TMT TND TOP TRY TTD TWD TZS UAH
        UGX USD UYU UZS VES VND VUV WST XAF XCD XOF XPF YER ZAR ZMW ZWG
        """,
    )
)
# A bare dollar sign may stand beside the code of a currency that is written with it.
_DOLLARS = frozenset({"USD", "CAD", "AUD", "NZD", "ARS", "CLP", "COP", "MXN", "UYU", "BRL", "NAD", "SGD", "HKD"})

_SHARED_SIGN = {"$": _DOLLARS, "¥": frozenset({"JPY", "CNY"})}
# Signs that mean one currency only, and what they mean. Origin: memory.
_SIGN_OF = {
    "€": "EUR", "£": "GBP", "₴": "UAH", "₽": "RUB", "₹": "INR", "₺": "TRY", "₸": "KZT", "₦": "NGN", "₩": "KRW",
    "₪": "ILS", "₫": "VND", "₱": "PHP", "US$": "USD", "CA$": "CAD", "C$": "CAD", "AU$": "AUD", "A$": "AUD",
    "NZ$": "NZD", "HK$": "HKD", "S$": "SGD", "R$": "BRL", "MX$": "MXN",
}  # fmt: skip

_MARK = r"(?:(?:US|CA|C|AU|A|NZ|HK|S|R|MX)?\$|[€£¥₴₽₹₺₸₦₩₪₫₱])"
_BEFORE = re.compile(rf"([+-]?) ?({_MARK}|[A-Z]{{3}}) ?(?=[+\-0-9.,])", re.IGNORECASE)
_AFTER = re.compile(rf"({_MARK}|[A-Z]{{3}})(?= ?/| per |$)", re.IGNORECASE)


def before_number(tidied: str) -> tuple[str, str]:
    """Split a currency off the head of a text: ``"-$5 /bu"`` gives ``"$"`` and ``"-5 /bu"``.

    The currency is empty, and the text unchanged, when none stands there.
    """
    found = _BEFORE.match(tidied)
    name = _name(found)
    if found is None or not name:
        return "", tidied
    return name, found[1] + tidied[found.end() :]


def after_number(rest: str, currency: str, field: str, text: str) -> tuple[str, str]:
    """Split a currency off what follows the number: ``"CAD/t"`` gives ``"CAD"`` and ``"/t"``.

    Parameters
    ----------
    rest : str
        What follows the number.
    currency : str
        The currency already read before the number, or empty; returned when none follows.
    field, text : str
        What errors name and show.

    Raises
    ------
    UnitError
        When two currencies are named that do not go together. ``$`` goes with the code of a dollar.
    """
    found = _AFTER.match(rest)
    name = _name(found)
    if found is None or not name:
        return currency, rest
    if currency and currency != name and not (currency == "$" and name in _DOLLARS):
        raise UnitError(field, text, f"names two currencies, {currency} and {name}", "keep one of them")
    return name, rest[found.end() :].strip()


def same_currency(first: str, second: str) -> bool:
    """Whether two names of a currency can mean the same one.

    Parameters
    ----------
    first, second : str
        Signs or codes, in any case: ``"€"`` and ``"EUR"`` are one, a bare ``"$"`` goes with any dollar, and ``"¥"``
        with yen and yuan.
    """
    one, other = (_SIGN_OF.get(text.strip().upper(), text.strip().upper()) for text in (first, second))
    return one == other or other in _SHARED_SIGN.get(one, ()) or one in _SHARED_SIGN.get(other, ())


def _name(found: re.Match[str] | None) -> str:
    """Return the currency a pattern found, in capitals; empty when the letters are no currency."""
    if found is None:
        return ""
    name = str(found[found.re.groups]).upper()
    return name if name in _CODES or not name.isalpha() else ""
