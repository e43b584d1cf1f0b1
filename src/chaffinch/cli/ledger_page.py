"""The pages of ``chaffinch ledger`` and ``where --season``: fields, crops, the whole, and the comparison of groups."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import TYPE_CHECKING

from chaffinch.book.figures import plain_number, range_words, rounded
from chaffinch.book.season.said import (
    ASSUMED,
    DRIVERS_APART,
    FAIR,
    MEASURED,
    NO_RECORD,
    PRICES,
    counted,
    doubted_said,
    left_by,
    left_out_said,
    missing_said,
    other_crops_said,
    pair_said,
    taken_said,
)
from chaffinch.book.shown_unit import area_said, whole_unit
from chaffinch.book.wording import SOURCE
from chaffinch.cli.book.figures import Unit, headline, unit_for
from chaffinch.cli.terminal.page import Page
from chaffinch.engine.estimate import Range

if TYPE_CHECKING:
    from chaffinch.book.desk import Desk
    from chaffinch.book.season.ledger import Ledger, SeasonField
    from chaffinch.book.things import Thing
    from chaffinch.engine.ledger.fair import Comparison
    from chaffinch.engine.ledger.season import CropLoss


def show(desk: Desk, found: Ledger, page: Page) -> None:
    """Print the season's ledger."""
    if not found.currency:
        found = replace(found, currency=unit_for(desk, None, []).currency)
    page.say()
    land = whole_unit(desk)
    area = area_said(sum(one.area_ha or 0.0 for one in found.fields), land)
    page.two_ends(f"Season {found.season.name}", f"{counted(found.checks)}, {_fields_of(found)}, {area}")
    page.say()
    if found.loss is None or found.loss.whole.judged is None:
        page.paragraph("Nothing to sum up yet: no field with an area has a check of header or machine loss.")
        _left_out(found, page)
        page.say()
        return
    _whole(found, land, page)
    _fields(desk, found, page)
    page.say()
    _crops(found, land, page)
    page.say()
    _source_rows(found.loss.whole, land, page)
    page.say()
    _remarks(found, land, page, money=True)
    page.say()


def show_where(desk: Desk, found: Ledger, page: Page) -> None:
    """Print where a season's grain was lost, by source over the whole and by crop."""
    land = whole_unit(desk)
    page.say()
    page.two_ends(f"Season {found.season.name}", f"{counted(found.checks)} in {_fields_of(found)}")
    page.say()
    if found.loss is None or not found.loss.whole.sources:
        page.paragraph("No field with an area has a check yet.")
        _left_out(found, page)
        page.say()
        return
    _source_rows(found.loss.whole, land, page)
    for crop, one in found.loss.crops.items():
        page.say()
        page.say("  " + page.soft(crop or "crop not told"))
        _source_rows(one, land, page)
    page.say()
    _remarks(found, land, page, money=False)
    page.say()


def show_comparison(
    season: Thing, crop: str, by: str, source: str, found: Comparison, left_out: Mapping[str, int], page: Page
) -> None:
    """Print a fair comparison: groups by name, never as a ranking."""
    who = "drivers" if by == "operator" else "combines"
    page.say()
    page.two_ends(f"Season {season.name} · {crop}", f"{who}, {source} loss")
    page.say()
    page.paragraph(FAIR)
    page.say()
    rows = [["", "checks", "field-days", "load"]]
    for group in found.groups:
        low, middle, high = (plain_number(v, 2) for v in group.load)
        rows.append(
            [
                group.name,
                str(group.checks),
                str(len(group.blocks)),
                f"{low} · {middle} · {high}",
            ]
        )
    page.print_table(rows)
    for group in found.groups:
        if told := _conditions(group.conditions):
            page.paragraph(f"{group.name}: {told}", indent=4)
    page.paragraph("load: least, middle, greatest (t/h, or km/h where yields are not told).")
    page.say()
    for pair in found.pairs:
        low, middle, high = (rounded(v, 2) for v in (pair.ratio.low, pair.ratio.median, pair.ratio.high))
        page.paragraph(f"{pair.first} against {pair.second}: {middle} times the loss, likely {low} to {high}.")
        page.paragraph(f"{'▸' if pair.claim else '◆'} {pair_said(pair)}", indent=4)
        if pair.drivers_apart:
            page.paragraph(DRIVERS_APART, indent=4)
    page.say()
    for why, count in left_out.items():
        page.paragraph(left_out_said(why, count), bullet="· ")
    only = {
        "machine": "Machine only: what the header loses is not in it.",
        "header": "Header only: what the machine loses is not in it.",
    }
    page.paragraph(only[source], bullet="· ")
    page.say()


def _whole(found: Ledger, land: Unit, page: Page) -> None:
    assert found.loss is not None
    judged = found.loss.whole.judged
    assert judged is not None
    headline(page, judged.kg.times(0.001), "t", f"left on {area_said(judged.area_ha, land)} by {left_by(found)}")
    if judged.money is not None:
        page.say()
        on = (
            ""
            if judged.priced_ha >= judged.area_ha - 1e-9
            else f" on the {area_said(judged.priced_ha, land)} with a price"
        )
        page.paragraph(f"That is {_money(judged.money, found.currency)}{on}.")
    page.say()


def _fields(desk: Desk, found: Ledger, page: Page) -> None:
    assert found.loss is not None
    rows = [["field", "crop", "checks", "loss", "", "money"]]
    for one in found.fields:
        loss = found.loss.fields.get(one.thing.id)
        unit = _unit(desk, one)
        if loss is None or loss.judged is None:
            why = "no area" if one.area_ha is None else "not measured"
            rows.append([one.thing.name, one.crop, str(len(one.checks)), why, "", ""])
            continue
        low, middle, high = range_words(loss.judged.kg_ha.times(unit.factor))
        money = "" if loss.judged.money is None else _money(loss.judged.money, found.currency, short=True)
        only = "" if not loss.coverage.missing else f"{' and '.join(loss.coverage.missing)} not seen"
        rows.append(
            [one.thing.name, one.crop, str(len(one.checks)), f"{middle} ({low} to {high}) {unit.name}", only, money]
        )
    # What was not seen is said below the tables too.
    page.print_table(rows, left=2, may_go=(4,))


def _crops(found: Ledger, land: Unit, page: Page) -> None:
    assert found.loss is not None
    rows = [["crop", "area", "unchecked", "t", "likely", "money"]]
    for name, one in found.loss.crops.items():
        if one.judged is None:
            rows.append([name, area_said(one.area_ha, land), f"{round(one.unchecked_pct)} %", "", "not measured", ""])
            continue
        low, middle, high = range_words(one.judged.kg.times(0.001))
        money = "" if one.judged.money is None else _money(one.judged.money, found.currency, short=True)
        rows.append(
            [name, area_said(one.area_ha, land), f"{round(one.unchecked_pct)} %", middle, f"{low} to {high}", money]
        )
    page.print_table(rows)


def _source_rows(one: CropLoss, land: Unit, page: Page) -> None:
    rows = [["lost at", land.name, "likely", "t", "on"]]
    for source, total in one.sources.items():
        low, middle, high = range_words(total.kg_ha.times(land.factor))
        on = area_said(total.area_ha, land)
        rows.append([SOURCE[source], middle, f"{low} to {high}", range_words(total.kg.times(0.001))[1], on])
    page.print_table(rows)


def _remarks(found: Ledger, land: Unit, page: Page, *, money: bool) -> None:
    assert found.loss is not None
    whole = found.loss.whole
    texts = []
    if whole.judged is not None:
        areas = (area_said(ha, land) for ha in (whole.judged.area_ha, whole.area_ha))
        texts.append(MEASURED.format(area=" of ".join(areas)))
    if whole.assumed is not None and whole.judged is not None and _adds(whole):
        low, middle, high = range_words(whole.assumed.kg.times(0.001))
        texts.append(
            ASSUMED.format(kg=f"{middle} t (likely {low} to {high})", area=area_said(whole.assumed.area_ha, land))
        )
    texts += missing_said(found)
    texts += other_crops_said(found)
    texts += doubted_said(found)
    if money and whole.judged is not None and whole.judged.money is not None:
        texts.append(PRICES)
    texts += [*taken_said(found), NO_RECORD]
    for text in texts:
        page.paragraph(text, bullet="· ")
    _left_out(found, page)


def _left_out(found: Ledger, page: Page) -> None:
    if found.without_area:
        names = ", ".join(one.thing.name for one in found.without_area)
        page.paragraph(f"No area, so in no sum: {names}. chaffinch book edit-label adds it.", bullet="· ")
    if found.unfiled:
        are = "is" if found.unfiled == 1 else "are"
        page.paragraph(f"{counted(found.unfiled)} {are} filed under no field of this season: in no sum.", bullet="· ")


def _adds(whole: CropLoss) -> bool:
    """Whether the assumption says anything beyond what was measured."""
    assert whole.assumed is not None
    assert whole.judged is not None
    return (
        whole.assumed.area_ha > whole.judged.area_ha + 1e-9
        or abs(whole.assumed.kg.median / whole.judged.kg.median - 1.0) > 0.005
    )


def _unit(desk: Desk, one: SeasonField) -> Unit:
    bushels = [c.check.bushel_kg for c in one.checks if c.check.bushel_kg is not None]
    return unit_for(desk, one.crop or None, bushels)


def _fields_of(found: Ledger) -> str:
    return "1 field" if len(found.fields) == 1 else f"{len(found.fields)} fields"


def _money(r: Range, currency: str, *, short: bool = False) -> str:
    sign = currency + (" " if len(currency) > 1 else "")
    low, middle, high = range_words(r)
    return f"{sign}{middle}" if short else f"{sign}{middle} (likely {low} to {high})"


def _conditions(told: Mapping[str, tuple[float, float]]) -> str:
    short = {"humidity_pct": "% RH", "straw_moisture_pct": "% straw", "grain_moisture_pct": "% grain"}
    return ", ".join(f"{low:g}–{high:g} {short[name]}" for name, (low, high) in told.items() if name in short)
