"""``chaffinch book log``: put a check into the book."""

from __future__ import annotations

import signal
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

import click

from chaffinch.cli.book.doubts import not_twice, same_crop
from chaffinch.cli.book.things import kept
from chaffinch.cli.book.toml import as_toml
from chaffinch.cli.options.filed import Filing
from chaffinch.cli.options.filing import filing, filing_options, once
from chaffinch.cli.options.which_book import a_file, book_option, open_the_book, print_json
from chaffinch.cli.terminal.asking import Stopped, a_person_types, ask_yes
from chaffinch.cli.terminal.page import Page, to_ascii
from chaffinch.errors import BookError, InputError

if TYPE_CHECKING:
    from chaffinch.book.checks.answer import CheckAnswer
    from chaffinch.book.desk import Desk, Receipt
    from chaffinch.records.check import Check

_CHECK_FLAGS = (
    ("crop", "Crop; else the field's."),
    ("place", "Where the catches were taken."),
    ("pan", "A pan of the book, an area like 4 ft2, or sides like 2 ft x 2 ft."),
    ("length", "Of a windrow: metres shaken out."),
    ("time", "Of a leak: time caught."),
    ("step", "Smallest division of the scale."),
    ("speed", "Ground speed."),
    ("cut-width", "Cut width; else the combine's."),
    ("drop-width", "Width of the discharge; else the combine's."),
    ("spread-width", "Width of the throw; else the combine's."),
    ("windrower-width", "Width the windrower cut."),
    ("country", "Country; else the farm's."),
)


def _check_options(function: Any) -> Any:
    text = "Spreader or chopper on during the catch."
    function = click.option("--spreading/--no-spreading", default=None, help=text)(function)
    text = "What a catch held, like 12.5 g; repeat for more catches."
    function = click.option("--amount", "amounts", multiple=True, metavar="TEXT", help=text)(function)
    for name, text in reversed(_CHECK_FLAGS):
        function = once(f"--{name}", name.replace("-", "_"), metavar="TEXT", help=text)(function)
    return function


@click.command("log")
@book_option
@click.argument("file", metavar="[FILE]", required=False)
@filing_options
@_check_options
@click.option("--again", is_flag=True, help="Log it although the book has the same check already.")
@click.option("--anyway", is_flag=True, help="Log it although its crop is not the field's, or "
              "its bar counts otherwise than before.")  # fmt: skip
@click.option("--json", "as_data", is_flag=True, help="Print the receipt as JSON.")
def log(address: str | None, file: str | None, *, as_data: bool, **given: Any) -> None:
    """Put the check of FILE into the book (TOML or JSON; - reads standard input), or ask for it.

    Without FILE it asks, and shows the estimate after every catch; what a flag gives is not asked. The check is on
    disk before "saved" appears; if it cannot be written, it is printed so that it can be kept.
    """
    desk = open_the_book(address)
    page = Page.here()
    if file is not None:
        _log_file(desk, file, given, page, as_data=as_data)
        return
    _log_talk(desk, given, page, as_data=as_data)


def _log_file(desk: Desk, file: str, given: Mapping[str, Any], page: Page, *, as_data: bool) -> None:
    from chaffinch.cli.terminal.files import read_bytes
    from chaffinch.records.checkfile import check_to_table, read_check_file

    surplus = [f"--{name}" for name, _ in _CHECK_FLAGS if given.get(name.replace("-", "_")) is not None]
    surplus += ["--amount"] if given.get("amounts") else []
    surplus += ["--spreading"] if given.get("spreading") is not None else []
    if surplus:
        raise InputError(surplus[0], None, "is given together with a file", "write it into the file, or leave FILE out")
    check = read_check_file(read_bytes(a_file(file, "FILE")), name=file)
    # What came through a pipe, or was pasted, is nowhere else: it is given back when it cannot be kept.
    table = check_to_table(check) if file == "-" else None
    under = Filing()
    try:
        under = filing(desk, given, check)
        if not given.get("anyway"):
            same_crop(desk, check, under.where)
        if not given.get("again"):
            not_twice(desk, check, under)
    except InputError:
        if table is not None:
            not_saved(table, under, page)
        raise
    receipt = write(desk, check, under, table, page)
    _say_saved(desk, receipt, check, under, page, as_data=as_data)


def _log_talk(desk: Desk, given: Mapping[str, Any], page: Page, *, as_data: bool) -> None:
    from chaffinch.book.checks.said import next_step
    from chaffinch.book.wording import CAUTION
    from chaffinch.cli.book.talk import Talk
    from chaffinch.records.checkfile import check_from_table

    if not a_person_types() and not given.get("amounts") and given.get("place") is None:
        raise InputError("FILE", None, "is missing, and nobody is there to ask", "name a check file, or give --amount")
    under = filing(desk, given, None)  # every flag is judged before the first question
    under.taken_at = under.taken_at or desk.now()
    talk = Talk(desk, given, page)
    found: CheckAnswer | None = None
    try:
        try:
            talk.begin()
            found = talk.take_catches()
        finally:
            under.taken_at = talk.taken_at or under.taken_at
    except Stopped as stop:
        _stopped(talk.whole(), under, page, ended=stop.ended)
    except KeyboardInterrupt:  # between two questions, while an estimate was computed
        _stopped(talk.whole(), under, page, ended=False)
    except Exception:
        # Whatever went wrong, what was typed is not to be typed again.
        if talk.catches and talk.typed:
            not_saved(talk.whole(), under, page)
        raise
    under.where = under.where | talk.where
    try:
        check = check_from_table(talk.whole())
    except InputError:
        not_saved(talk.whole(), under, page)
        raise
    if not talk.typed and not given.get("anyway"):  # a person who types has just been asked for the crop
        same_crop(desk, check, under.where)
    if not given.get("again"):
        not_twice(desk, check, under)
    receipt = write(desk, check, under, talk.whole(), page)
    _say_saved(desk, receipt, check, under, page, as_data=as_data)
    if found is not None and talk.typed and not as_data:
        text = next_step(found)
        if text and found.verdict != "under":
            page.paragraph(CAUTION, bullet="! ")
        if text:
            page.paragraph(text)


def _stopped(table: dict[str, Any], under: Filing, page: Page, *, ended: bool) -> None:
    """After Ctrl-C: ask whether to keep what is there; return only when it is to be written."""
    count = len(table["catch"])
    if count == 0:
        raise click.Abort
    if not ended:
        what = "the catch" if count == 1 else f"the {count} catches"
        try:
            if ask_yes(f"Stopped. Keep {what} taken so far?", offered=True):
                return
        except Stopped:
            pass
        else:
            page.say("  not kept; the book is as it was")
            raise click.Abort
    not_saved(table, under, page)
    raise click.Abort


def write(desk: Desk, check: Check, under: Filing, table: Mapping[str, Any] | None, page: Page) -> Receipt:
    """Write a check into the book; when it cannot be, say so loudly and print ``table`` so that it can be kept."""
    from chaffinch.book.checks.entering import log_check

    try:
        with uninterrupted():
            return kept(
                desk,
                log_check(
                    desk,
                    check,
                    taken_at=under.taken_at,
                    where=under.where,
                    settings=under.settings,
                    conditions=under.conditions,
                    bar=under.bar,
                    other_way=under.other_way,
                ),
            )
    except Exception as error:
        # Whatever went wrong, what was typed is not to be typed again.
        if table is not None:
            not_saved(table, under, page)
        if isinstance(error, BookError) and "NOT SAVED" not in error.reason:
            raise BookError(error.where, f"NOT SAVED: {error.reason}") from error
        raise


def not_saved(table: Mapping[str, Any], under: Filing, page: Page) -> None:
    """Say on stderr that nothing was saved, and print the check so that it can be kept."""
    # The hour that was meant stands first, and over one in the file that --at overruled.
    kept_with = dict(table) if under.taken_at is None else {"when": ""} | dict(table) | {"when": under.taken_at}
    _err(page, "!!! NOT SAVED: the book does not have this check.")
    _err(page, "Keep the text below as check.toml; then: chaffinch book log check.toml")
    for setting in under.settings or []:
        unit = f" {setting['unit']}" if "unit" in setting else ""
        _err(page, f'  and say --setting "{setting["name"]}={setting["value"]:g}{unit}"')
    for name, value in (under.conditions or {}).items():
        _err(page, f"  and say --condition {name}={value:g}")
    if under.bar is not None:
        _err(page, f"  and say --bar {under.bar['reading']:g} --bar-per {under.bar['per']}")
    if "trial" in under.where:
        _err(page, f"  and say --trial {under.where['trial'][:8]} --side {under.where['side']}")
    text = as_toml(kept_with)
    # A name the terminal has no letters for is better readable in part than not at all.
    click.echo(text if page.fine else to_ascii(text), nl=False)


def _err(page: Page, text: str) -> None:
    click.echo(text if page.fine else to_ascii(text), err=True)


def _say_saved(desk: Desk, receipt: Receipt, check: Check, under: Filing, page: Page, *, as_data: bool) -> None:
    unfiled = ""
    if "field" not in under.where and not any(note.startswith("field ") for note in under.notes):
        mend = f'chaffinch book replace {receipt.id[:8]} --field NAME --reason "filing" files it'
        unfiled = f"filed under no field: it counts in no field's sum; {mend}"
    for note in under.notes:
        _err(page, f"note: {note}")
    if as_data:
        data: dict[str, Any] = {"id": receipt.id, "hash": receipt.hash, "outcome": receipt.outcome}
        data |= {"where": under.where, "bar": under.bar, "settings": under.settings}
        print_json(data | {"notes": under.notes + ([unfiled] if unfiled else [])})
        return
    from chaffinch.book.things import by_ids

    names = {t.id: t.name for t in by_ids(desk, under.where.values()).values()}
    count = len(check.catches)
    parts = [f"{check.crop}, {count} {'catch' if count == 1 else 'catches'}"]
    parts += [names[under.where[k]] for k in ("field", "combine", "operator") if under.where.get(k) in names]
    if "trial" in under.where:
        parts.append(f"trial {under.where['trial'][:8]}, side {under.where['side']}")
    if under.bar is not None:
        parts.append(f"bar {under.bar['reading']:g}")
    page.say(f"saved {receipt.id[:8]}  {' · '.join(parts)}")
    if unfiled:
        page.paragraph(unfiled)


@contextmanager
def uninterrupted() -> Iterator[None]:
    """Let no Ctrl-C in until the record is on disk or refused, so that what is said about it is true."""
    try:
        before = signal.signal(signal.SIGINT, signal.SIG_IGN)
    except ValueError:  # Not the main thread: no Ctrl-C arrives here.
        yield
        return
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, signal.SIG_DFL if before is None else before)
