"""``chaffinch book merge``, ``export`` and ``import``: books that become equal, and books in open formats."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from chaffinch.cli.options.which_book import a_file, book_option, careful, open_the_book, opened, print_json, progress
from chaffinch.cli.terminal.page import Page
from chaffinch.errors import BookError, InputError

if TYPE_CHECKING:
    from chaffinch.book.exchange.merging import Merged


@click.command("merge")
@book_option
@click.argument("other", metavar="OTHER")
@click.option("--json", "as_data", is_flag=True, help="Print as JSON.")
def merge(address: str | None, other: str, *, as_data: bool) -> None:
    """Make this book and OTHER equal: what one has and the other lacks goes over, both ways.

    Nothing is changed or deleted in either. It may be stopped and run again.
    """
    careful(other)
    here = open_the_book(address, leave_out=other)
    from chaffinch.book.desk import shown_address
    from chaffinch.book.exchange.merging import merge as make_equal

    if Path(other).exists() and here.file is not None and Path(other).samefile(here.file):
        raise InputError("book", shown_address(other), "cannot be merged with itself", "name another book")
    there = opened(other)
    with progress("records") as step:
        came, went = make_equal(here, there, progress=step)
    page = Page.here()
    if as_data:
        print_json({"here": _merged(came), "there": _merged(went)})
    else:
        for merged, name in ((came, here.place), (went, there.place)):
            page.say(f"{name}: {_told(merged)}")
            for receipt in merged.refused:
                page.paragraph(f"{receipt.id[:8]}: {receipt.reason}", bullet="◆ ")
        if came.conflicts or went.conflicts:
            page.paragraph("Two different records had one id: chaffinch book show conflicts.")
    refused = len(came.refused) + len(went.refused)
    if refused:
        raise BookError(there.place, f"{refused} records were refused: the books are not equal yet")


def _told(merged: Merged) -> str:
    parts = [f"{merged.accepted} came in"]
    parts += [f"{merged.conflicts} in conflict"] if merged.conflicts else []
    parts += [f"{len(merged.refused)} refused"] if merged.refused else []
    return ", ".join(parts)


def _merged(merged: Merged) -> dict[str, Any]:
    return {
        "accepted": merged.accepted,
        "known": merged.known,
        "conflicts": merged.conflicts,
        "refused": [{"id": r.id, "hash": r.hash, "reason": r.reason} for r in merged.refused],
    }


@click.command("export")
@book_option
@click.argument("folder", metavar="FOLDER")
@click.option("--json", "as_data", is_flag=True, help="Print as JSON.")
def export(address: str | None, folder: str, *, as_data: bool) -> None:
    """Write the whole book into a new FOLDER: JSON Lines that import takes back, and CSV tables for people."""
    a_file(folder, "FOLDER")
    desk = open_the_book(address)
    from chaffinch.book.exchange.exporting import export_book

    with progress("records") as step:
        found = export_book(desk, folder, progress=step)
    if as_data:
        data = {"folder": found.folder, "records": found.records, "conflicts": found.conflicts}
        print_json(data | {"kinds": found.kinds, "rows": found.rows})
        return
    page = Page.here()
    aside = f", {found.conflicts} in conflict" if found.conflicts else ""
    page.say(f"exported to {found.folder}: {found.records} records{aside}")
    page.paragraph(", ".join(f"{name} {rows}" for name, rows in found.rows.items()) + " (rows by table)")
