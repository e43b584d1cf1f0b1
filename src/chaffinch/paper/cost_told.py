"""What does a pace cost? The whole, time and grain over speed, drawn for desk and paper."""

from __future__ import annotations

from typing import Final

import numpy as np

from chaffinch.book.figures import rounded
from chaffinch.book.pace.best import PaceAnswer
from chaffinch.book.pace.said import own_checks
from chaffinch.book.shown_unit import PaceUnit
from chaffinch.engine.estimate import Range
from chaffinch.paper import drawing
from chaffinch.paper.drawing import Drawing
from chaffinch.paper.words import words

KG_PER_T: Final = 1000.0


def cost_drawing(found: PaceAnswer, unit: PaceUnit, *, name: str = "cost", checks: bool = False) -> Drawing:
    """What a pace costs: the whole with its range, and time and grain apart; below the axis the best pace's band.

    With ``checks`` this machine's own stand on it too, each leading to its page.
    """
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
    own = own_costs(found, unit) if checks else []
    about = words("report.pace.cost.about", best=f"{rounded(best, 1)} {unit.speed}")
    return drawing.chart(
        drawing.Chart(
            whole, [(at, r) for at, r, _ in own], unit.speed, f"{money}/{unit.loss.land}", Range(low, best, high),
            today, words("combine.now_notch") if today is not None else "", lines,
            spots=[drawing.Spot(f"/check/{check}", _said(at, r, check, unit)) for at, r, check in own],
        ),
        title=words("report.pace.cost", combine=found.curves.combine.name, crop=found.curves.crop, money=money,
                    land=unit.loss.land),
        about=f"{about} {words('combine.cost.points')}" if own else about,
        name=name,
    )  # fmt: skip


def own_costs(found: PaceAnswer, unit: PaceUnit) -> list[tuple[float, Range, str]]:
    """This machine's checks on the curve of the cost: speed, money per area with its range, id.

    What a check saw behind the machine counts at the price; header loss (its middle) and time are the curves' at that
    speed. A check whose load lies at a speed beyond the curve is left out.
    """
    rows = found.pace.table
    speeds = [row.speed_kmh for row in rows]
    header = [0.0 if row.header_kg_ha is None else row.header_kg_ha.median for row in rows]
    told = []
    for at, seen, check in own_checks(found, unit):
        kmh = at * unit.kmh
        if not speeds[0] <= kmh <= speeds[-1]:
            continue
        rest = np.interp(kmh, speeds, [row.time_cost_per_ha for row in rows])
        price = found.price_per_t / KG_PER_T
        rest += price * np.interp(kmh, speeds, header)
        kg_ha = seen.times(1.0 / unit.loss.factor)
        cost = Range(*(float(rest + price * x) for x in (kg_ha.low, kg_ha.median, kg_ha.high)))
        told.append((at, cost.times(unit.ha), check))
    return told


def _said(at: float, r: Range, check: str, unit: PaceUnit) -> str:
    """A point's figures in one line."""
    likely = words("likely", low=unit.money(r.low / unit.ha), high=unit.money(r.high / unit.ha))
    money = unit.money(r.median / unit.ha)
    return f"{check[:8]} · {rounded(at, 1)} {unit.speed} · {money}/{unit.loss.land}, {likely}"
