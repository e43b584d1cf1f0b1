"""``chaffinch book add`` and ``chaffinch book edit-label``: things and what is said about them."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

import click

from chaffinch import units
from chaffinch.book.telling import Teller, example_of
from chaffinch.cli.options.which_book import book_option, open_the_book
from chaffinch.cli.terminal.asking import Stopped, a_person_types, ask
from chaffinch.cli.terminal.page import Page
from chaffinch.errors import BookError, InputError

if TYPE_CHECKING:
    from chaffinch.book.desk import Desk, Receipt
    from chaffinch.records.kinds import Kind, Part

__all__ = [
    "Teller",
    "add",
    "ask_parts",
    "edit_label",
    "example_of",
    "id_of",
    "kept",
    "kind_of_thing",
    "part_value",
    "print_keys",
    "set_example",
]

_YES_NO = {"true": True, "yes": True, "false": False, "no": False}


@click.command("add")
@book_option
@click.argument("kind", metavar="KIND")
@click.argument("name", metavar="NAME", required=False)
@click.option("--set", "pairs", multiple=True, metavar="KEY=VALUE", help='Another field of it, like area="62 ha".')
@click.option("--keys", is_flag=True, help="Print the fields that KIND has, and what each holds.")
def add(address: str | None, kind: str, name: str | None, pairs: tuple[str, ...], *, keys: bool) -> None:
    """Add a thing to the book, with the name the farm gives it.

    KIND is farm, season, operator, combine, pan, scale, field or note; for a note, NAME is its text. A field's season
    may be given by name. chaffinch book add KIND --keys prints what can be said about it. Without NAME it asks, for
    the name and then for each field.
    """
    known = kind_of_thing(kind)
    if keys:
        print_keys(known, Page.here())
        return
    with_name = "text" if known.name == "note" else "name"
    asking = name is None and a_person_types()
    if name is None and not asking:
        raise InputError("NAME", None, "is missing", f"give {_about(known, with_name)}, or --keys")
    if name is not None and not name.strip():
        raise InputError(f"{known.name}, {with_name}", name, "is empty", f"give {_about(known, with_name)}")
    desk = open_the_book(address)
    from chaffinch.book.things import add_thing

    given: dict[str, Any] = {}
    for pair in pairs:
        key, mark, value = pair.partition("=")
        if not mark or not key.strip():
            raise InputError("--set", pair, "is not KEY=VALUE", 'write it like --set area="62 ha"')
        key = key.strip()
        if key in given or key == with_name:
            raise InputError("--set", key, "is given twice", "give each field once")
        given[key] = part_value(desk, known, key, value)
    if asking:
        try:
            parts = ask_parts(desk, known, given, with_name)
        except Stopped:
            Page.here().say("  nothing was added")
            raise click.Abort from None
    else:
        parts = {with_name: str(name).strip(), **given}
    try:
        receipt = kept(desk, add_thing(desk, known.name, parts))
    except InputError as error:
        key = error.field.removeprefix(f"{known.name}, ")
        if error.value is not None or not error.problem.startswith("is missing"):
            raise
        raise type(error)(error.field, None, error.problem, f"{error.mend}: {set_example(known, key)}") from None
    Page.here().say(f"saved {known.name} {parts[with_name]} ({receipt.id[:8]})")


@click.command("edit-label")
@book_option
@click.argument("kind", metavar="KIND")
@click.argument("name", metavar="NAME")
@click.argument("field", metavar="[FIELD]", required=False)
@click.argument("value", metavar="[VALUE]", required=False)
@click.option("--clear", is_flag=True, help="Clear the field instead of giving a value.")
@click.option("--retire/--un-retire", default=None, help="Take it out of use, or bring it back; its records stay.")
def edit_label(
    address: str | None, kind: str, name: str, field: str | None, value: str | None, *, clear: bool, retire: bool | None
) -> None:
    """Change one FIELD of a thing; the old value stays in its history.

    NAME is the thing's name or the beginning of its id; one that is retired is found too. Readings cannot be edited:
    chaffinch book replace corrects one.
    """
    if kind.casefold().rstrip("s") in ("check", "catch", "monitor", "trial", "weather", "photo"):
        raise InputError("kind", kind, "is a reading, and readings are never edited", "use chaffinch book replace")
    known = kind_of_thing(kind)
    if retire is not None:
        flag = "--retire" if retire else "--un-retire"
        if field is not None or clear:
            raise InputError(flag, field, "is given together with a field", "do one after the other")
        field, value = "retired", "true" if retire else "false"
    if field is None:
        raise InputError("FIELD", None, "is missing", "name what to change, or say --retire or --un-retire")
    if (value is None) != clear:
        problem = "is missing" if value is None else "is given together with --clear"
        raise InputError("VALUE", value, problem, "give a value, or --clear without one")
    desk = open_the_book(address)
    from chaffinch.book.things import edit_label as edit
    from chaffinch.book.things import find_thing

    thing = find_thing(desk, known.name, name, retired=True)
    before = thing.parts.get(field)
    kept(desk, edit(desk, thing, field, None if value is None else part_value(desk, known, field, value)))
    after = find_thing(desk, known.name, thing.id, retired=True)
    teller = Teller(desk)
    was = teller.said(known, field, before, thing.parts)
    now = teller.said(known, field, after.parts.get(field), after.parts)
    Page.here().say(f"saved {known.name} {after.title}: {field} {now} (was {was})")


def ask_parts(desk: Desk, kind: Kind, given: Mapping[str, Any], with_name: str) -> dict[str, Any]:
    """Ask for the name of a thing and for each of its fields that was not given.

    Raises
    ------
    Stopped
        On Ctrl-C, or when input has ended.
    """
    from chaffinch.book.things import refuse_twin, without_bushels
    from chaffinch.records.bodies import check_part

    parts: dict[str, Any] = {}
    for part in kind.parts:
        if part.name in given or part.name == "retired":
            continue
        must = part.must or part.name == with_name

        def read(text: str, part: Part = part, must: bool = must) -> Any:
            if not text:
                if must:
                    raise InputError(part.name, None, "is missing", f"give {part.about}")
                return None
            value = part_value(desk, kind, part.name, text)
            if part.name == "name" and kind.name != "field":
                refuse_twin(desk, kind.name, {"name": value})  # a field's season is not known yet
            # A bushel's weight follows from the crop said before.
            check_part(kind, part, without_bushels(desk, {**given, **parts, part.name: value})[part.name])
            return value

        about, example = _asked(part, with_name)
        value = ask(about + ("" if must else " (Enter for none)"), read, example=example)
        if value is not None:
            parts[part.name] = value
    return parts | dict(given)


def _asked(part: Part, with_name: str) -> tuple[str, str]:
    """How a field of a thing is asked for, and like what."""
    if part.name == with_name:
        return "Name" if part.name == "name" else part.about.capitalize(), ""
    about = part.about[:1].upper() + part.about[1:]
    if part.holds.startswith("one of "):
        return f"{about}: {part.holds.removeprefix('one of ')}", ""
    if part.holds == "flag":
        return f"{about}: yes or no", ""
    # A remark is like no other.
    return about, "" if part.holds == "text" and part.name == "note" else example_of(part.name, part.holds)


def kind_of_thing(word: str) -> Kind:
    """The kind of thing a person means by ``field`` or ``fields``.

    Raises
    ------
    InputError
        For anything else.
    """
    from difflib import get_close_matches

    from chaffinch.records.kinds import KINDS

    things = [kind.name for kind in KINDS.values() if kind.thing]
    plain = word.strip().casefold()
    for name in (plain, plain.removesuffix("s")):
        if name in things:
            return KINDS[name]
    near = get_close_matches(plain, things, n=1)
    mend = f"did you mean {near[0]}?" if near else f"use one of {', '.join(things)}"
    raise InputError("kind", word, "is not a kind of thing", mend)


def part_value(desk: Desk, kind: Kind, key: str, text: str) -> Any:
    """The value a person typed for one field, as the record holds it; what it may be is judged by the book.

    Raises
    ------
    InputError
        For a flag that is neither true nor false, a number that is none, a season that is not in the book.
    """
    part = kind.part(key)
    field = f"{kind.name}, {key}"
    if part is None:
        return text  # The book names the nearest field.
    plain = text.strip()
    if part.holds == "flag":
        if plain.casefold() not in _YES_NO:
            raise InputError(field, text, "must be true or false", f"write {key}=true or {key}=false")
        return _YES_NO[plain.casefold()]
    if part.holds == "id":
        return id_of(desk, key, plain)
    if key == "report_in":
        # A unit the pages could not write in would be found out too late.
        try:
            units.read(f"1 {plain}", "area_mass", field=field, bushel_kg=1.0)
        except InputError:
            mend = f"write one of {', '.join(units.accepted('area_mass'))}"
            raise InputError(field, text, "is not a unit of loss", mend) from None
    if not plain:
        raise InputError(field, text, "is empty", f"give {part.about}")
    return plain


def id_of(desk: Desk, key: str, text: str) -> str:
    """Id of the record a person names: a season by its name, anything else by the beginning of its id."""
    from chaffinch.book.checks.held import find_check
    from chaffinch.book.things import which_thing
    from chaffinch.cli.options.filing import one_thing

    if key == "season":
        return one_thing(desk, "season", text, flag="season").id
    try:
        return which_thing(desk, None, text, retired=True).thing.id
    except InputError as error:
        if error.problem.startswith("is the name of several"):
            raise
    return find_check(desk, text).id


def set_example(kind: Kind, key: str) -> str:
    """How a key is given on the command line, like ``--set cut_width="40 ft"``."""
    part = kind.part(key)
    holds = "" if part is None else part.holds
    value = example_of(key, holds) or "TEXT"
    return f"--set {key}=" + (f'"{value}"' if " " in value or value == "$" else value).replace('"$"', "'$'")


def print_keys(kind: Kind, page: Page) -> None:
    """Print what can be said about a kind of thing: key, what it says, how it is given."""
    page.say()
    page.two_ends(kind.name, kind.about)
    page.say()
    for part in kind.parts:
        if part.name in ("name", "text"):
            page.paragraph(f"NAME: {part.about}")
            continue
        must = ", must be given" if part.must else ""
        choice = f" ({part.holds})" if part.holds.startswith("one of ") else ""
        page.paragraph(f"{part.name}: {part.about}{choice}{must}; {set_example(kind, part.name)}")
    page.say()


def kept(desk: Desk, receipt: Receipt) -> Receipt:
    """The receipt, when the record is in the book; an error when it is not."""
    if receipt.outcome not in ("accepted", "known"):
        raise BookError(desk.place, f"NOT SAVED: {receipt.reason or receipt.outcome}")
    return receipt


def _about(kind: Kind, key: str) -> str:
    part = kind.part(key)
    return part.about if part is not None else key
