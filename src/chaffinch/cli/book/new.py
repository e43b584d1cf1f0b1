"""``chaffinch book new``: start a book."""

from __future__ import annotations

import click

from chaffinch.cli.options.which_book import SUFFIX, VARIABLE, careful
from chaffinch.cli.terminal.asking import a_person_types, ask
from chaffinch.cli.terminal.page import Page
from chaffinch.errors import InputError


@click.command("new")
@click.argument("file", metavar="FILE")
@click.option("--title", metavar="TEXT", help="The farm's name, or whatever the book is to be called.")
def new(file: str, title: str | None) -> None:
    """Start a new, empty book in FILE (or in an empty PostgreSQL database).

    One file holds everything and can be copied; a name that ends in .chaffinch is found by itself in its folder.
    """
    from chaffinch.book.desk import is_on_a_server, shown_address, start_book

    careful(file)
    if title is None:
        if not a_person_types():
            raise InputError("--title", None, "is missing", "name the farm, like --title Larkhollow")
        title = ask("Title, like the farm's name", _title)
    start_book(file, title=_title(title))
    page = Page.here()
    page.say(f"started {shown_address(file)}: {title.strip()}")
    if not is_on_a_server(file) and not file.endswith(SUFFIX):
        page.paragraph(f"Its name does not end in {SUFFIX}: say --book {file}, or set {VARIABLE}.", indent=0)
    page.paragraph(
        "Next: chaffinch book add farm NAME --set country=CA --set report_in=bu/ac, then add combine and field.",
        indent=0,
    )


def _title(text: str) -> str:
    if not text.strip():
        raise InputError("--title", text, "is empty", "name the farm, like --title Larkhollow")
    return text.strip()
