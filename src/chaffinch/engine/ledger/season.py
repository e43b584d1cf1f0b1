"""What did a season lose, and on how much of its area is that known?

Sums over fields are sums of rows: an error drawn once for a key is the same in row i of every field, so shared errors
stay shared and independent ones average out. The fields of a crop are one population
(:mod:`chaffinch.engine.ledger.population`), so that each field's lean towards what was expected of it does not add up.
Area without a check is stated, never filled in silently. A second answer for the whole area draws the fields not
measured from that population; that they are like the others is an assumption, and it is called one.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from chaffinch.engine.estimate import Range
from chaffinch.engine.evidence import SOURCES
from chaffinch.engine.ledger.field import (
    EXPECTED,
    JUDGED,
    KG_PER_T,
    FieldEntry,
    FieldLoss,
    checked_area_ha,
    field_loss,
    held_at_yield,
    interval,
)
from chaffinch.engine.ledger.population import Alone, population
from chaffinch.engine.ledger.shared import DRAWS, stream
from chaffinch.errors import InputError

FloatArray = NDArray[np.float64]


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
    """A season.

    Attributes
    ----------
    whole : CropLoss
    crops : mapping of str to CropLoss
    fields : mapping of str to FieldLoss
        Each field with checks, by its own checks alone.
    draws : mapping of str to mapping of str to ndarray, shape (4096,)
        Area mean by field and source [kg/ha], given the other fields of the crop: what the sums are made of.
    """

    whole: CropLoss
    crops: Mapping[str, CropLoss]
    fields: Mapping[str, FieldLoss]
    draws: Mapping[str, Mapping[str, FloatArray]]


def season_loss(
    entries: Sequence[FieldEntry], *, seed: int, sum_up: Callable[[FieldEntry], FieldLoss] | None = None
) -> SeasonLoss:
    """Sum up a season.

    Parameters
    ----------
    entries : sequence of FieldEntry
        At least one; each name once.
    seed : int
        As for the fields: same seed, same figures, and the same as :func:`chaffinch.engine.ledger.field.field_loss`
        gives.
    sum_up : callable or None
        What sums up one field, where its sum may be known from before; None for
        :func:`chaffinch.engine.ledger.field.field_loss` with the seed.

    Raises
    ------
    InputError
        Without fields, for a name that comes twice, and as :func:`chaffinch.engine.ledger.field.field_loss`.
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
    one_field = sum_up or (lambda entry: field_loss(entry, seed=seed))
    found = {entry.name: one_field(entry) for entry in entries if entry.checks}
    crops = sorted({entry.crop for entry in entries})
    draws: dict[str, dict[str, FloatArray]] = {name: {} for name in found}
    filled: dict[str, dict[str, FloatArray]] = {entry.name: {} for entry in entries}
    gaps: list[tuple[str, str]] = []
    for crop, source in itertools.product(crops, SOURCES):
        there = [entry for entry in entries if entry.crop == crop]
        gaps += _of_one_population(there, source, found, draws, filled, seed)
    for entry in entries:
        for rows in (draws, filled):
            if entry.name in rows:
                rows[entry.name] = held_at_yield(rows[entry.name], entry.yield_kg_ha)

    def total(fields: Sequence[FieldEntry]) -> CropLoss:
        return _sum(fields, draws, filled, gaps)

    return SeasonLoss(total(entries), {c: total([e for e in entries if e.crop == c]) for c in crops}, found, draws)


def _of_one_population(
    entries: Sequence[FieldEntry],
    source: str,
    found: Mapping[str, FieldLoss],
    draws: dict[str, dict[str, FloatArray]],
    filled: dict[str, dict[str, FloatArray]],
    seed: int,
) -> list[tuple[str, str]]:
    """Put rows of one crop and source into ``draws`` (measured) and ``filled``; return the gaps that stay."""
    having = [entry for entry in entries if entry.name in found and source in found[entry.name].draws]
    # A leak is looked for where one is suspected: a field without a leak catch is not given one.
    wanted = [entry for entry in entries if entry not in having] if source in EXPECTED else []
    if not having:
        return [(entry.name, source) for entry in wanted]
    shared = [found[entry.name].shared[source] for entry in having]
    alone = [
        Alone(np.log(found[e.name].draws[source]) - moved, *_expected(e, source))
        for e, moved in zip(having, shared, strict=True)
    ]
    there = population(alone, rng=stream(seed, "population", entries[0].crop, source))
    for entry, ln_loss, moved in zip(having, there.fields, shared, strict=True):
        draws[entry.name][source] = np.exp(ln_loss + moved)
        if source in JUDGED:
            filled[entry.name][source] = draws[entry.name][source]
    usual_shift = np.mean(shared, axis=0)
    for entry in wanted:
        own = stream(seed, "like the others", entry.name, source).standard_normal(DRAWS)
        filled[entry.name][source] = np.exp(there.centre + there.omega * own + usual_shift)
    return []


def _expected(entry: FieldEntry, source: str) -> tuple[float, float]:
    """What was expected of a field's ln(area mean): the level's prior, and half of τ² on average on top."""
    prior = entry.prior(source)
    half_tau2 = 0.5 * entry.spread.median**2 * math.exp(2.0 * entry.spread.sd_log**2)
    return math.log(prior.median_kg_ha) + half_tau2, prior.sd_log


def _sum(
    entries: Sequence[FieldEntry],
    draws: Mapping[str, Mapping[str, FloatArray]],
    filled: Mapping[str, Mapping[str, FloatArray]],
    gaps: Sequence[tuple[str, str]],
) -> CropLoss:
    area = sum(entry.area_ha for entry in entries)
    unchecked = [entry for entry in entries if entry.name not in draws]
    unchecked_ha = sum(entry.area_ha for entry in unchecked)
    measured = [(entry, draws[entry.name]) for entry in entries if entry.name in draws]
    sources = {s: _area_sum([(e, [d[s]]) for e, d in measured if s in d]) for s in SOURCES}
    names = {entry.name for entry in entries}
    return CropLoss(
        area,
        unchecked_ha,
        100.0 * unchecked_ha / area,
        tuple(entry.name for entry in unchecked),
        {s: total for s, total in sources.items() if total is not None},
        _area_sum([(e, [d[s] for s in JUDGED if s in d]) for e, d in measured]),
        _area_sum([(e, list(filled[e.name].values())) for e in entries]) if measured else None,
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
