"""Does one operator, or one combine, lose less than another, once field, day and load are taken out?

    ln λ_j = block(field and day) + group + machine + β · ln(load/usual load) + u_j,   u ~ N(0, τ²)

Checks of the same block are compared with each other; what a block has in common (crop, weather) drops out. Where
operators are compared, each machine has an effect of its own. A claim names a person or a machine, so it is made only
when it can hardly be chance: at least three checks of each, blocks and loads in common, for operators a machine that
both drove, and a probability of ``SURE`` or more, raised with the number of pairs in the table so that a table without
any true difference makes a claim in at most one of twenty (Bonferroni's inequality; from memory).
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray

from chaffinch.engine.domain import finite, positive
from chaffinch.engine.estimate import Prior, Range, default_prior
from chaffinch.engine.evidence import Evidence
from chaffinch.engine.ledger.chains import Piece, cloud_of_evidence, walk
from chaffinch.engine.ledger.field import AS_USUAL, interval
from chaffinch.engine.ledger.levels import Spread
from chaffinch.engine.ledger.shared import Shared, common_and_own, shift, stream
from chaffinch.errors import InputError

FloatArray = NDArray[np.float64]
By = Literal["operator", "combine"]
Source = Literal["machine", "header"]
Why = Literal[
    "too few checks",
    "never in the same field on the same day",
    "never drove the same machine",
    "loads do not overlap",
    "not sure enough",
]

SURE: Final = 0.95
"""Probability below which no difference is claimed [1]."""
FALSE_CLAIMS: Final = 0.05
"""Tables without a true difference that may make a claim [1]: shared over both sides of every pair."""
LEAST_CHECKS: Final = 3
"""Checks of each group in blocks they have in common, or nothing is claimed."""
GROUP_SD: Final = 0.4
"""Prior sd of a group's effect on ln(loss) [1]; own figure, as for a setup (design §4.7)."""
LOAD_EFFECT: Final = {"machine": (1.3, 0.8), "header": (0.0, 0.8)}
"""Prior mean and sd of β [1] (design §4.7): machine loss rises with load, header loss may go either way."""


@dataclass(frozen=True, slots=True)
class FairCheck:
    """One check in a comparison.

    Attributes
    ----------
    evidence : Evidence
        Of the one source compared, without shared errors.
    operator, combine : str
        "" where not told; the one compared must be.
    block : str
        Field and day: checks of one block are compared with each other.
    load : float
        Throughput [t/h] or speed [km/h], above 0; one kind in a table.
    conditions : mapping of str to float
        Shown beside the result, not corrected for: humidity [%], grain moisture [%] and the like.
    shared : Shared
        Errors this check shares with others, by key [sd of the log].
    """

    evidence: Evidence
    operator: str
    combine: str
    block: str
    load: float
    conditions: Mapping[str, float] = field(default_factory=dict)
    shared: Shared = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Group:
    """What stands beside a group's name.

    Attributes
    ----------
    name : str
    checks : int
    blocks : tuple of str
    load : tuple of float
        Least, middle and greatest load, in the unit given.
    conditions : mapping of str to (float, float)
        Least and greatest value of each condition told.
    """

    name: str
    checks: int
    blocks: tuple[str, ...]
    load: tuple[float, float, float]
    conditions: Mapping[str, tuple[float, float]]


@dataclass(frozen=True, slots=True)
class Pair:
    """Two groups compared.

    Attributes
    ----------
    first, second : str
    ratio : Range
        Loss of the first over that of the second, at the same load in the same block [1].
    p_first_less : float
        Probability that the first loses less.
    claim : str or None
        Who loses less; None: no difference can be claimed.
    why_not : tuple of str
        Why none can be claimed; empty with a claim.
    drivers_apart : bool
        True for two combines that, as far as told, were never under the same driver: a difference may be the drivers'.
    """

    first: str
    second: str
    ratio: Range
    p_first_less: float
    claim: str | None
    why_not: tuple[Why, ...]
    drivers_apart: bool = False


@dataclass(frozen=True, slots=True)
class Comparison:
    """A table of groups.

    Attributes
    ----------
    groups : tuple of Group
        In the order of their names: this is no ranking.
    pairs : tuple of Pair
        Every pair once.
    needed : float
        Probability a claim needed in this table [1].
    load_effect : Range
        β: ln(loss) per ln(load) [1].
    by : {"operator", "combine"}
    source : {"machine", "header"}
    """

    groups: tuple[Group, ...]
    pairs: tuple[Pair, ...]
    needed: float
    load_effect: Range
    by: By
    source: Source


def compare_groups(
    checks: Sequence[FairCheck],
    *,
    by: By,
    source: Source = "machine",
    prior: Prior | None = None,
    spread: Spread = AS_USUAL,
    tables: int = 1,
    seed: int = 1,
) -> Comparison:
    """Compare operators or combines.

    Parameters
    ----------
    checks : sequence of FairCheck
        Of one source and one crop.
    by : {"operator", "combine"}
        What is compared. Operators' machines get an effect of their own; combines are compared with their drivers.
    source : {"machine", "header"}
        Which loss; it decides what is expected of the load.
    prior : Prior or None
        Of a block's usual loss [kg/ha]; None: the default without a yield.
    spread : Spread
        Belief about the sd of ln(loss) between stops of a block.
    tables : int
        Comparisons that stand side by side, this one among them: together they make a false claim as seldom as one.
    seed : int
        Same seed, same figures.

    Raises
    ------
    InputError
        For fewer than two groups, a check without group, block or usable load, or a source not told above.
    """
    if by not in ("operator", "combine"):
        raise InputError("by", by, "is nothing that can be compared", 'give "operator" or "combine"')
    if source not in LOAD_EFFECT:
        raise InputError("source", source, "cannot be compared", 'give "machine" or "header"')
    for number, check in enumerate(checks, start=1):
        _checked(check, number, by)
    # The order in which checks were written down must not show.
    checks = sorted(checks, key=lambda c: (getattr(c, by), c.block, c.load, c.evidence.log_likelihood.tobytes()))
    names = sorted({getattr(check, by) for check in checks})
    if len(names) < 2:
        told = ", ".join(names) or None
        raise InputError(by, told, "leaves nothing to compare", f"give checks of at least two {by}s")
    effect, load_effect = _effects(checks, names, by, source, prior or default_prior(source, None), spread, seed)
    of = {name: [c for c in checks if getattr(c, by) == name] for name in names}
    both = list(itertools.combinations(names, 2))
    barred = {pair: _barred(of[pair[0]], of[pair[1]], by) for pair in both}
    open_pairs = sum(not reasons for reasons in barred.values())
    needed = max(SURE, 1.0 - FALSE_CLAIMS / (2.0 * max(open_pairs, 1) * max(tables, 1)))
    pairs = []
    for first, second in both:
        apart = effect[:, names.index(first)] - effect[:, names.index(second)]
        p = float(np.mean(apart < 0.0))
        sure = max(p, 1.0 - p) >= needed
        why = barred[first, second] or (() if sure else ("not sure enough",))
        claim = None if why else (first if p > 0.5 else second)
        drivers_apart = by == "combine" and _apart(of[first], of[second], "operator") is True
        pairs.append(Pair(first, second, interval(np.exp(apart)), p, claim, why, drivers_apart))
    groups = tuple(_group(name, of[name]) for name in names)
    return Comparison(groups, tuple(pairs), needed, load_effect, by, source)


def _checked(check: FairCheck, number: int, by: str) -> None:
    place = f"check {number}"
    positive(f"{place}, load", check.load)
    for what in (by, "block"):
        if not getattr(check, what):
            raise InputError(f"{place}, {what}", None, "is not told", "name it, or leave the check out")
    for name, value in check.conditions.items():
        finite(f"{place}, {name}", value)


def _effects(
    checks: Sequence[FairCheck],
    names: Sequence[str],
    by: By,
    source: Source,
    prior: Prior,
    spread: Spread,
    seed: int,
) -> tuple[FloatArray, Range]:
    """Rows of the groups' effects on ln(loss), shape (DRAWS, groups), and the effect of the load."""
    blocks = sorted({check.block for check in checks})
    machines = sorted({check.combine for check in checks}) if by == "operator" else []
    if len(machines) < 2:
        # One machine is part of every block already.
        machines = []
    last = len(blocks) + len(names)
    usual = float(np.median([check.load for check in checks]))
    centre, wide = LOAD_EFFECT[source]
    others = len(names) + len(machines)
    mean = np.array([math.log(prior.median_kg_ha)] * len(blocks) + [0.0] * others + [centre])
    sd = np.array([prior.sd_log] * len(blocks) + [GROUP_SD] * others + [wide])
    _, own = common_and_own([check.shared for check in checks])
    pieces = []
    for check, rest in zip(checks, own, strict=True):
        row = np.zeros((1, mean.size))
        row[0, blocks.index(check.block)] = 1.0
        row[0, len(blocks) + names.index(getattr(check, by))] = 1.0
        if machines:
            row[0, last + machines.index(check.combine)] = 1.0
        row[0, -1] = math.log(check.load / usual)
        moved = shift(rest, seed=seed)[:, None] if rest else None
        pieces.append(Piece(cloud_of_evidence(source, check.evidence), row, (0,), moved))
    walked = walk(pieces, mean, sd, [spread], rng=stream(seed, "fair", by, source))
    return walked.theta[:, len(blocks) : last], interval(walked.theta[:, -1])


def _apart(first: Sequence[FairCheck], second: Sequence[FairCheck], what: By) -> bool | None:
    """Whether two groups have no machine (or driver) in common; None where it is told for none of one group."""
    told = [{getattr(c, what) for c in group} - {""} for group in (first, second)]
    return told[0].isdisjoint(told[1]) if all(told) else None


def _barred(first: Sequence[FairCheck], second: Sequence[FairCheck], by: By) -> tuple[Why, ...]:
    """Why two groups cannot be compared whatever the figures say."""
    why: list[Why] = []
    common = {c.block for c in first} & {c.block for c in second}
    counts = [sum(c.block in common for c in group) for group in (first, second)]
    if not common:
        why.append("never in the same field on the same day")
    if min(len(first), len(second)) < LEAST_CHECKS or (common and min(counts) < LEAST_CHECKS):
        why.append("too few checks")
    if by == "operator" and _apart(first, second, "combine") is not False:
        why.append("never drove the same machine")
    loads = [[c.load for c in group] for group in (first, second)]
    if max(map(min, loads)) > min(map(max, loads)):
        why.append("loads do not overlap")
    return tuple(why)


def _group(name: str, checks: Sequence[FairCheck]) -> Group:
    loads = [check.load for check in checks]
    told = sorted({key for check in checks for key in check.conditions})
    values = {key: [c.conditions[key] for c in checks if key in c.conditions] for key in told}
    return Group(
        name,
        len(checks),
        tuple(sorted({check.block for check in checks})),
        (min(loads), float(np.median(loads)), max(loads)),
        {key: (min(v), max(v)) for key, v in values.items()},
    )
