"""What did a field lose, from the checks taken in it?

A check says what was lost at its own place. The field's area mean is a mean over places nobody checked as well, so
places differ by N(0, τ²) in ln(loss) around the field's level m, and the area mean is e^(m + τ²/2) over the places not
checked, together with what was seen at those that were (:mod:`chaffinch.engine.ledger.levels`). One check thus gives
a wider range for its field than for itself. Errors that checks share are added once
(:mod:`chaffinch.engine.ledger.shared`).

All answers are draws of equal weight; row i of one field belongs to row i of another, so sums over fields are sums of
rows (:mod:`chaffinch.engine.ledger.season`).
"""

from __future__ import annotations

import zlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Final

import numpy as np
from numpy.typing import NDArray

from chaffinch.engine.domain import positive, share
from chaffinch.engine.estimate import DrawBelief, Prior, Range, default_prior, range_of
from chaffinch.engine.evidence import SOURCES, Evidence
from chaffinch.engine.ledger.area import area_mean
from chaffinch.engine.ledger.chains import Cloud, Piece, cloud_of_evidence, walk
from chaffinch.engine.ledger.levels import LEAST_FOR_WILD, Levels, Spread, levels
from chaffinch.engine.ledger.shared import Shared, common_and_own, shift, stream
from chaffinch.engine.response.table import WILD_SHARE
from chaffinch.errors import InputError

FloatArray = NDArray[np.float64]

KG_PER_T: Final = 1000.0
JUDGED: Final = ("header", "machine", "leak")
"""Sources held against the combine: no setting brings back what fell before it came."""
EXPECTED: Final = ("header", "machine")
"""Sources without which a field's record has a gap."""
BETWEEN_PARTS: Final = 0.5
"""Part of τ² that lies between the parts of a field checks are said to stand for [1]; own figure. The rest lies within
each part."""
_ROUNDING: Final = 1e-6
AS_USUAL: Final = Spread()


@dataclass(frozen=True, slots=True)
class FieldCheck:
    """What one check brings to its field.

    Attributes
    ----------
    evidence : mapping of str to Evidence
        By source, for sources the catches saw apart from all others; without the shared errors.
    shared : mapping of str to Shared
        By source: the errors this check shares with others, by key [sd of the log].
    weight_ha : float or None
        Area the check stands for [ha]; None: a place like any other.
    together : Cloud or None
        Sources the catches saw as sums, which only hang together.
    """

    evidence: Mapping[str, Evidence]
    shared: Mapping[str, Shared] = field(default_factory=dict)
    weight_ha: float | None = None
    together: Cloud | None = None

    @property
    def sources(self) -> tuple[str, ...]:
        """Sources seen, in the order standing, header, machine, leak."""
        seen = set(self.evidence) | set(self.together.sources if self.together else ())
        return tuple(s for s in SOURCES if s in seen)


@dataclass(frozen=True, slots=True)
class FieldEntry:
    """A field and its checks.

    Attributes
    ----------
    name : str
        One name, one field, in a season.
    area_ha : float
        [ha], above 0.
    checks : sequence of FieldCheck
        May be empty in a season, not in :func:`field_loss`.
    price_per_t : float or None
        Price of the day [money/t]; it is kept in the answer, so a later price does not change it.
    yield_kg_ha : float or None
        Harvested yield [kg/ha].
    crop : str
        Fields of one crop are taken as one population in a season.
    priors : mapping of str to Prior
        By source; those not given follow the yield, as in a check.
    spread : Spread
        Belief about the sd of ln(loss) between places.
    between_parts : float
        Part of τ² between the parts checks stand for, 0 to 1 [1].
    """

    name: str
    area_ha: float
    checks: Sequence[FieldCheck]
    price_per_t: float | None = None
    yield_kg_ha: float | None = None
    crop: str = ""
    priors: Mapping[str, Prior] = field(default_factory=dict)
    spread: Spread = AS_USUAL
    between_parts: float = BETWEEN_PARTS

    def prior(self, source: str) -> Prior:
        """Belief about the field's level before any check."""
        return self.priors.get(source) or default_prior(source, self.yield_kg_ha)


@dataclass(frozen=True, slots=True)
class Loss:
    """A loss over a field, or several.

    Attributes
    ----------
    kg_ha, kg : Range
        Area mean [kg/ha] and sum over the area [kg].
    share_pct : Range or None
        Percent of (harvested + all loss seen) [%]; None without a yield.
    money : Range or None
        Over the area; None without a price.
    """

    kg_ha: Range
    kg: Range
    share_pct: Range | None
    money: Range | None


@dataclass(frozen=True, slots=True)
class Coverage:
    """What a field's answer rests on.

    Attributes
    ----------
    checks : int
    ha_per_check : float
        [ha]
    by_source : mapping of str to int
        Checks that saw each source.
    missing : tuple of str
        Of header and machine, those no check saw: their loss comes on top.
    """

    checks: int
    ha_per_check: float
    by_source: Mapping[str, int]
    missing: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class FieldLoss:
    """What a field lost.

    Attributes
    ----------
    entry : FieldEntry
        As it was given, price of the day included.
    sources : mapping of str to Loss
        By source seen.
    judged : Loss or None
        Header, machine and leak, as far as seen; None where only standing loss was.
    total : Loss
        All sources seen.
    coverage : Coverage
    draws : mapping of str to ndarray, shape (4096,)
        Area mean by source [kg/ha], rows of equal weight.
    shared : mapping of str to ndarray, shape (4096,)
        The part of ln(area mean) that is errors common to all its checks.
    wild : tuple of float
        Probability that each check says nothing of the field (a spill, a number slipped), in the order of
        ``entry.checks`` [1].
    """

    entry: FieldEntry
    sources: Mapping[str, Loss]
    judged: Loss | None
    total: Loss
    coverage: Coverage
    draws: Mapping[str, FloatArray]
    shared: Mapping[str, FloatArray]
    wild: tuple[float, ...]


def field_loss(entry: FieldEntry, *, seed: int) -> FieldLoss:
    """Posterior of the area mean loss of a field.

    Parameters
    ----------
    entry : FieldEntry
    seed : int
        0 or more; same seed, same figures. A season needs one seed for all its fields.

    Raises
    ------
    InputError
        For an area, price, yield or weight that cannot be; without a check; when some checks say what area they stand
        for and others do not, or all together stand for more than the field.
    """
    area_ha = checked_area_ha(entry)
    if not entry.checks:
        raise InputError(f"field {entry.name}, checks", 0, "there is none to sum up", "log a check first")
    draws, shared, wild = _area_means(entry, seed)
    seen = tuple(draws)
    judged = tuple(s for s in JUDGED if s in seen)
    counts = {s: sum(s in check.sources for check in entry.checks) for s in seen}
    whole = np.sum(list(draws.values()), axis=0)

    def loss(*sources: str) -> Loss:
        return loss_of(np.sum([draws[s] for s in sources], axis=0), whole, area_ha, entry)

    return FieldLoss(
        entry,
        {s: loss(s) for s in seen},
        loss(*judged) if judged else None,
        loss(*seen),
        Coverage(len(entry.checks), area_ha / len(entry.checks), counts, tuple(s for s in EXPECTED if s not in seen)),
        draws,
        shared,
        wild,
    )


def held_at_yield(draws: Mapping[str, FloatArray], yield_kg_ha: float | None) -> dict[str, FloatArray]:
    """Rows by source [kg/ha] with header, machine and leak together at most the yield, each giving way alike.

    What fell before harvest is not held: it was never in the yield.
    """
    judged = [s for s in JUDGED if s in draws]
    if yield_kg_ha is None or not judged:
        return dict(draws)
    left = np.minimum(1.0, yield_kg_ha / np.sum([draws[s] for s in judged], axis=0))
    return {s: rows * left if s in judged else rows for s, rows in draws.items()}


def loss_of(kg_ha: FloatArray, whole_kg_ha: FloatArray, area_ha: float, entry: FieldEntry) -> Loss:
    """Ranges of one loss from its rows; ``whole_kg_ha`` is all loss seen, for the share."""
    mean = interval(kg_ha)
    pct = None if entry.yield_kg_ha is None else interval(100.0 * kg_ha / (entry.yield_kg_ha + whole_kg_ha))
    money = None if entry.price_per_t is None else mean.times(area_ha / KG_PER_T * entry.price_per_t)
    return Loss(mean, mean.times(area_ha), pct, money)


def interval(rows: FloatArray) -> Range:
    """5, 50 and 95 % points of rows of equal weight, in their own unit."""
    return range_of(DrawBelief(rows, np.full(rows.size, 1.0 / rows.size)))


def checked_area_ha(entry: FieldEntry) -> float:
    """Area of a field [ha]; raise InputError for anything in it that cannot be."""
    place = f"field {entry.name}"
    area_ha = positive(f"{place}, area", entry.area_ha)
    if entry.price_per_t is not None:
        positive(f"{place}, price", entry.price_per_t)
    if entry.yield_kg_ha is not None:
        positive(f"{place}, yield", entry.yield_kg_ha)
    if entry.between_parts != 0.0:
        share(f"{place}, between_parts", entry.between_parts)
    weights = [check.weight_ha for check in entry.checks]
    known = [positive(f"{place}, area a check stands for", w) for w in weights if w is not None]
    if known and len(known) < len(weights):
        raise InputError(
            f"{place}, area a check stands for", None, "is given for some checks only", "give it for all, or for none"
        )
    if sum(known) > area_ha * (1.0 + _ROUNDING):
        raise InputError(
            f"{place}, area a check stands for",
            sum(known),
            f"adds up to more than the field's {area_ha:g} ha",
            "give each check its part of the field",
        )
    for number, check in enumerate(entry.checks, start=1):
        if not check.sources:
            raise InputError(f"{place}, check {number}", "", "saw no loss", "leave it out")
        both = set(check.evidence) & set(check.together.sources if check.together else ())
        if both:
            raise InputError(f"{place}, check {number}", sorted(both), "is told twice", "give each source once")
    return area_ha


def _area_means(entry: FieldEntry, seed: int) -> tuple[dict[str, FloatArray], dict[str, FloatArray], tuple[float, ...]]:
    """Rows of the area mean by source seen [kg/ha], the part of their logs that is errors common to all checks, and how
    likely each check is wild."""
    # The order in which checks were written down must not show: sort them by what they say.
    order = sorted(range(len(entry.checks)), key=lambda k: _fingerprint(entry.checks[k]))
    checks = [entry.checks[k] for k in order]
    seen = tuple(s for s in SOURCES if any(s in check.sources for check in checks))
    common, own = {}, {}
    for source in seen:
        having = [check for check in checks if source in check.sources]
        common[source], rests = common_and_own([check.shared.get(source, {}) for check in having])
        own[source] = dict(zip(map(id, having), rests, strict=True))
    alone = [s for s in seen if not any(own[s].values()) and all(s in c.evidence for c in checks if s in c.sources)]
    found: dict[str, tuple[Levels, list[float | None]]] = {}
    wild = [0.0] * len(checks)
    for source in alone:
        having = [check for check in checks if source in check.sources]
        rng = stream(seed, "field", entry.name, source)
        drawn = levels([check.evidence[source] for check in having], entry.prior(source), entry.spread, rng=rng)
        found[source] = drawn, [check.weight_ha for check in having]
    found |= _together(entry, checks, [s for s in seen if s not in alone], own, seed)
    means, moved = {}, {source: shift(common[source], seed=seed) for source in seen}
    for source in seen:
        rng = stream(seed, "places", entry.name, source)
        drawn, weights_ha = found[source]
        mean = area_mean(entry.area_ha, drawn, weights_ha, between_parts=entry.between_parts, rng=rng)
        means[source] = mean * np.exp(moved[source])
        for k, p in zip(
            [k for k, c in zip(order, checks, strict=True) if source in c.sources], drawn.wild, strict=True
        ):
            wild[k] = max(wild[k], p)
    return held_at_yield(means, entry.yield_kg_ha), moved, tuple(wild)


def _fingerprint(check: FieldCheck) -> tuple[object, ...]:
    seen = tuple((s, zlib.crc32(e.log_likelihood.tobytes())) for s, e in sorted(check.evidence.items()))
    cloud = 0 if check.together is None else zlib.crc32(check.together.ln_loss.tobytes())
    return (
        seen,
        cloud,
        check.weight_ha or 0.0,
        repr(sorted((s, sorted(map(repr, k.items()))) for s, k in check.shared.items())),
    )


def _together(
    entry: FieldEntry,
    checks: Sequence[FieldCheck],
    sources: Sequence[str],
    own: Mapping[str, Mapping[int, Shared]],
    seed: int,
) -> dict[str, tuple[Levels, list[float | None]]]:
    """Sources whose checks hang together, or differ in what they share: by chains."""
    if not sources:
        return {}
    pieces: list[Piece] = []
    seen_by = {s: sum(s in check.sources for check in checks) for s in sources}
    stood: dict[str, list[tuple[int, int, float | None]]] = {s: [] for s in sources}
    for check in checks:
        clouds = [cloud_of_evidence(s, seen) for s, seen in check.evidence.items() if s in sources]
        clouds += [check.together] if check.together else []
        for cloud in clouds:
            at = tuple(sources.index(s) for s in cloud.sources)
            moved = np.stack([shift(own[s][id(check)], seed=seed) for s in cloud.sources], axis=1)
            for column, source in enumerate(cloud.sources):
                stood[source].append((len(pieces), column, check.weight_ha))
            # A check is wild against others: each of its sources must have been seen by enough of them.
            may_be_wild = min(seen_by[s] for s in cloud.sources) >= LEAST_FOR_WILD
            share_wild = WILD_SHARE if may_be_wild else 0.0
            pieces.append(Piece(cloud, np.eye(len(sources))[list(at)], at, moved, share_wild))
    priors = [entry.prior(s) for s in sources]
    mean = np.log([positive("prior median", p.median_kg_ha) for p in priors])
    sd = np.array([positive("prior sd", p.sd_log) for p in priors])
    walked = walk(pieces, mean, sd, [entry.spread] * len(sources), rng=stream(seed, "field", entry.name, *sources))
    result = {}
    for k, source in enumerate(sources):
        places = np.stack([walked.points[piece][:, column] for piece, column, _ in stood[source]], axis=1)
        wild = tuple(walked.wild[piece] for piece, _, _ in stood[source])
        drawn = Levels(walked.theta[:, k], walked.spread[:, k], places, wild)
        result[source] = drawn, [w for _, _, w in stood[source]]
    return result
