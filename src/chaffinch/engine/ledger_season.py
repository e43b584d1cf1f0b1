"""What did a season lose, and on how much of its area is that known?

Sums over fields are sums of rows: an error drawn once for a key is the same in row i of every field, so shared errors
stay shared and independent ones average out. Area without a check is stated, never filled in silently. A second answer
for the whole area draws the fields not measured from the population of measured fields of their crop; that they are
like those is an assumption, and it is called one.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from chaffinch.engine.domain import positive
from chaffinch.engine.estimate import Range
from chaffinch.engine.evidence import SOURCES
from chaffinch.engine.ledger import JUDGED, KG_PER_T, FieldEntry, FieldLoss, checked_area_ha, field_loss, interval
from chaffinch.engine.ledger_shared import DRAWS, SharedKey, said, stream
from chaffinch.errors import InputError

FloatArray = NDArray[np.float64]

FIELD_SD: Final = 0.5
"""Median of ω, the sd of ln(mean loss) between fields of one crop [1]; own figure, no source."""
FIELD_SD_SPREAD: Final = 0.5
"""Sd of ln ω [1]; own figure."""
_OMEGA_Z: Final[FloatArray] = np.linspace(-3.0, 3.0, 25)


@dataclass(frozen=True, slots=True)
class AreaSum:
    """A loss summed over an area.

    Attributes
    ----------
    area_ha : float
        Area it was measured on [ha].
    kg, kg_ha : Range
        Sum [kg] and mean [kg/ha] over that area.
    money : Range or None
        At the price of each field's own day; None where no field of it has a price.
    priced_ha : float
        Area the money stands for [ha].
    """

    area_ha: float
    kg: Range
    kg_ha: Range
    money: Range | None
    priced_ha: float


@dataclass(frozen=True, slots=True)
class CropLoss:
    """One crop, or the whole season.

    Attributes
    ----------
    area_ha : float
        All fields [ha].
    unchecked_ha, unchecked_pct : float
        Area of fields without any check [ha], and its share of the area [%].
    unchecked : tuple of str
        Names of those fields.
    sources : mapping of str to AreaSum
        By source, each over the fields in which it was seen.
    judged : AreaSum or None
        Header, machine and leak as far as seen, over the fields in which any of them was.
    assumed : AreaSum or None
        Judged loss over all area for which it can be said, with sources not seen in a field drawn from the fields of
        its crop in which they were: an assumption. None where nothing was measured.
    not_assumed : tuple of (str, str)
        Fields and the sources (header, machine) that no field of their crop has measured: not in ``assumed``.
    """

    area_ha: float
    unchecked_ha: float
    unchecked_pct: float
    unchecked: tuple[str, ...]
    sources: Mapping[str, AreaSum]
    judged: AreaSum | None
    assumed: AreaSum | None
    not_assumed: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class SeasonLoss:
    """A season: the whole, by crop, and by field."""

    whole: CropLoss
    crops: Mapping[str, CropLoss]
    fields: Mapping[str, FieldLoss]


def season_loss(entries: Sequence[FieldEntry], *, seed: int) -> SeasonLoss:
    """Sum up a season.

    Parameters
    ----------
    entries : sequence of FieldEntry
        At least one; each name once.
    seed : int
        As for the fields: same seed, same figures, and the same as :func:`chaffinch.engine.ledger.field_loss` gives.

    Raises
    ------
    InputError
        Without fields, for a name that comes twice, for a shared error with two standard deviations, and as
        :func:`chaffinch.engine.ledger.field_loss`.
    """
    if not entries:
        raise InputError("fields", 0, "there is none to sum up", "give at least one field")
    # Sums of floats depend on their order; the order of the fields must not show.
    entries = sorted(entries, key=lambda entry: entry.name)
    for entry, following in itertools.pairwise(entries):
        if entry.name == following.name:
            raise InputError("field", entry.name, "is given twice", "give each field once")
    for entry in entries:
        checked_area_ha(entry)
    _one_sd_each(entries)
    found = {entry.name: field_loss(entry, seed=seed) for entry in entries if entry.checks}
    rows, gaps = _filled(entries, found, seed)
    crops = sorted({entry.crop for entry in entries})
    by_crop = {crop: _sum([e for e in entries if e.crop == crop], found, rows, gaps) for crop in crops}
    return SeasonLoss(_sum(entries, found, rows, gaps), by_crop, found)


def _one_sd_each(entries: Sequence[FieldEntry]) -> None:
    known: dict[SharedKey, float] = {}
    for entry in entries:
        for check in entry.checks:
            for keys in check.shared.values():
                for key, sd in keys.items():
                    if known.setdefault(key, sd) != sd:
                        raise InputError(
                            f"shared error {said(key)}",
                            sorted((known[key], sd)),
                            "has two standard deviations",
                            "give one, or two keys",
                        )


def _filled(
    entries: Sequence[FieldEntry], found: Mapping[str, FieldLoss], seed: int
) -> tuple[dict[str, dict[str, FloatArray]], list[tuple[str, str]]]:
    """Rows by field and judged source, those not seen drawn from the crop's population; and what could not be."""
    rows: dict[str, dict[str, FloatArray]] = {}
    gaps: list[tuple[str, str]] = []
    for entry in entries:
        own = found[entry.name].draws if entry.name in found else {}
        rows[entry.name] = {s: own[s] for s in JUDGED if s in own}
        # A leak is looked for where one is suspected: a field without a leak catch is not given one.
        for source in ("header", "machine"):
            if source in own:
                continue
            like = [
                (other, found[other.name].draws[source])
                for other in entries
                if other.crop == entry.crop and other.name in found and source in found[other.name].draws
            ]
            if like:
                rows[entry.name][source] = _like_the_others(entry, source, like, seed)
            else:
                gaps.append((entry.name, source))
    return rows, gaps


def _like_the_others(
    entry: FieldEntry, source: str, like: Sequence[tuple[FieldEntry, FloatArray]], seed: int
) -> FloatArray:
    """Draw a field from the population of fields measured: ln mean ~ N(M, ω²), row by row.

    M has the field's own prior and ω its own; both are drawn given the measured fields' values in the same row, so
    shared errors carry over. Each row takes those values as exact, which leaves their error in ω: a little too wide.
    """
    prior = entry.prior(source)
    centre = math.log(positive("prior median", prior.median_kg_ha))
    values = np.log(np.stack([rows for _, rows in like], axis=1))
    number, mean = values.shape[1], values.mean(axis=1)
    squares = np.square(values - mean[:, None]).sum(axis=1)
    ln_omega = math.log(FIELD_SD) + FIELD_SD_SPREAD * _OMEGA_Z
    omega2 = np.exp(2.0 * ln_omega)
    # M integrated out: mean ~ N(centre, sd² + ω²/n), squares ~ ω² χ²(n − 1).
    wide = prior.sd_log**2 + omega2 / number
    log_p = (
        -0.5 * np.square(_OMEGA_Z)
        - (number - 1) * ln_omega
        - 0.5 * squares[:, None] / omega2
        - 0.5 * np.log(wide)
        - 0.5 * np.square(mean - centre)[:, None] / wide
    )
    rng = stream(seed, "population", entry.crop, source)
    p = np.exp(log_p - log_p.max(axis=1, keepdims=True))
    cumulative = np.cumsum(p, axis=1)
    picked = (cumulative < (rng.random(DRAWS) * cumulative[:, -1])[:, None]).sum(axis=1)
    omega = np.sqrt(omega2[np.minimum(picked, omega2.size - 1)])
    precision = 1.0 / prior.sd_log**2 + number / np.square(omega)
    level = (centre / prior.sd_log**2 + number * mean / np.square(omega)) / precision
    # One population per crop and source: M and ω are the same for all fields drawn from it, and so is their chance.
    level = level + rng.standard_normal(DRAWS) / np.sqrt(precision)
    own = stream(seed, "like the others", entry.name, source).standard_normal(DRAWS)
    result: FloatArray = np.exp(level + omega * own)
    return result


def _sum(
    entries: Sequence[FieldEntry],
    found: Mapping[str, FieldLoss],
    rows: Mapping[str, Mapping[str, FloatArray]],
    gaps: Sequence[tuple[str, str]],
) -> CropLoss:
    area = sum(entry.area_ha for entry in entries)
    unchecked = [entry for entry in entries if entry.name not in found]
    unchecked_ha = sum(entry.area_ha for entry in unchecked)
    measured = [(entry, found[entry.name].draws) for entry in entries if entry.name in found]
    sources = {s: _area_sum([(e, [d[s]]) for e, d in measured if s in d]) for s in SOURCES}
    names = {entry.name for entry in entries}
    return CropLoss(
        area,
        unchecked_ha,
        100.0 * unchecked_ha / area,
        tuple(entry.name for entry in unchecked),
        {s: total for s, total in sources.items() if total is not None},
        _area_sum([(e, [d[s] for s in JUDGED if s in d]) for e, d in measured]),
        _area_sum([(e, list(rows[e.name].values())) for e in entries]) if measured else None,
        tuple(gap for gap in gaps if gap[0] in names),
    )


def _area_sum(parts: Sequence[tuple[FieldEntry, Sequence[FloatArray]]]) -> AreaSum | None:
    """Sum over fields; fields without rows are left out of the area too."""
    having = [(entry, np.sum(rows, axis=0)) for entry, rows in parts if rows]
    if not having:
        return None
    area = sum(entry.area_ha for entry, _ in having)
    kg = np.sum([entry.area_ha * rows for entry, rows in having], axis=0)
    priced = [(entry, entry.price_per_t, rows) for entry, rows in having if entry.price_per_t is not None]
    money = None
    if priced:
        money = interval(np.sum([e.area_ha / KG_PER_T * price * rows for e, price, rows in priced], axis=0))
    total = interval(kg)
    return AreaSum(area, total, total.times(1.0 / area), money, sum(entry.area_ha for entry, _, _ in priced))
