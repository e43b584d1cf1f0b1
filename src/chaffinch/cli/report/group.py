"""``chaffinch report``: reports on paper, imported when they are asked for."""

from __future__ import annotations

from collections.abc import Mapping
from importlib import import_module
from typing import ClassVar, Final

import click

from chaffinch.cli.main import Commands

REPORTS: Final = {
    "check": "One check: what was lost where, the verdict, what it costs.",
    "field": "One field, or all of a season: its checks, changes, pace, what is missing.",
    "trial": "One trial: the ratio, its stops, what the change brought.",
    "season": "A season: fields, crops, changes, pace, fair comparisons, prices.",
    "log": "What the field of a combine's log lost, where, and at another pace.",
    "sheet": "A sheet to fill in by hand, in the order the program asks.",
    "list": "The reports that were issued from the book.",
    "again": "Print an issued report again, as it was.",
}
_MODULE: Final = {"list": "kept", "again": "kept", "sheet": "sheet", "log": "log"}


class Reports(Commands):
    """The reports."""

    known: ClassVar[Mapping[str, str]] = REPORTS
    what: ClassVar[str] = "report"

    def load(self, name: str) -> click.Command:
        """Import one known report."""
        module = import_module(f"chaffinch.cli.report.{_MODULE.get(name, 'made')}")
        command: click.Command = getattr(module, f"{name}_report")
        return command


@click.group("report", cls=Reports, invoke_without_command=True)
@click.option("--book", "address", metavar="ADDRESS", help="The book: a file, or postgresql://user@host/database.")
@click.pass_context
def command(ctx: click.Context, address: str | None) -> None:  # noqa: ARG001 - read from the context by book_which
    """Print reports as PDF: tagged for reading aloud, with their method, prices and corrections.

    A report is kept in the book only with --issue; then it can be printed again as it was, whatever is changed later.
    It is no insurance or legal document.
    """
    if ctx.invoked_subcommand is None:
        click.echo(ctx.get_help())
