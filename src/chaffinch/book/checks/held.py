"""Which checks does the book hold, and which version of each counts?"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any, Final

import sqlalchemy as sa

from chaffinch.book.desk import Desk
from chaffinch.errors import InputError
from chaffinch.records.check import Check
from chaffinch.records.checkfile import check_from_table
from chaffinch.records.kinds import CHECK
from chaffinch.store import records
from chaffinch.store.opening import guarded
from chaffinch.sync.corrections import Versions, versions
from chaffinch.sync.envelope import Envelope

_BEGINNING: Final = re.compile(r"[0-9a-f-]+")


@dataclass(frozen=True, slots=True)
class LoggedCheck:
    """A check of the book as it counts now.

    Attributes
    ----------
    id : str
        Id of the version that counts.
    body : mapping
        Its record.
    check : Check
        The check itself, ready to be answered.
    versions : Versions
        All versions of it.
    variation : tuple of (str, float)
        Coefficient of variation between its catches by the way they were taken, where its combine's own checks taught
        it (:mod:`chaffinch.book.checks.own_variation`) and it was put into ``check``; empty as read from the book.
    """

    id: str
    body: Mapping[str, Any]
    check: Check
    versions: Versions
    variation: tuple[tuple[str, float], ...] = ()


def find_check(desk: Desk, wanted: str) -> LoggedCheck:
    """The check whose id is (or begins with) ``wanted``, in the version that counts.

    Raises
    ------
    InputError
        When there is none, the beginning fits several, or two different records claim the id and neither counts.
    """
    record_id = _id_of(desk, wanted)
    counts = counting(desk, [record_id])
    if not counts:
        raise InputError(
            "check",
            record_id[:8],
            "two different records claim this id; neither counts",
            f"correct it: chaffinch book replace {record_id[:8]} FILE --reason WHY",
        )
    return counts[0]


def find_to_correct(desk: Desk, wanted: str) -> LoggedCheck:
    """The check to correct: as :func:`find_check`, but of two records that claim one id the one with the lesser hash.

    Raises
    ------
    InputError
        When there is none, or the beginning fits several.
    """
    record_id = _id_of(desk, wanted)
    counts = counting(desk, [record_id])
    if counts:
        return counts[0]
    body = claims(desk, record_id)[0].body
    return LoggedCheck(
        record_id, body, check_from_table(body["check"]), Versions(record_id, (record_id,), (record_id,))
    )


def _id_of(desk: Desk, wanted: str) -> str:
    """The one id of a check that is, or begins with, ``wanted``; records set aside are looked at too."""
    if len(wanted) < 4:
        raise InputError("check", wanted, "is too short for the beginning of an id", "give 4 characters or more")
    low = wanted.lower()
    query = sa.text(
        "SELECT id FROM check_row WHERE id >= :low AND id < :high UNION "
        "SELECT id FROM conflict WHERE kind = :kind AND id >= :low AND id < :high ORDER BY id LIMIT 3"
    )
    with guarded(desk.store.address), desk.store.reading() as connection:
        # "g" comes after every hexadecimal digit in each way of sorting, a sign like "~" does not.
        ids = [row.id for row in connection.execute(query, {"low": low, "high": low + "g", "kind": CHECK})]
    if not ids or not _BEGINNING.fullmatch(low):
        raise InputError("check", wanted, "is not in the book", "chaffinch book show checks lists them")
    if len(ids) > 1:
        raise InputError("check", wanted, "is the beginning of several ids", "give more of it")
    return str(ids[0])


def checks_where(
    desk: Desk,
    *,
    field: str | None = None,
    combine: str | None = None,
    season: str | None = None,
    trial: str | None = None,
    since: str | None = None,
    until: str | None = None,
    limit: int | None = None,
) -> list[str]:
    """Ids of checks by field, combine, season, trial and time (UTC), newest first."""
    named = {"field": field, "combine": combine, "season": season, "trial": trial}
    tests = [f"{name} = :{name}" for name, value in named.items() if value is not None]
    tests += ["taken_at >= :since"] if since else []
    tests += ["taken_at < :until"] if until else []
    where = f"WHERE {' AND '.join(tests)} " if tests else ""
    query = f"SELECT id FROM check_row {where}ORDER BY taken_at DESC, id"
    if limit is not None:
        query += " LIMIT :limit"
    with guarded(desk.store.address), desk.store.reading() as connection:
        rows = connection.execute(sa.text(query), {**named, "since": since, "until": until, "limit": limit})
        return [row.id for row in rows]


def counting(desk: Desk, ids: Iterable[str]) -> list[LoggedCheck]:
    """The versions that count of the given checks, each once, by time taken; set-aside conflicts are left out."""
    groups = all_versions(desk, ids)
    chosen = {v.counts: v for v in groups if v.counts is not None}
    aside = records.among(desk.store, chosen, aside=True)
    found = records.read_many(desk.store, chosen)
    logged = [
        LoggedCheck(one.envelope.id, one.envelope.body, check_from_table(one.envelope.body["check"]), chosen[record_id])
        for record_id, one in found.items()
        if record_id not in aside
    ]
    return sorted(logged, key=lambda c: (c.body["taken_at"], c.id))


def all_versions(desk: Desk, ids: Iterable[str], *, kind: str = CHECK) -> list[Versions]:
    """Versions of each of the given checks, or readings of a kind: all that corrections lead to, forward and back."""
    wanted = set(ids)
    replaces: dict[str, set[str]] = {}
    front = set(wanted)
    both = sa.text("SELECT new_id, old_id FROM correction WHERE new_id IN :ids OR old_id IN :ids").bindparams(
        sa.bindparam("ids", expanding=True)
    )
    with guarded(desk.store.address), desk.store.reading() as connection:
        while front:
            part = sorted(front)[: records.AT_ONCE]
            front -= set(part)
            for row in connection.execute(both, {"ids": part}):
                replaces.setdefault(row.new_id, set()).add(row.old_id)
                for reached in (row.new_id, row.old_id):
                    if reached not in wanted:
                        wanted.add(reached)
                        front.add(reached)
    # A record of another kind that names a check by mistake does not replace it.
    return versions(records.among(desk.store, wanted, kind=kind), replaces)


def claims(desk: Desk, record_id: str) -> list[Envelope]:
    """The checks that claim an id: one, or several where they are in conflict, by hash, the same on every book."""
    stored = records.read(desk.store, record_id)
    if stored is None:
        raise InputError("check", record_id, "is not in the book", "chaffinch book show checks lists them")
    claimants = [stored.envelope]
    if records.among(desk.store, [record_id], aside=True):
        claimants += [s.envelope for s in records.conflicts(desk.store) if s.envelope.id == record_id]
    found = sorted((e for e in claimants if e.kind == CHECK), key=lambda e: e.hash)
    if not found:
        raise InputError("check", record_id[:8], f"is a {stored.envelope.kind}, not a check", "name a check")
    return found
