"""How is a best pace told on a page: headline and ruler, advice, the table of costs, the curve with its points?"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from chaffinch.book.figures import range_words, rounded
from chaffinch.book.pace.best import PaceAnswer
from chaffinch.book.pace.said import (
    ASSUMED,
    SENDS_OUT,
    SHAPE,
    advice_said,
    best_said,
    headers_behind,
    hour_said,
    limit_said,
    load_said,
    nearest,
    own_checks,
    points_left_out,
    remarks_said,
    table_about,
    table_rows,
    today_said,
)
from chaffinch.book.shown_unit import PaceUnit
from chaffinch.book.wording import CAUTION
from chaffinch.engine.estimate import Range
from chaffinch.paper import drawing
from chaffinch.paper.cost_told import cost_drawing
from chaffinch.paper.drawing import Drawing
from chaffinch.paper.words import words


@dataclass(frozen=True, slots=True)
class Told:
    """A best pace as the combine's page shows it."""

    best: str
    unit: str
    rest: str
    seen: str
    ruler: Drawing
    shape: str
    advice: str
    against: str
    limit: str
    chart: Drawing
    costs: Drawing
    table: list[list[str]]
    table_about: str
    points: list[list[str]]
    caution: str
    remarks: list[str]
    taken: list[str]


def told_of(found: PaceAnswer, unit: PaceUnit) -> Told:
    """A pace laid out for a page, in the person's units."""
    pace, curves = found.pace, found.curves
    best, (low, high) = unit.speeds(pace.best_kmh), (unit.speeds(v) for v in pace.band_kmh)
    rest = best_said(found, unit)
    today = None if pace.today is None else unit.speeds(pace.today.speed_kmh)
    picture = drawing.ruler(
        Range(low, best, high), unit.speed, title=rest,
        about=words("check.about", low=rounded(low, 1), middle=rounded(best, 1), high=rounded(high, 1),
                    unit=unit.speed), name="pace", limit=today, limit_name=words("combine.now_notch"),
    )  # fmt: skip
    remarks = remarks_said(found)
    remarks += [text for text in (headers_behind(found), load_said(curves), points_left_out(curves)) if text]
    return Told(
        best=rounded(best, 1),
        unit=unit.speed,
        rest=rest,
        seen=words("combine.own", own=_checks(len(curves.own)), all=len(curves.points)),
        ruler=picture,
        shape=SHAPE[pace.advice] if pace.today is not None else "",
        advice=advice_said(found, unit),
        against=today_said(found, unit) or words("combine.tell_now"),
        limit=limit_said(found, unit),
        chart=response_drawing(found, unit),
        costs=cost_drawing(found, unit, checks=True),
        table=table_rows(found, unit),
        table_about=table_about(unit),
        points=_points(found, unit),
        caution=CAUTION if SENDS_OUT & set(pace.remarks) else "",
        remarks=remarks,
        taken=_taken(found, unit),
    )


def _checks(n: int) -> str:
    return words("today.one") if n == 1 else words("today.many", n=n)


def response_drawing(found: PaceAnswer, unit: PaceUnit) -> Drawing:
    """Machine loss by speed, with this combine's own checks at the speed that gives their load today."""
    rows, pace = found.pace.table, found.pace
    tried = [unit.speeds(row.speed_kmh) for row in rows if row.tested]
    curve = drawing.Curve(
        [unit.speeds(row.speed_kmh) for row in rows],
        [row.machine_kg_ha.times(unit.loss.factor) for row in rows],
        (min(tried), max(tried)) if tried else None,
    )
    best, (low, high) = unit.speeds(pace.best_kmh), (unit.speeds(v) for v in pace.band_kmh)
    at_best = nearest(rows, pace.best_kmh).machine_kg_ha.times(unit.loss.factor)
    loss_low, _, loss_high = range_words(at_best)
    own = own_checks(found, unit)
    points = [(at, r) for at, r, _ in own]
    return drawing.chart(
        drawing.Chart(
            curve, points, unit.speed, unit.loss.name, Range(low, best, high),
            None if pace.today is None else unit.speeds(pace.today.speed_kmh), words("combine.now_notch"),
            spots=[drawing.Spot(f"/check/{check}", _said(at, r, check, unit)) for at, r, check in own],
        ),
        title=words("combine.curve"),
        about=words("combine.curve.about", low=loss_low, high=loss_high, unit=unit.loss.name,
                    best=f"{rounded(best, 1)} {unit.speed}", points=len(points)), name="curve",
    )  # fmt: skip


def _said(at: float, r: Range, check: str, unit: PaceUnit) -> str:
    """A point's figures in one line."""
    low, middle, high = range_words(r)
    likely = words("likely", low=low, high=high)
    return f"{check[:8]} · {rounded(at, 1)} {unit.speed} · {middle} {unit.loss.name}, {likely}"


def _points(found: PaceAnswer, unit: PaceUnit) -> list[list[str]]:
    rows = [[words("column.check"), unit.speed, words("low"), words("middle"), words("high")]]
    for at, r, record_id in sorted(own_checks(found, unit), key=lambda one: one[0]):
        rows.append([record_id[:8], rounded(at, 1), *range_words(r)])
    return rows


def _taken(found: PaceAnswer, unit: PaceUnit) -> list[str]:
    told = [hour_said(found, unit)]
    return told + [words(f"combine.assumed.{key}") if key in ASSUMED_HERE else ASSUMED[key] for key in found.assumed]


ASSUMED_HERE: Final = ("yield from checks", "efficiency", "usual condition")
"""Assumptions that the shared table mends with a flag of the command line; here the form's field is named."""
