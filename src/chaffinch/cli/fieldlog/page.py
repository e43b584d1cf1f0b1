"""How a field log looks in the terminal, and as JSON."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

from chaffinch.book.fieldlogs.said import (
    HAS_LOSS,
    NO_LOSS,
    aside_said,
    flag_said,
    lags_said,
    problem_said,
    question_said,
    warnings_said,
)
from chaffinch.book.figures import plain_number
from chaffinch.cli.terminal.page import Page

if TYPE_CHECKING:
    from chaffinch.book.fieldlogs.folder import LogDone
    from chaffinch.book.fieldlogs.large import LogWalked
    from chaffinch.book.fieldlogs.one_log import LogCleaned, LogFound, PartFigures
    from chaffinch.book.shown_unit import PaceUnit

KG_PER_T: Final = 1000.0


@dataclass(frozen=True, slots=True)
class LogUnits:
    """What a page about a log is told in: names, and what one of our unit is in them.

    Attributes
    ----------
    land, weight, crop, speed : str
        Names of the units of area, grain, yield and speed.
    per_ha, per_t, per_t_ha, per_kmh : float
        One hectare, tonne, tonne per hectare and kilometre per hour in them.
    """

    land: str = "ha"
    weight: str = "t"
    crop: str = "t/ha"
    speed: str = "km/h"
    per_ha: float = 1.0
    per_t: float = 1.0
    per_t_ha: float = 1.0
    per_kmh: float = 1.0

    @classmethod
    def of(cls, unit: PaceUnit) -> LogUnits:
        """The farm's: where losses are told in bushels, grain is too."""
        if unit.loss.name == "kg/ha":
            return cls()
        bushels = unit.loss.name.startswith("bu") and unit.bushel_kg is not None
        weight, per_t = ("bu", KG_PER_T / unit.bushel_kg) if bushels and unit.bushel_kg else ("t", 1.0)
        factor = KG_PER_T * unit.loss.factor
        return cls(unit.loss.land, weight, unit.loss.name, unit.speed, 1 / unit.ha, per_t, factor, 1 / unit.kmh)


METRIC: Final = LogUnits()
TELL: Final = '--column "NAME=MEANING:UNIT"'
"""How a column is told here."""


def show_found(found: LogFound, page: Page, units: LogUnits = METRIC) -> None:
    """Print what is in a log."""
    parts = f"{len(found.parts)} {'part' if len(found.parts) == 1 else 'parts'}"
    page.say()
    page.two_ends(f"Field log · {found.kind}", f"{found.records:,} records in {parts}")
    page.say()
    head = [units.land, units.weight, units.crop, f"{units.weight}/h", units.speed]
    rows = [["part", "records", *head, "moisture"]]
    factors = (units.per_ha, units.per_t, units.per_t_ha, units.per_t, units.per_kmh)
    for part in found.parts:
        figures = (part.area_ha, part.grain_t, part.yield_t_ha, part.throughput_t_h, part.speed_kmh)
        moisture = "–" if math.isnan(part.moisture_pct) else f"{part.moisture_pct:.1f} %"
        rows.append(
            [
                part.name,
                f"{part.records:,}",
                *(_number(v * per) for v, per in zip(figures, factors, strict=True)),
                moisture,
            ]
        )
    page.print_table(rows)
    page.paragraph("Areas count overlaps twice; the last four are the middle of the records in work.")
    page.say()
    for part in found.parts:
        told = _part_told(part, units)
        if told:
            page.paragraph(told, bullet="· ")
    if not math.isnan(found.recomputed):
        ratio = f"{found.recomputed:.4f}"
        page.paragraph(f"Flow × interval ÷ (distance × width) is {ratio} of the recorded yield.", bullet="· ")
    for column, how in found.derived.items():
        page.paragraph(f"{column} was not recorded; it was worked out: {how}.", bullet="· ")
    loss = found.loss_readings
    page.paragraph(HAS_LOSS.format(columns=", ".join(loss)) if loss else NO_LOSS, bullet="· ")
    for told in aside_said(found.matched, TELL):
        page.paragraph(told, bullet="· ")
    for header, meant in found.matched.items():
        if meant != "-":
            page.paragraph(f"{header}: {meant}", bullet="  ")
    for problem in found.problems:
        page.paragraph(problem_said(problem), bullet="! ")
    for question in found.questions:
        why, mend = question_said(question)
        page.paragraph(f"{question.what.removeprefix('element ')}: {why}; {mend}", bullet="? ")
    page.say()


def show_cleaned(done: LogCleaned | LogWalked, page: Page, units: LogUnits = METRIC) -> None:
    """Print what cleaning a log came to."""
    cleaned = done.cleaned
    n = max(cleaned.records, 1)
    page.say()
    page.two_ends(f"Field log · {done.found.kind}", f"{done.found.records:,} records")
    page.say()
    counted = f"{100 * (1 - cleaned.share_flagged):.0f} %"
    page.figure(counted, "of the records count; none was taken away")
    page.say()
    rows = [["does not count", "records", "share", "first"]]
    for one in cleaned.taken:
        if one.count:
            share = 100 * one.count / n
            rows.append([flag_said(one.flag), f"{one.count:,}", f"{share:.1f} %", f"{one.alone:,}"])
    if len(rows) > 1:
        page.print_table(rows)
        page.paragraph('A record may be flagged by several; "first" counts those no line above has.')
        page.say()
    area, grain = _number(done.area_ha * units.per_ha), _number(done.grain_t * units.per_t)
    crop = f"{_number(done.yield_t_ha * units.per_t_ha)} {units.crop}"
    page.paragraph(f"What counts: {grain} {units.weight} on {area} {units.land}, {crop} in the middle.", bullet="· ")
    for text in lags_said(sorted(cleaned.lags.items())):
        page.paragraph(text, bullet="· ")
    for problem in done.found.problems:
        page.paragraph(problem_said(problem), bullet="! ")
    too_much = warnings_said(cleaned)
    for text in (*too_much, *(aside_said(done.found.matched, TELL) if too_much else ())):
        page.paragraph(text, bullet="! ")
    page.say()


def show_each(all_done: Sequence[LogDone], page: Page) -> None:
    """Print what cleaning a folder of logs came to."""
    good = [one for one in all_done if not one.refused]
    page.say()
    page.two_ends(f"{len(good)} of {len(all_done)} logs cleaned", f"{sum(o.records for o in good):,} records")
    page.say()
    if good:
        rows = [["log", "records", "count", "t", "ha"]]
        for one in good:
            share = f"{100 * one.counting / max(one.records, 1):.0f} %"
            rows.append([one.name, f"{one.records:,}", share, _number(one.grain_t), _number(one.area_ha)])
        page.print_table(rows)
    for one in good:
        if one.too_much:
            page.paragraph(f"{one.name}: too much was flagged by {', '.join(one.too_much)}.", bullet="! ")
    for one in all_done:
        if one.refused:
            page.paragraph(f"{one.name} was left out: {one.refused}", bullet="! ")
    page.say()


def each_as_json(all_done: Sequence[LogDone]) -> list[dict[str, Any]]:
    """What cleaning a folder of logs came to, as data."""
    return [
        {key: list(v) if isinstance(v := getattr(one, key), tuple) else _plain(v) for key in one.__dataclass_fields__}
        for one in all_done
    ]


def found_as_json(found: LogFound) -> dict[str, Any]:
    """What is in a log, as data."""
    return {
        "kind": found.kind,
        "records": found.records,
        "parts": [
            {key: _plain(getattr(part, key)) for key in part.__dataclass_fields__} for part in found.parts
        ],
        "columns": list(found.columns),
        "matched": dict(found.matched),
        "derived": dict(found.derived),
        "loss_readings": list(found.loss_readings),
        "recomputed_over_recorded_yield": _plain(found.recomputed),
        "questions": [
            {"what": q.what, "why": q.why, "choices": list(q.choices), "mend": question_said(q)[1]}
            for q in found.questions
        ],
        "problems": [
            {"kind": p.kind, "where": p.where, "count": p.count, "detail": p.detail, "text": problem_said(p)}
            for p in found.problems
        ],
    }  # fmt: skip


def cleaned_as_json(done: LogCleaned | LogWalked, to: str | None) -> dict[str, Any]:
    """What cleaning a log came to, as data."""
    cleaned = done.cleaned
    n = max(cleaned.records, 1)
    return {
        "records": done.found.records,
        "counting": cleaned.counting,
        "share_flagged": round(cleaned.share_flagged, 6),
        "flags": [
            {
                "flag": str(one.flag.name).lower(),
                "value": int(one.flag),
                "records": one.count,
                "share": round(one.count / n, 6),
                "first_to_say_so": one.alone,
            }
            for one in cleaned.taken
        ],
        "too_much": [str(flag.name).lower() for flag in cleaned.too_much()],
        "lags": {
            name: {"found": lag.found, "seconds": lag.seconds, "sd_s": _plain(lag.sd_s), "pairs": lag.pairs}
            for name, lag in cleaned.lags.items()
        },
        "grain_t": _plain(done.grain_t),
        "area_ha": _plain(done.area_ha),
        "yield_t_ha": _plain(done.yield_t_ha),
        "settings": {key: getattr(cleaned.settings, key) for key in cleaned.settings.__dataclass_fields__},
        "problems": [problem_said(p) for p in done.found.problems],
        "written": to,
    }


def _part_told(part: PartFigures, units: LogUnits) -> str:
    told = [text for text in (part.field, part.machine) if text]
    if part.first:
        told.append(f"{part.first} to {part.last} UTC")
    if not math.isnan(part.stated_t):
        told.append(f"the machine's own total {_number(part.stated_t * units.per_t)} {units.weight}")
    if not math.isnan(part.stated_ha):
        told.append(f"{_number(part.stated_ha * units.per_ha)} {units.land}")
    return f"{part.name}: {', '.join(told)}" if told else ""


def _number(value: float) -> str:
    return "–" if math.isnan(value) else plain_number(value, 4)


def _plain(value: Any) -> Any:
    """A figure as JSON has it: what is missing is null."""
    return None if isinstance(value, float) and not math.isfinite(value) else value
