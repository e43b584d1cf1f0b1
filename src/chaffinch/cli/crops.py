"""``chaffinch crops``: the crops known, with their figures and where each comes from."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from typing import Any

import click

from chaffinch.book.crops import Crop, Figure, all_crops, one_crop, source_line
from chaffinch.cli.terminal.page import Page, table


@click.command("crops")
@click.argument("name", required=False)
@click.option("--json", "as_data", is_flag=True, help="Print the figures as JSON.")
def command(name: str | None, as_data: bool) -> None:
    """List the crops known, or every figure of one crop NAME with its source.

    Each figure is marked printed (read in its source), memory (from memory, not checked) or derived (our arithmetic
    on printed figures).
    """
    found = all_crops() if name is None else (one_crop(name),)
    if as_data:
        click.echo(json.dumps({crop.key: _data(crop) for crop in found}, indent=2, allow_nan=False))
        return
    page = Page.here()
    page.say()
    if name is None:
        _list(found, page)
    else:
        _one(found[0], page)
    page.say()


def _list(found: tuple[Crop, ...], page: Page) -> None:
    rows = [["crop", "bushel, lb", "TKW, g", "usual", "kg/hL", "market moisture, %"]]
    rows += [
        [
            crop.key,
            _by_country(crop.bushel_lb),
            f"{crop.tkw_g.value:g}",
            f"{crop.tkw_low_g.value:g}–{crop.tkw_high_g.value:g}",
            f"{crop.test_weight_kg_hl.value:g}",
            _by_country(crop.market_moisture_pct),
        ]
        for crop in found
    ]
    head, *lines = table(rows, left=2, gap=2)
    page.say("  " + page.soft(head))
    for line in lines:
        page.say("  " + line)
    page.say()
    page.paragraph(
        "TKW: thousand-kernel weight. * differs by country: name one in the check file. "
        "chaffinch crops NAME shows where every figure comes from."
    )


def _by_country(figures: Mapping[str, Figure]) -> str:
    values = {figure.value for figure in figures.values()}
    if not values:
        return "–"
    if len(values) == 1:
        return f"{values.pop():g}"
    return f"{min(values):g}–{max(values):g} *"


def _one(crop: Crop, page: Page) -> None:
    page.two_ends(crop.name.capitalize(), ", ".join(crop.also))
    page.say()
    for what, figure in _figures(crop):
        page.say(f"  {page.strong(what)}: {figure.value:g} {figure.unit}")
        origin = f"{figure.origin}; {source_line(figure)}" if figure.origin != "memory" else "from memory, not checked"
        page.paragraph(origin + (f" ({figure.note})" if figure.note else ""), indent=6)
    if crop.bushel_disputed:
        page.say()
        page.paragraph(f"The bushel must be named: {crop.bushel_disputed}.")


def _figures(crop: Crop) -> Iterator[tuple[str, Figure]]:
    for country, figure in crop.bushel_lb.items():
        yield f"bushel {country}", figure
    yield "test weight", crop.test_weight_kg_hl
    yield "TKW, typical", crop.tkw_g
    yield "TKW, low", crop.tkw_low_g
    yield "TKW, high", crop.tkw_high_g
    if crop.seed_diameter_mm is not None:
        yield "seed diameter", crop.seed_diameter_mm
    if crop.kernel_density_g_cm3 is not None:
        yield "kernel density", crop.kernel_density_g_cm3
    for what, figures in (
        ("market moisture", crop.market_moisture_pct),
        ("tough from", crop.tough_from_pct),
        ("damp above", crop.damp_above_pct),
    ):
        for country, figure in figures.items():
            yield f"{what} {country}", figure


def _data(crop: Crop) -> dict[str, Any]:
    return {
        "name": crop.name,
        "also": list(crop.also),
        "round_seed": crop.round_seed,
        "figures": {
            what: {
                "value": f.value,
                "unit": f.unit,
                "origin": f.origin,
                "source": f.source,
                "note": f.note,
            }
            for what, f in _figures(crop)
        },
    }
