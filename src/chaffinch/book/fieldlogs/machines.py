"""Whose records are these? Each machine of a log matched to its combine in the book, by its name or as told."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from chaffinch.book.desk import Desk
from chaffinch.book.things import Thing, find_thing, things
from chaffinch.errors import InputError, one_of

NO_NAME: Final = "unnamed"
"""What a machine is called that the log gives no name."""
MOST: Final = 12
"""Combines that can be summed together [1]: each draw of the sampler has four numbers of its own for each."""


@dataclass(frozen=True, slots=True)
class Whose:
    """A combine of the book and what the log calls it: under several names where it was renamed between files."""

    combine: Thing
    names: tuple[str, ...]

    @property
    def called(self) -> str:
        """Its names in the log."""
        return ", ".join(name or NO_NAME for name in self.names)


def told_machines(texts: Sequence[str]) -> dict[str, str]:
    """``"L-77=Old Bess"`` as name in the log and combine.

    Raises
    ------
    InputError
        For one that is not understood, or a machine told twice.
    """
    found: dict[str, str] = {}
    for text in texts:
        name, equals, combine = (part.strip() for part in text.rpartition("="))
        if not equals or not name or not combine:
            raise InputError("machine-is", text, "is not understood", 'write it like "L-77=Old Bess"')
        if name in found:
            raise InputError("machine-is", name, "is told twice", "say once whose it is")
        found[name] = combine
    return found


def whose_records(
    desk: Desk, names: Sequence[str], told: Mapping[str, str], *, all_names: Sequence[str]
) -> list[Whose]:
    """Match machines of a log to combines of the book.

    Parameters
    ----------
    desk : Desk
        The open book.
    names : sequence of str
        Machines to match; empty text for one without a name.
    told : mapping of str to str
        Name in the log, or ``unnamed``, to name or id of a combine.
    all_names : sequence of str
        Every machine of the log.

    Returns
    -------
    list of Whose
        In the order of ``names``, a combine once.

    Raises
    ------
    InputError
        For a machine told that is not in the log, one whose combine is not clear, and more than ``MOST`` combines.
    """
    known = [thing for thing in things(desk, "combine") if not thing.retired]
    by_own = {name or NO_NAME: name for name in all_names}
    for name in told:
        if name not in by_own:
            raise InputError("machine-is", name, "is not in the log", one_of(by_own))
    found: dict[str, list[str]] = {}
    things_by_id: dict[str, Thing] = {}
    for name in names:
        own = name or NO_NAME
        combine = (
            find_thing(desk, "combine", told[own]) if own in told else _by_name(name, known, alone=len(names) == 1)
        )
        things_by_id[combine.id] = combine
        found.setdefault(combine.id, []).append(name)
    if len(found) > MOST:
        raise InputError("log", len(found), f"is of more than {MOST} combines", "sum some at a time: --machine NAME")
    return [Whose(things_by_id[one], tuple(own)) for one, own in found.items()]


def _by_name(name: str, known: Sequence[Thing], *, alone: bool) -> Thing:
    """The combine of a machine's name; the only one of the book where the log has but one machine."""
    matching = [thing for thing in known if name.strip() and _plain(thing.name) == _plain(name)]
    if len(matching) == 1:
        return matching[0]
    if alone and len(known) == 1:
        return known[0]
    if not known:
        raise InputError("combine", None, "cannot be told: the book has none", "chaffinch book add combine")
    names, own = ", ".join(thing.name for thing in known), name or NO_NAME
    if alone:
        problem = f"must be told: the book has {names}, and the log calls its machine {own}"
        raise InputError("combine", None, problem, "add --combine NAME")
    problem = f"is {'several combines' if matching else 'no combine'} of the book, which has {names}"
    raise InputError("machine", own, problem, f'say whose it is: --machine-is "{own}=NAME"')


def _plain(name: str) -> str:
    return " ".join(name.casefold().split())
