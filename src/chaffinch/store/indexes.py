"""What is kept beside the records so that questions are quick.

Corrections, labels, checks and catches as rows: all of it follows from the records alone and can be thrown away and
rebuilt; ``chaffinch book verify`` compares what is there with what the records say.
"""

from __future__ import annotations

import json
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from typing import Any, Final

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from chaffinch.errors import InputError
from chaffinch.how_far import Progress
from chaffinch.records.bodies import check_summary, replaced_by
from chaffinch.records.kinds import CHECK, EDIT
from chaffinch.sync.labels import edit_of

BATCH: Final = 2000
_BATCH_OF_RECORDS: Final = 500

ALL: Final = ("correction", "label", "check_row", "catch_row")
"""The index tables; checks before catches, which point at them."""
SAID_OF_OTHERS: Final = ("correction", "label")
"""Tables in which a record whose id is in conflict has no row."""

_INSERT: Final = {
    "correction": "INSERT INTO correction (new_id, old_id) VALUES (:new_id, :old_id) ON CONFLICT DO NOTHING",
    # The greater (revision, edit id) holds, on both databases alike: see sync.labels.
    "label": (
        "INSERT INTO label (target, field, value, revision, edit_id) "
        "VALUES (:target, :field, :value, :revision, :edit_id) "
        "ON CONFLICT (target, field) DO UPDATE SET value = excluded.value, revision = excluded.revision, "
        "edit_id = excluded.edit_id WHERE excluded.revision > label.revision "
        "OR (excluded.revision = label.revision AND excluded.edit_id > label.edit_id)"
    ),
    "check_row": (
        "INSERT INTO check_row (id, taken_at, season, field, combine, operator, crop, catches, trial) "
        "VALUES (:id, :taken_at, :season, :field, :combine, :operator, :crop, :catches, :trial) ON CONFLICT DO NOTHING"
    ),
    "catch_row": (
        "INSERT INTO catch_row (check_id, number, place, amount) VALUES (:check_id, :number, :place, :amount) "
        "ON CONFLICT DO NOTHING"
    ),
}


class DamagedError(Exception):
    """A record is no longer what was stored: its text is no JSON table, or lacks what its kind must have."""

    def __init__(self, record_id: str) -> None:
        super().__init__(f"record {record_id} is damaged and cannot be read (chaffinch book verify tells all)")


def body_of(record_id: str, text: str) -> dict[str, Any]:
    """The body of a record from its text.

    Raises
    ------
    DamagedError
        When it is no JSON table.
    """
    try:
        body = json.loads(text)
    except (ValueError, RecursionError):
        raise DamagedError(record_id) from None
    if not isinstance(body, dict):
        raise DamagedError(record_id)
    return body


def label_text(value: Any) -> str:
    """A label's value as it stands in the index."""
    return json.dumps(value, ensure_ascii=False, sort_keys=True)


def rows_of(record_id: str, kind: str, body: Mapping[str, Any]) -> Iterator[tuple[str, dict[str, Any]]]:
    """Index rows (table, row) of one record."""
    for old in replaced_by(body):
        yield "correction", {"new_id": record_id, "old_id": old}
    if kind == EDIT:
        edit = edit_of(record_id, body)
        yield (
            "label",
            {
                "target": edit.target,
                "field": edit.field,
                "value": label_text(edit.value),
                "revision": edit.revision,
                "edit_id": record_id,
            },
        )
    if kind == CHECK:
        summary = check_summary(body)
        yield "check_row", {"id": record_id, **summary.row, "trial": body.get("trial")}
        for number, (place, amount) in enumerate(summary.catches, start=1):
            yield "catch_row", {"check_id": record_id, "number": number, "place": place, "amount": amount}


def _rows_or_damaged(record_id: str, kind: str, body: Mapping[str, Any]) -> list[tuple[str, dict[str, Any]]]:
    try:
        return list(rows_of(record_id, kind, body))
    except (LookupError, TypeError, AttributeError, InputError):
        raise DamagedError(record_id) from None


def add(
    connection: Connection,
    records: Iterable[tuple[str, str, Mapping[str, Any]]],
    tables: Sequence[str],
    aside: Collection[str] = (),
) -> None:
    """Write the index rows of records (id, kind, body) into the named tables; ``aside``: ids in conflict."""
    waiting: dict[str, list[dict[str, Any]]] = {}
    for record_id, kind, body in records:
        for table, row in _rows_or_damaged(record_id, kind, body):
            if table in tables and not (record_id in aside and table in SAID_OF_OTHERS):
                waiting.setdefault(table, []).append(row)
    for table in ALL:
        here = waiting.get(table, [])
        for start in range(0, len(here), BATCH):
            connection.execute(sa.text(_INSERT[table]), here[start : start + BATCH])


def set_aside(connection: Connection, ids: Sequence[str]) -> None:
    """Take out what records say of others once their ids are in conflict: no version of them counts, on any book."""
    for record_id in ids:
        connection.execute(sa.text("DELETE FROM correction WHERE new_id = :id"), {"id": record_id})
        found = connection.execute(sa.text("DELETE FROM label WHERE edit_id = :id"), {"id": record_id})
        if found.rowcount:
            # The label falls back to the best of the other edits; conflicts are rare, so all of them are read again.
            query = "SELECT id, kind, body FROM record WHERE kind = :edit AND id NOT IN (SELECT id FROM conflict)"
            edits = connection.execute(sa.text(query), {"edit": EDIT}).all()
            add(connection, ((r.id, r.kind, body_of(r.id, r.body)) for r in edits), ("label",))


def make_anew(connection: Connection, *, leave_out_damaged: bool = False, progress: Progress | None = None) -> None:
    """Throw away every index row and make them anew from the records, in the caller's transaction.

    ``progress`` is told how many records were read, of all.

    Raises
    ------
    DamagedError
        At a record that cannot be read; unless such a record is to be left out, which :mod:`chaffinch.store.verify`
        tells, and whoever reads it.
    """
    for table in reversed(ALL):
        connection.execute(sa.text(f"DELETE FROM {table}"))
    aside = set(connection.execute(sa.text("SELECT id FROM conflict")).scalars())
    last = done = 0
    total = int(connection.execute(sa.text("SELECT COUNT(*) FROM record")).scalar_one())
    query = sa.text("SELECT seq, id, kind, body FROM record WHERE seq > :last ORDER BY seq LIMIT :batch")
    while found := connection.execute(query, {"last": last, "batch": _BATCH_OF_RECORDS}).all():
        add(connection, _read(found, leave_out_damaged), ALL, aside)
        last = found[-1].seq
        done += len(found)
        if progress is not None:
            progress(done, total)


def _read(rows: Iterable[sa.Row[Any]], leave_out_damaged: bool) -> Iterator[tuple[str, str, Mapping[str, Any]]]:
    for row in rows:
        try:
            body = body_of(row.id, row.body)
            list(_rows_or_damaged(row.id, row.kind, body))
        except DamagedError:
            if leave_out_damaged:
                continue
            raise
        yield row.id, row.kind, body
