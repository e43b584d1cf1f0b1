"""``chaffinch book history``: every version of a check or another reading, every change to a thing."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from chaffinch.book.checks.differing import differences
from chaffinch.book.times import local
from chaffinch.cli.book.check_page import filed_under, settings_told
from chaffinch.cli.book.figures import farm_of
from chaffinch.cli.book.things import Teller, kind_of_thing
from chaffinch.cli.options.filing import one_thing, say_doubles
from chaffinch.cli.options.which_book import book_option, open_the_book, print_json
from chaffinch.cli.terminal.page import Page
from chaffinch.errors import InputError

if TYPE_CHECKING:
    from chaffinch.book.checks.held import LoggedCheck
    from chaffinch.book.checks.looking import ReadingHistory
    from chaffinch.book.desk import Desk
    from chaffinch.book.things import Thing

__all__ = ["differences", "history"]


@click.command("history")
@book_option
@click.argument("what", metavar="CHECK|READING|KIND|NAME")
@click.argument("name", metavar="[NAME]", required=False)
@click.option("--json", "as_data", is_flag=True, help="Print as JSON.")
def history(address: str | None, what: str, name: str | None, *, as_data: bool) -> None:
    """Show every version of a check or another reading, or every change to a thing, corrections and lost edits
    included.

    chaffinch book history 3f2a9c1b, history monitor 7be04d12, history "Old Bess", history combine "Old Bess".
    """
    desk = open_the_book(address)
    page = Page.here()
    from chaffinch.book.checks.held import find_check
    from chaffinch.book.checks.looking import ReadingHistory

    if name is not None:
        word = what.strip().casefold()
        if word in ("check", "checks"):
            _of_check(desk, find_check(desk, name), page, as_data=as_data)
        elif (kind := _kind_of_reading(word)) is not None:
            _of_reading(desk, _one_reading(desk, name, kind), page, as_data=as_data)
        else:
            _of_thing(desk, one_thing(desk, kind_of_thing(what).name, name, retired=True), page, as_data=as_data)
        return
    found = _named(desk, what)
    if isinstance(found, str):
        _of_check(desk, find_check(desk, found), page, as_data=as_data)
    elif isinstance(found, ReadingHistory):
        _of_reading(desk, found, page, as_data=as_data)
    else:
        _of_thing(desk, found, page, as_data=as_data)


def _kind_of_reading(word: str) -> str | None:
    """The kind of reading a word means, ``monitor`` or ``trials``; None for a check and for all else."""
    from chaffinch.records.kinds import CHECK, KINDS

    kinds = [kind.name for kind in KINDS.values() if kind.reading and kind.name != CHECK]
    return next((kind for kind in kinds if word in (kind, kind + "s")), None)


def _one_reading(desk: Desk, wanted: str, kind: str) -> ReadingHistory:
    from chaffinch.book.checks.looking import reading_history

    found = reading_history(desk, wanted, kind)
    if found is None:
        listed = kind + "s" if kind in ("trial", "photo") else kind
        raise InputError(kind, wanted, "is not in the book", f"chaffinch book show {listed} lists them")
    return found


def _named(desk: Desk, what: str) -> Thing | ReadingHistory | str:
    """The thing or reading a person means, or their word itself where it is the beginning of a check's id.

    Raises
    ------
    InputError
        When it is none of them, or could be several.
    """
    from chaffinch.book.checks.looking import reading_history
    from chaffinch.book.names import folded
    from chaffinch.book.things import which_thing

    try:
        meant = which_thing(desk, None, what, retired=True)
    except InputError as error:
        if error.problem.startswith("is the name of several"):
            raise InputError("history", what, "is the name of several things", error.mend) from None
        reading = reading_history(desk, what)
        if _begins_a_check(desk, what.strip()):
            if reading is not None:
                raise InputError("history", what, "is the beginning of several ids", "give more of it") from None
            return what
        if reading is not None:
            return reading
        mend = error.mend.replace("list what", "and show checks list what").replace(
            "show things lists what", "show things and show checks list what"
        )
        raise InputError("history", what, "is neither a reading nor a thing of the book", mend) from None
    if folded(meant.thing.name) != folded(what) and (
        _begins_a_check(desk, what.strip()) or reading_history(desk, what) is not None
    ):
        raise InputError("history", what, "is the beginning of several ids", "give more of it")
    say_doubles(meant)
    return meant.thing


def _begins_a_check(desk: Desk, wanted: str) -> bool:
    """Whether it begins the id of a check: of several, or of one in conflict, too."""
    from chaffinch.book.checks.held import find_check

    try:
        find_check(desk, wanted)
    except InputError as error:
        return not error.problem.startswith(("is not in the book", "is too short"))
    return True


def _of_check(desk: Desk, logged: LoggedCheck, page: Page, *, as_data: bool) -> None:
    from chaffinch.book.checks.looking import check_history

    in_order = check_history(desk, logged)
    counts = logged.versions.counts
    if as_data:
        data = [dict(one.envelope) | {"arrived": one.arrived, "counts": one.id == counts} for one in in_order]
        print_json({"check": logged.id, "disagree": logged.versions.disagree, "versions": data})
        return
    from chaffinch.book.things import by_ids

    here = by_ids(desk, [one.body.get(key) for one in in_order for key in ("season", "field", "combine", "operator")])
    names = {t.id: t.title for t in here.values()}
    farm = farm_of(desk)
    feet = farm is not None and str(farm.parts.get("report_in", "")).endswith("/ac")
    page.say()
    page.two_ends(f"check {logged.id[:8]}", f"{len(in_order)} {'version' if len(in_order) == 1 else 'versions'}")
    bodies = {one.id: one.body for one in in_order}
    for one in in_order:
        body = one.body
        page.say()
        mark = "counts" if one.id == counts else ("" if one.id in logged.versions.ends else "replaced")
        if one.id in logged.versions.ends and logged.versions.disagree:
            mark = f"{mark}, disagrees".lstrip(", ")
        page.say(f"  {page.strong(one.id[:8])}  {mark}")
        page.paragraph(f"taken {local(body['taken_at'])}, written by {one.device}, arrived {local(one.arrived)}")
        if "reason" in body:
            page.paragraph(f"reason: {body['reason']}")
        if not body.get("replaces"):
            filed = filed_under(body, here)
            parts = (filed.field or "no field", filed.season, filed.combine, filed.operator)
            page.paragraph("filed under " + " · ".join(x for x in parts if x))
            for line in settings_told(body):
                page.paragraph(line)
        olds = [bodies[old] for old in body.get("replaces", ()) if old in bodies]
        if olds:
            for line in differences(olds[0], body, names, feet=feet) or ["nothing in it differs"]:
                page.paragraph(line, indent=4, bullet="· ")
    page.say()
    if logged.versions.disagree:
        page.paragraph("Two corrections disagree: chaffinch book replace CHECK FILE --settle --reason … settles it.")
        page.say()


def _of_reading(desk: Desk, found: ReadingHistory, page: Page, *, as_data: bool) -> None:
    if as_data:
        data = [dict(one.envelope) | {"arrived": one.arrived, "counts": one.id == found.counts} for one in found.kept]
        told = {"kind": found.kind, "id": found.counts, "disagree": found.versions.disagree}
        print_json({"reading": told, "versions": data})
        return
    from chaffinch.cli.book.show import told_of

    names = Teller(desk).names
    page.say()
    several = "version" if len(found.kept) == 1 else "versions"
    page.two_ends(f"{found.kind} {found.kept[0].id[:8]}", f"{len(found.kept)} {several}")
    bodies = {one.id: one.body for one in found.kept}
    for one in found.kept:
        page.say()
        mark = "counts" if one.id == found.counts else ("" if one.id in found.versions.ends else "replaced")
        if one.id in found.in_conflict:
            mark = "two different records claim this id; neither counts"
        elif one.id in found.versions.ends and found.versions.disagree:
            mark = f"{mark}, disagrees".lstrip(", ")
        page.say(f"  {page.strong(one.id[:8])}  {mark}")
        page.paragraph(f"taken {local(one.body['taken_at'])}, written by {one.device}, arrived {local(one.arrived)}")
        if "reason" in one.body:
            page.paragraph(f"reason: {one.body['reason']}")
        olds = [bodies[old] for old in one.body.get("replaces", ()) if old in bodies]
        if olds:
            for line in differences(olds[0], one.body, names) or ["nothing in it differs"]:
                page.paragraph(line, indent=4, bullet="· ")
        else:
            for key, value in one.body.items():
                if key not in ("taken_at", "replaces", "reason"):
                    page.paragraph(told_of(key, value, names), indent=4, bullet="· ")
    page.say()
    if found.versions.disagree:
        page.paragraph(
            "Two corrections disagree; the one marked counts until a further correction: "
            f"chaffinch book replace {found.kept[0].id[:8]} … --reason WHY."
            if found.kind == "monitor"
            else "Two corrections disagree; the one marked counts on every book alike."
        )
        page.say()


def _of_thing(desk: Desk, thing: Thing, page: Page, *, as_data: bool) -> None:
    from chaffinch.book.checks.looking import thing_history
    from chaffinch.records.kinds import KINDS

    found = thing_history(desk, thing)
    first = found.first
    if as_data:
        data = [
            {"id": one.edit.id, "field": one.edit.field, "value": one.edit.value, "revision": one.edit.revision,
             "holds": one.holds, "device": one.device, "arrived": one.arrived}
            for one in found.changes
        ]  # fmt: skip
        print_json({"thing": thing.id, "kind": thing.kind, "first": dict(first.body), "edits": data})
        return
    kind, teller = KINDS[thing.kind], Teller(desk)
    page.say()
    page.two_ends(thing.title, thing.kind)
    page.say()
    page.paragraph(f"added {local(first.arrived)} on {first.device}")
    for key, value in first.body.items():
        page.paragraph(f"{key}: {teller.said(kind, key, value, first.body)}", indent=4, bullet="· ")
    for one in found.changes:
        fate = "holds" if one.holds else "was overtaken"
        value = teller.said(kind, one.edit.field, one.edit.value, thing.parts)
        page.paragraph(f"{local(one.arrived)} on {one.device}: {one.edit.field} {value} ({fate})")
    page.say()
