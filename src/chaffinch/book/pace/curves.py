"""What do the checks in the book say of loss against load? The curves of every combine in one crop."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final, Literal

import numpy as np

from chaffinch.book.checks.points import CheckPoint, shared_errors
from chaffinch.book.desk import Desk
from chaffinch.book.kept import Kept
from chaffinch.book.pace.crop_points import crop_points
from chaffinch.book.things import Thing
from chaffinch.engine.estimate import PRIOR_SD, Prior, Range, default_prior, estimate, range_of
from chaffinch.engine.ledger.sharing import SharedByBoth
from chaffinch.engine.response.fit import Response, fit_response
from chaffinch.engine.response.loss_point import LoadKind, LossPoint, choose_load
from chaffinch.how_far import Progress
from chaffinch.reference import crop as find_crop

CONDITIONS: Final = ("straw_moisture_pct", "humidity_pct", "grain_moisture_pct")
"""Conditions a curve may learn from, best first: straw is what toughens. One is used: they move together over a day,
and a handful of checks cannot tell them apart (own rule)."""
TOLD_BY: Final = 0.5
"""Share of the checks that must tell a condition before a curve uses it [1]; own figure."""

Curved = Literal["machine", "header"]


@dataclass(frozen=True, slots=True)
class Curves:
    """Loss against load in one crop.

    Attributes
    ----------
    crop : str
        Key of the crop.
    combine : Thing
        The combine asked about.
    machine : Response
        Machine loss over throughput or speed.
    header : Response or None
        Header loss over speed; None where no check in this crop saw it.
    load_kind : {"throughput", "speed"}
        What the machine curve stands over.
    points, header_points : tuple of CheckPoint
        Checks of all combines behind each curve.
    left_out : mapping of str to int
        How many checks say nothing to the machine curve, by why.
    condition, header_condition : str or None
        The condition that each curve learned from.
    slope_learned : float or None
        How much of the slope this combine's own checks taught, the others left aside: 1 − (sd after ÷ before) [1];
        None without a check.
    setup : str
        How this combine was set at its last check in this crop; "" where not told.
    yield_kg_ha : float or None
        Median yield of this combine's checks, else of all [kg/ha].
    shared : SharedByBoth
        Errors that the checks of each curve share, some of them both curves.
    """

    crop: str
    combine: Thing
    machine: Response
    header: Response | None
    load_kind: LoadKind
    points: tuple[CheckPoint, ...]
    header_points: tuple[CheckPoint, ...]
    left_out: Mapping[str, int]
    condition: str | None
    header_condition: str | None
    slope_learned: float | None
    setup: str
    yield_kg_ha: float | None
    shared: SharedByBoth

    @property
    def own(self) -> tuple[CheckPoint, ...]:
        """This combine's own checks behind the machine curve."""
        return tuple(p for p in self.points if p.combine == self.combine.id)

    @property
    def own_header(self) -> tuple[CheckPoint, ...]:
        """This combine's own checks behind the header curve."""
        return tuple(p for p in self.header_points if p.combine == self.combine.id)


_KEPT: Final[Kept[Curves]] = Kept(16)
"""Combines and crops; own figure: a farm's season report asks for fourteen, another hour cost for the same ones."""


def curves(
    desk: Desk,
    combine: Thing,
    crop: str,
    *,
    season: str | None = None,
    among: Sequence[str] = CONDITIONS,
    add: Callable[[CheckPoint], Mapping[str, float]] | None = None,
    joined: Callable[[CheckPoint], CheckPoint] | None = None,
    seed: int = 1,
    progress: Progress | None = None,
) -> Curves:
    """Fit the curves of one crop to the checks of the book, all combines together, and look at one of them.

    Parameters
    ----------
    desk : Desk
        The open book.
    combine : Thing
        Whose pace is asked for; it may have no check yet.
    crop : str
        The crop, by name or key.
    season : str or None
        Id of one season; None for all.
    among : sequence of str
        Conditions a curve may learn from, best first.
    add : callable or None
        Conditions that a check did not record and that are worked out for it.
    joined : callable or None
        The check with speed, width and yield from the machine's own log, where one tells them.
    seed : int
        Same seed, same answer.
    progress : callable or None
        Called with (done, of) while checks are read.

    Raises
    ------
    InputError
        For an unknown crop, or a check that cannot be answered.
    """
    key = find_crop(crop).key

    def work() -> Curves:
        every = list(crop_points(desk, key, season=season, seed=seed, progress=progress))
        if add is not None:
            every = [replace(point, conditions={**point.conditions, **add(point)}) for point in every]
        if joined is not None:
            every = [joined(point) for point in every]
        return _fitted(combine, key, every, among, seed)

    if add is not None or joined is not None:
        return work()
    return _KEPT.ask(desk, (combine.id, repr(sorted(combine.parts.items())), key, season, tuple(among), seed), work)


def _fitted(combine: Thing, key: str, every: Sequence[CheckPoint], among: Sequence[str], seed: int) -> Curves:
    """The curves of the points of one crop."""
    usable, left_out = _usable(every)
    own = [p for p in usable if p.combine == combine.id]
    yields = [p.yield_kg_ha for p in own or usable if p.yield_kg_ha is not None]
    usual_yield = float(np.median(yields)) if yields else None
    condition = _condition(usable, among)
    choice = choose_load([p.speed_kmh for p in usable], [p.throughput_t_h for p in usable]) if usable else None
    loads = choice.loads if choice else ()
    kind: LoadKind = choice.kind if choice else "speed"
    of_header = [p for p in every if "header" in p.evidence and p.combine and p.speed_kmh is not None]
    shared = SharedByBoth(
        shared_errors(own or usable),
        shared_errors([p for p in of_header if p.combine == combine.id] or of_header, "header"),
    )
    machine = fit_response(
        [loss_point(p, "machine", load) for p, load in zip(usable, loads, strict=True)],
        source="machine",
        prior=default_prior("machine", usual_yield),
        load_kind=kind,
        conditions=[condition] if condition else [],
        scale_sd=math.hypot(0.0, *shared.machine.values()),
        seed=seed,
    )
    header = None
    header_condition = _condition(of_header, among)
    if of_header:
        header = fit_response(
            [loss_point(p, "header", p.speed_kmh) for p in of_header if p.speed_kmh is not None],
            source="header",
            prior=default_prior("header", usual_yield),
            load_kind="speed",
            conditions=[header_condition] if header_condition else [],
            scale_sd=math.hypot(0.0, *shared.header.values()),
            seed=seed,
        )
    alone = None
    if own and len({p.combine for p in usable}) > 1:
        alone = fit_response(
            [loss_point(p, "machine", load) for p, load in zip(usable, loads, strict=True) if p.combine == combine.id],
            source="machine",
            prior=default_prior("machine", usual_yield),
            load_kind=kind,
            conditions=[condition] if condition else [],
            seed=seed,
        )
    last = max(own, key=lambda p: str(p.logged.body["taken_at"]), default=None)
    return Curves(
        crop=key,
        combine=combine,
        machine=machine,
        header=header,
        load_kind=kind,
        points=tuple(usable),
        header_points=tuple(of_header),
        left_out=left_out,
        condition=condition,
        header_condition=header_condition,
        slope_learned=(alone or machine).learned(combine.id).get("slope"),
        setup="" if last is None else last.setup,
        yield_kg_ha=usual_yield,
        shared=shared,
    )


def seen_range(point: CheckPoint, source: Curved) -> Range:
    """What one check says of a loss by itself [kg/ha], for drawing it beside the curve."""
    prior = point.priors.get(source, Prior(1.0, PRIOR_SD))
    return range_of(estimate(point.evidence[source], prior, 0.0))


def _usable(every: Sequence[CheckPoint]) -> tuple[list[CheckPoint], dict[str, int]]:
    """Checks that can stand on a curve of machine loss, and why the others cannot."""
    usable: list[CheckPoint] = []
    left_out: dict[str, int] = {}
    for point in every:
        why = ""
        if "machine" not in point.evidence:
            why = "did not see machine loss"
        elif not point.combine:
            why = "name no combine"
        elif point.speed_kmh is None:
            why = "tell no speed"
        if why:
            left_out[why] = left_out.get(why, 0) + 1
        else:
            usable.append(point)
    return usable, left_out


def _condition(points: Sequence[CheckPoint], among: Sequence[str]) -> str | None:
    for name in among:
        told = [p.conditions[name] for p in points if name in p.conditions]
        if len(told) >= max(3, TOLD_BY * len(points)) and len(set(told)) > 1:
            return name
    return None


def loss_point(point: CheckPoint, source: Curved, load: float) -> LossPoint:
    """One check as a point of one source's curve."""
    return LossPoint(
        point.evidence[source],
        load,
        combine=point.combine,
        operator=point.operator,
        setup=point.setup,
        conditions=point.conditions,
    )
