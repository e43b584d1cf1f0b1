"""What number did they write?

Reads the number at the head of a text: decimal points and commas, thousands marks, halves and quarters, signs
and characters that only look like the plain ones. Works on at most ``LONGEST_TEXT`` characters, with patterns
that cannot backtrack far, and keeps every number as an exact ratio.
"""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass
from fractions import Fraction

from chaffinch.errors import InputError

LONGEST_TEXT = 80  # [characters]; the longest honest quantity is about 30
LARGEST_NUMBER = 10**15  # beyond this a number was not meant, whatever the unit
_LARGEST_EXPONENT = 30
_LARGEST_DENOMINATOR = 1000

# Characters that people's keyboards and spreadsheets put in place of the plain ones, and that Unicode's own
# compatibility form (NFKC) leaves alone or turns into something else.
_LOOKALIKES = {
    **dict.fromkeys("−‐‑‒–", "-"),
    **dict.fromkeys("⁄∕", "/"),
    **dict.fromkeys("′’‘ʹ´", "'"),
    **dict.fromkeys("″”“‟", '"'),
    "٫": ".",  # Arabic decimal mark
    "٬": ",",  # Arabic thousands mark
    "٪": "%",
}
# Two classes of characters that are refused wherever they stand inside a text.
_NEVER = frozenset({"Cc", "Cs", "Cn", "Co", "Zl", "Zp"})

_SIGN = re.compile(r"([+-]?) ?")
_FRACTION = re.compile(r"(?:([0-9]+)[ -])?([0-9]+) ?/ ?([0-9]+)(?![0-9.,])")
_RUN = re.compile(r"[0-9.,]+(?: [0-9.,]+)*")
_HEAD = re.compile(r"(?:[0-9]{1,3}(?: [0-9]{3})+(?![0-9])(?:[.,][0-9]+)?|[0-9.,]+)(?:[eE][+-]?[0-9]+)?")
_EXPONENT = re.compile(r"[eE]([+-]?[0-9]+)")
_SPACED = re.compile(r"([1-9][0-9]{0,2}(?: [0-9]{3})+)(?:[.,]([0-9]+))?")
_SIMPLE = re.compile(r"([0-9]*)(?:[.,]([0-9]+))?")
_GROUPED = {
    ",": re.compile(r"[1-9][0-9]{0,2}(?:,[0-9]{3})+"),
    ".": re.compile(r"[1-9][0-9]{0,2}(?:\.[0-9]{3})+"),
}


@dataclass(frozen=True, slots=True)
class Numeral:
    """A number as written.

    Parameters
    ----------
    value : Fraction
        Its exact value, with its sign.
    step : Fraction
        The smallest division its digits imply: 1/10 for ``12.5``, 1 for ``12``, 1/4 for ``3/4``.
    negative : bool
        Whether a minus sign stood before it; ``-0`` keeps it.
    fractional : bool
        Whether it was written as a fraction.
    """

    value: Fraction
    step: Fraction
    negative: bool
    fractional: bool


def tidy(text: object, field: str, example: str) -> str:
    """Return the text in plain characters with single spaces, trimmed.

    Digits of other scripts become 0 to 9, ``½`` becomes ``1/2``, ``²`` after a letter becomes ``2``,
    typographic marks become plain ones and invisible formatting characters go.

    Raises
    ------
    InputError
        When it is not text, is empty, is far too long, or holds characters that have no business there.
    """
    if not isinstance(text, str):
        raise InputError(field, text, "is not text", f'write it as text with its unit, like "{example}"')
    # The length is judged before anything walks over the text.
    if len(text) > LONGEST_TEXT:
        raise InputError(field, text, f"is {len(text)} characters long", f'write only the quantity, like "{example}"')
    plain: list[str] = []
    for character in text.strip():
        before = plain[-1][-1] if plain else ""
        category = unicodedata.category(character)
        if category in _NEVER:
            raise InputError(
                field, text, "holds a character that cannot be printed", f'write it plainly, like "{example}"'
            )
        if category == "Cf":  # zero-width marks that come along when text is copied
            continue
        if category == "Nd":
            plain.append(str(unicodedata.decimal(character)))
            continue
        shape = _LOOKALIKES.get(character) or unicodedata.normalize("NFKC", character)
        if "⁄" in shape:
            # A vulgar fraction. Without the space "2½" would read as 21/2.
            shape = (" " if before.isdigit() else "") + shape.replace("⁄", "/")
        elif shape[:1].isdigit() and not (character in "²³" and before.isalpha()):
            raise InputError(field, text, f"has a raised, lowered or ringed digit {character!r}", "write plain digits")
        plain.append(shape)
    tidied = " ".join("".join(plain).split()).replace("''", '"')
    if not tidied:
        raise InputError(field, text, "is empty", f'write a number and its unit, like "{example}"')
    return tidied


def take(tidied: str, *, field: str, text: str, example: str) -> tuple[Numeral, str]:
    """Split a tidied text into the number at its head and the rest.

    Parameters
    ----------
    tidied : str
        The text as `tidy` returned it, or the tail of it.
    field, text, example : str
        What errors name, show and suggest.

    Raises
    ------
    InputError
        When there is no number at the head, or it can be read in two ways, or is beyond sense.
    """
    sign = _SIGN.match(tidied)
    assert sign is not None  # the pattern matches the empty text too
    negative = sign[1] == "-"
    start = sign.end()
    written = _FRACTION.match(tidied, start)
    if written is not None:
        value, step = _fraction(written, field, text)
        end = written.end()
    else:
        run = _RUN.match(tidied, start)
        if run is None or not any(mark.isdigit() for mark in run[0]):
            raise InputError(
                field, text, "does not start with a number", f'write a number and its unit, like "{example}"'
            )
        value, places = _decimal(run[0], field, text)
        end = run.end()
        power = _EXPONENT.match(tidied, end)
        if power is not None:
            exponent = _exponent(power[1], field, text)
            value *= Fraction(10) ** exponent
            places -= exponent
            end = power.end()
        step = Fraction(10) ** -places
    if value > LARGEST_NUMBER:
        raise InputError(field, text, "is too large to be meant", "write a number below 1e15")
    rest = tidied[end:].strip()
    return Numeral(-value if negative else value, step, negative, written is not None), rest


def headed(text: str, *, field: str, mend: str) -> tuple[float, str]:
    """The number at the head of a text and what stands behind it, like ``(600.0, "rpm")``: no unit is asked for.

    Parameters
    ----------
    text : str
        As a person wrote it.
    field, mend : str
        What errors name, and what they tell to do.

    Raises
    ------
    InputError
        When there is no number at the head, or it can be read in two ways (``1,100``), or is beyond sense.
    """
    plain = tidy(text, field, mend) if text.strip() else ""
    sign = _SIGN.match(plain)
    if sign is None or not plain[sign.end() : sign.end() + 2].strip(".,")[:1].isdigit():
        raise InputError(field, text, "is not a number", mend)
    # A unit may begin with a digit, like 1/min: only groups of three belong to the number before them.
    head = None if _FRACTION.match(plain, sign.end()) else _HEAD.match(plain, sign.end())
    end = len(plain) if head is None else head.end()
    number, rest = take(plain[:end], field=field, text=text, example=mend)
    return float(number.value), f"{rest}{plain[end:]}".strip()


def alone(text: str, *, field: str, mend: str) -> float:
    """A number with nothing behind it.

    Raises
    ------
    InputError
        As :func:`headed`; and for anything that stands behind it.
    """
    number, rest = headed(text, field=field, mend=mend)
    if rest:
        raise InputError(field, text, "is not a number", mend)
    return number


def _fraction(written: re.Match[str], field: str, text: str) -> tuple[Fraction, Fraction]:
    """Return value and step of ``1/2`` or ``2 1/2``."""
    whole, top, bottom = written.groups()
    # Lengths first: int() of very long digits is slow and may be refused by Python itself.
    if len(bottom) > 4 or not 0 < int(bottom) <= _LARGEST_DENOMINATOR:
        raise InputError(
            field,
            text,
            f"has a fraction over {bottom}",
            f"divide by a whole number from 1 to {_LARGEST_DENOMINATOR}, or write a decimal number",
        )
    part = Fraction(int(top), int(bottom))
    # Above 1 it is more likely a slip of the finger ("12/5" for 12.5) than a measure.
    if part > 1 or (part == 1 and whole is not None):
        raise InputError(
            field, text, f"has the fraction {top}/{bottom}", 'write it like "2 1/2", or as a decimal number'
        )
    return part + int(whole or 0), Fraction(1, int(bottom))


def _exponent(digits: str, field: str, text: str) -> int:
    if len(digits) > 4 or abs(int(digits)) > _LARGEST_EXPONENT:
        raise InputError(field, text, f"has the exponent {digits}", "write the number out without an exponent")
    return int(digits)


def _decimal(run: str, field: str, text: str) -> tuple[Fraction, int]:
    """Return the value of a run of digits and marks, and how many decimals it has."""
    if " " in run:
        spaced = _SPACED.fullmatch(run)
        if spaced is None:
            raise InputError(field, text, "has a number split by spaces", "write the number without spaces")
        return _value(spaced[1].replace(" ", ""), spaced[2])
    points, commas = run.count("."), run.count(",")
    if points and commas:
        return _two_marks(run, field, text)
    if points + commas > 1:
        mark = "." if points else ","
        if _GROUPED[mark].fullmatch(run) is None:
            raise _marks_error(field, text)
        return _value(run.replace(mark, ""), None)
    if run[-1] in ".,":
        raise InputError(
            field,
            text,
            f"has a number that ends in {run[-1]!r}",
            "write the missing digits or leave the mark out",
        )
    simple = _SIMPLE.fullmatch(run)
    assert simple is not None  # at most one mark, not at the end
    whole, decimals = simple.groups()
    if commas and len(decimals) == 3 and whole.strip("0"):
        # "1,234" is 1234 to one reader and 1.234 to the next: a factor of a thousand is not ours to guess.
        raise InputError(
            field,
            text,
            "can be read in two ways, with a thousands comma or a decimal comma",
            f"write {whole}{decimals} or {whole}.{decimals}",
        )
    return _value(whole, decimals)


def _two_marks(run: str, field: str, text: str) -> tuple[Fraction, int]:
    """Read ``1,234.5`` or ``1.234,5``: the last mark is the decimal one, the others part thousands."""
    mark = run[max(run.rfind("."), run.rfind(","))]
    whole, _, decimals = run.rpartition(mark)
    thousands = "," if mark == "." else "."
    if mark in whole or not decimals or _GROUPED[thousands].fullmatch(whole) is None:
        raise _marks_error(field, text)
    return _value(whole.replace(thousands, ""), decimals)


def _value(whole: str, decimals: str | None) -> tuple[Fraction, int]:
    decimals = decimals or ""
    return Fraction(int(whole + decimals), 10 ** len(decimals)), len(decimals)


def _marks_error(field: str, text: str) -> InputError:
    return InputError(
        field,
        text,
        "has points and commas that do not make a number",
        "write it with one decimal point and no other mark, like 1234.5",
    )
