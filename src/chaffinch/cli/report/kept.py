"""``chaffinch report list|again``: the reports that were issued, and printing one of them as it was."""

from __future__ import annotations

import click

from chaffinch.book.times import local
from chaffinch.cli.options.which_book import book_option, open_the_book, print_json
from chaffinch.cli.terminal.page import Page
from chaffinch.cli.terminal.pdf_file import file_name, write_pdf


@click.command("list")
@book_option
@click.option("--json", "as_data", is_flag=True, help="Print as JSON.")
def list_report(address: str | None, *, as_data: bool) -> None:
    """List the reports that were issued from the book, by time."""
    from chaffinch.book.reports import reports

    found = reports(open_the_book(address))
    if as_data:
        print_json(
            [
                {
                    "id": one.id,
                    "issued_at": one.issued_at,
                    "title": one.title,
                    "program": one.program,
                    "price": one.price,
                }
                for one in found
            ]
        )
        return
    page = Page.here()
    if not found:
        page.paragraph("No report was issued yet: chaffinch report field NAME --issue keeps one.")
        return
    rows = [["report", "issued", "program", "title"]]
    rows += [[one.id[:8], local(one.issued_at), one.program, one.title] for one in found]
    page.print_table(rows, left=4)


@click.command("again")
@book_option
@click.argument("report", metavar="REPORT")
@click.option("--pdf", "file", metavar="FILE", help="Where it goes  [default: a name made of what it is about]")
@click.option("--over", is_flag=True, help="Replace a file that is there.")
@click.option("--json", "as_data", is_flag=True, help="Print the figures as they were issued.")
def again_report(address: str | None, report: str, file: str | None, *, over: bool, as_data: bool) -> None:
    """Print REPORT, by the beginning of its id, as it was issued: nothing is worked out anew."""
    from chaffinch.book.reports import find_report
    from chaffinch.paper.typeset import refuse_without_typesetter, typeset

    found = find_report(open_the_book(address), report)
    if as_data:
        print_json(found.result["figures"])
        return
    refuse_without_typesetter()
    done = typeset("report", found.result["page"])
    kind, date = str(found.result["kind"]), str(found.result["page"]["date"])
    target = write_pdf(file or file_name(kind, found.id[:8], date), done.pdf, over=over)
    Page.here().say(f"wrote {target}  {'1 page' if done.pages == 1 else f'{done.pages} pages'}")
