"""Where on a field was most lost? The squares of a field log as a picture of the land, north up, without any tiles."""

from __future__ import annotations

import math
from bisect import bisect_left
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from markupsafe import Markup

from chaffinch.paper import drawing
from chaffinch.paper.ink import WIDE, Drawing, drawn
from chaffinch.paper.season_map import THIRDS, pattern_key

if TYPE_CHECKING:
    from chaffinch.fieldlog.loss.parts import Cell

MOST_SQUARES: Final = 1600
"""Squares drawn at most, else four become one; own figure: forty by forty stay apart on a phone."""
M_PER_DEG: Final = 6_371_008.8 * math.pi / 180.0
"""Metres in a degree of latitude on a sphere of the earth's mean radius."""
HIGHEST: Final = 0.5
"""Height of the map over its width at most [1]; own figure."""
HIGHEST_NARROW: Final = 1.2
"""The same on a phone [1]; own figure."""
BARS_M: Final = (20, 50, 100, 200, 500, 1000, 2000, 5000)
"""Lengths the scale may have [m]."""


@dataclass(frozen=True, slots=True)
class Squares:
    """The squares of a map on their grid.

    Attributes
    ----------
    side_m : float
    at : mapping of (int, int) to (float, float, int)
        Column from the west and row from the south → area [ha], mean loss [kg/ha], and the third it lies in (1 to 3).
    wide, high : int
        Columns and rows.
    west, south : float
        Corner of the grid [deg].
    step_deg : (float, float)
        Width and height of a square [deg].
    """

    side_m: float
    at: Mapping[tuple[int, int], tuple[float, float, int]]
    wide: int
    high: int
    west: float
    south: float
    step_deg: tuple[float, float]

    @property
    def box(self) -> tuple[float, float, float, float]:
        """West, south, east and north of the grid [deg]."""
        east, north = self.west + self.wide * self.step_deg[0], self.south + self.high * self.step_deg[1]
        return self.west, self.south, east, north

    def third(self, which: int) -> list[tuple[float, float]]:
        """Area and mean loss of the squares of a third."""
        return [(area, loss) for area, loss, level in self.at.values() if level == which]


def squares_of(cells: Sequence[Cell], most: int = MOST_SQUARES) -> Squares | None:
    """The map's squares on a grid, made larger until there are few enough; None without any.

    Equal losses share a third, by their place among all.
    """
    if not cells:
        return None
    west, south = min(one.box[0] for one in cells), min(one.box[1] for one in cells)
    wide, high = cells[0].box[2] - cells[0].box[0], cells[0].box[3] - cells[0].box[1]
    placed = [(round((one.box[0] - west) / wide), round((one.box[1] - south) / high), one) for one in cells]
    step = 1
    while len({(column // step, row // step) for column, row, _ in placed}) > most:
        step += 1
    area: dict[tuple[int, int], float] = {}
    lost: dict[tuple[int, int], float] = {}
    for column, row, one in placed:
        key = (column // step, row // step)
        area[key] = area.get(key, 0.0) + one.area_ha
        lost[key] = lost.get(key, 0.0) + one.area_ha * one.kg_ha
    means = {key: lost[key] / area[key] for key in area if area[key] > 0.0}
    if not means:
        return None
    order = sorted(means.values())
    at = {key: (area[key], v, 1 + THIRDS * bisect_left(order, v) // len(order)) for key, v in sorted(means.items())}
    columns, rows = 1 + max(c for c, _ in at), 1 + max(r for _, r in at)
    return Squares(step * high * M_PER_DEG, at, columns, rows, west, south, (step * wide, step * high))


@dataclass(frozen=True, slots=True)
class Edge:
    """The edges of a zone on a map: its number, its rings as (longitude, latitude), and where the number goes [deg]."""

    number: int
    rings: Sequence[Sequence[tuple[float, float]]]
    at: tuple[float, float]


def log_map(
    found: Squares,
    *,
    title: str,
    about: str,
    name: str,
    spans: Sequence[str],
    scale: str,
    zones: Sequence[Edge] = (),
) -> Drawing:
    """Draw them.

    Parameters
    ----------
    found : Squares
    title, about, name : str
        As for :func:`chaffinch.paper.drawing.ruler`.
    spans : sequence of str
        What the patterns 1, 2 and 3 stand for: below the map.
    scale : str
        Name of the bar, with ``{metres}`` in it.
    zones : sequence of Edge
        Zones drawn over the squares.
    """

    def draw(width: int) -> tuple[int, list[Markup]]:
        highest = HIGHEST if width >= WIDE else HIGHEST_NARROW
        side = min((width - 2.0) / found.wide, highest * width / found.high)
        left, top = (width - side * found.wide) / 2.0, 24.0
        foot = top + side * found.high
        parts = [
            Markup('<path class="square tile-{}" d="{}"/>').format(level, _runs(found, level, left, foot, side))
            for level in range(1, THIRDS + 1)
        ]
        parts += _edges(found, zones, left, foot, side)
        parts += _north(width)
        metres = next((m for m in reversed(BARS_M) if side * m / found.side_m <= 0.4 * width), BARS_M[0])
        parts += _bar(side * metres / found.side_m, foot + 16.0, scale.format(metres=metres))
        parts += pattern_key(spans, width, foot + 46.0)
        return round(foot + 48 + 18 * len(spans)), parts

    return drawn(draw, name, title, about)


def _runs(found: Squares, level: int, left: float, foot: float, side: float) -> str:
    """The squares of one third as one path, neighbours in a row as one box: few bytes, and no seams between them."""
    path = []
    mine = sorted((row, column) for (column, row), (_, _, which) in found.at.items() if which == level)
    k = 0
    while k < len(mine):
        row, first = mine[k]
        last = first
        while k + 1 < len(mine) and mine[k + 1] == (row, last + 1):
            last, k = last + 1, k + 1
        k += 1
        x, y, wide = left + side * first, foot - side * (row + 1), side * (last - first + 1)
        path.append(f"M{x:.1f} {y:.1f}h{wide:.1f}v{side:.1f}h-{wide:.1f}z")
    return "".join(path)


def _edges(found: Squares, zones: Sequence[Edge], left: float, foot: float, side: float) -> list[Markup]:
    """Each zone's edges and its number; the numbers last, so that no edge crosses one."""

    def at(place: tuple[float, float]) -> tuple[float, float]:
        lon, lat = place
        return left + side * (lon - found.west) / found.step_deg[0], foot - side * (lat - found.south) / found.step_deg[
            1
        ]

    edges, names = [], []
    for one in zones:
        path = "".join(
            "M" + "L".join(f"{x:.1f} {y:.1f}" for x, y in (at((lon, lat)) for lon, lat in ring)) + "Z"
            for ring in one.rings
        )
        edges.append(Markup('<path class="zone" d="{}"/>').format(path))
        x, y = at(one.at)
        names.append(
            Markup('<text class="zone-name at-middle" x="{:.1f}" y="{:.1f}">{}</text>').format(x, y + 5.0, one.number)
        )
    return [*edges, *names]


def _north(width: float) -> list[Markup]:
    arrow = Markup('<path class="dot" d="M{:.1f} 3L{:.1f} 17L{:.1f} 13L{:.1f} 17Z"/>')
    return [
        arrow.format(width - 12.0, width - 6.0, width - 12.0, width - 18.0),
        drawing.text_at(width - 24.0, 15.0, "N", "end"),
    ]


def _bar(long: float, y: float, name: str) -> list[Markup]:
    path = Markup('<path class="whisker" d="M1 {:.1f}V{:.1f}H{:.1f}V{:.1f}"/>')
    return [path.format(y - 5.0, y, 1.0 + long, y - 5.0), drawing.text_at(10.0 + long, y + 3.0, name, "start")]
