"""``chaffinch book import``: an exported folder, a phone's file, or somebody's own spreadsheet of past checks."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import click

from chaffinch.book.times import local
from chaffinch.cli.book.field_page import cut
from chaffinch.cli.options.which_book import a_file, book_option, open_the_book, print_json, progress
from chaffinch.cli.terminal.asking import Stopped, a_person_types, ask_yes, read_line
from chaffinch.cli.terminal.page import Page, table
from chaffinch.errors import InputError

if TYPE_CHECKING:
    from chaffinch.book.desk import Desk
    from chaffinch.book.exchange.importing import Imported
    from chaffinch.book.exchange.phone_file import FromPhone
    from chaffinch.book.sheets.meanings import Matching
    from chaffinch.book.sheets.spreadsheet import Rows, Sheet

LISTED: Final = 50
"""Refused rows shown on the page; --json has them all."""
SHOWN_CHECKS: Final = 10
_SHEET_ONLY: Final = ("columns", "fixed", "dates", "decimals", "zone", "matching", "save_matching")


@click.command("import")
@book_option
@click.argument("source", metavar="FOLDER|FILE")
@click.option("--dry-run", is_flag=True, help="Write nothing; show what would come in, and what would not.")
@click.option("--column", "columns", multiple=True, metavar="NAME=MEANING", help='Like "Pan size=pan:ft2", or "Bin=-".')
@click.option(
    "--fixed", multiple=True, metavar="KEY=VALUE", help='Said for every row, like crop=canola or pan="4 ft2".'
)
@click.option("--dates", metavar="STYLE", help="iso, dmy or mdy, where the dates leave it open.")
@click.option("--decimals", metavar="MARK", help='Decimal mark, "." or ",", where the numbers leave it open.')
@click.option("--zone", metavar="ZONE", help="Zone of the times: -06:00, or a name; this computer's when absent.")
@click.option("--matching", metavar="FILE", help="Use the matching of columns kept in FILE.")
@click.option("--save-matching", metavar="FILE", help="Keep the matching of columns in FILE, for the next time.")
@click.option("--salvage", is_flag=True, help="Take the whole lines of a damaged export.")
@click.option("--other-book", is_flag=True, help="Take a phone's file in though the phone belongs to another book.")
@click.option("--yes", is_flag=True, help="Do not ask before a spreadsheet comes in.")
@click.option("--json", "as_data", is_flag=True, help="Print as JSON.")
def import_(
    address: str | None,
    source: str,
    *,
    dry_run: bool,
    salvage: bool,
    other_book: bool,
    yes: bool,
    as_data: bool,
    **given: Any,
) -> None:
    """Bring in the FOLDER of an export, the FILE that a phone saved, or a spreadsheet of past checks saved as CSV.

    A spreadsheet may come through a pipe too (-).

    The columns of a spreadsheet are matched by their names, and shown; --column changes one, --fixed says what holds
    for every row. Rows that cannot be used are listed with the reason, and the others come in. The same rows come in
    only once. Exit status 2 when something was refused.
    """
    a_file(source, "FOLDER|FILE")
    for flag in ("matching", "save_matching"):
        a_file(given[flag] or "", f"--{flag.replace('_', '-')}")
    desk = open_the_book(address)
    page = Page.here()
    path = Path(source)
    if other_book and (path.is_dir() or not _is_a_phones(path)):
        raise InputError("--other-book", None, "goes with a phone's file", "leave it out")
    if path.is_dir():
        _no_sheet_options(given)
        from chaffinch.book.exchange.importing import import_folder

        with progress("lines") as step:
            found = import_folder(desk, source, dry_run=dry_run, salvage=salvage, progress=step)
        _tell(found, page, as_data=as_data)
        return
    if salvage:
        raise InputError("--salvage", None, "goes with an export's folder", "leave it out")
    if _is_a_phones(path):
        _no_sheet_options(given)
        _import_phone(desk, path, page, dry_run=dry_run, other_book=other_book, as_data=as_data)
        return
    _import_sheet(desk, path, given, page, dry_run=dry_run, ask_first=not yes and a_person_types(), as_data=as_data)


def _no_sheet_options(given: dict[str, Any]) -> None:
    for name in _SHEET_ONLY:
        if given[name]:
            flag = "--" + {"columns": "column"}.get(name, name).replace("_", "-")
            raise InputError(flag, None, "goes with a spreadsheet, not with an export", "leave it out")


def _is_a_phones(path: Path) -> bool:
    from chaffinch.book.exchange.phone_file import is_phone_file

    return str(path) != "-" and is_phone_file(_bytes(path, 64))


def _import_phone(desk: Desk, path: Path, page: Page, *, dry_run: bool, other_book: bool, as_data: bool) -> None:
    from chaffinch.book.exchange.phone_file import MOST_BYTES, import_phone_file

    found = import_phone_file(desk, _bytes(path, MOST_BYTES), dry_run=dry_run, other_book=other_book)
    if not as_data:
        _show_phone(found, page)
    _tell(found.imported, page, as_data=as_data, receipts=[asdict(one) for one in found.receipts])


def _show_phone(found: FromPhone, page: Page) -> None:
    page.say()
    page.say(f"  {found.device or 'a phone'}, written {local(found.written_at) if found.written_at else 'some time'}")
    rows = [["record", "taken", "id", "outcome"]]
    rows += [[x.kind or f"line {x.line}", local(x.taken_at) if x.taken_at else "", x.id[:8], x.outcome]
             for x in found.receipts[:LISTED]]  # fmt: skip
    head, *lines = table(rows, left=4)
    page.say("  " + page.soft(head))
    for line in lines:
        page.say("  " + line)
    if len(found.receipts) > LISTED:
        page.say(f"  and {len(found.receipts) - LISTED} more; --json lists them all")
    if found.photos:
        count = f"{len(found.photos)} {'photo is' if len(found.photos) == 1 else 'photos are'}"
        page.paragraph(f"{count} in the file. The import page of chaffinch serve keeps photos; a book holds none.")


def _import_sheet(
    desk: Desk, path: Path, given: dict[str, Any], page: Page, *, dry_run: bool, ask_first: bool, as_data: bool
) -> None:
    from chaffinch.book.sheets.grid import MOST_BYTES
    from chaffinch.book.sheets.spreadsheet import import_spreadsheet, open_sheet

    if str(path) == "-":
        ask_first = False  # what is piped in or pasted leaves nobody to ask
    sheet = open_sheet(_bytes(path, MOST_BYTES))
    matching = _matching(sheet, given)
    ask_first = ask_first and not as_data
    if not as_data:
        _show_matching(matching, page)
    rows, matching = _rows(sheet, matching, page, asking=ask_first)
    if given["save_matching"]:
        _save(Path(given["save_matching"]), matching.as_toml())
    if ask_first and not dry_run:
        with progress("checks") as step:
            _show(import_spreadsheet(desk, rows, dry_run=True, progress=step), page)
        try:
            if not ask_yes("Bring them in?"):
                page.say("  nothing was written")
                return
        except Stopped:
            page.say("  nothing was written")
            raise click.Abort from None
    with progress("checks") as step:
        found = import_spreadsheet(desk, rows, dry_run=dry_run, progress=step)
    _tell(found, page, as_data=as_data)


def _rows(sheet: Sheet, matching: Matching, page: Page, *, asking: bool) -> tuple[Rows, Matching]:
    """Read the rows; where a person types, columns can be changed until they are right."""
    from chaffinch.book.sheets.spreadsheet import read_rows as read

    def read_rows(sheet: Sheet, matching: Matching) -> Rows:
        with progress("rows") as step:
            return read(sheet, matching, progress=step)

    while True:
        try:
            if not asking:
                return read_rows(sheet, matching), matching
            text = read_line(
                'Columns right? (Enter for yes, or a change like "Pan size=pan:ft2", crop=canola): '
            ).strip()
            if not text:
                return read_rows(sheet, matching), matching
            matching = _changed(matching, text)
            _show_matching(matching, page)
        except Stopped:
            page.say("  nothing was written")
            raise click.Abort from None
        except InputError as error:
            if not asking:
                raise
            page.say(f"  {error}")


def _changed(matching: Matching, text: str) -> Matching:
    """A change as typed: of a column when there is one of that name, else something said for every row."""
    from chaffinch.book.names import folded
    from chaffinch.book.sheets.meanings import FIXED
    from chaffinch.book.sheets.spreadsheet import with_styles

    name, _, value = text.strip("\"'").partition("=")
    styles = ("dates", "decimals", "zone")
    is_column = folded(name) in {folded(c.header) for c in matching.columns}
    if not is_column and name.strip() in styles:
        return with_styles(matching, **{name.strip(): value.strip()})
    if not is_column and name.strip() in FIXED:
        return matching.with_fixed(name.strip(), value)
    return matching.with_column(text.strip("\"'"))


def _matching(sheet: Sheet, given: dict[str, Any]) -> Matching:
    from chaffinch.book.sheets.spreadsheet import match_columns, matching_from_toml, with_styles
    from chaffinch.cli.terminal.files import read_bytes

    if given["matching"]:
        try:
            text = read_bytes(given["matching"]).decode("utf-8-sig")
        except UnicodeDecodeError:
            raise InputError("--matching", given["matching"], "is not UTF-8", "save it anew from a dry run") from None
        matching = matching_from_toml(text, sheet.header)
    else:
        matching = match_columns(sheet.header, sheet.sample, sheet.units)
    _once_each("--column", [change.rpartition("=")[0] for change in given["columns"]])
    for change in given["columns"]:
        matching = matching.with_column(change)
    _once_each("--fixed", [pair.partition("=")[0] for pair in given["fixed"]])
    for pair in given["fixed"]:
        key, mark, value = pair.partition("=")
        if not mark:
            raise InputError("--fixed", pair, "is not KEY=VALUE", "write it like --fixed crop=canola")
        matching = matching.with_fixed(key.strip(), value)
    styles = {key: given[key] or "" for key in ("dates", "decimals", "zone")}
    return with_styles(matching, **styles)


def _once_each(flag: str, names: Sequence[str]) -> None:
    """Refuse the same name twice, where the last would win without a word."""
    from chaffinch.book.names import folded

    known = [folded(name) for name in names]
    twice = next((name for name in names if known.count(folded(name)) > 1), None)
    if twice is not None:
        raise InputError(flag, twice.strip(), "is given twice", "give it once")


def _show_matching(matching: Matching, page: Page) -> None:
    page.say()
    rows = [["column", "taken for", "in"]]
    rows += [[c.header[:34], c.meaning or "left out", c.unit or "–"] for c in matching.columns]
    head, *lines = table(rows, left=3)
    page.say("  " + page.soft(head))
    for line in lines:
        page.say("  " + line)
    for key, value in matching.fixed.items():
        page.say(f"  for every row: {key} {value}")
    page.say()


def _show(found: Imported, page: Page) -> None:
    for notice in found.notices:
        page.paragraph(notice, bullet="· ")
    if found.coming:
        _show_coming(found, page)
    for kind, name in found.added:
        page.say(f"  {'would add' if found.dry_run else 'added'} {kind} {name}")
    for refused in found.refused[:LISTED]:
        page.paragraph(refused.line(), bullet="◆ ")
    if len(found.refused) > LISTED:
        page.paragraph(f"{len(found.refused) - LISTED} more were refused; --json lists them all.")
    verb = "would come in" if found.dry_run else "came in"
    parts = [f"{found.accepted} {'record' if found.accepted == 1 else 'records'} {verb}"]
    parts += [f"{found.known} known already"] if found.known else []
    parts += [f"{found.conflicts} in conflict"] if found.conflicts else []
    parts += [f"{len(found.refused)} refused"] if found.refused else []
    page.say(f"  {', '.join(parts)}")


def _show_coming(found: Imported, page: Page) -> None:
    rows = [["rows", "taken", "field", "catches", ""]]
    for one in found.coming[:SHOWN_CHECKS]:
        outcome = "" if one.outcome == "accepted" else one.outcome
        catches = cut(", ".join(one.catches), 26)
        rows.append([_span(one.rows), local(one.taken_at), cut(one.field, 16) or "–", catches, outcome])
    head, *lines = table(rows, left=5, gap=2)
    page.say("  " + page.soft(head))
    for line in lines:
        page.say("  " + line)
    if len(found.coming) > SHOWN_CHECKS:
        page.say(f"  and {len(found.coming) - SHOWN_CHECKS} more checks")


def _span(rows: Sequence[int]) -> str:
    if len(rows) > 1 and rows[-1] - rows[0] == len(rows) - 1:
        return f"{rows[0]}–{rows[-1]}"
    return ", ".join(map(str, rows[:3])) + (" …" if len(rows) > 3 else "")


def _tell(found: Imported, page: Page, *, as_data: bool, receipts: list[dict[str, Any]] | None = None) -> None:
    if as_data:
        print_json(as_json(found) | ({} if receipts is None else {"receipts": receipts}))
    else:
        _show(found, page)
    if found.refused:
        count = f"{len(found.refused)} {'row' if len(found.refused) == 1 else 'rows'}"
        mend = "mend and import again: what came in already is known then"
        raise InputError("import", None, f"{count} refused", mend)


def as_json(found: Imported) -> dict[str, Any]:
    """What came in, or would, as JSON-able data."""
    return {
        "dry_run": found.dry_run,
        "accepted": found.accepted,
        "known": found.known,
        "conflicts": found.conflicts,
        "kinds": dict(found.kinds),
        "added": [{"kind": kind, "name": name} for kind, name in found.added],
        "checks": [asdict(one) for one in found.coming],
        "refused": [asdict(one) for one in found.refused],
        "notices": list(found.notices),
    }


def _bytes(path: Path, most: int) -> bytes:
    """The beginning of a file: one byte more than the most, so that a reader can say it is too large."""
    if str(path) == "-":
        if sys.stdin is None:
            raise InputError("standard input", None, "is closed", "name a file, or pipe one in")
        return sys.stdin.buffer.read(most + 1)
    try:
        with path.open("rb") as file:
            return file.read(most + 1)
    except FileNotFoundError:
        raise InputError(
            "file", str(path), "does not exist", "name a phone's file, a CSV file, or the folder of an export"
        ) from None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or error
        raise InputError("file", str(path), f"cannot be read ({reason})", "check its permissions") from None


def _save(path: Path, text: str) -> None:
    if path.exists():
        raise InputError("--save-matching", str(path), "is there already", "name another file")
    try:
        path.write_text(text, encoding="utf-8")
    except OSError as error:
        raise InputError(
            "--save-matching", str(path), f"cannot be written ({error.strerror})", "name another file"
        ) from None
