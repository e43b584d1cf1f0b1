"""How is a combine's loss against its load told, before anybody asked for a pace?"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from chaffinch.book.checks.points import CheckPoint
from chaffinch.book.figures import range_words, rounded
from chaffinch.book.pace.curves import Curves, seen_range
from chaffinch.book.pace.said import load_said, points_left_out
from chaffinch.book.shown_unit import PaceUnit
from chaffinch.engine.estimate import DrawBelief, Range, range_of
from chaffinch.paper import drawing
from chaffinch.paper.drawing import Drawing
from chaffinch.paper.words import words

PLACES: Final = 25
"""Loads at which the curve is worked out."""
BEYOND: Final = 1.2
"""How far the drawing goes below and above the loads checked [1]; own figure."""
LOAD: Final = "t/h"


@dataclass(frozen=True, slots=True)
class CurveTold:
    """Loss against load as the combine's page shows it; ``chart`` is None where no check of its own tells a load."""

    chart: Drawing | None
    points: list[list[str]]
    seen: str
    remarks: list[str]


def told_of(curves: Curves, unit: PaceUnit) -> CurveTold:
    """A curve laid out for a page, in the person's units; a throughput stands in t/h."""
    own = sorted(((_shown(curves, _load(curves, point), unit), point) for point in curves.own), key=lambda one: one[0])
    remarks = [text for text in (load_said(curves), points_left_out(curves)) if text]
    x_unit = LOAD if curves.load_kind == "throughput" else unit.speed
    count = words("today.one") if len(own) == 1 else words("today.many", n=len(own))
    seen = words("combine.own", own=count, all=len(curves.points))
    rows = [[words("column.check"), x_unit, words("low"), words("middle"), words("high")]]
    if not own:
        return CurveTold(None, rows, seen, remarks)
    ranges = [(at, seen_range(point, "machine").times(unit.loss.factor), point.logged.id) for at, point in own]
    rows += [[check[:8], rounded(at, 1), *range_words(r)] for at, r, check in ranges]
    chart = drawing.chart(
        drawing.Chart(
            _curve(curves, unit), [(at, r) for at, r, _ in ranges], x_unit, unit.loss.name,
            spots=[drawing.Spot(f"/check/{check}", _said(at, r, check, x_unit, unit)) for at, r, check in ranges],
        ),
        title=words("combine.load"),
        about=words("combine.load.about", points=len(own), low=rounded(own[0][0], 1), high=rounded(own[-1][0], 1),
                    unit=x_unit), name="load",
    )  # fmt: skip
    return CurveTold(chart, rows, seen, remarks)


def _curve(curves: Curves, unit: PaceUnit) -> drawing.Curve:
    loads = [_load(curves, point) for point in curves.points]
    at = np.linspace(min(loads) / BEYOND, max(loads) * BEYOND, PLACES)
    draws = curves.machine.loss_kg_ha(at, combine=curves.combine.id)
    ranges = [range_of(DrawBelief(column, curves.machine.weights)).times(unit.loss.factor) for column in draws.T]
    tested = curves.machine.tested(curves.combine.id)
    tried = None if tested is None else (_shown(curves, tested[0], unit), _shown(curves, tested[1], unit))
    return drawing.Curve([_shown(curves, float(load), unit) for load in at], ranges, tried)


def _load(curves: Curves, point: CheckPoint) -> float:
    load = point.throughput_t_h if curves.load_kind == "throughput" else point.speed_kmh
    if load is None:
        raise ValueError("a check on the curve has a load")
    return load


def _shown(curves: Curves, load: float, unit: PaceUnit) -> float:
    return load if curves.load_kind == "throughput" else unit.speeds(load)


def _said(at: float, r: Range, check: str, x_unit: str, unit: PaceUnit) -> str:
    """A point's figures in one line."""
    low, middle, high = range_words(r)
    return f"{check[:8]} · {rounded(at, 1)} {x_unit} · {middle} {unit.loss.name}, {words('likely', low=low, high=high)}"
