"""Putting records into a book and getting them out: append-only, one receipt per record, confirmed after the commit."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from chaffinch.errors import InputError
from chaffinch.records.bodies import replaced_by, validate
from chaffinch.store import indexes
from chaffinch.store.opening import KEPT, Store, guarded
from chaffinch.sync.accept import Receipt
from chaffinch.sync.envelope import KEYS, Envelope, canonical

AT_ONCE: Final = 400
"""Ids looked up in one query."""

_COLUMNS: Final = "id, kind, schema, device, device_time, body, hash"


@dataclass(frozen=True, slots=True)
class Stored:
    """A record as it lies in the book: its envelope, its place in the order of arrival, and when it arrived."""

    seq: int
    envelope: Envelope
    arrived: str


def append(
    store: Store, batch: Sequence[Envelope | Receipt] | Callable[[], Sequence[Envelope | Receipt]]
) -> list[Receipt]:
    """Add records to the book in one transaction and return a receipt for each, in order.

    A receipt exists only once the transaction is on disk: ``accepted`` and ``known`` may be shown as saved. One record
    that is refused or in conflict does not stop the others. Items of the batch that are receipts already (refused
    when their envelope was opened) are passed through.

    Raises
    ------
    BookError
        When the book cannot be written; then nothing of the batch was.
    """
    arrived = store.clock()
    receipts: list[Receipt] = []
    with guarded(store.address), store.engine.begin() as connection:
        if not store.is_file:
            # One writer at a time, as with a file: nobody locks another out, and places follow the order of commits,
            # so that who has read up to a place has missed nothing before it. Readers do not wait.
            connection.exec_driver_sql("LOCK TABLE record IN SHARE ROW EXCLUSIVE MODE")
        items = batch() if callable(batch) else batch
        known = _hashes(connection, [item.id for item in items if isinstance(item, Envelope)])
        fresh: list[tuple[str, str, Mapping[str, Any]]] = []
        for item in items:
            if isinstance(item, Receipt):
                receipts.append(item)
                continue
            receipt = _add_one(connection, item, known, arrived)
            receipts.append(receipt)
            if receipt.outcome == "accepted":
                fresh.append((item.id, item.kind, item.body))
        indexes.add(connection, fresh, indexes.ALL)
        indexes.set_aside(connection, [r.id for r in receipts if r.outcome == "conflict"])
    return receipts


def _add_one(connection: Connection, one: Envelope, known: dict[str, set[str]], arrived: str) -> Receipt:
    hashes = known.setdefault(one.id, set())
    if one.hash in hashes:
        return Receipt(one.id, one.hash, "known")
    try:
        validate(one.kind, one.schema, one.body)
        if one.id in replaced_by(one.body):
            raise InputError(f"{one.kind}, replaces", one.id, "names the record itself", "name the record it corrects")
    except InputError as error:
        return Receipt(one.id, one.hash, "refused", str(error))
    row = {key: getattr(one, key) for key in KEYS} | {"body": canonical(one.body).decode(), "arrived": arrived}
    if not hashes:
        insert = (
            f"INSERT INTO record ({_COLUMNS}, arrived) "
            "VALUES (:id, :kind, :schema, :device, :device_time, :body, :hash, :arrived) ON CONFLICT (id) DO NOTHING"
        )
        if connection.execute(sa.text(insert), row).rowcount == 1:
            hashes.add(one.hash)
            return Receipt(one.id, one.hash, "accepted")
        # Somebody who does not wait for his turn was quicker with this id.
        hashes |= _hashes(connection, [one.id]).get(one.id, set())
        if one.hash in hashes:
            return Receipt(one.id, one.hash, "known")
    keep = (
        f"INSERT INTO conflict ({_COLUMNS}, arrived) VALUES (:id, :kind, :schema, :device, :device_time, :body, :hash, "
        ":arrived) ON CONFLICT (id, hash) DO NOTHING"
    )
    connection.execute(sa.text(keep), row)
    hashes.add(one.hash)
    return Receipt(one.id, one.hash, "conflict", "another record has this id; both are kept, neither is counted")


def _hashes(connection: Connection, ids: Sequence[str]) -> dict[str, set[str]]:
    """Hashes under which ids are known, among the records and the conflicts."""
    found: dict[str, set[str]] = {}
    for start in range(0, len(ids), AT_ONCE):
        part = list(ids[start : start + AT_ONCE])
        for table in ("record", "conflict"):
            query = sa.text(f"SELECT id, hash FROM {table} WHERE id IN :ids").bindparams(
                sa.bindparam("ids", expanding=True)
            )
            for row in connection.execute(query, {"ids": part}):
                found.setdefault(row.id, set()).add(row.hash)
    return found


def held(store: Store, ids: Iterable[str]) -> dict[str, set[str]]:
    """Hashes under which these ids are kept here, those set aside too; ids that are not here are left out."""
    with guarded(store.address), store.reading() as connection:
        return _hashes(connection, list(dict.fromkeys(ids)))


def read(store: Store, record_id: str) -> Stored | None:
    """The record with that id, or None."""
    with guarded(store.address), store.reading() as connection:
        row = connection.execute(
            sa.text(f"SELECT seq, {_COLUMNS}, arrived FROM record WHERE id = :id"), {"id": record_id}
        ).one_or_none()
        return None if row is None else _stored(row)


def read_many(store: Store, ids: Iterable[str]) -> dict[str, Stored]:
    """Records by id; ids that are not here are left out."""
    wanted = list(dict.fromkeys(ids))
    found: dict[str, Stored] = {}
    with guarded(store.address), store.reading() as connection:
        query = sa.text(f"SELECT seq, {_COLUMNS}, arrived FROM record WHERE id IN :ids").bindparams(
            sa.bindparam("ids", expanding=True)
        )
        for start in range(0, len(wanted), AT_ONCE):
            for row in connection.execute(query, {"ids": wanted[start : start + AT_ONCE]}):
                found[row.id] = _stored(row)
    return found


def every(store: Store, *, kind: str | None = None, after: int = 0, batch: int = 1000) -> Iterator[Stored]:
    """All records in the order they arrived, a batch at a time; of one kind if named."""
    narrow = "" if kind is None else "AND kind = :kind "
    query = sa.text(f"SELECT seq, {_COLUMNS}, arrived FROM record WHERE seq > :after {narrow}ORDER BY seq LIMIT :batch")
    while True:
        with guarded(store.address), store.reading() as connection:
            found = [_stored(row) for row in connection.execute(query, {"after": after, "batch": batch, "kind": kind})]
        if not found:
            return
        yield from found
        after = found[-1].seq


def rows_of(connection: Connection, table: str, batch: int = 1000) -> Iterator[sa.Row[Any]]:
    """The rows of ``record`` or ``conflict`` as they stand, in the order they arrived, within one transaction."""
    query = sa.text(f"SELECT seq, {_COLUMNS} FROM {table} WHERE seq > :after ORDER BY seq LIMIT :batch")
    after = 0
    while found := connection.execute(query, {"after": after, "batch": batch}).all():
        yield from found
        after = found[-1].seq


def among(store: Store, ids: Iterable[str], *, kind: str | None = None, aside: bool = False) -> set[str]:
    """Which of these ids are in the book, of that kind if named; or among the records set aside. No body is read."""
    wanted = list(dict.fromkeys(ids))
    # The kind is looked at here: asked for it too, SQLite would walk through all records of that kind.
    query = sa.text(f"SELECT id, kind FROM {'conflict' if aside else 'record'} WHERE id IN :ids").bindparams(
        sa.bindparam("ids", expanding=True)
    )
    found: set[str] = set()
    with guarded(store.address), store.reading() as connection:
        for start in range(0, len(wanted), AT_ONCE):
            rows = connection.execute(query, {"ids": wanted[start : start + AT_ONCE]})
            found.update(row.id for row in rows if kind is None or row.kind == kind)
    return found


def conflicts(store: Store) -> list[Stored]:
    """Records that were set aside because their id was taken."""
    with guarded(store.address), store.reading() as connection:
        rows = connection.execute(sa.text(f"SELECT seq, {_COLUMNS}, arrived FROM conflict ORDER BY id, hash"))
        return [_stored(row) for row in rows]


def unsettled(store: Store) -> list[Stored]:
    """Records set aside whose id no correction names yet: what still waits for a person."""
    named = (
        f"SELECT seq, {_COLUMNS}, arrived FROM conflict WHERE NOT EXISTS "
        "(SELECT 1 FROM correction WHERE correction.old_id = conflict.id) ORDER BY id, hash"
    )
    with guarded(store.address), store.reading() as connection:
        return [_stored(row) for row in connection.execute(sa.text(named))]


def identities(store: Store) -> Iterator[tuple[str, str]]:
    """(id, hash) of everything kept here, conflicts included: what two books compare."""
    for table in ("record", "conflict"):
        after = 0
        query = sa.text(f"SELECT seq, id, hash FROM {table} WHERE seq > :after ORDER BY seq LIMIT 5000")
        while True:
            with guarded(store.address), store.reading() as connection:
                rows = connection.execute(query, {"after": after}).all()
            if not rows:
                break
            yield from ((row.id, row.hash) for row in rows)
            after = rows[-1].seq


def facts(store: Store) -> dict[str, str]:
    """Facts about the book itself: id, title, started."""
    return {key: value for key, value in _facts(store).items() if not key.startswith(KEPT)}


def copies_before(store: Store) -> list[tuple[str, dict[str, Any]]]:
    """Copies that were made before the book was brought up to date: (file, step, at and device), the oldest first."""
    found = [
        (key.removeprefix(KEPT), json.loads(value)) for key, value in _facts(store).items() if key.startswith(KEPT)
    ]
    return sorted(found, key=lambda one: (one[1]["at"], one[1]["step"], one[0]))


def _facts(store: Store) -> dict[str, str]:
    with guarded(store.address), store.reading() as connection:
        return {row.key: row.value for row in connection.execute(sa.text("SELECT key, value FROM book"))}


def _stored(row: Any) -> Stored:
    body = indexes.body_of(row.id, row.body)
    envelope = Envelope(row.id, row.kind, row.schema, row.device, row.device_time, body, row.hash)
    return Stored(int(row.seq), envelope, row.arrived)
