"""How does one drawing come onto a screen in two widths, and onto paper in greys?

::

    Drawing           HTML of both widths, for a page; the style sheet shows the one that fits
    Drawing.ink(470)  an SVG of its own of any width, black and grey, for the typesetter
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Final

from markupsafe import Markup

WIDE, NARROW = 680, 320
"""Widths every drawing is made in for a page [px], so that letters keep their size; paper asks for its own."""

LETTERS: Final = "Rubik"
"""The family of :mod:`chaffinch.paper.letters`, shipped with the program."""

STROKES: Final = f"""
text {{ font-family: {LETTERS}; font-size: 13px; fill: #000; }}
.at-start {{ text-anchor: start; }} .at-middle {{ text-anchor: middle; }} .at-end {{ text-anchor: end; }}
.small {{ font-size: 11px; }} .strong {{ font-weight: 700; }}
.rule {{ stroke: #000; stroke-width: 1.5; }} .hair {{ stroke: #bbb; stroke-width: 1; }}
.limit {{ stroke: #000; stroke-width: 1; stroke-dasharray: 2 4; }}
.notch {{ fill: #fff; stroke: #000; stroke-width: 1.75; }}
.bar {{ fill: #999; stroke: #000; stroke-width: 1; }} .middle {{ stroke: #000; stroke-width: 3; }}
.dot {{ fill: #000; stroke: #fff; stroke-width: 1.5; }} .hollow {{ fill: #fff; stroke: #000; stroke-width: 2; }}
.whisker {{ stroke: #555; stroke-width: 1.25; fill: none; }}
.band {{ fill: url(#hatch); stroke: #999; stroke-width: 0.75; }}
.curve {{ fill: none; stroke: #000; stroke-width: 2.5; }}
.untried {{ stroke-width: 1.25; stroke-dasharray: 3 4; }}
.dashed {{ stroke-width: 1.75; stroke-dasharray: 9 4; }} .dotted {{ stroke-width: 2; stroke-dasharray: 1.5 4; }}
.reach {{ fill: none; }} .tile {{ stroke: #000; stroke-width: 1.25; fill: #fff; }} .plate {{ fill: #fff; }}
.tile-1 {{ fill: url(#few); }} .tile-2 {{ fill: url(#hatch); }} .tile-3 {{ fill: url(#cross); }}
.square {{ stroke: #000; stroke-width: 0.4; }}
.tile-none {{ stroke-dasharray: 4 3; }}
.zone {{ fill: none; stroke: #000; stroke-width: 2; }}
.zone-name {{ font-weight: 700; stroke: #fff; stroke-width: 4; paint-order: stroke; }}
"""
"""Strokes and greys of paper: nothing is told by a hue, and everything stays apart on a copier."""

PATTERNS: Final = (
    '<defs><pattern id="hatch" width="5" height="5" patternUnits="userSpaceOnUse">'
    '<path d="M-1 1L1 -1M0 5L5 0M4 6L6 4" stroke="#777" stroke-width="0.8"/></pattern>'
    '<pattern id="few" width="9" height="9" patternUnits="userSpaceOnUse">'
    '<circle cx="4.5" cy="4.5" r="0.9" fill="#777"/></pattern>'
    '<pattern id="cross" width="5" height="5" patternUnits="userSpaceOnUse">'
    '<path d="M-1 1L1 -1M0 5L5 0M4 6L6 4M-1 4L1 6M0 0L5 5M4 -1L6 1" stroke="#555" stroke-width="0.9"/>'
    "</pattern></defs>"
)

Draw = Callable[[int], tuple[int, list[Markup]]]
"""Width [px] → height [px] and what is drawn."""


class Drawing(Markup):
    """A drawing: by itself the HTML of both widths, ready for a page.

    Attributes
    ----------
    heading, about : str
        For who does not see it.
    draw : callable
        What it is drawn by; see :data:`Draw`.
    """

    heading: str
    about: str
    draw: Draw

    def ink(self, width: int) -> str:
        """An SVG of that width [px] in black and greys, with its strokes inside."""
        height, parts = self.draw(width)
        size = Markup('<svg xmlns="http://www.w3.org/2000/svg" width="{w}" height="{h}" viewBox="0 0 {w} {h}">')
        style = Markup(f"<style>{STROKES}</style>{PATTERNS}")
        return str(size.format(w=width, h=height) + style + Markup("").join(parts) + Markup("</svg>"))

    @property
    def alt(self) -> str:
        """Title and description in one text."""
        return f"{self.heading.rstrip('.')}. {self.about}"


def drawn(draw: Draw, name: str, title: str, about: str) -> Drawing:
    """A drawing in both widths.

    Parameters
    ----------
    draw : callable
        See :data:`Draw`.
    name : str
        Beginning of the ids inside; unique on its page.
    title, about : str
        For who does not see it.
    """
    wide = _svg(WIDE, draw, f"{name}-wide", title, about)
    narrow = _svg(NARROW, draw, f"{name}-narrow", title, about)
    made = Drawing(Markup('<div class="wide">{}</div><div class="narrow">{}</div>').format(wide, narrow))
    made.heading, made.about, made.draw = title, about, draw
    return made


def _svg(width: int, draw: Draw, key: str, title: str, about: str) -> Markup:
    height, parts = draw(width)
    whole = _joined(parts)
    # What holds links is no picture: a reader aloud would not let anybody in.
    role = "group" if "<a " in whole else "img"
    head = Markup(
        '<svg class="drawing" role="{r}" width="{w}" height="{h}" viewBox="0 0 {w} {h}" '
        'aria-labelledby="{k}-title {k}-about"><title id="{k}-title">{t}</title><desc id="{k}-about">{a}</desc>'
    ).format(w=width, h=height, k=key, t=title, a=about, r=role)
    return head + whole + Markup("</svg>")


def _joined(parts: Iterable[Markup]) -> Markup:
    return Markup("").join(parts)
