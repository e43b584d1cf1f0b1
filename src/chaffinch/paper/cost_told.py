"""What does a pace cost? The whole, time and grain over speed, drawn for desk and paper."""

from __future__ import annotations

from chaffinch.book.figures import rounded
from chaffinch.book.pace import PaceAnswer
from chaffinch.book.shown_unit import PaceUnit
from chaffinch.engine.estimate import Range
from chaffinch.paper import drawing
from chaffinch.paper.drawing import Drawing
from chaffinch.paper.words import words


def cost_drawing(found: PaceAnswer, unit: PaceUnit, *, name: str = "cost") -> Drawing:
    """What a pace costs: the whole with its range, and time and grain apart; below the axis the best pace's band."""
    rows, answer = found.pace.table, found.pace
    speeds = [unit.speeds(row.speed_kmh) for row in rows]
    tried = [unit.speeds(row.speed_kmh) for row in rows if row.tested]
    whole = drawing.Curve(
        speeds,
        [Range(row.cost_per_ha.low, row.mean_cost_per_ha, row.cost_per_ha.high).times(unit.ha) for row in rows],
        (min(tried), max(tried)) if tried else None,
    )
    lines = (
        drawing.Line(words("report.pace.time"), speeds, [row.time_cost_per_ha * unit.ha for row in rows], "dashed"),
        drawing.Line(words("report.pace.grain"), speeds, [row.loss_cost_per_ha * unit.ha for row in rows], "dotted",
                     "start"),
    )  # fmt: skip
    best, (low, high) = unit.speeds(answer.best_kmh), (unit.speeds(v) for v in answer.band_kmh)
    money = unit.sign.strip() or "money"
    today = None if answer.today is None else unit.speeds(answer.today.speed_kmh)
    return drawing.chart(
        drawing.Chart(
            whole, (), unit.speed, f"{money}/{unit.loss.land}", Range(low, best, high), today,
            words("combine.now_notch") if today is not None else "", lines,
        ),
        title=words("report.pace.cost", combine=found.curves.combine.name, crop=found.curves.crop, money=money,
                    land=unit.loss.land),
        about=words("report.pace.cost.about", best=f"{rounded(best, 1)} {unit.speed}"),
        name=name,
    )  # fmt: skip
