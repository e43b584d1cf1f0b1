"""Is this check in the book already, and is its crop the field's? Asked before a check is written."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import TYPE_CHECKING

import click

from chaffinch.cli.asking import Stopped, a_person_types, ask_yes
from chaffinch.errors import InputError

if TYPE_CHECKING:
    from chaffinch.book.desk import Desk
    from chaffinch.cli.book_filing import Filing
    from chaffinch.records.check import Check


def not_twice(desk: Desk, check: Check, under: Filing) -> None:
    """Ask, or refuse where nobody types, when the book holds the same check: time, field, combine and catches.

    Raises
    ------
    InputError
        When it is there and nobody can be asked.
    click.Abort
        When the person does not want it twice.
    """
    found = _same(desk, check, under)
    if found is None:
        return
    problem = f"the book has this check already: {found[:8]}, with the same time, field, combine and catches"
    if a_person_types():
        try:
            if ask_yes(f"{problem[0].upper()}{problem[1:]}. Log it again?", offered=False):
                return
        except Stopped:
            pass
        click.echo("  not logged; the book is as it was")
        raise click.Abort
    raise InputError("check", None, problem, "leave it, or say --again to log it all the same")


def _same(desk: Desk, check: Check, under: Filing) -> str | None:
    """Id of a record of the same stop and catches; one that was corrected since is one too."""
    if under.taken_at is None:
        return None  # taken now
    from chaffinch.book.fields import checks_where
    from chaffinch.records.checkfile import check_to_table
    from chaffinch.store import records

    after = datetime.fromisoformat(under.taken_at) + timedelta(seconds=1)
    until = after.isoformat(timespec="seconds").replace("+00:00", "Z")
    ids = checks_where(desk, field=under.where.get("field"), since=under.taken_at, until=until)
    catches = check_to_table(check)["catch"]
    for record_id, stored in records.read_many(desk.store, ids).items():
        body = stored.envelope.body
        filed_alike = all(body.get(key) == under.where.get(key) for key in ("field", "combine"))
        if filed_alike and body["check"]["catch"] == catches:
            return record_id
    return None


def same_crop(desk: Desk, check: Check, under: Filing) -> None:
    """Refuse a check of another crop than the field it is filed under.

    Raises
    ------
    InputError
        When the crops differ.
    """
    if "field" not in under.where:
        return
    from chaffinch.book.things import things
    from chaffinch.reference import crop

    field = next((t for t in things(desk, "field") if t.id == under.where["field"]), None)
    if field is None or "crop" not in field.parts:
        return
    named = str(field.parts["crop"])
    if crop(named, field="field, crop").key != check.crop:
        mend = f'mend the file, name another --field, edit the field (chaffinch book edit-label field "{field.name}" '
        mend += f"crop {check.crop}), or say --anyway"
        raise InputError("crop", check.crop, f"is not the crop of {field.name}, which is {named}", mend)
