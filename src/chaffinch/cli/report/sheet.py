"""``chaffinch report sheet``: a sheet to fill in by hand when everything else fails."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from chaffinch.cli.options.which_book import book_option
from chaffinch.cli.terminal.page import Page
from chaffinch.cli.terminal.pdf_file import file_name, today, write_pdf
from chaffinch.errors import InputError

if TYPE_CHECKING:
    from chaffinch.book.desk import Desk


@click.command("sheet")
@book_option
@click.option("--pdf", "file", metavar="FILE", help="Where it goes  [default: check-sheet.pdf]")
@click.option("--paper", "size", default="a4", show_default=True, type=click.Choice(["a4", "letter"]))
@click.option("--date", metavar="DAY", help="Day on the sheet, like 2026-08-14  [default: today]")
@click.option("--plain", is_flag=True, help="Without the names of a book.")
@click.option("--over", is_flag=True, help="Replace a file that is there.")
def sheet_report(
    address: str | None, file: str | None, size: str, date: str | None, *, plain: bool, over: bool
) -> None:
    """Print a sheet to fill in by hand, in the order in which chaffinch book log asks.

    With a book, the names of its fields, combines, drivers and pans stand below the lines.
    """
    write_sheet(address, file or file_name("check", "sheet"), size=size, date=date, plain=plain, over=over)


def write_sheet(address: str | None, name: str, *, size: str, date: str | None, plain: bool, over: bool) -> None:
    """Write the sheet; a book that is not there is no error where none was named."""
    from chaffinch.paper.check_sheet import check_sheet
    from chaffinch.paper.typeset import read_date, refuse_without_typesetter

    refuse_without_typesetter()
    day = read_date(date) if date else today()
    desk, farm = None, ""
    if not plain:
        from chaffinch.book.shown_unit import farm_of

        desk = _book_if_any(address)
        if desk is not None:
            home = farm_of(desk)
            farm = "" if home is None else home.name
    done = check_sheet(size=size, date=day, desk=desk, farm=farm)
    Page.here().say(f"wrote {write_pdf(name, done.pdf, over=over)}")


def _book_if_any(address: str | None) -> Desk | None:
    """The book that is meant; None where none was named and none, or no single one, lies here."""
    from chaffinch.cli.options.which_book import open_the_book, which

    if address is None:
        try:
            which(None)
        except InputError:
            return None
    return open_the_book(address)
