"""``chaffinch book verify``, ``rebuild``, ``backup`` and ``restore``: keeping a book safe."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from chaffinch.cli.options.which_book import book_option, careful, open_the_book, print_json, progress
from chaffinch.cli.terminal.page import Page
from chaffinch.errors import BookError

if TYPE_CHECKING:
    from chaffinch.book.checks.looking import Verified


@click.command("verify")
@book_option
@click.option("--json", "as_data", is_flag=True, help="Print as JSON.")
def verify(address: str | None, *, as_data: bool) -> None:
    """Read the whole book and compare it with itself: every hash, every index.

    Exit status 0 when it is whole, 1 when it is not.
    """
    desk = open_the_book(address)
    from chaffinch.book.keeping import check_whole

    with progress("records") as step:
        found = check_whole(desk, progress=step)
    page = Page.here()
    if as_data:
        print_json(as_json(found))
    else:
        if not found.problems:
            page.say(f"whole: {_counts(found)}")
        for problem in found.problems:
            page.paragraph(problem, bullet="◆ ")
        for remark in found.remarks:
            page.paragraph(remark, bullet="· ")
    if found.problems:
        more = "" if len(found.problems) == 1 else f" and {len(found.problems) - 1} more"
        raise BookError(desk.place, f"is not whole: {found.problems[0]}{more}")


def as_json(found: Verified) -> dict[str, Any]:
    """What a verification found, as JSON-able data."""
    return {
        "whole": not found.problems,
        "records": found.records,
        "conflicts": found.conflicts,
        "kinds": found.kinds,
        "problems": list(found.problems),
        "remarks": list(found.remarks),
    }


@click.command("rebuild")
@book_option
def rebuild(address: str | None) -> None:
    """Throw the book's indexes away and make them anew from its records, in one step; no record is touched."""
    desk = open_the_book(address)
    from chaffinch.book.keeping import rebuild as make_anew

    with progress("records") as step:
        make_anew(desk, progress=step)
    Page.here().say("indexes made anew; chaffinch book verify looks at them")


@click.command("backup")
@book_option
@click.argument("file", metavar="FILE")
def backup(address: str | None, file: str) -> None:
    """Copy the book to a new FILE and verify the copy; others may go on writing meanwhile."""
    careful(file)
    desk = open_the_book(address)
    from chaffinch.book.keeping import back_up

    with progress("Copying and verifying") as step:
        found = back_up(desk, file, progress=step)
    Page.here().say(f"backed up to {file}, verified: {_counts(found)}")


@click.command("restore")
@click.argument("backup", metavar="BACKUP")
@click.argument("address", metavar="ADDRESS")
def restore(backup: str, address: str) -> None:
    """Make a book at ADDRESS of the file BACKUP, and verify it before it is called done.

    ADDRESS is the name of a new file, or an empty database on a PostgreSQL server. It is the same book: its id, its
    order, its hours. Nothing is ever overwritten.
    """
    careful(backup)
    careful(address)
    from chaffinch.book.desk import shown_address
    from chaffinch.book.keeping import restore as make_book_of

    with progress("Copying and verifying") as step:
        found = make_book_of(backup, address, progress=step)
    Page.here().say(f"restored {shown_address(address)}, verified: {_counts(found)}")


def _counts(found: Verified) -> str:
    kinds = ", ".join(f"{n} {kind}" for kind, n in found.kinds.items())
    total = f"{found.records} {'record' if found.records == 1 else 'records'}"
    aside = f", {found.conflicts} in conflict" if found.conflicts else ""
    return total + (f" ({kinds})" if kinds else "") + aside
