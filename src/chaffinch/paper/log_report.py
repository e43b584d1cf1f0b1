"""The report of a field log: what the whole field lost, where, at which speed and hour, and at another pace."""

from __future__ import annotations

import math
from typing import Any, Final

from chaffinch import units
from chaffinch.book.checks.plain_data import as_range
from chaffinch.book.fieldlogs.losses import LogLoss, measured
from chaffinch.book.fieldlogs.zones import ZonesTold
from chaffinch.book.shown_unit import PaceUnit
from chaffinch.paper import blocks
from chaffinch.paper.behind import method, prices
from chaffinch.paper.blocks import NAME, NUMBER, Block, Report
from chaffinch.paper.log_told import Told, told_of, weight_of
from chaffinch.paper.wanted import Wanted
from chaffinch.paper.words import words

SHORT_MAP: Final = 0.6
"""Width of the map on a short report over that of a full one [1]; own figure: one page holds it with all sentences."""


def log_report(found: LogLoss, unit: PaceUnit, sign: str, wanted: Wanted, *, name: str, price: str = "",
               zones: ZonesTold | None = None) -> Report:  # fmt: skip
    """The report of a field log.

    Parameters
    ----------
    found : LogLoss
        What the field lost.
    unit : PaceUnit
        Units of the page.
    sign : str
        Currency of all money.
    wanted : Wanted
        What the report is to be like.
    name : str
        Of the log.
    price : str
        As it was told; "" for none.
    zones : ZonesTold or None
        The zones it was summed by, for the map of a full report; a short one has no table that says their numbers.
    """
    told = told_of(found, unit, sign, weight_of(unit, wanted.report_in), None if wanted.short else zones)
    records = words("whole.lead", records=f"{found.log.cleaned.records:,}".replace(",", "\u202f"))
    combines = [one.curves.combine.id for one in found.machines]
    return Report(
        "log",
        words("whole.report", name=name),
        (found.combines, found.curves.crop, records),
        wanted.date,
        wanted.size,
        wanted.short,
        _blocks(found, told, wanted, price),
        wanted.footer(),
        figures(found),
        tuple(dict.fromkeys([*combines, *(p.logged.id for p in found.own)]))[:1000],
        _for_the_record(price, unit),
    )


def _for_the_record(price: str, unit: PaceUnit) -> str:
    """The price as a record holds it: told by the bushel it becomes one by the tonne, like every price of the book."""
    if "bu" not in price:
        return price
    read = units.read_not_negative(price, "price", field="price", bushel_kg=unit.bushel_kg)
    return f"{read.currency} {read.value!r} /t".strip()


def _blocks(found: LogLoss, told: Told, wanted: Wanted, price: str) -> list[Block]:
    likely = words("likely", low=told.amount.low, high=told.amount.high)
    made = [blocks.big(told.amount, f"{told.what}, {likely}"), blocks.picture(told.ruler, wanted.size)]
    made += [blocks.text(text) for text in (told.total, told.money) if text]
    made += [blocks.heading(words("whole.where")), blocks.figures_table(told.sources)]
    if told.machines:
        made += [blocks.heading(words("whole.machines")), blocks.figures_table(told.machines)]
        made += [blocks.text(words("whole.machines.about"), soft=True)]
    where = {**blocks.heading(words("whole.map")), "may_go": wanted.short}
    if told.map is None:
        made += [where, blocks.text(words("whole.map.none"), soft=True)]
    else:
        drawn = blocks.picture(told.map, wanted.size, named=True)
        if wanted.short:
            drawn |= {"width_mm": SHORT_MAP * drawn["width_mm"], "may_go": True}
        made += [where, drawn]
        made += [] if wanted.short else [blocks.figures_table(told.thirds)]
    if told.zones and not wanted.short:
        cols = [NUMBER, NAME, *[NUMBER] * (len(told.zones[0]) - 2)]
        made += [blocks.heading(words("whole.zones")), blocks.table(told.zones, cols)]
        made += [blocks.text(text, soft=True) for text in told.zones_said]
    if told.other:
        made += [blocks.heading(told.other_title), blocks.figures_table(told.other)]
        said = [" ".join(told.other_said)] if wanted.short else told.other_said
        made += [blocks.text(text) for text in said]
    for title, rows in ((words("whole.speed"), told.by_speed), (words("whole.hour"), told.by_hour)):
        if rows and not wanted.short:
            cols = [NAME, *[NUMBER] * (len(rows[0]) - 1)]
            made += [blocks.heading(title), blocks.table(rows, cols)]
    if (told.by_speed or told.by_hour) and not wanted.short:
        made.append(blocks.text(words("whole.classes"), soft=True))
    made += blocks.notes(words("mind"), told.rests)
    if wanted.short:
        return made
    cleaning = told.cleaning
    made += [blocks.heading(words("whole.clean")), blocks.text(f"{cleaning.said} {cleaning.counts}".strip())]
    if cleaning.rows:
        made += [blocks.figures_table(cleaning.rows), blocks.text(words("whole.clean.several"), soft=True)]
    made += blocks.notes("", cleaning.notes)
    made += prices([(found.curves.crop, price)] if price else [])
    sources = ["machine"] if found.header_kg is None else ["header", "machine"]
    return made + method(["log"], sources, yield_kg_ha=found.curves.yield_kg_ha)


def figures(found: LogLoss) -> dict[str, Any]:
    """The figures of the report as plain data, in kg, hectares and hours."""
    other = found.other
    return {
        **measured(found),
        "checks": len(found.own),
        "by_speed": [{"speed_kmh_from": c.low, "area_ha": c.area_ha, "kg_ha": c.kg_ha} for c in found.by_speed],
        "by_hour": [{"time_s_from": c.low, "area_ha": c.area_ha, "kg_ha": c.kg_ha} for c in found.by_hour],
        "squares": len(found.squares),
        "other_pace": None
        if other is None
        else {
            "speed_kmh": None if math.isnan(other.speed_kmh) else other.speed_kmh,
            "total_kg": as_range(other.total_kg),
            "saved_kg": as_range(other.saved_kg),
            "hours_cutting": other.hours,
            "money_saved": as_range(other.money_saved),
            "gain": as_range(other.gain),
        },
    }
