"""``chaffinch book replace``: correct a check or a monitor reading by a new record; the old one stays readable."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

import click

from chaffinch.book.times import local
from chaffinch.cli.book.doubts import same_crop
from chaffinch.cli.book.log import uninterrupted
from chaffinch.cli.book.things import kept
from chaffinch.cli.options.beside import bar_told
from chaffinch.cli.options.filed import Filing
from chaffinch.cli.options.filing import filing, filing_options, once, taken_at
from chaffinch.cli.options.which_book import a_file, book_option, open_the_book
from chaffinch.cli.terminal.asking import Stopped, a_person_types, ask
from chaffinch.cli.terminal.page import Page
from chaffinch.errors import InputError

if TYPE_CHECKING:
    from chaffinch.book.checks.bars import Reading
    from chaffinch.book.checks.held import LoggedCheck
    from chaffinch.book.desk import Desk, Receipt
    from chaffinch.records.check import Check


@click.command("replace")
@book_option
@click.argument("check", metavar="CHECK")
@click.argument("file", metavar="[FILE]", required=False)
@once("--reason", "reason", metavar="TEXT", help="Why, for whoever reads the history.")
@click.option("--settle", is_flag=True, help="Replace all versions of a check whose corrections disagree.")
@filing_options
@once("--speed", "speed", metavar="TEXT", help="Speed at the bar's reading, where the check's is not right for it.")
@click.option("--take-back", is_flag=True, help="Take a reading of the loss monitor back: it tells nothing any more.")
@click.option("--put-back", is_flag=True, help="Let one that was taken back tell again what it told.")
@click.option("--anyway", is_flag=True, help="Correct it although its crop is not the field's, or the bar added counts "
              "otherwise than before.")  # fmt: skip
def replace(
    address: str | None, check: str, file: str | None, reason: str | None, *, settle: bool,
    take_back: bool, put_back: bool, anyway: bool, **given: Any,
) -> None:  # fmt: skip
    """Correct CHECK (the beginning of its id) with the check of FILE, or the bar beside it.

    Without FILE the readings stay and only the filing changes: --field, --combine, --operator, --at, --setting,
    --condition. What is not given is taken over from the version replaced, the hour too unless FILE or --at says it.
    Nothing is deleted. Of a check that was corrected before, any version's id will do: the newest is corrected.

    --bar, --bar-per and --speed correct the bar noted beside the check, or add one. A reading of the loss monitor can
    be named in place of CHECK too: chaffinch book show monitor lists them. With --take-back it stays readable and tells
    nothing any more; --put-back undoes that.
    """
    if reason is None and a_person_types():
        try:
            reason = ask("Why, for whoever reads the history", _reason, example="the pan was 2 ft2, not 4")
        except Stopped:
            Page.here().say("  nothing was corrected")
            raise click.Abort from None
    if reason is None or not reason.strip():
        raise InputError("--reason", reason, "is missing", 'say why, like --reason "the pan was 2 ft2, not 4"')
    bar = bar_told(given)
    filed_by = ("field", "combine", "operator", "season", "at", "trial", "side")
    filed = [name for name in filed_by if given.get(name) is not None]
    changed = bool(file is not None or filed or given["given_settings"] or given["given_conditions"])
    if not changed and not bar and not (take_back or put_back):
        raise InputError("FILE", None, "is missing", "name the corrected check file, or what to file it under")
    desk = open_the_book(address)
    from chaffinch.book.checks.held import find_to_correct

    reading = _as_reading(desk, check)
    if reading is not None:
        if changed:
            problem = "is a reading of the loss monitor, not a check"
            mend = "only --bar, --bar-per, --speed, --take-back and --put-back correct one"
            raise InputError("CHECK", check, problem, mend)
        if take_back or put_back:
            _back(desk, reading, bar, reason=reason.strip(), again=put_back)
        else:
            _mend_reading(desk, reading, bar, reason=reason.strip())
        return
    if take_back or put_back:
        option = "--put-back" if put_back else "--take-back"
        raise InputError(option, check, "is a check", "name a reading: chaffinch book show monitor lists them")
    logged = find_to_correct(desk, check)
    if not changed:
        _mend_beside(desk, logged, bar, reason=reason.strip(), anyway=anyway)
        return
    old_ids = _versions_meant(logged, check, settle=settle)
    new, under = logged.check, filing(desk, {**given, "bar": None, "bar_per": None}, None)
    if file is not None:
        from chaffinch.cli.terminal.files import read_bytes
        from chaffinch.records.checkfile import read_check_file

        new = read_check_file(read_bytes(a_file(file, "FILE")), name=file)
        under.taken_at = taken_at(given.get("at"), new)
    before = {key: logged.body[key] for key in ("field",) if key in logged.body}
    moved = {**before, **under.where}
    if not anyway and (new.crop != logged.check.crop or moved.get("field") != before.get("field")):
        same_crop(desk, new, moved)
    receipt = _write(desk, logged, old_ids, new, under, bar, reason=reason.strip(), anyway=anyway)
    page = Page.here()
    if not settle and not old_ids[0].startswith(check.lower()):
        page.say(f"{check[:8]} was corrected before: correcting its newest version {old_ids[0][:8]}")
    page.say(f"saved {receipt.id[:8]}, which replaces {', '.join(one[:8] for one in old_ids)}")
    hour = str(logged.body["taken_at"])
    if under.taken_at is not None and under.taken_at != hour:
        page.say(f"taken {local(under.taken_at)}, no longer {local(hour)}")
    if bar:
        page.say("its bar was corrected with it")


def _write(
    desk: Desk, logged: LoggedCheck, old_ids: list[str], new: Check, under: Filing, bar: dict[str, Any], *,
    reason: str, anyway: bool,
) -> Receipt:  # fmt: skip
    from chaffinch.book.checks.bars import mended_beside
    from chaffinch.book.checks.entering import replace_check

    beside = None
    if bar:
        combine = under.where.get("combine") or logged.body.get("combine")
        beside = mended_beside(desk, logged, bar, combine=combine, reason=reason, anyway=anyway)
    with uninterrupted():
        receipt = replace_check(
            desk,
            old_ids,
            new,
            reason=reason,
            taken_at=under.taken_at,
            where=under.where,
            settings=under.settings,
            conditions=under.conditions,
            bar=beside,
        )
        return kept(desk, receipt)


def _as_reading(desk: Desk, wanted: str) -> Reading | None:
    """The monitor reading that ``wanted`` names; None where it names none, or a check."""
    from chaffinch.book.checks.bars import find_bar
    from chaffinch.book.checks.held import find_to_correct

    found = find_bar(desk, wanted)
    if found is None:
        return None
    try:
        find_to_correct(desk, wanted)
    except InputError as error:
        if error.problem.startswith("is not in the book"):
            return found
    raise InputError("CHECK", wanted, "is the beginning of several ids", "give more of it")


def _mend_reading(desk: Desk, found: Reading, bar: dict[str, Any], *, reason: str) -> None:
    from chaffinch.book.checks.bars import mend_bar

    with uninterrupted():
        receipt = kept(desk, mend_bar(desk, found, bar, reason=reason))
    _say_bar(receipt.id, {**found.kept.body, **bar}, found.ends)


def _back(desk: Desk, found: Reading, bar: dict[str, Any], *, reason: str, again: bool) -> None:
    from chaffinch.book.checks.bars import put_back, take_back

    if bar:
        raise InputError("--bar", bar.get("reading"), "does not go with taking back", "do one after the other")
    with uninterrupted():
        receipt = kept(desk, (put_back if again else take_back)(desk, found, reason=reason))
    what = "put back" if again else "taken back"
    Page.here().say(f"saved {receipt.id[:8]}  {what}, which replaces {', '.join(one[:8] for one in found.ends)}")


def _mend_beside(desk: Desk, logged: LoggedCheck, bar: dict[str, Any], *, reason: str, anyway: bool) -> None:
    from chaffinch.book.checks.bars import mended_beside, write_beside

    beside = mended_beside(desk, logged, bar, combine=logged.body.get("combine"), reason=reason, anyway=anyway)
    with uninterrupted():
        receipt = kept(desk, write_beside(desk, logged, beside))
    _say_bar(receipt.id, beside, beside.get("replaces", ()))


def _say_bar(new_id: str, body: Mapping[str, Any], replaced: Sequence[str]) -> None:
    per = f" per {body['per']}" if "per" in body else ""
    instead = f", which replaces {', '.join(one[:8] for one in replaced)}" if replaced else ""
    Page.here().say(f"saved {new_id[:8]}  bar {body['reading']:g}{per}{instead}")


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
