"""Of which pieces is a report made? Each is plain data, so that an issued report can be kept as it was."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any, Final

from chaffinch.paper.drawing import Drawing
from chaffinch.paper.told import Amount
from chaffinch.paper.typeset import SIZES
from chaffinch.paper.words import words

Block = dict[str, Any]

MM_PER_PX: Final = 0.25
"""Size of a drawing's pixel on paper [mm]: its letters of 13 px are then 9 points high."""
MARGIN_MM: Final = 19.0
"""Margin of a report at both sides [mm]; the layout's own."""
FOOT_MM: Final = 52.0
"""What head, foot and a caption of two lines take of a page's height [mm]."""
NUMBER, NAME, TEXT, WIDE = "num", "name", "text", "wide"
"""Columns of a table: figures to the right, a name that takes what is left, short text, text that takes twice that."""


@dataclass(frozen=True, slots=True)
class Report:
    """A report as laid out, before it is set.

    Attributes
    ----------
    kind : {"check", "field", "trial", "season"}
    title : str
    subtitle : tuple of str
    date : str
        The day it is made, like 2026-08-14.
    size : str
        A key of :data:`chaffinch.paper.typeset.SIZES`.
    short : bool
        One page.
    blocks : list of Block
    footer : str
        Below every page.
    figures : dict
        The answers it rests on, as ``--json`` prints them.
    of : tuple of str
        Ids of the records it rests on, the one it is about first.
    price : str
        The price used, where it is one; "" otherwise.
    """

    kind: str
    title: str
    subtitle: tuple[str, ...]
    date: str
    size: str
    short: bool
    blocks: list[Block]
    footer: str
    figures: dict[str, Any] = field(default_factory=dict)
    of: tuple[str, ...] = ()
    price: str = ""

    def data(self) -> dict[str, Any]:
        """What the typesetter is given, and what an issued report keeps."""
        return {
            "title": self.title,
            "subtitle": list(self.subtitle),
            "date": self.date,
            "size": self.size,
            "blocks": self.blocks,
            "footer": self.footer,
        }


def heading(said: str) -> Block:
    """A heading within the report."""
    return {"is": "heading", "text": said}


def text(said: str, *, soft: bool = False) -> Block:
    """A paragraph."""
    return {"is": "text", "text": said, "soft": soft}


def big(amount: Amount, rest: str, *, middle_told: bool = True) -> Block:
    """The figure a page is about; only its range where one spot supports no middle."""
    value = amount.middle if middle_told else f"{amount.low} to {amount.high}"
    return {"is": "big", "value": f"{value} {amount.unit}".strip(), "rest": rest}


SHAPES: Final = {"▲": "over", "▼": "under", "◆": "open", "▸": "right", "◂": "left", "■": "square", "": "open"}
"""Shapes of verdicts and advice as the layout draws them, by the sign other faces use."""


def verdict(sign: str, strong: str, rest: str) -> Block:
    """A verdict: its shape, the words that carry it, and the rest of the sentence."""
    return {"is": "verdict", "shape": SHAPES[sign], "strong": strong, "text": rest.removeprefix(strong)}


def picture(drawing: Drawing, size: str, *, named: bool = False) -> Block:
    """A drawing over the whole width of the page; ``named`` writes above it what it shows."""
    width_mm = SIZES[size][0] - 2 * MARGIN_MM
    width = int(width_mm / MM_PER_PX)
    # What is taller than a page is made smaller as a whole: nothing of it may fall off the foot.
    shrink = min(1.0, (SIZES[size][1] - FOOT_MM) / (drawing.draw(width)[0] * MM_PER_PX))
    return {
        "is": "drawing",
        "svg": drawing.ink(width),
        "alt": drawing.alt,
        "width_mm": shrink * width_mm,
        "caption": f"{drawing.heading.rstrip('.')}. {drawing.about}" if named else "",
    }


def table(
    rows: Sequence[Sequence[str]], cols: Sequence[str], *, title: str = "", shrinks: str = "", tall: int = 1
) -> Block:
    """A table, its head first; a column for each of ``cols``.

    ``shrinks`` says which rows stay where a short report has no room for all: "first" or "last"; ``tall`` how many rows
    of other tables one of its rows is as high as.
    """
    head, *body = ([str(cell) for cell in row] for row in rows)
    return {
        "is": "table",
        "title": title,
        "cols": list(cols),
        "head": head,
        "rows": body,
        "shrinks": shrinks,
        "tall": tall,
    }


ROWS_WITH_ALL: Final = 15
"""Rows of a short report's tables below which pieces that may go are left out."""


def shrunk(given: Sequence[Block], most: int, most_tall: int | None = None) -> list[Block]:
    """The blocks with at most ``most`` rows in each table that may shrink; what was left out of one is counted.

    ``most_tall`` is the same for tables whose rows are several lines high, in lines; None: as ``most``.
    """
    made: list[Block] = []
    for one in given:
        if one.get("may_go") and most < ROWS_WITH_ALL:
            continue
        tall = one.get("tall", 1)
        room = (most if most_tall is None or tall == 1 else most_tall) // tall
        left = len(one["rows"]) - room if one.get("shrinks") else 0
        if left <= 0:
            made.append(one)
            continue
        kept = one["rows"][:room] if one["shrinks"] == "first" else one["rows"][left:]
        made += [{**one, "rows": kept}] if kept else []
        made.append(text(words("report.more", n=left), soft=True))
    return made


def figures_table(rows: Sequence[Sequence[str]], *, title: str = "") -> Block:
    """A table whose first column is a name and all others figures."""
    return table(rows, [NAME, *[NUMBER] * (len(rows[0]) - 1)], title=title)


def caution(said: str) -> Block:
    """What comes before any instruction that brings a person near the machine."""
    return {"is": "caution", "text": said}


def notes(title: str, items: Sequence[str]) -> list[Block]:
    """A list of remarks; nothing where there are none."""
    return [{"is": "notes", "title": title, "items": list(items)}] if items else []


def facts(rows: Sequence[tuple[str, str]]) -> list[Block]:
    """Names and values beside each other; nothing where there are none."""
    return [{"is": "facts", "rows": [list(row) for row in rows if row[1]]}] if any(value for _, value in rows) else []
