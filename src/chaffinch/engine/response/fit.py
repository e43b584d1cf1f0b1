"""How does the loss answer to the load? A curve per source, from few or many checks, with its range.

    ln λ = α + β ((Q/Q₀)^κ − 1)/κ + γ·z + δ_setup + o_operator + u,    u ~ N(0, τ²)

Machine and header loss have curves of their own, with their own signs (design §4.7). With no check the curve is the
prior; each check narrows it. Several combines share what they have in common (:mod:`.response_pool`). A check that
does not fit has bounded weight (:mod:`.response_table`); :mod:`.response_doubt` says which one it is.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from chaffinch.engine.domain import finite, not_negative, positive
from chaffinch.engine.estimate import DrawBelief, Prior, Range, range_of
from chaffinch.engine.response.curve import (
    SHAPE,
    CurveDraws,
    CurveTask,
    LevelSlope,
    bend_of,
    bent,
)
from chaffinch.engine.response.doubt import Influence, Upturn, influences, upturn
from chaffinch.engine.response.loss_point import LoadKind, LossPoint
from chaffinch.engine.response.members import DRAWS, Member, fit_members, new_combine, what_to_say
from chaffinch.engine.response.pool import WIDER, Population, population
from chaffinch.engine.response.terms import OPERATOR_SD, SETUP_SD, Scale, Terms, scales, terms
from chaffinch.engine.sampling.sobol import sobol
from chaffinch.errors import InputError

FloatArray = NDArray[np.float64]
Place = Literal["average", "one place"]

REFERENCE_LOAD: Final = {"speed": 5.0, "throughput": 15.0}
"""Load at which the prior holds while there is no check [km/h, t/h]; own figures."""
MOST_BEYOND: Final = 0.10
"""How far beyond the tested loads a pace may be recommended [1] (design §4.7)."""
MOST_CONDITIONS: Final = 6
# Columns of the Sobol sequence after those the sampler may use.
_FIRST_COLUMN: Final = 28


@dataclass(frozen=True, slots=True)
class Prediction:
    """The loss at one load.

    Attributes
    ----------
    range : Range
        5, 50 and 95 % points [kg/ha].
    outside : float
        How far the load lies beyond the tested ones, as a share of the nearest tested one [1]; 0 within. Infinite
        for a combine that was never tested.
    notes : tuple of str
        What the reader must be told: "prior only", "new combine", "load does not vary", "beyond the tested loads",
        "too far beyond the tested loads" (more than 10 %), "new setup", "new operator", "condition never varied: …".
    """

    range: Range
    outside: float
    notes: tuple[str, ...]


class Response:
    """Curves of loss against load, one per combine, and the population they come from.

    Attributes
    ----------
    source : {"machine", "header"}
    load_kind : {"throughput", "speed"}
        What a load is [t/h or km/h].
    reference_load : float
        Q₀, the median load of all checks.
    combines : tuple of str
        Those with checks.
    points : int
        Number of checks.
    weights : ndarray, shape (4096,)
        Weights of the draws, all equal, summing to 1.
    notes : tuple of str
        What the reader must be told of the fit: "prior only", "load does not vary", "condition never varied: …",
        "condition not told at some checks: …", "setup seen once: …", and of a combine's machine loss "slope below 0: …"
        or "slope above 4: …".
    """

    def __init__(
        self,
        *,
        source: str,
        load_kind: LoadKind,
        reference_load: float,
        scale: Mapping[str, Scale],
        scale_sd: float,
        base: LevelSlope,
        members: Mapping[str, Member],
        prior: Prior,
        people: Population | None,
        notes: tuple[str, ...],
        seed: int,
    ) -> None:
        self.source = source
        self.load_kind = load_kind
        self.reference_load = reference_load
        self.combines = tuple(members)
        self.points = sum(len(m.task.points) for m in members.values())
        self.weights: FloatArray = np.full(DRAWS, 1.0 / DRAWS)
        self.notes = notes
        self._scale, self._scale_sd, self._base, self._seed = scale, scale_sd, base, seed
        self._members, self._prior, self._people = members, prior, people
        self._scores = ndtri(sobol(DRAWS, 8 + len(scale), seed=seed, first=_FIRST_COLUMN))

    def loss_kg_ha(
        self,
        load: FloatArray | float,
        *,
        combine: str | None = None,
        setup: str | None = None,
        operator: str | None = None,
        conditions: Mapping[str, float] | None = None,
        at: Place = "average",
        shared_error: bool = True,
    ) -> FloatArray:
        """Draws of the loss at each load, shape (4096, m) [kg/ha].

        Parameters
        ----------
        load : float or ndarray, shape (m,)
            In the kind of :attr:`load_kind`, above 0.
        combine : str or None
            None is the only combine where there is one, else a new one from the population; so is a name unknown here.
        setup : str or None
            None is the usual one; a name unknown here a setup never tried.
        operator : str or None
            None is an average one; a name unknown here someone new.
        conditions : mapping of str to float or None
            What is told of the conditions of the fit; the others stand at their mean.
        at : {"average", "one place"}
            "average": the mean over places at that load, exp(η + τ²/2), which money is about; "one place": what
            one more check would find, its own deviation included.
        shared_error : bool
            False leaves out the error that all checks share (``scale_sd`` of the fit), for who puts it in himself:
            once for two curves that share it.

        Raises
        ------
        InputError
            For a load that is not above 0, or a condition that the fit does not know.
        """
        loads = positive("load", np.atleast_1d(np.asarray(load)))
        told = self._told(conditions)
        drawn, what = self._of(combine)
        ln_ratio = np.log(loads / self.reference_load)
        height = drawn[:, :1] + drawn[:, 1:2] * bent(ln_ratio[None, :], bend_of(drawn[:, 2:3]))
        known_setup = what.usual_setup if setup is None else setup
        row = what.row(self._scale, told, known_setup, operator or "")
        tau = np.exp(drawn[:, 3])
        shift = drawn[:, len(SHAPE) :] @ row
        if shared_error:
            shift = shift + self._scale_sd * self._scores[:, 0]
        if self._is_new_setup(what, setup):
            shift = shift + SETUP_SD * self._scores[:, 1]
        if self._is_new_operator(combine, what, operator):
            shift = shift + OPERATOR_SD * self._scores[:, 2]
        shift = shift + (np.square(tau) / 2.0 if _at(at) == "average" else tau * self._scores[:, 3])
        result: FloatArray = np.exp(height + shift[:, None])
        return result

    def predict(
        self,
        load: float,
        *,
        combine: str | None = None,
        setup: str | None = None,
        operator: str | None = None,
        conditions: Mapping[str, float] | None = None,
        at: Place = "average",
    ) -> Prediction:
        """Range of the loss at one load, and what must be said with it; parameters as in :meth:`loss_kg_ha`."""
        drawn = self.loss_kg_ha(load, combine=combine, setup=setup, operator=operator, conditions=conditions, at=at)
        notes = [n for n in self.notes if n in ("prior only", "load does not vary")]
        tested = self.tested(combine)
        outside = math.inf if tested is None else max(0.0, load / tested[1] - 1.0, 1.0 - load / tested[0])
        if tested is None and self.points:
            notes.append("new combine")
        if tested is not None and outside > 0.0:
            notes.append("too far beyond the tested loads" if outside > MOST_BEYOND else "beyond the tested loads")
        _, what = self._of(combine)
        if self._is_new_setup(what, setup):
            notes.append("new setup")
        if self._is_new_operator(combine, what, operator):
            notes.append("new operator")
        told = self._told(conditions)
        notes += [f"condition never varied: {c}" for c in told if self._scale[c].sd == 0.0]
        return Prediction(range_of(DrawBelief(drawn[:, 0], self.weights)), outside, tuple(notes))

    def tested(self, combine: str | None = None) -> tuple[float, float] | None:
        """Lightest and heaviest load a combine was checked at; None for one that never was.

        With None: of the only combine where there is one, else None, since a new combine was never tested.
        """
        member = self._member(combine)
        if member is None:
            return None
        loads = [p.load for p in member.task.points]
        return min(loads), max(loads)

    def learned(self, combine: str | None = None) -> Mapping[str, float]:
        """1 − (posterior sd ÷ prior sd) of every parameter of a combine with checks; near 0, nothing was learned.

        Keys: "level", "slope", "bend", "scatter", then the terms ("setup B", "operator Ann", "condition humidity").
        Empty for a combine without checks.
        """
        member = self._member(combine)
        if member is None:
            return {}
        alone = member.task.prior_sd(self._base)
        shares = 1.0 - member.draws.sd() / alone
        names = (*SHAPE, *member.task.terms.names)
        return {name: float(share) for name, share in zip(names, shares, strict=True)}

    def p_rises(self, combine: str | None = None) -> float:
        """Probability that the loss rises with load."""
        drawn, _ = self._of(combine)
        return float(np.mean(drawn[:, 1] > 0.0))

    def effects(self, combine: str | None = None) -> Mapping[str, Range]:
        """Factor on the loss of every term of a combine with checks [1], by the names of :meth:`learned`.

        A setup against the usual one, an operator against an average one at the same load and conditions, a
        condition one sd above its mean.
        """
        member = self._member(combine)
        if member is None:
            return {}
        columns = np.exp(member.equal[:, len(SHAPE) :])
        names = member.task.terms.names
        return {n: range_of(DrawBelief(columns[:, i], self.weights)) for i, n in enumerate(names)}

    def upturn(self, combine: str | None = None) -> Upturn | None:
        """Does this combine's loss rise again at light load? None for a combine without checks."""
        member = self._member(combine)
        return None if member is None else upturn(member.task, self._base, member.ln_prior, self._seed)

    def influence(self) -> tuple[Influence, ...]:
        """What each check does to its combine's curve, in the order in which the checks were given."""
        found: list[Influence] = []
        for member in self._members.values():
            found += influences(member.task, member.draws, self._base, member.ln_prior, member.positions, self._seed)
        return tuple(sorted(found, key=lambda i: i.position))

    def draws(self, combine: str | None = None) -> CurveDraws | None:
        """Weighted draws of a combine's parameters (columns as the keys of :meth:`learned`, with k for the bend and
        ln τ for the scatter); None for a combine without checks."""
        member = self._member(combine)
        return None if member is None else member.draws

    def population(self) -> Population:
        """What the combines have in common: draws of (μ_α, ln σ_α, μ_β, ln σ_β)."""
        if self._people is None:
            # One combine or none: wanted only by who asks about another one.
            alone = [m.draws for m in self._members.values()]
            self._people = population(alone, self._base, self.source, self._prior, seed=self._seed)
        return self._people

    def _member(self, combine: str | None) -> Member | None:
        if combine is None and len(self._members) == 1:
            return next(iter(self._members.values()))
        return self._members.get(combine) if combine is not None else None

    def _of(self, combine: str | None) -> tuple[FloatArray, Terms]:
        member = self._member(combine)
        if member is not None:
            return member.equal, member.task.terms
        return new_combine(self.population(), self._scores[:, 4:], self._scale)

    def _told(self, conditions: Mapping[str, float] | None) -> dict[str, float]:
        told = dict(conditions or {})
        for name, value in told.items():
            if name not in self._scale:
                known = ", ".join(self._scale) or "none"
                raise InputError("conditions", name, "is not a condition of this fit", f"it has: {known}")
            told[name] = finite(f"condition {name}", value)
        return told

    def _is_new_setup(self, what: Terms, setup: str | None) -> bool:
        return setup is not None and setup != what.usual_setup and setup not in what.setups

    def _is_new_operator(self, combine: str | None, what: Terms, operator: str | None) -> bool:
        if not operator or operator in what.operators:
            return False
        member = self._member(combine)
        # Where one person drove every check, the curve is that person's.
        return member is None or {p.operator for p in member.task.points} != {operator}


def fit_response(
    points: Sequence[LossPoint],
    *,
    source: Literal["machine", "header"],
    prior: Prior,
    load_kind: LoadKind,
    conditions: Sequence[str] = (),
    scale_sd: float = 0.0,
    reference_load: float | None = None,
    seed: int = 1,
) -> Response:
    """Fit the curve of one source to any number of checks, none included.

    Parameters
    ----------
    points : sequence of LossPoint
        In any order.
    source : {"machine", "header"}
        Whose loss the evidence is about.
    prior : Prior
        Of the loss at the median load before any check.
    load_kind : {"throughput", "speed"}
        What the loads are [t/h or km/h]; see :func:`chaffinch.engine.response.loss_point.choose_load`.
    conditions : sequence of str
        Which conditions of the points to learn from, at most 6.
    scale_sd : float
        Sd of the log of the error that all checks share [1]: put into the losses drawn.
    reference_load : float or None
        Q₀; None is the median load, or 5 km/h or 15 t/h while there is no check.
    seed : int
        Same seed, same answer.

    Raises
    ------
    InputError
        For an unknown source or kind of load, or conditions that are too many or named twice.
    SamplerError
        When a curve cannot be sampled to 400 effective draws.
    """
    _one_of("source", source, ("machine", "header"))
    _one_of("load_kind", load_kind, ("throughput", "speed"))
    if len(set(conditions)) < len(conditions) or len(conditions) > MOST_CONDITIONS:
        mend = f"name at most {MOST_CONDITIONS}, each once"
        raise InputError("conditions", ", ".join(conditions), "are named twice or too many", mend)
    positive("prior median", prior.median_kg_ha)
    positive("prior sd", prior.sd_log)
    not_negative("scale_sd", scale_sd)
    # Sums of floats depend on their order; the order in which checks were written down must not show.
    order = sorted(range(len(points)), key=lambda i: _sort_key(points[i]))
    scale = scales([points[i] for i in order], conditions)
    if reference_load is None:
        loads = [p.load for p in points]
        reference_load = float(np.median(loads)) if loads else REFERENCE_LOAD[load_kind]
    positive("reference_load", reference_load)
    positions: dict[str, list[int]] = {}
    for i in order:
        positions.setdefault(points[i].combine, []).append(i)
    base = LevelSlope.of(source, prior, wider=WIDER if len(positions) > 1 else 1.0)
    tasks = {}
    for name, places in positions.items():
        own = [points[i] for i in places]
        tasks[name] = CurveTask.of(own, reference_load, terms(own, scale))
    members, people = fit_members(tasks, positions, base, source, prior, seed=seed)
    return Response(
        source=source,
        load_kind=load_kind,
        reference_load=reference_load,
        scale=scale,
        scale_sd=scale_sd,
        base=LevelSlope.of(source, prior),
        members=members,
        prior=prior,
        people=people,
        notes=what_to_say(source, points, members, scale),
        seed=seed,
    )


def _sort_key(point: LossPoint) -> tuple[str, str, str, float, tuple[tuple[str, float], ...], bytes]:
    told = tuple(sorted(point.conditions.items()))
    seen = point.evidence.log_likelihood.tobytes()
    return point.combine, point.setup, point.operator, point.load, told, seen


def _one_of(field: str, value: str, known: tuple[str, ...]) -> None:
    if value not in known:
        raise InputError(field, value, "is not known", f"give {' or '.join(known)}")


def _at(at: str) -> str:
    _one_of("at", at, ("average", "one place"))
    return at
