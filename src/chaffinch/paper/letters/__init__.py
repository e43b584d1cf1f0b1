"""Which signs can the shipped letters show? Read from the font files themselves, so that the list cannot be wrong."""

from __future__ import annotations

import re
import struct
from collections.abc import Mapping, Sequence
from functools import lru_cache
from pathlib import Path
from typing import Any, Final

from chaffinch.errors import InputError

FOLDER: Final = Path(__file__).parent
FILES: Final = ("Rubik-Regular.ttf", "Rubik-Bold.ttf")

SPELLED: Final = {
    "\u202f": "\u00a0", "\u2009": "\u00a0", "\u2003": "\u00a0", "₺": "TRY", "₦": "NGN", "₩": "KRW", "₫": "VND",
    "₱": "PHP", "฿": "THB", "₡": "CRC", "₲": "PYG", "₸": "KZT", "₾": "GEL", "₵": "GHS",
}  # fmt: skip
"""Signs that are written otherwise on paper: narrow blanks, and money by its letters of ISO 4217 (from memory)."""
_THOUSANDS: Final = re.compile(r"(?<=\d) (?=\d{3}(?!\d))")
"""The blank between thousands, at which no line may end."""
_UNSEEN: Final = frozenset("\n\t\u200b\u200c\u200d\u200e\u200f\u2060\u2066\u2067\u2068\u2069\ufeff")
"""Signs without a shape of their own: line ends, and those that only steer how letters join and run."""
_UNICODE: Final = ((3, 10), (3, 1), (0, 4), (0, 3))
"""Platform and encoding of the tables that map Unicode, the fuller first."""


def spelled(value: Any) -> Any:
    """Data for a page with every text as the letters can show it.

    Raises
    ------
    InputError
        For a sign they do not hold; it is shown with the text it stands in.
    """
    if isinstance(value, str):
        return _text(value)
    if isinstance(value, Mapping):
        return {key: spelled(inner) for key, inner in value.items()}
    if isinstance(value, Sequence):
        return [spelled(inner) for inner in value]
    return value


def _text(text: str) -> str:
    plain = "".join(SPELLED.get(sign, sign) for sign in text)
    if not plain.startswith("<svg"):  # there blanks part the places of points
        plain = _THOUSANDS.sub("\u00a0", plain)
    for sign in plain:
        if sign not in _UNSEEN and ord(sign) not in held():
            at = plain.index(sign)
            shown = (
                plain if plain.startswith("<svg") is False and len(plain) <= 60 else plain[max(0, at - 20) : at + 20]
            )
            raise InputError(
                "paper", shown, f"holds {sign!r}, which the letters of the paper lack",
                "write it in Latin, Cyrillic, Hebrew or Arabic letters",
            )  # fmt: skip
    return plain


@lru_cache(maxsize=1)
def held() -> frozenset[int]:
    """Code points that every one of the files has a shape for."""
    found = [_points((FOLDER / name).read_bytes()) for name in FILES]
    return frozenset.intersection(*found)


def _points(font: bytes) -> frozenset[int]:
    """Code points of a font's ``cmap`` in format 4 or 12 (ISO/IEC 14496-22, from memory)."""
    count = struct.unpack(">H", font[4:6])[0]
    tables = {
        font[12 + 16 * i : 16 + 16 * i]: struct.unpack(">I", font[20 + 16 * i : 24 + 16 * i])[0] for i in range(count)
    }
    start = tables[b"cmap"]
    number = struct.unpack(">H", font[start + 2 : start + 4])[0]
    kinds: dict[tuple[int, int], int] = {}
    for i in range(number):
        platform, encoding, offset = struct.unpack(">HHI", font[start + 4 + 8 * i : start + 12 + 8 * i])
        kinds[platform, encoding] = start + offset
    at = next(kinds[kind] for kind in _UNICODE if kind in kinds)
    form = struct.unpack(">H", font[at : at + 2])[0]
    return _by_groups(font, at) if form == 12 else _by_segments(font, at)


def _by_groups(font: bytes, at: int) -> frozenset[int]:
    """Format 12: groups of first, last and the first one's shape."""
    count = struct.unpack(">I", font[at + 12 : at + 16])[0]
    groups = (struct.unpack(">III", font[at + 16 + 12 * i : at + 28 + 12 * i]) for i in range(count))
    return frozenset(code for first, last, _ in groups for code in range(first, last + 1))


def _by_segments(font: bytes, at: int) -> frozenset[int]:
    """Format 4: segments of the first 65 536 code points; shape 0 is no shape."""
    half = struct.unpack(">H", font[at + 6 : at + 8])[0] // 2
    ends = struct.unpack(f">{half}H", font[at + 14 : at + 14 + 2 * half])
    base = at + 16 + 2 * half
    starts = struct.unpack(f">{half}H", font[base : base + 2 * half])
    deltas = struct.unpack(f">{half}H", font[base + 2 * half : base + 4 * half])
    ways = struct.unpack(f">{half}H", font[base + 4 * half : base + 6 * half])
    found = set()
    for i, (first, last) in enumerate(zip(starts, ends, strict=True)):
        for code in range(first, min(last, 0xFFFE) + 1):
            shape = code + deltas[i]
            if ways[i]:
                place = base + 4 * half + 2 * i + ways[i] + 2 * (code - first)
                shape = struct.unpack(">H", font[place : place + 2])[0]
            if shape & 0xFFFF:
                found.add(code)
    return frozenset(found)
