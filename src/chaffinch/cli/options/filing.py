"""Under which field, combine, crew and hour is a check filed? Flags, and the names a check file gives itself."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from difflib import get_close_matches
from typing import TYPE_CHECKING, Any, TypeVar

import click

from chaffinch.book.times import read_time
from chaffinch.cli.options.beside import FLAGS as BESIDE
from chaffinch.cli.options.beside import file_beside
from chaffinch.cli.options.filed import Filing
from chaffinch.cli.options.times import not_ahead
from chaffinch.cli.terminal.page import Page, to_ascii
from chaffinch.errors import InputError
from chaffinch.units.numerals import alone, headed

if TYPE_CHECKING:
    from chaffinch.book.desk import Desk
    from chaffinch.book.things import Meant, Thing
    from chaffinch.records.check import Check

F = TypeVar("F", bound=Callable[..., Any])

FLAGS = (
    ("field", "The field it was taken in: its name in the book."),
    ("combine", "The combine."),
    ("operator", "Who drove."),
    ("season", "The season, where two of them have a field of that name."),
    ("at", "When, like 2026-08-14 16:40 (this computer's time) or 2026-08-14T14:40Z."),
)


def once(flag: str, name: str, **more: Any) -> Callable[[F], F]:
    """An option that may be given once: a second one is refused, where click would take the last without a word."""

    def one(_: click.Context, __: click.Parameter, values: tuple[str, ...]) -> str | None:
        if len(values) > 1:
            raise InputError(flag, " and ".join(values), "is given twice", "give it once")
        return values[0] if values else None

    return click.option(flag, name, multiple=True, callback=one, **more)


def filing_options(function: F) -> F:
    """Add the filing flags to a command."""
    more = (
        ("--condition", "given_conditions", "KEY=NUMBER", "A condition, like humidity_pct=45; repeat."),
        ("--setting", "given_settings", 'NAME="NUMBER UNIT"', 'A setting, like "rotor speed=600 rpm"; repeat.'),
    )
    for flag, name, form, text in more:
        function = click.option(flag, name, metavar=form, multiple=True, help=text)(function)
    for name, form, text in reversed(BESIDE):
        function = once(f"--{name}", name.replace("-", "_"), metavar=form, help=text)(function)
    for name, text in reversed(FLAGS):
        function = once(f"--{name}", name, metavar="TEXT", help=text)(function)
    return function


def filing(desk: Desk, given: Mapping[str, Any], check: Check | None) -> Filing:
    """File a check under what the flags say, and where they say nothing under the names it gives itself.

    A name in a flag must be in the book. A name in the check file that is not in the book is told and left out: the
    check is worth keeping all the same.

    Raises
    ------
    InputError
        For a name in a flag that is not in the book, a thing that is retired, a time that cannot be read, a setting or
        condition given twice.
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
    found.taken_at = taken_at(given.get("at"), check)
    found.settings = read_settings(given.get("given_settings", ()), "--setting") or None
    _judge(found)
    found.conditions = read_conditions(given.get("given_conditions", ())) or None
    file_beside(desk, given, found, _crop(desk, given, check, found))
    return found


def _crop(desk: Desk, given: Mapping[str, Any], check: Check | None, found: Filing) -> str | None:
    """The crop as far as it is known before the first question: the check's, that of --crop, the field's."""
    if check is not None:
        return check.crop
    told = given.get("crop")
    if told is None and given.get("bar") is not None and "field" in found.where:
        from chaffinch.book.things import by_ids

        field = by_ids(desk, [found.where["field"]]).get(found.where["field"])
        told = None if field is None else field.parts.get("crop")
    return None if told is None else str(told)


def read_conditions(told: Iterable[str]) -> dict[str, float]:
    """Read ``--condition`` flags, each like ``humidity_pct=45``.

    Raises
    ------
    InputError
        For one that cannot be read, is no condition a record can hold, or is given twice.
    """
    from chaffinch.records.bodies import check_part
    from chaffinch.records.kinds import CHECK, KINDS

    read = _once_each(map(_condition, told), "--condition")
    found = {one["name"]: one["value"] for one in read}
    part = KINDS[CHECK].part("conditions")
    if found and part is not None:
        check_part(KINDS[CHECK], part, found)
    return found


def read_settings(told: Iterable[str], flag: str) -> list[dict[str, Any]]:
    """Read flags that each hold a setting, like ``"rotor speed=600 rpm"``; the same one twice is refused."""
    return _once_each((_setting(text, flag) for text in told), flag)


def _judge(found: Filing) -> None:
    """Refuse settings that the record could not hold, before anything is asked or read."""
    from chaffinch.records.bodies import check_part
    from chaffinch.records.kinds import CHECK, KINDS

    part = KINDS[CHECK].part("settings")
    if found.settings and part is not None:
        check_part(KINDS[CHECK], part, found.settings)


def one_thing(
    desk: Desk, kind: str, wanted: str, *, season: str | None = None, flag: str | None = None, retired: bool = False
) -> Thing:
    """The thing of that name or beginning of an id; a season (its id) tells two fields of one name apart.

    After two books were merged a thing may be there twice. Where nothing that matters differs between them, the one
    that was in this book first is meant, and a note on stderr says so.

    Parameters
    ----------
    desk, kind, wanted, season
        As for :func:`chaffinch.book.things.which_thing`.
    flag : str or None
        How an error names it.
    retired : bool
        Whether one that is no longer in use will do.

    Raises
    ------
    InputError
        When there is none, there are several that differ, or it is retired and that will not do.
    """
    from chaffinch.book.things import which_thing

    if not wanted.strip():
        raise InputError(flag or kind, wanted, "is empty", f"name a {kind}")
    try:
        meant = which_thing(desk, kind, wanted, season=season, retired=retired)
    except InputError as error:
        mend = error.mend
        if error.problem.startswith("is the name of several") and kind == "field" and season is None and _asks_season():
            mend += "; or its season: --season"
        raise type(error)(flag or error.field, error.value, error.problem, mend) from None
    say_doubles(meant)
    return meant.thing


def _asks_season() -> bool:
    """Whether the command that runs has ``--season``."""
    return any(one.name == "season" for one in click.get_current_context().command.params)


def say_doubles(meant: Meant) -> None:
    """Say on stderr, once, which of several alike is meant."""
    if not meant.doubles:
        return
    first, others = meant.thing, ", ".join(t.id[:8] for t in meant.doubles)
    count = 1 + len(meant.doubles)
    note = f"note: {first.kind} {first.name} is there {count} times, alike; {first.id[:8]} is meant, not {others}"
    told = click.get_current_context().meta.setdefault("chaffinch.doubles", set())
    if first.id not in told:
        told.add(first.id)
        click.echo(note if Page.here().fine else to_ascii(note), err=True)


def _named_in_file(desk: Desk, kind: str, name: str, found: Filing) -> Thing | None:
    """The thing a check file names, or None with a note; one that is retired is refused."""
    if not name:
        return None
    from chaffinch.book.things import named, things, which_thing

    season = found.where.get("season")
    try:
        if here := named(desk, name, kind):
            meant = which_thing(desk, kind, here[0].name, season=season)
            say_doubles(meant)
            return meant.thing
        problem = "is not in the book"
        near = get_close_matches(name, [t.name for t in things(desk, kind) if not t.retired], n=1)
        problem += f" (did you mean {near[0]}?)" if near else ""
    except InputError as error:
        if not error.problem.startswith("is the name of several"):
            raise InputError(f"{kind} in the check file", name, error.problem, error.mend) from None
        problem = "is the name of several"
    found.notes.append(
        f"{kind} {name} {problem}: the check is filed under no {kind}. "
        f'chaffinch book replace CHECK --{kind} NAME --reason "filing" mends that.'
    )
    return None


def taken_at(at: str | None, check: Check | None) -> str | None:
    """When a check was taken, in UTC: what ``--at`` says, else the check itself; None where neither does.

    Raises
    ------
    InputError
        For a time that cannot be read, or lies ahead of the clock.
    """
    if at is not None:
        return not_ahead(read_time(at, "--at"), "--at")
    if check is None or not check.when:
        return None
    try:
        return not_ahead(read_time(check.when, "when"), "when")
    except InputError as error:
        mend = f'say when: --at "2026-08-14 16:40"; or in the file, {error.mend}'
        raise InputError("when", error.value, error.problem, mend) from None


def _once_each(read: Iterable[dict[str, Any]], flag: str) -> list[dict[str, Any]]:
    """What was given by a flag that may be repeated, refusing the same name twice."""
    from chaffinch.book.names import folded

    found = list(read)
    names = [folded(one["name"]) for one in found]
    twice = next((one["name"] for one in found if names.count(folded(one["name"])) > 1), None)
    if twice is not None:
        raise InputError(flag, twice, "is given twice", "give it once")
    return found


def _pair(text: str, flag: str, example: str) -> tuple[str, str]:
    name, mark, value = text.partition("=")
    if not mark or not name.strip() or not value.strip():
        raise InputError(flag, text, "is not NAME=VALUE", f"write it like {flag} {example}")
    return name.strip(), value.strip()


def _setting(text: str, flag: str) -> dict[str, Any]:
    example = '"rotor speed=600 rpm"'
    name, value = _pair(text, flag, example)
    number, unit = headed(value, field=flag, mend=f"write it like {flag} {example}")
    setting: dict[str, Any] = {"name": name, "value": number}
    return setting | ({"unit": unit} if unit else {})


def _condition(text: str) -> dict[str, Any]:
    name, value = _pair(text, "--condition", "humidity_pct=45")
    number = alone(value, field="--condition", mend="write it like --condition humidity_pct=45")
    return {"name": name, "value": number}
