"""What did the season leave on the ground, field by field? And can anybody be said to lose less than another?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Literal

import numpy as np

from chaffinch import units
from chaffinch.book.checks.field_checks import FieldAsked, Filed, filed_checks, from_check, summed
from chaffinch.book.checks.fields import WILD
from chaffinch.book.checks.held import LoggedCheck, checks_where, counting
from chaffinch.book.checks.own_variation import with_learned
from chaffinch.book.checks.points import CheckPoint, points_of, yield_in_sum
from chaffinch.book.currency import one_currency, price_told
from chaffinch.book.desk import Desk
from chaffinch.book.outings import outings
from chaffinch.book.things import Thing, by_ids, things
from chaffinch.engine.estimate import default_prior
from chaffinch.engine.ledger.fair import Comparison, FairCheck, compare_groups
from chaffinch.engine.ledger.field import FieldEntry, FieldLoss
from chaffinch.engine.ledger.season import SeasonLoss, season_loss
from chaffinch.errors import InputError
from chaffinch.how_far import Progress
from chaffinch.reference import crop as find_crop

By = Literal["operator", "combine"]
FairSource = Literal["machine", "header"]


@dataclass(frozen=True, slots=True)
class SeasonField:
    """One field of a season.

    Attributes
    ----------
    thing : Thing
    area_ha : float or None
        None: it cannot be in the sums.
    price_per_t : float or None
        Of its own day.
    price_date : str
        The day of that price; "" where not told.
    crop : str
        Key of the crop; "" where neither the field nor a check tells it.
    checks : tuple of LoggedCheck
    other_crops : mapping of str to int
        Checks of another crop than the field's, by that crop: they stand in its sum all the same.
    """

    thing: Thing
    area_ha: float | None
    price_per_t: float | None
    price_date: str
    crop: str
    checks: tuple[LoggedCheck, ...]
    other_crops: Mapping[str, int] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Ledger:
    """A season summed up.

    Attributes
    ----------
    season : Thing
    fields : tuple of SeasonField
        In the order they were added.
    loss : SeasonLoss or None
        Named by field id; None when no field has an area.
    without_area : tuple of SeasonField
        Fields left out of the sums.
    unfiled : int
        Checks of the season that are filed under none of its fields: in no sum.
    currency : str
        The farm's sign before money, or that of the fields' prices; "" where none is told.
    """

    season: Thing
    fields: tuple[SeasonField, ...]
    loss: SeasonLoss | None
    without_area: tuple[SeasonField, ...]
    unfiled: int
    currency: str

    @property
    def checks(self) -> int:
        """How many checks stand in the sums."""
        return sum(len(one.checks) for one in self.fields if one.area_ha is not None)

    @property
    def judged_seen(self) -> tuple[str, ...]:
        """Sources held against the combine that anybody measured: header, machine, leak."""
        seen = {} if self.loss is None else self.loss.whole.sources
        return tuple(source for source in ("header", "machine", "leak") if source in seen)

    @property
    def doubted(self) -> tuple[tuple[SeasonField, LoggedCheck], ...]:
        """Checks that are likelier wild than not beside the others of their field, and so hardly count in its sum."""
        found = {} if self.loss is None else self.loss.fields
        return tuple(
            (one, check)
            for one in self.fields
            if one.thing.id in found
            for check, p in zip(one.checks, found[one.thing.id].wild, strict=True)
            if p > WILD
        )


def ledger(desk: Desk, season: Thing, *, money: bool = True, seed: int = 1, progress: Progress | None = None) -> Ledger:
    """Sum up a season over its fields.

    Parameters
    ----------
    desk : Desk
        The open book.
    season : Thing
        The season.
    money : bool
        False leaves prices aside, and so does not ask for one currency.
    seed : int
        Same seed, same figures.
    progress : callable or None
        Called with (done, of) while checks are read.

    Raises
    ------
    InputError
        For a season without fields, a field priced in another currency than the farm's or another field's, or a check
        that cannot be answered.
    """
    own = [t for t in things(desk, "field") if t.parts.get("season") == season.id]
    if not own:
        raise InputError("season", season.name, "has no field in the book", "chaffinch book add field puts one there")
    by_field: dict[str, list[LoggedCheck]] = {one.id: [] for one in own}
    unfiled = 0
    ids = {*checks_where(desk, season=season.id), *(c for one in own for c in checks_where(desk, field=one.id))}
    for logged in with_learned(desk, counting(desk, sorted(ids))):
        home = str(logged.body.get("field") or "")
        if home in by_field:
            by_field[home].append(logged)
        elif logged.body.get("season") == season.id:
            unfiled += 1
    fields = [_season_field(one, by_field[one.id]) for one in own]
    currency = ""
    if money:
        currency = one_currency(desk, [p for one in fields if (p := price_told(one.thing)) is not None])
    else:
        fields = [replace(one, price_per_t=None) for one in fields]
    counted = [one for one in fields if one.area_ha is not None]
    loss = None
    if counted:
        loss = _loss(counted, seed, progress)
    without = tuple(one for one in fields if one.area_ha is None)
    return Ledger(season, tuple(fields), loss, without, unfiled, currency)


def compare(
    desk: Desk,
    season: Thing,
    *,
    by: By,
    crop: str | None = None,
    source: FairSource = "machine",
    tables: int = 1,
    seed: int = 1,
    progress: Progress | None = None,
) -> tuple[str, Comparison, Mapping[str, int]]:
    """Compare drivers or combines over a season, fairly: same field and day (by gaps of 8 h), load allowed for.

    Parameters
    ----------
    desk : Desk
        The open book.
    season : Thing
        The season.
    by : {"operator", "combine"}
        What is compared.
    crop : str or None
        One crop; None is the crop with most checks.
    source : {"machine", "header"}
        Which loss.
    tables : int
        Comparisons shown side by side, as for :func:`chaffinch.engine.ledger.fair.compare_groups`.
    seed, progress
        As for :func:`ledger`.

    Returns
    -------
    crop : str
        The crop compared in.
    comparison : Comparison
        Its groups carry names, not ids.
    left_out : mapping of str to int
        Checks that could not be used, by why.

    Raises
    ------
    InputError
        When the checks leave nothing to compare.
    """
    logged = counting(desk, checks_where(desk, season=season.id))
    crops = [find_crop(c.check.crop).key for c in logged]
    if not crops:
        raise InputError("season", season.name, "has no check to compare", "log a check first")
    key = max(sorted(set(crops)), key=crops.count) if crop is None else find_crop(crop).key
    known = {one.id: one for one in things(desk)}
    chosen = [c for c, one in zip(logged, crops, strict=True) if one == key]
    points = points_of(chosen, known, seed=seed, progress=progress)
    names = {t.id: t.name for t in by_ids(desk, {p.combine for p in points} | {p.operator for p in points}).values()}
    left_out: dict[str, int] = {}
    usable: list[CheckPoint] = []
    for point in points:
        why = _unusable(point, by, source)
        if why:
            left_out[why] = left_out.get(why, 0) + 1
        else:
            usable.append(point)
    if not usable:
        why = "; ".join(f"{count} that {what}" for what, count in left_out.items())
        problem = f"leaves nothing to compare in {key}" + (f": checks left out are {why}" if why else "")
        raise InputError(by, None, problem, f"log checks that see {source} loss and name the {by}")
    blocks = _blocks(usable)
    throughput = all(p.throughput_t_h is not None for p in usable) and source == "machine"
    checks = [
        FairCheck(
            p.evidence[source],
            names.get(p.operator, p.operator),
            names.get(p.combine, p.combine),
            block,
            (p.throughput_t_h if throughput else p.speed_kmh) or 0.0,
            p.conditions,
            p.shared_by_source[source],
        )
        for p, block in zip(usable, blocks, strict=True)
    ]
    yields = [p.yield_kg_ha for p in usable if p.yield_kg_ha is not None]
    prior = default_prior(source, float(np.median(yields)) if yields else None)
    return key, compare_groups(checks, by=by, source=source, prior=prior, tables=tables, seed=seed), left_out


def _blocks(points: Sequence[CheckPoint]) -> list[str]:
    """Field and outing of each check: stops of a field belong together while less than 8 hours apart."""
    found = [""] * len(points)
    for home in {p.field for p in points}:
        here = [k for k, p in enumerate(points) if p.field == home]
        numbers = outings([str(points[k].logged.body["taken_at"]) for k in here])
        for k, number in zip(here, numbers, strict=True):
            found[k] = f"{home} {number}"
    return found


def _unusable(point: CheckPoint, by: By, source: FairSource) -> str:
    if source not in point.evidence:
        return f"did not see {source} loss"
    if not (point.operator if by == "operator" else point.combine):
        return "name no driver" if by == "operator" else "name no combine"
    if not point.field:
        return "name no field"
    return "tell no speed" if point.speed_kmh is None else ""


def _season_field(thing: Thing, checks: Sequence[LoggedCheck]) -> SeasonField:
    parts = thing.parts
    area, price = parts.get("area"), parts.get("price")
    own = [find_crop(c.check.crop).key for c in checks]
    told = {find_crop(str(parts["crop"])).key} if "crop" in parts else set(own)
    crop = told.pop() if len(told) == 1 else ""
    return SeasonField(
        thing,
        None if area is None else units.read_positive(area, "land", field=f"field {thing.name}, area").value,
        None if price is None else units.read_positive(price, "price", field=f"field {thing.name}, price").value,
        str(parts.get("price_date", "")),
        crop,
        tuple(checks),
        {other: own.count(other) for other in sorted(set(own)) if crop and other != crop},
    )


def _loss(fields: Sequence[SeasonField], seed: int, progress: Progress | None) -> SeasonLoss:
    """The season's sum. Reading the checks and summing up the fields take about as long: each is half of the way."""
    whole = 2 * sum(len(one.checks) for one in fields)
    done = 0

    def step(checks: int) -> None:
        nonlocal done
        done += checks
        if progress is not None:
            progress(done // 2, whole // 2)

    asked: dict[str, FieldAsked] = {}
    for one in fields:
        for logged in one.checks:
            try:
                from_check(Filed.of(logged), leak_with_machine=True, seed=seed)
            except InputError as error:
                raise error.within(f"check {logged.id[:8]}") from None
            step(1)
        assert one.area_ha is not None
        asked[one.thing.id] = FieldAsked(
            one.thing.id,
            one.area_ha,
            filed_checks(one.checks),
            price_per_t=one.price_per_t,
            yield_kg_ha=yield_in_sum(one.thing, one.checks),
            crop=one.crop,
            leak_with_machine=True,
            seed=seed,
        )

    def sum_up(entry: FieldEntry) -> FieldLoss:
        found = summed(asked[entry.name])
        step(len(entry.checks))
        return found

    return season_loss([one.entry() for one in asked.values()], seed=seed, sum_up=sum_up)
