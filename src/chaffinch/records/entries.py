"""What does one table of a check file hold?

Reads a table key by key: each value must be of the type its key holds and lie in its span, and every error names
the key, where the table stands, the value and the mend. Nothing here knows what the keys mean together.
"""

from __future__ import annotations

import math
import unicodedata
from collections.abc import Mapping
from typing import Final

from chaffinch import units
from chaffinch.errors import InputError
from chaffinch.records.keys import Key, Span, header, key_of, refuse_unknown
from chaffinch.units import Quantity

LONGEST_TEXT: Final = 200  # [characters], of a name
LONGEST_NOTE: Final = 5000  # [characters]
# Categories with no place in a text to be printed: control characters, half characters, line separators.
_NEVER = frozenset({"Cc", "Cs", "Zl", "Zp"})
_EXAMPLES = {
    "length": "66 in",
    "area": "4 ft2",
    "land": "62 ha",
    "mass": "12.5 g",
    "speed": "7.5 km/h",
    "time": "60 s",
    "area_mass": "45 bu/ac",
    "price": "14.50 /bu",
    "density": "65 kg/hL",
    "percent": "9.5 %",
    "fraction": "25 %",
    "amount": "12.5 g",
    "text": "…",
    "note": "…",
    "date": "2026-08-30 14:20",
}
_TABLE_EXAMPLES = {
    "combine": 'cut_width = "40 ft"',
    "field": 'area = "62 ha"',
    "pan": 'area = "4 ft2"',
    "scale": 'step = "0.1 g"',
}
_SMALLEST = 1e-12  # in any inside unit: nothing in a field is measured below it, and it can be written with all digits
_FIRST_NOT_KEPT = 10**15  # a whole number from here on is not shown: it was not meant, and may be endless


class Entries:
    """One table, read key by key.

    Parameters
    ----------
    table : object
        The table as parsed.
    name : str
        Which table it is, as named in the schema: ``"combine"``; empty for the top.
    where : str
        How messages name it: ``"catch 2"``; empty for the top.

    Raises
    ------
    InputError
        When it is not a table.
    UnknownKeyError
        When it holds a key the schema does not have.
    """

    def __init__(self, table: object, name: str, where: str = "") -> None:
        if not isinstance(table, Mapping):
            example = _TABLE_EXAMPLES.get(name, 'place = "discharge"')
            field = where or "check file"
            mend = f"write {example} under {header(name)}" if name else "write keys and values, like a check file"
            raise InputError(field, _shown(table), f"is {_described(table)}, not a table", mend)
        refuse_unknown(table, name, where)
        self.name = name
        self.where = where
        self._table: Mapping[str, object] = table

    def __contains__(self, key: str) -> bool:
        return key in self._table

    def raw(self, key: str) -> object:
        """Return the value as parsed; None when the key is absent."""
        return self._table.get(key)

    def shown(self, key: str, otherwise: object = None) -> object:
        """Return the value in a form an error message can show; ``otherwise`` when the key is absent."""
        return _shown(self._table[key]) if key in self._table else otherwise

    def field(self, key: str) -> str:
        """Return how messages name a key of this table: ``"catch 2, amount"``."""
        return f"{self.where}, {key}" if self.where else key

    def wrong(self, key: str, problem: str, mend: str) -> InputError:
        """Return the error for the value of a key."""
        return InputError(self.field(key), self.shown(key), problem, mend)

    def missing(self, key: str, mend: str = "", problem: str = "is missing") -> InputError:
        """Return the error for a key that is not there."""
        example = _EXAMPLES.get(key_of(self.name, key).holds, "")
        return InputError(self.field(key), None, problem, mend or f'write {key} = "{example}"')

    def text(self, key: str) -> str:
        """Return a text, trimmed; empty when the key is absent.

        Raises
        ------
        InputError
            For a value that is not text, is blank, too long, or holds characters that cannot be printed. Notes may
            run over several lines.
        """
        if key not in self._table:
            return ""
        value = self._typed_text(key, key_of(self.name, key))
        several = key_of(self.name, key).holds == "note"
        longest = LONGEST_NOTE if several else LONGEST_TEXT
        if len(value) > longest:
            raise self.wrong(key, f"is {len(value)} characters long", f"write at most {longest}")
        plain = value.replace("\r\n", "\n").strip()
        for character in plain:
            if unicodedata.category(character) in _NEVER and not (several and character in "\n\t"):
                raise self.wrong(key, "holds a character that cannot be printed", "write it plainly, on one line")
        if not plain:
            raise self.wrong(key, "is blank", "write something or leave the key out")
        return plain

    def flag(self, key: str) -> bool | None:
        """Return true or false; None when the key is absent."""
        value = self._table.get(key)
        if value is None and key not in self._table:
            return None
        if not isinstance(value, bool):
            raise self.wrong(key, f"is {_described(value)}", f"write {key} = true or {key} = false, without quotes")
        return value

    def number(self, key: str, *, whole: bool = False) -> float | None:
        """Return a plain number within its span; None when the key is absent."""
        if key not in self._table:
            return None
        value = self._table[key]
        mend = f"write {key} = {'12' if whole else '0.4'}, a plain number without quotes"
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise self.wrong(key, f"is {_described(value)}", mend)
        number = self._finite(key, value)
        if whole and not number.is_integer():
            raise self.wrong(key, "must be a whole number", mend)
        self._within(key, number, key_of(self.name, key).span)
        return number

    def part(self, key: str) -> float:
        """Return a part of the whole, 0 < f ≤ 1, written as a number or as text; 1 when the key is absent."""
        if key not in self._table:
            return 1.0
        value = self._table[key]
        if isinstance(value, int | float) and not isinstance(value, bool):
            part = self._finite(key, value)
        else:
            part = units.read(self._typed_text(key, key_of(self.name, key)), "fraction", field=self.field(key)).value
        if not 0 < part <= 1:
            raise self.wrong(key, "must be above 0 and at most 1", 'write it like 0.25, "1/4" or "25 %"')
        self._within(key, part, key_of(self.name, key).span)
        return part

    def quantity(self, key: str, *, bushel_kg: float | None = None) -> Quantity | None:
        """Return the quantity a key holds, within its span; None when the key is absent.

        Raises
        ------
        InputError, UnitError
            When it is not text, has no unit or a wrong one, is not above 0 (below 0 where 0 is allowed), or lies
            beyond its span.
        """
        if key not in self._table:
            return None
        known = key_of(self.name, key)
        text = self._typed_text(key, known)
        if known.span is None:
            read = units.read
        else:
            read = units.read_positive if known.span.low > 0 else units.read_not_negative
        found = read(text, known.holds, field=self.field(key), bushel_kg=bushel_kg)
        self._within(key, found.value, known.span)
        return found

    def value(self, key: str) -> float | None:
        """Return the value of `quantity` in the inside unit of its kind; None when the key is absent."""
        found = self.quantity(key)
        return None if found is None else found.value

    def amount(self, key: str, spans: Mapping[str, Span], *, above_zero: bool = False) -> Quantity | None:
        """Return a reading of whichever of several kinds it is; None when the key is absent.

        Parameters
        ----------
        spans : Mapping of str to Span
            The kinds it may be of, each with its span.
        above_zero : bool
            Whether 0 is refused.
        """
        if key not in self._table:
            return None
        text = self._typed_text(key, key_of(self.name, key))
        found = units.read_any(text, tuple(spans), field=self.field(key))
        if found.value < 0 or (above_zero and found.value == 0):
            low = "above 0" if above_zero else "0 or more"
            raise self.wrong(key, f"must be {low}", f'write a value {low}, like "12.5 g"')
        self._within(key, found.value, spans[found.kind])
        return found

    def table(self, key: str) -> Entries | None:
        """Return the table a key of the top holds; None when it is absent."""
        return Entries(self._table[key], key, key) if key in self._table else None

    def _typed_text(self, key: str, known: Key) -> str:
        value = self._table[key]
        if isinstance(value, str):
            return value
        example = _EXAMPLES[known.holds]
        if known.holds in ("text", "note", "date"):
            raise self.wrong(key, f"is {_described(value)}, not text", f'write it in quotes: {key} = "{example}"')
        if isinstance(value, Mapping):
            raise self.wrong(key, "is a table", f'write it on one line: {key} = "{example}"')
        raise self.wrong(
            key, f"is {_described(value)}, not text", f'write it in quotes with its unit: {key} = "{example}"'
        )

    def _finite(self, key: str, value: float) -> float:
        try:
            number = float(value)
        except OverflowError:
            number = math.inf
        if not math.isfinite(number):
            raise self.wrong(key, "is not a finite number", "write a plain number")
        return number

    def _within(self, key: str, value: float, span: Span | None) -> None:
        if 0 < abs(value) < _SMALLEST:
            raise self.wrong(key, "is smaller than can be meant", "check number and unit")
        if span is not None and (end := span.end(value)):
            side = "below" if value < span.low else "above"
            raise self.wrong(
                key, f"is {side} {end}, beyond what can be meant", f"check number and unit; it can be {span}"
            )


def _described(value: object) -> str:
    if value is None:
        return "empty"
    for types, words in (
        (bool, "true or false"),
        (int | float, "a number"),
        (str, "text"),
        (Mapping, "a table"),
        (list | tuple, "a list"),
    ):
        if isinstance(value, types):
            return words
    return f"a value of type {type(value).__name__}"


def _shown(value: object) -> object:
    """Return the value if a message can show it whole; None for tables, lists and endless numbers."""
    if isinstance(value, bool | float):
        return value
    if isinstance(value, int):
        return value if abs(value) < _FIRST_NOT_KEPT else None
    # Judged here too because repr of a megabyte would be made before it is shortened.
    return value[:LONGEST_TEXT] if isinstance(value, str) else None
