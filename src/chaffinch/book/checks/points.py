"""What each check of the book tells a curve, a trial or a monitor key: evidence by source, load, setup, conditions.

Errors that checks share (a drop width guessed once, a TKW from the table) are not in the evidence, however the rest of
a check was read: they move every check of a machine alike, so they stay out of slopes and ratios, and are handed on by
name for each source.
"""

from __future__ import annotations

import math
import statistics
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any, Final

from chaffinch import units
from chaffinch.book.checks.answer import KG_PER_T
from chaffinch.book.checks.catches import Prepared, cut_width_m, prepare
from chaffinch.book.checks.field_checks import KEPT_CHECKS, Filed, priors_of, shared_names
from chaffinch.book.checks.held import LoggedCheck
from chaffinch.book.things import Thing
from chaffinch.engine.estimate import Prior
from chaffinch.engine.evidence import Evidence, evidence
from chaffinch.engine.ledger.shared import SharedKey
from chaffinch.engine.ledger.sharing import SharedNames, shared_by_source, without_shared_readings
from chaffinch.engine.marginal import evidence_of
from chaffinch.engine.sources import Joint, common_scale_sd, locate
from chaffinch.engine.work import KM_M_PER_HA
from chaffinch.errors import InputError, SamplerError
from chaffinch.how_far import Progress
from chaffinch.records.check import Check

PACE_NAMES: Final = frozenset({"ground speed", "speed"})
"""Settings that are the pace itself, not a setup."""
JUDGED: Final = "judged"


@dataclass(frozen=True, slots=True)
class CheckPoint:
    """One check as curves, trials and keys see it.

    Attributes
    ----------
    logged : LoggedCheck
        The check, in the version that counts.
    ready : Prepared
        Its catches.
    evidence : mapping of str to Evidence
        By source seen, and under ``judged`` of header, machine and leak together as far as seen.
    priors : mapping of str to Prior
        By source seen.
    shared_by_source : mapping of str to mapping of tuple to float
        By source, and ``judged``: sd of the log of each error it shares with other checks, by name [1].
    crop, combine, operator, field, season, setup : str
        Key of the crop, ids of the things, and the settings as one text; "" where not told.
    speed_kmh, width_m, yield_kg_ha : float or None
        Ground speed [km/h], width really cut [m] (the windrower's for windrowed crop, the cut less the overlap
        otherwise), harvested yield [kg/ha]; None where not told.
    conditions : mapping of str to float
        As recorded, by the names of the record.
    """

    logged: LoggedCheck
    ready: Prepared
    evidence: Mapping[str, Evidence]
    priors: Mapping[str, Prior]
    shared_by_source: Mapping[str, Mapping[SharedKey, float]]
    crop: str
    combine: str
    operator: str
    field: str
    season: str
    setup: str
    speed_kmh: float | None
    width_m: float | None
    yield_kg_ha: float | None
    conditions: Mapping[str, float]

    @property
    def shared(self) -> Mapping[SharedKey, float]:
        """Errors its machine loss shares; none where it saw none."""
        return self.shared_by_source.get("machine", {})

    @property
    def throughput_t_h(self) -> float | None:
        """Grain through the machine [t/h]; None without speed, width or yield."""
        if self.speed_kmh is None or self.width_m is None or self.yield_kg_ha is None:
            return None
        return self.speed_kmh * self.width_m / KM_M_PER_HA * self.yield_kg_ha / KG_PER_T


def points_of(
    logged: Sequence[LoggedCheck],
    known: Mapping[str, Thing],
    *,
    judged: bool = False,
    seed: int = 1,
    progress: Progress | None = None,
) -> list[CheckPoint]:
    """Turn checks of the book into points, in their order.

    Parameters
    ----------
    logged : sequence of LoggedCheck
        From :func:`chaffinch.book.checks.held.counting`.
    known : mapping of str to Thing
        Things by id: of fields the yield delivered, of combines the overlap.
    judged : bool
        Whether evidence about the sum held against the combine is wanted too.
    seed : int
        Seed of the sampler, where one is needed.
    progress : callable or None
        Called with (done, of).

    Raises
    ------
    InputError
        When a check cannot be answered, or contradicts itself beyond what the model can hold; it is named.
    """
    points = []
    for done, one in enumerate(logged, start=1):
        try:
            points.append(_point(one, known, judged=judged, seed=seed))
        except InputError as error:
            raise error.within(f"check {one.id[:8]}") from None
        except SamplerError as error:
            mend = f"look at it: chaffinch check --book BOOK {one.id[:8]}; and correct it"
            raise InputError(f"check {one.id[:8]}", None, f"contradicts itself: {error}", mend) from None
        if progress is not None:
            progress(done, len(logged))
    return points


def setup_text(settings: Iterable[Mapping[str, Any]] | None) -> str:
    """Settings as one text, by name: "fan speed 900 rpm · rotor speed 600 rpm"; the pace is no part of it."""
    told = sorted((str(s["name"]), float(s["value"]), str(s.get("unit", ""))) for s in settings or ())
    return " · ".join(f"{name} {value:g} {unit}".rstrip() for name, value, unit in told if name not in PACE_NAMES)


def yield_of_field(thing: Thing | None) -> float | None:
    """Yield of a field [kg/ha]: what was delivered, else what was expected; None where neither is told."""
    parts = {} if thing is None else thing.parts
    told = parts.get("yield_actual") or parts.get("yield_expected")
    return None if told is None else units.read_positive(told, "area_mass", field="field, yield").value


def yield_in_sum(field: Thing, checks: Sequence[LoggedCheck]) -> float | None:
    """Yield a field's sum is held to [kg/ha]: the field's, else the middle of its checks'; None where none is told."""
    told = yield_of_field(field)
    if told is not None:
        return told
    yields = [c.check.yield_kg_ha for c in checks if c.check.yield_kg_ha is not None]
    return statistics.median(yields) if yields else None


def _point(one: LoggedCheck, known: Mapping[str, Thing], *, judged: bool, seed: int) -> CheckPoint:
    check, body = one.check, one.body
    ready, priors, seen, shared = _seen(Filed.of(one), judged=judged, seed=seed)
    machine = known.get(str(body.get("combine", "")))
    width = cut_width_m(check)
    if width is not None and machine is not None and not check.windrowed and check.working_width_m is None:
        width -= overlap_m(machine, width)
    return CheckPoint(
        logged=one,
        ready=ready,
        evidence=seen,
        priors=priors,
        shared_by_source=shared,
        crop=ready.figures.crop.key,
        combine=str(body.get("combine") or ""),
        operator=str(body.get("operator") or ""),
        field=str(body.get("field") or ""),
        season=str(body.get("season") or ""),
        setup=setup_text(body.get("settings")),
        speed_kmh=check.speed_kmh,
        width_m=width,
        yield_kg_ha=_yield(check, known.get(str(body.get("field", "")))),
        conditions=dict(body.get("conditions") or {}),
    )


@lru_cache(maxsize=KEPT_CHECKS)
def _seen(
    filed: Filed, *, judged: bool, seed: int
) -> tuple[Prepared, Mapping[str, Prior], Mapping[str, Evidence], Mapping[str, Mapping[SharedKey, float]]]:
    """What follows from a check alone, worked out once: its catches, belief before them, evidence, shared errors."""
    ready = prepare(filed.check)
    priors = priors_of(ready, filed.check.yield_kg_ha)
    return ready, priors, *_evidence(ready, shared_names(filed, ready), priors, judged=judged, seed=seed)


def overlap_m(combine: Thing, cut_width_m: float) -> float:
    """Width that a combine usually drives over twice [m].

    Raises
    ------
    InputError
        When it leaves nothing of the cut.
    """
    told = combine.parts.get("overlap")
    if told is None:
        return 0.0
    overlap = units.read_not_negative(told, "length", field="combine, overlap").value
    if overlap >= cut_width_m:
        problem = f"leaves nothing of the cut of {cut_width_m:g} m"
        raise InputError("combine, overlap", told, problem, "chaffinch book edit-label mends it")
    return overlap


def _yield(check: Check, home: Thing | None) -> float | None:
    """Yield where a check was taken [kg/ha]: what the field delivered, what the check tells, what was expected."""
    delivered = None if home is None else home.parts.get("yield_actual")
    if delivered is None and check.yield_kg_ha is not None:
        return check.yield_kg_ha
    return yield_of_field(home)


def _evidence(
    ready: Prepared, names: SharedNames, priors: Mapping[str, Prior], *, judged: bool, seed: int
) -> tuple[dict[str, Evidence], dict[str, dict[SharedKey, float]]]:
    """Evidence by source, and the errors that were taken out of it by name: other checks were wrong by them too."""
    seen = tuple(priors)
    held = tuple(s for s in seen if s in ("header", "machine", "leak"))
    shared = shared_by_source(ready.catches, names, width_sd=ready.width_sd)
    if len(seen) == 1 and common_scale_sd(ready.catches, ready.width_sd) is not None:
        only = evidence(ready.catches, seen[0])
        told = (*seen, *((JUDGED,) if held else ()))
        return dict.fromkeys(told, only), dict.fromkeys(told, shared[seen[0]])
    joint = locate(without_shared_readings(ready.catches), priors, width_sd=0.0, seed=seed)
    found = {s: evidence_of(joint, (s,), priors) for s in seen}
    if judged and held:
        found[JUDGED] = found[held[0]] if len(held) == 1 else evidence_of(joint, held, priors)
    if held:
        shared[JUDGED] = _of_sum(shared, joint, held)
    return found, shared


def _of_sum(
    shared: Mapping[str, Mapping[SharedKey, float]], joint: Joint, sources: Sequence[str]
) -> dict[SharedKey, float]:
    """What each error moves a sum of sources by: as far as it moves each of them, by its part of the sum."""
    parts = joint.part_of_loss_pct()
    whole = sum(parts[s] for s in sources)
    moved: dict[SharedKey, float] = {}
    for source in sources:
        for name, sd in shared[source].items():
            moved[name] = moved.get(name, 0.0) + sd * parts[source] / whole
    return moved


def shared_errors(points: Sequence[CheckPoint], source: str = "machine") -> dict[SharedKey, float]:
    """Sd of the log by which each shared error moves a mean over these checks, however many there are [1].

    Each counts by the share of the checks that carry it: a width guessed in one season and taped in the next is half
    of each. Pans are taken as one and the same.

    Parameters
    ----------
    points : sequence of CheckPoint
        Checks that saw the source.
    source : str
        A source, or ``judged``.
    """
    totals: dict[SharedKey, float] = {}
    for point in points:
        for name, sd in point.shared_by_source[source].items():
            totals[name] = totals.get(name, 0.0) + sd / len(points)
    return totals


def shared_sd(points: Sequence[CheckPoint], source: str = "machine") -> float:
    """Sd of the log of all those errors together [1]; parameters as for :func:`shared_errors`."""
    return math.hypot(0.0, *shared_errors(points, source).values())
