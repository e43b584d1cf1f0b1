"""Where in a season's area was most lost? A map of its fields by their areas alone, each with its loss.

No field has a shape in the book, so this is no map of the land: each field is a tile as large as its share of the
area, in the order given, and its pattern tells in which third of the fields its loss lies.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final

from markupsafe import Markup, escape

from chaffinch.engine.estimate import Range
from chaffinch.paper.drawing import Spot
from chaffinch.paper.ink import Drawing, drawn

HIGH: Final = 0.46
"""Height of the map over its width [1]; own figure."""
LETTER: Final = 8.8
"""Width of a letter of 13 px in bold on the safe side [px]."""
THIRDS: Final = 3


@dataclass(frozen=True, slots=True)
class Tile:
    """One field of a map.

    Attributes
    ----------
    number : str
        By which the table beside the map names it.
    name : str
    area_ha : float
        Above 0.
    loss : Range or None
        In the map's unit; None where nothing was measured.
    said : str
        The loss in words; what is said where there is none.
    spot : Spot or None
        Where it leads.
    """

    number: str
    name: str
    area_ha: float
    loss: Range | None
    said: str
    spot: Spot | None = None


@dataclass(frozen=True, slots=True)
class Box:
    """A rectangle [px]."""

    x: float
    y: float
    width: float
    height: float


def season_map(tiles: Sequence[Tile], unit: str, *, title: str, about: str, name: str, spans: Sequence[str]) -> Drawing:
    """Draw the fields of a season as tiles.

    Parameters
    ----------
    tiles : sequence of Tile
        At least one.
    unit : str
        Of the losses.
    title, about, name : str
        As for :func:`chaffinch.paper.drawing.ruler`.
    spans : sequence of str
        What the patterns 1, 2 and 3 stand for, and what a tile without one: below the map.
    """
    levels = thirds([one.loss for one in tiles])

    def draw(width: int) -> tuple[int, list[Markup]]:
        high = width * HIGH
        boxes = treemap([one.area_ha for one in tiles], Box(1.0, 1.0, width - 2.0, high))
        parts = []
        for one, box, level in zip(tiles, boxes, levels, strict=True):
            tile = _tile(one, box, level, unit)
            parts += tile if one.spot is None else [_leading(one.spot, tile, box)]
        parts += pattern_key(spans, width, high + 12.0)
        return round(high + 14 + 18 * len(spans)), parts

    return drawn(draw, name, title, about)


def thirds(losses: Sequence[Range | None]) -> list[int]:
    """For each loss 1, 2 or 3 by its place among the middles; 0 without one. Equal middles share a third."""
    known = sorted(r.median for r in losses if r is not None)
    return [0 if r is None else 1 + THIRDS * known.index(r.median) // len(known) for r in losses]


def treemap(areas: Sequence[float], box: Box) -> list[Box]:
    """Tiles for areas, in their order, as square as they come: rows along the shorter side.

    After the squarified treemap of Bruls, Huizing and van Wijk (2000), from memory, without its sorting.
    """
    whole = sum(areas)
    left = [area / whole * box.width * box.height for area in areas]
    found: list[Box] = []
    while left:
        side = min(box.width, box.height)
        count = 1
        while count < len(left) and _worst(left[: count + 1], side) <= _worst(left[:count], side):
            count += 1
        row, left = left[:count], left[count:]
        thick = sum(row) / side
        at = 0.0
        for area in row:
            long = area / thick
            found.append(
                Box(box.x, box.y + at, thick, long) if box.width >= box.height else Box(box.x + at, box.y, long, thick)
            )
            at += long
        box = (
            Box(box.x + thick, box.y, box.width - thick, box.height)
            if box.width >= box.height
            else Box(box.x, box.y + thick, box.width, box.height - thick)
        )
    return found


def _worst(row: Sequence[float], side: float) -> float:
    """The greatest ratio of long to short side among the tiles of a row along a side."""
    thick = sum(row) / side
    return max(max(thick * thick / area, area / (thick * thick)) for area in row)


def _tile(one: Tile, box: Box, level: int, unit: str) -> list[Markup]:
    kind = f"tile-{level}" if level else "tile-none"
    parts = [_rect(f"tile {kind}", box)]
    lines = _fitting(one, box, unit)
    if not lines:
        return parts
    wide = max(len(line) for line in lines) * LETTER
    plate = Box(box.x + 4, box.y + 4, min(box.width - 8, wide + 8), 17.0 * len(lines) + 3)
    parts.append(_rect("plate", plate))
    for row, line in enumerate(lines):
        strong = " strong" if row == 0 else ""
        parts.append(
            Markup('<text class="at-start{}" x="{}" y="{}">{}</text>').format(
                strong, f"{box.x + 8:.1f}", f"{box.y + 18 + 17 * row:.1f}", escape(line)
            )
        )
    return parts


def _leading(spot: Spot, parts: Iterable[Markup], box: Box) -> Markup:
    """A tile that leads somewhere, with a name of its own; all of it is its reach."""
    whole = Markup('<a class="spot" href="{}" aria-label="{}">{}{}</a>')
    return whole.format(spot.path, spot.said, Markup("").join(parts), _rect("reach whole", box))


def _fitting(one: Tile, box: Box, unit: str) -> list[str]:
    """The lines a tile has room for: number and name, the loss; the number alone; nothing."""
    room, rows = int((box.width - 14) / LETTER), int((box.height - 8) / 17)
    if room < len(one.number) or rows < 1:
        return []
    named = f"{one.number} {one.name}"
    first = (
        named if len(named) <= room else f"{named[: room - 1].rstrip()}…" if room >= len(one.number) + 5 else one.number
    )
    loss = next((text for text in (f"{one.said} {unit}" if one.loss else one.said, one.said) if len(text) <= room), "")
    return [first, loss] if loss and rows > 1 else [first]


def pattern_key(spans: Iterable[str], width: int, y: float) -> list[Markup]:
    """What the patterns stand for, a line each from ``y`` down: 1, 2, 3, and a fourth for none."""
    parts = []
    for row, span in enumerate(spans):
        level = (row + 1) % (THIRDS + 1)
        kind = f"tile-{level}" if level else "tile-none"
        parts.append(_rect(f"tile {kind}", Box(1.0, y + 18 * row, 26.0, 13.0)))
        line = span if len(span) * LETTER < width - 36 else span[: int((width - 44) / LETTER)] + "…"
        parts.append(
            Markup('<text class="at-start" x="36" y="{}">{}</text>').format(f"{y + 11 + 18 * row:.1f}", escape(line))
        )
    return parts


def _rect(kind: str, box: Box) -> Markup:
    return Markup('<rect class="{}" x="{}" y="{}" width="{}" height="{}"/>').format(
        kind, f"{box.x:.1f}", f"{box.y:.1f}", f"{max(0.5, box.width):.1f}", f"{max(0.5, box.height):.1f}"
    )
