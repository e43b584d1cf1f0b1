"""When are two names one?

A phone may write "é" as one sign and a laptop as two, e and an accent (Unicode's forms NFC and NFD): the reader sees
the same name. What a person types is stored in NFC; names are compared in NFC and without regard to capitals, so that
a name stored before, or sealed on another device, is still found.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Mapping
from typing import Any


def nfc(text: str) -> str:
    """The text with every letter and its accents as one sign (Unicode normalization form C)."""
    return unicodedata.normalize("NFC", text)


def folded(name: str) -> str:
    """What two spellings of one name have in common: NFC, no capitals, single blanks, none at the ends."""
    plain = name.casefold() if name.isascii() else nfc(nfc(name).casefold())
    return " ".join(plain.split())


def all_nfc(value: Any) -> Any:
    """JSON-able data with every text in it in NFC; names of keys stay."""
    if isinstance(value, str):
        return nfc(value)
    if isinstance(value, Mapping):
        return {key: all_nfc(one) for key, one in value.items()}
    if isinstance(value, list | tuple):
        return [all_nfc(one) for one in value]
    return value
