"""``chaffinch fieldlog bars``: what a log's loss sensors showed beside checks, noted in the book."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

import click

from chaffinch.cli.fieldlog.options import answer_options, answers, numbers
from chaffinch.cli.options.which_book import book_option, open_the_book, print_json, progress
from chaffinch.cli.terminal.page import Page

if TYPE_CHECKING:
    from chaffinch.book.fieldlogs.bars import LogBar, LogBars

STANDING: Final = {"new": "new", "noted": "in the book", "taken back": "taken back"}


@click.command("bars")
@click.argument("path", type=click.Path())
@book_option
@click.option("--combine", metavar="NAME", help="The combine; left out, each machine of the log is its own combine.")
@click.option("--machine", metavar="NAME", help="Only this machine's records, where several made the log.")
@click.option(
    "--machine-is",
    "machine_is",
    metavar="NAME=COMBINE",
    multiple=True,
    help='Which combine a machine of the log is, like "L-77=Old Bess".',
)
@click.option("--set", "changed", metavar="NAME=NUMBER", multiple=True,
              help="Another limit of the cleaning, like speed_least_kmh=2.5.")  # fmt: skip
@click.option("--dry-run", "dry_run", is_flag=True, help="Show what would be noted; the book stays as it is.")
@answer_options
def bars(
    path: str, *, address: str | None, combine: str | None, machine: str | None, machine_is: tuple[str, ...],
    changed: tuple[str, ...], dry_run: bool, as_data: bool, **given: Any,
) -> None:  # fmt: skip
    """Note what the loss sensors of the log at PATH showed when checks were taken.

    The middle of the steady time before each check, a reading for each sensor, beside the check in the book;
    chaffinch monitor learns from them. Done twice nothing is noted twice. A reading is corrected or taken back like
    any other: chaffinch book replace READING --bar NUMBER, or --take-back.
    """
    from chaffinch.book.fieldlogs.bars import log_bars, note_bars
    from chaffinch.book.fieldlogs.machines import told_machines
    from chaffinch.cli.book.log import uninterrupted
    from chaffinch.cli.options.filing import one_thing
    from chaffinch.errors import InputError

    desk = open_the_book(address)
    thing = None if combine is None else one_thing(desk, "combine", combine, flag="--combine")
    with progress("Reading the log") as step:
        found = log_bars(
            desk, thing, path, answers(given), machine=machine, machine_is=told_machines(machine_is),
            settings=numbers(changed), progress=step,
        )  # fmt: skip
    if not found.sensors:
        problem = "holds no readings of a loss sensor"
        mend = (
            'name the column that does: --column "NAME=loss_left_g_s"; the bar in the cab is noted with a check: '
            "chaffinch book log … --bar NUMBER"
        )
        raise InputError("PATH", path, problem, mend)
    written = 0
    if not dry_run:
        with uninterrupted():
            written = len(note_bars(desk, found))
    if as_data:
        print_json(_as_json(found, written))
        return
    _show(found, written, Page.here(), dry_run=dry_run)


def _show(found: LogBars, written: int, page: Page, *, dry_run: bool) -> None:
    from chaffinch.book.fieldlogs.said import doubts_said
    from chaffinch.book.monitors.said import sensor_said
    from chaffinch.book.times import local

    page.say()
    page.two_ends(", ".join(one.name for one in found.combines), "loss sensors of its log")
    page.say()
    if found.bars:
        rows = [["check", "taken", "sensor", "reading", ""]]
        rows += [
            [one.check[:8], local(one.taken_at)[:16], sensor_said(one.sensor), _reading(one), STANDING[one.standing]]
            for one in found.bars
        ]
        page.print_table(rows, left=3)
        page.say()
    else:
        page.paragraph("No check of this combine was taken while the log ran steadily.")
    for taken_at, doubts in found.unsteady.items():
        page.paragraph(f"{local(taken_at)[:16]}: {doubts_said(doubts)}; it gives no reading.", bullet="· ")
    if dry_run:
        page.paragraph(f"Nothing was noted; {_count(len(found.new))} would be.", bullet="· ")
    else:
        page.paragraph(f"{_count(written)} noted beside their checks.", bullet="· ")
    page.say()


def _reading(one: LogBar) -> str:
    if one.noted is not None and one.noted != one.reading:
        return f"{one.reading:g}, the book says {one.noted:g}"
    return f"{one.reading:g}"


def _count(n: int) -> str:
    return "1 reading" if n == 1 else f"{n} readings"


def _as_json(found: LogBars, written: int) -> dict[str, Any]:
    return {
        "combines": [{"id": one.id, "name": one.name} for one in found.combines],
        "sensors": list(found.sensors),
        "readings": [
            {
                "combine": one.combine.name,
                "check": one.check,
                "taken_at": one.taken_at,
                "sensor": one.sensor,
                "reading": one.reading,
                "per": one.per,
                "speed_kmh": one.speed_kmh,
                "standing": one.standing,
                "noted": one.noted,
            }
            for one in found.bars
        ],
        "unsteady": {taken_at: list(doubts) for taken_at, doubts in found.unsteady.items()},
        "written": written,
    }
