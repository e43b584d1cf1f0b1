"""Which records of a field on disk lie far from its mean, or far from their neighbours? Judged over all its pieces.

Each piece is a folder with the arrays ``flags``, ``yield_t_ha``, ``way.x_m`` and ``way.y_m`` and the columns.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Final

import numpy as np

from chaffinch.fieldlog.cleaning.clean import RANGES, Flag, far_from_cell, poor
from chaffinch.fieldlog.on_disk.lying import get, get_rows, put
from chaffinch.fieldlog.rows import BoolArray, FloatArray, IntArray, Part
from chaffinch.fieldlog.settings import Settings

WIDEST: Final = 1 << 31
"""Cells in a row at most [1]."""
_WAITING: Final = np.dtype([("cell", np.int64), ("crop", np.float64), ("piece", np.int32), ("at", np.int64)])


def flag_range(places: Sequence[Path], parts: tuple[Part, ...], settings: Settings) -> None:
    """What lies far from the mean of the field, found twice, and yield or moisture no grain has."""
    limits: list[tuple[float, float]] = []

    def judged() -> Iterator[FloatArray]:
        for place in places:
            good = (get(place, "flags") == 0) & ~_beyond(place, parts, limits, settings)
            yield get(place, "yield_t_ha")[good]

    for _ in range(RANGES):
        count, total = 0, 0.0
        for crop in judged():
            count, total = count + crop.size, total + float(crop.sum())
        if not count:
            break
        mean = total / count
        squares = sum(float(np.square(crop - mean).sum()) for crop in judged())
        limits.append((mean, settings.yield_sd * float(np.sqrt(squares / count))))
    for place in places:
        flags = get(place, "flags").copy()
        flags[_beyond(place, parts, limits, settings)] |= np.uint16(Flag.RANGE)
        put(place, flags=flags)


def _beyond(
    place: Path, parts: tuple[Part, ...], limits: Sequence[tuple[float, float]], settings: Settings
) -> BoolArray:
    crop = get(place, "yield_t_ha")
    bad = poor(get_rows(place, parts, {}), crop, settings)
    for mean, most in limits:
        with np.errstate(invalid="ignore"):
            bad |= np.abs(crop - mean) > most
    return bad


def flag_local(places: Sequence[Path], settings: Settings, *, width_m: float, at_once: int) -> None:
    """Records far from their cell of some swaths: cells lie in rows, and rows wait on disk, a few to a file.

    Parameters
    ----------
    places : sequence of Path
    settings : Settings
    width_m : float
        Usual width of the field [m].
    at_once : int
        Records that are looked at together, at least those of one row of cells [1].
    """
    side = settings.local_swaths * width_m
    lows = [(float(x.min()), float(y.min())) for x, y in (_at(place)[1:] for place in places) if x.size]
    if not np.isfinite(side) or not lows:
        return
    low = (min(x for x, _ in lows), min(y for _, y in lows))
    ends = np.array([last for _, last in _bands(places, low, side, at_once)])
    waiting = [places[0] / f"band-{number:05d}.local" for number in range(ends.size)]
    for number, place in enumerate(places):
        at, cell = _cells(place, low, side)
        band = np.searchsorted(ends, cell // WIDEST)
        crop = get(place, "yield_t_ha")
        for own in np.unique(band).tolist():
            mine = band == own
            told = np.empty(int(mine.sum()), _WAITING)
            told["cell"], told["crop"], told["piece"], told["at"] = cell[mine], crop[at[mine]], number, at[mine]
            with waiting[own].open("ab") as file:
                file.write(told.data)
    taken: list[list[IntArray]] = [[np.zeros(0, np.int64)] for _ in places]
    for path in waiting:
        held = np.fromfile(path, _WAITING)
        path.unlink()
        out = held[far_from_cell(held["cell"], held["crop"], settings)]
        for number in np.unique(out["piece"]).tolist():
            taken[number].append(out["at"][out["piece"] == number])
    # Only now: a later row must be judged by what the filters before left, and not by what an earlier row took.
    for place, indices in zip(places, taken, strict=True):
        flags = get(place, "flags").copy()
        flags[np.concatenate(indices)] |= np.uint16(Flag.LOCAL)
        put(place, flags=flags)


def _bands(places: Sequence[Path], low: tuple[float, float], side: float, at_once: int) -> list[tuple[int, int]]:
    """First and last of the rows of cells that are looked at together."""
    counts: dict[int, int] = {}
    for place in places:
        rows, number = np.unique(_cells(place, low, side)[1] // WIDEST, return_counts=True)
        for row, size in zip(rows.tolist(), number.tolist(), strict=True):
            counts[row] = counts.get(row, 0) + size
    bands: list[list[int]] = [[]]
    held = 0
    for row in sorted(counts):
        if held and held + counts[row] > at_once:
            bands.append([])
            held = 0
        bands[-1].append(row)
        held += counts[row]
    return [(band[0], band[-1]) for band in bands]


def _at(place: Path) -> tuple[IntArray, FloatArray, FloatArray]:
    """Records that stand in a cell, and where."""
    x, y = get(place, "way.x_m"), get(place, "way.y_m")
    at = np.flatnonzero((get(place, "flags") == 0) & ~np.isnan(get(place, "yield_t_ha")) & ~np.isnan(x))
    return at, x[at], y[at]


def _cells(place: Path, low: tuple[float, float], side: float) -> tuple[IntArray, IntArray]:
    """Records that stand in a cell, and which: rows of cells follow one another."""
    at, x, y = _at(place)
    column = np.floor((x - low[0]) / side).astype(np.int64)
    return at, np.floor((y - low[1]) / side).astype(np.int64) * WIDEST + column
