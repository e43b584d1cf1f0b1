"""``chaffinch book replace``: correct a check by a new record; the old one stays readable."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from chaffinch.cli.asking import Stopped, a_person_types, ask
from chaffinch.cli.book_doubts import same_crop
from chaffinch.cli.book_filing import filing, filing_options, once, taken_at
from chaffinch.cli.book_log import uninterrupted
from chaffinch.cli.book_things import kept
from chaffinch.cli.book_times import local
from chaffinch.cli.book_which import a_file, book_option, open_the_book
from chaffinch.cli.page import Page
from chaffinch.errors import InputError

if TYPE_CHECKING:
    from chaffinch.book.checks import LoggedCheck


@click.command("replace")
@book_option
@click.argument("check", metavar="CHECK")
@click.argument("file", metavar="[FILE]", required=False)
@once("--reason", "reason", metavar="TEXT", help="Why, for whoever reads the history.")
@click.option("--settle", is_flag=True, help="Replace all versions of a check whose corrections disagree.")
@filing_options
@click.option("--anyway", is_flag=True, help="Correct it although its crop is not the field's.")
def replace(
    address: str | None, check: str, file: str | None, reason: str | None, *, settle: bool, anyway: bool, **given: Any
) -> None:
    """Correct CHECK (the beginning of its id) with the check of FILE.

    Without FILE the readings stay and only the filing changes: --field, --combine, --operator, --at, --setting,
    --condition. What is not given is taken over from the version replaced, the hour too unless FILE or --at says it.
    Nothing is deleted. Of a check that was corrected before, any version's id will do: the newest is corrected.
    """
    if reason is None and a_person_types():
        try:
            reason = ask("Why, for whoever reads the history", _reason, example="the pan was 2 ft2, not 4")
        except Stopped:
            Page.here().say("  nothing was corrected")
            raise click.Abort from None
    if reason is None or not reason.strip():
        raise InputError("--reason", reason, "is missing", 'say why, like --reason "the pan was 2 ft2, not 4"')
    filed_by = ("field", "combine", "operator", "season", "at", "trial", "side")
    filed = [name for name in filed_by if given.get(name) is not None]
    if file is None and not filed and not given["given_settings"] and not given["given_conditions"]:
        raise InputError("FILE", None, "is missing", "name the corrected check file, or what to file it under")
    told = next((flag for flag in ("bar", "bar_per") if given.get(flag) is not None), None)
    if told is not None:
        problem = "is a reading of its own and stays with the check it was told beside"
        raise InputError(f"--{told.replace('_', '-')}", given[told], problem, "leave it out")
    desk = open_the_book(address)
    from chaffinch.book.checks import find_to_correct, replace_check

    logged = find_to_correct(desk, check)
    old_ids = _versions_meant(logged, check, settle=settle)
    new, under = logged.check, filing(desk, given, None)
    if file is not None:
        from chaffinch.cli.files import read_bytes
        from chaffinch.records.checkfile import read_check_file

        new = read_check_file(read_bytes(a_file(file, "FILE")), name=file)
        under.taken_at = taken_at(given.get("at"), new)
    before = {key: logged.body[key] for key in ("field",) if key in logged.body}
    moved = {**before, **under.where}
    if not anyway and (new.crop != logged.check.crop or moved.get("field") != before.get("field")):
        same_crop(desk, new, moved)
    with uninterrupted():
        receipt = replace_check(
            desk,
            old_ids,
            new,
            reason=reason.strip(),
            taken_at=under.taken_at,
            where=under.where,
            settings=under.settings,
            conditions=under.conditions,
        )
        kept(desk, receipt)
    page = Page.here()
    if not settle and not old_ids[0].startswith(check.lower()):
        page.say(f"{check[:8]} was corrected before: correcting its newest version {old_ids[0][:8]}")
    page.say(f"saved {receipt.id[:8]}, which replaces {', '.join(one[:8] for one in old_ids)}")
    hour = str(logged.body["taken_at"])
    if under.taken_at is not None and under.taken_at != hour:
        page.say(f"taken {local(under.taken_at)}, no longer {local(hour)}")


def _reason(text: str) -> str:
    if not text.strip():
        raise InputError("reason", None, "is missing", "say why in a few words")
    return text


def _versions_meant(logged: LoggedCheck, wanted: str, *, settle: bool) -> list[str]:
    """Ids to replace: the one version that stands unreplaced, or with ``settle`` all of them."""
    versions = logged.versions
    if settle:
        return list(versions.ends)
    if versions.disagree:
        listed = ", ".join(one[:8] for one in versions.ends)
        raise InputError(
            "check", wanted, f"has corrections that disagree: {listed}", "look at its history, then say --settle"
        )
    return [logged.id]
