"""What a field lost, on the terminal and as data: the mean by source, the checks behind it, the money."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any, Final

from chaffinch import units
from chaffinch.book.figures import range_words
from chaffinch.book.shown_unit import area_said
from chaffinch.book.times import local
from chaffinch.book.wording import SOURCE
from chaffinch.cli.book.figures import Unit, as_range, headline, unit_for
from chaffinch.cli.check_page import SHAPE
from chaffinch.cli.terminal.page import Page, table
from chaffinch.reference import crop

if TYPE_CHECKING:
    from chaffinch.book.checks.fields import CheckLine, FieldSummary
    from chaffinch.book.desk import Desk

WORD = {"over": "over", "under": "under", "unsettled": "can't tell"}


def unit_of(desk: Desk, found: FieldSummary) -> Unit:
    """The farm's unit of loss for this field's crop; kg/ha where checks of another crop are filed under it."""
    checks = [line.logged.check for line in found.checks]
    crop_name = found.field.parts.get("crop")
    crops = sorted({check.crop for check in checks})
    if len(crops) > 1 or (crops and crop_name is not None and crop(str(crop_name)).key not in crops):
        unit = unit_for(desk, None, [])
        return replace(unit, note=f"In kg/ha: its checks are of {' and '.join(crops)}, the field is of {crop_name}.")
    return unit_for(desk, crop_name, [c.bushel_kg for c in checks if c.bushel_kg is not None])


def currency_of(unit: Unit, found: FieldSummary) -> str:
    """Sign before money: the farm's, that of the field's price, or the one all checks share."""
    price = found.field.parts.get("price")
    own = "" if price is None else units.read_positive(price, "price", field="field, price").currency
    shared = {line.logged.check.currency for line in found.checks} - {""}
    return own or unit.currency or (shared.pop() if len(shared) == 1 else "")


def show_field(desk: Desk, found: FieldSummary, page: Page) -> None:
    """Print the field summary."""
    from chaffinch.book.things import by_ids

    others = [line.logged.body.get(k) for line in found.checks for k in ("season", "combine", "operator")]
    names = {t.id: t.name for t in by_ids(desk, [*others, found.field.parts.get("season")]).values()}
    unit = unit_of(desk, found)
    parts = found.field.parts
    area = None if found.area_ha is None else area_said(found.area_ha, unit)
    right = " · ".join(x for x in (str(parts.get("crop", "")), area, names.get(str(parts.get("season", "")), "")) if x)
    page.say()
    page.two_ends(found.field.title, right)
    page.say()
    if not found.checks:
        page.paragraph("No check has been filed under this field yet. chaffinch book log puts one there.")
        page.say()
        return
    limit = parts.get("limit")
    limit_kg_ha = None if limit is None else units.read_positive(limit, "area_mass", field="field, limit").value
    if found.mean_kg_ha is not None:
        what = " and ".join(SOURCE[s] for s in found.sources if s != "standing") + " loss, mean of the checks"
        notch = None if limit_kg_ha is None else limit_kg_ha * unit.factor
        headline(page, found.mean_kg_ha.times(unit.factor), unit.name, what, notch)
        page.say()
    _sources(found, unit, page)
    _coverage(found, unit, page)
    _money(found, unit, page)
    if unit.note:
        page.paragraph(unit.note)
    page.say()
    for line in check_lines(found.checks, names, page, unit=unit, with_field=False):
        page.say(line)
    page.say()


def _sources(found: FieldSummary, unit: Unit, page: Page) -> None:
    rows = [[unit.name, "low", "middle", "high", "checks"]]
    for source, (r, count) in found.sources.items():
        rows.append([SOURCE[source], *range_words(r.times(unit.factor)), str(count)])
    head, *lines = table(rows)
    page.say("  " + page.soft(head))
    for line in lines:
        page.say("  " + line)


def _coverage(found: FieldSummary, unit: Unit, page: Page) -> None:
    count = len(found.checks)
    area = "a field of unknown area" if found.area_ha is None else area_said(found.area_ha, unit)
    page.paragraph(f"{count} {'check' if count == 1 else 'checks'} on {area}.")
    if count == 1:
        page.paragraph(
            "One check: how much the field varies around it is expected, not seen. "
            "A second check narrows the range most."
        )
    if "standing" in found.sources:
        page.paragraph("Loss before harvest is shown, but not held against the combine.")
    unseen = [s for s in ("header", "machine") if s not in found.sources]
    partly = [s for s in ("header", "machine") if s in found.sources and found.sources[s][1] < count]
    for source in unseen:
        page.paragraph(f"{SOURCE[source].capitalize()} loss was measured in no check: it comes on top.")
    if found.doubted:
        # A late import: the season's rooms are not needed for most fields.
        from chaffinch.book.season.said import DOUBTED

        for doubted in found.doubted:
            page.paragraph(DOUBTED.format(check=doubted[:8], field=found.field.name))
    from chaffinch.book.checks.own_variation import variation_said

    for text in variation_said(found.taught):
        page.paragraph(text)
    _carried_over(found, page)
    for source in partly:
        page.paragraph(
            f"{SOURCE[source].capitalize()} loss was measured in {found.sources[source][1]} of {count} checks."
        )


CARRIED: Final = {
    "not-told-apart": "the catches hardly tell the sources apart: the split is mostly expectation, the total is not",
    "standing-left-in": "no frame lay in standing crop: what fell before harvest may still count as header loss",
}
"""Warnings of single checks that bear on a field's sources, as its page says them."""


def warned(found: FieldSummary) -> dict[str, int]:
    """How many checks carry each of the warnings that bear on the field's sources."""
    counts = {key: sum(any(n.key == key for n in line.answer.notices) for line in found.checks) for key in CARRIED}
    return {key: count for key, count in counts.items() if count}


def _carried_over(found: FieldSummary, page: Page) -> None:
    of = len(found.checks)
    told = [
        f"in {count} of {of} {'check' if of == 1 else 'checks'} {CARRIED[key]}" for key, count in warned(found).items()
    ]
    if told:
        text = "; ".join(told)
        page.paragraph(f"{text[0].upper()}{text[1:]}.", bullet="· ")


def _money(found: FieldSummary, unit: Unit, page: Page) -> None:
    if found.money is None:
        missing = [x for x in ("area", "price") if x not in found.field.parts]
        if missing and found.mean_kg_ha is not None:
            page.paragraph(f"No money: the field has no {' and no '.join(missing)}. chaffinch book edit-label adds it.")
        return
    low, median, high = range_words(found.money)
    sign = currency_of(unit, found)
    page.paragraph(f"That is {sign}{' ' if len(sign) > 1 else ''}{median} over the field (likely {low} to {high}).")


def check_lines(
    lines: Sequence[CheckLine], names: Mapping[str, str], page: Page, *, unit: Unit | None = None, with_field: bool
) -> list[str]:
    """Checks as a table of lines: id, time, where, loss, range, verdict.

    Without ``unit`` each loss stands in its own check's unit.
    """
    from chaffinch.book.checks.in_trade_unit import loss_factor

    title = f"loss, {unit.name}" if unit else "loss"
    years = {local(line.logged.body["taken_at"])[:4] for line in lines}
    one_year = len(years) == 1
    rows = [["check", f"in {years.pop()}" if one_year else "taken", "field", "combine", title, "likely", ""]]
    for line in lines:
        body, check, found = line.logged.body, line.logged.check, line.answer
        r = found.judged_kg_ha.times(loss_factor(check) if unit is None else unit.factor)
        low, median, high = range_words(r)
        mark = "" if found.verdict is None else f"{SHAPE[found.verdict]} {WORD[found.verdict]}"
        rows.append(
            [
                line.logged.id[:8],
                local(body["taken_at"])[5 if one_year else 0 :],
                cut(names.get(body.get("field", ""), "–"), 14),
                cut(names.get(body.get("combine", ""), "–"), 12),
                median if unit else f"{median} {check.trade_unit}",
                f"{low} to {high}",
                mark + (" !" if line.logged.versions.disagree else ""),
            ]
        )
    # What a narrow page cannot hold goes, the least needed first; --json has it all.
    columns = [0, 1, *([2] if with_field else []), 3, 4, 5]
    for spare in (None, 3, 5, 2, 1):
        columns = [c for c in columns if c != spare]
        left = sum(c < 4 for c in columns)
        laid = table([[row[c] for c in columns] for row in rows], left=left, gap=2)
        told = [f"  {text}  {row[-1]}".rstrip() for text, row in zip(laid, rows, strict=True)]
        if max(map(len, told)) <= page.width:
            break
    told = [page.soft(told[0]), *told[1:]]
    if any(line.logged.versions.disagree for line in lines):
        told += ["", "  ! corrections disagree: chaffinch book history"]
    return told


def cut(text: str, most: int) -> str:
    """Text of at most ``most`` characters; what is cut off shows as an ellipsis."""
    return text if len(text) <= most else text[: most - 1] + "…"


def field_as_json(desk: Desk, found: FieldSummary) -> dict[str, Any]:
    """The field summary as JSON-able data."""
    from chaffinch.book.checks.own_variation import variation_json

    unit = unit_of(desk, found)

    def loss(r: Any) -> dict[str, Any]:
        return {"kg_ha": as_range(r), "trade": {"unit": unit.name, **(as_range(r.times(unit.factor)) or {})}}

    return {
        "field": {"id": found.field.id, "name": found.field.name, **_plain_parts(found)},
        "area_ha": found.area_ha,
        "checks_on_it": len(found.checks),
        "mean": None if found.mean_kg_ha is None else loss(found.mean_kg_ha),
        "sources": {s: {**loss(r), "checks": n} for s, (r, n) in found.sources.items()},
        "warnings": warned(found),
        "doubted_checks": list(found.doubted),
        "variation": variation_json(found.taught),
        "money": {"currency": currency_of(unit, found), "over_field": as_range(found.money)},
        "checks": [check_as_json(line) for line in found.checks],
    }


def _plain_parts(found: FieldSummary) -> dict[str, Any]:
    return {k: v for k, v in found.field.parts.items() if k != "name"}


def check_as_json(line: CheckLine) -> dict[str, Any]:
    """One check of a list as JSON-able data."""
    logged, found = line.logged, line.answer
    own = {key: logged.body.get(key) for key in ("taken_at", "season", "field", "combine", "operator")}
    return {
        "id": logged.id,
        **own,
        "crop": logged.check.crop,
        "catches": len(logged.check.catches),
        "corrected": len(logged.versions.all) > 1,
        "disagree": logged.versions.disagree,
        "judged": {"sources": list(found.judged), "kg_ha": as_range(found.judged_kg_ha)},
        "verdict": found.verdict,
        "p_over": found.p_over,
    }
