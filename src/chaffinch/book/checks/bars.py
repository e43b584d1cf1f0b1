"""Which reading of the loss monitor stands beside which check, on whose machine, and how does its bar count?

A reading belongs to the machine of its check as that counts now: a check corrected to another combine takes its bar
along. A reading beside no check belongs to the combine it names.

Most readings are noted from the bar in the cab. Those that came from a field log carry a note in fixed words that names
the sensor, and count in that sensor's own unit: they are never put together with the bar, nor with another sensor.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

import sqlalchemy as sa

from chaffinch.book.checks.held import LoggedCheck, all_versions
from chaffinch.book.checks.looking import Kept, readings
from chaffinch.book.desk import Desk
from chaffinch.book.names import nfc
from chaffinch.engine.monitor.pair import Per
from chaffinch.errors import InputError
from chaffinch.records.bodies import replaced_by
from chaffinch.records.kinds import MONITOR
from chaffinch.reference import crop as find_crop
from chaffinch.store import records
from chaffinch.store.opening import guarded
from chaffinch.sync.accept import Receipt
from chaffinch.sync.corrections import versions

CORRECTION: Final = ("replaces", "reason")
WAYS: Final[tuple[Per, ...]] = ("time", "area")
_TELLS: Final = frozenset({"check", "per", "speed"})
"""Keys by which a reading says more than its own number."""
FROM_LOG: Final = "Field log: "
"""How the note of a reading from a field log begins; the column of its sensor follows."""
_OF_LOG: Final = re.compile(re.escape(FROM_LOG) + r"(loss_\w+)")


@dataclass(frozen=True, slots=True)
class Bar:
    """A reading that counts.

    Attributes
    ----------
    kept : Kept
        Its record.
    check : str or None
        Id of the check beside it, in the version that counts; None beside none of the book.
    combine : str
        Id of the machine it is a reading of.
    crop : str or None
        Key of the crop of that check.
    """

    kept: Kept
    check: str | None
    combine: str
    crop: str | None

    @property
    def per(self) -> Per | None:
        """How the bar counts, as told with this reading."""
        told = self.kept.body.get("per")
        return None if told is None else "time" if told == "time" else "area"

    @property
    def sensor(self) -> str:
        """The column of a field log it comes from, like ``loss_left_sieve_g_s``; "" for the bar in the cab."""
        return sensor_of(self.kept.body)


@dataclass(frozen=True, slots=True)
class Reading:
    """A reading to correct.

    Attributes
    ----------
    kept : Kept
        The version that counts.
    ends : tuple of str
        Ids of all that stand unreplaced.
    before : mapping or None
        Of a reading that was taken back, what its last version before that said; else None.
    """

    kept: Kept
    ends: tuple[str, ...]
    before: Mapping[str, Any] | None = None


def sensor_of(body: Mapping[str, Any]) -> str:
    """The column of a field log that the record of a reading comes from; "" for the bar in the cab."""
    found = _OF_LOG.match(str(body.get("note", "")))
    return found[1] if found else ""


def bars(desk: Desk) -> list[Bar]:
    """The monitor readings that count, by time."""
    kept = readings(desk, MONITOR)
    counts = {
        one: v.counts for v in all_versions(desk, [str(k.body["check"]) for k in kept if "check" in k.body])
        for one in v.all
    }  # fmt: skip
    rows = _rows(desk, [one for one in counts.values() if one is not None])
    found = []
    for one in kept:
        check = counts.get(str(one.body.get("check", "")))
        combine, crop = rows.get(check or "", (None, None))
        found.append(Bar(one, check if check in rows else None, combine or str(one.body["combine"]), crop))
    return found


def bars_beside(desk: Desk, logged: LoggedCheck, *, of_logs: bool = False) -> list[Kept]:
    """The readings of the bar in the cab that stand beside a check, in whichever of its versions, by time.

    With ``of_logs`` those of a field log's sensors too.
    """
    beside = [one for one in readings(desk, MONITOR) if one.body.get("check") in logged.versions.all]
    return [one for one in beside if of_logs or not sensor_of(one.body)]


def counts_per(desk: Desk, combine: str, crop: str | None = None) -> Per | None:
    """How a combine's bar (its id) counted the last time it was told: in that crop, else in any; None when never."""
    told = [bar for bar in bars(desk) if bar.combine == combine and bar.per is not None and not bar.sensor]
    key = None if crop is None else find_crop(crop).key
    same = [bar for bar in told if bar.crop == key]
    last = same or told
    return last[-1].per if last else None


def refuse_other_way(desk: Desk, combine: str, per: str, *, crop: str | None = None, called: str = "bar_per") -> None:
    """Refuse a way of counting that is not the one this combine's bar was told to have before.

    Raises
    ------
    InputError
        When it differs; says how it counted.
    """
    before = counts_per(desk, combine, crop)
    if before is not None and per != before:
        mend = f"say {before}; or, where the monitor itself was set otherwise, chaffinch book log … --anyway"
        raise InputError(called, per, f"is not as before: this combine's bar counted per {before}", mend)


def find_bar(desk: Desk, wanted: str) -> Reading | None:
    """The reading whose id, or that of an earlier version of it, begins with ``wanted``; None where none does.

    Raises
    ------
    InputError
        When the beginning fits several.
    """
    low = wanted.lower()
    if len(low) < 4:
        return None
    aside = {one.envelope.id for one in records.conflicts(desk.store)}
    bodies = {one.envelope.id: one.envelope.body for one in records.every(desk.store, kind=MONITOR)}
    groups = versions(bodies, {x: replaced_by(body) for x, body in bodies.items() if x not in aside})
    fitting = [v for v in groups if any(one.startswith(low) for one in v.all)]
    if not fitting:
        return None
    if len(fitting) > 1:
        raise InputError("reading", wanted, "is the beginning of several ids", "give more of it")
    counting = next((one for one in readings(desk, MONITOR) if one.id in fitting[0].ends), None)
    if counting is None:
        raise InputError("reading", wanted, "two different records claim this id; neither counts", "note the bar anew")
    return Reading(counting, fitting[0].ends, _before_taken_back(counting, bodies))


def mended_beside(
    desk: Desk, logged: LoggedCheck, told: Mapping[str, Any], *, combine: str | None, reason: str, anyway: bool = False
) -> dict[str, Any]:
    """What the bar beside a check should say: the readings there are corrected, or one is added.

    Parameters
    ----------
    desk, logged
        The open book, and the check.
    told : mapping
        Of ``reading``, ``per`` and ``speed`` those that were said; the others stay as they were.
    combine : str or None
        Id of the check's machine.
    reason : str
        Why, for whoever reads the history.
    anyway : bool
        Take a bar added here although it counts otherwise than before.

    Returns
    -------
    dict
        For ``bar`` of :func:`chaffinch.book.checks.entering.replace_check` and :func:`write_beside`.

    Raises
    ------
    InputError
        When there is no reading to correct and none was said, or nobody told how the bar counts.
    """
    olds = bars_beside(desk, logged)
    combine = combine or (str(olds[-1].body["combine"]) if olds else None)
    if combine is None:
        raise InputError("bar", told.get("reading"), "belongs to no combine", "say which: --combine NAME")
    if olds:
        kept = {key: olds[-1].body[key] for key in ("reading", "per", "speed", "note") if key in olds[-1].body}
        replaced = _ends(desk, [one.id for one in olds])
        kept |= {"replaces": replaced, "reason": nfc(reason)}
    elif "reading" in told:
        kept = {}
    else:
        raise InputError("bar", None, "no reading stands beside this check", "say what it showed: --bar NUMBER")
    bar = {"combine": combine, **kept, **told}
    if "per" not in bar:
        per = counts_per(desk, combine, logged.check.crop)
        if per is None:
            raise InputError("bar_per", None, "is not told, and the book has no earlier bar", "say time or area")
        bar["per"] = per
    elif not olds and not anyway:
        refuse_other_way(desk, combine, bar["per"], crop=logged.check.crop)
    return bar


def write_beside(desk: Desk, logged: LoggedCheck, bar: Mapping[str, Any]) -> Receipt:
    """Write the bar beside a check that itself stays as it is; ``bar`` from :func:`mended_beside`."""
    return desk.write(MONITOR, {"taken_at": logged.body["taken_at"], "check": logged.id, **bar})


def mend_bar(desk: Desk, found: Reading, told: Mapping[str, Any], *, reason: str) -> Receipt:
    """Correct one reading by a new record; from :func:`find_bar`, with what was said of reading, per and speed."""
    body = {key: value for key, value in found.kept.body.items() if key not in CORRECTION}
    return desk.write(MONITOR, {**body, **told, "replaces": list(found.ends), "reason": nfc(reason)})


def take_back(desk: Desk, found: Reading, *, reason: str) -> Receipt:
    """Take a reading back by a new record, which stands beside no check and tells neither way of counting nor speed.

    Nothing is deleted: the reading and why it was taken back stay readable, and :func:`put_back` undoes it.

    Raises
    ------
    InputError
        When it stands beside no check and tells nothing, so that there is nothing to take back.
    """
    if not _TELLS & set(found.kept.body):
        raise InputError("reading", found.kept.id[:8], "says nothing already", "leave it as it is")
    body = {key: value for key, value in found.kept.body.items() if key not in {*CORRECTION, *_TELLS}}
    return desk.write(MONITOR, {**body, "replaces": list(found.ends), "reason": nfc(reason)})


def put_back(desk: Desk, found: Reading, *, reason: str) -> Receipt:
    """Let a reading that was taken back say what it said before, by a new record.

    Raises
    ------
    InputError
        When it was not taken back.
    """
    if found.before is None:
        raise InputError("reading", found.kept.id[:8], "was not taken back", "correct it instead")
    body = {key: value for key, value in found.before.items() if key not in CORRECTION}
    return desk.write(MONITOR, {**body, "replaces": list(found.ends), "reason": nfc(reason)})


def _before_taken_back(now: Kept, bodies: Mapping[str, Mapping[str, Any]]) -> Mapping[str, Any] | None:
    """What a reading said before it was taken back; None for one that says something, or never did."""
    if _TELLS & set(now.body):
        return None
    olds = [bodies[old] for old in replaced_by(now.body) if old in bodies]
    return next((body for body in olds if _TELLS & set(body)), None)


def _ends(desk: Desk, ids: Sequence[str]) -> list[str]:
    """The versions of these readings that stand unreplaced: where two corrections disagree, both."""
    found: dict[str, None] = {}
    for one in ids:
        there = find_bar(desk, one)
        found |= dict.fromkeys(() if there is None else there.ends)
    return list(found)


def _rows(desk: Desk, ids: Iterable[str]) -> dict[str, tuple[str | None, str]]:
    """Combine and crop of checks, by id; one in conflict counts for nothing and is left out."""
    wanted = list(dict.fromkeys(ids))
    aside = records.among(desk.store, wanted, aside=True)
    query = sa.text("SELECT id, combine, crop FROM check_row WHERE id IN :ids").bindparams(
        sa.bindparam("ids", expanding=True)
    )
    found: dict[str, tuple[str | None, str]] = {}
    with guarded(desk.store.address), desk.store.reading() as connection:
        for start in range(0, len(wanted), records.AT_ONCE):
            for row in connection.execute(query, {"ids": wanted[start : start + records.AT_ONCE]}):
                if row.id not in aside:
                    found[row.id] = (row.combine, row.crop)
    return found
