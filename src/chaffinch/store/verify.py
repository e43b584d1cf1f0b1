"""Is the book whole? Every hash recomputed, every index compared with what the records say."""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, Final

import sqlalchemy as sa

from chaffinch.errors import InputError
from chaffinch.how_far import Progress
from chaffinch.records.bodies import suits, validate
from chaffinch.store import indexes, records
from chaffinch.store.backup import rows_in
from chaffinch.store.migrations import NEWEST, ran
from chaffinch.store.opening import Store, guarded
from chaffinch.sync.corrections import rings
from chaffinch.sync.envelope import canonical, content_hash
from chaffinch.sync.labels import Edit, edit_of, holding

EVERY: Final = 500
"""Rows between two reports of progress."""


@dataclass(frozen=True, slots=True)
class Verified:
    """What was looked at, and what was wrong with it.

    Attributes
    ----------
    records, conflicts : int
        How many of each.
    kinds : dict
        Records by kind.
    problems : tuple of str
        One line each; empty for a whole book.
    remarks : tuple of str
        What the book keeps whole but passes over: corrections that form a ring, labels their thing cannot hold. Such
        records may come from another book, and must not keep anybody from a backup.
    """

    records: int
    conflicts: int
    kinds: dict[str, int]
    problems: tuple[str, ...]
    remarks: tuple[str, ...] = ()


def verify(store: Store, *, progress: Progress | None = None) -> Verified:
    """Read the whole book and compare it with itself.

    Raises
    ------
    BookError
        When it cannot be read to its end.
    """
    # One transaction for all of it: what others write meanwhile is not half seen.
    with guarded(store.address), store.reading() as connection:
        return verified_in(connection, progress=progress)


def verified_in(connection: sa.Connection, *, progress: Progress | None = None) -> Verified:
    """The same within the caller's transaction; ``progress`` is told rows looked at, those of the indexes too."""
    problems: list[str] = []
    kinds: Counter[str] = Counter()
    expected: dict[str, Counter[str]] = {table: Counter() for table in ("correction", "check_row", "catch_row")}
    edits: list[Edit] = []
    if ran(connection) != NEWEST:
        problems.append(f"the book stands at step {ran(connection)}, not {NEWEST}")
    step = _Steps(progress, rows_in(connection, NEWEST) if ran(connection) == NEWEST else 0)
    problems += database_problems(connection)
    doubtful = set(connection.execute(sa.text("SELECT id FROM conflict")).scalars())
    for row in records.rows_of(connection, "record"):
        kinds[row.kind] += 1
        body, wrong = _whole(row)
        problems += [f"record {row.id}: {line}" for line in wrong]
        if body is not None:
            _expect(row, body, doubtful, expected, edits)
        step.one()
    aside = 0
    for row in records.rows_of(connection, "conflict"):
        aside += 1
        problems += [f"conflict {row.id}: {line}" for line in _whole(row)[1]]
        step.one()
    problems += _kept_wrongly(connection)
    problems += list(_index_problems(connection, expected, edits, step))
    remarks = [*_rings(connection), *_misfits(connection, doubtful)]
    step.end()
    return Verified(sum(kinds.values()), aside, dict(kinds), tuple(problems), tuple(remarks))


class _Steps:
    """Counts rows looked at and tells it now and then."""

    def __init__(self, progress: Progress | None, total: int) -> None:
        self.progress, self.total, self.done = progress, total, 0

    def one(self) -> None:
        self.done += 1
        if self.done % EVERY == 0 and self.progress is not None and self.done < self.total:
            self.progress(self.done, self.total)

    def end(self) -> None:
        if self.progress is not None:
            self.progress(self.total, self.total)


def _rings(connection: sa.Connection) -> Iterator[str]:
    replaces: dict[str, list[str]] = {}
    for row in connection.execute(sa.text("SELECT new_id, old_id FROM correction")):
        replaces.setdefault(row.new_id, []).append(row.old_id)
    for ring in rings(replaces):
        if len(ring) == 1:
            yield f"record {ring[0]}: names itself as what it replaces; it counts as if it named nothing"
        else:
            listed = ", ".join(ring[:5]) + (" …" if len(ring) > 5 else "")
            yield f"records {listed}: replace each other in a ring; a correction of one of them settles it"


def _misfits(connection: sa.Connection, doubtful: set[str]) -> Iterator[str]:
    """Labels that hold and that their thing cannot have; of a thing whose id is in conflict nothing is said."""
    query = (
        "SELECT label.target, label.field, label.value, label.edit_id, record.kind FROM label "
        "JOIN record ON record.id = label.target ORDER BY label.target, label.field"
    )
    for row in connection.execute(sa.text(query)):
        try:
            value = json.loads(row.value)
        except ValueError:
            continue  # a damaged index is told as such
        if row.target not in doubtful and not suits(row.kind, row.field, value):
            yield f"edit {row.edit_id}: its {row.field} does not suit {row.target}, a {row.kind}; edit that field anew"


def _whole(row: sa.Row[Any]) -> tuple[dict[str, Any] | None, list[str]]:
    """The body of a stored record if it is valid, and what is wrong with the record."""
    try:
        body = indexes.body_of(row.id, row.body)
    except indexes.DamagedError:
        return None, ["its body is no JSON table"]
    wrong = []
    try:
        if content_hash({**row._mapping, "body": body}) != row.hash:
            wrong.append("its content does not fit its hash")
        validate(row.kind, row.schema, body)
    except InputError as error:
        return None, [*wrong, str(error)]
    return body, wrong


def _expect(
    row: sa.Row[Any],
    body: dict[str, Any],
    doubtful: set[str],
    expected: dict[str, Counter[str]],
    edits: list[Edit],
) -> None:
    """Note the index rows that a record calls for."""
    for table, index_row in indexes.rows_of(row.id, row.kind, body):
        if row.id in doubtful and table in indexes.SAID_OF_OTHERS:
            continue
        if table in expected:
            expected[table][_key(index_row)] += 1
        else:
            edits.append(edit_of(row.id, body))


def _kept_wrongly(connection: sa.Connection) -> list[str]:
    """Records kept twice, and conflicts with nothing to conflict with."""
    twice = "SELECT c.id FROM conflict c JOIN record r ON r.id = c.id AND r.hash = c.hash"
    alone = "SELECT c.id FROM conflict c WHERE NOT EXISTS (SELECT 1 FROM record r WHERE r.id = c.id)"
    return [f"record {found} is kept twice" for found in connection.execute(sa.text(twice)).scalars()] + [
        f"conflict {found}: the record it conflicts with is not there"
        for found in connection.execute(sa.text(alone)).scalars()
    ]


def database_problems(connection: sa.Connection) -> list[str]:
    """What SQLite itself finds wrong with its file; PostgreSQL checks its pages as it reads them."""
    if connection.dialect.name != "sqlite":
        return []
    lines = [" ".join(str(row[0]).split()) for row in connection.exec_driver_sql("PRAGMA integrity_check(20)")]
    found = [f"file: {line}" for line in lines if line != "ok"]
    strays = connection.exec_driver_sql("PRAGMA foreign_key_check").fetchall()
    return found + [f"table {row[0]}: a row points at a record that is not there" for row in strays[:20]]


def _index_problems(
    connection: sa.Connection, expected: dict[str, Counter[str]], edits: list[Edit], step: _Steps
) -> Iterator[str]:
    columns = {
        "correction": "new_id, old_id",
        "check_row": "id, taken_at, season, field, combine, operator, crop, catches, trial",
        "catch_row": "check_id, number, place, amount",
    }
    for table, names in columns.items():
        found: Counter[str] = Counter()
        for row in connection.execute(sa.text(f"SELECT {names} FROM {table}")):
            found[_key(dict(row._mapping))] += 1
            step.one()
        missing, surplus = expected[table] - found, found - expected[table]
        if missing or surplus:
            counts = f"{missing.total()} rows missing, {surplus.total()} too many"
            yield f"index {table}: {counts} (book rebuild mends it)"
    held = {
        (row.target, row.field): (row.edit_id, row.revision, row.value)
        for row in connection.execute(sa.text("SELECT target, field, value, revision, edit_id FROM label"))
    }
    wanted = {key: (e.id, e.revision, indexes.label_text(e.value)) for key, e in holding(edits).items()}
    if differ := [key for key in {**held, **wanted} if held.get(key) != wanted.get(key)]:
        yield f"index label: {len(differ)} labels differ (book rebuild mends it)"


def _key(row: dict[str, object]) -> str:
    return canonical(row).decode()
