"""How is a monitor key told on a page: a table from bar to loss, one from loss to bar, and whether it still stands?"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Final

from chaffinch.book.figures import plain_number, range_words, rounded
from chaffinch.book.monitors.key import MonitorFound
from chaffinch.book.monitors.said import (
    HEADER,
    NOT_YET,
    OF_LOG,
    PER,
    catches_said,
    left_out_said,
    sensor_said,
    standing_said,
)
from chaffinch.book.shown_unit import PaceUnit
from chaffinch.engine.estimate import Range
from chaffinch.errors import InputError
from chaffinch.paper.drawing import step_of
from chaffinch.web.mends import said
from chaffinch.web.words.desk import words

ROWS: Final = 6
"""Rows of each table, about; own figure."""


@dataclass
class Told:
    """A key as the combine's page shows it; ``missing`` says why there is none yet.

    ``others`` are the other sensors with a key of their own: each by its column and what it is called.
    """

    header: str
    pairs: str = ""
    missing: str = ""
    by_bar: list[list[str]] = field(default_factory=list)
    by_bar_about: str = ""
    by_loss: list[list[str]] = field(default_factory=list)
    by_loss_about: str = ""
    remarks: list[str] = field(default_factory=list)
    others: list[tuple[str, str]] = field(default_factory=list)


def told_of(found: MonitorFound | InputError, unit: PaceUnit) -> Told:
    """A monitor key laid out for a page, in the person's units."""
    if isinstance(found, InputError):
        return Told(HEADER, missing=said(found))
    key = found.key
    told = Told(HEADER, words("combine.monitor.pairs", n=len(found.pairs)))
    told.others = [(one, sensor_said(one)) for one in found.others]
    told.remarks = [*catches_said(found), *left_out_said(found.left_out)]
    if found.sensor:
        told.remarks.insert(0, OF_LOG.format(name=sensor_said(found.sensor)))
    if key.missing:
        told.missing = NOT_YET.format(missing="; ".join(key.missing))
        return told
    speeds: Sequence[float | None] = found.speeds_kmh if key.per == "time" else (None,)
    heads = [
        words("combine.monitor.any")
        if v is None
        else words("combine.monitor.at", speed=f"{rounded(unit.speeds(v), 1)} {unit.speed}")
        for v in speeds
    ]
    ends = [key.readings_tried(v) for v in speeds]
    bars = _round_steps(min(low for low, _ in ends), max(high for _, high in ends))
    cells = key.table(bars, [], speeds)
    told.by_bar = [[words("combine.monitor.bar"), *heads]]
    for reading, losses in zip(cells.readings, cells.loss_kg_ha, strict=True):
        told.by_bar.append([f"{reading:g}", *(_loss(r, unit) for r in losses)])
    told.by_bar_about = words("combine.monitor.loss", unit=unit.loss.name)
    factor = unit.loss.factor
    # A line that falls, as chance can draw it, has its higher loss at the lower bar.
    reached = [key.loss_kg_ha(bar, v).median * factor for v, both in zip(speeds, ends, strict=True) for bar in both]
    wanted = _round_steps(min(reached), max(reached))
    back = key.table([], [x / factor for x in wanted], speeds)
    told.by_loss = [[unit.loss.name, *heads]]
    for loss, bars_for in zip(wanted, back.reading_for, strict=True):
        told.by_loss.append([f"{loss:g}", *(_bars(r) for r in bars_for)])
    told.by_loss_about = words("combine.monitor.by_loss")
    told.remarks = [PER[key.per], *standing_said(found.standing, found.tested_on), *told.remarks]
    return told


def _loss(r: Range | None, unit: PaceUnit) -> str:
    if r is None:
        return words("none")
    low, middle, high = range_words(r.times(unit.loss.factor))
    return f"{middle} ({low} to {high})"


def _bars(r: Range | None) -> str:
    return words("none") if r is None else f"{plain_number(r.low, 2)} to {plain_number(r.high, 2)}"


def _round_steps(low: float, high: float) -> list[float]:
    """Round numbers from about ``low`` to about ``high``; of one single value that value."""
    if not high > low:
        return [low]
    step = step_of(high - low, ROWS - 1)
    first, last = max(1, math.ceil(low / step)), math.floor(high / step)
    return [round(step * k, 10) for k in range(first, last + 1)] or [low]
