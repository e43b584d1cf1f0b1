"""How does a check come into the book, and how is one corrected?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, Final

import sqlalchemy as sa

from chaffinch.book.checks.bars import refuse_other_way
from chaffinch.book.checks.catches import prepare
from chaffinch.book.checks.held import all_versions, claims
from chaffinch.book.desk import Desk
from chaffinch.book.names import all_nfc
from chaffinch.book.settings_alike import comparable, with_side
from chaffinch.book.things import by_ids, refuse_retired
from chaffinch.errors import InputError
from chaffinch.records.bodies import replaced_by
from chaffinch.records.check import Check
from chaffinch.records.checkfile import check_to_table
from chaffinch.records.kinds import CHECK, KINDS, MONITOR
from chaffinch.store import records
from chaffinch.store.opening import guarded
from chaffinch.sync.accept import Receipt
from chaffinch.sync.envelope import Envelope

_FILED_UNDER: Final = ("season", "field", "combine", "operator")


def log_check(
    desk: Desk,
    check: Check,
    *,
    taken_at: str | None = None,
    where: Mapping[str, str] | None = None,
    settings: Sequence[Mapping[str, Any]] | None = None,
    conditions: Mapping[str, float] | None = None,
    bar: Mapping[str, Any] | None = None,
    other_way: bool = False,
) -> Receipt:
    """Put a check into the book; when this returns it is on disk.

    Parameters
    ----------
    desk : Desk
        The open book.
    check : Check
        The catches of one stop.
    taken_at : str or None
        When, in UTC (``2026-08-14T16:40:00Z``); None for now.
    where : mapping or None
        Ids of ``season``, ``field``, ``combine``, ``operator`` and ``trial``, and the ``side`` of a trial.
    settings : sequence or None
        Settings of the combine, each ``{"name", "value", "unit"}``; those of the side of its trial are added.
    conditions : mapping or None
        Conditions by name, see :data:`chaffinch.records.bodies.CONDITIONS`.
    bar : mapping or None
        What the loss monitor showed at the same stop: ``reading``, and ``per`` ("time" or "area"). It becomes a record
        of its own that names the check; both are written, or neither.
    other_way : bool
        Take the bar although it counts otherwise than this combine's did before.

    Raises
    ------
    InputError
        When it cannot be answered, or is filed under a thing of another kind or one that is retired; for a setting
        that is not what the side of its trial has; for a bar below 0, without a combine, or that counts otherwise than
        before.
    """
    _refuse_filing(desk, where or {})
    settings = _with_side(desk, where or {}, settings)
    body = _body(desk, check, taken_at, where, settings, conditions)
    if bar is not None and "per" in bar and "combine" in body and not other_way:
        refuse_other_way(desk, body["combine"], bar["per"], crop=check.crop)
    if bar is None:
        return desk.write(CHECK, body)
    sealed = desk.seal(CHECK, body)
    return desk.keep([sealed, desk.seal(MONITOR, _bar_body(bar, sealed.id, body))])[0]


def replace_check(desk: Desk, old_ids: Sequence[str], check: Check, *, reason: str, **other: Any) -> Receipt:
    """Correct a check: a new record that names the one (or the disagreeing ones) it replaces. Nothing is changed.

    Parameters
    ----------
    old_ids : sequence of str
        Versions that this one replaces; all must stand unreplaced now, one by one. An id that two different records
        claim may be named: the correction then counts in place of both, and of whatever either of them corrected.
    reason : str
        Why, for whoever reads the history.
    other
        As for :func:`log_check`; what is not given is taken over from the version replaced. Moved to a side of a
        trial it gets that side's settings. A ``bar`` is written as it is, with what it ``replaces``.

    Raises
    ------
    InputError
        When a record is not in the book, is no check, or was replaced before (the current version is named); when it
        is filed anew under a thing that is retired. Where it was filed before it may stay.
    """
    claimed = {record_id: claims(desk, record_id) for record_id in old_ids}
    aside = records.among(desk.store, old_ids, aside=True)
    replaced = dict.fromkeys(old_ids)
    for record_id, claimants in claimed.items():
        newest = next((v for v in all_versions(desk, [record_id]) if record_id in v.all), None)
        # None: where another kind of record came first under an id in conflict.
        if newest is not None and record_id not in newest.ends:
            raise InputError(
                "check", record_id[:8], "was corrected before", f"correct {', '.join(e[:8] for e in newest.ends)}"
            )
        if record_id in aside:
            replaced |= dict.fromkeys(_stood_for(desk, claimants))
    previous = claimed[old_ids[0]][0].body
    kept = {k: previous[k] for k in (*_FILED_UNDER, "trial", "side") if k in previous}
    _refuse_filing(desk, {k: v for k, v in (other.get("where") or {}).items() if v != kept.get(k)})
    where = {**kept, **(other.get("where") or {})}
    settings = other.get("settings") or previous.get("settings")
    if "trial" in where and any(where.get(key) != kept.get(key) for key in ("trial", "side")):
        told = _with_side(desk, where, other.get("settings")) or []
        names = set(comparable(told))
        # What was set besides stays; what the former side was set to does not.
        settings = told + [s for s in previous.get("settings") or () if not names & set(comparable([s]))]
    body = _body(
        desk,
        check,
        other.get("taken_at") or previous["taken_at"],
        where,
        settings,
        other.get("conditions") or previous.get("conditions"),
    )
    sealed = desk.seal(CHECK, {**body, "replaces": list(replaced), "reason": all_nfc(reason)})
    bar = other.get("bar")
    return desk.keep([sealed] if bar is None else [sealed, desk.seal(MONITOR, _bar_body(bar, sealed.id, body))])[0]


def same_stop(desk: Desk, check: Check, *, taken_at: str, where: Mapping[str, str]) -> str | None:
    """Id of a check of the book with this time, combine and catches; one that was corrected since is one too.

    The field is not looked at: the same machine was not in two fields in one moment. A check that names no combine may
    be of any.
    """
    query = sa.text("SELECT id FROM check_row WHERE taken_at = :taken_at ORDER BY id")
    with guarded(desk.store.address), desk.store.reading() as connection:
        ids = [row.id for row in connection.execute(query, {"taken_at": taken_at})]
    catches = all_nfc(check_to_table(check)["catch"])
    for record_id, stored in records.read_many(desk.store, ids).items():
        body = stored.envelope.body
        machines = {body.get("combine"), where.get("combine")} - {None}
        if len(machines) < 2 and all_nfc(body["check"]["catch"]) == catches:
            return record_id
    return None


def _refuse_filing(desk: Desk, where: Mapping[str, str]) -> None:
    """Refuse to file under a thing of another kind, or one that is retired; one that has not arrived yet may come."""
    here = by_ids(desk, where.values())
    for key in _FILED_UNDER:
        thing = here.get(where.get(key, ""))
        if thing is None:
            continue
        if thing.kind != key:
            raise InputError(f"check, {key}", thing.id[:8], f"is a {thing.kind}", f"name a {key}")
        refuse_retired(thing, f"check, {key}")


def _with_side(
    desk: Desk, where: Mapping[str, str], told: Sequence[Mapping[str, Any]] | None
) -> list[Mapping[str, Any]] | None:
    """The settings told, with those of the side of a trial it is filed under; a trial not here yet says nothing."""
    stored = records.read(desk.store, where["trial"]) if {"trial", "side"} <= set(where) else None
    if stored is None or stored.envelope.kind != "trial":
        return None if told is None else list(told)
    body = stored.envelope.body
    return [*with_side(told or (), {"A": body["a"], "B": body["b"]}, where["side"], called="settings")]


def _body(
    desk: Desk,
    check: Check,
    taken_at: str | None,
    where: Mapping[str, str] | None,
    settings: Sequence[Mapping[str, Any]] | None,
    conditions: Mapping[str, float] | None,
) -> dict[str, Any]:
    # A check that cannot be answered is refused now, while the person stands beside the pan.
    prepare(check)
    parts = {p.name for p in KINDS[CHECK].parts}
    unknown = set(where or {}) - parts
    if unknown:
        raise InputError(
            "check", ", ".join(sorted(unknown)), "is nothing a check is filed under", "use field, combine …"
        )
    body = {
        "taken_at": taken_at or desk.now(),
        "check": all_nfc(check_to_table(check)),
        **(where or {}),
        "settings": all_nfc([dict(s) for s in settings]) if settings else None,
        "conditions": dict(conditions) if conditions else None,
    }
    return {name: value for name, value in body.items() if value is not None}


def _bar_body(bar: Mapping[str, Any], check_id: str, body: Mapping[str, Any]) -> dict[str, Any]:
    """The record of a monitor reading beside a check."""
    if bar["reading"] < 0:
        raise InputError("bar", bar["reading"], "is below 0", "write what the monitor shows, 0 or more")
    combine = body.get("combine") or bar.get("combine")
    if combine is None:
        raise InputError("bar", bar["reading"], "belongs to no combine", "say which: --combine NAME")
    return {"taken_at": body["taken_at"], "check": check_id, **bar, "combine": combine}


def _stood_for(desk: Desk, claimants: Sequence[Envelope]) -> list[str]:
    """What counts while records in conflict say nothing of the checks they correct: replaced with them, not beside."""
    olds = dict.fromkeys(old for one in claimants for old in replaced_by(one.body) if old != one.id)
    here = all_versions(desk, olds)
    known = {one for v in here for one in v.all}
    return [*(end for v in here for end in v.ends), *(old for old in olds if old not in known)]
