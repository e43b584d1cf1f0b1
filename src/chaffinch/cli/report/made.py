"""``chaffinch report check|field|trial|season``: making a report, writing it, and issuing it when asked."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from chaffinch.cli.options.costs import hour_cost, hour_cost_options
from chaffinch.cli.options.which_book import book_option, open_the_book, print_json, progress
from chaffinch.cli.terminal.page import Page
from chaffinch.cli.terminal.pdf_file import file_name, refuse_taken, today, write_pdf
from chaffinch.errors import InputError, SamplerError

if TYPE_CHECKING:
    from chaffinch.book.desk import Desk
    from chaffinch.book.things import Thing
    from chaffinch.paper.blocks import Report
    from chaffinch.paper.wanted import Wanted

F = TypeVar("F", bound=Callable[..., Any])


def paper_options(function: F) -> F:
    """Add what every report takes: file, paper, units, day, short, issue."""
    for option in (
        click.option("--json", "as_data", is_flag=True, help="Print the figures as JSON; a PDF only with --pdf."),
        click.option("--issue", is_flag=True, help="Keep it in the book as it stands, to be printed again."),
        click.option("--over", is_flag=True, help="Replace a file that is there."),
        click.option("--short", is_flag=True, help="One page."),
        click.option("--units", default="farm", show_default=True, type=click.Choice(["farm", "metric", "american"]),
                     help="Units of the figures."),
        click.option("--paper", "size", default="a4", show_default=True, type=click.Choice(["a4", "letter"])),
        click.option("--date", "date", metavar="DAY", help="Day on the report, like 2026-08-14  [default: today]"),
        click.option("--pdf", "file", metavar="FILE", help="Where it goes  [default: a name made of what it is about]"),
    ):  # fmt: skip
        function = option(function)
    return function


@click.command("check")
@book_option
@click.argument("check", metavar="CHECK")
@paper_options
def check_report(address: str | None, check: str, **given: Any) -> None:
    """Report on CHECK: a check of the book by the beginning of its id, or a check file."""
    from chaffinch.paper.check_report import check_file_report
    from chaffinch.paper.check_report import check_report as of_book

    wanted = wanted_of(given)
    if address is None and Path(check).suffix in (".toml", ".json"):
        from chaffinch.cli.terminal.files import read_bytes
        from chaffinch.records.checkfile import read_check_file

        if given["issue"]:
            raise InputError("--issue", None, "needs a check of the book", "log it first: chaffinch book log FILE")
        report = check_file_report(read_check_file(read_bytes(check), name=check), wanted)
        hand_over(None, report, wanted, given, Path(check).stem)
        return
    from chaffinch.book.checks.held import find_check

    desk = open_the_book(address)
    logged = find_check(desk, check)
    hand_over(desk, of_book(desk, logged, wanted), wanted, given, logged.id[:8])


@click.command("field")
@book_option
@click.argument("field", metavar="[FIELD]", required=False)
@click.option("--season", metavar="NAME", help="Which season's field of that name; with --all, the season.")
@click.option("--all", "every", is_flag=True, help="Every field of the season, into the folder that --pdf names.")
@paper_options
@hour_cost_options
def field_report(address: str | None, field: str | None, season: str | None, every: bool, **given: Any) -> None:
    """Report on FIELD of the book: loss by source, checks, changes, pace and what is missing."""
    from chaffinch.cli.ledger import only_season
    from chaffinch.cli.options.filing import one_thing
    from chaffinch.paper.field_report import field_report as of_book

    if every == (field is not None):
        raise InputError("FIELD", field, "is given beside --all" if every else "is missing", "name one, or say --all")
    wanted = wanted_of(given)
    desk = open_the_book(address)
    if every:
        _every_field(desk, only_season(desk, season), wanted, given)
        return
    of_season = None if season is None else one_thing(desk, "season", season, flag="--season", retired=True).id
    thing = one_thing(desk, "field", str(field), season=of_season, flag="FIELD", retired=True)
    refuse_early(given, ("field", thing.name, wanted.date))
    with progress("Reading the checks") as step:
        report = of_book(desk, thing, wanted, progress=step)
    hand_over(desk, report, wanted, given, thing.name)


@click.command("trial")
@book_option
@click.argument("trial", metavar="TRIAL")
@click.option("--source", type=click.Choice(["machine", "header", "judged"]), default="machine", show_default=True,
              help="Which loss to compare; judged is header and machine together.")  # fmt: skip
@paper_options
def trial_report(address: str | None, trial: str, source: Any, **given: Any) -> None:
    """Report on TRIAL, by the beginning of its id."""
    from chaffinch.book.trials.trial import find_trial
    from chaffinch.paper.trial_report import trial_report as of_book

    wanted = wanted_of(given)
    desk = open_the_book(address)
    record = find_trial(desk, trial)
    with progress("Reading the checks") as step:
        report = of_book(desk, record, wanted, source=source, progress=step)
    hand_over(desk, report, wanted, given, record.id[:8])


@click.command("season")
@book_option
@click.option("--season", metavar="NAME", help="The season; may be left out where the book has one.")
@paper_options
@hour_cost_options
def season_report(address: str | None, season: str | None, **given: Any) -> None:
    """Report on a season: fields, crops, changes, pace, fair comparisons and what is missing."""
    from chaffinch.cli.ledger import only_season
    from chaffinch.paper.season_report import season_report as of_book

    wanted = wanted_of(given)
    desk = open_the_book(address)
    thing = only_season(desk, season)
    refuse_early(given, ("season", thing.name, wanted.date))
    with progress("Reading the checks") as step:
        report = of_book(desk, thing, wanted, progress=step)
    hand_over(desk, report, wanted, given, thing.name)


def wanted_of(given: dict[str, Any]) -> Wanted:
    """What the options of paper ask for, and what an hour costs."""
    from chaffinch.book.pace.hour_costs import money_of
    from chaffinch.paper.typeset import refuse_without_typesetter
    from chaffinch.paper.wanted import Wanted

    refuse_without_typesetter()
    cost, money = None, []
    parts = {key: value for key, value in given.items() if key not in _PAPER}
    if any(value is not None for value in parts.values()):
        cost = hour_cost(parts, yield_kg_ha=None, price_per_t=None)
        money = money_of(parts, called=lambda name: f"--{name}")
    return Wanted(
        date=given["date"] or today(), size=given["size"], units=given["units"], short=given["short"],
        hour_cost=cost, hour_money=tuple(money),
    )  # fmt: skip


_PAPER = ("as_data", "issue", "over", "short", "units", "size", "date", "file")


def refuse_early(given: dict[str, Any], parts: tuple[str, ...]) -> None:
    """Refuse a name that cannot be written before seconds are spent."""
    if given["file"] is not None or not given["as_data"]:
        refuse_taken(given["file"] or file_name(*parts), over=given["over"])


def hand_over(desk: Desk | None, report: Report, wanted: Wanted, given: dict[str, Any], about: str) -> None:
    """Print the figures or write the PDF; keep it in the book when asked."""
    from chaffinch.paper.wanted import as_issued, made

    if given["as_data"]:
        print_json(report.figures)
        if given["file"] is None and not given["issue"]:
            return
    if given["issue"]:
        report = as_issued(report, wanted)
    report, done = made(report)
    name = given["file"] or file_name(report.kind, about, wanted.date)
    refuse_taken(name, over=given["over"])
    kept = _kept(desk, report) if given["issue"] and desk is not None else ""
    target = write_pdf(name, done.pdf, over=given["over"])
    if not given["as_data"]:
        pages = "1 page" if done.pages == 1 else f"{done.pages} pages"
        Page.here().say(f"wrote {target}  {pages}")
        if kept:
            Page.here().say(f"kept as report {kept}: chaffinch report again {kept} prints it as it is now")


def _kept(desk: Desk, report: Report) -> str:
    from chaffinch.book.reports import issue_report

    receipt = issue_report(
        desk, kind=report.kind, title=report.title, page=report.data(), figures=report.figures, of=report.of,
        price=report.price, short=report.short,
    )  # fmt: skip
    return receipt.id[:8]


def _every_field(desk: Desk, season: Thing, wanted: Wanted, given: dict[str, Any]) -> None:
    """A PDF for each field of a season; one that cannot be made is told and does not stop the others."""
    from chaffinch.book.things import things
    from chaffinch.paper.field_report import field_report as of_book
    from chaffinch.paper.wanted import as_issued, made

    if given["as_data"]:
        raise InputError("--json", None, "is for one field", "name the field, or leave --json out")
    fields = [t for t in things(desk, "field") if t.parts.get("season") == season.id and not t.retired]
    if not fields:
        raise InputError("--season", season.name, "has no field in the book", "chaffinch book add field puts one there")
    folder = Path(given["file"] or f"fields-{season.name}-{wanted.date}")
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise InputError("--pdf", str(folder), f"cannot be a folder ({reason})", "name another") from None
    taken: set[str] = set()
    page, refused = Page.here(), 0
    written: list[str] = []
    with progress("Fields") as step:
        for done, one in enumerate(fields, start=1):
            target = str(folder / file_name("field", one.name, wanted.date))
            if target in taken:
                target = str(folder / file_name("field", f"{one.name[:40]} {one.id[:8]}", wanted.date))
            taken.add(target)
            try:
                refuse_taken(target, over=given["over"])
                report = of_book(desk, one, wanted)
                report, set_pages = made(as_issued(report, wanted) if given["issue"] else report)
                kept = _kept(desk, report) if given["issue"] else ""
                write_pdf(target, set_pages.pdf, over=given["over"])
                written.append(f"wrote {target}" + (f"  kept as report {kept}" if kept else ""))
            except (InputError, SamplerError) as error:
                refused += 1
                written.append(f"not written: {one.name}: {error}")
            step(done, len(fields))
    for line in written:
        page.say(line)
    if refused:
        raise InputError("--all", None, f"{refused} of {len(fields)} fields have no report", "mend what is told above")
