"""Before the season or the stop: what this kit can see, how best to read a catch, how many catches it takes."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from chaffinch.book.checks.catches import CropFigures, gram_per_unit, prepare
from chaffinch.engine import kit
from chaffinch.engine.catch import PAN_SD
from chaffinch.engine.evidence import Catch
from chaffinch.engine.plan import Precision, catches_for_precision
from chaffinch.errors import InputError
from chaffinch.records.check import Check

USUAL_PRECISIONS = (0.50, 0.35, 0.25, 0.15)
"""Half widths of the 90 % range worth comparing, as shares [1]."""


@dataclass(frozen=True, slots=True)
class KitPlan:
    """What a plan says.

    Attributes
    ----------
    check : Check
        Machine, crop, pan and terms planned for; its first catch is the kind of catch planned.
    figures : CropFigures
        The crop's figures used.
    source : str
        The loss such a catch is planned to see: machine where it sees machine loss, else header or standing.
    loss_kg_ha : float
        The loss planned for: the limit [kg/ha].
    in_pan : InPan
        What that loss leaves in one catch.
    ways : tuple of Way
        Ways of reading it, best first.
    best : Way
        The one to use.
    c0 : float
        Coefficient of variation between such catches, median [1].
    by_width : bool
        Such a catch rests on the drop or spread width.
    shared_error : float
        Sd of the error that no number of catches removes [1].
    precisions : mapping-like tuple of (wished, Precision)
        Catches needed, read the best way.
    """

    check: Check
    figures: CropFigures
    source: str
    loss_kg_ha: float
    in_pan: kit.InPan
    ways: tuple[kit.Way, ...]
    best: kit.Way
    c0: float
    by_width: bool
    shared_error: float
    precisions: tuple[tuple[float, Precision], ...]


def plan(
    check: Check, *, cup_step_ml: float | None = None, precisions: Sequence[float] = USUAL_PRECISIONS, seed: int = 1
) -> KitPlan:
    """Plan catches like the first catch of ``check``.

    Parameters
    ----------
    check : Check
        Needs a limit; the amount of its first catch is not used, its step is.
    cup_step_ml : float or None
        Smallest division of a measuring cup [mL]; None leaves measuring out of the comparison.
    precisions : sequence of float
        Wished half widths of the 90 % range as shares [1].
    seed : int
        Same seed, same answer.

    Raises
    ------
    InputError
        Without a limit.
    """
    if check.limit_kg_ha is None:
        raise InputError("limit", None, "is needed to plan for", 'say the loss that matters, like limit = "1 bu/ac"')
    ready = prepare(check)
    like, figures = ready.catches[0], ready.figures
    source = next(s for s in ("machine", "leak", "header", "standing") if like.exposure.area_m2(s) > 0)
    area = like.exposure.area_m2(source)
    ways = kit.ways_of_reading(
        check.limit_kg_ha,
        area,
        tkw_g=figures.tkw_g,
        tkw_measured=figures.tkw_measured,
        steps=_steps(check, cup_step_ml),
        gram_per_unit={k: gram_per_unit(k, figures) for k in ("weighed", "measured")},
    )
    best = kit.best_way(ways)
    width_sd = ready.width_sd if like.exposure.by_width else 0.0
    shared = math.sqrt(kit.shared_sd(best.kind, tkw_measured=figures.tkw_measured) ** 2 + width_sd**2 + PAN_SD**2)
    read_best = _read(like, best, figures)
    return KitPlan(
        check,
        figures,
        source,
        check.limit_kg_ha,
        kit.in_pan(check.limit_kg_ha, area, figures.tkw_g, figures.test_weight_kg_hl),
        ways,
        best,
        like.c0,
        like.exposure.by_width,
        shared,
        tuple(
            (wished, catches_for_precision(read_best, source, check.limit_kg_ha, wished, shared, seed=seed))
            for wished in precisions
        ),
    )


def _steps(check: Check, cup_step_ml: float | None) -> dict[str, float]:
    steps = {"counted": 1.0}
    amount = check.catches[0].amount
    if amount.kind == "weighed":
        steps["weighed"] = amount.step
    if cup_step_ml is not None:
        steps["measured"] = cup_step_ml
    elif amount.kind == "measured":
        steps["measured"] = amount.step
    return steps


def _read(like: Catch, way: kit.Way, figures: CropFigures) -> Catch:
    """The planned catch as it would be read the best way."""
    per_unit = figures.tkw_g / 1000.0 if way.kind == "counted" else gram_per_unit(way.kind, figures)
    reading = replace(like.reading, count=None, step_g=way.step * per_unit, seed_g=figures.tkw_g / 1000.0)
    return replace(like, reading=reading)
