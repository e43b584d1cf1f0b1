"""``chaffinch book``: the commands about the book, imported when they are asked for."""

from __future__ import annotations

from collections.abc import Mapping
from importlib import import_module
from typing import ClassVar, Final

import click

from chaffinch.cli.main import Commands

BOOK_COMMANDS: Final = {
    "new": "Start a new, empty book.",
    "add": "Add a farm, season, combine, field, operator, pan, scale or note.",
    "log": "Put a check into the book, from a file or by answering questions.",
    "show": "What the book holds: checks, fields, combines and the rest.",
    "edit-label": "Change what is said about a thing: its name, area, price, note.",
    "replace": "Correct a check or a monitor's reading, or take one back; the old stays.",
    "history": "Every version of a reading, or every change to a thing.",
    "verify": "Is the book whole? Every hash and every index looked at.",
    "rebuild": "Make the book's indexes anew from its records.",
    "backup": "Copy the book to a new file, also while others write.",
    "restore": "Make a book of a backup: a new file, or on a server.",
    "merge": "Make two books equal, both ways.",
    "export": "Write the whole book as JSON Lines and CSV.",
    "import": "Bring in an export, or a spreadsheet of past checks.",
}

_MODULE: Final = {
    "new": "new",
    "add": "things",
    "edit-label": "things",
    "log": "log",
    "replace": "replace",
    "show": "show",
    "history": "history",
    "verify": "keep",
    "rebuild": "keep",
    "backup": "keep",
    "restore": "keep",
    "merge": "exchange",
    "export": "exchange",
    "import": "importing",
}


class BookCommands(Commands):
    """The commands about the book."""

    known: ClassVar[Mapping[str, str]] = BOOK_COMMANDS
    what: ClassVar[str] = "book command"

    def load(self, name: str) -> click.Command:
        """Import one known command: ``edit-label`` is ``edit_label`` of its module, ``import`` is ``import_``."""
        module = import_module(f"chaffinch.cli.book.{_MODULE[name]}")
        attribute = "import_" if name == "import" else name.replace("-", "_")
        command: click.Command = getattr(module, attribute)
        return command


@click.group("book", cls=BookCommands, invoke_without_command=True)
@click.option("--book", "address", metavar="ADDRESS", help="The book: a file, or postgresql://user@host/database.")
@click.pass_context
def command(ctx: click.Context, address: str | None) -> None:  # noqa: ARG001 - read from the context by book_which
    """Keep checks, machines, crew and fields in one file, for years.

    Which book: --book, else the environment variable CHAFFINCH_BOOK, else the only *.chaffinch file in this folder.
    Readings are never changed: a correction is a new record, and the old one stays readable.
    """
    if ctx.invoked_subcommand is None:
        click.echo(ctx.get_help())
