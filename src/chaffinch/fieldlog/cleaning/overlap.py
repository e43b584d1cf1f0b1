"""How much of a swath had been cut before?

The ground is laid out in squares of a fifth to an eighth of the width. Each record's swath visits some; the first
pass to visit one cut it. A record's overlap is the share of its squares that an earlier pass cut.

A pass visits squares by points half a spacing inside its edges, so that passes that just touch share hardly any. Steps
longer than a square are visited at points between.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Final

import numpy as np

from chaffinch.fieldlog.cleaning.passes import Course
from chaffinch.fieldlog.rows import BoolArray, FloatArray, IntArray

FEWEST, MOST = 5, 8
"""Squares across a swath [1]; own figures: overlap is told in steps of a fifth to an eighth."""
MOST_ALONG: Final = 8
"""Most points along a step [1]."""
OFF_LINE: Final = 0.3819
LEAST_M: Final = 0.25
MOST_SQUARES: Final = 1 << 24
"""Most squares that are laid out [1]; a larger field gets larger ones."""
TILE_BITS: Final = 8
"""Binary digits of the squares along a tile, at least [1]: where fields lie far apart, only tiles that were cut are
laid out; 256 squares are some 400 m. Own figure."""
COARSER: Final = 1.25
"""How much larger squares get where tiles hold too many [1]; own figure."""
_WIDE: Final = 1 << 31  # tiles in a row at most
SOME: Final = 4096
"""Records the usual step is found from, at least [1]."""
BLOCK: Final = 1 << 13
"""Records at a time [1]: what they need stays near the processor."""


@dataclass(frozen=True, slots=True)
class Ground:
    """The squares a field is laid out in.

    Parameters
    ----------
    x0_m, y0_m : float
        Corner.
    side_m : float
        Of a square.
    columns, rows : int
    across, along : int
        Points across a swath, and along a step.
    tiles : int array or None
        Sorted numbers of the tiles that are laid out; None: the whole ground is.
    tile_bits : int
        Binary digits of the squares along a tile.
    """

    x0_m: float
    y0_m: float
    side_m: float
    columns: int
    rows: int
    across: int
    along: int
    tiles: IntArray | None = None
    tile_bits: int = TILE_BITS

    @property
    def size(self) -> int:
        """How many squares there are."""
        return self.columns * self.rows if self.tiles is None else self.tiles.size << (2 * self.tile_bits)

    @classmethod
    def of(
        cls,
        low: tuple[float, float],
        high: tuple[float, float],
        widths: tuple[float, float],
        step_m: float,
        places: Callable[[], Iterable[tuple[FloatArray, FloatArray]]],
    ) -> Ground:
        """Lay out the ground.

        Parameters
        ----------
        low, high : tuple of float
            Least and greatest x and y of the records that cut [m].
        widths : tuple of float
            Usual and greatest width [m].
        step_m : float
            Usual way between records [m].
        places : callable
            Gives x and y of the records that cut [m], in any number of runs: looked at where the ground is too large.
        """
        usual_m, widest_m = widths
        x0, y0 = low[0] - widest_m, low[1] - widest_m
        reach_x, reach_y = high[0] + widest_m - x0, high[1] + widest_m - y0
        finest = max(min(max(step_m, usual_m / MOST), usual_m / FEWEST), LEAST_M)
        margin = int(MOST_ALONG + 2)  # squares around: points between records lie at most a step away

        def laid_out(side: float, tiles: IntArray | None, bits: int) -> Ground:
            return cls(
                # Passes often lie whole squares apart: points must not fall on the lines between squares.
                x0 - OFF_LINE * side - margin * side,
                y0 - OFF_LINE * side - margin * side,
                side,
                int(reach_x / side) + 2 * margin + 3,
                int(reach_y / side) + 2 * margin + 3,
                int(np.ceil(usual_m / side)),
                int(np.clip(np.ceil(step_m / side), 1, MOST_ALONG)),
                tiles,
                bits,
            )

        coarsest = float(np.sqrt(reach_x * reach_y / MOST_SQUARES))
        side = finest
        while side < coarsest:
            reach = 0.5 * widest_m + margin * side
            bits = max(TILE_BITS, int(np.ceil(np.log2(2.0 * reach / side))))
            ground = laid_out(side, None, bits)
            tiles = np.unique(np.concatenate([ground._tiles(x, y, reach) for x, y in places()]))
            if tiles.size << (2 * bits) <= MOST_SQUARES:
                return laid_out(side, tiles, bits)
            side *= COARSER
        return laid_out(max(finest, coarsest), None, TILE_BITS)

    def _tiles(self, x_m: FloatArray, y_m: FloatArray, reach_m: float) -> IntArray:
        """The tiles within reach of places: those of four corners around each, since none is wider than a tile."""
        found = []
        for aside in (-reach_m, reach_m):
            column = ((x_m + aside - self.x0_m) / self.side_m).astype(np.int64) >> self.tile_bits
            for along in (-reach_m, reach_m):
                row = ((y_m + along - self.y0_m) / self.side_m).astype(np.int64) >> self.tile_bits
                found.append(np.unique(row * _WIDE + column))
        return np.unique(np.concatenate(found))

    def squares(
        self, way: Course, mine: IntArray, width_m: FloatArray
    ) -> np.ndarray[tuple[int, ...], np.dtype[np.int32]]:
        """Numbers of the squares that points of each swath lie in, shape (records, points)."""
        found = np.empty((mine.size, self.across * self.along), np.int32)
        for begin in range(0, mine.size, BLOCK):
            part = slice(begin, begin + BLOCK)
            _visited(way, mine[part], width_m, self, found[part])
        return found


def cuts(way: Course, width_m: FloatArray, cutting: BoolArray) -> IntArray:
    """Which of the records that cut have a swath: its width, place and direction known."""
    with np.errstate(invalid="ignore"):
        return np.flatnonzero(cutting & (width_m > 0) & ~np.isnan(way.east) & ~np.isnan(way.x_m))


def overlap_share(way: Course, width_m: FloatArray, cutting: BoolArray, time_s: FloatArray | None = None) -> FloatArray:
    """Share of each swath that an earlier pass had cut [0-1], shape (n,); NaN where the record cuts nothing.

    Parameters
    ----------
    way : Course
    width_m : array
        Width in use [m].
    cutting : bool array
        Records whose grain was cut there and then.
    time_s : array or None
        When each was cut, on one clock; None: in the order they stand in. With two machines in a field their records
        stand one machine after the other, and only a clock tells who came first.
    """
    share = np.full(width_m.size, np.nan)
    mine = cuts(way, width_m, cutting)
    if not mine.size:
        return share
    some = mine[:: max(1, mine.size // SOME)]
    if time_s is not None:
        mine = mine[np.argsort(time_s[mine], kind="stable")]
    x, y, width = way.x_m[mine], way.y_m[mine], width_m[mine]
    low, high = (float(x.min()), float(y.min())), (float(x.max()), float(y.max()))
    widths = (float(np.median(width)), float(width.max()))
    ground = Ground.of(low, high, widths, float(np.median(way_before(way, some))), lambda: [(x, y)])
    squares = ground.squares(way, mine, width_m)
    passes = way.pass_no[mine].astype(np.int32)
    first = np.full(ground.size, -1, np.int32)
    # Written from the last record to the first: of all that visit a square the earliest stands in the end.
    for end in range(mine.size, 0, -BLOCK):
        begin = max(0, end - BLOCK)
        first[squares[begin:end][::-1].reshape(-1)] = np.repeat(passes[begin:end][::-1], squares.shape[1])
    for begin in range(0, mine.size, BLOCK):
        part = slice(begin, begin + BLOCK)
        before = first[squares[part]] != passes[part, None]
        share[mine[part]] = before.mean(axis=1, dtype=np.float32)
    return share


def way_before(way: Course, some: IntArray) -> FloatArray:
    """Way from the record before, 0 for the first of a stretch [m]."""
    before = np.maximum(some - 1, way.first[some])
    return np.hypot(way.x_m[some] - way.x_m[before], way.y_m[some] - way.y_m[before])


def _visited(
    way: Course,
    mine: IntArray,
    width_m: FloatArray,
    ground: Ground,
    out: np.ndarray[tuple[int, ...], np.dtype[np.int32]],
) -> None:
    """Numbers of the squares that points of each swath lie in."""
    side = ground.side_m
    before = np.maximum(mine - 1, way.first[mine])
    x, y = way.x_m[mine], way.y_m[mine]
    # In squares from the corner: single precision holds a hundredth of one over 100,000.
    column, row = (x - ground.x0_m) / side, (y - ground.y0_m) / side
    if ground.tiles is None:
        column, row = column.astype(np.float32), row.astype(np.float32)
    back_x = ((x - way.x_m[before]) / side).astype(np.float32)
    back_y = ((y - way.y_m[before]) / side).astype(np.float32)
    # A step too long to have been driven is not filled up.
    far = ~(np.hypot(back_x, back_y) <= MOST_ALONG)
    back_x[far] = back_y[far] = 0.0
    half = width_m[mine] / side
    aside_x, aside_y = (-way.north[mine] * half).astype(np.float32), (way.east[mine] * half).astype(np.float32)
    for a in range(ground.along):
        for k in range(ground.across):
            aside, back = np.float32((k + 0.5) / ground.across - 0.5), np.float32(a / ground.along)
            at_row = (row + aside * aside_y - back * back_y).astype(np.int32)
            at_column = (column + aside * aside_x - back * back_x).astype(np.int32)
            out[:, a * ground.across + k] = _numbered(ground, at_row, at_column)


def _numbered(
    ground: Ground,
    row: np.ndarray[tuple[int, ...], np.dtype[np.int32]],
    column: np.ndarray[tuple[int, ...], np.dtype[np.int32]],
) -> np.ndarray[tuple[int, ...], np.dtype[np.int32]]:
    """Numbers of squares by row and column."""
    if ground.tiles is None:
        row *= ground.columns
        row += column
        return row
    bits, inside = ground.tile_bits, (1 << ground.tile_bits) - 1
    tile = np.searchsorted(ground.tiles, (row >> bits).astype(np.int64) * _WIDE + (column >> bits))
    number: np.ndarray[tuple[int, ...], np.dtype[np.int32]] = (
        (tile << (2 * bits)) + ((row & inside) << bits) + (column & inside)
    ).astype(np.int32)
    return number
