"""Did the change help? A trial of the book: its stops under A and B, and what they say of the ratio."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final, Literal

import numpy as np

from chaffinch import units
from chaffinch.book.checks.held import LoggedCheck, checks_where, counting
from chaffinch.book.checks.looking import readings
from chaffinch.book.checks.own_variation import with_learned
from chaffinch.book.checks.points import JUDGED, CheckPoint, points_of, shared_sd
from chaffinch.book.currency import MoneyTold, check_price_told, one_currency, price_told
from chaffinch.book.desk import Desk
from chaffinch.book.settings_alike import Comparable, comparable, differing, otherwise, said, spellings
from chaffinch.book.things import Thing, things
from chaffinch.engine.estimate import PRIOR_SD, Prior, Range, default_prior, estimate, range_of
from chaffinch.engine.trial.ratio import Changed, Stop, TrialAnswer, compare
from chaffinch.errors import InputError
from chaffinch.how_far import Progress
from chaffinch.reference import crop as find_crop

TrialSource = Literal["machine", "header", "judged"]
Aside = Literal["another combine", "another crop", "set otherwise"]
"""Why a stop filed under a trial is not part of it: its machine or crop was corrected, or the settings recorded with it
are not those of its side."""
SOURCES: Final = ("machine", "header", "judged")


class NoStopYetError(InputError):
    """A trial was started, and none of its stops is in the book yet."""


@dataclass(frozen=True, slots=True)
class TrialRecord:
    """A trial as it stands in the book.

    Attributes
    ----------
    id : str
    taken_at : str
        UTC.
    combine, field : Thing or None
    a, b : mapping of str to str
        Settings of the two sides, "600 rpm" by name.
    note : str
    settings : mapping of str to tuple
        The same settings by side, as recorded.
    """

    id: str
    taken_at: str
    combine: Thing | None
    field: Thing | None
    a: Mapping[str, str]
    b: Mapping[str, str]
    note: str
    settings: Mapping[str, tuple[Mapping[str, Any], ...]]

    @property
    def changed(self) -> Changed:
        """Settings that differ between the sides, as A spells them."""
        spelled = spellings(self.settings["A"], self.settings["B"])
        names = differing(self.settings["A"], self.settings["B"])
        return Changed(tuple(sorted(spelled[name] for name in names)))


@dataclass(frozen=True, slots=True)
class TrialFound:
    """What a trial of the book says.

    Attributes
    ----------
    record : TrialRecord
    answer : TrialAnswer
    points : tuple of CheckPoint
        Its checks in time order; ``sides`` has the side of each.
    sides : tuple of str
    load_kind : {"throughput", "speed"} or None
        What the loads of the sides were compared by; None where not all are told.
    crop : str
        Key of the crop; "" without a check.
    left_out : int
        Checks of the trial that did not see this loss.
    set_aside : mapping of str to int
        Stops filed under the trial that are not part of it, by why; see :data:`Aside`.
    other_settings : tuple of str
        Settings that were not the same at all its checks although the trial does not change them.
    price_per_t : float or None
        As used.
    """

    record: TrialRecord
    answer: TrialAnswer
    points: tuple[CheckPoint, ...]
    sides: tuple[str, ...]
    load_kind: str | None
    crop: str
    left_out: int
    set_aside: Mapping[Aside, int]
    other_settings: tuple[str, ...]
    price_per_t: float | None


def trials(desk: Desk, *, combine: str | None = None) -> list[TrialRecord]:
    """Trials of the book in time order, or of one combine (its id)."""
    known = {t.id: t for t in things(desk)}
    found = []
    for kept in readings(desk, "trial"):
        body = kept.body
        if combine is None or body["combine"] == combine:
            found.append(
                TrialRecord(
                    kept.id,
                    body["taken_at"],
                    known.get(body["combine"]),
                    known.get(str(body.get("field", ""))),
                    said(body["a"]),
                    said(body["b"], spelled=spellings(body["a"])),
                    str(body.get("note", "")),
                    {"A": tuple(body["a"]), "B": tuple(body["b"])},
                )
            )
    return found


def find_trial(desk: Desk, wanted: str) -> TrialRecord:
    """The trial whose id begins with ``wanted`` (4 characters or more).

    Raises
    ------
    InputError
        When there is none, or several.
    """
    if len(wanted) < 4:
        raise InputError("trial", wanted, "is too short for the beginning of an id", "give 4 characters or more")
    found = [t for t in trials(desk) if t.id.startswith(wanted.lower())]
    if not found:
        raise InputError("trial", wanted, "is not in the book", "chaffinch trial lists them")
    if len(found) > 1:
        raise InputError("trial", wanted, "is the beginning of several ids", "give more of it")
    return found[0]


def start_trial(
    desk: Desk,
    combine: Thing,
    a: Sequence[Mapping[str, Any]],
    b: Sequence[Mapping[str, Any]],
    *,
    field: Thing | None = None,
    note: str = "",
) -> TrialRecord:
    """Put a new trial into the book; when this returns it is on disk.

    Parameters
    ----------
    desk : Desk
        The open book.
    combine : Thing
        The machine it is made on.
    a, b : sequence of mapping
        Settings of the two sides, each ``{"name", "value", "unit"}``: A is how it is set now.
    field : Thing or None
        Where.
    note : str
        Why.

    Raises
    ------
    InputError
        When a side has no setting, or the sides do not differ.
    """
    for side, settings in (("a", a), ("b", b)):
        if not settings:
            mend = f'name what it is set to: --{side} "fan speed=900 rpm"'
            raise InputError(f"trial, {side}", None, "has no setting", mend)
    if not differing(a, b):
        raise InputError("trial, b", ", ".join(said(b)), "is set as A", "change one setting, by one small step")
    body: dict[str, Any] = {
        "taken_at": desk.now(),
        "combine": combine.id,
        "a": [dict(one) for one in a],
        "b": [dict(one) for one in b],
    }
    if field is not None:
        body["field"] = field.id
    if note:
        body["note"] = note
    return find_trial(desk, desk.write("trial", body).id)


def answer_trial(
    desk: Desk,
    record: TrialRecord,
    *,
    source: TrialSource = "machine",
    price_per_t: float | None = None,
    area_per_day_ha: float | None = None,
    money: Sequence[MoneyTold] = (),
    seed: int = 1,
    progress: Progress | None = None,
) -> TrialFound:
    """Compare the two sides of a trial.

    Parameters
    ----------
    desk : Desk
        The open book.
    record : TrialRecord
        From :func:`find_trial`.
    source : {"machine", "header", "judged"}
        Which loss; judged is header, machine and leak together, for checks that saw both.
    price_per_t : float or None
        Price [money/t]; None: the field's, else that of the checks.
    area_per_day_ha : float or None
        Area combined on a day [ha/day].
    money : sequence of MoneyTold
        The price as the person wrote it, for the rule of one currency.
    seed : int
        Same seed, same answer.
    progress : callable or None
        Called with (done, of).

    Raises
    ------
    InputError
        When no check belongs to the trial, none saw this loss, or the price is in other money than the farm's.
    """
    filed = [c for c in counting(desk, checks_where(desk, trial=record.id)) if c.body.get("trial") == record.id]
    if not filed:
        mend = "log its checks with --trial ID --side A or B"
        raise NoStopYetError("trial", record.id[:8], "has no check yet", mend)
    logged, set_aside = _its_own(filed, record)
    if not logged:
        listed = ", ".join(f"{count} {why}" for why, count in set_aside.items())
        raise InputError("trial", record.id[:8], f"has no check left: {listed}", "look at the checks filed under it")
    known = {one.id: one for one in things(desk)}
    taught = with_learned(desk, logged)
    every = points_of(taught, known, judged=source == "judged", seed=seed, progress=progress)
    points = [p for p in every if _sees(p, source) and p.logged.body.get("side") in ("A", "B")]
    if not points:
        what = "both header and machine loss" if source == "judged" else f"{source} loss"
        raise InputError("source", source, f"no check of this trial saw {what}", "compare another loss: --source")
    points.sort(key=lambda p: str(p.logged.body["taken_at"]))
    sides = tuple(str(p.logged.body["side"]) for p in points)
    kind, loads = _loads(points)
    hours = _hours(points)
    price = _price(record, points) if price_per_t is None else price_per_t
    one_currency(desk, [*money, *(_price_told(record, points) if price_per_t is None else ())])
    found = compare(
        [
            Stop(p.evidence[source], "A" if side == "A" else "B", hour, load)
            for p, side, hour, load in zip(points, sides, hours, loads, strict=True)
        ],
        source=source,
        prior=_prior(points, source),
        price_per_t=price,
        area_per_day_ha=area_per_day_ha,
        scale_sd=shared_sd(points, source),
        seed=seed,
    )
    return TrialFound(
        record,
        found,
        tuple(points),
        sides,
        kind,
        points[0].crop,
        len(every) - len(points),
        set_aside,
        _other_settings(points, sides, record),
        price,
    )


def stop_range(point: CheckPoint, source: str) -> Range:
    """What one stop says of the loss by itself [kg/ha]."""
    told: TrialSource = "header" if source == "header" else "judged" if source == "judged" else "machine"
    return range_of(estimate(point.evidence[source], _prior([point], told), 0.0))


def _sees(point: CheckPoint, source: TrialSource) -> bool:
    if source == "judged":
        return JUDGED in point.evidence and {"header", "machine"} <= set(point.evidence)
    return source in point.evidence


def _prior(points: Sequence[CheckPoint], source: TrialSource) -> Prior:
    yields = [p.yield_kg_ha for p in points if p.yield_kg_ha is not None]
    usual = float(np.median(yields)) if yields else None
    parts = ("header", "machine") if source == "judged" else (source,)
    return Prior(sum(default_prior(s, usual).median_kg_ha for s in parts), PRIOR_SD)


def _loads(points: Sequence[CheckPoint]) -> tuple[str | None, list[float | None]]:
    """Throughput where every stop has one, else speed where every stop has one."""
    throughput = [p.throughput_t_h for p in points]
    if all(load is not None for load in throughput):
        return "throughput", list(throughput)
    speed = [p.speed_kmh for p in points]
    return ("speed" if all(load is not None for load in speed) else None), list(speed)


def _hours(points: Sequence[CheckPoint]) -> list[float]:
    moments = [datetime.fromisoformat(str(p.logged.body["taken_at"])) for p in points]
    return [(moment - moments[0]).total_seconds() / 3600.0 for moment in moments]


def _price_told(record: TrialRecord, points: Sequence[CheckPoint]) -> list[MoneyTold]:
    """How the price that :func:`_price` takes was told."""
    of_field = price_told(record.field)
    of_checks = [one for p in points if (one := check_price_told(p.logged)) is not None]
    return [of_field] if of_field is not None else of_checks[-1:]


def _price(record: TrialRecord, points: Sequence[CheckPoint]) -> float | None:
    told = None if record.field is None else record.field.parts.get("price")
    if told is not None:
        return units.read_positive(told, "price", field="field, price").value
    prices = [p.logged.check.price_per_t for p in points if p.logged.check.price_per_t is not None]
    return prices[-1] if prices else None


def _its_own(filed: Sequence[LoggedCheck], record: TrialRecord) -> tuple[list[LoggedCheck], dict[Aside, int]]:
    """The stops that are part of the trial, and how many are not, by why."""
    crop = _crop(filed, record)
    own: list[LoggedCheck] = []
    aside: dict[Aside, int] = {}
    for one in filed:
        machine, side = one.body.get("combine"), one.body.get("side")
        why: Aside | None = None
        if record.combine is not None and machine not in (None, record.combine.id):
            why = "another combine"
        elif find_crop(one.check.crop).key != crop:
            why = "another crop"
        elif side in ("A", "B") and otherwise(one.body.get("settings") or (), record.settings, side) is not None:
            why = "set otherwise"
        if why is None:
            own.append(one)
        else:
            aside[why] = aside.get(why, 0) + 1
    return own, aside


def _crop(filed: Sequence[LoggedCheck], record: TrialRecord) -> str:
    """Key of the trial's crop: its field's, else that of most stops (of two as many, the first's)."""
    told = None if record.field is None else record.field.parts.get("crop")
    if told is not None:
        return find_crop(str(told), field="field, crop").key
    keys = [find_crop(one.check.crop).key for one in filed]
    return max(keys, key=keys.count)


def _other_settings(points: Sequence[CheckPoint], sides: Sequence[str], record: TrialRecord) -> tuple[str, ...]:
    """Settings that moved within a side, or between the sides without being the trial's."""
    meant = differing(record.settings["A"], record.settings["B"])
    recorded = [p.logged.body.get("settings") or () for p in points]
    spelled = spellings(*record.settings.values(), *recorded)
    seen: dict[str, set[tuple[str, Comparable]]] = {}
    for settings, side in zip(recorded, sides, strict=True):
        for name, value in comparable(settings).items():
            seen.setdefault(name, set()).add((side, value))
    moved = []
    for name, told in seen.items():
        by_side = {side: {value for s, value in told if s == side} for side in ("A", "B")}
        within = any(len(values) > 1 for values in by_side.values())
        between = name not in meant and len({value for _, value in told}) > 1
        if within or between:
            moved.append(spelled[name])
    return tuple(sorted(moved))
