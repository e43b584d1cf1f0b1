"""``chaffinch card``: what the pan holds at each loss, to read in the cab."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from chaffinch import units
from chaffinch.book.figures import plain_number, seeds_text
from chaffinch.cli.card_print import Printing, card_print_options
from chaffinch.cli.options.terms import as_check, machine_and_crop
from chaffinch.cli.terminal.page import Page, table

if TYPE_CHECKING:
    from chaffinch.book.planning.card import Card


@click.command("card")
@machine_and_crop
@click.option("--step", metavar="TEXT", help="Smallest division of the scale  [default: 0.1 g, or the file's]")
@click.option("--loss", "losses", multiple=True, metavar="TEXT", help='A loss for a row, like "0.5 bu/ac"; repeat.')
@click.option("--json", "as_data", is_flag=True, help="Print the card as JSON.")
@card_print_options
def command(step: str | None, losses: tuple[str, ...], as_data: bool, printing: Printing, **options: Any) -> None:
    """Print the card of one machine, crop and pan taken in the discharge.

    For each loss: grams, millilitres and seeds in the pan with spreading off and on, and what it costs. The pan sees
    what went through the machine; header loss is not in it.

    With --pdf it becomes a small page for the cab: from the options above, or from the book a page for each machine,
    crop and pan that --combine, --field, --crop and --pan leave.
    """
    from chaffinch.book.planning.card import card
    from chaffinch.book.planning.plain_data import card_as_json

    if printing.of_book(options):
        printing.refuse_beside_book(options, step=step, losses=losses, as_data=as_data)
        printing.print_book(options)
        return
    wanted = options | {"spreading": _spreading(options)}
    check = as_check(wanted, place="discharge", amount="0 g", step=step)
    rows = [units.read_positive(text, "area_mass", field="--loss", bushel_kg=check.bushel_kg).value for text in losses]
    found = card(check, losses_kg_ha=sorted(rows) or None)
    if as_data:
        import json

        click.echo(json.dumps(card_as_json(found), indent=2, allow_nan=False))
        return
    if printing.file is not None:
        printing.print_one(found)
        return
    _show(found, Page.here())


def _spreading(options: dict[str, Any]) -> bool | None:
    """The check behind a card needs one side; both are shown."""
    return False if options.get("drop_width") or options.get("from_file") else None


def _show(found: Card, page: Page) -> None:
    from chaffinch.book.checks.in_trade_unit import land_unit, loss_factor, money_factor
    from chaffinch.book.wording import CAUTION

    check = found.check
    factor, unit = loss_factor(check), check.trade_unit
    machine = check.combine
    page.say()
    page.two_ends(f"{found.figures.crop.name.capitalize()}, pan in the discharge", machine.name if machine else "")
    page.say()
    for side in found.sides:
        name = "on" if side.spreading else "off"
        page.say(f"  spreading {name:<3}  width ratio {page.strong(f'{side.width_ratio:.1f}')}")
    page.say()
    money = check.price_per_t is not None
    head = [f"  {unit}"] + ([f"{check.currency or 'money'}/{land_unit(check)}"] if money else [])
    for side in found.sides:
        on = "on" if side.spreading else "off"
        head += [f"g {on}", f"mL {on}", f"seeds {on}"]
    lines = [head]
    for i, loss in enumerate(found.losses_kg_ha):
        at_limit = check.limit_kg_ha is not None and abs(loss - check.limit_kg_ha) < 1e-9 * loss
        row = [("▸ " if at_limit else "  ") + plain_number(loss * factor)]
        if money and check.price_per_t is not None:
            row.append(plain_number(loss * check.price_per_t / 1000.0 * money_factor(check)))
        for side in found.sides:
            cell = side.rows[i]
            row += [plain_number(cell.mass_g), plain_number(cell.volume_ml), seeds_text(cell.seeds)]
        lines.append(row)
    head_line, *body = table(lines)
    page.say("  " + page.soft(head_line))
    for line in body:
        page.say("  " + (page.strong(line) if line.startswith("▸") else line))
    page.say()
    if check.limit_kg_ha is not None:
        page.say("  ▸ your limit.")
    for side in found.sides:
        if side.smallest_kg_ha is not None:
            name = "on" if side.spreading else "off"
            page.say(
                f"  Spreading {name}: half a scale step is {plain_number(side.smallest_kg_ha * factor, 2)} {unit}."
            )
    page.paragraph(
        "Machine loss only; clean the seed before weighing. One pan is a rough guide: chaffinch check gives the range."
    )
    page.say()
    page.paragraph(CAUTION, bullet="! ")
    page.say()
