"""Is this check in the book already, and is its crop the field's? Asked before a check is written."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

import click

from chaffinch.cli.terminal.asking import Stopped, a_person_types, ask_yes
from chaffinch.errors import InputError

if TYPE_CHECKING:
    from chaffinch.book.desk import Desk
    from chaffinch.cli.options.filed import Filing
    from chaffinch.records.check import Check


def not_twice(desk: Desk, check: Check, under: Filing) -> None:
    """Ask, or refuse where nobody types, when the book holds the same check: time, combine and catches.

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
    problem = f"the book has this check already: {found[:8]}, with the same time and catches"
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
    from chaffinch.book.checks.entering import same_stop

    return same_stop(desk, check, taken_at=under.taken_at, where=under.where)


def same_crop(desk: Desk, check: Check, where: Mapping[str, str]) -> None:
    """Refuse a check of another crop than the field it is filed under; ``where``: ids by what it is filed under.

    Raises
    ------
    InputError
        When the crops differ.
    """
    if "field" not in where:
        return
    from chaffinch.book.things import by_ids
    from chaffinch.reference import crop

    field = by_ids(desk, [where["field"]]).get(where["field"])
    if field is None or "crop" not in field.parts:
        return
    named = str(field.parts["crop"])
    if crop(named, field="field, crop").key != check.crop:
        mend = f'mend the file, name another --field, edit the field (chaffinch book edit-label field "{field.name}" '
        mend += f"crop {check.crop}), or say --anyway"
        raise InputError("crop", check.crop, f"is not the crop of {field.name}, which is {named}", mend)
