"""How is a season laid out for people: the sum below a ruler, fields, crops, sources, and a fair comparison?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Final

from chaffinch.book.desk import Desk
from chaffinch.book.figures import plain_number, range_words, rounded
from chaffinch.book.season.ledger import By, FairSource, Ledger, SeasonField, compare
from chaffinch.book.season.said import (
    ASSUMED,
    DRIVERS_APART,
    FAIR,
    MEASURED,
    NO_RECORD,
    PRICES,
    doubted_said,
    left_by,
    left_out_said,
    missing_said,
    other_crops_said,
    pair_said,
    taken_said,
)
from chaffinch.book.shown_unit import Unit, area_said, unit_for, whole_unit
from chaffinch.book.things import Thing
from chaffinch.book.wording import SOURCE
from chaffinch.engine.estimate import Range
from chaffinch.engine.ledger.season import CropLoss
from chaffinch.paper import drawing
from chaffinch.paper.drawing import Drawing
from chaffinch.paper.season_map import Tile, season_map, thirds
from chaffinch.paper.told import Amount, money_said
from chaffinch.paper.words import words

T_PER_KG: Final = 0.001
AMERICAN: Final = "bu/ac"
"""The unit of loss by which a person asked for North American measures, short tons with them."""
KG_PER_SHORT_TON: Final = 907.18474
"""Exact, by the international pound."""
_CONDITIONS: Final = {"humidity_pct": "% RH", "straw_moisture_pct": "% straw", "grain_moisture_pct": "% grain"}


MOST_ROWS: Final = 26
"""Fields below one rule: as many as a page of paper holds; own figure."""


@dataclass(frozen=True, slots=True)
class Picture:
    """A drawing of several fields in one unit."""

    unit: str
    drawing: Drawing


@dataclass
class Told:
    """A season as its page shows it."""

    amount: Amount | None = None
    left: str = ""
    ruler: Drawing | None = None
    money: str = ""
    map: Drawing | None = None
    pictures: list[Picture] = field(default_factory=list)
    fields: list[dict[str, str]] = field(default_factory=list)
    crops: list[list[str]] = field(default_factory=list)
    sources: list[list[str]] = field(default_factory=list)
    remarks: list[str] = field(default_factory=list)


def told_of(desk: Desk, found: Ledger, report_in: str | None) -> Told:
    """A season laid out for a page, in the unit chosen; None for the farm's."""
    told = Told()
    if found.loss is None or found.loss.whole.judged is None:
        told.remarks = _left_out(found)
        return told
    judged = found.loss.whole.judged
    unit = whole_unit(desk, report_in)
    weight = (1.0 / KG_PER_SHORT_TON, "short tons") if report_in == AMERICAN else (T_PER_KG, "t")
    r = judged.kg.times(weight[0])
    currency = found.currency or unit.currency
    told.amount = Amount.of(r, weight[1])
    told.left = words("season.left", area=area_said(judged.area_ha, unit), by=left_by(found))
    told.ruler = drawing.ruler(
        r, weight[1], title=words("season.drawing", unit=weight[1]),
        about=words("check.about", low=told.amount.low, middle=told.amount.middle, high=told.amount.high,
                    unit=weight[1]), name="season",
    )  # fmt: skip
    if judged.money is not None:
        on = ""
        if judged.priced_ha < judged.area_ha - 1e-9:
            on = words("season.priced", area=area_said(judged.priced_ha, unit))
        said = money_said(judged.money, currency)
        told.money = words("season.money", money=said.middle, low=said.low, high=said.high, on=on)
    told.fields, told.pictures = _fields(desk, found, report_in, currency)
    told.map = _map(found, unit)
    told.crops = _crops(found, unit, currency, weight)
    told.sources = _sources(found.loss.whole, unit, weight)
    told.remarks = _remarks(found, unit, weight)
    return told


def _fields(
    desk: Desk, found: Ledger, report_in: str | None, currency: str
) -> tuple[list[dict[str, str]], list[Picture]]:
    assert found.loss is not None
    rows: list[dict[str, str]] = []
    drawn: dict[str, list[drawing.Row]] = {}
    for one in found.fields:
        loss = found.loss.fields.get(one.thing.id)
        bushels = [c.check.bushel_kg for c in one.checks if c.check.bushel_kg is not None]
        unit = unit_for(desk, one.crop or None, bushels, report_in=report_in)
        row = {
            "id": one.thing.id, "name": one.thing.title, "crop": one.crop, "checks": str(len(one.checks)),
            "loss": words("season.row_no_area" if one.area_ha is None else "season.not_measured"),
            "likely": "", "unit": unit.name, "money": "", "only": "",
        }  # fmt: skip
        if loss is not None and loss.judged is not None:
            r = loss.judged.kg_ha.times(unit.factor)
            row["unit"] = unit.name
            low, row["loss"], high = range_words(r)
            row["likely"] = f"{low} to {high}"
            row["money"] = "" if loss.judged.money is None else money_said(loss.judged.money, currency).middle
            missing = loss.coverage.missing
            row["only"] = words("season.not_seen", sources=" and ".join(missing)) if missing else ""
            drawn.setdefault(unit.name, []).append(drawing.Row(one.thing.name, r, spot=_spot(one, r, unit)))
        rows.append(row)
    pictures: list[Picture] = []
    for unit_name, given in drawn.items():
        ordered = sorted(given, key=lambda row: -row.range.median)
        reach = max(row.range.high for row in ordered)
        for start in range(0, len(ordered), MOST_ROWS):
            picture = drawing.rows(
                ordered[start : start + MOST_ROWS], unit_name,
                title=words("season.fields.drawing", unit=unit_name),
                about=words("season.fields.about", unit=unit_name), name=f"fields-{len(pictures)}", reach=reach,
            )  # fmt: skip
            pictures.append(Picture(unit_name, picture))
    return rows, pictures


def _spot(one: SeasonField, r: Range, unit: Unit) -> drawing.Spot:
    """A field's row: its name, crop and loss, and its page."""
    low, middle, high = range_words(r)
    loss = f"{middle} {unit.name}, {words('likely', low=low, high=high)}"
    return drawing.Spot(f"/field/{one.thing.id}", " · ".join(x for x in (one.thing.name, one.crop, loss) if x))


def _tile_spot(one: SeasonField, r: Range | None, said: str, unit: Unit) -> drawing.Spot:
    """A field's tile: as its row; where nothing was measured, that."""
    if r is not None:
        return _spot(one, r, unit)
    return drawing.Spot(f"/field/{one.thing.id}", " · ".join(x for x in (one.thing.name, one.crop, said) if x))


def _map(found: Ledger, unit: Unit) -> Drawing | None:
    """The fields with an area as tiles, numbered as in the table, in the season's one unit."""
    if found.loss is None:
        return None
    tiles = []
    for number, one in enumerate(found.fields, start=1):
        if one.area_ha is None:
            continue
        loss = found.loss.fields.get(one.thing.id)
        r = None if loss is None or loss.judged is None else loss.judged.kg_ha.times(unit.factor)
        said = words("season.not_measured") if r is None else range_words(r)[1]
        tiles.append(Tile(str(number), one.thing.name, one.area_ha, r, said, _tile_spot(one, r, said, unit)))
    if not tiles:
        return None
    levels = thirds([one.loss for one in tiles])
    spans = []
    for level, which in enumerate(("first", "second", "last"), start=1):
        own = [one.loss for one, found_level in zip(tiles, levels, strict=True) if found_level == level and one.loss]
        name = words(f"report.map.{which}")
        if not own:
            spans.append(words("report.map.third.empty", which=name))
            continue
        least, most = min(own, key=lambda r: r.median), max(own, key=lambda r: r.median)
        low, high = range_words(least)[1], range_words(most)[1]
        key = "report.map.third.one" if low == high else "report.map.third"
        spans.append(words(key, which=name, low=low, high=high, unit=unit.name))
    spans += [words("report.map.none")] if 0 in levels else []
    title = words("report.map.title", unit=unit.name)
    return season_map(tiles, unit.name, title=title, about=words("report.map.about"), name="map", spans=spans)


def _crops(found: Ledger, unit: Unit, currency: str, weight: tuple[float, str]) -> list[list[str]]:
    assert found.loss is not None
    rows = [[words("column.crop"), words("column.area"), words("column.unchecked"), weight[1], words("column.likely"),
             currency or "money"]]  # fmt: skip
    for name, one in found.loss.crops.items():
        row = [name, area_said(one.area_ha, unit), f"{round(one.unchecked_pct)} %"]
        if one.judged is None:
            rows.append([*row, "", words("season.not_measured"), ""])
            continue
        low, middle, high = range_words(one.judged.kg.times(weight[0]))
        money = "" if one.judged.money is None else money_said(one.judged.money, currency).middle
        rows.append([*row, middle, f"{low} to {high}", money])
    return rows


def _sources(one: CropLoss, unit: Unit, weight: tuple[float, str]) -> list[list[str]]:
    rows = [[words("column.source"), unit.name, words("column.likely"), weight[1], words("column.area")]]
    for source, total in one.sources.items():
        low, middle, high = range_words(total.kg_ha.times(unit.factor))
        mass = range_words(total.kg.times(weight[0]))[1]
        rows.append([SOURCE[source], middle, f"{low} to {high}", mass, area_said(total.area_ha, unit)])
    return rows


def _remarks(found: Ledger, unit: Unit, weight: tuple[float, str]) -> list[str]:
    assert found.loss is not None
    whole = found.loss.whole
    assert whole.judged is not None
    told = [MEASURED.format(area=f"{area_said(whole.judged.area_ha, unit)} of {area_said(whole.area_ha, unit)}")]
    if whole.assumed is not None and (
        whole.assumed.area_ha > whole.judged.area_ha + 1e-9
        or abs(whole.assumed.kg.median / whole.judged.kg.median - 1.0) > 0.005
    ):
        low, middle, high = range_words(whole.assumed.kg.times(weight[0]))
        kg = f"{middle} {weight[1]} ({words('likely', low=low, high=high)})"
        told.append(ASSUMED.format(kg=kg, area=area_said(whole.assumed.area_ha, unit)))
    told += [*missing_said(found), *other_crops_said(found), *doubted_said(found)]
    told += [PRICES] if whole.judged.money is not None else []
    return [*told, *taken_said(found), *_left_out(found), NO_RECORD]


def _left_out(found: Ledger) -> list[str]:
    told = []
    if found.without_area:
        told.append(words("season.no_area", names=", ".join(one.thing.name for one in found.without_area)))
    if found.unfiled:
        told.append(words("season.unfiled.one") if found.unfiled == 1 else words("season.unfiled", n=found.unfiled))
    return told


def compared(desk: Desk, thing: Thing, fair: Mapping[str, str], step: Any, *, tables: int = 1) -> dict[str, Any]:
    """Drivers or combines held against each other: ``fair`` says by, source and crop; names, never a ranking.

    ``tables`` is how many of them stand side by side.
    """
    by: By = "operator" if fair["by"] == "operator" else "combine"
    source: FairSource = "header" if fair["source"] == "header" else "machine"
    crop, found, left_out = compare(
        desk, thing, by=by, crop=fair["crop"] or None, source=source, tables=tables, progress=step
    )
    rows = [
        [
            words(f"season.by.{by}"),
            words("column.checks"),
            words("column.days"),
            words("column.load"),
            words("column.conditions"),
        ]
    ]
    rows += [
        [one.name, str(one.checks), str(len(one.blocks)), _loads(one.load), _conditions(one.conditions)]
        for one in found.groups
    ]
    pairs = []
    for pair in found.pairs:
        low, middle, high = (rounded(v, 2) for v in (pair.ratio.low, pair.ratio.median, pair.ratio.high))
        against = words("season.against", first=pair.first, second=pair.second, low=low, middle=middle, high=high)
        said = f"{pair_said(pair)} {DRIVERS_APART}" if pair.drivers_apart else pair_said(pair)
        pairs.append(("▸" if pair.claim else "◆", against, said))
    notes = [left_out_said(why, n) for why, n in left_out.items()]
    notes += [words("season.machine_only" if source == "machine" else "season.header_only")]
    return {"crop": crop, "said": FAIR, "rows": rows, "pairs": pairs, "notes": notes}


def _loads(load: Sequence[float]) -> str:
    return " · ".join(plain_number(v, 2) for v in load)


def _conditions(told: Any) -> str:
    return ", ".join(f"{low:g}–{high:g} {_CONDITIONS[k]}" for k, (low, high) in told.items() if k in _CONDITIONS)
