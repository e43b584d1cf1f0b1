"""``chaffinch check``: what a check file says."""

from __future__ import annotations

import click

from chaffinch.cli.files import read_bytes
from chaffinch.cli.page import Page


@click.command("check")
@click.argument("file", metavar="FILE")
@click.option("--json", "as_data", is_flag=True, help="Print the full answer as JSON.")
@click.option("--seed", default=1, show_default=True, type=click.IntRange(0, 2**31), help="Seed of the sampler.")
def command(file: str, as_data: bool, seed: int) -> None:
    """Answer the check in FILE (TOML or JSON; - reads standard input).

    Shows the loss with its 90 % range (5th to 95th percentile), the plain textbook arithmetic beside it, where the
    loss arose, what it costs, and whether it is over your limit. Exit status 0, or 2 when the file needs mending.
    """
    from chaffinch.book.check import answer
    from chaffinch.records.checkfile import read_check_file

    found = answer(read_check_file(read_bytes(file), name=file), seed=seed)
    if as_data:
        import json

        from chaffinch.book.check_json import as_json

        click.echo(json.dumps(as_json(found), indent=2, allow_nan=False))
        return
    from chaffinch.cli.check_page import show

    show(found, Page.here())
