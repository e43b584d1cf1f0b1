"""Where in a field, when and how fast was most lost? Classes, zones and squares, added up over the pieces of a log."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Final

import numpy as np

from chaffinch.fieldlog.cleaning.clean import Cleaned
from chaffinch.fieldlog.loss.whole_field import PLACES, FieldLoss, Usage, bin_places
from chaffinch.fieldlog.plane import M_PER_DEG, middle, to_plane
from chaffinch.fieldlog.rows import BoolArray, FloatArray, IntArray

WIDEST: Final = 1 << 31
"""Squares in a row of the map at most [1]: more than there are around the earth."""


class GroupTally:
    """Area of each group of records, like zones, in each bin of load and speed: of one machine.

    Parameters
    ----------
    groups : int
        How many there are.
    """

    def __init__(self, groups: int) -> None:
        self.groups = groups
        self.cut_ha = np.zeros(groups)
        self.areas_ha = [np.zeros((groups, PLACES)) for _ in range(2)]

    def add(self, use: Usage, loss: FieldLoss, group: IntArray) -> None:
        """Count a piece in.

        Parameters
        ----------
        use, loss
            From :func:`chaffinch.fieldlog.loss.whole_field.usage` and
            :func:`chaffinch.fieldlog.loss.whole_field.field_loss`.
        group : int array, shape (records,)
            Group of each record, from 0; -1 for one in none.
        """
        inside = group >= 0
        self.cut_ha += np.bincount(group[inside], use.cut_area_ha[inside], self.groups)
        for k, values in enumerate((loss.load_of(use), use.speed_kmh)):
            good, place = bin_places(values, use.area_ha)
            mine = inside[good]
            at = group[good][mine] * PLACES + place[mine]
            areas = np.bincount(at, use.area_ha[good][mine], self.groups * PLACES)
            self.areas_ha[k] += areas.reshape(self.groups, PLACES)


def losses_of_groups(machines: Sequence[tuple[GroupTally, FieldLoss]]) -> list[tuple[float, float, FloatArray]]:
    """What parts of a field lost, all machines together.

    Parameters
    ----------
    machines : sequence of (GroupTally, FieldLoss)
        Of the same groups; rows of the draws are the same worlds.

    Returns
    -------
    list of (cut_ha, known_ha, draws of shape (n,))
        Area cut, the part of it whose records count, and draws of the loss [kg]: as for the whole field, records that
        do not count are taken to have lost like those of the same part that do. Draws are NaN where none counts.
    """
    groups = machines[0][0].groups
    cut = np.sum([one.cut_ha for one, _ in machines], axis=0)
    total = np.zeros((groups, max(loss.machine_kg.size for _, loss in machines)))
    known = np.zeros(groups)
    for which in range(2):
        draws = np.zeros(total.shape)
        known = np.sum([one.areas_ha[which].sum(axis=1) for one, _ in machines], axis=0)
        for one, loss in machines:
            bins = (loss.by_load, loss.by_speed)[which]
            if bins is not None:
                draws += one.areas_ha[which][:, bins.place] @ bins.kg_ha.T
        with np.errstate(invalid="ignore", divide="ignore"):
            total += np.where(known > 0, cut / known, np.nan)[:, None] * draws
    return [(float(cut[k]), float(known[k]), total[k]) for k in range(groups)]


def of_groups(use: Usage, loss: FieldLoss, group: IntArray, groups: int) -> list[tuple[float, float, FloatArray]]:
    """What parts of a field held as a whole lost; see :class:`GroupTally` and :func:`losses_of_groups`."""
    tally = GroupTally(groups)
    tally.add(use, loss, group)
    return losses_of_groups([(tally, loss)])


@dataclass(frozen=True, slots=True)
class ClassLoss:
    """Loss of one class of records.

    Parameters
    ----------
    low : float
        Where the class begins: speed [km/h], or hour in UTC seconds.
    area_ha : float
    kg_ha : float
        Mean over the draws.
    """

    low: float
    area_ha: float
    kg_ha: float


@dataclass(slots=True)
class ClassTally:
    """Area [ha] and loss [kg] of classes ``width`` wide of any quantity of the records."""

    width: float
    sums: dict[int, tuple[float, float]] = field(default_factory=dict)

    def add(self, values: FloatArray, area_ha: FloatArray, mean_kg_ha: FloatArray) -> None:
        """Count records in, those with a loss and a value."""
        good = ~np.isnan(mean_kg_ha) & ~np.isnan(values)
        places, member = np.unique(np.floor(values[good] / self.width).astype(np.int64), return_inverse=True)
        area = np.bincount(member, area_ha[good], places.size)
        lost = np.bincount(member, area_ha[good] * mean_kg_ha[good], places.size)
        for place, a, kg in zip(places.tolist(), area.tolist(), lost.tolist(), strict=True):
            before = self.sums.get(place, (0.0, 0.0))
            self.sums[place] = (before[0] + a, before[1] + kg)

    def found(self) -> tuple[ClassLoss, ...]:
        """The classes, those with area only."""
        rows = ((place, *self.sums[place]) for place in sorted(self.sums))
        return tuple(ClassLoss(place * self.width, area, kg / area) for place, area, kg in rows if area > 0.0)


def by_class(use: Usage, loss: FieldLoss, values: FloatArray, width: float) -> tuple[ClassLoss, ...]:
    """Area and mean loss of classes of a field held as a whole."""
    tally = ClassTally(width)
    tally.add(values, use.area_ha, loss.mean_of(use))
    return tally.found()


@dataclass(frozen=True, slots=True)
class Cell:
    """A square of the map: its corners in degrees (west, south, east, north), area cut [ha] and mean loss [kg/ha]."""

    box: tuple[float, float, float, float]
    area_ha: float
    kg_ha: float


class CellTally:
    """Squares around a middle, with what was lost in them; 24 bytes for each, however many pieces there are.

    Parameters
    ----------
    side_m : float
    middle_deg : tuple of float
        Longitude and latitude.
    """

    def __init__(self, side_m: float, middle_deg: tuple[float, float]) -> None:
        self.side_m, self.middle_deg = side_m, middle_deg
        self._sums = [(np.zeros(0, np.int64), np.zeros(0), np.zeros(0))]

    def add(self, cleaned: Cleaned, area_ha: FloatArray, mean_kg_ha: FloatArray) -> None:
        """Count records in, those with a loss and a position."""
        lon, lat = cleaned.rows.column("lon_deg"), cleaned.rows.column("lat_deg")
        good: BoolArray = ~np.isnan(mean_kg_ha) & ~np.isnan(lon) & ~np.isnan(lat)
        x, y = to_plane(lon[good], lat[good], self.middle_deg)
        column, row = np.floor(x / self.side_m).astype(np.int64), np.floor(y / self.side_m).astype(np.int64)
        area = area_ha[good]
        self._sums.append(_together(row * WIDEST + column + WIDEST // 2, area, area * mean_kg_ha[good]))
        # Put together when as many wait as there are: each square is then moved but a few times.
        if sum(names.size for names, _, _ in self._sums[1:]) >= self._sums[0][0].size:
            self._sums = [self._all()]

    def _all(self) -> tuple[IntArray, FloatArray, FloatArray]:
        names, area, lost = zip(*self._sums, strict=True)
        return _together(np.concatenate(names), np.concatenate(area), np.concatenate(lost))

    def found(self) -> list[Cell]:
        """The squares, row by row from the south."""
        lon0, lat0 = self.middle_deg
        # Metres back to degrees, by the middle the plane was laid around.
        one_x, one_y = 1.0 / (M_PER_DEG * float(np.cos(np.radians(lat0)))), 1.0 / M_PER_DEG
        made = []
        for name, area, kg in zip(*(values.tolist() for values in self._all()), strict=True):
            west, south = (name % WIDEST - WIDEST // 2) * self.side_m, (name // WIDEST) * self.side_m
            box = (
                lon0 + west * one_x,
                lat0 + south * one_y,
                lon0 + (west + self.side_m) * one_x,
                lat0 + (south + self.side_m) * one_y,
            )
            made.append(Cell(box, area, kg / area))
        return made


def _together(names: IntArray, area: FloatArray, lost: FloatArray) -> tuple[IntArray, FloatArray, FloatArray]:
    """Sums of what has the same name, by name."""
    different, member = np.unique(names, return_inverse=True)
    areas: FloatArray = np.bincount(member, area, different.size).astype(np.float64)
    losses: FloatArray = np.bincount(member, lost, different.size).astype(np.float64)
    return different.astype(np.int64), areas, losses


def cells(cleaned: Cleaned, use: Usage, loss: FieldLoss, side_m: float) -> list[Cell]:
    """The map of a field held as a whole."""
    tally = CellTally(side_m, middle(cleaned.rows.column("lon_deg"), cleaned.rows.column("lat_deg")))
    tally.add(cleaned, use.area_ha, loss.mean_of(use))
    return tally.found()
