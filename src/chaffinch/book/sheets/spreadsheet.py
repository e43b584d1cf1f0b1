"""Bringing somebody's own spreadsheet of past checks into the book.

The cells are read in :mod:`chaffinch.book.sheets.grid`, the columns matched in :mod:`chaffinch.book.sheets.meanings`,
the rows gathered into stops in :mod:`chaffinch.book.sheets.rows`; here each stop becomes a check, with the widths of
the book's own combines where the sheet has none, and comes in by the same rules as any record.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any, Final

import sqlalchemy as sa

from chaffinch.book.checks.catches import prepare
from chaffinch.book.desk import Desk
from chaffinch.book.exchange.importing import BATCH, Coming, Imported, Refused
from chaffinch.book.names import all_nfc
from chaffinch.book.sheets.grid import Sheet, open_sheet
from chaffinch.book.sheets.meanings import MEANINGS, Matching, match_columns, matching_from_toml, with_styles
from chaffinch.book.sheets.rows import Rows, read_rows
from chaffinch.book.sheets.stops import Stop
from chaffinch.book.sheets.things import DEVICE, Naming
from chaffinch.book.things import Thing
from chaffinch.book.times import not_ahead
from chaffinch.errors import InputError
from chaffinch.how_far import Progress
from chaffinch.records.checkfile import check_from_table, check_to_table
from chaffinch.records.kinds import CHECK, KINDS
from chaffinch.reference import crop as crop_of
from chaffinch.store import records
from chaffinch.store.opening import guarded
from chaffinch.sync.envelope import Envelope, canonical, seal

__all__ = [
    "DEVICE",
    "Matching",
    "Rows",
    "Sheet",
    "Stop",
    "import_spreadsheet",
    "match_columns",
    "matching_from_toml",
    "open_sheet",
    "read_rows",
    "with_styles",
]

_WIDTHS: Final = ("cut_width", "drop_width", "spread_width")
_COLUMN_OF: Final = {"width": "pan_width", "length": "pan_length", "time": "caught_for"}
_EVERY: Final = 200  # stops between two reports of progress


def import_spreadsheet(desk: Desk, rows: Rows, *, dry_run: bool = False, progress: Progress | None = None) -> Imported:
    """Bring the stops of a spreadsheet into the book as checks.

    Fields, combines, operators and seasons are found in the book by name, or added. Ids are made from the content of
    the rows alone, so the same rows come in once, whatever the file is called and whichever device reads it.

    Parameters
    ----------
    desk : Desk
        The open book.
    rows : Rows
        As :func:`read_rows` gives them; its bad rows are listed among the refused.
    dry_run : bool
        Write nothing, and return what would come in.
    progress : callable or None
        Called with (done, of); each stop is counted twice, once read and once written.

    Raises
    ------
    BookError
        When the book cannot be read or written; batches of records that were written before stay.
    """
    known = set(records.read_many(desk.store, (stop.id for stop in rows.good)))
    naming = Naming(desk, rows.fixed.get("country"))
    made: list[_Made] = []
    refused = list(rows.bad)
    for done, stop in enumerate(rows.good, start=1):
        one, problems = (_Made(stop, None, ()), []) if stop.id in known else _made(desk, stop, naming, rows)
        refused += problems
        if one is not None:
            made.append(one)
        if progress is not None and (done % _EVERY == 0 or done == len(rows.good)):
            progress(done, len(rows.good) * (1 if dry_run else 2))
    grown = _grown(desk, made)
    made = [replace(one, check=None) if grown.get(one.stop.id, ("", False))[1] else one for one in made]
    again = {one.stop.id: one.stop for one in made if one.check is not None and one.stop.id in grown}
    refused += [refusal for key, stop in again.items() for refusal in _as_grown(stop, grown[key][0])]
    made = [one for one in made if one.stop.id not in again]
    brought = naming.brought({key for one in made for key in one.things})
    outcomes = {one.stop.id: "known" if one.check is None else "accepted" for one in made}
    if not dry_run:
        checks = [one.check for one in made if one.check is not None]
        steps = 2 * len(rows.good)

        def step(part: float) -> None:
            if progress is not None and steps:
                progress(round(steps / 2 * (1 + part)), steps)

        outcomes |= _put(desk, [*brought, *checks], made, refused, step)
    counts = Counter(outcomes.values())
    coming = tuple(_coming(one, outcomes[one.stop.id]) for one in made if outcomes[one.stop.id] != "refused")
    added = tuple((one.kind, str(one.body["name"])) for one in brought)
    kinds = Counter(kind for kind, _ in added)
    kinds[CHECK] = counts["accepted"]
    return Imported(
        dry_run,
        counts["accepted"] + len(brought),
        counts["known"],
        counts["conflict"],
        tuple(sorted(refused, key=lambda r: r.number)),
        {kind: count for kind, count in kinds.items() if count},
        added,
        coming,
        rows.notices,
    )


@dataclass(frozen=True, slots=True)
class _Made:
    """A stop and the record it became; None when the book has it already. ``things`` are keys of what it names."""

    stop: Stop
    check: Envelope | None
    things: tuple[str, ...]


def _made(desk: Desk, stop: Stop, naming: Naming, rows: Rows) -> tuple[_Made | None, list[Refused]]:
    """The record of a stop, and the rows of it that had to be left out.

    A catch that is refused is left out and the others are tried without it; what concerns the whole stop refuses all
    its rows.
    """
    left = list(range(len(stop.rows)))
    refused: list[Refused] = []
    while left:
        part = stop.only(left) if refused else stop
        if refused and records.read(desk.store, part.id) is not None:
            return _Made(part, None, ()), refused
        try:
            return _sealed(desk, part, naming, rows), refused
        except InputError as error:
            head, _, rest = error.field.partition(", ")
            at = head.removeprefix("catch ").partition(" ")[0] if head.startswith("catch ") else ""
            if not at.isdigit() or not 1 <= int(at) <= len(left):
                return None, refused + [_refusal(n, error.field, error, rows, {}) for n in part.rows]
            out = left.pop(int(at) - 1)
            refused.append(_refusal(stop.rows[out], rest or "amount", error, rows, stop.catches[out]))
    return None, refused


def _sealed(desk: Desk, stop: Stop, naming: Naming, rows: Rows) -> _Made:
    not_ahead(stop.taken_at, "date", datetime.fromisoformat(desk.now()))
    date = stop.when[:10]
    season = naming.season(date, stop.taken_at)
    crop = stop.table.get("crop", "")
    where, used = {"season": season}, [season]
    table: dict[str, Any] = {
        **{key: value for key, value in stop.table.items() if key not in (*_WIDTHS, "crop")},
        **{key: value for key, value in rows.fixed.items() if key != "country"},
        "when": stop.when,
        "catch": [dict(catch) for catch in stop.catches],
    }
    if naming.country:
        table["country"] = naming.country
    if "field" in stop.names:
        field = naming.field(stop.names["field"], season, crop, stop.taken_at)
        where["field"] = field.id
        own = str(field.parts.get("crop", ""))
        if crop and own and crop_of(own).key != crop:
            mend = "correct one, or name the field of the other crop otherwise"
            raise InputError("crop", crop, f"is not the crop of {field.name}, which is {own}", mend)
        crop = crop or own
        table["field"] = {"name": field.name}
    if not crop:
        raise InputError("crop", None, "is missing, and the book's field does not say it", _mend("crop", rows))
    table["crop"] = crop
    if "operator" in stop.names:
        operator = naming.operator(stop.names["operator"], stop.taken_at)
        where["operator"] = operator.id
        table["operator"] = operator.name
    machine = _combine(stop, naming, rows)
    if machine is not None:
        combine, widths = machine
        table["combine"] = widths
        if combine is not None:
            where["combine"] = combine.id
    check = check_from_table(table)
    prepare(check)  # a check that cannot be answered is refused here, where its row can still be named
    body = {"taken_at": stop.taken_at, "check": check_to_table(check), **where}
    sealed = seal(stop.id, CHECK, KINDS[CHECK].schema_of(body), DEVICE, stop.taken_at, body)
    return _Made(stop, sealed, (*used, *where.values()))


def _combine(stop: Stop, naming: Naming, rows: Rows) -> tuple[Thing | None, dict[str, Any]] | None:
    """The combine named, and the widths this stop is answered with: the sheet's, else the book's."""
    said = {key: str(stop.table[key]) for key in _WIDTHS if key in stop.table}
    name = stop.names.get("combine")
    if name is None:
        if not said:
            return None
        if "cut_width" not in said:
            raise InputError("cut_width", None, "is missing beside the other widths", _mend("cut_width", rows))
        return None, said
    combine = naming.combine(name, said, stop.taken_at)
    if combine is None:
        raise InputError(
            "combine",
            name,
            "is not in the book and has no cut width here",
            f"add it to the book, or {_mend('cut_width', rows)}",
        )
    own = {key: combine.parts[key] for key in _WIDTHS if key in combine.parts}
    taped = combine.parts.get("widths_taped") and not set(said) & {"drop_width", "spread_width"}
    widths = {"name": combine.name, **own, **said, **({"widths_taped": True} if taped else {})}
    spreading = stop.table.get("spreading")
    if spreading is None and "drop_width" in widths and "spread_width" in widths:
        # One width said in the row is the one that was in use.
        in_use = [key for key in ("drop_width", "spread_width") if key in said]
        if len(in_use) == 1:
            del widths["spread_width" if in_use[0] == "drop_width" else "drop_width"]
    return combine, widths


def _refusal(number: int, field: str, error: InputError, rows: Rows, catch: Mapping[str, Any]) -> Refused:
    key = field.rpartition(", ")[2]
    meaning = _COLUMN_OF.get(key, key)
    if meaning == "amount":
        unit = str(catch.get("amount", ""))
        meaning = next((m for m in ("amount", "count", "volume") if m in rows.headers), "amount") if unit else meaning
    column = rows.headers.get(meaning, meaning)
    value = "" if error.value is None else str(error.value)
    missing = "is missing" in error.problem and meaning in MEANINGS
    return Refused(
        f"row {number}", number, column, value, f"{error.problem}; {_mend(meaning, rows) if missing else error.mend}"
    )


def _mend(meaning: str, rows: Rows) -> str:
    if meaning in rows.headers:
        return f"fill in {rows.headers[meaning]}"
    return f"add a column for it, or say it for all rows: --fixed {meaning}=…"


def _grown(desk: Desk, made: Sequence[_Made]) -> dict[str, tuple[str, bool]]:
    """Stops that share catches with a check an earlier sheet brought: id of the stop to that check's, and whether all
    of it is the same.

    Taking them again with rows that were mended since, or with another price, would count the same catches twice.
    """
    fresh = {one.stop.id: one.check for one in made if one.check is not None}
    times = sorted({str(check.body["taken_at"]) for check in fresh.values()})
    query = sa.text("SELECT id, taken_at FROM check_row WHERE taken_at IN :times").bindparams(
        sa.bindparam("times", expanding=True)
    )
    there: list[str] = []
    with guarded(desk.store.address), desk.store.reading() as connection:
        for start in range(0, len(times), records.AT_ONCE):
            there += [row.id for row in connection.execute(query, {"times": times[start : start + records.AT_ONCE]})]
    earlier: dict[bytes, list[Envelope]] = {}
    for stored in records.read_many(desk.store, there).values():
        if stored.envelope.device == DEVICE:
            earlier.setdefault(_stop_of(stored.envelope.body), []).append(stored.envelope)
    found = {}
    for stop_id, check in fresh.items() if earlier else ():
        mine = {canonical(catch) for catch in check.body["check"]["catch"]}
        for other in earlier.get(_stop_of(check.body), []):
            body = all_nfc(other.body)
            if mine & {canonical(catch) for catch in body["check"]["catch"]}:
                found[stop_id] = other.id, canonical(body) == canonical(check.body)
    return found


def _stop_of(body: Mapping[str, Any]) -> bytes:
    """What tells one stop of a sheet from another: not its terms, which may be said otherwise the next time."""
    where = [body.get(key) for key in ("taken_at", "field", "combine", "operator")]
    return canonical([*where, *(body["check"].get(key) for key in ("crop", "when", "speed", "spreading"))])


def _as_grown(stop: Stop, other: str) -> list[Refused]:
    why = "is of a stop that came in before with other catches or terms; "
    why += f"correct that one: chaffinch book replace {other[:8]}"
    return [Refused(f"row {number}", number, "", "", why) for number in stop.rows]


def _put(
    desk: Desk,
    envelopes: Sequence[Envelope],
    made: Sequence[_Made],
    refused: list[Refused],
    step: Callable[[float], None],
) -> dict[str, str]:
    """Write the records, and return the outcome of each check; what the book refuses is added to ``refused``.

    ``step`` is called with the part that is written, 0 to 1.
    """
    outcomes: dict[str, str] = {}
    rows = {one.stop.id: one.stop.rows for one in made}
    for start in range(0, len(envelopes), BATCH):
        for receipt in records.append(desk.store, envelopes[start : start + BATCH]):
            if receipt.id in rows:
                outcomes[receipt.id] = receipt.outcome
            if receipt.outcome == "refused":
                refused += [Refused(f"row {n}", n, "", "", receipt.reason) for n in rows.get(receipt.id, (0,))]
        step(min(1.0, (start + BATCH) / len(envelopes)))
    return outcomes


def _coming(one: _Made, outcome: str) -> Coming:
    names, table = one.stop.names, one.stop.table
    crop = str(one.check.body["check"]["crop"]) if one.check is not None else str(table.get("crop", ""))
    catches = tuple(f"{catch['place']} {catch['amount']}" for catch in one.stop.catches)
    return Coming(
        one.stop.rows, one.stop.taken_at, names.get("field", ""), names.get("combine", ""), crop, catches, outcome
    )
