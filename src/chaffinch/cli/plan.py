"""``chaffinch plan``: how many catches, what the kit can see, how best to read a catch."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from chaffinch import units
from chaffinch.book.figures import plain_number, seeds_text
from chaffinch.cli.options.terms import as_check, machine_and_crop
from chaffinch.cli.terminal.page import Page, table
from chaffinch.errors import InputError

if TYPE_CHECKING:
    from chaffinch.book.planning.plan import KitPlan

WAY = {
    "weighed": ("weigh", "g"),
    "measured": ("measure", "mL"),
    "counted": ("count", "seeds"),
}


@click.command("plan")
@machine_and_crop
@click.option("--place", default="discharge", show_default=True, help="Where the catches are taken.")
@click.option("--spreading/--no-spreading", default=None, help="Spreader or chopper on during the catch.")
@click.option("--step", metavar="TEXT", help="Smallest division of the scale  [default: 0.1 g, or the file's]")
@click.option("--cup", "cup", metavar="TEXT", help='Smallest division of a measuring cup, like "1 mL".')
@click.option("--precision", metavar="TEXT", help='Wished half width of the range, like "25 %".')
@click.option("--json", "as_data", is_flag=True, help="Print the plan as JSON.")
def command(
    place: str, step: str | None, cup: str | None, precision: str | None, as_data: bool, **options: Any
) -> None:
    """Plan catches of one kind at the loss that matters, your limit.

    Says what that loss leaves in one pan, whether to weigh, measure or count it, what the kit can and cannot see, and
    how many catches a wished precision takes.
    """
    from chaffinch.book.planning.plan import USUAL_PRECISIONS, plan

    # The amount is a stand-in: a plan uses the step and the place, never a reading.
    check = as_check(options, place=place, amount="0 g", step=step)
    cup_ml = None if cup is None else units.read_positive(cup, "volume", field="--cup").value
    wished: tuple[float, ...] = USUAL_PRECISIONS
    if precision is not None:
        wished = (_precision(precision),)
    found = plan(check, cup_step_ml=cup_ml, precisions=wished)
    if as_data:
        import json

        from chaffinch.book.planning.plain_data import as_json

        click.echo(json.dumps(as_json(found), indent=2, allow_nan=False))
        return
    _show(found, Page.here())


def _precision(text: str) -> float:
    """Half width as a share; 10 is far more likely 10 % than 1000 %."""
    value = units.read_positive(text, "fraction", field="--precision").value
    if not 0.01 <= value <= 2.0:
        raise InputError("--precision", text, "is not between 1 % and 200 %", 'write it like "25 %"')
    return value


def _show(found: KitPlan, page: Page) -> None:
    from chaffinch.book.checks.in_trade_unit import loss_factor
    from chaffinch.book.wording import CAUTION, SOURCE

    check = found.check
    factor, unit = loss_factor(check), check.trade_unit
    limit = f"{plain_number(found.loss_kg_ha * factor)} {unit}"
    pan = found.in_pan
    page.say()
    page.two_ends(f"{found.figures.crop.name.capitalize()}, {check.catches[0].place}", f"at your limit of {limit}")
    page.say()
    page.paragraph(
        f"At a {SOURCE[found.source]} loss of {limit} one catch holds {plain_number(pan.mass_g)} g, "
        f"{plain_number(pan.volume_ml)} mL or about {seeds_text(pan.seeds)} seeds."
    )
    page.say()
    rows = [["way", "in the pan", "step", f"sees from, {unit}", "error", ""]]
    for way in found.ways:
        name, own = WAY[way.kind]
        note = "best here" if way is found.best else ("too coarse" if not way.resolves else "")
        rows.append(
            [
                name,
                f"{seeds_text(way.amount) if own == 'seeds' else plain_number(way.amount)} {own}",
                f"{way.step:g} {own if way.step != 1 or own != 'seeds' else 'seed'}",
                plain_number(way.smallest_kg_ha * factor, 2),
                f"± {plain_number(100 * way.error, 2)} %",
                note,
            ]
        )
    lines = table(rows)
    page.say("  " + page.soft(lines[0]))
    for line in lines[1:]:
        page.say("  " + line)
    page.paragraph(
        "error: of reading one catch (sd; of a count, its seed weight); how unevenly the seed falls comes on top."
    )
    page.say()
    rows = [["for a range of about", "catches", ""]]
    for wished, need in found.precisions:
        catches = "more than 60" if need.catches is None else str(need.catches)
        note = f"shared errors leave ± {100 * need.floor:.0f} %" if need.catches is None else ""
        rows.append([f"± {100 * wished:.0f} %", catches, note])
    lines = [line.rstrip() for line in table([row[:2] for row in rows])]
    page.say("  " + page.soft(lines[0]))
    for line, row in zip(lines[1:], rows[1:], strict=True):
        page.say(f"  {line}" + (f"   {row[2]}" if row[2] else ""))
    page.paragraph(
        f"Catches like these differ by about {100 * found.c0:.0f} % from one to the next, and "
        f"{100 * found.shared_error:.0f} % of error is shared by all of them: more catches do not remove that"
        f"{_mends(found)}."
    )
    if not found.best.resolves:
        page.say()
        page.paragraph(
            "No way of reading resolves a quarter of this limit: use a larger pan, a finer scale, or count.",
            bullet="◆ ",
        )
    page.say()
    page.paragraph(CAUTION, bullet="! ")
    page.say()


def _mends(found: KitPlan) -> str:
    """What does remove the shared error, as far as there is something."""
    mends = []
    combine = found.check.combine
    if found.by_width and combine is not None and not combine.widths_taped:
        mends.append("a tape on the widths")
    if found.best.kind == "counted" and not found.figures.tkw_measured:
        mends.append("your own TKW")
    if found.best.kind == "measured":
        mends.append("weighing")
    return f", {' and '.join(mends)} would" if mends else ""
