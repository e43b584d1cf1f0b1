"""``chaffinch book show``: what the book holds."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict
from typing import TYPE_CHECKING, Any, Final

import click

from chaffinch.book.times import local, read_since
from chaffinch.cli.book.field_page import check_as_json, check_lines, field_as_json, show_field
from chaffinch.cli.book.things import Teller, kind_of_thing
from chaffinch.cli.options.filing import one_thing
from chaffinch.cli.options.which_book import book_option, open_the_book, print_json, progress
from chaffinch.cli.terminal.page import Page, table
from chaffinch.errors import InputError, SamplerError

if TYPE_CHECKING:
    from chaffinch.book.checks.fields import CheckLine
    from chaffinch.book.desk import Desk
    from chaffinch.book.things import Thing

LAST: Final = 20
"""Checks listed when nothing says which."""

IN_OVERVIEW: Final = 5
"""Checks listed below the overview."""

READINGS: Final = ("monitor", "trial", "weather", "photo", "report")
_OTHERS: Final = ("things", "checks", "conflicts", *(f"{kind}s" for kind in ("trial", "photo", "report")))


@click.command("show")
@book_option
@click.argument("what", metavar="[WHAT]", required=False)
@click.argument("name", metavar="[NAME]", required=False)
@click.option("--since", metavar="TIME", help="Only what was taken since: 7d, 24h, 2w or 2026-08-14.")
@click.option("--field", "field_name", metavar="NAME", help="Only checks of this field.")
@click.option("--combine", "combine_name", metavar="NAME", help="Only checks of this combine.")
@click.option("--season", "season_name", metavar="NAME", help="Only this season.")
@click.option("--all", "everything", is_flag=True, help=f"All checks, not only the last {LAST}.")
@click.option("--json", "as_data", is_flag=True, help="Print as JSON.")
def show(
    address: str | None,
    what: str | None,
    name: str | None,
    since: str | None,
    *,
    everything: bool,
    as_data: bool,
    **narrow: str | None,
) -> None:
    """Show what the book holds; without WHAT, an overview.

    WHAT is checks, things, conflicts, one kind of thing (fields, combines …), or one kind of reading (monitor, trials,
    weather, photos, reports). With NAME, that one: show field "Long Hollow", show check 3f2a9c1b.
    """
    desk = open_the_book(address)
    page = Page.here()
    word = (what or "").strip().casefold()
    after = None if since is None else read_since(since, desk.now())
    lists_checks = word in ("checks", "check") and name is None
    is_reading = word.removesuffix("s") in READINGS or word in READINGS
    given = [f"--{k.removesuffix('_name')}" for k, v in narrow.items() if v is not None]
    given += ["--all"] if everything else []
    if name is not None and word in ("field", "fields"):
        given = [flag for flag in given if flag != "--season"]
    if given and not lists_checks:
        raise InputError(given[0], None, "goes with the list of checks", f"say chaffinch book show checks {given[0]} …")
    if after is not None and not (lists_checks or is_reading or not word):
        raise InputError("--since", since, "goes with checks and other readings", "leave it out")
    if not word:
        _overview(desk, page, after, as_data=as_data)
    elif lists_checks:
        _checks(desk, page, narrow, after, everything=everything, as_data=as_data)
    elif word in ("check", "checks"):
        _one_check(desk, name or "", page, as_data=as_data)
    elif word in ("things", "thing"):
        _things(desk, page, None, as_data=as_data)
    elif word in ("conflict", "conflicts"):
        _conflicts(desk, page, as_data=as_data)
    elif is_reading:
        _readings(desk, page, word if word in READINGS else word.removesuffix("s"), after, as_data=as_data)
    else:
        _kind(desk, page, word, name, narrow["season_name"], as_data=as_data)


def _kind(desk: Desk, page: Page, word: str, name: str | None, season: str | None, *, as_data: bool) -> None:
    try:
        kind = kind_of_thing(word)
    except InputError as error:
        mend = error.mend if error.mend.startswith("did") else f"{error.mend}, {', '.join(_OTHERS)}"
        raise InputError("WHAT", word, "is nothing the book can show", mend) from None
    if name is None:
        _things(desk, page, kind.name, as_data=as_data)
        return
    season_id = None if season is None else one_thing(desk, "season", season, flag="--season", retired=True).id
    thing = one_thing(desk, kind.name, name, season=season_id, retired=True)
    if kind.name == "field":
        show_summary(desk, thing, page, as_data=as_data)
    elif as_data:
        print_json(_thing_data(thing))
    else:
        page.say()
        page.two_ends(thing.title, kind.name)
        page.say()
        teller = Teller(desk)
        rows = [[part.name, teller.said(kind, part.name, thing.parts[part.name], thing.parts)] for part in kind.parts
                if part.name in thing.parts and part.name != "name"]  # fmt: skip
        for line in table(rows, left=2) if rows else ["nothing more is said about it"]:
            page.say("  " + line)
        page.say()
        if kind.name == "combine":
            _own_variation(desk, thing, page)


def _own_variation(desk: Desk, combine: Thing, page: Page) -> None:
    """How much this combine's catches differ, where eight checks with repeats say it."""
    from chaffinch.book.checks.own_variation import HOW_TAKEN, USUAL, own_variations

    for one in own_variations(desk, combine):
        low, middle, high = (f"{100 * v:.0f}" for v in (one.c0.low, one.c0.median, one.c0.high))
        page.paragraph(
            f"Pans {HOW_TAKEN[one.taken]} differ by {middle} % here (likely {low} to {high}), by {one.checks} checks; "
            f"usual is {100 * USUAL[one.taken]:.0f} %. Pace, worth, trial, monitor, field and season go by it. A "
            f"single check goes by the usual figure, unless a catch says so: variation = {one.c0.median:.2f}.",
            bullet="· ",
        )


def show_summary(desk: Desk, field: Thing, page: Page, *, as_data: bool) -> None:
    """Show one field: its mean loss by source and its checks."""
    from chaffinch.book.checks.fields import field_summary

    with progress("checks") as step:
        found = field_summary(desk, field, progress=step)
    if as_data:
        print_json(field_as_json(desk, found))
    else:
        show_field(desk, found, page)


def _overview(desk: Desk, page: Page, after: str | None, *, as_data: bool) -> None:
    from chaffinch.book.checks.looking import overview

    with progress("Reading the book"):
        found = overview(desk, after)
    if as_data:
        data = {"title": found.title, "id": found.id, "book": desk.place, "started": found.started}
        counts = {"things": found.things, "check_records": found.check_records, "conflicts": found.conflicts}
        print_json(data | counts | {"copies_before_updates": [asdict(one) for one in found.copies]})
        return
    page.say()
    page.two_ends(found.title, desk.place)
    page.say()
    count = found.check_records
    listed = [f"{n} {kind if n == 1 else kind + 's'}" for kind, n in found.things.items()]
    listed.append(f"{count} {'record of a check' if count == 1 else 'records of checks'}"
                  + ("" if after is None else f" since {local(after)}"))  # fmt: skip
    page.paragraph(", ".join(listed) + ".")
    if found.conflicts:
        page.paragraph(f"{found.conflicts} in conflict: chaffinch book show conflicts.")
    for one in found.copies:
        # A line of its own, never broken: a file name is copied from it.
        on = f" on {one.device}" if one.device else ""
        page.paragraph(f"Brought up to date {local(one.at)}; as it was before, it was copied{on} to:")
        page.say(f"    {one.file}")
    if count:
        with progress("checks") as step:
            lines, _ = _answered(desk, found.newest[:IN_OVERVIEW], step)
        if len(found.newest) > len(lines):
            text = f"The last {len(lines)} of {len(found.newest)} checks; chaffinch book show checks lists all."
            page.paragraph(text if after is None else text.removesuffix(" lists all.") + " --since lists all.")
        page.say()
        names = _names(desk, lines)
        for line in check_lines(lines, names, page, with_field=True):
            page.say(line)
    page.say()


def _names(desk: Desk, lines: Sequence[CheckLine]) -> dict[str, str]:
    """Names of the things that checks are filed under."""
    from chaffinch.book.things import by_ids

    ids = [line.logged.body.get(key) for line in lines for key in ("season", "field", "combine", "operator")]
    return {t.id: t.name for t in by_ids(desk, ids).values()}


def _checks(
    desk: Desk, page: Page, narrow: dict[str, str | None], after: str | None, *, everything: bool, as_data: bool
) -> None:
    from chaffinch.book.checks.held import checks_where

    ids_of: dict[str, str] = {}
    if narrow["season_name"] is not None:
        ids_of["season"] = one_thing(desk, "season", narrow["season_name"], flag="--season", retired=True).id
    for kind in ("field", "combine"):
        wanted = narrow[f"{kind}_name"]
        if wanted is not None:
            season = ids_of.get("season")
            ids_of[kind] = one_thing(desk, kind, wanted, season=season, flag=f"--{kind}", retired=True).id
    ids = checks_where(
        desk, field=ids_of.get("field"), combine=ids_of.get("combine"), season=ids_of.get("season"), since=after
    )
    chosen = ids if everything or after is not None else ids[:LAST]
    with progress("checks") as step:
        lines, failed = _answered(desk, chosen, step)
    # A correction may have moved a check out of what was asked for.
    lines = [x for x in lines if all(x.logged.body.get(k) == v for k, v in ids_of.items())]
    if as_data:
        data = {"checks": [check_as_json(line) for line in lines], "older": len(ids) - len(chosen)}
        print_json(data | {"without_estimate": [{"id": x, "reason": why} for x, why in failed]})
        return
    page.say()
    if not lines:
        page.paragraph("No checks here." if not ids_of and after is None else "No checks of that description.")
    else:
        names = _names(desk, lines)
        for text in check_lines(lines, names, page, with_field=True):
            page.say(text)
    for record_id, why in failed:
        page.paragraph(f"{record_id[:8]}: no estimate: {why}", bullet="◆ ")
    if len(ids) > len(chosen):
        page.say()
        page.paragraph(f"{len(ids) - len(chosen)} older: --all or --since 30d shows more.")
    page.say()


def _answered(
    desk: Desk, ids: Sequence[str], step: Callable[[int, int], None]
) -> tuple[list[CheckLine], list[tuple[str, str]]]:
    """Answers by time, and (id, why) of the checks that have none: one of them must not hide the others."""
    from chaffinch.book.checks.answer import answer
    from chaffinch.book.checks.fields import CheckLine
    from chaffinch.book.checks.held import counting

    lines: list[CheckLine] = []
    failed: list[tuple[str, str]] = []
    logged = counting(desk, ids)
    for done, one in enumerate(logged, start=1):
        try:
            lines.append(CheckLine(one, answer(one.check)))
        except (InputError, SamplerError) as error:
            failed.append((one.id, str(error)))
        step(done, len(logged))
    return lines, failed


def _one_check(desk: Desk, wanted: str, page: Page, *, as_data: bool) -> None:
    from chaffinch.book.checks.held import find_check
    from chaffinch.cli.book.check_page import show_one_check

    show_one_check(desk, find_check(desk, wanted), page, as_data=as_data)


def _things(desk: Desk, page: Page, kind: str | None, *, as_data: bool) -> None:
    from chaffinch.book.things import things
    from chaffinch.records.kinds import KINDS

    with progress("Reading the book"):
        found = things(desk, kind)
    if as_data:
        print_json({"things": [_thing_data(t) for t in found]})
        return
    page.say()
    if not found:
        page.paragraph(f"The book has no {kind or 'thing'} yet: chaffinch book add {kind or 'KIND'} NAME.")
    kinds = dict.fromkeys(t.kind for t in found)
    teller = Teller(desk)
    for one in [k for k in KINDS if k in kinds]:
        if kind is None:
            page.say("  " + page.soft(one + "s"))
        for thing in (t for t in found if t.kind == one):
            shown = [
                f"{key} {teller.said(KINDS[one], key, value, thing.parts)}"
                for key, value in thing.parts.items()
                if key not in ("name", "text", "note", "retired")
            ]
            page.paragraph(f"{thing.id[:8]}  {thing.title}" + (f": {', '.join(shown)}" if shown else ""))
    page.say()


def _thing_data(thing: Thing) -> dict[str, Any]:
    return {"id": thing.id, "kind": thing.kind, **thing.parts}


def _conflicts(desk: Desk, page: Page, *, as_data: bool) -> None:
    from chaffinch.book.checks.looking import conflicts

    with progress("Reading the book"):
        aside = conflicts(desk)
    if as_data:
        print_json({"conflicts": [dict(one.envelope) | {"arrived": one.arrived} for one in aside]})
        return
    page.say()
    if not aside:
        page.paragraph("No conflicts.")
    for one in aside:
        text = f"{one.id[:8]}  {one.kind} from {one.device}, arrived {local(one.arrived)}, hash {one.hash[:12]}"
        page.paragraph(text)
    if aside:
        page.paragraph(
            "Another record had the same id. Both are kept, neither is counted. Of a check, the right one goes in with "
            "chaffinch book replace ID FILE."
        )
    page.say()


def _readings(desk: Desk, page: Page, kind: str, after: str | None, *, as_data: bool) -> None:
    from chaffinch.book.checks.looking import readings

    when = "issued_at" if kind == "report" else "taken_at"
    with progress("Reading the book"):
        found = readings(desk, kind, after)
    if as_data:
        print_json({kind: [{"id": one.id, **one.body} for one in found]})
        return
    page.say()
    if not found:
        page.paragraph(f"No {kind} records here.")
    names = Teller(desk).names if found else {}
    for one in found:
        rest = {k: v for k, v in one.body.items() if k not in (when, "replaces", "result")}
        text = ", ".join(told_of(k, v, names) for k, v in rest.items())
        page.paragraph(f"{one.id[:8]}  {local(one.body[when])}  {text}")
    page.say()


def told_of(key: str, value: object, names: Mapping[str, str]) -> str:
    """One part of a reading in a line: settings and conditions by name, things by theirs."""
    if isinstance(value, Mapping):
        return ", ".join(told_of(str(k), v, names) for k, v in value.items())
    if isinstance(value, list):
        shown = [f"{v['name']} {v['value']:g} {v.get('unit', '')}".strip() for v in value if isinstance(v, Mapping)]
        return f"{key}: {', '.join(shown) or len(value)}"
    text = names.get(str(value)) or str(value)
    return f"{key} {text[:8] if len(text) == 36 and text.count('-') == 4 else text}"
