"""``chaffinch check``: what a check file says."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import click

from chaffinch.cli.terminal.files import MISSING, read_bytes
from chaffinch.cli.terminal.page import Page
from chaffinch.errors import CheckFileError

if TYPE_CHECKING:
    from chaffinch.records.check import Check

_ID = re.compile("[0-9a-f]{4,8}(?:-[0-9a-f-]{0,27})?")
"""The beginning of an id of the book, which no check file is called by."""


@click.command("check")
@click.argument("file", metavar="FILE")
@click.option("--book", "address", metavar="ADDRESS", help="Answer a check of this book: FILE is then its id.")
@click.option("--json", "as_data", is_flag=True, help="Print the full answer as JSON.")
@click.option("--seed", default=1, show_default=True, type=click.IntRange(0, 2**31), help="Seed of the sampler.")
def command(file: str, address: str | None, as_data: bool, seed: int) -> None:
    """Answer the check in FILE (TOML or JSON; - reads standard input).

    Shows the loss with its 90 % range (5th to 95th percentile), the plain textbook arithmetic beside it, where the
    loss arose, what it costs, and whether it is over your limit. Exit status 0, or 2 when the file needs mending.
    """
    from chaffinch.book.checks.answer import answer

    found = answer(_check(file, address), seed=seed)
    if as_data:
        import json

        from chaffinch.book.checks.plain_data import as_json

        click.echo(json.dumps(as_json(found), indent=2, allow_nan=False))
        return
    from chaffinch.cli.check_page import show

    show(found, Page.here())


def _check(file: str, address: str | None) -> Check:
    if address is None:
        from chaffinch.records.checkfile import read_check_file

        try:
            return read_check_file(read_bytes(file), name=file)
        except CheckFileError as error:
            if error.problem == MISSING and _ID.fullmatch(file):
                mend = f"for a check of the book name it too: chaffinch check --book BOOK {file}"
                raise CheckFileError(error.field, error.value, error.problem, mend) from None
            raise
    # Only now: a book brings a database library along, and a check file must not wait for it.
    from chaffinch.book.checks.held import find_check
    from chaffinch.cli.options.which_book import open_the_book

    return find_check(open_the_book(address), file).check
