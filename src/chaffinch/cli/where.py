"""``chaffinch where``: where a stop's or a field's grain was lost, from the book."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from chaffinch.cli.options.which_book import book_option, open_the_book, print_json
from chaffinch.cli.terminal.page import Page
from chaffinch.errors import InputError

if TYPE_CHECKING:
    from chaffinch.book.checks.answer import CheckAnswer
    from chaffinch.book.desk import Desk


@click.command("where")
@book_option
@click.argument("check", metavar="[CHECK]", required=False)
@click.option("--field", "field", metavar="NAME", help="All checks of this field of the book.")
@click.option("--season", metavar="NAME", help="A season; with --field, which of two of that name.")
@click.option("--json", "as_data", is_flag=True, help="Print as JSON.")
def command(address: str | None, check: str | None, field: str | None, season: str | None, *, as_data: bool) -> None:
    """Say where grain was lost: before harvest, at the header, in the machine, by a leak.

    CHECK is a check of the book, by the beginning of its id; --field sums up all checks of one field, --season those of
    a whole season.
    """
    if check is not None and (field is not None or season is not None):
        flag = "--field" if field is not None else "--season"
        raise InputError("CHECK", check, f"is given together with {flag}", "name one check, or leave it out")
    if check is None and field is None and season is None:
        raise InputError("CHECK", None, "is missing", "name one check of the book, --field NAME or --season NAME")
    desk = open_the_book(address)
    page = Page.here()
    if field is None and season is not None:
        _season(desk, season, page, as_data=as_data)
        return
    if field is not None:
        from chaffinch.cli.book.show import show_summary
        from chaffinch.cli.options.filing import one_thing

        season_id = None if season is None else one_thing(desk, "season", season, flag="--season", retired=True).id
        wanted = one_thing(desk, "field", field, season=season_id, flag="--field", retired=True)
        show_summary(desk, wanted, page, as_data=as_data)
        return
    from chaffinch.book.checks.answer import answer
    from chaffinch.book.checks.held import find_check
    from chaffinch.book.things import by_ids

    logged = find_check(desk, check or "")
    found = answer(logged.check)
    if as_data:
        print_json({"id": logged.id, **_as_json(found)})
        return
    here = by_ids(desk, [logged.body.get(k) for k in ("field", "combine")])
    filed = [here[logged.body[k]].name for k in ("field", "combine") if logged.body.get(k) in here]
    _show(found, page, f"check {logged.id[:8]}", " · ".join(filed))


def _season(desk: Desk, season: str, page: Page, *, as_data: bool) -> None:
    from chaffinch.book.season.ledger import ledger
    from chaffinch.cli.ledger import only_season
    from chaffinch.cli.ledger_page import show_where
    from chaffinch.cli.options.which_book import progress

    with progress("Reading the checks") as step:
        found = ledger(desk, only_season(desk, season), money=False, progress=step)
    if as_data:
        from chaffinch.book.season.plain_data import as_json

        whole = as_json(found)
        left = ("whole", "crops", "fields_without_area", "checks_filed_under_no_field", "checks_of_another_crop")
        print_json({key: whole[key] for key in ("season", "checks", "variation", "machine_only", "header_only", *left)})
        return
    show_where(desk, found, page)


def _as_json(found: CheckAnswer) -> dict[str, Any]:
    from chaffinch.book.checks.plain_data import as_json

    whole = as_json(found)
    return {key: whole[key] for key in ("crop", "sources", "total", "judged", "warnings")}


def _show(found: CheckAnswer, page: Page, left: str, right: str) -> None:
    from chaffinch.book.checks.in_trade_unit import in_trade_unit
    from chaffinch.book.checks.said import sentence
    from chaffinch.book.figures import decimals_for, percent, range_words, rounded
    from chaffinch.book.wording import CAUTION, SOURCE
    from chaffinch.cli.terminal.page import table

    check = found.check
    several = len(found.sources) > 1
    page.say()
    page.two_ends(left, right)
    page.say()
    head = [check.trade_unit, "low", "middle", "high"]
    rows = [head + (["of the loss", "largest?"] if several else [])]
    for source, loss in found.sources.items():
        r = in_trade_unit(loss.kg_ha, check)
        row = [SOURCE[source], *range_words(r)]
        rows.append(
            row + ([f"{rounded(loss.part_of_loss_pct, 0)} %", f"{percent(loss.p_largest)} %"] if several else [])
        )
    if several:
        r = in_trade_unit(found.total.kg_ha, check)
        rows.append(["total", *range_words(r, decimals=decimals_for(r.low, r.high)), "", ""])
    first, *lines = table(rows)
    page.say("  " + page.soft(first))
    for line in lines:
        page.say("  " + line)
    page.say()
    if several:
        source, loss = max(found.sources.items(), key=lambda item: item[1].p_largest)
        page.paragraph(f"The {SOURCE[source]} loss is the largest: {percent(loss.p_largest)} % sure.")
    warnings = [notice for notice in found.notices if notice.kind == "warning"]
    if warnings:
        # Most of them send somebody to the machine.
        page.paragraph(CAUTION, bullet="! ")
    for notice in warnings:
        page.paragraph(sentence(notice, check), bullet="· ")
    page.say()
