"""How does data become a PDF? One door to the typesetter: text goes in as data, tagged pages come out.

The layouts beside this room hold no text of a book: they read one JSON value and set each string in it as text. The
machine's own fonts are ignored, and no clock is read: the date of the page is the time of the file.
"""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, Literal

from chaffinch.errors import ChaffinchError, InputError
from chaffinch.paper import letters

if TYPE_CHECKING:
    import typst

Layout = Literal["report", "card", "sheet", "picture"]

SIZES: Final = {"a4": (210.0, 297.0), "letter": (215.9, 279.4), "a5": (148.0, 210.0), "half-letter": (139.7, 215.9)}
"""Width and height [mm]; ISO 216, and North American sizes exact in inches."""
STANDARD: Final = "ua-1"
"""PDF/UA-1: tagged, with alternative texts; the typesetter refuses what does not keep it."""
_LAYOUTS: Final = Path(__file__).parent / "layouts"
_UNIX_DAY: Final = 719_163
"""Ordinal of 1970-01-01 in the calendar of :mod:`datetime`."""
_NOON_S: Final = 43_200
_COUNT: Final = re.compile(rb"/Type\s*/Pages\s*/Count\s+(\d+)")


@dataclass(frozen=True, slots=True)
class Printed:
    """A PDF and how many pages it has."""

    pdf: bytes
    pages: int


def typeset(layout: Layout, data: Mapping[str, Any]) -> Printed:
    """Set a page or several.

    Parameters
    ----------
    layout : {"report", "card", "sheet"}
        File of the layout.
    data : mapping
        What it shows; ``title``, ``size`` (a key of :data:`SIZES`) and ``date`` (like 2026-08-14) always.

    Raises
    ------
    InputError
        For a date or size out of form, or a sign the letters lack.
    ChaffinchError
        When the typesetter is not installed, or refuses the page.
    """
    inputs = _inputs(data)
    compiler = _compiler(layout)
    pdf = _set(compiler, inputs, _moment(data), format="pdf", pdf_standards=[STANDARD])
    return Printed(pdf, _pages_of(pdf))


def pictures(layout: Layout, data: Mapping[str, Any], *, ppi: float = 100.0) -> list[bytes]:
    """The same pages as PNG, for who wants to look at them."""
    found = _set(_compiler(layout), _inputs(data), _moment(data), format="png", ppi=ppi)
    return [found] if isinstance(found, bytes) else list(found)


def _inputs(data: Mapping[str, Any]) -> dict[str, str]:
    size = str(data["size"])
    if size not in SIZES:
        raise InputError("paper", size, "is no size of paper we print on", f"use {', '.join(SIZES)}")
    width, height = SIZES[size]
    whole = {**data, "width_mm": width, "height_mm": height}
    return {"page": json.dumps(letters.spelled(whole), ensure_ascii=False, sort_keys=True)}


def read_date(text: str, field: str = "--date") -> str:
    """A day like 2026-08-14, itself.

    Raises
    ------
    InputError
        For anything else, or a day that does not exist.
    """
    try:
        if len(text) != len("2026-08-14"):
            raise ValueError(text)
        date.fromisoformat(text)
    except ValueError:
        raise InputError(field, text, "is no day that exists", "write it like 2026-08-14") from None
    return text


def _moment(data: Mapping[str, Any]) -> int:
    """Noon in UTC of the page's day, in seconds since 1970."""
    day = date.fromisoformat(read_date(str(data["date"]), "date"))
    return (day.toordinal() - _UNIX_DAY) * 86_400 + _NOON_S


def _set(compiler: typst.Compiler, inputs: dict[str, str], moment: int, **how: Any) -> Any:
    import typst

    try:
        return compiler.compile(sys_inputs=inputs, timestamp=moment, **how)
    except typst.TypstError as error:
        raise ChaffinchError(f"the page could not be set: {' '.join(str(error.message).split())}") from None


def _compiler(layout: Layout) -> typst.Compiler:
    import typst

    return typst.Compiler(_LAYOUTS / f"{layout}.typ", root=_LAYOUTS, font_paths=_fonts(), ignore_system_fonts=True)


@lru_cache(maxsize=1)
def _fonts() -> typst.Fonts:
    import typst

    return typst.Fonts(include_system_fonts=False, include_embedded_fonts=False, font_paths=[letters.FOLDER])


def refuse_without_typesetter() -> None:
    """Say in one line that the typesetter is missing, before anything long is worked out.

    Raises
    ------
    ChaffinchError
        When it cannot be imported.
    """
    try:
        import typst  # noqa: F401
    except ImportError:
        raise ChaffinchError(
            "paper needs the typesetter, which is not installed: pip install 'chaffinch[paper]'"
        ) from None


def _pages_of(pdf: bytes) -> int:
    """How many pages the file says it has: the greatest count of a node of its page tree (ISO 32000-1, 7.7.3)."""
    return max(int(found) for found in _COUNT.findall(pdf))
