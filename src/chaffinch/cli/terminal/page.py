"""What the terminal can show: width, colour, characters; and how lines are laid out on it."""

from __future__ import annotations

import os
import re
import shutil
import sys
import textwrap
from collections.abc import Sequence
from dataclasses import dataclass

import click

_OBEYED = re.compile("[\x00-\x08\x0b-\x1a\x1c-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069]|\x1b(?!\\[[0-9;]*m)")
"""Control characters but tab and line break, what turns the direction of writing, and the beginning of any command to
a terminal but that of colour and weight."""
WIDEST = 80
NARROWEST = 40


@dataclass(frozen=True, slots=True)
class Page:
    """A sheet of terminal.

    Attributes
    ----------
    width : int
        Columns used, 40 to 80.
    colour : bool
        Bold and dim may be used; off with NO_COLOR, when piped, or on a dumb terminal.
    fine : bool
        The output encoding has the box-drawing characters.
    """

    width: int
    colour: bool
    fine: bool

    @staticmethod
    def here() -> Page:
        """Look at the terminal we are on. NO_COLOR: https://no-color.org."""
        columns = shutil.get_terminal_size((WIDEST, 24)).columns
        encoding = (sys.stdout.encoding or "ascii").lower().replace("-", "")
        colour = sys.stdout.isatty() and not os.environ.get("NO_COLOR") and os.environ.get("TERM") != "dumb"
        return Page(max(NARROWEST, min(WIDEST, columns)), colour, encoding.startswith("utf"))

    def strong(self, text: str) -> str:
        """Text that carries the message."""
        return click.style(text, bold=True) if self.colour else text

    def soft(self, text: str) -> str:
        """Text that may be skipped."""
        return click.style(text, dim=True) if self.colour else text

    def plum(self, text: str) -> str:
        """The one accent."""
        return click.style(text, fg=(142, 69, 133)) if self.colour else text

    def say(self, text: str = "") -> None:
        """Print one line, in plain characters where the terminal has no others."""
        text = harmless(text)
        click.echo(text if self.fine else to_ascii(text), color=self.colour)

    def paragraph(self, text: str, *, indent: int = 2, bullet: str = "", emphasis: str = "") -> None:
        """Print wrapped text; ``emphasis`` is a piece of it to set strong where it stands in one line."""
        first = " " * indent + bullet
        for line in textwrap.wrap(
            text, self.width, initial_indent=first, subsequent_indent=" " * len(first), break_long_words=True
        ):
            self.say(line.replace(emphasis, self.strong(emphasis), 1) if emphasis else line)

    def two_ends(self, left: str, right: str) -> None:
        """Print ``left`` and ``right`` at the two margins, on two lines when they do not fit on one."""
        gap = self.width - len(left) - len(right)
        if right and gap >= 2:
            self.say(self.strong(left) + " " * gap + self.soft(right))
            return
        for line in textwrap.wrap(left, self.width):
            self.say(self.strong(line))
        for line in textwrap.wrap(right, self.width):
            self.say(self.soft(line))

    def figure(self, figure: str, rest: str) -> None:
        """Print the figure a page is about, and beside it, or below where there is no room, what it is."""
        strong = f"  {self.plum(self.strong(figure))}"
        if len(figure) + len(rest) + 4 <= self.width:
            self.say(f"{strong}  {rest}")
            return
        self.say(strong)
        self.paragraph(rest)

    def print_table(
        self, rows: Sequence[Sequence[str]], *, left: int = 1, gap: int = 2, may_go: Sequence[int] = ()
    ) -> None:
        """Print a table with its head, indented; where it is wider than the page, each row under its name.

        Parameters
        ----------
        rows : sequence of sequence of str
            The head first.
        left : int
            Columns set to the left; a row's name when it is stacked.
        gap : int
            Blanks between columns.
        may_go : sequence of int
            Columns that are said elsewhere too: left out before a table is stacked.
        """
        for shown in (rows, [[c for k, c in enumerate(row) if k not in may_go] for row in rows]):
            head, *lines = table(shown, left=left, gap=gap)
            if max(map(len, (head, *lines))) + 2 <= self.width:
                self.say("  " + self.soft(head))
                for line in lines:
                    self.say("  " + line)
                return
        names = rows[0]
        for row in rows[1:]:
            self.paragraph("  ".join(cell for cell in row[:left] if cell))
            pairs = zip(names[left:], row[left:], strict=True)
            told = [f"{name} {cell}".strip() for name, cell in pairs if cell]
            self.paragraph(" · ".join(told), indent=4)


def table(rows: Sequence[Sequence[str]], *, left: int = 1, gap: int = 3) -> list[str]:
    """Lay out rows in columns: the first ``left`` columns to the left, the others to the right."""
    widths = [max(len(row[i]) for row in rows) for i in range(len(rows[0]))]
    return [
        (" " * gap)
        .join(cell.ljust(widths[i]) if i < left else cell.rjust(widths[i]) for i, cell in enumerate(row))
        .rstrip()
        for row in rows
    ]


_ASCII = str.maketrans(
    {
        "─": "-", "┬": "+", "▽": "v", "━": "=", "╋": "|", "▸": ">", "▲": "^", "▼": "v", "◆": "?", "–": "-", "−": "-",
        "±": "+-", "²": "2", "³": "3", "·": "-", "×": "x", "°": "deg", "€": "EUR", "£": "GBP", "…": "...", "≤": "<=",
        "÷": "/", "░": ".", "│": "|", "┤": "+", "┼": "+", "●": "o", "◂": "<", "■": "#", "’": "'", "\u202f": " ",
    }
)  # fmt: skip


def harmless(text: str) -> str:
    """Leave out what a terminal obeys and nobody sees: a name out of a file may ring, move the cursor or turn a line.

    Weight and colour (our own) stay.
    """
    return _OBEYED.sub("", text)


def to_ascii(text: str) -> str:
    """Replace the characters we use beyond ASCII by plain ones; anything left over becomes ``?``."""
    return text.translate(_ASCII).encode("ascii", "replace").decode("ascii")
