"""Under which field, combine, crew and hour is a check filed? Flags, and the names a check file gives itself."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from difflib import get_close_matches
from typing import TYPE_CHECKING, Any, Final, TypeVar

import click

from chaffinch.cli.book_times import not_ahead, read_time
from chaffinch.cli.page import Page, to_ascii
from chaffinch.errors import InputError

if TYPE_CHECKING:
    from chaffinch.book.desk import Desk
    from chaffinch.book.things import Thing
    from chaffinch.records.check import Check

F = TypeVar("F", bound=Callable[..., Any])

FLAGS = (
    ("field", "The field it was taken in: its name in the book."),
    ("combine", "The combine."),
    ("operator", "Who drove."),
    ("season", "The season, where two of them have a field of that name."),
    ("at", "When, like 2026-08-14 16:40 (this computer's time) or 2026-08-14T14:40Z."),
)


@dataclass(slots=True)
class Filing:
    """Where a check belongs.

    Attributes
    ----------
    where : dict
        Ids of season, field, combine and operator.
    taken_at : str or None
        UTC; None for now.
    settings, conditions
        As the book holds them; None when nothing was given.
    notes : list of str
        What the person should know about the filing.
    """

    where: dict[str, str] = field(default_factory=dict)
    taken_at: str | None = None
    settings: list[dict[str, Any]] | None = None
    conditions: dict[str, float] | None = None
    notes: list[str] = field(default_factory=list)


def filing_options(function: F) -> F:
    """Add the filing flags to a command."""
    more = (
        ("--condition", "given_conditions", "KEY=NUMBER", "A condition, like humidity_pct=45; repeat."),
        ("--setting", "given_settings", 'NAME="NUMBER UNIT"', 'A setting, like "rotor speed=600 rpm"; repeat.'),
    )
    for flag, name, form, text in more:
        function = click.option(flag, name, metavar=form, multiple=True, help=text)(function)
    for name, text in reversed(FLAGS):
        function = click.option(f"--{name}", name, metavar="TEXT", help=text)(function)
    return function


def filing(desk: Desk, given: Mapping[str, Any], check: Check | None) -> Filing:
    """File a check under what the flags say, and where they say nothing under the names it gives itself.

    A name in a flag must be in the book. A name in the check file that is not in the book is told and left out: the
    check is worth keeping all the same.

    Raises
    ------
    InputError
        For a name in a flag that is not in the book, a time that cannot be read.
    """
    found = Filing()
    season = given.get("season")
    if season is not None:
        found.where["season"] = one_thing(desk, "season", season, flag="--season").id
    own = {
        "field": check.field_name if check else "",
        "combine": check.combine.name if check and check.combine else "",
        "operator": check.operator if check else "",
    }
    for kind, name in own.items():
        if given.get(kind) is not None:
            thing: Thing | None = one_thing(desk, kind, given[kind], season=found.where.get("season"), flag=f"--{kind}")
        else:
            thing = _named_in_file(desk, kind, name, found)
        if thing is not None:
            found.where[kind] = thing.id
            if kind == "field" and thing.parts.get("season"):
                found.where["season"] = thing.parts["season"]
    found.taken_at = _taken_at(given.get("at"), check)
    found.settings = [_setting(text) for text in given.get("given_settings", ())] or None
    found.conditions = dict(_condition(text) for text in given.get("given_conditions", ())) or None
    return found


def one_thing(desk: Desk, kind: str, wanted: str, *, season: str | None = None, flag: str | None = None) -> Thing:
    """The thing of that name; a season (its id) tells two fields of one name apart.

    After two books were merged a thing may be there twice. Where nothing that matters differs between them, the one
    that was in this book first is meant, and a note on stderr says so.

    Raises
    ------
    InputError
        When there is none, or there are several that differ.
    """
    from chaffinch.book.things import find_thing, things

    if not wanted.strip():
        raise InputError(flag or kind, wanted, "is empty", f"name a {kind}")
    if season is not None and kind == "field":
        folded = wanted.strip().casefold()
        seasons = _alike_seasons(desk, season)
        named = [t for t in things(desk, kind) if t.name.casefold() == folded and not t.retired]
        here = [t for t in named if t.parts.get("season") in seasons]
        if one := _first_of_doubles(desk, here):
            return one
    try:
        return find_thing(desk, kind, whole_id(desk, kind, wanted.strip()))
    except InputError as error:
        folded = wanted.strip().casefold()
        here = [t for t in things(desk, kind) if t.name.casefold() == folded and not t.retired]
        if one := _first_of_doubles(desk, here):
            return one
        raise type(error)(flag or error.field, error.value, error.problem, error.mend) from None


_TOLD_APART_BY: Final = ("crop", "area", "cut_width", "drop_width", "spread_width", "width", "length", "step")
"""Parts in which two things of one name may not differ to be taken for doubles; the season counts by its name."""


def _first_of_doubles(desk: Desk, here: Sequence[Thing]) -> Thing | None:
    """The only one, or of doubles the one that was in this book first; None when there is none or they differ."""
    if len(here) < 2:
        return here[0] if here else None
    for key in _TOLD_APART_BY:
        if len({str(t.parts[key]) for t in here if key in t.parts}) > 1:
            return None
    own = [str(t.parts.get("season", "")) for t in here]
    if len(set(own)) > 1 and not set(own) <= _alike_seasons(desk, own[0]):
        return None
    first, *rest = sorted(here, key=lambda t: t.seq)
    others = ", ".join(t.id[:8] for t in rest)
    note = f"note: {first.kind} {first.name} is there {len(here)} times, alike; {first.id[:8]} is meant, not {others}"
    meta = click.get_current_context().meta.setdefault("chaffinch.doubles", set())
    if first.id not in meta:
        meta.add(first.id)
        click.echo(note if Page.here().fine else to_ascii(note), err=True)
    return first


def _alike_seasons(desk: Desk, season: str) -> set[str]:
    """Ids of all seasons with the name of this one, itself included."""
    from chaffinch.book.things import things

    here = things(desk, "season")
    name = next((t.name.casefold() for t in here if t.id == season), None)
    return {season} | {t.id for t in here if t.name.casefold() == name}


def whole_id(desk: Desk, kind: str, wanted: str) -> str:
    """The whole id when ``wanted`` is the beginning of just one, 4 characters or more, and nothing's name."""
    from chaffinch.book.things import things

    here = things(desk, kind)
    if len(wanted) < 4 or any(t.name.casefold() == wanted.casefold() for t in here):
        return wanted
    fits = [t.id for t in here if t.id.startswith(wanted.lower())]
    return fits[0] if len(fits) == 1 else wanted


def _named_in_file(desk: Desk, kind: str, name: str, found: Filing) -> Thing | None:
    if not name:
        return None
    from chaffinch.book.things import things

    here = [t for t in things(desk, kind) if not t.retired]
    fits = [t for t in here if t.name.casefold() == name.casefold()]
    if kind == "field" and len(fits) > 1 and "season" in found.where:
        alike = _alike_seasons(desk, found.where["season"])
        fits = [t for t in fits if t.parts.get("season") in alike]
    if one := _first_of_doubles(desk, fits):
        return one
    near = get_close_matches(name, [t.name for t in here], n=1)
    meant = f" (did you mean {near[0]}?)" if near else ""
    problem = "is the name of several" if fits else f"is not in the book{meant}"
    found.notes.append(
        f"{kind} {name} {problem}: the check is filed under no {kind}. "
        f'chaffinch book replace CHECK --{kind} NAME --reason "filing" mends that.'
    )
    return None


def _taken_at(at: str | None, check: Check | None) -> str | None:
    if at is not None:
        return not_ahead(read_time(at, "--at"), "--at")
    if check is None or not check.when:
        return None
    try:
        return read_time(check.when, "when")
    except InputError as error:
        mend = f'say when: --at "2026-08-14 16:40"; or in the file, {error.mend}'
        raise InputError("when", check.when, error.problem, mend) from None


def _pair(text: str, flag: str, example: str) -> tuple[str, str]:
    name, mark, value = text.partition("=")
    if not mark or not name.strip() or not value.strip():
        raise InputError(flag, text, "is not NAME=VALUE", f"write it like {flag} {example}")
    return name.strip(), value.strip()


def _number(text: str, flag: str, example: str) -> float:
    try:
        return float(text)
    except ValueError:
        raise InputError(flag, text, "is not a number", f"write it like {flag} {example}") from None


def _setting(text: str) -> dict[str, Any]:
    example = '"rotor speed=600 rpm"'
    name, value = _pair(text, "--setting", example)
    number, _, unit = value.partition(" ")
    setting: dict[str, Any] = {"name": name, "value": _number(number, "--setting", example)}
    return setting | ({"unit": unit.strip()} if unit.strip() else {})


def _condition(text: str) -> tuple[str, float]:
    name, value = _pair(text, "--condition", "humidity_pct=45")
    return name, _number(value, "--condition", "humidity_pct=45")
